"""The HTTP side of a running site: what is given out, to whom it is refused, and what no answer ever says."""

import asyncio
import gzip
import json
import logging
import zlib
from collections.abc import Callable
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import msgpack
import pytest

from peers import (
    RawPeer,
    answers,
    exchange,
    get,
    on_both_loops,
    request,
    running,
    until,
    upgrade,
)
from relay.core.errors import OperatorError
from relay.core.wire import read_recording
from relay.shell.gate import Limits
from relay.shell.pages import Pages, load_site
from released import EXPEDITION, dive

LIMITS = Limits(close_s=1.0, turn_s=0.05)
SCRIPT = b"export const nothing = 0;\n" * 100
RECORDING = "/recordings/public/dive-001.recording"
CSP = {
    "default-src 'none'",
    "script-src 'self'",
    "style-src 'self'",
    "img-src 'self' data:",
    "connect-src 'self'",
    "base-uri 'none'",
    "form-action 'none'",
    "frame-ancestors 'none'",
}


@pytest.fixture
def built(tmp_path: Path) -> Path:
    """Return a small built site, with things in and beside it that must not be given out."""
    folder = tmp_path / "dist"
    (folder / "assets").mkdir(parents=True)
    (folder / "index.html").write_text("<!doctype html><title>A dive</title>" + "<p>Ink lines." * 50)
    (folder / "assets" / "page-DiwrgTda.js").write_bytes(SCRIPT)
    (folder / "assets" / "plain.css").write_text("p { color: black }")
    (folder / "mark.png").write_bytes(b"\x89PNG" * 100)
    (folder / ".secret").write_text("hidden")
    (tmp_path / "beside.txt").write_text("beside")
    (folder / "link.txt").symlink_to(tmp_path / "beside.txt")
    return folder


@pytest.mark.parametrize(
    ("target", "content_type", "cache"),
    [
        ("/", "text/html; charset=utf-8", "no-cache"),
        ("/index.html", "text/html; charset=utf-8", "no-cache"),
        ("/?t=90", "text/html; charset=utf-8", "no-cache"),
        ("/assets/page-DiwrgTda.js", "text/javascript; charset=utf-8", "public, max-age=31536000, immutable"),
        ("/assets/plain.css", "text/css; charset=utf-8", "no-cache"),
        ("/mark.png", "image/png", "no-cache"),
    ],
)
@on_both_loops
async def test_built_page_is_given_out(built: Path, target: str, content_type: str, cache: str) -> None:
    """Each file with its type; what has its digest in its name may be kept for ever, the rest is asked for again."""
    async with running(folder=built, limits=LIMITS) as site:
        answer = await get(site, target)
        name = target.partition("?")[0].lstrip("/") or "index.html"
        assert (answer.status, answer.body) == (200, (built / name).read_bytes())
        assert (answer.headers["Content-Type"], answer.headers["Cache-Control"]) == (content_type, cache)


def test_folder_that_is_no_built_site_is_refused(built: Path) -> None:
    """The start fails with words for the operator: no index.html, or too much; at the limit it is taken."""
    octets = sum(path.stat().st_size for path in built.rglob("[!.]*") if path.is_file() and not path.is_symlink())
    assert len(load_site(built, octets)) == 5
    with pytest.raises(OperatorError, match="holds more than"):
        load_site(built, octets - 1)
    with pytest.raises(OperatorError, match=r"no index\.html"):
        load_site(built / "assets", octets)


@pytest.mark.parametrize(
    "target",
    [
        "/nothing",
        "/dist/index.html",
        "/index.html/",
        "//index.html",
        "/../beside.txt",
        "/assets/../../beside.txt",
        "/assets/%2e%2e/%2e%2e/beside.txt",
        "/..%2fbeside.txt",
        "/..\\beside.txt",
        "/link.txt",
        "/.secret",
        "/assets",
        "/assets/",
        "/index.html%00.png",
        "/%69ndex.html",
        "/recordings/",
        "/recordings/public/",
        "/recordings/public/dive-1.recording",
        "/recordings/public/dive-0001.recording",
        "/recordings/public/dive-002.recording",
        "/recordings/public/dive-999999999.recording",
        "/recordings/public/dive-000.recording",
        "/recordings/public/dive-001.recording.gz",
        "/recordings/../recordings/public/dive-001.recording",
        "/recordings/funders/dive-001.recording",
        "/recordings/Public/dive-001.recording",
    ],
)
@on_both_loops
async def test_anything_else_is_not_there(built: Path, target: str) -> None:
    """One constant answer for every path that does not exist, whatever it tries (R1)."""
    async with running(folder=built, limits=LIMITS) as site:
        site.publish(dive(1, 1)[0])
        site.publish(dive(1, 1, audience="funders")[0])
        assert await exchange(site, request(target)) == await exchange(site, request("/no/such/path"))
        assert (await get(site, "/no/such/path")).status == 404


