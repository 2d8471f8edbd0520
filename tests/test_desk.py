"""The desk's server: who is answered, with what, and what becomes of those who are slow, rude or in a hurry."""

import asyncio
import gzip
import json
import re
import socket
import threading
from dataclasses import replace
from pathlib import Path

import pytest

from desk_peers import TOKEN, Stream, ask, asking, desk_of, told
from peers import RawPeer, answers, build_site, exchange, on_both_loops, reset, until
from relay.core.pipeline import Pipeline
from relay.core.ranges import NOTE_LIMIT
from relay.shell.desk.deciding import MESSAGE_LIMIT, NOBODY
from relay.shell.desk.desk import NOT_BUILT, ROUTES
from relay.shell.desk.desk_line import DeskLimits
from relay.shell.site.pages import load_site
from wheelhouse import Wheelhouse

HALF = b'{"do": "hold", "who": "Ines", "\\ud800": 1}'  # half a pair of surrogates as a name (RFC 8259 section 8.2)
WRONG = [
    None,
    "",
    TOKEN,
    f"Basic {TOKEN}",
    f"bearer {TOKEN}",
    f"Bearer {TOKEN[:-1]}",
    f"Bearer {TOKEN}x",
    "Bearer \xff",
]


@pytest.mark.parametrize("given", WRONG)
@pytest.mark.parametrize("path", ROUTES)
async def test_route_is_answered_to_the_token_alone(path: str, given: str | None) -> None:
    """Without the right token, written as RFC 6750 has it, nothing is told and nothing is taken."""
    bridge = Wheelhouse()
    body = b'{"do": "hold", "who": "Ines"}' if ROUTES[path] == "POST" else b""
    async with desk_of(bridge) as desk:
        answer = await ask(desk, path, ROUTES[path], body, Authorization=given)
        assert (answer.status, answer.headers["WWW-Authenticate"]) == (401, "Bearer")
        assert json.loads(answer.body).keys() == {"ok", "why"}
    assert bridge.taken == []


async def test_token_in_an_address_is_none() -> None:
    """What stands in a query lands in histories and logs, so it opens nothing."""
    async with desk_of(Wheelhouse()) as desk:
        for query in (f"token={TOKEN}", f"access_token={TOKEN}"):
            assert (await ask(desk, f"/state?{query}", Authorization=None)).status == 401


@pytest.mark.parametrize(
    "host", [None, "", "relay.example", "127.0.0.1", "127.0.0.1:1", "localhost", "[::1]", "127.0.0.1:{port}.example"]
)
@pytest.mark.parametrize("path", ["/", *ROUTES])
async def test_host_must_be_the_desks_own_name(path: str, host: str | None) -> None:
    """A name that somebody has made to point here (DNS rebinding) is refused, with the token or without."""
    bridge = Wheelhouse()
    async with desk_of(bridge) as desk:
        named = None if host is None else host.format(port=desk.address[1])
        answer = await ask(desk, path, ROUTES.get(path, "GET"), Host=named)
        assert answer.status in (400, 421)
    assert bridge.taken == []


@pytest.mark.parametrize("name", ["127.0.0.1", "localhost", "LOCALHOST", "[::1]"])
async def test_loopback_has_the_names_that_browsers_give_it(name: str) -> None:
    """Whichever of them stands in the address, the page comes from the desk and may speak to it."""
    async with desk_of(Wheelhouse()) as desk:
        host = f"{name}:{desk.address[1]}"
        assert (await ask(desk, "/state", Host=host, Origin=f"http://{host}")).status == 200


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("Origin", "https://127.0.0.1:{port}"),
        ("Origin", "http://127.0.0.1"),
        ("Origin", "http://relay.example"),
        ("Origin", "null"),
        ("Sec_Fetch_Site", "cross-site"),
        ("Sec_Fetch_Site", "same-site"),
    ],
)
@pytest.mark.parametrize("path", ROUTES)
async def test_other_sites_page_is_refused_even_with_the_token(path: str, field: str, value: str) -> None:
    """What a browser says of who asks is believed: no other site's page speaks to the desk (RFC 6454 section 7)."""
    bridge = Wheelhouse()
    async with desk_of(bridge) as desk:
        fields = {field: value.format(port=desk.address[1])}
        assert (await ask(desk, path, ROUTES[path], b'{"do": "hold", "who": "Ines"}', **fields)).status == 403
    assert bridge.taken == []


