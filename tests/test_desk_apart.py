"""The desk and what strangers reach are apart: of the public port and of a shore nothing of the desk can be had."""

import asyncio
import hashlib
import json
import shutil
import socket
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
from websockets.frames import Opcode

from expeditions import RIGHT
from peers import RawPeer, answers, exchange, get, masked, request, until, upgrade
from relay.core.model import RowKind
from relay.core.seal import Signer
from relay.core.secrets import Secrets
from relay.shell.desk.desk import ROUTES
from relay.shell.plan.expedition import parse_expedition
from relay.shell.record.clock import MachineTime
from relay.shell.released.publish import publish
from relay.shell.ship.running import new_site
from relay.shell.ship.ship import Ship
from relay.shell.shore.shore import Shore
from relay.shell.site.page_words import words_of
from relay.shell.site.public_files import Telling
from relay.shell.site.site_files import site_folder
from ship_process import free_port
from shores import RIGHT as SHORE_RIGHT
from shores import SIGNER, ashore, pem_files

LATITUDE = -41.20123
KEY = bytes(range(32))
SHORE = SHORE_RIGHT.replace(SIGNER.key.hex(), Signer(Secrets(KEY).signing_seed).key.hex())
SHORE += '\n[watch]\nlisten = "127.0.0.1:0"\n'
BAD = (b"HTTP/1.1 400 Bad Request", b"HTTP/1.0 400 Bad Request")
BODY, CHECKED = b'{"do": "hold", "who": "a stranger"}', b'{"text": "The bell."}'
MARKS = [b"now_us", b'"ok"', b"ndjson", b"Bearer", b"token", b"41.2012", b"Cross-Origin", b"findings", b"origin"]
PATHS = [
    *ROUTES, *(f"/desk{path}" for path in ROUTES), "/desk", "/desk/", "//state", "/./state", "/x/../state",
    "/assets/../state", "/assets/..%2fstate", "/%73tate", "/state/", "/state;x", "/state?x=/dives.json", "/STATE",
    "/state%00", "/state#x", "/live/../state", "/dives.json/../state", "/../desk_site/index.html", "/desk.token",
    "/private/desk.token", "/desk_site/", "/dist-desk/index.html", "*",
]  # fmt: skip


@asynccontextmanager
async def sailing(folder: Path, text: str = RIGHT) -> AsyncIterator[Ship]:
    """Run a relay with a desk that shows an exact position, and a public port beside it."""
    text = text.replace("127.0.0.1:10110", f"127.0.0.1:{free_port(socket.SOCK_DGRAM)}")
    text = text.replace("127.0.0.1:4010", f"127.0.0.1:{free_port()}") + '\n[desk]\nlisten = "127.0.0.1:0"\n'
    expedition = parse_expedition(text, folder / "EXPEDITION.toml")
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    await ship.start()
    serving = asyncio.ensure_future(ship.serve())
    try:
        async with asyncio.timeout(60):
            line = json.dumps({"vehicle": "Lantern", "latitude_deg": LATITUDE, "longitude_deg": 17.5, "depth_m": 50.0})
            assert ship._journal is not None
            ship._journal.append("station", RowKind.WHOLE, line.encode() + b"\n")
            await until(lambda: ship.pipeline.now.states[0].last("position") is not None)
            yield ship
    finally:
        serving.cancel()
        await asyncio.wait({serving})
        await ship.close()


def token_of(ship: Ship) -> str:
    """Return the desk's token."""
    assert ship.desk.server is not None
    return ship.desk.server.url.partition("#")[2]


def desk_host(ship: Ship) -> str:
    """Return the desk's own name."""
    assert ship.desk.server is not None
    host, port = ship.desk.server.address
    return f"{host}:{port}"


def post(target: str, *fields: str, host: str = "relay.example", body: bytes = BODY) -> bytes:
    """Return a whole request that decides something, and says how long it is."""
    told = [f"Host: {host}", "Content-Type: application/json", f"Content-Length: {len(body)}", *fields]
    return "\r\n".join([f"POST {target} HTTP/1.1", *told, "", ""]).encode() + body


def assert_nothing_of_the_desk(ship: Ship, said: bytes, asked: str = "") -> None:
    """Fail if what came from the public port holds anything of the desk, or anything was decided by it."""
    told = [mark for mark in [*MARKS, token_of(ship).encode()] if mark in said]
    assert told == [], asked
    assert list(ship.pipeline.taken) == [], asked
    assert not any(channel.held for channel in ship.pipeline.channels)


