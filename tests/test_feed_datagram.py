"""Datagram feeds: what is lost is counted, what is heard is whole and ours."""

import asyncio
import os
import socket
from contextlib import suppress
from pathlib import Path

import pytest

from feed_stations import (
    Bell,
    UdpStation,
)
from feed_talk import (
    Shelf,
    patterned,
    talk,
    turns_until,
)
from relay.shell.feeds.feeds import FeedLimits, FeedUrl, open_feed


@pytest.mark.parametrize("kind", ["udp", "broadcast", "multicast"])
async def test_feed_datagram_without_room_is_counted(kind: str, tmp_path: Path) -> None:
    """A datagram that finds the sink full is lost, counted as overrun, and said in the state; the next is taken."""
    async with talk(kind, tmp_path) as conversation:
        counters = conversation.feed.counters
        conversation.shelf.fill()
        for number in range(3):
            await conversation.station.say(b"lost %d" % number)
        await conversation.until(lambda: conversation.feed.state.startswith("losing"))
        await turns_until(lambda: counters.datagrams == 3)
        assert (counters.overruns, counters.bytes) == (3, 0)
        assert conversation.feed.state == "losing datagrams: the journal has no room"
        conversation.shelf.clear()
        await conversation.station.say(b"kept")
        await conversation.until(lambda: bool(conversation.shelf.taken))
        assert conversation.shelf.taken == [("lantern", b"kept", True)]
        assert (counters.datagrams, counters.overruns) == (4, 3)
        assert conversation.feed.state.startswith("listening on")


async def test_udp_counts_what_the_kernel_dropped(tmp_path: Path) -> None:
    """Datagrams that overflow the socket's buffer are counted: received and overrun make up all that were sent."""
    async with talk("udp", tmp_path, limits=FeedLimits(socket_buffer_bytes=4096)) as conversation:
        for number in range(500):  # the loop has no turn meanwhile
            await conversation.station.say(b"%03d" % number * 100)
        counters = conversation.feed.counters
        await turns_until(lambda: counters.datagrams > 0 and len(conversation.shelf.taken) == counters.datagrams)
        received = counters.datagrams
        await conversation.station.say(b"last")  # the kernel tells its count with the next datagram
        await conversation.until(lambda: conversation.shelf.bytes.endswith(b"last"))
        assert received < 500
        assert counters.datagrams + counters.overruns == 501


async def test_udp_empty_datagram_is_counted_and_not_handed_on(tmp_path: Path) -> None:
    """A datagram without bytes says nothing: it is counted, and no end of a stream is made of it."""
    async with talk("udp", tmp_path) as conversation:
        await conversation.station.say(b"")
        await conversation.station.say(b"1")
        await conversation.until(lambda: bool(conversation.shelf.taken))
        assert conversation.shelf.taken == [("lantern", b"1", True)]
        assert conversation.feed.counters.datagrams == 2


async def test_udp_greatest_datagram_arrives_whole(tmp_path: Path) -> None:
    """65,507 bytes, the most that UDP over IPv4 carries (RFC 768 and RFC 791: 65,535 - 20 - 8), arrive whole."""
    async with talk("udp", tmp_path) as conversation:
        await conversation.station.say(patterned(65_507, 7))
        await conversation.until(lambda: bool(conversation.shelf.taken))
        assert conversation.shelf.taken == [("lantern", patterned(65_507, 7), True)]


async def test_multicast_hears_its_own_interface_alone(tmp_path: Path) -> None:
    """The kernel is told to deliver by this socket's own memberships (ip(7), IP_MULTICAST_ALL, 49, is off).

    Asked of the kernel, as it takes a second interface to see it.
    """
    async with talk("multicast", tmp_path) as conversation:
        assert conversation.feed.bound is not None
        with socket_at(conversation.feed.bound) as receiver:
            assert receiver.getsockopt(socket.IPPROTO_IP, 49) == 0


def socket_at(address: tuple[str, int]) -> socket.socket:
    """Return a second descriptor of this process's UDP socket that is bound to an address."""
    for entry in Path("/proc/self/fd").iterdir():
        with suppress(FileNotFoundError):
            if not str(entry.readlink()).startswith("socket:"):
                continue
            found = socket.socket(fileno=os.dup(int(entry.name)))
            if found.type is socket.SOCK_DGRAM and found.getsockname() == address:
                return found
            found.close()
    raise LookupError(address)


@pytest.mark.parametrize("kind", ["broadcast", "multicast"])
async def test_udp_broadcast_and_group_are_shared_with_other_programs(kind: str, tmp_path: Path) -> None:
    """Another program on the same port hears the same datagram of a broadcast or a group."""
    async with talk(kind, tmp_path) as first:
        target = first.feed.bound
        assert target is not None
        bell = Bell()
        shelf = Shelf(bell)
        url = FeedUrl(
            text="again", transport=first.feed.url.transport, host=target[0], port=target[1],
            interface=first.feed.url.interface,
        )  # fmt: skip
        second = open_feed("moth", url, shelf, changed=bell.ring)
        task = asyncio.create_task(second.run())
        await bell.until(lambda: second.bound is not None)
        await first.station.say(b"both")
        await first.until(lambda: bool(first.shelf.taken))
        await bell.until(lambda: bool(shelf.taken))
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)


async def test_multicast_hears_its_own_group_alone(tmp_path: Path) -> None:
    """A datagram to another group on the same port, which another program has joined, is not heard."""
    async with talk("multicast", tmp_path) as conversation:
        station = conversation.station
        assert isinstance(station, UdpStation)
        assert station.target is not None
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
            membership = socket.inet_aton("239.192.77.2") + socket.inet_aton("127.0.0.1")
            other.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, membership)
            station.socket.sendto(b"theirs", ("239.192.77.2", station.target[1]))
            await station.say(b"ours")
            await conversation.until(lambda: bool(conversation.shelf.taken))
        assert conversation.shelf.taken == [("lantern", b"ours", True)]
