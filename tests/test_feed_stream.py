"""Stream feeds: dialling, being dialled, files, and where one stream ends and the next begins."""

import asyncio
import os
import socket
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest

from feed_stations import (
    Bell,
    DiallingStation,
    dial,
    read_to_the_end,
)
from feed_talk import (
    END,
    Shelf,
    Waits,
    each_loop,
    on,
    patterned,
    talk,
)
from peers import on_both_loops
from relay.core.errors import OperatorError
from relay.shell.feeds.feed_stream import Inlet, refuse_itself
from relay.shell.feeds.feeds import FeedLimits, open_feed, parse_feed_url

DIALLED = ["tcp", "ws"]
STREAMS = ["tcp", "tcp-listen", "serial"]


async def test_dial_waits_double_up_to_the_most_and_begin_again() -> None:
    """Waits before dialling are 0.5 s, doubled up to 10 s, said in the state, and least again once bytes have come."""
    bell = Bell()
    waits, shelf = Waits(bell), Shelf(bell)
    listener = socket.create_server(("127.0.0.1", 0))
    port = listener.getsockname()[1]
    listener.close()
    feed = open_feed("lantern", parse_feed_url(f"tcp://127.0.0.1:{port}"), shelf, sleep=waits.sleep, changed=bell.ring)
    task = asyncio.create_task(feed.run())
    expected = [0.5, 1.0, 2.0, 4.0, 8.0, 10.0, 10.0]
    for number in range(1, len(expected) + 1):
        await bell.until(lambda number=number: len(waits.asked) == number)  # type: ignore[misc]
        assert feed.state == f"waiting {expected[number - 1]:g} s before dialling again: connection refused"
        if number < len(expected):
            waits.over()
    assert waits.asked == expected
    listener = socket.create_server(("127.0.0.1", port))
    listener.setblocking(False)
    for _ in range(2):  # a connection without a byte does not count as success
        waits.over()
        connection, _ = await asyncio.get_running_loop().sock_accept(listener)
        asked = len(waits.asked)
        connection.close()
        await bell.until(lambda asked=asked: len(waits.asked) > asked)  # type: ignore[misc]
        assert feed.state == "waiting 10 s before dialling again: the station closed the connection"
    waits.over()
    connection, _ = await asyncio.get_running_loop().sock_accept(listener)
    connection.send(b"1")
    await bell.until(lambda: b"1" in shelf.bytes)
    connection.close()
    await bell.until(lambda: waits.asked[-1] == 0.5)
    assert feed.state == "waiting 0.5 s before dialling again: the station closed the connection"
    listener.close()
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)