@pytest.mark.parametrize("path", ["/decide", "/check"])
async def test_body_is_json_uncoded_and_bounded(path: str) -> None:
    """Another type, a coding, an octet too much, chunked or not: refused, and the connection ends; at the limit not."""
    bridge = Wheelhouse()
    async with desk_of(bridge) as desk:
        for fields in ({"Content_Type": "text/plain"}, {"Content_Type": None}, {"Content_Encoding": "gzip"}):
            answer = await ask(desk, path, "POST", gzip.compress(b"{}"), **fields)  # type: ignore[arg-type]
            assert (answer.status, answer.headers["Connection"]) == (415, "close")
        assert (await ask(desk, path, "POST", b" " * (MESSAGE_LIMIT + 1))).status == 413
        assert (await ask(desk, path, "POST", b" " * MESSAGE_LIMIT)).status == 200
        chunk = b"10000\r\n" + b" " * 65_536 + b"\r\n"
        chunked = {"Content_Length": None, "Transfer_Encoding": "chunked"}
        sending = asking(desk, path, "POST", **chunked) + chunk * 3 + b"0\r\n\r\n"  # type: ignore[arg-type]
        (answer,) = answers(await exchange(desk, sending), "POST")
        assert answer.status == 413
    assert bridge.taken == []


@pytest.mark.parametrize("body", [b"", b"{", b"[1]", b"\xff", b'{"do": "hold"}', b"7", b"[" * 50_000, HALF])
@pytest.mark.parametrize("path", ["/decide", "/check"])
async def test_body_that_says_nothing_is_told_so(path: str, body: bytes) -> None:
    """Nonsense is answered in words, takes nothing, and the desk goes on."""
    bridge = Wheelhouse()
    async with desk_of(bridge) as desk:
        answer = await ask(desk, path, "POST", body)
        assert answer.status == 200
        assert json.loads(answer.body)["ok"] is False
        assert (await ask(desk, "/state")).status == 200
    assert bridge.taken == []


async def test_body_that_never_ends_is_ended() -> None:
    """Half a message holds its connection for so long and no longer."""
    async with desk_of(Wheelhouse(), DeskLimits(body_s=0.05, close_s=0.05)) as desk:
        sending = asking(desk, "/decide", "POST", b"{}", Content_Length="100")
        assert (await exchange(desk, sending)).startswith(b"HTTP/1.1 408 ")


async def test_head_that_never_ends_is_cut_off() -> None:
    """A connection that says half a head, or nothing, is gone after a while, and its place is free again."""
    async with desk_of(Wheelhouse(), DeskLimits(head_s=0.05, connections=2)) as desk:
        for begun in (b"", b"GET /state HTTP/1.1\r\nHost: "):
            peers = [await RawPeer.dial(desk, begun) for _ in range(2)]  # type: ignore[arg-type]
            for peer in peers:
                assert await peer.rest() == b""
        desk._rooms.limits = replace(desk._rooms.limits, head_s=60.0)  # a busy machine may take as long for a head
        assert (await ask(desk, "/state")).status == 200


@pytest.mark.parametrize("limits", [DeskLimits(connections_per_address=2), DeskLimits(connections=2)])
async def test_strangers_take_no_place_from_whoever_has_the_token(limits: DeskLimits) -> None:
    """Idle connections fill the room: the oldest of them goes, and whoever has shown the token stays and comes in."""
    async with desk_of(Wheelhouse(), limits) as desk:
        stream = await Stream.open(desk)
        idle = [await RawPeer.dial(desk, b"") for _ in range(3)]  # type: ignore[arg-type]
        assert await idle[0].rest() == b""
        assert (await told(desk, "/stop", {"who": "Ines"}))["held"]
        assert await idle[1].rest() == b""
        await stream.line()
        stream.close()
        for peer in idle:
            peer.line.close()


