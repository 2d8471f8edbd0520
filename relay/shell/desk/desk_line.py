"""A connection to the desk: aiohttp's parser and writer, bounded, with nothing in its answers but ours.

Rules: at most so many connections in all and from one address; whoever has not shown the token takes no place from
those who have, and gives up the place when it is the oldest of too many; a head is whole within `head_s`, or the
connection ends; what is written waits here, not in the kernel, so that nothing old is sent late as if it were new;
no Date and no Server header, no log of who came or of what was asked; a fault of ours is logged by its kind alone, for
its words may hold a position.
"""

import asyncio
import logging
import socket
from dataclasses import dataclass
from http import HTTPStatus
from typing import cast

from aiohttp import web

from relay.shell.site.gate import address_of

log = logging.getLogger("offing.desk")


@dataclass(frozen=True, slots=True, kw_only=True)
class DeskLimits:
    """The bounds of the desk. Seconds and octets; at each of them the connection ends or the request is refused.

    `connections`: of those who have shown the token, and as many again of those who haven't; the latter are bounded by
    address, too.
    `stall_s`: how long one who follows the state may take none of it. `streams`: who follows it at a time.
    """

    connections: int = 64
    connections_per_address: int = 24
    streams: int = 16
    head_octets: int = 8_192
    head_s: float = 2.0
    body_s: float = 10.0
    stall_s: float = 10.0
    keepalive_s: float = 30.0
    close_s: float = 1.0
    write_high_octets: int = 4_096
    send_buffer_octets: int = 16_384
    site_octets: int = 16 * 1024 * 1024


class Rooms:
    """Who is connected: strangers, and those who have shown the token; the oldest of each first."""

    def __init__(self, limits: DeskLimits) -> None:
        self.limits = limits
        self._strangers: dict[Line, None] = {}
        self._known: dict[Line, None] = {}

    @property
    def lines(self) -> list["Line"]:
        """Everybody."""
        return [*self._strangers, *self._known]

    def enter(self, line: "Line") -> None:
        """Take a connection in; where there is no room, the oldest stranger goes."""
        beside = [other for other in self._strangers if other.address == line.address]
        if len(beside) >= self.limits.connections_per_address:
            self._cut(beside[0])
        elif len(self._strangers) >= self.limits.connections:
            self._cut(next(iter(self._strangers)))
        self._strangers[line] = None

    def show(self, line: "Line") -> None:
        """Note that a connection has shown the token."""
        if line not in self._strangers:
            return
        del self._strangers[line]
        self._known[line] = None
        if len(self._known) > self.limits.connections:
            self._cut(next(iter(self._known)))

    def leave(self, line: "Line") -> None:
        """Let a connection go."""
        self._strangers.pop(line, None)
        self._known.pop(line, None)

    def _cut(self, line: "Line") -> None:
        self.leave(line)
        line.abort()


class Line(web.RequestHandler):
    """One connection to the desk."""

    __slots__ = ("_late", "_rooms", "_wire", "address")

    def __init__(self, server: web.Server, rooms: Rooms) -> None:
        limits = rooms.limits
        super().__init__(
            server,
            loop=asyncio.get_running_loop(),
            keepalive_timeout=limits.keepalive_s,
            lingering_time=limits.close_s,
            access_log=None,  # type: ignore[arg-type]  # aiohttp's own type leaves out what it documents
            logger=log,
            max_line_size=limits.head_octets,
            max_field_size=limits.head_octets,
            auto_decompress=False,
        )
        self.address = ""
        self._rooms = rooms
        self._late: asyncio.TimerHandle | None = None
        self._wire: asyncio.Transport | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Let the connection in, and wait for its first head only so long."""
        self.address = address_of(transport.get_extra_info("peername"))
        self._wire = cast(asyncio.Transport, transport)
        super().connection_made(transport)
        self._rooms.enter(self)
        self._late = asyncio.get_running_loop().call_later(self._rooms.limits.head_s, self.abort)

    def is_heard(self) -> None:
        """Note that a whole head has come."""
        if self._late is not None:
            self._late.cancel()
            self._late = None

    def shows_token(self) -> None:
        """Note that whoever this is has the token."""
        self._rooms.show(self)

    def narrow(self) -> None:
        """Let as little as can be wait in the kernel: it hides a stall, and would send minutes of old states as new."""
        if self._wire is None or self._wire.is_closing():  # a lost one raises what is no ConnectionError
            return
        self._wire.set_write_buffer_limits(high=self._rooms.limits.write_high_octets)
        raw = cast("socket.socket | None", self._wire.get_extra_info("socket"))
        if raw is not None:
            raw.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, self._rooms.limits.send_buffer_octets)

    def abort(self) -> None:
        """Cut the connection."""
        if self._wire is not None:
            self._wire.abort()

    def handle_error(
        self, request: web.BaseRequest, status: int = 500, exc: BaseException | None = None, message: str | None = None
    ) -> web.StreamResponse:
        """Return a constant answer."""
        if request.writer.output_size > 0:
            raise ConnectionError("the answer had begun")
        ours = status >= HTTPStatus.INTERNAL_SERVER_ERROR
        if ours:
            log.error("the desk could not answer (%s)", type(exc).__name__)
        response = web.json_response(
            {"ok": False, "why": "a fault of Offing's own" if ours else "the request could not be read"},
            status=HTTPStatus.INTERNAL_SERVER_ERROR if ours else HTTPStatus.BAD_REQUEST,
        )
        response.force_close()
        return response

    def connection_lost(self, exc: BaseException | None) -> None:
        """Give back the place."""
        self.is_heard()
        self._rooms.leave(self)
        super().connection_lost(exc)
