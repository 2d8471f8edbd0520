"""What the ship has released to one audience, in order, to be sent ashore from wherever the shore stands.

Rules: frames are kept as the bytes that were released; numbers are gapless from 0 within a dive (R5). What the shore
holds is compared before anything follows it: where it holds other records than the ship's, or one the ship doesn't
have, nothing is sent, for nothing that was told is told differently.
"""

from array import array
from bisect import bisect_left
from collections.abc import Iterator
from enum import Enum
from hashlib import sha256
from typing import NamedTuple

from relay.core.errors import OutOfOrderError
from relay.core.release import NO_DIVE
from relay.core.uplink_talk import Held


class Stands(Enum):
    """How the shore stands to the ship, where nothing can follow what it holds."""

    MORE = "more"  # the ship may yet grow it again, after a power cut
    OTHER = "other"


class Mark(NamedTuple):
    """How much of a log somebody has: records from its begin on, and the number of the last programme (-1: none)."""

    records: int
    programme: int


class ShipLog:
    """The frames of one audience; `at_s` of a frame is when it was released, on any clock that only grows."""

    def __init__(self, audience: str) -> None:
        self.audience = audience
        self._frames: list[bytes] = []
        self._ends = array("Q", [0])
        self._released_s = array("d")
        self._starts: dict[int, int] = {}
        self._dive = NO_DIVE
        self._programme: tuple[int, bytes] | None = None

    def add(self, dive: int, seq: int, data: bytes, at_s: float) -> None:
        """Keep the next frame; OutOfOrderError, and nothing kept, if it doesn't follow the last."""
        if dive == NO_DIVE:
            self._post(seq, data)
            return
        begins = dive > self._dive
        due = 0 if begins else len(self._frames) - self._starts[self._dive] if dive == self._dive else -1
        if seq != due:
            raise OutOfOrderError(f"frame {seq} of dive {dive} for the shore, where {due} of {self._dive} was due")
        if begins:
            self._dive = dive
            self._starts[dive] = len(self._frames)
        self._frames.append(data)
        self._ends.append(self._ends[-1] + len(data))
        self._released_s.append(at_s)

    def _post(self, seq: int, data: bytes) -> None:
        if self._programme is not None and seq <= self._programme[0]:
            raise OutOfOrderError(f"programme {seq} for the shore after programme {self._programme[0]}")
        self._programme = seq, data

    @property
    def head(self) -> Mark:
        """Everything there is."""
        return Mark(len(self._frames), -1 if self._programme is None else self._programme[0])

    def find(self, held: Held) -> Mark | Stands:
        """Return how much of this log a shore has; MORE or OTHER where it holds what isn't here."""
        last = -1 if self._programme is None else self._programme[0]
        if held.dive == NO_DIVE:
            return Mark(0, held.programme) if held.programme <= last else Stands.MORE
        if held.dive > self._dive or held.programme > last:
            return Stands.MORE
        start = self._starts.get(held.dive)
        if start is None:
            return Stands.OTHER
        upto = start + held.seq + 1
        if upto > self._end_of(held.dive):
            return Stands.MORE if held.dive == self._dive else Stands.OTHER
        digest = sha256()
        for frame in self._frames[start:upto]:
            digest.update(frame)
        return Mark(upto, held.programme) if digest.digest() == held.digest else Stands.OTHER

    def _end_of(self, dive: int) -> int:
        return min((start for start in self._starts.values() if start > self._starts[dive]), default=len(self._frames))

    def after(self, mark: Mark, octets: int) -> tuple[list[bytes], Mark]:
        """Return frames that follow a mark, and the mark after them: up to the one with which they come to `octets`.

        The programme's newest record comes first.
        """
        frames: list[bytes] = []
        if self._programme is not None and self._programme[0] > mark.programme:
            frames.append(self._programme[1])
            mark = Mark(mark.records, self._programme[0])
        upto = bisect_left(self._ends, self._ends[mark.records] + octets)
        more = self._frames[mark.records : upto]
        return frames + more, Mark(mark.records + len(more), mark.programme)

    def behind(self, mark: Mark, now_s: float) -> tuple[int, float]:
        """Return how many records follow a mark, and for how long the first of them has been released."""
        left = len(self._frames) - mark.records
        return left, max(0.0, now_s - self._released_s[mark.records]) if left else 0.0

    def place(self, mark: Mark) -> tuple[int, int]:
        """Return dive and number of the last record before a mark, 0 and -1 for none."""
        for dive, start in self._backwards():
            if start < mark.records:
                return dive, mark.records - start - 1
        return NO_DIVE, -1

    def _backwards(self) -> Iterator[tuple[int, int]]:
        return reversed(self._starts.items())
