"""Byte streams: a station that is dialled, stations that dial the relay, and a file.

Rules: `Inlet` keeps its transport for pausing and closing alone. A listening feed takes one stream at a time:
a connection takes over when it sends its first byte, and the earlier one is closed then; so a station that
comes back after a half-open drop is heard at once, a connection that says nothing disturbs nobody, and no frame
is made of two connections' bytes. Two stations that both speak need two feeds. A browser, which any page that an
officer opens can make speak to a port, is no station: whatever begins as an HTTP request is closed unread.
"""

import asyncio
import os
import re
import socket
import stat
from collections import deque
from collections.abc import Callable
from typing import cast

from relay.core.errors import OperatorError
from relay.shell.feeds.feed_intake import Feed, ReturningFeed, refusal, words_of

_FILE_CHUNK_BYTES = 65_536
# A request line (RFC 9112 section 3): no format of a station begins so, not even in the middle of a sentence.
_OF_A_BROWSER = re.compile(rb"[A-Z]{3,10} [/*]")
_KEEPALIVE = (("TCP_KEEPIDLE", 10), ("TCP_KEEPINTVL", 5), ("TCP_KEEPCNT", 3))


class Inlet(asyncio.Protocol):
    """The receiving half of one connection; at `bound` unread bytes it is read no further."""

    def __init__(self, bound: int, arrived: Callable[["Inlet"], None] = lambda inlet: None) -> None:
        self._bound, self._arrived = bound, arrived
        self._parts: deque[bytes] = deque()
        self._unread = 0
        self._wake = asyncio.Event()
        self._transport: asyncio.Transport | None = None
        self.gone = asyncio.Event()
        self.why = "the station closed the connection"
        self.peer = ""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Begin: called by the loop."""
        self._transport = cast(asyncio.Transport, transport)  # uvloop's transports are no subclasses
        keep_alive(transport)
        self.peer = address_words(transport.get_extra_info("peername"))
        self._arrived(self)

    def data_received(self, data: bytes) -> None:
        """Keep bytes: called by the loop."""
        self._parts.append(bytes(data))
        self._unread += len(data)
        self._wake.set()
        if self._unread >= self._bound and self._transport and not self._transport.is_closing():
            self._transport.pause_reading()

    def connection_lost(self, exc: Exception | None) -> None:
        """End: called by the loop."""
        if isinstance(exc, OSError):
            self.why = words_of(exc)
        self.gone.set()
        self._wake.set()

    async def read(self) -> bytes:
        """Return the next bytes; none when the connection has ended and all were read."""
        while not self._parts and not self.gone.is_set():
            self._wake.clear()
            await self._wake.wait()
        if not self._parts:
            return b""
        data = self._parts.popleft()
        self._unread -= len(data)
        if self._unread < self._bound and self._transport and not self._transport.is_closing():
            self._transport.resume_reading()
        return data

    def close(self) -> None:
        """Close the connection; what was received can still be read."""
        if self._transport is not None:
            self._transport.close()


class DialledFeed(ReturningFeed):
    """A TCP feed that dials the station, and dials again."""

    async def _visit(self) -> str:
        self._say(f"dialling {self.url.target}")
        try:
            async with asyncio.timeout(self._limits.dial_s):
                inlet = await self._dial()
        except TimeoutError as error:
            return words_of(error) if error.errno else f"no answer in {self._limits.dial_s:g} s"
        except OSError as error:
            return words_of(error)
        except UnicodeError:  # of a name that no resolver can be asked for
            return "the station's name can't be resolved"
        try:
            return await self._listen_to(inlet)
        finally:
            inlet.close()
            await inlet.gone.wait()

    async def _dial(self) -> Inlet:
        loop = asyncio.get_running_loop()
        transport, inlet = await loop.create_connection(
            lambda: Inlet(self._limits.buffer_bytes), self.url.host, self.url.port
        )
        await refuse_itself(transport, inlet)
        return inlet

    async def _listen_to(self, inlet: Inlet) -> str:
        self.counters.connections += 1
        self._say(f"connected to {self.url.target}")
        while True:
            try:
                async with asyncio.timeout(self._limits.idle_s):
                    data = await inlet.read()
            except TimeoutError:
                return f"the station was silent for {self._limits.idle_s:g} s"
            if not data:
                return inlet.why
            self._thrives()
            await self._put_stream(data)


class ListeningFeed(Feed):
    """A TCP feed that stations dial: one stream at a time, the one that began to speak last."""

    async def _receive(self) -> None:
        self._inlets: dict[Inlet, bool] = {}
        self._speaking: Inlet | None = None
        self._turn = asyncio.Lock()
        server = await self._listen()
        try:
            async with asyncio.TaskGroup() as self._tasks:
                await server.start_serving()
                self.bound = server.sockets[0].getsockname()[:2]
                self._say(self._listening)
                await asyncio.Event().wait()
        finally:
            server.close()

    @property
    def _listening(self) -> str:
        return f"listening on {self.url.target}"

    async def _listen(self) -> asyncio.Server:
        loop = asyncio.get_running_loop()
        try:
            return await loop.create_server(
                lambda: Inlet(self._limits.buffer_bytes, self._welcome),
                self.url.host,
                self.url.port,
                start_serving=False,
            )
        except OSError as error:
            raise refusal(self.name, self.url, error) from error

    def _welcome(self, inlet: Inlet) -> None:
        """Take a connection in; at the bound the oldest that has said nothing makes room, else the new one goes."""
        if len(self._inlets) >= self._limits.connections:
            self.counters.refused += 1
            silent = [other for other, spoke in self._inlets.items() if not spoke]
            if not silent:
                inlet.close()
                return
            silent[0].close()
            del self._inlets[silent[0]]
        self._inlets[inlet] = False
        self._tasks.create_task(self._serve(inlet))

    async def _serve(self, inlet: Inlet) -> None:
        try:
            data = await inlet.read()
            if _OF_A_BROWSER.match(data):
                self.counters.refused += 1
            elif data:
                await self._take_over(inlet, data)
        finally:
            inlet.close()
            await inlet.gone.wait()
            self._inlets.pop(inlet, None)

    async def _take_over(self, inlet: Inlet, data: bytes) -> None:
        """Close whoever spoke until now, let what came from there be taken, then take this stream to its end."""
        self._inlets[inlet] = True
        if self._speaking is not None:
            self._speaking.close()
        self._speaking = inlet
        async with self._turn:
            self.counters.connections += 1
            self._say(f"connected to {inlet.peer}")
            while data:
                await self._put_stream(data)
                data = await inlet.read()
            await self._end_stream()
            if self._speaking is inlet:
                self._speaking = None
                self._say(f"{self._listening}: {inlet.why}")


class FileFeed(Feed):
    """A file, read once from its beginning to its end."""

    async def _receive(self) -> None:
        descriptor = self._open()
        try:
            self._say(f"reading {self.url.path}")
            while data := os.read(descriptor, _FILE_CHUNK_BYTES):
                await self._put_stream(data)
                await asyncio.sleep(0)  # a turn for the other feeds
            await self._end_stream()
            self._say(f"{self.url.path} has been read to its end")
        finally:
            os.close(descriptor)

    def _open(self) -> int:
        try:
            descriptor = os.open(self.url.path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        except OSError as error:
            raise OperatorError(
                f"feed {self.name}: {self.url} can't be read: {words_of(error)}. Give the path of a file that is "
                "there and that the relay may read."
            ) from error
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            os.close(descriptor)
            raise OperatorError(f"feed {self.name}: {self.url} is not a file. Give the path of a file.")
        return descriptor


async def refuse_itself(transport: asyncio.BaseTransport, inlet: Inlet) -> None:
    """Close a connection whose two ends are one socket, and raise ConnectionRefusedError.

    A dial to a free port of this machine can meet itself (RFC 9293 section 3.5, simultaneous open), and would then
    keep the station from listening there.
    """
    if transport.get_extra_info("sockname") == transport.get_extra_info("peername"):
        inlet.close()
        await inlet.gone.wait()
        raise ConnectionRefusedError("nobody listens there")


def keep_alive(transport: asyncio.BaseTransport) -> None:
    """Let the kernel notice within half a minute that a station is gone without a word (tcp(7)).

    The probes are empty segments: no byte goes to the station.
    """
    connection = transport.get_extra_info("socket")
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for option, value in _KEEPALIVE:
        if hasattr(socket, option):
            connection.setsockopt(socket.IPPROTO_TCP, getattr(socket, option), value)


def address_words(address: tuple[str, int] | None) -> str:
    """Return the address of a peer as host:port."""
    if address is None:
        return "a station that has gone again"
    host = f"[{address[0]}]" if ":" in address[0] else address[0]
    return f"{host}:{address[1]}"
