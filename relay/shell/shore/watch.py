"""How a shore is, for its machine's own network: /health, /ready and /metrics, on a listener of their own.

Rules: read alone; nothing of a follower is in it (no address, no token), and nothing that isn't released. It answers
while the logs are still being read. The front is the public port's, with room for few.
"""

import asyncio
import os
from collections.abc import Callable
from http import HTTPStatus

from aiohttp import web
from prometheus_client import CONTENT_TYPE_LATEST, CollectorRegistry, generate_latest

from relay.core.errors import OperatorError
from relay.shell.site.answers import TEXT, security_headers
from relay.shell.site.conversation import http_server
from relay.shell.site.front import Front, House
from relay.shell.site.gate import Gate, Limits
from relay.shell.site.pages import error_response

FEW = Limits(viewers=0, connections=64, connections_per_address=0, http_s=30.0)
PATHS = ("/health", "/ready", "/metrics")


class Watch:
    """Answers how a shore is. `unready`: what it isn't ready for followers for, in words, None once it is."""

    def __init__(
        self,
        listen: tuple[str, int],
        registry: CollectorRegistry,
        unready: Callable[[], str | None],
        limits: Limits = FEW,
    ) -> None:
        self._listen, self._registry, self._unready = listen, registry, unready
        self._gate = Gate(limits)
        self._server: asyncio.Server | None = None
        self._turning: asyncio.Task[None] | None = None

    async def start(self) -> None:
        """Listen; OperatorError if the address can't be had."""
        host, port = self._listen
        common = {**security_headers(), "Cache-Control": "no-store"}
        house = House(self._gate, {}, http_server(self._answer, common), common)
        try:
            self._server = await asyncio.get_running_loop().create_server(lambda: Front(house), host, port)
        except OSError as error:
            raise OperatorError(
                f"health and counts can't be given out at {host}:{port} ({os.strerror(error.errno or 0)}): stop what "
                "listens there, or choose another port: [watch] listen"
            ) from error
        self._turning = asyncio.ensure_future(self._turn())

    @property
    def address(self) -> tuple[str, int]:
        """Host and port where it listens; only between `start` and `close`."""
        assert self._server is not None
        host, port, *_ = self._server.sockets[0].getsockname()
        return host, port

    @property
    def jobs(self) -> list["asyncio.Future[None]"]:
        """What runs from `start` to `close`."""
        return [] if self._turning is None else [self._turning]

    async def _turn(self) -> None:
        while True:
            await asyncio.sleep(self._gate.limits.turn_s)
            self._gate.wheel.turn()

    async def close(self) -> None:
        """Stop listening and cut whoever is still here."""
        if self._server is not None:
            self._server.close()
        for connection in self._gate.wheel:
            connection.abort()
        await self._gate.emptied()
        if self._turning is not None:
            self._turning.cancel()
            await asyncio.wait({self._turning})

    async def _answer(self, request: web.BaseRequest) -> web.StreamResponse:
        path = request.rel_url.raw_path
        if request.method not in ("GET", "HEAD"):
            return error_response(HTTPStatus.METHOD_NOT_ALLOWED)
        if path == "/health":
            return _said(HTTPStatus.OK, "alive")
        if path == "/ready":
            why = self._unready()
            return _said(HTTPStatus.OK, "ready") if why is None else _said(HTTPStatus.SERVICE_UNAVAILABLE, why)
        if path == "/metrics":
            return web.Response(body=generate_latest(self._registry), headers={"Content-Type": CONTENT_TYPE_LATEST})
        return error_response(HTTPStatus.NOT_FOUND)


def _said(status: HTTPStatus, words: str) -> web.Response:
    return web.Response(status=status, body=f"{words}\n".encode(), headers={"Content-Type": TEXT})
