"""A websocket that the shore was dialled on (RFC 6455), by the library `websockets` without its input and output.

Rules: no compression, no fragments, no text; what hasn't proved itself can send no more than `most` octets, its opening
included; nothing of what a peer sends is logged. LinkError says what was wrong with it.
"""

import asyncio
import logging
from collections import deque

from websockets.frames import Frame, Opcode
from websockets.http11 import Request, Response
from websockets.protocol import OPEN
from websockets.server import ServerProtocol

from relay.core.errors import LinkError
from relay.core.uplink_talk import GREETING_OCTETS
from relay.core.websocket import refusal_of

READ_OCTETS = 16_384
_silent = logging.getLogger("relay.shell.uplink.uplink_socket.silent")
_silent.setLevel(logging.CRITICAL + 1)
_silent.propagate = False


class ShoreSocket:
    """One connection, after TLS. `open`, then `receive` and `send`, then `close`."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, most: int) -> None:
        self._reader, self._writer = reader, writer
        self._left: int | None = most
        self._protocol = ServerProtocol(max_size=GREETING_OCTETS, logger=_silent)
        self._events: deque[object] = deque()

    async def open(self) -> None:
        """Take the opening handshake."""
        request = await self._next()
        if not isinstance(request, Request):
            raise LinkError("no websocket's opening")
        self._protocol.send_response(self._answer(request))
        await self._flush()
        if self._protocol.state is not OPEN:
            raise LinkError("no websocket's opening")

    def _answer(self, request: Request) -> Response:
        """Return the answer to an opening: the library's own where it is one in all that RFC 6455 section 4.2.1 asks.

        The library doesn't look at Host, and to another version it doesn't say which is spoken here (section 4.4).
        """
        refusal = refusal_of(request.path, request.headers.raw_items())
        if refusal is None:
            return self._protocol.accept(request)
        response = self._protocol.reject(refusal.status, f"{refusal.text}\n")
        response.headers.update(refusal.headers)
        return response

    def proved(self) -> None:
        """Let the peer send on: it is who it should be."""
        self._left = None

    async def receive(self) -> bytes:
        """Return the next message; EOFError when the peer has gone."""
        while True:
            frame = await self._next()
            if not isinstance(frame, Frame) or frame.opcode in (Opcode.TEXT, Opcode.CONT):
                raise LinkError("a frame that no ship sends")
            if frame.opcode is Opcode.CLOSE:
                raise EOFError
            if frame.opcode is Opcode.BINARY:
                if not frame.fin:
                    raise LinkError("a fragment")
                return bytes(frame.data)

    async def _next(self) -> object:
        while not self._events:
            data = await self._reader.read(READ_OCTETS)
            if not data:
                raise EOFError
            self._spend(len(data))
            self._protocol.receive_data(data)
            self._events += self._protocol.events_received()
            await self._flush()
            if self._protocol.parser_exc is not None:
                raise LinkError("not a websocket as RFC 6455 has it")
        return self._events.popleft()

    def _spend(self, octets: int) -> None:
        if self._left is not None:
            self._left -= octets
            if self._left < 0:
                raise LinkError("too much before its proof")

    async def send(self, data: bytes) -> None:
        """Send a message, and wait until there is room for the next; EOFError where the peer has taken leave."""
        if self._protocol.state is not OPEN:
            raise EOFError
        self._protocol.send_binary(data)
        await self._flush()

    async def _flush(self) -> None:
        for data in self._protocol.data_to_send():
            if data:
                self._writer.write(data)
            else:  # both have said that it ends: the server closes first (RFC 6455 section 7.1.1)
                self._writer.close()
        await self._writer.drain()

    async def close(self, code: int) -> None:
        """Say why it ends; whoever reads goes on until the peer has said so, too."""
        if self._protocol.state is OPEN:
            self._protocol.send_close(code)
            await self._flush()

    async def gone(self) -> None:
        """Wait until the peer has gone, too; what it still says counts no more."""
        while data := await self._reader.read(READ_OCTETS):
            self._protocol.receive_data(data)
            await self._flush()

    def abort(self) -> None:
        """Go at once."""
        self._writer.transport.abort()
