"""A client that is only a socket, with TLS or without, on a server's websocket: it sends bytes and tells what came.

It uses the standard library's sockets and the frames of `wire_frames`, nothing of the relay's.
"""

import asyncio
import contextlib
import ssl
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from itertools import count
from typing import cast

from wire_frames import BINARY, CLOSE, PING, PONG, BadlyServedError, Served, frame, served
from wire_openings import ACCEPT, BASE, request

PATIENCE_S = 60.0
STILL_HERE = b"still here?"
_sources = count()


@dataclass(frozen=True)
class Server:
    """Where a server listens, `path`: of its socket; `at_once`: how many connections it lets a tester have.

    `begins`: what a client says first, once its handshake is done.
    """

    port: int
    path: str = "/"
    tls: bool = False
    at_once: int = 8
    begins: "Callable[[Line], Awaitable[None]] | None" = None


@dataclass
class Got:
    """What a server did: its frames but for pings and messages, `close`: its code, 0 for none in its close frame.

    `ended`: it closed the connection, or reset it; `broke`: how its own bytes broke the protocol.
    """

    pongs: list[bytes] = field(default_factory=list)
    close: int | None = None
    closes: int = 0
    ended: bool = False
    broke: str = ""


class Line(asyncio.Protocol):
    """One connection. What came before a reset is kept."""

    hears_a_client = False

    def __init__(self) -> None:
        self.held = b""
        self.ended = False
        self._changed = asyncio.Event()
        self._transport: asyncio.Transport

    @classmethod
    async def dial(cls, server: Server) -> "Line":
        """Connect, each from another address of the loopback; a certificate isn't looked at."""
        context = None
        if server.tls:
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
            context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
        source = next(_sources)
        loop = asyncio.get_running_loop()
        local = (f"127.0.{1 + source // 250 % 250}.{1 + source % 250}", 0)
        _, line = await loop.create_connection(cls, "127.0.0.1", server.port, ssl=context, local_addr=local)
        return line

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = cast(asyncio.Transport, transport)

    def data_received(self, data: bytes) -> None:
        self.held += data
        self._changed.set()

    def connection_lost(self, exc: Exception | None) -> None:
        self.ended = True
        self._changed.set()

    async def _more(self) -> None:
        self._changed.clear()
        await self._changed.wait()

    async def send(self, data: bytes, singly: bool = False) -> None:
        """Send bytes, one at a time on request; who has hung up hears no more."""
        for part in (data[at : at + 1] for at in range(len(data))) if singly else (data,):
            if not self.ended:
                self._transport.write(part)
                await asyncio.sleep(0)

    async def head(self) -> bytes:
        """Return the head of the server's answer; empty if it ended without one."""
        while b"\r\n\r\n" not in self.held and not self.ended:
            await self._more()
        head, end, rest = self.held.partition(b"\r\n\r\n")
        if not end:
            return b""
        self.held = rest
        return head + end

    async def opened(self, path: str) -> None:
        """Shake hands as section 1.3 does."""
        await self.send(request(*BASE).format(path).encode())
        head = await self.head()
        assert head.startswith(b"HTTP/1.1 101 "), head
        assert f"sec-websocket-accept: {ACCEPT}".lower().encode() in head.lower(), head

    async def message(self) -> bytes:
        """Return the next message of a server that speaks first."""
        while not (found := served(self.held))[0]:
            assert not self.ended
            await self._more()
        (first, *more), rest = found
        self.held = b"".join(frame(each.opcode, each.payload, fin=each.fin, mask=None) for each in more) + rest
        assert first.opcode == BINARY, first
        return first.payload

    async def rest(self) -> Got:
        """Take all that comes until the server ends the connection, or until both have said that it ends."""
        got = Got()
        while True:
            try:
                frames, self.held = served(self.held, self.hears_a_client)
            except BadlyServedError as error:
                got.broke = str(error)
                return got
            for each in frames:
                _note(got, each)
            got.ended = self.ended
            if self.ended or (got.closes and not self._leaves_too()):
                return got
            await self._more()

    def _leaves_too(self) -> bool:
        """End our side after the server's close frame, where TCP alone carries it; False where it can't be ended."""
        if not self._transport.can_write_eof():
            return False
        if not self._transport.is_closing():
            with contextlib.suppress(OSError):
                self._transport.write_eof()
        return True

    def hang_up(self) -> None:
        """Go at once."""
        self._transport.abort()


def _note(got: Got, each: Served) -> None:
    if got.closes and each.opcode != PONG:  # one that was on its way may follow: section 5.5.1 forbids data alone
        got.broke = f"opcode {each.opcode:#x} after its close frame (section 5.5.1)"
    elif each.opcode == PONG:
        got.pongs.append(each.payload)
    elif each.opcode == CLOSE:
        got.closes += 1
        got.close = int.from_bytes(each.payload[:2])
        got.broke = _judged(each.payload) or got.broke


def _judged(payload: bytes) -> str:
    """Say what is wrong with the content of a server's close frame (sections 5.5.1 and 7.4)."""
    if not payload:
        return ""
    code = int.from_bytes(payload[:2])
    if len(payload) == 1 or code < 1000 or code in (1004, 1005, 1006, 1015) or 1014 < code < 3000 or code > 4999:
        return f"a close frame that never travels: {payload.hex()}"
    try:
        payload[2:].decode()
    except UnicodeDecodeError:
        return "a close reason that isn't UTF-8"
    return ""


def behind(leaves: bool) -> bytes:
    """Return what is sent behind a case: a ping and (`leaves`) a close."""
    return frame(PING, STILL_HERE) + (frame(CLOSE, b"\x03\xe8") if leaves else b"")


async def played(server: Server, raw: bytes, *, singly: bool = False, leaves: bool = True) -> Got:
    """Send a case behind a handshake, then a ping and (`leaves`) a close; return what the server did, if anything."""
    line = await Line.dial(server)
    try:
        async with asyncio.timeout(PATIENCE_S):
            await line.opened(server.path)
            if server.begins is not None:
                await server.begins(line)
            await line.send(raw, singly)
            await line.send(behind(leaves))
            return await line.rest()
    except TimeoutError:
        return Got(broke=f"nothing more came in {PATIENCE_S:g} s")
    finally:
        line.hang_up()
