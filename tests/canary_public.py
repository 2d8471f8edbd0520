"""A public that asks a relay every odd thing it can, and keeps every byte of the answers."""

import asyncio
import gzip
import zlib
from collections.abc import Iterator
from typing import Any

import msgpack

from canary_voyage import CLOSED, OPEN, PLACE

SPOT = f"{PLACE[0]:.5f},{PLACE[1]:.5f}"
LEAVE = b"\x88\x80\x00\x00\x00\x00"


class Listener:
    """A viewer that is only a socket: keeps every byte the live socket sends."""

    def __init__(self, port: int, audience: str) -> None:
        self._port, self._audience = port, audience
        self.received = bytearray()
        self._news = asyncio.Event()

    async def listen(self) -> None:
        """Receive until the server ends it."""
        reader, writer = await asyncio.open_connection("127.0.0.1", self._port)
        writer.write(handshake(f"audience={self._audience}&dive=1&after=-1"))
        while data := await reader.read(65_536):
            self.received += data
            self._news.set()
        writer.close()

    def frames(self) -> list[list[Any]]:
        """Return the records in the messages received so far (RFC 6455 section 5.2: unmasked, shorter than 64 KiB)."""
        data, found = bytes(self.received).partition(b"\r\n\r\n")[2], []
        while len(data) >= 4:
            size, start = (int.from_bytes(data[2:4]), 4) if data[1] == 126 else (data[1], 2)
            if len(data) < start + size:
                break
            if data[0] == 0x82:
                found.append(msgpack.unpackb(data[start : start + size]))
            data = data[start + size :]
        return found

    async def until(self, dive: int, kind: int) -> None:
        """Wait until a record of a kind has come of a dive."""
        while not any(record[0] == dive and record[2] == kind for record in self.frames()):
            self._news.clear()
            await asyncio.wait_for(self._news.wait(), 30)


def handshake(query: str) -> bytes:
    """Return a request for the live socket with the key of RFC 6455 section 1.3."""
    fields = "Host: relay\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13"
    return f"GET /live?{query} HTTP/1.1\r\n{fields}\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n".encode()


def plain(method: str, target: str, *fields: str, body: bytes = b"", close: bool = True) -> bytes:
    """Return a request that ends its connection."""
    lines = [f"{method} {target} HTTP/1.1", "Host: relay", *(["Connection: close"] if close else []), *fields]
    return "\r\n".join([*lines, "", ""]).encode() + body


def targets() -> Iterator[str]:
    """Yield paths that are there, and paths that must not be."""
    yield from ("/", "/index.html", "/mark.svg", "/dives.json", "/asyncapi.yaml", "/favicon.ico", "/live", "*", "//")
    yield from ("/expedition.html", "/pictures/expedition.png", "/followers.json", "/pages.css")
    for dive in ("001", "002", "003"):
        yield from (f"/dive-{dive}.html", f"/pictures/dive-{dive}.svg", f"/pictures/dive-{dive}.png")
    for audience in (*OPEN, CLOSED, "Public", "nobody", "..", "%2e%2e"):
        for dive in ("001", "002", "003", "1", "000", "../../private/journal.db"):
            yield f"/recordings/{audience}/dive-{dive}.recording"
        yield f"/{audience}/dives.json"
        yield f"/recordings/{audience}/dives.json"
        yield f"/recordings/{audience}/"
    for name in ("private/journal.db", "private/secrets.json", "EXPEDITION.toml", "private/control.sock", "private"):
        for way in ("/", "/../", "/recordings/../", "/%2e%2e/", "/..%2f", "/assets/../../", "///", "/./"):
            yield way + name
    for name in ("desk", "status", "metrics", "health", "debug", "api", "admin", ".env", ".git/HEAD", "live/", "ws"):
        yield f"/{name}"
    yield f"/{SPOT}"
    yield f"/dives.json?at={SPOT}"
    yield f"http://elsewhere/{SPOT}"


def askings() -> Iterator[bytes]:
    """Yield what is sent on one connection each and answered at once: good requests and wrong ones."""
    yield from (plain("GET", target) for target in targets())
    yield from (plain(method, f"/{SPOT}") for method in ("HEAD", "PUT", "DELETE", "OPTIONS", "TRACE", "PATCH", "BREW"))
    yield from (plain(method, "/dives.json", "Content-Length: 3", body=b"abc") for method in ("POST", "PUT", "GET"))
    recording = "/recordings/public/dive-001.recording"
    for fields in (
        ("Range: bytes=0-9",), ("If-None-Match: *",), ("If-Modified-Since: Thu, 01 Jan 1970 00:00:00 GMT",),
        ("Expect: 100-continue",), (f"X-Place: {SPOT}", f"Referer: {SPOT}"), ("Accept-Encoding: br;q=x, *;q=0",),
        (f"Cookie: at={SPOT}",), ("Upgrade: h2c", "HTTP2-Settings: AAMAAABkAAQAAP__"),
    ):  # fmt: skip
        yield plain("GET", recording, *fields)
        yield plain("GET", "/nothing", *fields)
    yield from malformed()
    yield from websocket_asks()
    # One behind the other in one packet: each is answered, or none after the one that ends the connection.
    kept = b"".join(plain("GET", target, close=False) for target in ("/dives.json", "/nothing", recording, "/"))
    yield kept + plain("GET", "/dives.json")
    yield kept + b"NONSENSE " + SPOT.encode() + b"\r\n\r\n" + kept
    yield kept + handshake("audience=public") + LEAVE