async def test_desk_itself_answers_what_the_public_port_is_asked(tmp_path: Path) -> None:
    """The marks that the others look for are in what the desk says, and its decisions are taken there."""
    async with sailing(tmp_path) as ship:
        fields = [f"Authorization: Bearer {token_of(ship)}", "Connection: close"]
        said = b""
        for path, method in ROUTES.items():
            if path == "/stream":
                continue
            host = desk_host(ship)
            line = f"GET {path} HTTP/1.1\r\nHost: {host}\r\n" + "\r\n".join([*fields, "", ""])
            body = CHECKED if path == "/check" else BODY
            sending = post(path, *fields, host=host, body=body) if method == "POST" else line.encode()
            said += await exchange(ship.desk.server, sending)  # type: ignore[arg-type]
        assert {mark for mark in MARKS if mark not in said} <= {b"Bearer", b"token", b"ndjson"}
        await until(lambda: len(ship.pipeline.taken) == 2)  # /decide and /stop


@pytest.mark.parametrize("method", ["GET", "HEAD", "POST", "PUT", "OPTIONS", "CONNECT"])
async def test_no_route_of_the_desk_is_on_the_public_port(method: str, tmp_path: Path) -> None:
    """With the right token, a wrong one and none, under every name: what any unknown path gives, or that it is bad."""
    async with sailing(tmp_path) as ship:
        unknown = (await exchange(ship.site, request("/nothing-at-all", method))).split(b"\r\n")[0]
        for path in PATHS:
            for token in (token_of(ship), "wrong", None):
                fields = [] if token is None else [f"Authorization: Bearer {token}", f"Cookie: token={token}"]
                for host in ("relay.example", desk_host(ship)):
                    sending = request(path, method, *fields).replace(b"relay.example", host.encode())
                    said = await exchange(ship.site, sending)
                    assert_nothing_of_the_desk(ship, said)
                    assert said.split(b"\r\n")[0] in (unknown, *BAD), path


@asynccontextmanager
async def with_a_shore(folder: Path) -> AsyncIterator[tuple[Ship, Shore]]:
    """Run a relay with a desk that shows an exact position, and a shore that she is linked with."""
    folder.joinpath("aboard").mkdir()
    async with ashore(folder / "ashore", SHORE) as shore:
        assert shore.dialled is not None
        port = shore.dialled.address[1]
        pin = hashlib.sha256(ssl.PEM_cert_to_DER_cert(pem_files()[0].decode())).hexdigest()
        text = RIGHT + f'\n[uplink]\nto = "wss://127.0.0.1:{port}"\npin = "sha256:{pin}"\naudiences = ["public"]\n'
        (folder / "aboard" / "private").mkdir(mode=0o700)
        secrets = folder / "aboard" / "private" / "secrets.json"
        secrets.write_text(json.dumps({"key": KEY.hex()}))
        secrets.chmod(0o600)
        async with sailing(folder / "aboard", text) as ship:
            await until(lambda: shore.dialled is not None and shore.dialled.facts.linked)
            yield ship, shore


def shore_ports(shore: Shore) -> list[Any]:
    """Return what of a shore can be spoken to without TLS."""
    return [shore.site, shore.watch]


async def secured(port: Any, sending: bytes) -> bytes:
    """Return what a port that speaks TLS alone answers, until it ends the connection."""
    tls = ssl.create_default_context(cadata=pem_files()[0].decode())
    reader, writer = await asyncio.open_connection(*port.address, ssl=tls)
    said = b""
    with suppress(OSError, ssl.SSLError):
        writer.write(sending)
        writer.write_eof() if writer.can_write_eof() else None
        said = await reader.read()
    writer.close()
    return said


async def test_no_route_of_the_desk_is_ashore(tmp_path: Path) -> None:
    """On the shore's site, its watch and the port that the ship dials, with the desk's token, a wrong one and none."""
    async with with_a_shore(tmp_path) as (ship, shore):
        for path in PATHS:
            for token in (token_of(ship), "wrong", None):
                fields = [] if token is None else [f"Authorization: Bearer {token}", f"Cookie: token={token}"]
                for method in ("GET", "POST"):
                    sending = request(path, method, *fields).replace(b"relay.example", desk_host(ship).encode())
                    for port in shore_ports(shore):
                        said = await exchange(port, sending)
                        assert_nothing_of_the_desk(ship, said, path)
                        unknown = (b"HTTP/1.1 404 Not Found", b"HTTP/1.1 405 Method Not Allowed", *BAD)
                        assert said.split(b"\r\n")[0] in unknown, path
        for path in [*ROUTES, "/", "/desk"]:
            said = await secured(shore.dialled, request(path, "GET", f"Authorization: Bearer {token_of(ship)}"))
            assert_nothing_of_the_desk(ship, said, path)
            assert b"200 OK" not in said