@pytest.mark.parametrize("kind", DIALLED)
async def test_dial_leaves_a_silent_station_and_comes_back(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A dialled station that says nothing for the idle limit, on the loop's clock, is left and dialled again."""
    async with talk(kind, tmp_path, limits=FeedLimits(idle_s=3600.0)) as conversation:
        await conversation.station.say(b"1")
        await conversation.until(lambda: conversation.shelf.bytes == b"1")
        loop = asyncio.get_running_loop()
        clock = loop.time
        monkeypatch.setattr(loop, "time", lambda: clock() + 3600.0)
        await conversation.until(lambda: conversation.feed.counters.connections >= 2)
        assert conversation.shelf.bytes == b"1"


async def test_dial_gives_up_on_a_station_that_does_not_answer() -> None:
    """A dial that gets no answer within its limit ends in words and is tried again."""
    bell = Bell()
    waits = Waits(bell)
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(0)
        address = listener.getsockname()
        queue = [socket.create_connection(address)]  # fills the backlog: further calls for a connection go unanswered
        feed = open_feed(
            "lantern", parse_feed_url(f"tcp://127.0.0.1:{address[1]}"), Shelf(bell),
            limits=FeedLimits(dial_s=0.1), sleep=waits.sleep, changed=bell.ring,
        )  # fmt: skip
        task = asyncio.create_task(feed.run())
        await bell.until(lambda: bool(waits.asked))
        assert feed.state == "waiting 0.5 s before dialling again: no answer in 0.1 s"
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        for connection in queue:
            connection.close()


async def test_dial_name_that_does_not_resolve_is_tried_again() -> None:
    """A name that can't be resolved (RFC 6761 .invalid) is no reason to stop: the ship's network may come up later."""
    bell = Bell()
    waits = Waits(bell)
    for text in ("tcp://no-such-host.invalid:4001", "ws://no-such-host.invalid:4001"):
        waits.asked.clear()
        feed = open_feed("lantern", parse_feed_url(text), Shelf(bell), sleep=waits.sleep, changed=bell.ring)
        task = asyncio.create_task(feed.run())
        await bell.until(lambda: bool(waits.asked))
        assert feed.state.startswith("waiting 0.5 s before dialling again: ")
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


@on_both_loops
async def test_dial_name_that_no_resolver_can_be_asked_for_is_told() -> None:
    """The file's check refuses it; should one come by, the feed says so instead of ending, and the ship with it."""
    bell = Bell()
    waits = Waits(bell)
    url = replace(parse_feed_url("tcp://gps.local:4001"), host="gps..local")
    feed = open_feed("lantern", url, Shelf(bell), sleep=waits.sleep, changed=bell.ring)
    task = asyncio.create_task(feed.run())
    try:
        await bell.until(lambda: bool(waits.asked) or task.done())
        assert feed.state == "waiting 0.5 s before dialling again: the station's name can't be resolved"
        assert not task.done()
    finally:
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


@each_loop
@pytest.mark.parametrize("kind", ["tcp", "tcp-listen", "ws", "ws-listen"])
def test_connection_is_kept_alive_by_the_kernel(kind: str, loop: str, tmp_path: Path) -> None:
    """The kernel's own table (/proc/net/tcp, proc_net_tcp.rst) shows a keepalive timer of 10 s at most on our end."""

    async def scenario() -> None:
        async with talk(kind, tmp_path) as conversation:
            await conversation.station.say(b"1")
            await conversation.until(lambda: bool(conversation.shelf.bytes))
            port = conversation.feed.bound[1] if conversation.feed.bound else conversation.station.url.port
            ends = 1 if conversation.feed.bound else 2
            assert any(0 < seconds <= 10.0 for seconds in keepalive_timers_s(port, ends))

    on(loop, scenario())


def keepalive_timers_s(port: int, column: int) -> list[float]:
    """Return the keepalive timers (kind 02) of connections whose local (1) or remote (2) port is `port`."""
    found = []
    for line in Path("/proc/net/tcp").read_text().splitlines()[1:]:
        fields = line.split()
        kind, ticks = fields[5].split(":")
        if fields[column].endswith(f":{port:04X}") and fields[3] == "01" and kind == "02":
            found.append(int(ticks, 16) / os.sysconf("SC_CLK_TCK"))
    return found


async def test_dial_that_meets_itself_is_refused() -> None:
    """A connection whose two ends are one socket (RFC 9293 section 3.5) is closed and refused, any other is not."""
    loop = asyncio.get_running_loop()
    alone = socket.socket()
    alone.bind(("127.0.0.1", 0))
    alone.connect(alone.getsockname())
    alone.setblocking(False)
    transport, inlet = await loop.create_connection(lambda: Inlet(1), sock=alone)
    with pytest.raises(ConnectionRefusedError):
        await refuse_itself(transport, inlet)
    assert inlet.gone.is_set()
    with socket.create_server(("127.0.0.1", 0)) as listener:
        transport, inlet = await loop.create_connection(lambda: Inlet(1), *listener.getsockname())
        await refuse_itself(transport, inlet)
        assert not inlet.gone.is_set()
        inlet.close()
        await inlet.gone.wait()


async def test_listen_newest_to_speak_takes_over(tmp_path: Path) -> None:
    """A silent newcomer disturbs nobody; when it speaks, the earlier stream is closed, ended, and never mixed in."""
    async with talk("tcp-listen", tmp_path) as conversation:
        station, shelf = conversation.station, conversation.shelf
        assert isinstance(station, DiallingStation)
        await station.say(b"abc")
        await conversation.until(lambda: shelf.bytes == b"abc")
        newcomer = await dial(conversation.feed)
        await station.say(b"def")
        await conversation.until(lambda: shelf.bytes == b"abcdef")
        newcomer.send(b"XYZ")
        await conversation.until(lambda: shelf.bytes.endswith(b"XYZ"))
        assert await station.heard() == []  # closed by the relay
        assert shelf.taken == [
            END,
            *(("lantern", part, False) for part in (b"abc", b"def")),
            END,
            ("lantern", b"XYZ", False),
        ]
        assert newcomer.getsockname()[1] == int(conversation.feed.state.rpartition(":")[2])
        newcomer.close()


async def test_listen_take_over_without_room_loses_nothing(tmp_path: Path) -> None:
    """A take-over while the sink is full lets what the earlier connection said go first, then its end."""
    async with talk("tcp-listen", tmp_path) as conversation:
        shelf = conversation.shelf
        await conversation.station.say(b"1")
        await conversation.until(lambda: shelf.bytes == b"1")
        shelf.fill()
        await conversation.station.say(b"2")
        await conversation.until(lambda: conversation.feed.state.startswith("not reading"))
        newcomer = await dial(conversation.feed)
        newcomer.send(b"3")
        assert await conversation.station.heard() == []  # closed: the newcomer has been noticed
        shelf.clear()
        await conversation.until(lambda: shelf.bytes == b"123")
        assert shelf.taken == [END, *(("lantern", part, False) for part in (b"1", b"2")), END, ("lantern", b"3", False)]
        newcomer.close()


@pytest.mark.parametrize("bound", [1, 3])
async def test_listen_bound_turns_out_the_oldest_silent(bound: int, tmp_path: Path) -> None:
    """At the bound all connections are kept; one past it, the oldest that said nothing is closed, and counted."""
    async with talk("tcp-listen", tmp_path, limits=FeedLimits(connections=bound), meet=False) as conversation:
        feed = conversation.feed
        await conversation.bell.until(lambda: feed.bound is not None)
        silent = [await dial(feed) for _ in range(bound)]
        newcomer = await dial(feed)
        assert await read_to_the_end(silent[0]) == []
        assert feed.counters.refused == 1
        for connection in silent[1:]:
            connection.setblocking(False)
            with pytest.raises(BlockingIOError):
                connection.recv(1)
        newcomer.send(b"1")
        await conversation.until(lambda: conversation.shelf.bytes == b"1")
        for connection in [*silent, newcomer]:
            connection.close()


async def test_listen_bound_holds_when_many_come_at_once(tmp_path: Path) -> None:
    """Five silent connections in one turn of the loop, at a bound of two, leave the two newest."""
    async with talk("tcp-listen", tmp_path, limits=FeedLimits(connections=2), meet=False) as conversation:
        feed = conversation.feed
        await conversation.bell.until(lambda: feed.bound is not None)
        assert feed.bound is not None
        callers = [socket.create_connection(feed.bound) for _ in range(5)]  # the loop has no turn meanwhile
        for caller in callers:
            caller.setblocking(False)
        for caller in callers[:3]:
            assert await read_to_the_end(caller) == []
        for caller in callers[3:]:
            with pytest.raises(BlockingIOError):
                caller.recv(1)
        assert feed.counters.refused == 3
        for caller in callers:
            caller.close()


async def test_listen_bound_keeps_a_station_that_speaks(tmp_path: Path) -> None:
    """At a bound of one, a newcomer is turned away while the station that spoke is there."""
    async with talk("tcp-listen", tmp_path, limits=FeedLimits(connections=1)) as conversation:
        await conversation.station.say(b"1")
        await conversation.until(lambda: conversation.shelf.bytes == b"1")
        newcomer = await dial(conversation.feed)
        assert await read_to_the_end(newcomer) == []
        assert conversation.feed.counters.refused == 1
        await conversation.station.say(b"2")
        await conversation.until(lambda: conversation.shelf.bytes == b"12")
        newcomer.close()


@pytest.mark.parametrize("kind", STREAMS)
async def test_stream_that_is_cancelled_is_ended(kind: str, tmp_path: Path) -> None:
    """A feed that stops in the middle of a stream ends it."""
    async with talk(kind, tmp_path) as conversation:
        await conversation.station.say(b"half")
        await conversation.until(lambda: conversation.shelf.bytes == b"half")
        await conversation.stop()
        assert conversation.shelf.taken == [END, ("lantern", b"half", False), END]


@each_loop
def test_file_is_read_once_to_its_end(loop: str, tmp_path: Path) -> None:
    """A file reaches the sink unchanged, its stream is ended, and the feed returns."""
    path = tmp_path / "dive 1.jsonl"
    path.write_bytes(patterned(200_000, 5))

    async def scenario() -> None:
        shelf = Shelf(Bell())
        feed = open_feed("lantern", parse_feed_url(f"file://{tmp_path}/dive%201.jsonl"), shelf)
        await feed.run()
        assert shelf.bytes == patterned(200_000, 5)
        assert shelf.taken[0] == shelf.taken[-1] == END
        assert feed.state == f"{path} has been read to its end"

    on(loop, scenario())


async def test_file_waits_for_room(tmp_path: Path) -> None:
    """While the sink is full a file is not read on; then all of it arrives."""
    path = tmp_path / "a.jsonl"
    path.write_bytes(patterned(200_000, 6))
    bell = Bell()
    shelf = Shelf(bell)
    shelf.fill()
    feed = open_feed("lantern", parse_feed_url(f"file://{path}"), shelf, changed=bell.ring)
    task = asyncio.create_task(feed.run())
    await bell.until(lambda: feed.state.startswith("not reading"))
    shelf.clear()
    await task
    assert shelf.bytes == patterned(200_000, 6)


@pytest.mark.parametrize(("name", "words"), [("none.jsonl", "no such file or directory"), (".", "is not a file")])
async def test_file_that_cannot_be_read_is_told(name: str, words: str, tmp_path: Path) -> None:
    """A file that is not there, or not a file, ends with an error that names the feed and says what to give."""
    feed = open_feed("station-a", parse_feed_url(f"file://{tmp_path}/{name}"), Shelf(Bell()))
    with pytest.raises(OperatorError, match=rf"feed station-a: .*{words}.*Give the path of a file"):
        await feed.run()


@pytest.mark.parametrize("asked", [b"POST / HTTP/1.1\r\n", b"OPTIONS * HTTP/1.1\r\n", b"GET /x HTTP/1.1\r\n"])
async def test_browser_is_no_station(asked: bytes, tmp_path: Path) -> None:
    """What a page makes a browser send (RFC 9112 section 3) is closed unread, and the station's stream goes on."""
    async with talk("tcp-listen", tmp_path) as conversation:
        await conversation.station.say(b"station")
        await conversation.until(lambda: conversation.shelf.bytes == b"station")
        assert conversation.feed.bound is not None
        reader, writer = await asyncio.open_connection(*conversation.feed.bound)
        writer.write(asked + b'Host: localhost\r\n\r\n{"latitude_deg": 1}\n')
        with suppress(ConnectionResetError):
            assert await reader.read() == b""
        writer.close()
        assert conversation.feed.counters.refused == 1
        await conversation.station.say(b" goes on")
        await conversation.until(lambda: conversation.shelf.bytes == b"station goes on")
