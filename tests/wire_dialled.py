"""A station that the relay dials, written from RFC 6455 by hand: it answers handshakes, and frames, right and wrong.

Here the relay is the client, so the cases are the same with the mask the other way round (section 5.1). The feed is the
ship's own, in this process, because a ship waits before she dials again.
"""

import asyncio
import base64
import hashlib
from collections.abc import AsyncIterator, Iterable, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass

import wire_cases
from feed_stations import Bell
from feed_talk import QUICK, Shelf
from relay.shell.feeds.feeds import open_feed, parse_feed_url
from wire_cases import Case, fails
from wire_frames import BINARY, CLOSE, CONTINUATION, MASK, PING, PONG, TEXT, as_a_server, frame
from wire_line import PATIENCE_S, Got, Line, behind
from wire_verdict import Role, faults

ROLE = Role(takes=True, most=65_536, lenient=True)
GUID = b"258EAFA5-E914-47DA-95CA-C5AB0DC85B11"  # section 1.3


class Dialled(Line):
    """A connection that the relay has opened."""

    hears_a_client = True
    come: "asyncio.Queue[Dialled]"

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)
        self.come.put_nowait(self)


@asynccontextmanager
async def station() -> AsyncIterator["asyncio.Queue[Dialled]"]:
    """Yield who has come: a feed dials here, again and again."""
    come: asyncio.Queue[Dialled] = asyncio.Queue()
    of_here = type("Here", (Dialled,), {"come": come})
    server = await asyncio.get_running_loop().create_server(of_here, "127.0.0.1", 0)
    bell = Bell()
    url = parse_feed_url(f"ws://127.0.0.1:{server.sockets[0].getsockname()[1]}/state")

    async def at_once(_: float) -> None:
        await asyncio.sleep(0)

    feed = open_feed("lantern", url, Shelf(bell), limits=QUICK, sleep=at_once, changed=bell.ring)
    running = asyncio.create_task(feed.run())
    try:
        yield come
    finally:
        running.cancel()
        await asyncio.gather(running, return_exceptions=True)
        server.close()


def every() -> list[tuple[str, Case]]:
    """Return each case as a server sends it, and those of a mask that a server must not use."""
    with as_a_server():
        groups = {**wire_cases.GROUPS, "masks": _masked}
        return [(group, case) for group, cases in groups.items() for case in cases()]


def _masked() -> Iterator[Case]:
    for opcode in (CONTINUATION, TEXT, BINARY, CLOSE, PING, PONG):
        for payload in (b"", b"\x03\xe8abc"):
            raw = frame(opcode, payload, mask=MASK)
            yield fails(f"masked opcode {opcode:#x} with {len(payload)} octets", "5.1", raw)


def answer(head: bytes) -> dict[str, str]:
    """Return the right answer's fields to a client's handshake (section 4.2.2)."""
    lines = [line.partition(b":") for line in head.split(b"\r\n")]
    key = next(value.strip() for name, _, value in lines if name.lower() == b"sec-websocket-key")
    accept = base64.b64encode(hashlib.sha1(key + GUID, usedforsecurity=False).digest()).decode()
    return {"Upgrade": "websocket", "Connection": "Upgrade", "Sec-WebSocket-Accept": accept}


@dataclass(frozen=True)
class Answer:
    """An answer that no client may take for a websocket's: what is changed in the right one, None for left out."""

    name: str
    status: str = "101 Switching Protocols"
    changed: tuple[tuple[str, str | None], ...] = ()


ANSWERS = (
    Answer("200", "200 OK"),
    Answer("404", "404 Not Found"),
    Answer("no Upgrade", changed=(("Upgrade", None),)),
    Answer("Upgrade: h2c", changed=(("Upgrade", "h2c"),)),
    Answer("no Connection", changed=(("Connection", None),)),
    Answer("Connection: close", changed=(("Connection", "close"),)),
    Answer("no Sec-WebSocket-Accept", changed=(("Sec-WebSocket-Accept", None),)),
    Answer("that of another key", changed=(("Sec-WebSocket-Accept", "s3pPLMBiTxaQ9kYGzzhZRbK+xOo="),)),
    Answer("an extension nobody asked for", changed=(("Sec-WebSocket-Extensions", "permessage-deflate"),)),
    Answer("a protocol nobody asked for", changed=(("Sec-WebSocket-Protocol", "chat"),)),
)  # section 4.1


def _written(status: str, fields: Iterable[tuple[str, str | None]]) -> bytes:
    lines = [f"HTTP/1.1 {status}", *(f"{name}: {value}" for name, value in fields if value is not None), "", ""]
    return "\r\n".join(lines).encode()


async def framing(cases: Iterable[tuple[str, Case]]) -> list[tuple[str, Case, list[str]]]:
    """Return what the relay did wrong with each case, as the client."""
    rows = []
    async with station() as come:
        for group, case in cases:
            async with asyncio.timeout(PATIENCE_S):
                rows.append((group, case, faults(case, ROLE, await _played(await come.get(), case))))
    return rows


async def _played(line: Dialled, case: Case) -> Got:
    try:
        head = await line.head()
        await line.send(_written("101 Switching Protocols", answer(head).items()) + case.raw)
        with as_a_server():
            await line.send(behind(case.leaves))
        return await line.rest()
    finally:
        line.hang_up()


async def answers() -> list[tuple[str, list[str]]]:
    """Return what the relay did wrong with each answer that is none: it must hang up, without a frame."""
    rows = []
    async with station() as come:
        for each in ANSWERS:
            async with asyncio.timeout(PATIENCE_S):
                line = await come.get()
                fields = {**answer(await line.head()), "Content-Length": "0" if each.status[0] != "1" else None}
                await line.send(_written(each.status, {**fields, **dict(each.changed)}.items()))
                with as_a_server():
                    await line.send(behind(True))
                got = await line.rest()
                line.hang_up()
            wrong = [] if got.ended and not got.pongs and not got.closes else [f"it went on: {got}"]
            rows.append((each.name, wrong))
    return rows