async def test_no_smuggled_request_reaches_the_desk_by_way_of_a_shore(tmp_path: Path) -> None:
    """However two readers might cut the stream, and on the link's own port, too: nothing is decided, nothing told."""
    async with with_a_shore(tmp_path) as (ship, shore):
        for name, sending in smuggled(ship).items():
            for port in shore_ports(shore):
                peer = await RawPeer.dial(port, sending)
                with suppress(OSError):
                    peer.line.shutdown(socket.SHUT_WR)
                assert_nothing_of_the_desk(ship, await peer.rest(), name)
        for name in ("pipelined", "behind a handshake", "in frames of a socket"):
            said = await secured(shore.dialled, smuggled(ship)[name])
            assert_nothing_of_the_desk(ship, said, name)


HEAD, GET_HEAD = (f"{line} HTTP/1.1\r\nHost: relay.example\r\n".encode() for line in ("POST /dives.json", "GET /"))


def smuggled(ship: Ship) -> dict[str, bytes]:
    """Return requests for the desk hidden in ways by which two readers of one stream may disagree.

    RFC 9112 sections 3.2, 6.1, 6.3, 9.3 and 11.2; the variants of Content-Length and Transfer-Encoding are the ones
    that the RFC names there, and those of the header line are common practice, no source.
    """
    token, desk = f"Authorization: Bearer {token_of(ship)}", desk_host(ship)
    inner = f"GET /state HTTP/1.1\r\nHost: {desk}\r\n{token}\r\n\r\n".encode()
    stop = post("/stop", token, host=desk)
    size = len(inner)
    chunked = f"{size:x}\r\n".encode() + inner + b"\r\n0\r\n\r\n"
    head, get_head = HEAD, GET_HEAD
    return {
        "pipelined": get_head + b"\r\n" + inner + stop,
        "behind a body": head + f"Content-Length: {size}\r\n\r\n".encode() + inner + inner + stop,
        "in the body of a GET": get_head + f"Content-Length: {size}\r\n\r\n".encode() + inner + stop,
        "length and chunks": head + b"Content-Length: 4\r\nTransfer-Encoding: chunked\r\n\r\n" + chunked + stop,
        "chunks and length": head + b"Transfer-Encoding: chunked\r\nContent-Length: 4\r\n\r\n" + chunked + stop,
        "two lengths": head + f"Content-Length: 0\r\nContent-Length: {size}\r\n\r\n".encode() + inner + stop,
        "a list of lengths": head + f"Content-Length: 0, {size}\r\n\r\n".encode() + inner + stop,
        "a signed length": head + b"Content-Length: +0\r\n\r\n" + inner + stop,
        "another coding": head + b"Transfer-Encoding: xchunked\r\n\r\n" + b"0\r\n\r\n" + inner + stop,
        "chunked twice": head + b"Transfer-Encoding: chunked, chunked\r\n\r\n0\r\n\r\n" + inner + stop,
        "chunked, then identity": head + b"Transfer-Encoding: chunked\r\nTransfer-Encoding: identity\r\n\r\n" + chunked,
        "a blank before the colon": head + b"Transfer-Encoding : chunked\r\n\r\n" + chunked + stop,
        "a tab in the name": head + b"Transfer-Encoding:\tchunked\r\nContent-Length: 3\r\n\r\n" + chunked + stop,
        "a folded line": head + b"X-A: b\r\n Transfer-Encoding: chunked\r\n\r\n" + chunked + stop,
        "a bare line feed": b"GET / HTTP/1.1\nHost: relay.example\n\n" + inner + stop,
        "a bare carriage return": b"GET / HTTP/1.1\rHost: relay.example\r\r" + inner + stop,
        "an extension of a chunk": head + b"Transfer-Encoding: chunked\r\n\r\n0;a=\n\r\n\r\n" + inner + stop,
        "a trailer": head + b"Transfer-Encoding: chunked\r\n\r\n0\r\n" + token.encode() + b"\r\n\r\n" + inner + stop,
        **by_other_names(token, desk, inner, stop),
    }  # fmt: skip


