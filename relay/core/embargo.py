"""The hold between receipt and release.

Rules (R2): an audience's side of the door gets an observation only when the embargo clock shows that the
audience's delay has passed since its receipt; until then nothing to the right of here has seen it, so nothing
there can depend on it. What is cut is gone for every audience that hasn't had it, as if it had never come.
Bounded: at `limit` observations the newest is not held (it stays in the journal), and `refused` counts it.
"""

from collections import deque
from collections.abc import Iterator, Sequence
from itertools import accumulate, compress

from relay.core.fuse import Stamped
from relay.core.queue_counts import QueueCounts


class Embargo:
    """Observations of all feeds in the order of receipt, with a place in it for each audience."""

    def __init__(self, audiences: int, limit: int = 1_000_000, had_us: Sequence[int] = ()) -> None:
        """`had_us`: up to which moment each audience had everything before a restart, if this is one."""
        self._held: deque[Stamped] = deque()
        self._first = 0
        self._had_us = tuple(had_us) or (-1,) * audiences
        self._cursors = [0] * audiences
        self._limit = limit
        self.refused = 0
        self.counts = QueueCounts()

    def hold(self, stamped: Stamped) -> bool:
        """Keep an observation for every audience; return False, and count it, at the limit."""
        if len(self._held) >= self._limit:
            self.refused += 1
            return False
        self._held.append(stamped)
        self.counts.add(stamped.embargo_us)
        for audience, had_us in enumerate(self._had_us):
            if stamped.embargo_us <= had_us:
                self._cursors[audience] = self._first + len(self._held)
        self._forget()
        return True

    def due(self, audience: int, upto_us: int) -> list[Stamped]:
        """Return what was received up to and including `upto_us` and this audience hasn't had, oldest first."""
        out: list[Stamped] = []
        position = self._cursors[audience] - self._first
        while position < len(self._held) and self._held[position].embargo_us <= upto_us:
            out.append(self._held[position])
            position += 1
        self._cursors[audience] = self._first + position
        self._forget()
        return out

    def next_us(self, audience: int) -> int | None:
        """Return when the oldest observation this audience hasn't had was received, or None."""
        position = self._cursors[audience] - self._first
        return self._held[position].embargo_us if position < len(self._held) else None

    def waiting(self) -> Iterator[Stamped]:
        """Yield what some audience hasn't had, oldest first."""
        yield from self._held

    def cut(self, from_us: int, to_us: int) -> None:
        """Remove what was received from `from_us` up to but not including `to_us`; what comes later is not touched."""
        stays = [not from_us <= stamped.embargo_us < to_us for stamped in self._held]
        kept_before = [0, *accumulate(stays)]
        self._cursors = [self._first + kept_before[cursor - self._first] for cursor in self._cursors]
        self._held = deque(compress(self._held, stays))
        self.counts.recount(stamped.embargo_us for stamped in self._held)
        self._forget()

    def oldest_row(self) -> int | None:
        """Return the journal row of the oldest observation that some audience hasn't had, or None."""
        return self._held[0].row if self._held else None

    def _forget(self) -> None:
        if self._first in self._cursors:
            return
        least = min(self._cursors, default=0)
        while self._first < least:
            self.counts.remove(self._held.popleft().embargo_us)
            self._first += 1