async def test_known_connections_are_bounded() -> None:
    """Of too many who have the token the oldest is cut off, so that the next one's stop comes in."""
    async with desk_of(Wheelhouse(), DeskLimits(connections=2)) as desk:
        held = [await Stream.open(desk) for _ in range(2)]
        assert (await told(desk, "/stop", {"who": "Ines"}))["held"]
        await until(lambda: desk.newest.followers == 1)
        for stream in held:
            stream.close()


@pytest.mark.parametrize(
    "sending",
    [
        b"nonsense\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: x\r\nbad header\r\n\r\n",
        b"GET /nothing HTTP/1.1\r\nHost: x\r\n\r\n",
    ],
)
async def test_no_answer_says_what_program_or_what_time_or_may_be_kept(sending: bytes) -> None:
    """Whatever is asked: a strict policy for the page, nothing kept, neither Date nor Server."""
    async with desk_of(Wheelhouse()) as desk:
        rude = answers(await exchange(desk, sending))  # type: ignore[arg-type]
        for answer in [*rude, await ask(desk, "/"), await ask(desk, "/state"), await ask(desk, "/nothing")]:
            assert answer.headers["Cache-Control"] == "no-store"
            assert answer.headers["Content-Security-Policy"].startswith("default-src 'none'; script-src 'self';")
            assert answer.headers["Referrer-Policy"] == "no-referrer"
            assert not {"Date", "Server"} & set(answer.headers)


async def test_page_needs_no_token_and_is_plain_text_where_it_is_not_built(tmp_path: Path) -> None:
    """The built page's files come to whoever asks by the desk's name; without them the desk says how to build them."""
    page = load_site(build_site(tmp_path), 1_000_000)
    async with desk_of(Wheelhouse()) as bare, desk_of(Wheelhouse(), page=page) as desk:
        missing = await ask(bare, "/", Authorization=None)
        assert (missing.status, missing.body, missing.headers["Content-Type"]) == (
            200,
            NOT_BUILT,
            "text/plain; charset=utf-8",
        )
        for path in ("/", "/assets/page-DiwrgTda.js", "/mark.png"):
            found = await ask(desk, path, Authorization=None)
            assert (found.status, found.body) == (200, page[path].content)
        for path in ("/.secret", "/link.txt", "/../beside.txt", "/assets/../../beside.txt", "/state/"):
            assert (await ask(desk, path)).status == 404
        assert (await ask(desk, "/", "DELETE")).status == 405


@pytest.mark.parametrize("path", ROUTES)
async def test_route_takes_its_method_alone(path: str) -> None:
    """A link or an image of a page can make a browser GET: it decides nothing by that."""
    async with desk_of(Wheelhouse()) as desk:
        other = "GET" if ROUTES[path] == "POST" else "POST"
        answer = await ask(desk, path, other)
        assert (answer.status, answer.headers["Allow"]) == (405, ROUTES[path])


