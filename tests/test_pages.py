"""The HTTP side of a running site: what is given out, to whom it is refused, and what no answer ever says."""

import asyncio
import gzip
import json
import zlib
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import msgpack
import pytest

from peers import FAST, build_site, exchange, get, on_both_loops, request, running
from relay.core.errors import OperatorError
from relay.core.wire import read_recording
from relay.shell.site.page_words import DE, EN
from relay.shell.site.pages import READ_AT_ONCE, load_site
from relay.shell.site.public_files import Telling
from released import EXPEDITION, dive

RECORDING = "/recordings/public/dive-001.recording"


@pytest.fixture
def built(tmp_path: Path) -> Path:
    """A small built site."""
    return build_site(tmp_path)


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
    async with running(folder=built, limits=FAST) as site:
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
    async with running(folder=built, limits=FAST) as site:
        site.publish(dive(1, 1)[0])
        site.publish(dive(1, 1, audience="funders")[0])
        assert await exchange(site, request(target)) == await exchange(site, request("/no/such/path"))
        assert (await get(site, "/no/such/path")).status == 404


@on_both_loops
async def test_dive_list_is_that_of_the_contract() -> None:
    """`dives.json` as the wire contract describes it; newest last; asked for again every time."""
    async with running(limits=FAST) as site:
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
    async with running(limits=FAST) as site:
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
    async with running(limits=FAST) as site:
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
    async with running(folder=built, limits=FAST) as site:
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
    async with running(folder=built, limits=FAST) as site:
        for frame in dive(1, 40):
            site.publish(frame)
        whole = await get(site, target, "Accept-Encoding: gzip")
        head = await get(site, target, "Accept-Encoding: gzip", method="HEAD")
        assert (head.status, head.body) == (whole.status, b"")
        assert sorted(head.headers.items()) == sorted(whole.headers.items())


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"])
@on_both_loops
async def test_nothing_can_be_written(built: Path, method: str) -> None:
    """405 with Allow for every other method, whatever the path."""
    async with running(folder=built, limits=FAST) as site:
        for target in ("/", "/dives.json", "/nothing", "/live"):
            answer = await get(site, target, "Content-Length: 0", method=method)
            assert (answer.status, answer.headers["Allow"]) == (405, "GET, HEAD")


@on_both_loops
async def test_page_in_another_language_has_another_tag(built: Path) -> None:
    """Who has the page of the same records in one language isn't told that it is still that one."""
    tags = []
    for words in (EN, DE):
        async with running(folder=built, limits=FAST, telling=Telling(EXPEDITION, words)) as site:
            for frame in dive(1, 3):
                site.publish(frame)
            answer = await get(site, "/expedition.html")
            tags.append(answer.headers["ETag"])
            assert answer.headers["ETag"] == (await get(site, "/expedition.html")).headers["ETag"]
    assert len(set(tags)) == 2


@on_both_loops
async def test_others_are_served_while_a_long_dive_is_read(built: Path) -> None:
    """The first page after a start reads thousands of records; who asks for something else doesn't wait for it."""
    async with running(folder=built, limits=FAST) as site:
        for frame in dive(1, 60 * READ_AT_ONCE):
            site.publish(frame)
        done: list[str] = []

        async def ask(target: str) -> None:
            assert (await get(site, target)).status == 200
            done.append(target)

        await asyncio.gather(ask("/expedition.html"), ask("/mark.png"), ask("/dives.json"))
        assert done[-1] == "/expedition.html"
