"""Real control stations on the loopback, one for each transport.

The websocket stations are aiohttp's, so that what the relay reads was written by another implementation.
"""

import asyncio
import os
import pty
import socket
import termios
import tty
from abc import ABC, abstractmethod
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from aiohttp import ClientSession, ClientWebSocketResponse, WSMsgType, web

from peers import PATIENCE_S
from relay.shell.feeds.feeds import Feed, FeedUrl, parse_feed_url

LIMIT_S = PATIENCE_S
END = ("lantern", b"", True)


class Bell:
    """Rung whenever anything changed; lets a test wait for a condition."""

    def __init__(self) -> None:
        self._rung = asyncio.Event()

    def ring(self) -> None:
        self._rung.set()

    async def until(self, condition: Callable[[], bool]) -> None:
        async with asyncio.timeout(LIMIT_S):
            while not condition():
                self._rung.clear()
                await self._rung.wait()


class Station(ABC):
    """What stands at the other end of a feed."""

    whole = False
    url: FeedUrl

    @abstractmethod
    async def open(self, folder: Path) -> None:
        """Be ready to be found, and say where by `url`."""

    @abstractmethod
    async def meet(self, feed: Feed, bell: Bell) -> None:
        """Wait until this station can speak to the feed."""

    @abstractmethod
    async def say(self, data: bytes) -> None: ...

    @abstractmethod
    async def heard(self) -> list[bytes]:
        """Return all that ever came back; called once the feed has stopped."""

    @abstractmethod
    async def drop(self) -> None:
        """Break the link off."""

    async def close(self) -> None:
        await self.drop()


class UdpStation(Station):
    """Datagrams to one address; the feed is bound to a free port."""

    whole = True
    host = "127.0.0.1"
    query = ""

    async def open(self, folder: Path) -> None:
        text = f"udp://{self.host}:1{self.query}"
        self.url = free_port(parse_feed_url(text))
        self.socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.socket.setblocking(False)
        self.socket.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
        self.socket.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))

    async def meet(self, feed: Feed, bell: Bell) -> None:
        await bell.until(lambda: feed.bound is not None)
        self.target = feed.bound

    async def say(self, data: bytes) -> None:
        assert self.target is not None
        self.socket.sendto(data, self.target)

    async def heard(self) -> list[bytes]:
        with suppress(BlockingIOError):
            return [self.socket.recv(65_536)]
        return []

    async def drop(self) -> None:
        self.socket.close()


class BroadcastStation(UdpStation):
    host = "127.255.255.255"


class MulticastStation(UdpStation):
    host = "239.192.77.1"
    query = "?interface=127.0.0.1"


class TcpStation(Station):
    """A TCP station, whichever side dials."""

    connection: socket.socket | None = None

    async def say(self, data: bytes) -> None:
        assert self.connection is not None
        await asyncio.get_running_loop().sock_sendall(self.connection, data)

    async def heard(self) -> list[bytes]:
        assert self.connection is not None
        return await read_to_the_end(self.connection)

    async def drop(self) -> None:
        if self.connection is not None:
            self.connection.close()


class ListeningStation(TcpStation):
    """A TCP station that the relay dials."""

    async def open(self, folder: Path) -> None:
        self.listener = socket.create_server(("127.0.0.1", 0))
        self.listener.setblocking(False)
        self.url = parse_feed_url(f"tcp://127.0.0.1:{self.listener.getsockname()[1]}")

    async def meet(self, feed: Feed, bell: Bell) -> None:
        async with asyncio.timeout(LIMIT_S):
            self.connection, _ = await asyncio.get_running_loop().sock_accept(self.listener)
        await bell.until(lambda: feed.state.startswith("connected to"))

    async def close(self) -> None:
        await self.drop()
        self.listener.close()


class DiallingStation(TcpStation):
    """A TCP station that dials the relay."""

    async def open(self, folder: Path) -> None:
        self.url = free_port(parse_feed_url("tcp-listen://127.0.0.1:1"))

    async def meet(self, feed: Feed, bell: Bell) -> None:
        await bell.until(lambda: feed.bound is not None)
        self.connection = await dial(feed)


class SerialStation(Station):
    """The far end of a pseudo-terminal, which the relay opens as its serial port by a link that can be moved."""

    async def open(self, folder: Path) -> None:
        self.link = folder / "ttyUSB0"
        self.plug_in()
        self.url = parse_feed_url(f"serial://{self.link}?baud=4800")

    def plug_in(self) -> None:
        self.far, near = pty.openpty()
        os.set_blocking(self.far, False)
        tty.setraw(self.far)  # this end; the relay has to set its own
        termios.tcsetattr(near, termios.TCSANOW, _cooked(near))
        self.near = near
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(near))

    async def meet(self, feed: Feed, bell: Bell) -> None:
        await bell.until(lambda: feed.state.startswith("reading"))

    async def say(self, data: bytes) -> None:
        while data:
            try:
                data = data[os.write(self.far, data) :]
            except BlockingIOError:
                await turn()

    async def heard(self) -> list[bytes]:
        with suppress(BlockingIOError):
            return [os.read(self.far, 65_536)]
        return []

    async def drop(self) -> None:
        for descriptor in (self.far, self.near):
            with suppress(OSError):
                os.close(descriptor)