def by_other_names(token: str, desk: str, inner: bytes, stop: bytes) -> dict[str, bytes]:
    """Return requests that name the desk where a proxy or a second reader might look for a name."""
    get_head = GET_HEAD
    return {
        "absolute form": f"GET http://{desk}/state HTTP/1.1\r\nHost: relay.example\r\n{token}\r\n\r\n".encode() + stop,
        "a name before the name": f"GET http://{desk}@relay.example/state HTTP/1.1\r\nHost: {desk}\r\n\r\n".encode(),
        "authority form": f"CONNECT {desk} HTTP/1.1\r\nHost: {desk}\r\n\r\n".encode() + inner + stop,
        "two hosts": b"GET /state HTTP/1.1\r\nHost: relay.example\r\n" + inner.partition(b"\r\n")[2],
        "no host": f"GET /state HTTP/1.0\r\n{token}\r\n\r\n".encode(),
        "names that a proxy tells": get_head
        + f"X-Forwarded-Host: {desk}\r\nX-Original-URL: /state\r\nX-Rewrite-URL: /state\r\n{token}\r\n\r\n".encode()
        + stop,
        "forwarded": get_head + f"Forwarded: host={desk}\r\nX-HTTP-Method-Override: POST\r\n{token}\r\n\r\n".encode(),
        "another protocol": get_head
        + b"Upgrade: h2c\r\nConnection: Upgrade, HTTP2-Settings\r\nHTTP2-Settings: AAMAAABk\r\n\r\n" + inner + stop,
        "the preface of HTTP/2": b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n" + inner + stop,
        "a version of long ago": b"GET /state\r\n" + inner + stop,
        "behind a handshake": upgrade() + inner + stop,
        "in frames of a socket": upgrade() + masked(Opcode.TEXT, inner) + masked(Opcode.BINARY, stop),
        "a handshake for the desk": upgrade().replace(b"/live?audience=public", b"/stream") + inner,
    }  # fmt: skip


async def test_no_smuggled_request_reaches_the_desk(tmp_path: Path) -> None:
    """Whole or in two, however two readers might cut the stream: the public port never answers as the desk."""
    async with sailing(tmp_path) as ship:
        for name, sending in smuggled(ship).items():
            for parts in ([sending], [sending[: len(sending) // 2], sending[len(sending) // 2 :]]):
                peer = await RawPeer.dial(ship.site, parts[0])
                try:
                    for part in parts[1:]:
                        await peer.send(part)
                    peer.line.shutdown(socket.SHUT_WR)
                except OSError:
                    pass  # the port had hung up already
                said = await peer.rest()
                assert_nothing_of_the_desk(ship, said, name)


async def test_head_that_comes_octet_by_octet_is_no_way_to_the_desk(tmp_path: Path) -> None:
    """However slowly it is asked, the answer is what any unknown path gives."""
    async with sailing(tmp_path) as ship:
        sending = request("/state", "GET", f"Authorization: Bearer {token_of(ship)}")
        peer = await RawPeer.dial(ship.site)
        for octet in sending:
            await peer.send(bytes([octet]))
        (answer,) = answers(await peer.rest())
        assert answer.status == 404
        assert_nothing_of_the_desk(ship, answer.body)


async def test_public_pages_and_a_published_folder_know_of_no_desk(tmp_path: Path) -> None:
    """Nothing that is given out names the desk, its port or its token, and a published folder holds nothing of it."""
    async with sailing(tmp_path) as ship:
        port = desk_host(ship).encode()
        for path in ("/", "/dives.json", "/followers.json"):
            answer = await get(ship.site, path)
            assert port not in answer.body
            assert token_of(ship).encode() not in answer.body + str(answer.headers).encode()
        ship.expedition.released.mkdir(exist_ok=True)
    finished = Path(__file__).parents[1] / "recordings" / "demo-dive.recording"
    shutil.copy(finished, tmp_path / "dive-001.recording")
    publish([tmp_path / "dive-001.recording"], tmp_path / "site", site_folder(), Telling("", words_of("en"), ""))
    for path in (tmp_path / "site").rglob("*"):
        assert "desk" not in path.name
        assert path.is_dir() or b"/decide" not in path.read_bytes()


async def test_desk_gives_out_nothing_of_the_public_port(tmp_path: Path) -> None:
    """The other way round: followers' paths are unknown to the desk, so no follower is ever sent there by mistake."""
    async with sailing(tmp_path) as ship:
        for path in ("/dives.json", "/live", "/followers.json"):
            sending = request(path).replace(b"relay.example", desk_host(ship).encode())
            (answer,) = answers(await exchange(ship.desk.server, sending))  # type: ignore[arg-type]
            assert answer.status == 404
