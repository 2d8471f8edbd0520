"""Peers of the public port that are not ours: a raw socket, the standard library's HTTP reader, `websockets`."""

import asyncio
import functools
import inspect
import socket
import ssl
import struct
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from http.client import HTTPResponse
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
import uvloop
from websockets.asyncio.client import ClientConnection, connect
from websockets.client import ClientProtocol
from websockets.exceptions import ConnectionClosed
from websockets.frames import Frame, Opcode
from websockets.uri import parse_uri

from relay.shell.released.outlet import Frame as ReleasedFrame
from relay.shell.site.gate import Limits
from relay.shell.site.public_files import Telling
from relay.shell.site.site import Site
from released import EXPEDITION

PATIENCE_S = 60  # what a test may take where everything else runs as well; it ends what would never end
FAST = Limits(close_s=1.0, turn_s=0.05)
LOOPS = {"asyncio": asyncio.new_event_loop, "uvloop": uvloop.new_event_loop}


def on_both_loops(test: Callable[..., Awaitable[None]]) -> Callable[..., None]:
    """Run an async test on the standard loop and on the one the ship uses."""

    loop_name = inspect.Parameter("loop_name", inspect.Parameter.POSITIONAL_OR_KEYWORD)
    signature = inspect.Signature([loop_name, *inspect.signature(test).parameters.values()])

    @functools.wraps(test)
    def run(*positional: Any, **named: Any) -> None:
        given = signature.bind(*positional, **named).arguments
        with asyncio.Runner(loop_factory=LOOPS[given.pop("loop_name")]) as runner:
            runner.run(_awaited(test(**given)))

    run.__signature__ = signature  # type: ignore[attr-defined]
    return pytest.mark.parametrize("loop_name", LOOPS)(run)


async def _awaited(result: Awaitable[None]) -> None:
    await result


@asynccontextmanager
async def running(
    *audiences: str, telling: Telling | str = EXPEDITION, tls: ssl.SSLContext | None = None, **options: Any
) -> AsyncIterator[Site]:
    """Run a site on a free port of the loopback; everything it does must be over in time."""
    site = Site(telling, audiences or ("public",), **options)
    async with asyncio.timeout(PATIENCE_S):
        await site.start("127.0.0.1", tls=tls)
        try:
            yield site
        finally:
            await site.close()


async def until(condition: Callable[[], bool]) -> None:
    """Return when `condition` holds; who calls this bounds the time.

    It is looked at ever more seldom, a tenth of the time so far apart: what is waited for needs the processor more.
    """
    loop = asyncio.get_running_loop()
    holds, begun_s = loop.create_future(), loop.time()

    def look() -> None:
        if holds.done():
            return
        if condition():
            holds.set_result(None)
        else:
            loop.call_later(min(0.05, max(0.001, (loop.time() - begun_s) / 10)), look)

    look()
    await holds


def live(site: Site, query: str = "audience=public", **options: Any) -> connect:
    """Return the connection of the library `websockets` to the live socket."""
    host, port = site.address
    return connect(f"ws://{host}:{port}/live?{query}", **{"compression": None, "ping_interval": None, **options})


async def take(viewer: ClientConnection, count: int) -> list[bytes]:
    """Return the next `count` messages, which must be binary."""
    messages = [await viewer.recv(decode=False) for _ in range(count)]
    return [bytes(message) for message in messages]


class RawPeer:
    """A client that is only a socket."""

    def __init__(self, line: socket.socket) -> None:
        self.line = line
        self.received = b""
        self.reset = False

    @classmethod
    async def dial(cls, site: Site, sending: bytes = b"", receive_octets: int | None = None) -> "RawPeer":
        """Connect and send; `receive_octets` narrows the kernel's receive buffer."""
        line = socket.socket()
        line.setblocking(False)
        if receive_octets is not None:
            line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_octets)
        await asyncio.get_running_loop().sock_connect(line, site.address)
        peer = cls(line)
        await peer.send(sending)
        return peer

    async def send(self, data: bytes) -> None:
        """Send all of `data`."""
        await asyncio.get_running_loop().sock_sendall(self.line, data)

    async def receive_until(self, condition: Callable[[bytes], bool]) -> bytes:
        """Read until what was received meets `condition`."""
        while not condition(self.received):
            data = await asyncio.get_running_loop().sock_recv(self.line, 65_536)
            if not data:
                raise EOFError(self.received)
            self.received += data
        return self.received

    async def rest(self) -> bytes:
        """Read until the server ends the connection and return all that was received; `reset` says how it ended."""
        try:
            await self.receive_until(lambda _: False)
        except EOFError:
            pass
        except ConnectionResetError:
            self.reset = True
        finally:
            self.line.close()
        return self.received


def reset(line: socket.socket) -> None:
    """End a connection as a peer does that throws away what it was sent (socket(7), SO_LINGER)."""
    line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    line.close()


async def exchange(site: Site, sending: bytes) -> bytes:
    """Send bytes on a new connection and return everything until the server ends it."""
    return await (await RawPeer.dial(site, sending)).rest()


class Answer:
    """One HTTP answer as `http.client` of the standard library reads it."""

    def __init__(self, raw: BytesIO, method: str = "GET") -> None:
        response = HTTPResponse(_Made(raw), method=method)  # type: ignore[arg-type]
        response.begin()
        self.status = response.status
        self.headers = response.headers
        self.body = response.read()


