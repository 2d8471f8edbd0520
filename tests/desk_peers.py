"""A desk to speak to, and a browser that is only a socket."""

import asyncio
import json
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from expeditions import RIGHT
from peers import PATIENCE_S, Answer, answers, exchange
from relay.core.pipeline import Pipeline
from relay.shell.desk.deciding import Deciding
from relay.shell.desk.desk import Desk
from relay.shell.desk.desk_line import DeskLimits
from relay.shell.desk.desk_token import Doorkeeper
from relay.shell.plan.expedition import parse_expedition
from relay.shell.record.secrets_file import seeded_secrets
from wheelhouse import Wheelhouse

TOKEN = "a-token-of-the-test-that-is-43-octets-long-x"
PLAN = parse_expedition(RIGHT, Path("EXPEDITION.toml")).plan


async def at_once(_: float) -> None:
    """Wait no time."""


@asynccontextmanager
async def desk_of(bridge: Wheelhouse, limits: DeskLimits | None = None, **more: Any) -> AsyncIterator[Desk]:
    """Run a desk on a free port of the loopback, over a ship of which only the wheelhouse is there."""
    shown: dict[str, Any] = {"count": 0}

    def state() -> dict[str, Any]:
        shown["count"] += 1
        return {**shown, "taken": len(bridge.taken), **more.get("also", {})}

    desk = Desk(
        TOKEN,
        Deciding(bridge, lambda: 0.0),
        Pipeline(PLAN, seeded_secrets(1)),
        state=state,
        tracks=lambda: {"origin": None},
        page=more.get("page", {}),
        limits=limits,
        doorkeeper=Doorkeeper(TOKEN, sleep=at_once),
    )
    async with asyncio.timeout(PATIENCE_S):
        await desk.start("127.0.0.1", 0)
        beating = asyncio.ensure_future(_beat(desk))
        try:
            yield desk
        finally:
            beating.cancel()
            await desk.close()


async def _beat(desk: Desk) -> None:
    while True:
        await desk.newest.beat()


def asking(desk: Any, target: str, method: str = "GET", body: bytes = b"", **fields: str | None) -> bytes:
    """Return the bytes of a request to a desk; a field is named with `_` for `-`, and None leaves it away."""
    host, port = desk.address
    usual = {"Host": f"{host}:{port}", "Authorization": f"Bearer {TOKEN}", "Connection": "close"}
    if body or method == "POST":
        usual |= {"Content-Type": "application/json", "Content-Length": str(len(body))}
    told: Mapping[str, str | None] = {**usual, **{name.replace("_", "-"): value for name, value in fields.items()}}
    lines = [f"{method} {target} HTTP/1.1", *(f"{name}: {value}" for name, value in told.items() if value is not None)]
    return "\r\n".join([*lines, "", ""]).encode("latin-1") + body


async def ask(desk: Any, target: str, method: str = "GET", body: bytes = b"", **fields: str | None) -> Answer:
    """Send one request on a connection of its own and return the answer."""
    (answer,) = answers(await exchange(desk, asking(desk, target, method, body, **fields)), method)
    return answer


async def told(desk: Any, target: str, value: Any, **fields: str | None) -> dict[str, Any]:
    """Post a value as JSON and return what is answered."""
    answer = await ask(desk, target, "POST", json.dumps(value).encode(), **fields)
    found: dict[str, Any] = json.loads(answer.body)
    return found


class Stream:
    """Who follows a desk's state: whole lines, as they come."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.reader, self.writer = reader, writer

    @classmethod
    async def open(cls, desk: Any, **fields: str | None) -> "Stream":
        """Ask for the stream and read the answer's head."""
        reader, writer = await asyncio.open_connection(*desk.address)
        writer.write(asking(desk, "/stream", Connection=None, **fields))
        head = await reader.readuntil(b"\r\n\r\n")
        assert head.startswith(b"HTTP/1.1 200 "), head
        return cls(reader, writer)

    async def line(self) -> bytes:
        """Return the next state, as it came: one chunk each (RFC 9112 section 7.1)."""
        size = int(await self.reader.readline(), 16)
        line = await self.reader.readexactly(size)
        assert await self.reader.readexactly(2) == b"\r\n"
        return line

    async def state(self) -> dict[str, Any]:
        """Return the next state."""
        found: dict[str, Any] = json.loads(await self.line())
        return found

    def close(self) -> None:
        """Hang up."""
        self.writer.close()
