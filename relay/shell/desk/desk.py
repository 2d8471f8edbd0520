"""The desk's server: on its own listener, on this machine or the ship's network alone, for whoever has the token.

Rules: the built page alone, in which nothing is private, needs no token; everything else is answered only to the token,
under one of the desk's own names, and to no other site's page; bodies are JSON and bounded; no browser and no proxy
keeps anything. A stop is taken whatever else is wrong with its message.
"""

import asyncio
import json
import os
import time
from collections.abc import Awaitable, Callable, Mapping
from http import HTTPStatus
from typing import Any

from aiohttp import web

from relay.core.errors import OperatorError
from relay.core.pipeline import Pipeline
from relay.core.ranges import NOTE_LIMIT
from relay.shell.desk.deciding import MESSAGE_LIMIT, Deciding
from relay.shell.desk.desk_line import DeskLimits, Line, Rooms
from relay.shell.desk.desk_stream import Newest
from relay.shell.desk.desk_token import Doorkeeper
from relay.shell.plan.desk_address import hosts_of, web_name
from relay.shell.site.conversation import http_server
from relay.shell.site.representation import Representation

HEADERS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}
ROUTES = {"/state": "GET", "/stream": "GET", "/tracks": "GET", "/decide": "POST", "/check": "POST", "/stop": "POST"}
STOP_BODY_S = 0.02
DECIDE_S = 1.0  # a browser has few connections to the desk, and a stop needs one
NOT_BUILT = (
    b"The desk's page is not built here: run `make site` in the checkout. The desk itself works: with the token as\n"
    b"`Authorization: Bearer TOKEN` there are GET /state, /stream and /tracks, and POST /decide, /check and /stop.\n"
)
_WHY = {
    HTTPStatus.UNAUTHORIZED: "this needs the desk's token: open the address that the relay printed when it started",
    HTTPStatus.FORBIDDEN: "another site's page may not speak to the desk",
    HTTPStatus.NOT_FOUND: "there is nothing here",
    HTTPStatus.REQUEST_ENTITY_TOO_LARGE: f"a message has at most {MESSAGE_LIMIT} octets",
    HTTPStatus.UNSUPPORTED_MEDIA_TYPE: "a message is JSON: Content-Type: application/json",
    HTTPStatus.REQUEST_TIMEOUT: "the message took too long",
    HTTPStatus.MISDIRECTED_REQUEST: "the desk has another name: open the address that the relay printed",
    HTTPStatus.SERVICE_UNAVAILABLE: "too many desks are open: close one",
}


class Refused(Exception):
    """A request that is answered with a status alone."""

    def __init__(self, status: HTTPStatus, **headers: str) -> None:
        super().__init__(status.phrase)
        self.status, self.headers = status, headers


