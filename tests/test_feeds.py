"""Feeds: one conformance suite for every transport, on both loops, with real sockets and pseudo-terminals."""

import ast
import asyncio
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from feed_stations import (
    LIMIT_S,
    STATIONS,
    Bell,
    DiallingStation,
    ListeningStation,
    SerialStation,
    Station,
    free_port,
)
from feed_talk import (
    END,
    Shelf,
    each_loop,
    no_wait,
    on,
    patterned,
    push_until_stuck,
    talk,
)
from relay.core.errors import OperatorError
from relay.core.model import Row, RowKind
from relay.shell.feeds import feeds
from relay.shell.feeds.feeds import open_feed, open_feeds, parse_feed_url
from relay.shell.record.clock import EmbargoClock, MachineTime
from relay.shell.record.journal import Journal, JournalFile

STREAMS = ["tcp", "tcp-listen", "serial"]

each_kind = pytest.mark.parametrize("kind", list(STATIONS))


def descriptors() -> list[Path]:
    """Return what this process has open."""
    return list(Path("/proc/self/fd").iterdir())


@each_loop
@each_kind
def test_feed_bytes_arrive_unchanged_and_in_order(kind: str, loop: str, tmp_path: Path) -> None:
    """What the station says reaches the sink byte for byte, in order, and datagrams and messages stay whole."""

    async def scenario() -> None:
        said = [bytes(range(256)), b"\r\n\x00\x11\x13\x03\xff", *(patterned(1 + 97 * n, n) for n in range(12))]
        async with talk(kind, tmp_path) as conversation:
            for data in said:
                await conversation.station.say(data)
            await conversation.until(lambda: conversation.shelf.size >= len(b"".join(said)))
            taken = conversation.shelf.taken
            if conversation.station.whole:
                assert taken == [("lantern", data, True) for data in said]
            else:
                assert taken[0] == END  # a relay that was killed left no end of its last stream
                assert {(source, whole) for source, _, whole in taken[1:]} == {("lantern", False)}
                assert conversation.shelf.bytes == b"".join(said)
            assert conversation.feed.counters.bytes == len(b"".join(said))
            assert conversation.feed.counters.datagrams == (len(said) if conversation.station.whole else 0)
            assert conversation.feed.counters.last_receipt_s is not None

    on(loop, scenario())


@each_loop
@each_kind
def test_feed_sends_nothing_to_the_station(kind: str, loop: str, tmp_path: Path) -> None:
    """After talk, noise and a stop the station has received no byte (on a websocket: no data frame) (R6)."""

    async def scenario() -> None:
        async with talk(kind, tmp_path) as conversation:
            said = [b"$HEHDT,12.5,T*1B\r\n", patterned(5000, 1), b"\x05\x06\x11\x13", b"{" * 100]
            for data in said:
                await conversation.station.say(data)
            await conversation.until(lambda: conversation.shelf.size == len(b"".join(said)))
            await conversation.stop()
            assert await conversation.station.heard() == []

    on(loop, scenario())


@each_loop
@each_kind
def test_feed_cancel_closes_everything(kind: str, loop: str, tmp_path: Path) -> None:
    """A feed that is cancelled says so and leaves no descriptor open."""

    async def scenario() -> None:
        counts = []
        for _ in range(2):  # the first round opens what the loop and the libraries keep
            async with talk(kind, tmp_path) as conversation:
                await conversation.station.say(b"12")
                await conversation.until(lambda: b"12" in conversation.shelf.bytes)
                await conversation.stop()
                assert conversation.feed.state == "stopped"
            counts.append(len(descriptors()))
        assert counts[0] == counts[1]

    on(loop, scenario())


