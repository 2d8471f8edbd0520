"""What every feed shares: where its bytes go, what it counts, and its state in words.

Rules: a feed only receives (R6): no module of the feeds calls anything that sends, and none keeps an object
for sending. Every byte goes to the sink as it came, in order. A byte stream that was broken off is ended
before anything follows it, so that no frame is made of two halves; as a relay that was killed left no such
end, the first stream of every run is preceded by one.
"""

import asyncio
import errno
import os
import socket
import time
from abc import ABC, abstractmethod
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Protocol

from relay.core.errors import OperatorError
from relay.shell.plan.feed_url import FeedUrl, Transport

NO_ROOM = "the journal has no room"


class Sink(Protocol):
    """Where the bytes of feeds go: the journal, in a running relay."""

    def take(self, source: str, data: bytes, whole: bool) -> bool:
        """Take the next bytes of `source`; False, and nothing taken, when there is no room.

        `whole` says that a frame ends here: a datagram, a message, or (without bytes) the end of a stream.
        """
        ...

    async def room(self) -> None:
        """Wait until `take` may be tried again."""
        ...


@dataclass(slots=True)
class Counters:
    """What a feed has received since it was opened.

    `bytes` counts what the sink took, `datagrams` the datagrams and messages received, `overruns` those of
    them that were lost for want of room, `connections` the times a station was reached or came, and `refused`
    the connections turned away at the bound. `last_receipt_s` is in the seconds of the injected clock.
    """

    bytes: int = 0
    datagrams: int = 0
    overruns: int = 0
    connections: int = 0
    refused: int = 0
    last_receipt_s: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedLimits:
    """The bounds of a feed, and what happens at them.

    A connection that holds `buffer_bytes` unread is read no further until some are taken; the kernel is asked
    for `socket_buffer_bytes` in front of a datagram feed, and what overflows it is counted as overrun; a
    message longer than `message_bytes` ends its connection; beyond `connections` to one listening feed, a
    connection that has said nothing is closed, or the new one is; a dial gives up after `dial_s`; a dialled
    station that is silent for `idle_s` is dialled anew (None: never); a websocket station is given `farewell_s` to
    close in the protocol's way; waits before dialling double from
    `least_wait_s` to `most_wait_s`, and begin again at the least once bytes have come.
    """

    buffer_bytes: int = 65_536
    socket_buffer_bytes: int = 4 * 1024 * 1024
    message_bytes: int = 65_536
    connections: int = 8
    dial_s: float = 10.0
    idle_s: float | None = 60.0
    farewell_s: float = 1.0
    least_wait_s: float = 0.5
    most_wait_s: float = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedSetting:
    """What a feed is given beside its name, URL and sink: bounds, time, and whom to tell that its state changed."""

    limits: FeedLimits = FeedLimits()
    sleep: Callable[[float], Awaitable[object]] = asyncio.sleep
    now_s: Callable[[], float] = time.monotonic
    changed: Callable[[], None] = lambda: None