class WebsocketListeningStation(Station):
    """A websocket station that the relay dials."""

    whole = True

    async def open(self, folder: Path) -> None:
        self.met: asyncio.Queue[web.WebSocketResponse] = asyncio.Queue()
        self.kept: list[bytes] = []
        self.over = asyncio.Event()
        app = web.Application()
        app.router.add_get("/state", self._serve)
        self.runner = web.AppRunner(app, shutdown_timeout=1.0)
        await self.runner.setup()
        site = web.TCPSite(self.runner, "127.0.0.1", 0)
        await site.start()
        self.url = parse_feed_url(f"ws://127.0.0.1:{self.runner.addresses[0][1]}/state")

    async def _serve(self, request: web.Request) -> web.WebSocketResponse:
        websocket = web.WebSocketResponse()
        await websocket.prepare(request)
        self.met.put_nowait(websocket)
        async for message in websocket:
            self.kept.append(bytes(message.data, "utf-8") if message.type is WSMsgType.TEXT else message.data)
        self.over.set()
        return websocket

    async def meet(self, feed: Feed, bell: Bell) -> None:
        async with asyncio.timeout(LIMIT_S):
            self.websocket = await self.met.get()
        await bell.until(lambda: feed.state.startswith("connected to"))

    async def say(self, data: bytes) -> None:
        await self.websocket.send_bytes(data)

    async def say_text(self, text: str) -> None:
        await self.websocket.send_str(text)

    async def heard(self) -> list[bytes]:
        async with asyncio.timeout(LIMIT_S):
            await self.over.wait()
        return self.kept

    async def drop(self) -> None:
        await self.websocket.close()

    async def close(self) -> None:
        await self.runner.cleanup()


class WebsocketDiallingStation(Station):
    """A websocket station that dials the relay."""

    whole = True
    session: ClientSession | None = None
    websocket: ClientWebSocketResponse

    async def open(self, folder: Path) -> None:
        self.url = free_port(parse_feed_url("ws-listen://127.0.0.1:1"))

    async def meet(self, feed: Feed, bell: Bell) -> None:
        await bell.until(lambda: feed.bound is not None)
        assert feed.bound is not None
        self.session = self.session or ClientSession()
        self.websocket = await self.session.ws_connect(f"http://127.0.0.1:{feed.bound[1]}/")
        await bell.until(lambda: feed.state.startswith("connected to"))

    async def say(self, data: bytes) -> None:
        await self.websocket.send_bytes(data)

    async def say_text(self, text: str) -> None:
        await self.websocket.send_str(text)

    async def heard(self) -> list[bytes]:
        async with asyncio.timeout(LIMIT_S):
            return [message.data async for message in self.websocket]

    async def drop(self) -> None:
        await self.websocket.close()

    async def close(self) -> None:
        if self.session is not None:
            await self.websocket.close()
            await self.session.close()


STATIONS: dict[str, type[Station]] = {
    "udp": UdpStation,
    "broadcast": BroadcastStation,
    "multicast": MulticastStation,
    "tcp": ListeningStation,
    "tcp-listen": DiallingStation,
    "serial": SerialStation,
    "ws": WebsocketListeningStation,
    "ws-listen": WebsocketDiallingStation,
}


async def turn() -> None:
    """Give the loop one turn."""
    await asyncio.sleep(0)


def free_port(url: FeedUrl) -> FeedUrl:
    """Return the URL with port 0, at which the kernel gives a free one (no operator can write that)."""
    return FeedUrl(text=url.text, transport=url.transport, host=url.host, port=0, interface=url.interface)


async def dial(feed: Feed) -> socket.socket:
    """Return a connection to a listening feed."""
    assert feed.bound is not None
    connection = socket.socket()
    connection.setblocking(False)
    await asyncio.get_running_loop().sock_connect(connection, feed.bound)
    return connection


async def read_to_the_end(connection: socket.socket) -> list[bytes]:
    """Return what comes before the other side closes; a reset is an end too."""
    parts = []
    async with asyncio.timeout(LIMIT_S):
        with suppress(ConnectionResetError):
            while part := await asyncio.get_running_loop().sock_recv(connection, 65_536):
                parts.append(part)
    return parts


def _cooked(near: int) -> list[Any]:
    """Return the settings a serial port has after boot: lines are edited and echoed (termios(3), tty_std_termios)."""
    settings = termios.tcgetattr(near)
    settings[3] |= termios.ECHO | termios.ICANON | termios.ISIG | termios.IEXTEN
    settings[0] |= termios.ICRNL | termios.IXON
    return settings