@on_both_loops
async def test_dive_list_is_that_of_the_contract() -> None:
    """`dives.json` as the wire contract describes it; newest last; asked for again every time."""
    async with running(limits=LIMITS) as site:
        assert json.loads((await get(site, "/dives.json")).body)["dives"] == []
        for frame in [*dive(1, 3), *dive(2, 1, closed=False)]:
            site.publish(frame)
        answer = await get(site, "/dives.json")
        assert json.loads(answer.body) == {
            "format": 1,
            "expedition": EXPEDITION,
            "audience": "public",
            "dives": [
                {"dive": 1, "closed": True, "records": 5, "recording": "recordings/public/dive-001.recording"},
                {"dive": 2, "closed": False, "records": 2, "recording": "recordings/public/dive-002.recording"},
            ],
        }
        assert (answer.headers["Content-Type"], answer.headers["Cache-Control"]) == ("application/json", "no-cache")


@on_both_loops
async def test_recording_grows_and_closes() -> None:
    """While the dive goes on: the frames so far. Closed: the footer too, and kept for ever. Another tag each time."""
    frames, tags = dive(1, 3), set()
    async with running(limits=LIMITS) as site:
        for count, frame in enumerate(frames, 1):
            site.publish(frame)
            answer = await get(site, RECORDING)
            tags.add(answer.headers["ETag"])
            read = read_recording(answer.body)
            assert [record.data for record in read.records] == [frame.data for frame in frames[:count]]
            closed = count == len(frames)
            assert read.closed == closed
            assert ("immutable" in answer.headers["Cache-Control"]) == closed
            assert (answer.headers["Cache-Control"] == "no-cache") != closed
        assert len(tags) == len(frames)


@on_both_loops
async def test_footer_holds_what_the_standard_library_computes() -> None:
    """["end", count, sha256 of all frame bytes in hexadecimal]: hashlib and msgpack alone are asked."""
    frames = dive(1, 3)
    async with running(limits=LIMITS) as site:
        for frame in frames:
            site.publish(frame)
        body = (await get(site, RECORDING)).body
    joined = b"".join(frame.data for frame in frames)
    assert body.startswith(joined)
    assert msgpack.unpackb(body[len(joined) :]) == ["end", len(frames), sha256(joined).hexdigest()]


@pytest.mark.parametrize("target", ["/", "/assets/page-DiwrgTda.js", "/dives.json", RECORDING])
@pytest.mark.parametrize("coding", ["gzip", "deflate", None])
@on_both_loops
async def test_codings_are_negotiated_and_known_ones_not_sent_again(
    built: Path, target: str, coding: str | None
) -> None:
    """The same content whatever the coding, each with a strong tag of its own that gives 304 with no body."""
    unpackers: dict[str | None, Callable[[bytes], bytes]] = {"gzip": gzip.decompress, "deflate": zlib.decompress}
    unpack = unpackers.get(coding, bytes)
    async with running(folder=built, limits=LIMITS) as site:
        for frame in dive(1, 40):
            site.publish(frame)
        plain = await get(site, target)
        accept = [] if coding is None else [f"Accept-Encoding: {coding}"]
        answer = await get(site, target, *accept)
        assert answer.headers["Content-Encoding"] == coding
        assert unpack(answer.body) == plain.body
        assert (plain.headers["Vary"], answer.headers["Vary"]) == ("Accept-Encoding", "Accept-Encoding")
        tag = answer.headers["ETag"]
        assert tag.startswith('"')
        assert (tag == plain.headers["ETag"]) == (coding is None)
        again = await get(site, target, *accept, f'If-None-Match: "other", {tag}')
        assert (again.status, again.body, again.headers["ETag"]) == (304, b"", tag)
        other = await get(site, target, *accept, 'If-None-Match: "other"')
        assert (other.status, other.body) == (200, answer.body)


@pytest.mark.parametrize("target", ["/", "/dives.json", RECORDING, "/nothing", "/live"])
@on_both_loops
async def test_head_says_what_get_would(built: Path, target: str) -> None:
    """RFC 9110 section 9.3.2: the same header fields, no content."""
    async with running(folder=built, limits=LIMITS) as site:
        for frame in dive(1, 40):
            site.publish(frame)
        whole = await get(site, target, "Accept-Encoding: gzip")
        head = await get(site, target, "Accept-Encoding: gzip", method="HEAD")
        assert (head.status, head.body) == (whole.status, b"")
        assert sorted(head.headers.items()) == sorted(whole.headers.items())


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