class Desk:
    """Serves the desk of one ship. `state` and `tracks` compose what is shown, `checks` the pipeline's finder."""

    def __init__(
        self,
        token: str,
        deciding: Deciding,
        pipeline: Pipeline,
        *,
        state: Callable[[], dict[str, Any]],
        tracks: Callable[[], dict[str, Any]],
        page: Mapping[str, Representation],
        limits: DeskLimits | None = None,
        doorkeeper: Doorkeeper | None = None,
    ) -> None:
        self._token, self._deciding, self._pipeline = token, deciding, pipeline
        self._tracks, self._page = tracks, page
        self.newest = Newest(state, time.monotonic)
        self._limits = limits or DeskLimits()
        self._doorkeeper = doorkeeper or Doorkeeper(token)
        self._rooms = Rooms(self._limits)
        self._checking = asyncio.Lock()
        self._listener: asyncio.Server | None = None
        self._server: web.Server | None = None
        self._hosts: frozenset[str] = frozenset()
        self._routes: dict[str, Callable[[web.BaseRequest], Awaitable[web.StreamResponse]]] = {
            "/state": self._state,
            "/stream": self._stream,
            "/tracks": self._lines,
            "/decide": self._decide,
            "/check": self._check,
            "/stop": self._stop,
        }

    async def start(self, host: str, port: int) -> None:
        """Listen; OperatorError if the address can't be had."""
        loop = asyncio.get_running_loop()
        server = self._server = http_server(self.answer, HEADERS)
        try:
            self._listener = await loop.create_server(lambda: Line(server, self._rooms), host, port)
        except OSError as error:
            raise OperatorError(
                f"the desk can't be had at {web_name(host, port)} ({os.strerror(error.errno or 0)}): stop what listens "
                f"there, or choose another address of this machine or another port ([desk] listen)"
            ) from error
        self._hosts = hosts_of(*self.address)

    @property
    def address(self) -> tuple[str, int]:
        """Host and port where the desk listens; only between `start` and `close`."""
        assert self._listener is not None
        host, port, *_ = self._listener.sockets[0].getsockname()
        return host, port

    @property
    def url(self) -> str:
        """The address of the page, with the token behind `#`: that part is sent to nobody."""
        return f"{web_name(*self.address)}#{self._token}"

    async def close(self) -> None:
        """Stop listening and end every connection."""
        if self._listener is not None:
            self._listener.close()
        for line in self._rooms.lines:
            line.abort()
        if self._server is not None:
            await self._server.shutdown(self._limits.close_s)

    async def answer(self, request: web.BaseRequest) -> web.StreamResponse:
        """Return the answer to one request."""
        if isinstance(request.protocol, Line):
            request.protocol.is_heard()
        try:
            return await self._answer(request)
        except Refused as refused:
            return _refusal(refused)

    async def _answer(self, request: web.BaseRequest) -> web.StreamResponse:
        if [name.lower() for name in request.headers.getall("Host", [])] not in [[name] for name in self._hosts]:
            raise Refused(HTTPStatus.MISDIRECTED_REQUEST)
        path = request.raw_path.partition("?")[0]
        method = ROUTES.get(path)
        if method is None:
            return self._of_page(request, path)
        if request.method != method:
            raise Refused(HTTPStatus.METHOD_NOT_ALLOWED, Allow=method)
        self._judge_origin(request)
        if not self._doorkeeper.knows(request.headers.get("Authorization")):
            await self._doorkeeper.keep_waiting()
            raise Refused(HTTPStatus.UNAUTHORIZED, **{"WWW-Authenticate": "Bearer"})
        if isinstance(request.protocol, Line):
            request.protocol.shows_token()
        return await self._routes[path](request)

    def _judge_origin(self, request: web.BaseRequest) -> None:
        """Refuse what another site's page makes a browser send (RFC 6454; W3C, Fetch Metadata Request Headers)."""
        origins = request.headers.getall("Origin", [])
        own = [f"http://{name}" for name in self._hosts]
        sites = request.headers.getall("Sec-Fetch-Site", [])
        if any(origin.lower() not in own for origin in origins) or set(sites) - {"same-origin", "none"}:
            raise Refused(HTTPStatus.FORBIDDEN)

    def _of_page(self, request: web.BaseRequest, path: str) -> web.Response:
        found = self._page.get(path)
        if found is None and path != "/":
            raise Refused(HTTPStatus.NOT_FOUND)
        if request.method not in ("GET", "HEAD"):
            raise Refused(HTTPStatus.METHOD_NOT_ALLOWED, Allow="GET, HEAD")
        if found is None:
            return web.Response(body=NOT_BUILT, content_type="text/plain", charset="utf-8")
        return web.Response(body=found.content, headers={"Content-Type": found.content_type})

    async def _state(self, _request: web.BaseRequest) -> web.Response:
        return web.Response(body=self.newest.line(), content_type="application/json")

    async def _lines(self, _request: web.BaseRequest) -> web.Response:
        return _json(self._tracks())

    async def _stream(self, request: web.BaseRequest) -> web.StreamResponse:
        if self.newest.followers >= self._limits.streams:
            raise Refused(HTTPStatus.SERVICE_UNAVAILABLE)
        response = web.StreamResponse(headers={"Content-Type": "application/x-ndjson"})
        if isinstance(request.protocol, Line):
            request.protocol.narrow()
        await response.prepare(request)
        with self.newest.follow() as following:
            while True:
                line = await following.next()
                try:
                    async with asyncio.timeout(self._limits.stall_s):
                        await response.write(line)
                        await request.writer.drain()  # aiohttp's own waits only past 64 KiB
                except (TimeoutError, ConnectionError):
                    break
        if isinstance(request.protocol, Line):
            request.protocol.abort()
        return response

    async def _decide(self, request: web.BaseRequest) -> web.Response:
        answer = await self._deciding.take(await self._body(request), DECIDE_S)
        self.newest.changed()
        return _json(answer)

    async def _stop(self, request: web.BaseRequest) -> web.Response:
        """Hold everything; of the message only the name matters, and only if it came with the head."""
        try:
            message = json.loads(await self._body(request, STOP_BODY_S))
            who = message.get("who") if isinstance(message, dict) else None
        except (Refused, ValueError, RecursionError):
            who = None
        answer = await self._deciding.stop(who, self.newest.changed)
        self.newest.changed()
        return _json(answer)

    async def _check(self, request: web.BaseRequest) -> web.Response:
        """Return what in a text tells a place, for those of its audiences that get none such."""
        try:
            message = json.loads(await self._body(request))
            text, aimed, programme = message["text"], message.get("audiences") or [], message.get("programme", False)
            if not (isinstance(text, str) and isinstance(aimed, list) and isinstance(programme, bool)):
                raise TypeError
        except (ValueError, RecursionError, TypeError, KeyError, AttributeError):
            return _json({"ok": False, "why": 'a check is {"text": ..., "audiences": [...], "programme": true|false}'})
        if len(text) > NOTE_LIMIT:
            too_long = {"why": f"It is too long: {NOTE_LIMIT} characters at most.", "start": NOTE_LIMIT}
            return _json({"ok": True, "findings": [{**too_long, "end": len(text)}]})
        policies = [policy for policy in self._pipeline.plan.policies if not aimed or policy.audience in aimed]
        if not any(policy.check_text for policy in policies):
            return _json({"ok": True, "findings": []})
        check = self._pipeline.check_programme if programme else self._pipeline.check_text
        async with self._checking:  # a thread beside the loop: one at a time, or typing would slow the release
            found = await asyncio.to_thread(check, text)
        return _json({"ok": True, "findings": [{"why": it.why, "start": it.start, "end": it.end} for it in found]})

    async def _body(self, request: web.BaseRequest, within_s: float | None = None) -> bytes:
        """Return a request's body: JSON by its type, uncoded, bounded in octets and time."""
        if request.content_type != "application/json" or "Content-Encoding" in request.headers:
            raise Refused(HTTPStatus.UNSUPPORTED_MEDIA_TYPE)
        if (request.content_length or 0) > MESSAGE_LIMIT:
            raise Refused(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        body = b""
        try:
            async with asyncio.timeout(self._limits.body_s if within_s is None else within_s):
                async for part in request.content.iter_any():
                    body += part
                    if len(body) > MESSAGE_LIMIT:
                        raise Refused(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)
        except TimeoutError:
            raise Refused(HTTPStatus.REQUEST_TIMEOUT) from None
        except ConnectionError:  # it ended within the message: the peer's fault, and nobody is there to be told
            raise Refused(HTTPStatus.BAD_REQUEST) from None
        return body


def _json(value: dict[str, Any]) -> web.Response:
    body = json.dumps(value, ensure_ascii=False, allow_nan=False).encode(errors="backslashreplace")
    return web.Response(body=body, content_type="application/json")


def _refusal(refused: Refused) -> web.Response:
    response = _json({"ok": False, "why": _WHY.get(refused.status, refused.status.phrase)})
    response.set_status(refused.status)
    response.headers.update(refused.headers)
    if refused.status is not HTTPStatus.NOT_FOUND:
        response.force_close()
    return response