class _Made:
    """What HTTPResponse wants of a socket: a file that stays open for the next answer."""

    def __init__(self, raw: BytesIO) -> None:
        self._raw = raw

    def makefile(self, _mode: str) -> BytesIO:
        return _Kept(self._raw)


class _Kept(BytesIO):
    def __init__(self, raw: BytesIO) -> None:
        super().__init__()
        self._source = raw

    def read(self, size: int | None = -1) -> bytes:
        return self._source.read(size)

    def readline(self, size: int | None = -1) -> bytes:
        return self._source.readline(size)


def answers(raw: bytes, *methods: str) -> list[Answer]:
    """Return the answers in `raw`, to requests of these methods; every byte must belong to one."""
    stream = BytesIO(raw)
    found = [Answer(stream, method) for method in methods or ("GET",)]
    assert stream.read() == b""
    return found


def request(target: str = "/", method: str = "GET", *fields: str, close: bool = True) -> bytes:
    """Return the bytes of a request."""
    lines = [f"{method} {target} HTTP/1.1", "Host: relay.example", *fields, *(["Connection: close"] if close else [])]
    return "\r\n".join([*lines, "", ""]).encode()


async def get(site: Site, target: str = "/", *fields: str, method: str = "GET") -> Answer:
    """Send one request on its own connection and return the answer."""
    (answer,) = answers(await exchange(site, request(target, method, *fields)), method)
    return answer


def upgrade(query: str = "audience=public", *fields: str) -> bytes:
    """Return a handshake with the key of RFC 6455 section 1.3."""
    key = "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ=="
    shake = ("Upgrade: websocket", "Connection: Upgrade", key, "Sec-WebSocket-Version: 13")
    return request(f"/live?{query}", "GET", *shake, *fields, close=False)


def frames_of(raw: bytes) -> list[Frame]:
    """Return the frames behind a handshake's answer, as the sans-I/O reader of `websockets` takes them."""
    client = ClientProtocol(parse_uri("ws://relay.example/live"), max_size=None)
    asked = client.connect()
    asked.headers["Sec-WebSocket-Key"] = client.key = "dGhlIHNhbXBsZSBub25jZQ=="
    client.send_request(asked)
    client.receive_data(raw)
    response, *frames = client.events_received()
    assert client.handshake_exc is None, response
    assert client.parser_exc is None
    return [frame for frame in frames if isinstance(frame, Frame)]


def payloads(frames: list[Frame]) -> list[bytes]:
    """Return the binary messages among frames."""
    return [bytes(frame.data) for frame in frames if frame.opcode is Opcode.BINARY]


def masked(opcode: Opcode, payload: bytes) -> bytes:
    """Return a client's frame as `websockets` writes it."""
    return Frame(opcode, payload).serialize(mask=True)


UNREADABLE = [
    b"nonsense\r\n\r\n",
    b"GET * HTTP/1.1\r\nHost: x\r\n\r\n",
    b"BREW / HTTP/1.1\r\nHost: x\r\n\r\n",
    b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03\r\n\r\n",
    b"GET /<script>alert(1)</script> HTTP/9.9\r\nHost: x\r\n\r\n",
    b"GET / HTTP/1.1\r\nHost: x\r\nbad header\r\n\r\n",
    b"GET / HTTP/1.1\r\nHost: x\r\nX-Tried: \x00<script>\r\n\r\n",
    b"GET / HTTP/1.1\r\nHost: x\r\nX-Tried : <script>\r\n\r\n",
    b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
    b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 4\r\nContent-Length: 5\r\n\r\nabcd",
    b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: -1\r\n\r\n",
    b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\nTransfer-Encoding: gzip\r\n\r\n0\r\n\r\n",
    b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: xchunked\r\n\r\n0\r\n\r\n",
    upgrade("audience=public").replace(b"Sec-WebSocket-Key", b"X-Key"),
    upgrade("audience=public", "Content-Length: 30"),
    upgrade("audience=public", "Transfer-Encoding: chunked"),
]


async def closed_with(site: Site, query: str) -> int | None:
    """Return the code with which the site closes a viewer at once."""
    async with live(site, query) as viewer:
        with pytest.raises(ConnectionClosed) as caught:
            await viewer.recv()
    return caught.value.rcvd.code if caught.value.rcvd else None


def publish(site: Site, frames: list[ReleasedFrame]) -> list[bytes]:
    """Publish frames and return their bytes."""
    for frame in frames:
        site.publish(frame)
    return [frame.data for frame in frames]


def build_site(beside: Path) -> Path:
    """Return a small built site, with things in and beside it that must not be given out."""
    folder = beside / "dist"
    (folder / "assets").mkdir(parents=True)
    (folder / "index.html").write_text("<!doctype html><title>A dive</title>" + "<p>Ink lines." * 50)
    (folder / "assets" / "page-DiwrgTda.js").write_bytes(b"export const nothing = 0;\n" * 100)
    (folder / "assets" / "plain.css").write_text("p { color: black }")
    (folder / "mark.png").write_bytes(b"\x89PNG" * 100)
    (folder / ".secret").write_text("hidden")
    (beside / "beside.txt").write_text("beside")
    (folder / "link.txt").symlink_to(beside / "beside.txt")
    return folder
