"""Websocket messages: a station that is dialled, and stations that dial the relay (RFC 6455).

Rules: a message is one frame or more, never a part of one, so several stations may speak at once. The relay
sends the opening handshake, pongs and close frames, which the protocol asks for, and no data frame and no ping:
half-open connections are noticed by TCP. Pages in browsers are refused, or any page an officer opens could
speak as a station. Text that isn't UTF-8 ends its connection (section 8.1), but like all bad bytes it is kept first.
"""

import asyncio
import logging
from typing import Any
from weakref import WeakSet

from websockets.asyncio.client import connect
from websockets.asyncio.connection import Connection
from websockets.asyncio.server import Server, ServerConnection, serve
from websockets.exceptions import ConnectionClosed, InvalidStatus, WebSocketException
from websockets.http11 import Request, Response

from relay.core.websocket import refusal_of
from relay.shell.feeds.feed_intake import Feed, FeedLimits, ReturningFeed, refusal, words_of
from relay.shell.feeds.feed_stream import address_words, keep_alive

# RFC 6455 section 7.4.1; the last from IANA's WebSocket close code registry.
_GOING_AWAY, _NOT_UTF8, _MESSAGE_TOO_BIG, _TRY_AGAIN_LATER = 1001, 1007, 1009, 1013

# The library's log lines quote frames, and so positions (R1): none is passed on.
_silent = logging.getLogger("relay.shell.feeds.feed_websocket.silent")
_silent.setLevel(logging.CRITICAL + 1)
_silent.propagate = False


class WebsocketDialledFeed(ReturningFeed):
    """A websocket feed that dials the station, and dials again."""

    async def _visit(self) -> str:
        self._say(f"dialling {self.url.target}")
        try:
            connection = await self._dial()
        except TimeoutError as error:
            return words_of(error) if error.errno else f"no answer in {self._limits.dial_s:g} s"
        except OSError as error:
            return words_of(error)
        except InvalidStatus as error:
            return f"the station answered with HTTP status {error.response.status_code}"
        except (WebSocketException, ValueError, EOFError):
            return "the station doesn't speak websocket"
        try:
            return await self._listen_to(connection)
        finally:
            try:
                await connection.close()
            finally:
                # Before Python 3.11.3 a timeout inside a cancelled task ends as cancellation, and the library then
                # leaves the connection open.
                connection.transport.abort()

    async def _dial(self) -> Connection:
        # Host and port are given again so that a redirect to another machine is refused.
        return await connect(
            self.url.text,
            host=self.url.host,
            port=self.url.port,
            proxy=None,
            open_timeout=self._limits.dial_s,
            user_agent_header=None,
            **_common(self._limits),
        )

    async def _listen_to(self, connection: Connection) -> str:
        keep_alive(connection.transport)
        self.counters.connections += 1
        self._say(f"connected to {self.url.target}")
        while True:
            try:
                async with asyncio.timeout(self._limits.idle_s):
                    data = await _received(connection)
            except TimeoutError:
                return f"the station was silent for {self._limits.idle_s:g} s"
            except ConnectionClosed as error:
                if (bad := _text_that_is_none(error)) is not None:
                    await self._put_message(bad)
                return closing_words(error, self._limits.message_bytes)
            self._thrives()
            await self._put_message(data)


