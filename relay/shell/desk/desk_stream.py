"""The state as a stream: composed once for all desks, and each gets the newest as fast as it takes it.

Rules: nobody waits for a desk: who is slow misses states, never delays one, and is cut off after `stall_s` without
taking any; a state is composed only while somebody follows; a fault in it is told by its kind and ends nothing.
"""

import asyncio
import json
import logging
from collections.abc import Callable
from contextlib import suppress
from typing import Any

log = logging.getLogger("offing.desk")
EVERY_S, LEAST_S = 0.5, 0.05


class Newest:
    """The newest state, as a line of JSON, and who follows it."""

    def __init__(self, compose: Callable[[], dict[str, Any]], now_s: Callable[[], float]) -> None:
        self._compose, self._now_s = compose, now_s
        self._line: bytes = b""
        self._composed_s: float | None = None
        self._changed = asyncio.Event()
        self._followers: set[asyncio.Event] = set()

    def changed(self) -> None:
        """Let everybody have a new state soon: something was decided."""
        self._composed_s = None
        self._changed.set()

    @property
    def followers(self) -> int:
        """How many follow."""
        return len(self._followers)

    def line(self) -> bytes:
        """Return the state of now, or the one that was composed a moment ago."""
        now_s = self._now_s()
        if self._composed_s is None or now_s - self._composed_s >= LEAST_S:
            self._line, self._composed_s = self._composed(), now_s
        return self._line

    def _composed(self) -> bytes:
        try:
            return json.dumps(self._compose(), ensure_ascii=False, allow_nan=False).encode() + b"\n"
        except Exception as error:  # whatever is wrong with a picture of it, the relay goes on
            log.error("the desk's state could not be composed (%s)", type(error).__name__)
            return json.dumps({"fault": type(error).__name__}).encode() + b"\n"

    async def beat(self) -> None:
        """Wait for the next state's moment, and let everybody have it."""
        with suppress(TimeoutError):
            async with asyncio.timeout(EVERY_S - LEAST_S):
                await self._changed.wait()
        self._changed.clear()
        for follower in self._followers:
            follower.set()
        await asyncio.sleep(LEAST_S)

    def follow(self) -> "Following":
        """Return a place among those who follow."""
        return Following(self, self._followers)


class Following:
    """One who follows the state."""

    def __init__(self, newest: Newest, followers: set[asyncio.Event]) -> None:
        self._newest, self._followers = newest, followers
        self._due = asyncio.Event()
        self._due.set()

    def __enter__(self) -> "Following":
        self._followers.add(self._due)
        return self

    def __exit__(self, *_: object) -> None:
        self._followers.discard(self._due)

    async def next(self) -> bytes:
        """Wait until there is a state that this one hasn't had, and return the newest."""
        await self._due.wait()
        self._due.clear()
        return self._newest.line()
