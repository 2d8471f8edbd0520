"""Datagrams: UDP to one address, broadcast, or a multicast group.

Rules: a datagram is one frame or more, never a part of one. What comes while the sink has no room is lost and
counted as overrun, as is what the kernel dropped, because a sender of datagrams can't be asked to wait.
A broadcast or a group may be heard by other programs too; one address of this machine is ours alone, since two
listeners there would take each other's datagrams without a sign.
"""

import asyncio
import socket
import struct
import sys
from typing import Any

from relay.shell.feeds.feed_intake import NO_ROOM, Feed, readable, refusal, words_of
from relay.shell.plan.feed_url import FeedUrl

_DATAGRAM_BYTES = 65_536
_BURST = 256
# Linux, asm-generic/socket.h and linux/in.h; Python 3.11 doesn't name them.
_SO_RXQ_OVFL = 40
_IP_MULTICAST_ALL = 49
_COUNT = struct.Struct("=I")


class DatagramFeed(Feed):
    """A UDP feed: every datagram goes to the sink whole, whoever sent it."""

    async def _receive(self) -> None:
        receiver = await self._open()
        try:
            self.bound = receiver.getsockname()[:2]
            self._say(f"listening on {self.url.target}")
            self._dropped = 0
            while True:
                await readable(receiver.fileno())
                await self._drain(receiver)
        finally:
            receiver.close()

    async def _open(self) -> socket.socket:
        try:
            address = await _resolve(self.url)
            return _receiver(self.url, address, self._limits.socket_buffer_bytes)
        except OSError as error:
            raise refusal(self.name, self.url, error) from error

    async def _drain(self, receiver: socket.socket) -> None:
        """Take what has arrived, a bounded burst at a time so that other feeds have their turn."""
        for _ in range(_BURST):
            try:
                data, ancillary, _, _ = receiver.recvmsg(_DATAGRAM_BYTES, socket.CMSG_SPACE(_COUNT.size))
            except BlockingIOError:
                return
            except OSError as error:
                self._say(f"listening on {self.url.target}, with trouble: {words_of(error)}")
                await self._setting.sleep(self._limits.least_wait_s)
                return
            self._count_drops(ancillary)
            self._accept(data)

    def _accept(self, data: bytes) -> None:
        self.counters.last_receipt_s = self._setting.now_s()
        self.counters.datagrams += 1
        if data and not self._take(data, True):
            self.counters.overruns += 1
            self._hold(f"losing datagrams: {NO_ROOM}")

    def _count_drops(self, ancillary: list[tuple[int, int, bytes]]) -> None:
        """Add what the kernel says it dropped: a running 32-bit count (socket(7), SO_RXQ_OVFL)."""
        for level, kind, value in ancillary:
            if (level, kind) == (socket.SOL_SOCKET, _SO_RXQ_OVFL):
                (dropped,) = _COUNT.unpack(value[: _COUNT.size])
                self.counters.overruns += (dropped - self._dropped) % 2**32
                self._dropped = dropped


async def _resolve(url: FeedUrl) -> tuple[socket.AddressFamily, Any]:
    found = await asyncio.get_running_loop().getaddrinfo(
        url.host, url.port, type=socket.SOCK_DGRAM, flags=socket.AI_PASSIVE
    )
    family, _, _, _, address = found[0]
    return family, address


def _receiver(url: FeedUrl, resolved: tuple[socket.AddressFamily, Any], buffer: int) -> socket.socket:
    """Return a bound, non-blocking UDP socket; OSError if the address can't be had."""
    family, address = resolved
    receiver = socket.socket(family, socket.SOCK_DGRAM)
    try:
        receiver.setblocking(False)
        receiver.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, buffer)
        if sys.platform == "linux":
            receiver.setsockopt(socket.SOL_SOCKET, _SO_RXQ_OVFL, 1)
        if url.multicast or (family is socket.AF_INET and _is_broadcast(address)):
            receiver.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        receiver.bind(address)
        if url.multicast:
            _join(receiver, url)
    except OSError:
        receiver.close()
        raise
    return receiver


def _is_broadcast(address: tuple[str, int]) -> bool:
    """Ask the kernel, which knows the netmasks: it lets no socket without SO_BROADCAST aim at such an address.

    Connecting a UDP socket sends nothing (udp(7)).
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((address[0], address[1] or 9))
        except PermissionError:
            return True
        except OSError:
            return False
    return False


def _join(receiver: socket.socket, url: FeedUrl) -> None:
    """Join the group on its interface, and hear no group that only another socket has joined (ip(7))."""
    if sys.platform == "linux":
        receiver.setsockopt(socket.IPPROTO_IP, _IP_MULTICAST_ALL, 0)
    membership = socket.inet_aton(url.host) + socket.inet_aton(url.interface or "0.0.0.0")
    receiver.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, membership)