@each_loop
@pytest.mark.parametrize("kind", ["tcp", "tcp-listen", "serial", "ws", "ws-listen"])
def test_feed_hears_a_station_that_comes_back(kind: str, loop: str, tmp_path: Path) -> None:
    """After the link broke in the middle of a frame, the stream is ended and the next one is heard."""

    async def scenario() -> None:
        async with talk(kind, tmp_path) as conversation:
            station, taken = conversation.station, conversation.shelf.taken
            await station.say(b'{"depth_m": 12')
            await conversation.until(lambda: bool(conversation.shelf.bytes))
            await station.drop()
            if isinstance(station, SerialStation):
                station.plug_in()
            await conversation.until(lambda: station.whole or taken.count(END) == 2)
            await station.meet(conversation.feed, conversation.bell)
            await station.say(b'5.5"}\n')
            await conversation.until(lambda: conversation.shelf.bytes.endswith(b"\n"))
            whole = station.whole
            parts = [("lantern", b'{"depth_m": 12', whole), ("lantern", b'5.5"}\n', whole)]
            assert taken == (parts if whole else [END, parts[0], END, parts[1]])
            assert conversation.feed.counters.connections == 2

    on(loop, scenario())


def push_of(station: Station) -> Callable[[bytes], int]:
    """Return a write that takes what it can and raises BlockingIOError when it can take nothing."""
    if isinstance(station, SerialStation):
        return lambda data: os.write(station.far, data)
    assert isinstance(station, ListeningStation | DiallingStation)
    assert station.connection is not None
    return station.connection.send


@each_loop
@pytest.mark.parametrize("kind", STREAMS)
def test_feed_stream_waits_for_room(kind: str, loop: str, tmp_path: Path) -> None:
    """While the sink is full a stream is not read, so the station's writes stop; then all of it arrives in order."""

    async def scenario() -> None:
        async with talk(kind, tmp_path) as conversation:
            conversation.shelf.fill()
            pushed = await push_until_stuck(push_of(conversation.station), conversation)
            assert conversation.feed.state == "not reading: the journal has no room"
            assert conversation.shelf.taken == []
            conversation.shelf.clear()
            await conversation.until(lambda: conversation.shelf.size >= len(pushed))
            assert conversation.shelf.bytes == pushed
            assert not conversation.feed.state.startswith("not reading")

    on(loop, scenario())


@each_loop
@each_kind
def test_feed_survives_noise(kind: str, loop: str, tmp_path: Path) -> None:
    """Noise of any kind goes to the sink like anything else, and the feed goes on hearing."""

    async def scenario() -> None:
        async with talk(kind, tmp_path) as conversation:
            noise = [patterned(size, size) for size in (1, 2, 1000, 30_000)]
            for data in [*noise, b"GET / HTTP/1.1\r\n\r\n", b"after"]:
                await conversation.station.say(data)
            await conversation.until(lambda: conversation.shelf.bytes.endswith(b"after"))
            assert conversation.shelf.bytes.startswith(b"".join(noise))
            assert not conversation.task.done()

    on(loop, scenario())


@pytest.mark.parametrize(
    ("text", "port"),
    [
        ("udp://127.0.0.1:1", "UDP port"),
        ("tcp-listen://127.0.0.1:1", "TCP port"),
        ("ws-listen://127.0.0.1:1", "TCP port"),
    ],
)
async def test_feed_on_a_taken_port_says_which_and_what_to_do(text: str, port: str) -> None:
    """A second feed on one address ends with an error that names the feed, the port, the trouble and a remedy."""
    bell = Bell()
    first = open_feed("station-a", free_port(parse_feed_url(text)), Shelf(bell), changed=bell.ring)
    task = asyncio.create_task(first.run())
    await bell.until(lambda: first.bound is not None)
    assert first.bound is not None
    number = first.bound[1]
    second = open_feed("station-b", parse_feed_url(f"{text[:-1]}{number}"), Shelf(bell))
    with pytest.raises(OperatorError, match="feed station-b") as caught:
        await asyncio.wait_for(second.run(), LIMIT_S)
    for words in (f"{port} {number}", "address already in use", "give this feed another port"):
        assert words in str(caught.value)
    assert second.state == str(caught.value)
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)


def test_feeds_that_share_a_port_are_refused_before_they_open() -> None:
    """Two feeds of one relay on one UDP port, group and broadcast included, are refused by name."""
    for host in ("127.0.0.1", "127.255.255.255", "239.192.77.1"):
        url = parse_feed_url(f"udp://{host}:10110")
        with pytest.raises(OperatorError, match=r"feed station-b.*feed station-a.*10110.*of its own"):
            open_feeds([("station-a", url), ("station-b", url)], Shelf(Bell()))


