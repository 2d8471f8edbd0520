"""An HTTP connection of the public port: aiohttp's parser and writer, with nothing in its answers but ours.

Rules: no Date and no Server header, also where aiohttp makes the answer itself; a request that cannot be read
gets the same constant text as any other; nothing of a peer is logged, its address included.
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable, Mapping
from http import HTTPStatus
from typing import Any

from aiohttp import HttpVersion10, HttpVersion11, web

from relay.shell.site.attendance import keep_little, throw_away
from relay.shell.site.gate import Gate
from relay.shell.site.pages import error_response
from relay.shell.site.slices import narrow

log = logging.getLogger("offing.site")
GUESTS_KERNEL_OCTETS = 65_536


def http_server(
    answer: Callable[[web.BaseRequest], Awaitable[web.StreamResponse]], common: Mapping[str, str]
) -> web.Server:
    """Return the aiohttp server behind all connections of a port; `common`: the headers of every answer.

    aiohttp answers in whatever version it is asked in; RFC 9110 section 2.5 forbids one that isn't kept to. So what is
    asked in none of these two is answered in HTTP/1.1.
    """
    loop = asyncio.get_running_loop()

    class Request(web.BaseRequest):
        # The one hook that aiohttp runs before every head it writes, its own error answers included.
        async def _prepare_hook(self, response: web.StreamResponse) -> None:
            for name in ("Date", "Server"):
                response.headers.pop(name, None)
            response.headers.update(common)

    def make(message: Any, payload: Any, protocol: Any, writer: Any, task: Any) -> web.BaseRequest:
        kept_to = message.version in (HttpVersion10, HttpVersion11)
        asked = message if kept_to else message._replace(version=HttpVersion11)
        return Request(asked, payload, protocol, writer, task, loop)

    return web.Server(answer, request_factory=make)


class Conversation(web.RequestHandler):
    """One HTTP connection. `close_s`, `http_s`, `keepalive_s` of the limits bound how long it lives."""

    __slots__ = ("_extended", "_gate", "_line", "address", "deadline")

    def __init__(self, server: web.Server, gate: Gate, address: str) -> None:
        limits = gate.limits
        super().__init__(
            server,
            loop=asyncio.get_running_loop(),
            keepalive_timeout=limits.keepalive_s,
            lingering_time=limits.close_s,
            access_log=None,  # type: ignore[arg-type]  # aiohttp's own type leaves out what it documents
            logger=log,
            max_line_size=limits.head_octets,
            max_field_size=limits.head_octets,
        )
        self._gate = gate
        self.address = address
        self._extended = False
        self._line: asyncio.Transport | None = None
        self.deadline = 0

    def begin(self, transport: asyncio.Transport, received: bytes) -> None:
        """Take the connection over, with what was already received."""
        self._gate.wheel.put(self, self._gate.limits.turns(self._gate.limits.http_s))
        self._line = transport  # aiohttp lets go of its own as soon as it has asked it to close
        narrow(transport)
        transport.set_protocol(self)
        self.connection_made(transport)
        self.data_received(received)

    def handle_error(
        self, request: web.BaseRequest, status: int = 500, exc: BaseException | None = None, message: str | None = None
    ) -> web.StreamResponse:
        """Return a constant answer; a fault of ours is logged, a fault of the peer is counted."""
        if request.writer.output_size > 0:
            raise ConnectionError("the answer had begun")
        if status >= HTTPStatus.INTERNAL_SERVER_ERROR:
            log.error("an answer could not be made", exc_info=exc)
            return error_response(HTTPStatus.INTERNAL_SERVER_ERROR)
        self._gate.tally.faults += 1
        return error_response(HTTPStatus.BAD_REQUEST)

    def due(self) -> None:
        """End the connection; an answer that is still being taken gets as long again, once."""
        idle = self._line is None or (self._line.get_write_buffer_size() == 0 and not self._request_in_progress)
        if self._extended or idle:
            self.abort()
        else:
            self._extended = True
            self._gate.wheel.put(self, self._gate.limits.turns(self._gate.limits.http_s))

    def leave(self) -> None:
        """Finish the answer at hand and close."""
        self._gate.wheel.put(self, self._gate.limits.turns(self._gate.limits.close_s))
        self._extended = True
        self.close()

    def abort(self) -> None:
        """Cut the connection."""
        if self._line is not None:
            self._line.abort()

    def attends(self, guest_id: str) -> bool:
        """Note that what is given out here is given on an invitation; False if that has too many connections.

        From then on little waits in the kernel, where nothing could take it back once the answer is written whole.
        False as well for a connection that ends: it may be lost already, and would then stand there for good.
        """
        if self._line is None or self._line.is_closing():
            return False
        keep_little(self._line, GUESTS_KERNEL_OCTETS)
        return self._gate.attendance.attend(guest_id, self)

    def uninvited(self) -> None:
        """Cut the connection of a guest whose invitation has ended; what waits in the kernel isn't sent either."""
        if self._line is not None:
            throw_away(self._line)
            self._line.abort()

    def connection_lost(self, exc: BaseException | None) -> None:
        """Give back the place."""
        super().connection_lost(exc)
        self._gate.attendance.depart(self)
        self._gate.wheel.remove(self)
        self._gate.leave(self.address)
