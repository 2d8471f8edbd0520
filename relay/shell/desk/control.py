"""The operator's way in: a socket in the private folder that takes decisions, one JSON line each.

Rules: only who may read the private folder can reach it (a Unix socket of mode 0600; nothing of it is on a
network); every decision is journalled with who took it before it acts and is answered; releasing early asks twice.
"""

import asyncio
import contextlib
import json
import os
from pathlib import Path
from typing import Any

from relay.core.errors import NoRelayError, OperatorError, RefusedError
from relay.shell.desk.deciding import MESSAGE_LIMIT, Deciding

NAME = "control.sock"
LINE_LIMIT = MESSAGE_LIMIT
PATH_LIMIT = 107  # octets of a Unix socket's address, less the closing zero: unix(7)


class Control:
    """Serves the control socket of one ship."""

    def __init__(self, folder: Path, deciding: Deciding) -> None:
        self.path = folder / NAME
        self._deciding = deciding
        self._server: asyncio.Server | None = None
        self._serving: set[asyncio.Task[None]] = set()

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
        with contextlib.suppress(OSError):  # a disk that takes no more: the next start replaces it
            self.path.unlink()

    def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.ensure_future(self._serve(reader, writer))
        self._serving.add(task)
        task.add_done_callback(self._serving.discard)

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(ConnectionError), contextlib.closing(writer):
            while line := await _line(reader):
                await _answer(writer, await self._deciding.take(line))
            if line is None:
                await _answer(writer, TOO_LONG)


TOO_LONG = {"ok": False, "why": f"a message has at most {LINE_LIMIT} octets"}


async def _answer(writer: asyncio.StreamWriter, answer: dict[str, Any]) -> None:
    """Answer a line; ConnectionError: whoever said it is gone."""
    if writer.is_closing():  # written to, uvloop's transport raises no ConnectionError once it is lost
        raise ConnectionResetError("whoever said it is gone")
    writer.write(json.dumps(answer).encode() + b"\n")
    await writer.drain()


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
        raise NoRelayError(f"no relay runs on {folder}: start it with `offing ship` ({error.strerror}).") from error
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