@pytest.mark.parametrize(
    "text",
    [
        "udp://192.0.2.1:10110",
        "tcp-listen://192.0.2.1:4001",
        "ws-listen://192.0.2.1:8090",
        "udp://no-such-host.invalid:10110",
        "tcp-listen://no-such-host.invalid:4001",
        "udp://239.192.77.1:10110?interface=192.0.2.1",
    ],
)
async def test_feed_on_an_address_of_another_machine_says_what_to_do(text: str) -> None:
    """An address this machine has not (RFC 5737, RFC 6761) ends with an error that says what to write."""
    feed = open_feed("station-a", parse_feed_url(text), Shelf(Bell()))
    with pytest.raises(OperatorError, match=r"feed station-a: .* can't be listened on") as caught:
        await asyncio.wait_for(feed.run(), LIMIT_S)
    assert "address" in str(caught.value).partition(": ")[2]


class JournalSink:
    """The real journal as the sink of feeds."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal

    def take(self, source: str, data: bytes, whole: bool) -> bool:
        return self._journal.append(source, RowKind.WHOLE if whole else RowKind.STREAM, data)

    async def room(self) -> None:
        await self._journal.room()


async def test_feed_fills_the_real_journal_through_a_narrow_bound(tmp_path: Path) -> None:
    """A TCP stream far longer than the journal's queue arrives on the disk whole: the feed waits for room."""
    file = JournalFile(tmp_path / "private")
    journal = Journal(file, EmbargoClock(MachineTime()), limit=4, group=2)
    bell, station = Bell(), ListeningStation()
    rows: list[bytes] = []

    def keep(durable: list[Row]) -> None:
        rows.extend(row.data for row in durable)
        bell.ring()

    journal.on_durable = keep
    await station.open(tmp_path)
    feed = open_feed("lantern", station.url, JournalSink(journal), sleep=no_wait, changed=bell.ring)
    task = asyncio.create_task(feed.run())
    await station.meet(feed, bell)
    said = patterned(2_000_000, 9)
    await station.say(said)
    await bell.until(lambda: sum(map(len, rows)) == len(said))
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    await station.close()
    await journal.close()
    assert b"".join(row.data for row in file.rows()) == said
    file.close()


SENDING = {
    "write", "writelines", "write_eof", "send", "sendall", "sendto", "sendmsg", "sendfile", "send_text",
    "send_bytes", "send_str", "send_json", "ping", "pong", "broadcast", "sock_sendall", "sock_sendto", "sock_sendfile",
    "writev", "pwrite", "pwritev", "splice", "tcsendbreak", "tcflow", "drain", "add_writer", "open_connection",
    "start_server", "create_datagram_endpoint",
}  # fmt: skip
WRITABLE = {"O_WRONLY", "O_RDWR", "O_CREAT", "O_APPEND", "O_TRUNC", "TIOCSTI"}


def feed_modules() -> list[Path]:
    """Return the sources of all feeds."""
    return sorted(Path(feeds.__file__).parent.glob("feed*.py"))


def names_in(tree: ast.AST) -> set[str]:
    """Return every name, attribute, imported name and short string of a module."""
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute):
            found.add(node.attr)
        elif isinstance(node, ast.Name):
            found.add(node.id)
        elif isinstance(node, ast.alias):
            found |= set(node.name.split("."))
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            found.add(node.value)
    return found


@pytest.mark.parametrize("path", feed_modules(), ids=lambda path: path.stem)
def test_feed_source_holds_nothing_that_sends(path: Path) -> None:
    """No module of the feeds so much as names a call that sends, or a flag that opens for writing (R6)."""
    assert names_in(ast.parse(path.read_text())) & (SENDING | WRITABLE) == set()


def test_feed_source_check_finds_what_it_looks_for() -> None:
    """The check of the source finds a send in every disguise it knows, and there are feeds to check."""
    for text in (
        "transport.write(b'')",
        "getattr(s, 'sendto')(b'')",
        "from os import write",
        "os.open('a', os.O_RDWR)",
    ):
        assert names_in(ast.parse(text)) & (SENDING | WRITABLE)
    assert {path.stem for path in feed_modules()} >= {"feeds", "feed_datagram", "feed_stream", "feed_serial"}
