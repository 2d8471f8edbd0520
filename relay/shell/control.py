"""The operator's way in: a socket in the private folder that takes decisions, one JSON line each.

Rules: only who may read the private folder can reach it (a Unix socket of mode 0600; nothing of it is on a
network); every decision is journalled with who took it before it acts and is answered; releasing early asks twice.
"""

import asyncio
import contextlib
import json
import os
import secrets
from collections.abc import Callable
from pathlib import Path
from typing import Any, Protocol

from relay.core.errors import OperatorError, RefusedError
from relay.core.ranges import note_fault

NAME = "control.sock"
LINE_LIMIT = 163_840  # a still in base64, and room for the rest
WHO_LIMIT = 80
CONFIRM_S = 60.0
PATH_LIMIT = 107  # octets of a Unix socket's address, less the closing zero: unix(7)


class Bridge(Protocol):
    """What the control socket needs of the ship."""

    def decide(self, data: bytes, who: str) -> dict[str, Any]:
        """Check a decision, hand it to the journal, and say what it does; OperatorError if it can't be taken."""
        ...

    async def settled(self) -> bool:
        """Wait until the decisions taken are on the disk and act; False if that takes too long."""
        ...

    def status(self) -> dict[str, Any]:
        """Return how things stand: exact and private."""
        ...


class Control:
    """Serves the control socket of one ship."""

    def __init__(self, folder: Path, bridge: Bridge, now_s: Callable[[], float]) -> None:
        self.path = folder / NAME
        self._bridge, self._now_s = bridge, now_s
        self._server: asyncio.Server | None = None
        self._serving: set[asyncio.Task[None]] = set()
        self._asked: dict[str, tuple[str, float]] = {}

    async def start(self) -> None:
        """Open the socket; a leftover of a killed relay is replaced (the journal's lock keeps a living one safe)."""
        if len(octets := os.fsencode(self.path)) > PATH_LIMIT:
            raise OperatorError(
                f"{self.path} has {len(octets)} octets, and a socket's path at most {PATH_LIMIT}: "
                'choose a private folder nearer to the root ([storage] private = "...").'
            )
        self.path.unlink(missing_ok=True)
        before = os.umask(0o177)
        try:
            self._server = await asyncio.start_unix_server(self._accept, str(self.path), limit=LINE_LIMIT)
        finally:
            os.umask(before)

    async def close(self) -> None:
        """Close the socket and hang up on whoever is on it."""
        if self._server is not None:
            self._server.close()
        for task in self._serving:
            task.cancel()
        await asyncio.gather(*self._serving, return_exceptions=True)
        self.path.unlink(missing_ok=True)

    def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.ensure_future(self._serve(reader, writer))
        self._serving.add(task)
        task.add_done_callback(self._serving.discard)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(ConnectionError), contextlib.closing(writer):
            while line := await _line(reader):
                answer = self.answer(line)
                if "taken" in answer and not await self._bridge.settled():
                    answer = {**answer, "but": NOT_SETTLED}
                writer.write(json.dumps(answer).encode() + b"\n")
                await writer.drain()
            if line is None:
                writer.write(json.dumps(TOO_LONG).encode() + b"\n")
                await writer.drain()

    def answer(self, line: bytes) -> dict[str, Any]:
        """Return the answer to one line: {"ok": true, ...}, or {"ok": false, "why": text}."""
        try:
            message = json.loads(line)
            if not isinstance(message, dict):
                raise OperatorError("a message is a JSON object")
            return {"ok": True, **self._take(message)}
        except (OperatorError, ValueError, RecursionError) as error:
            return {"ok": False, "why": str(error)}

    def _take(self, message: dict[str, Any]) -> dict[str, Any]:
        if message.get("do") == "status":
            return self._bridge.status()
        who, code = message.pop("who", None), message.pop("code", None)
        if not isinstance(who, str) or len(who) > WHO_LIMIT or note_fault(who) is not None:
            raise OperatorError(f'a decision says "who" takes it: a name of at most {WHO_LIMIT} characters')
        if message.get("do") == "early":
            asked = self._confirmed(message, code)
            if asked is not None:
                return asked
        return self._bridge.decide(json.dumps(message).encode(), who)

    def _confirmed(self, message: dict[str, Any], code: object) -> dict[str, Any] | None:
        """Return the question to ask, or None when this is the second time of asking, within a minute."""
        what = json.dumps(message, sort_keys=True)
        asked, until_s = self._asked.pop(str(code), ("", 0.0))
        if asked == what and self._now_s() <= until_s:
            return None
        code = secrets.token_hex(4)
        self._asked = {code: (what, self._now_s() + CONFIRM_S)}
        return {
            "confirm": code,
            "question": "This shows what the embargo still holds back. Send it again with this code.",
        }


NOT_SETTLED = (
    "it is not on the disk yet: nothing is released before it is, but it is lost if the relay or the machine stops now"
)
TOO_LONG = {"ok": False, "why": f"a message has at most {LINE_LIMIT} octets"}


async def _line(reader: asyncio.StreamReader) -> bytes | None:
    """Return the next line, nothing at the end, None for one beyond the reader's limit."""
    try:
        return await reader.readline()
    except ValueError:
        return None


async def ask_control(folder: Path, message: dict[str, Any]) -> dict[str, Any]:
    """Send one message to the relay that runs on `folder` and return its answer."""
    try:
        reader, writer = await asyncio.open_unix_connection(str(folder / NAME), limit=1_048_576)
    except OSError as error:
        raise OperatorError(f"no relay runs on {folder}: start it with `offing ship` ({error.strerror}).") from error
    writer.write(json.dumps(message).encode() + b"\n")
    try:
        line = await reader.readline()
    except ConnectionError:
        line = b""
    writer.close()
    if not line.endswith(b"\n"):
        raise OperatorError("the relay went away before it answered: ask for its status before you go on")
    answer: dict[str, Any] = json.loads(line)
    if not answer.pop("ok"):
        raise RefusedError(str(answer["why"]))
    return answer