class Feed(ABC):
    """One feed: receives until cancelled, tells its state in words, counts.

    `bound` is the address (host, port) that a listening feed has, once it listens.
    """

    def __init__(self, name: str, url: FeedUrl, sink: Sink, setting: FeedSetting) -> None:
        self.name, self.url = name, url
        self.counters = Counters()
        self.bound: tuple[str, int] | None = None
        self._sink, self._setting, self._limits = sink, setting, setting.limits
        self._words = "not started"
        self._held: str | None = None
        self._needs_end = True
        self._in_stream = False
        self._wait_s = setting.limits.least_wait_s

    @property
    def state(self) -> str:
        """What the feed is doing, in words."""
        return self._held or self._words

    def heard_ago_s(self) -> float | None:
        """Return how many seconds ago the last bytes came, None before the first."""
        last_s = self.counters.last_receipt_s
        return None if last_s is None else self._setting.now_s() - last_s

    async def run(self) -> None:
        """Receive until cancelled; OperatorError if this feed can't be opened as it is configured.

        A file feed returns when its file has been read. A feed is run once.
        """
        try:
            await self._receive()
        except OperatorError as error:
            self._say(str(error))
            raise
        except asyncio.CancelledError:
            self._held = None
            self._say("stopped")
            raise
        finally:
            self._break_off()

    @abstractmethod
    async def _receive(self) -> None: ...

    def _say(self, words: str) -> None:
        self._words = words
        self._setting.changed()

    def _hold(self, held: str | None) -> None:
        if held != self._held:
            self._held = held
            self._setting.changed()

    def _take(self, data: bytes, whole: bool) -> bool:
        """Offer bytes to the sink once."""
        if not self._sink.take(self.name, data, whole):
            return False
        self.counters.bytes += len(data)
        self._hold(None)
        return True

    async def _put(self, data: bytes, whole: bool) -> None:
        """Give bytes to the sink, however long it takes: meanwhile nothing is read."""
        while not self._take(data, whole):
            self._hold(f"not reading: {NO_ROOM}")
            await self._sink.room()

    async def _put_stream(self, data: bytes) -> None:
        """Give the next bytes of a byte stream to the sink."""
        self.counters.last_receipt_s = self._setting.now_s()
        if self._needs_end:
            await self._put(b"", True)
            self._needs_end = False
        await self._put(data, False)
        self._in_stream = True

    async def _put_message(self, data: bytes) -> None:
        """Give a whole message to the sink."""
        self.counters.last_receipt_s = self._setting.now_s()
        self.counters.datagrams += 1
        if data:
            await self._put(data, True)

    async def _end_stream(self) -> None:
        """Tell the sink that the stream under way, if any, has ended."""
        if self._in_stream:
            await self._put(b"", True)
            self._in_stream = False

    def _break_off(self) -> None:
        """End the stream without waiting; where there is no room for that, the next stream is preceded by it."""
        if self._in_stream:
            self._needs_end = not self._take(b"", True)
            self._in_stream = False


class ReturningFeed(Feed):
    """A feed that goes to its source, and goes again, after a wait, whenever that ends."""

    again = "dialling again"

    async def _receive(self) -> None:
        while True:
            why = await self._visit()
            await self._end_stream()
            wait_s, self._wait_s = self._wait_s, min(self._wait_s * 2, self._limits.most_wait_s)
            self._say(f"waiting {wait_s:g} s before {self.again}: {why}")
            await self._setting.sleep(wait_s)

    @abstractmethod
    async def _visit(self) -> str:
        """Reach the source and receive until that ends; return why it ended, in words."""

    def _thrives(self) -> None:
        """Note that bytes came: the next wait is the least one."""
        self._wait_s = self._limits.least_wait_s


async def readable(descriptor: int) -> None:
    """Wait until a file descriptor can be read, or has been hung up."""
    loop = asyncio.get_running_loop()
    ready = asyncio.Event()
    loop.add_reader(descriptor, ready.set)
    try:
        await ready.wait()
    finally:
        loop.remove_reader(descriptor)


def words_of(error: OSError) -> str:
    """Return what the system says is wrong."""
    if error.errno is None or isinstance(error, socket.gaierror):
        return error.strerror or str(error) or type(error).__name__
    return os.strerror(error.errno).lower()


def refusal(name: str, url: FeedUrl, error: OSError) -> OperatorError:
    """Return what to tell the operator when a listening feed can't have its address."""
    protocol = "UDP" if url.transport is Transport.UDP else "TCP"
    if isinstance(error, socket.gaierror):
        remedy = _REMEDIES[errno.EADDRNOTAVAIL]
    else:
        remedy = _REMEDIES.get(error.errno or 0, "Check the address and the port.")
    return OperatorError(
        f"feed {name}: {url} can't be listened on, {protocol} port {url.port}: {words_of(error)}. {remedy}"
    )


_REMEDIES = {
    errno.EADDRINUSE: "Another program, or another feed of this relay, has that port: stop it, or give this feed "
    "another port. A broadcast that several programs are to hear is listened to at its broadcast address, not at "
    "0.0.0.0.",
    errno.EADDRNOTAVAIL: "Write as host an address that this machine has, or 0.0.0.0 for all of them.",
    errno.ENODEV: "No interface of this machine can join that group: add ?interface= with an address it has.",
    errno.EACCES: "Ports below 1024 are for the system: use one from 1024 on.",
}