def malformed() -> Iterator[bytes]:
    """Yield what is no request, or too much of one, with a place in it that must not come back."""
    spot = SPOT.encode()
    yield from (b"\0" * 200 + b"\r\n\r\n", spot + b"\r\n\r\n", b"GET /" + spot + b"\r\n\r\n")
    yield b"GET / HTTP/9.9\r\nHost: x\r\n\r\n"
    yield b"GET /" + spot + b" HTTP/1.1\r\nHost : x\r\n\r\n"
    yield b"GET / HTTP/1.1\r\nHost: x\r\nno colon " + spot + b"\r\n\r\n"
    yield b"GET / HTTP/1.1\r\nHost: x\r\nX: y\r\n " + spot + b"\r\n\r\n"
    yield b"GET /" + spot * 2_000 + b" HTTP/1.1\r\nHost: x\r\n\r\n"
    yield b"GET / HTTP/1.1\r\nX: " + spot * 2_000
    yield b"GET / HTTP/1.1\r\nHost: x\r\n" + b"X: y\r\n" * 900 + b"Connection: close\r\n\r\n"
    yield b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\nContent-Length: 4\r\n\r\nzz\r\n" + spot
    yield b"POST / HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\nConnection: close\r\n\r\nzz\r\n" + spot
    yield b"GET / HTTP/1.1\r\nHost: x\r\nContent-Length: -1\r\nConnection: close\r\n\r\n"
    yield b"CONNECT " + spot + b":80 HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n"
    yield b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n"
    yield b""


def unfinished() -> Iterator[bytes]:
    """Yield what the relay waits for more of, until it gives up."""
    spot = SPOT.encode()
    yield b"\r\n\r\n"
    yield b"GET /" + spot + b" HTTP/1.1\nHost: x\n\n"
    yield b"GET /" + spot + b" HTTP/1.1\r\nHost: x\r\n"
    yield bytes.fromhex("16030100c8010000c40303") + bytes(200)
    yield plain("GET", "/nothing", "Transfer-Encoding: chunked")
    yield plain("POST", "/", "Content-Length: 500", body=spot)


def websocket_asks() -> Iterator[bytes]:
    """Yield handshakes, right and wrong, and what a viewer must not send."""
    for audience in (*OPEN, CLOSED, "nobody", "", SPOT, "public%00", "public&audience=wardens"):
        yield handshake(f"audience={audience}") + LEAVE
        yield handshake(f"audience={audience}&dive=1&after=-1") + LEAVE
    for query in ("dive=0&after=0", "dive=1&after=x", "dive=9&after=9", "audience=funders", "dive=1"):
        yield handshake(f"audience=public&{query}") + LEAVE
    yield handshake("") + LEAVE
    good = handshake("audience=public")
    yield good.replace(b"Version: 13", b"Version: 12")
    yield good.replace(b"dGhlIHNhbXBsZSBub25jZQ==", b"short")
    yield good.replace(b"HTTP/1.1", b"HTTP/1.0")
    yield good + b"\x81\x85\x00\x00\x00\x00hello" + LEAVE
    yield good + b"\x81\x05hello" + LEAVE
    yield good + b"\xff\xff\xff" + LEAVE
    yield good + b"\x89\x82\x00\x00\x00\x00ab" + LEAVE


async def ask(port: int, sending: bytes) -> bytes:
    """Return every byte that comes back on a connection until the server ends it."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(sending)
    if not sending:
        writer.write_eof()
    try:
        return await asyncio.wait_for(reader.read(), 60)
    except ConnectionResetError:
        return b""
    finally:
        writer.close()


async def ask_everything(port: int, *, patient: bool = False, at_once: int = 60) -> dict[bytes, bytes]:
    """Return the answers to everything, by what was sent; `patient`: also to what is answered only after a while."""
    seats = asyncio.Semaphore(at_once)

    async def asked(sending: bytes) -> tuple[bytes, bytes]:
        async with seats:
            return sending, await ask(port, sending)

    return dict(await asyncio.gather(*map(asked, [*askings(), *(unfinished() if patient else ())])))


async def packed(port: int, target: str, coding: str) -> tuple[bytes, bytes]:
    """Return head and unpacked body of an answer in a content coding."""
    raw = await ask(port, plain("GET", target, f"Accept-Encoding: {coding}"))
    head, _, body = raw.partition(b"\r\n\r\n")
    if f"content-encoding: {coding}" not in head.decode().lower():
        return head, body
    return head, gzip.decompress(body) if coding == "gzip" else zlib.decompress(body)