async def test_stream_has_a_state_at_once_then_by_and_by_and_after_each_decision(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Who opens a desk sees how things stand, sees it go on, and sees at once what anybody decided."""
    async with desk_of(Wheelhouse()) as desk:
        stream = await Stream.open(desk)
        first, second = await stream.state(), await stream.state()
        assert first["taken"] == second["taken"] == 0
        assert second["count"] > first["count"]
        monkeypatch.setattr("relay.shell.desk.desk_stream.EVERY_S", 600.0)
        for number in (1, 2):  # one state more may come by itself: the second decision has none to come with
            assert (await told(desk, "/decide", {"do": "begin", "who": "Ines"}))["ok"]
            while (await stream.state())["taken"] < number:
                pass
        stream.close()


async def test_two_desks_are_shown_the_same_bytes() -> None:
    """A state is composed once, whoever follows: desks can't disagree. The clock stands, so that none grows old."""
    async with desk_of(Wheelhouse()) as desk:
        desk.newest._now_s = lambda: 0.0
        streams = [await Stream.open(desk) for _ in range(2)]
        shown, again = [await stream.line() for stream in streams]
        for _ in range(3):
            assert shown == again
            before = shown
            desk.newest.changed()
            shown, again = [await later(stream, before) for stream in streams]
            assert json.loads(shown)["count"] == json.loads(before)["count"] + 1
        assert shown == again
        for stream in streams:
            stream.close()


async def later(stream: Stream, before: bytes) -> bytes:
    """Return the next state that isn't the one before."""
    while (line := await stream.line()) == before:
        pass
    return line


async def test_who_takes_no_states_is_cut_off_and_keeps_nobody() -> None:
    """A desk asleep on another laptop fills its own buffers and no more; the other one misses nothing."""
    bridge = Wheelhouse()
    big = {"ballast": "x" * 200_000}
    async with desk_of(bridge, DeskLimits(stall_s=1.0), also=big) as desk:
        asleep = await RawPeer.dial(desk, asking(desk, "/stream"), receive_octets=4_096)  # type: ignore[arg-type]
        await until(lambda: desk.newest.followers == 1)
        reader, writer = await asyncio.open_connection(*desk.address, limit=1 << 22)
        writer.write(asking(desk, "/stream"))
        await reader.readuntil(b"\r\n\r\n")
        awake = Stream(reader, writer)
        counts = [(await awake.state())["count"] for _ in range(4)]
        assert counts == sorted(set(counts))
        await until(lambda: desk.newest.followers == 1)
        asleep.line.close()
        awake.close()


def counts_in(received: bytes) -> list[int]:
    """Return the numbers of the states in what was received."""
    return [int(count) for count in re.findall(rb'{"count": (\d+),', received)]


async def test_who_takes_states_late_gets_the_newest_and_hardly_an_old_one() -> None:
    """A slow network: what waits is a state or two, not minutes of them that would be shown as the ship's now."""
    big = {"ballast": "x" * 40_000}
    async with desk_of(Wheelhouse(), DeskLimits(stall_s=60.0), also=big) as desk:
        late = await RawPeer.dial(desk, asking(desk, "/stream"), receive_octets=4_096)  # type: ignore[arg-type]
        await until(lambda: desk.newest.followers == 1)
        awake = await Stream.open(desk)
        count = 0
        while count < 20:
            desk.newest.changed()
            count = (await awake.state())["count"]
        received = await late.receive_until(lambda data: max(counts_in(data), default=0) >= count)
        old = [had for had in counts_in(received) if had < count]
        assert len(old) <= 3
        late.line.close()
        awake.close()


async def test_streams_are_bounded() -> None:
    """One more than the limit is told so; the others go on."""
    async with desk_of(Wheelhouse(), DeskLimits(streams=1)) as desk:
        first = await Stream.open(desk)
        await until(lambda: desk.newest.followers == 1)
        assert (await ask(desk, "/stream")).status == 503
        await first.line()
        first.close()


@pytest.mark.parametrize("body", [b'{"who": "Ines"}', b"", b"{", b"[7]", b'{"who": 7}'])
async def test_stop_is_taken_whatever_its_message_is(body: bytes) -> None:
    """The token is all a stop needs: a broken message, another type or a late body keep nothing going."""
    bridge = Wheelhouse()
    named = "Ines" if b"Ines" in body else NOBODY
    async with desk_of(bridge, DeskLimits(close_s=0.05)) as desk:
        stopped = json.loads((await ask(desk, "/stop", "POST", body)).body)
        assert stopped == {"ok": True, "held": True, "on_disk": True, "taken": "hold"}
        (late,) = answers(await exchange(desk, asking(desk, "/stop", "POST", body, Content_Length="999")), "POST")  # type: ignore[arg-type]
        assert json.loads(late.body)["ok"]
        assert (await ask(desk, "/stop", "POST", body, Content_Type="text/plain")).status == 200
    assert bridge.taken == [({"do": "hold"}, named), ({"do": "hold"}, NOBODY), ({"do": "hold"}, NOBODY)]


@pytest.mark.parametrize("more", [{"Content_Length": "9"}, {"Content_Length": None, "Transfer_Encoding": "chunked"}])
async def test_stop_is_taken_when_whoever_gives_it_is_cut_off(
    more: dict[str, str | None], caplog: pytest.LogCaptureFixture
) -> None:
    """A line that breaks within the message, after the token, keeps nothing going, and is no fault of the desk's."""
    bridge = Wheelhouse()
    async with desk_of(bridge) as desk:
        peer = await RawPeer.dial(desk, asking(desk, "/stop", "POST", **more) + b"2\r\n{")  # type: ignore[arg-type]
        peer.line.shutdown(socket.SHUT_WR)
        await peer.rest()
        await until(lambda: bool(bridge.taken))
    assert bridge.taken == [({"do": "hold"}, NOBODY)]
    assert not caplog.records


async def test_early_release_asks_twice_at_the_desk_as_at_the_socket() -> None:
    """One way of taking decisions: the question comes here, too, and its code works once."""
    bridge = Wheelhouse()
    message = {"do": "early", "audience": "public", "upto_us": 5, "who": "Ines"}
    async with desk_of(bridge) as desk:
        code = (await told(desk, "/decide", message))["confirm"]
        assert bridge.taken == []
        assert await told(desk, "/decide", {**message, "code": code}) == {"ok": True, "taken": "early"}


async def test_check_says_where_in_a_text_a_place_is_told() -> None:
    """While typing: the findings of those audiences whose annotations are checked, each with its range and why."""
    text = "We found her at 41.2010 S 17.5030 W today"
    async with desk_of(Wheelhouse()) as desk:
        (found,) = (await told(desk, "/check", {"text": text, "audiences": []}))["findings"]
        assert text[found["start"] : found["end"]].startswith("41.2010")
        assert "reads as a position" in found["why"] or "latitude" in found["why"]
        assert (await told(desk, "/check", {"text": "The bell."}))["findings"] == []
        assert (await told(desk, "/check", {"text": text, "audiences": ["nobody"]}))["findings"] == []


async def test_check_of_a_programme_finds_times_of_day() -> None:
    """What a programme is refused for is found while it is typed, and is no fault in an annotation."""
    async with desk_of(Wheelhouse()) as desk:
        assert (await told(desk, "/check", {"text": "Launch at 06:00"}))["findings"] == []
        (found,) = (await told(desk, "/check", {"text": "Launch at 06:00", "programme": True}))["findings"]
        assert "06:00" in "Launch at 06:00"[found["start"] : found["end"]]
        assert (await told(desk, "/check", {"text": "Launch", "programme": 1}))["ok"] is False


async def test_check_reads_no_more_than_a_note_and_beside_the_loop(monkeypatch: pytest.MonkeyPatch) -> None:
    """A pasted document is answered unread; what is read is read in a thread, one text at a time."""
    read: list[tuple[int, bool]] = []

    def finding(_: Pipeline, text: str) -> list[object]:
        read.append((len(text), threading.current_thread() is threading.main_thread()))
        return []

    monkeypatch.setattr(Pipeline, "check_text", finding)
    async with desk_of(Wheelhouse()) as desk:
        (found,) = (await told(desk, "/check", {"text": "x" * 100_000}))["findings"]
        assert (found["start"], found["end"], read) == (NOTE_LIMIT, 100_000, [])
        assert (await told(desk, "/check", {"text": "x" * NOTE_LIMIT}))["findings"] == []
    assert read == [(NOTE_LIMIT, False)]


@on_both_loops
async def test_follower_that_is_gone_before_its_stream_begins_is_no_fault(caplog: pytest.LogCaptureFixture) -> None:
    """Reset with its request still unread, and a line that is narrowed when it is lost: nothing is raised or logged."""
    async with desk_of(Wheelhouse()) as desk:
        for _ in range(10):
            peer = await RawPeer.dial(desk)
            await until(lambda: len(desk._rooms.lines) == 1)
            (line,) = desk._rooms.lines
            await peer.send(asking(desk, "/stream", Connection=None))
            reset(peer.line)
            await until(lambda: desk._rooms.lines == [] and desk.newest.followers == 0)
            line.narrow()
    assert caplog.records == []
