"""A feed that talks with its station: a sink that can be full, a sleep that is held, both loops."""

import asyncio
import random
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import pytest
import uvloop

from feed_stations import (
    LIMIT_S,
    STATIONS,
    Bell,
    Station,
    turn,
)
from relay.shell.feeds.feeds import Feed, FeedLimits, open_feed

END = ("lantern", b"", True)
QUICK = FeedLimits(farewell_s=0.1)
PUSH_LIMIT = 32 * 1024 * 1024  # far more than the kernel keeps for a connection, and than a feed may
LOOPS = {"asyncio": asyncio.new_event_loop, "uvloop": uvloop.new_event_loop}

each_loop = pytest.mark.parametrize("loop", list(LOOPS))


class Shelf:
    """A sink that keeps what it takes, and takes nothing while it is full."""

    def __init__(self, bell: Bell) -> None:
        self.taken: list[tuple[str, bytes, bool]] = []
        self.size = 0
        self._bell = bell
        self._room = asyncio.Event()
        self._room.set()

    def fill(self) -> None:
        self._room.clear()

    def clear(self) -> None:
        self._room.set()

    def take(self, source: str, data: bytes, whole: bool) -> bool:
        if not self._room.is_set():
            return False
        self.taken.append((source, data, whole))
        self.size += len(data)
        self._bell.ring()
        return True

    async def room(self) -> None:
        await self._room.wait()

    @property
    def bytes(self) -> bytes:
        return b"".join(data for _, data, _ in self.taken)


class Waits:
    """A sleep that notes what it was asked for and lets a test decide when it is over."""

    def __init__(self, bell: Bell) -> None:
        self.asked: list[float] = []
        self._bell, self._over = bell, asyncio.Event()

    async def sleep(self, seconds: float) -> None:
        self.asked.append(seconds)
        self._bell.ring()
        self._over.clear()
        await self._over.wait()

    def over(self) -> None:
        self._over.set()


@dataclass
class Talk:
    """A feed that runs, with the station it hears and the sink it fills."""

    feed: Feed
    station: Station
    shelf: Shelf
    bell: Bell
    task: asyncio.Task[None]
    states: list[str]

    async def until(self, condition: Callable[[], bool]) -> None:
        """Wait for a condition; a feed that fails meanwhile fails the test."""
        await self.bell.until(lambda: self.task.done() or condition())
        if self.task.done() and not self.task.cancelled():
            self.task.result()
        assert condition(), self.feed.state

    async def stop(self) -> None:
        """Cancel the feed; what it failed with, if it did, fails the test."""
        self.task.cancel()
        with suppress(asyncio.CancelledError):
            await self.task


@asynccontextmanager
async def talk(kind: str, folder: Path, *, limits: FeedLimits = QUICK, meet: bool = True) -> AsyncIterator[Talk]:
    """Run a feed of a transport against its station, and end both."""
    bell = Bell()
    shelf, station = Shelf(bell), STATIONS[kind]()
    await station.open(folder)
    states: list[str] = []

    def note() -> None:
        states.append(feed.state)
        bell.ring()

    feed = open_feed("lantern", station.url, shelf, limits=limits, sleep=no_wait, changed=note)
    task = asyncio.create_task(feed.run())
    task.add_done_callback(lambda _: bell.ring())
    conversation = Talk(feed, station, shelf, bell, task, states)
    try:
        if meet:
            await station.meet(feed, bell)
        yield conversation
    finally:
        await conversation.stop()
        await station.close()


async def no_wait(seconds: float) -> None:
    """Let a wait before dialling pass at once."""
    await turn()


async def turns_until(condition: Callable[[], bool]) -> None:
    """Give the loop its turns until a condition holds that nothing rings for."""
    async with asyncio.timeout(LIMIT_S):
        while not condition():
            await turn()


async def push_until_stuck(push: Callable[[bytes], int], conversation: Talk) -> bytes:
    """Write until the feed says that it isn't reading and nothing goes any more, though it has had its turns.

    Fails if `PUSH_LIMIT` bytes all go. Returns what went: bytes without order, so that a loss or a change of order
    shows.
    """
    pattern = random.Random(1).randbytes(PUSH_LIMIT)
    sent, idle_turns = push(pattern[:65_536]), 0
    await conversation.until(lambda: conversation.feed.state == "not reading: the journal has no room")
    while idle_turns < 50:
        assert sent < PUSH_LIMIT, "the feed goes on reading"
        try:
            sent += push(pattern[sent : sent + 65_536])
            idle_turns = 0
        except BlockingIOError:
            idle_turns += 1
        await turn()
    return pattern[:sent]


def on(loop: str, scenario: Awaitable[None]) -> None:
    """Run a scenario on a loop of that kind."""

    async def whole() -> None:
        await scenario

    with asyncio.Runner(loop_factory=LOOPS[loop]) as runner:
        runner.run(whole())


def patterned(size: int, seed: int) -> bytes:
    """Return bytes of every value, in no order."""
    return random.Random(seed).randbytes(size)
