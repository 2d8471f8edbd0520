"""A connection to the desk: aiohttp's parser and writer, bounded, with nothing in its answers but ours.

Rules: at most so many connections in all and from one address; a head is whole within `head_s`, or the connection ends;
no Date and no Server header, no log of who came or of what was asked; a fault of ours is logged by its kind alone, for
its words may hold a position.
"""

import asyncio
import logging
from collections import Counter
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any, cast

from aiohttp import web

from relay.shell.gate import address_of

log = logging.getLogger("offing.desk")


@dataclass(frozen=True, slots=True, kw_only=True)
class DeskLimits:
    """The bounds of the desk. Seconds and octets; at each of them the connection ends or the request is refused.

    `stall_s`: how long one who follows the state may take none of it. `streams`: who follows it at a time.
    """

    connections: int = 64
    connections_per_address: int = 24
    streams: int = 16
    head_octets: int = 8_192
    head_s: float = 10.0
    body_s: float = 10.0
    stall_s: float = 10.0
    keepalive_s: float = 30.0
    close_s: float = 1.0
    site_octets: int = 16 * 1024 * 1024


class Rooms:
    """Who is connected."""

    def __init__(self, limits: DeskLimits) -> None:
        self.limits = limits
        self.lines: set[Line] = set()
        self._at: Counter[str] = Counter()

    def enter(self, line: "Line") -> bool:
        """Take a connection in; False where there is no room."""
        limits = self.limits
        if len(self.lines) >= limits.connections or self._at[line.address] >= limits.connections_per_address:
            return False
        self.lines.add(line)
        self._at[line.address] += 1
        return True

    def leave(self, line: "Line") -> None:
        """Let a connection go that was taken in."""
        if line in self.lines:
            self.lines.discard(line)
            self._at[line.address] -= 1
            self._at += Counter()


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
        """Let the connection in if there is room, and wait for its first head only so long."""
        self.address = address_of(transport.get_extra_info("peername"))
        self._wire = cast(asyncio.Transport, transport)
        super().connection_made(transport)
        if self._rooms.enter(self):
            self._late = asyncio.get_running_loop().call_later(self._rooms.limits.head_s, self.abort)
        else:
            self.abort()

    def is_heard(self) -> None:
        """Note that a whole head has come."""
        if self._late is not None:
            self._late.cancel()
            self._late = None

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


def desk_server(
    answer: Callable[[web.BaseRequest], Awaitable[web.StreamResponse]], common: Mapping[str, str]
) -> web.Server:
    """Return the aiohttp server behind all lines; `common`: the headers of every answer."""
    loop = asyncio.get_running_loop()

    class Request(web.BaseRequest):
        # The one hook that aiohttp runs before every head it writes, its own error answers included.
        async def _prepare_hook(self, response: web.StreamResponse) -> None:
            for name in ("Date", "Server"):
                response.headers.pop(name, None)
            response.headers.update(common)

    def make(message: Any, payload: Any, protocol: Any, writer: Any, task: Any) -> web.BaseRequest:
        return Request(message, payload, protocol, writer, task, loop)

    return web.Server(answer, request_factory=make)