@pytest.mark.parametrize("sending", UNREADABLE)
@on_both_loops
async def test_request_that_cannot_be_read_gets_one_constant_answer(sending: bytes) -> None:
    """400 and the same words for each; the connection ends, so nothing behind it is taken for a request."""
    behind = request("/dives.json")
    async with running(limits=LIMITS) as site:
        (answer,) = answers(await exchange(site, sending + behind))
        assert (answer.status, answer.body) == (400, b"The request could not be read.\n")


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"])
@on_both_loops
async def test_nothing_can_be_written(built: Path, method: str) -> None:
    """405 with Allow for every other method, whatever the path."""
    async with running(folder=built, limits=LIMITS) as site:
        for target in ("/", "/dives.json", "/nothing", "/live"):
            answer = await get(site, target, "Content-Length: 0", method=method)
            assert (answer.status, answer.headers["Allow"]) == (405, "GET, HEAD")


@on_both_loops
async def test_fault_of_ours_is_a_constant_answer(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """500 and fixed words, no trace; the log has the trace and nothing of the peer; the site goes on."""

    def broken(_self: Pages, _path: str) -> None:
        raise ZeroDivisionError("the words of the fault")

    async with running(limits=LIMITS) as site:
        with monkeypatch.context() as patch, caplog.at_level(logging.DEBUG):
            patch.setattr(Pages, "find", broken)
            answer = await get(site, "/secret-looking-path", "Accept: text/html")
        assert (answer.status, answer.body) == (500, b"The answer could not be made.\n")
        assert "the words of the fault" in caplog.text
        assert "secret-looking-path" not in caplog.text
        assert "127.0.0.1" not in caplog.text
        assert (await get(site, "/dives.json")).status == 200


@on_both_loops
async def test_requests_leave_no_line_in_the_log(caplog: pytest.LogCaptureFixture) -> None:
    """Neither good requests nor bad ones nor viewers: who follows is nobody's business."""
    with caplog.at_level(logging.DEBUG, logger="offing"), caplog.at_level(logging.DEBUG, logger="aiohttp"):
        async with running(limits=LIMITS) as site:
            for sending in (request("/dives.json"), request("/nothing"), *UNREADABLE):
                await exchange(site, sending)
    assert [record for record in caplog.records if record.name != "asyncio"] == []


@on_both_loops
async def test_every_answer_carries_the_same_headers_and_no_clock(built: Path) -> None:
    """A policy for the browser on every kind of answer; nothing that tells a time, a program or a file."""
    sendings = [
        *(request(target, close=True) for target in ("/", "/assets/plain.css", "/dives.json", RECORDING, "/nothing")),
        request("/", "GET", "If-None-Match: *"),
        request("/live"),
        request("/", "POST", "Content-Length: 0"),
        b"A" * 8_192,
        upgrade("audience=nobody") + b"\x88\x80\x00\x00\x00\x00",
        *UNREADABLE,
    ]
    seen = set()
    async with running(folder=built, limits=LIMITS) as site:
        site.publish(dive(1, 1)[0])
        for sending in sendings:
            head = (await exchange(site, sending)).partition(b"\r\n\r\n")[0].decode()
            status, *lines = head.split("\r\n")
            fields = {name.lower(): value for name, _, value in (line.partition(": ") for line in lines)}
            seen.add(status.split(" ")[1])
            assert set(fields["content-security-policy"].split("; ")) == CSP
            assert (fields["x-content-type-options"], fields["referrer-policy"]) == ("nosniff", "no-referrer")
            assert not {"date", "server", "last-modified", "expires", "age", "set-cookie"} & set(fields)
            assert len(lines) == len(fields)
    assert seen == {"101", "200", "304", "400", "404", "405", "426", "431"}


@on_both_loops
async def test_socket_origins_are_added_to_where_the_page_may_connect() -> None:
    """For browsers whose 'self' leaves out the websocket of the same origin."""
    async with running(limits=LIMITS, socket_origins=["wss://dive.example"]) as site:
        policy = (await get(site, "/dives.json")).headers["Content-Security-Policy"]
        assert "connect-src 'self' wss://dive.example;" in policy


@pytest.mark.parametrize(("length", "status"), [(8_192, 404), (8_193, 431), (100_000, 431)])
@on_both_loops
async def test_head_is_taken_up_to_its_limit(length: int, status: int) -> None:
    """8 KiB with everything; one byte more is told so, and that answer arrives though much is left unread."""
    bare = len(request("/nothing", "GET", "X-Long: "))
    sending = request("/nothing", "GET", f"X-Long: {'x' * (length - bare)}")
    assert len(sending) == length
    async with running(limits=LIMITS) as site:
        (answer,) = answers(await exchange(site, sending))
        assert answer.status == status


@on_both_loops
async def test_requests_in_a_row_on_one_connection_are_answered_in_order(built: Path) -> None:
    """HTTP pipelining (RFC 9112 section 9.3.2): three at once, and a head that is cut anywhere."""
    row = request("/nothing", close=False) + request("/", "HEAD", close=False) + request("/assets/plain.css")
    async with running(folder=built, limits=LIMITS) as site:
        for cut in (len(row), 1, 40, len(row) - 1):
            raw = await RawPeer.dial(site, row[:cut])
            await raw.send(row[cut:])
            found = answers(await raw.rest(), "GET", "HEAD", "GET")
            assert [answer.status for answer in found] == [404, 200, 200]
            assert found[-1].body == (built / "assets" / "plain.css").read_bytes()


@on_both_loops
async def test_websocket_asked_for_on_a_used_connection_is_told_so() -> None:
    """The second request of a connection cannot become a socket: 426, and the end of the connection."""
    async with running(limits=LIMITS) as site:
        raw = await exchange(site, request("/dives.json", close=False) + upgrade() + request("/dives.json"))
        first, second = answers(raw, "GET", "GET")
        assert (first.status, second.status) == (200, 426)
        assert (second.headers["Upgrade"], second.headers["Sec-WebSocket-Version"]) == ("websocket", "13")
        assert site.figures().viewers == {"public": 0}


@pytest.mark.parametrize(
    ("sending", "status"),
    [
        (request("/live?audience=public"), 426),
        (upgrade().replace(b"GET /live", b"GET /"), 404),
        (upgrade().replace(b"GET /live", b"GET /Live"), 404),
        (upgrade().replace(b"GET /live", b"POST /live"), 405),
        (upgrade().replace(b"Version: 13", b"Version: 12"), 426),
    ],
)
@on_both_loops
async def test_live_is_a_websocket_and_nothing_else_is(sending: bytes, status: int) -> None:
    """Only GET /live with an upgrade is a socket; a wrong version is told the right one (RFC 6455 section 4.2.2)."""
    ending = sending if b"Connection: close" in sending else sending + request("/nothing")
    async with running(limits=LIMITS) as site:
        first = (await exchange(site, ending)).split(b"\r\n")[0]
        assert first.startswith(f"HTTP/1.1 {status} ".encode())


@on_both_loops
async def test_idle_connection_is_ended() -> None:
    """A kept-alive connection that asks nothing more, or only begins to, is closed after `keepalive_s`."""
    async with running(limits=replace(LIMITS, keepalive_s=0.1)) as site:
        for beginning in (b"", b"GET /dives.json HT"):
            raw = await RawPeer.dial(site, request("/dives.json", close=False))
            await raw.receive_until(lambda got: got.endswith(b"}"))
            await raw.send(beginning)
            await raw.rest()
        await until(lambda: site.figures().connections == 0)


@on_both_loops
async def test_answer_that_is_never_taken_is_ended(built: Path) -> None:
    """A client that asks for much and reads nothing is cut off: `http_s` and as long again. Turns are given by hand."""
    (built / "big.bin").write_bytes(bytes(16 * 1024 * 1024))
    async with running(folder=built, limits=Limits(http_s=3.0, turn_s=1.0), turns=False) as site:
        raw = await RawPeer.dial(site, request("/big.bin"), receive_octets=4_096)
        await raw.receive_until(lambda got: b"\r\n\r\n" in got)
        for _ in range(5):
            site.turn()
        assert site.figures().connections == 1
        site.turn()
        await until(lambda: site.figures().connections == 0)
        raw.line.close()


@on_both_loops
async def test_closing_site_finishes_the_answer_at_hand(built: Path) -> None:
    """A download that has begun arrives whole though the site closes meanwhile."""
    (built / "big.bin").write_bytes(bytes(range(256)) * 8 * 1024)
    async with running(folder=built, limits=LIMITS) as site:
        raw = await RawPeer.dial(site, request("/big.bin"))
        await raw.receive_until(lambda got: b"\r\n\r\n" in got)
        _, rest = await asyncio.gather(site.close(), raw.rest())
        (answer,) = answers(rest)
        assert answer.body == (built / "big.bin").read_bytes()