class WebsocketListeningFeed(Feed):
    """A websocket feed that stations dial, up to the bound of connections at once."""

    async def _receive(self) -> None:
        self._stations: dict[asyncio.Task[Any], ServerConnection] = {}
        self._callers: WeakSet[ServerConnection] = WeakSet()
        self._failure: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        server = await self._listen()
        try:
            self.bound = next(iter(server.sockets)).getsockname()[:2]
            self._tell()
            await self._failure
        finally:
            await self._close(server)

    async def _listen(self) -> Server:
        try:
            return await serve(
                self._serve,
                self.url.host,
                self.url.port,
                origins=[None],
                process_request=_refused,
                server_header=None,
                open_timeout=self._limits.dial_s,
                **_common(self._limits) | {"create_connection": self._answer},
            )
        except OSError as error:
            raise refusal(self.name, self.url, error) from error

    def _answer(self, *given: Any, **named: Any) -> ServerConnection:
        """Make a connection and remember it from its first moment, the opening handshake included."""
        caller = ServerConnection(*given, **named)
        self._callers.add(caller)
        return caller

    async def _close(self, server: Server) -> None:
        """Take leave of the stations in the protocol's way, then end what waits for room or shook no hands."""
        server.close(close_connections=False)
        stations = dict(self._stations)
        await asyncio.gather(*(station.close(_GOING_AWAY) for station in stations.values()))
        for task in stations:
            task.cancel()
        for caller in list(self._callers):
            if hasattr(caller, "transport"):
                caller.transport.abort()
        await server.wait_closed()

    def _tell(self, why: str = "") -> None:
        if self._stations:
            peers = [address_words(station.remote_address) for station in self._stations.values()]
            self._say(f"connected to {', '.join(peers)}")
        else:
            self._say(f"listening on {self.url.target}{why and ': '}{why}")

    async def _serve(self, connection: ServerConnection) -> None:
        if len(self._stations) >= self._limits.connections:
            self.counters.refused += 1
            await connection.close(_TRY_AGAIN_LATER)
            return
        task = asyncio.current_task()
        assert task is not None
        self._stations[task] = connection
        self.counters.connections += 1
        self._tell()
        try:
            why = await self._listen_to(connection)
        except Exception as error:
            # The library would only log it; what goes wrong here is our fault, and stops the feed.
            if not self._failure.done():
                self._failure.set_exception(error)
            raise
        finally:
            del self._stations[task]
        self._tell(why)

    async def _listen_to(self, connection: ServerConnection) -> str:
        keep_alive(connection.transport)
        while True:
            try:
                data = await _received(connection)
            except ConnectionClosed as error:
                if (bad := _text_that_is_none(error)) is not None:
                    await self._put_message(bad)
                return closing_words(error, self._limits.message_bytes)
            await self._put_message(data)


def _refused(connection: ServerConnection, request: Request) -> Response | None:
    """Return the answer to what is no handshake in all that RFC 6455 section 4.2.1 asks; None leaves it to the library.

    The library doesn't look at Host, and to another version it doesn't say which is spoken here (section 4.4).
    """
    refusal = refusal_of(request.path, request.headers.raw_items())
    if refusal is None:
        return None
    response = connection.respond(refusal.status, f"{refusal.text}\n")
    response.headers.update(refusal.headers)
    return response


async def _received(connection: Connection) -> bytes:
    """Return the octets of the next message: of text those of its UTF-8, which are the ones that came."""
    message = await connection.recv()
    return message.encode() if isinstance(message, str) else message


def _text_that_is_none(error: ConnectionClosed) -> bytes | None:
    """Return the octets of the text for which the library ended a connection, because they aren't UTF-8."""
    cause = error.__cause__
    return cause.object if isinstance(cause, UnicodeDecodeError) else None


def closing_words(error: ConnectionClosed, limit: int) -> str:
    """Return why a connection ended, in our words, not the peer's."""
    if error.sent is None or error.rcvd_then_sent:
        return "the station closed the connection"
    if error.sent.code == _MESSAGE_TOO_BIG:
        return f"the station sent a message longer than {limit} bytes"
    if error.sent.code == _NOT_UTF8 and _text_that_is_none(error) is not None:
        return "the station sent text that isn't UTF-8"
    return "the station broke the websocket protocol"


def _common(limits: FeedLimits) -> dict[str, Any]:
    return {
        "compression": None,
        "ping_interval": None,
        "close_timeout": limits.farewell_s,
        "max_size": limits.message_bytes,
        "max_queue": 4,
        "logger": _silent,
    }
