"""What the ship has released to one audience, in order, to be sent ashore from wherever the shore stands.

Rules: frames are kept as the bytes that were released; numbers are gapless from 0 within a dive (R5). What the shore
holds is compared before anything follows it: where it holds other records than the ship's, or more of a
dive, nothing is sent, for nothing that was told is told differently. A whole dive that the ship lost stands in nobody's
way.
"""

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from enum import Enum
from hashlib import sha256
from typing import NamedTuple, Protocol

from relay.core.errors import OutOfOrderError
from relay.core.release import NO_DIVE
from relay.core.uplink_talk import Held

HASHED_OCTETS = 256 * 1_024  # at most so many are hashed to find a place again


class Stands(Enum):
    """How the shore stands to the ship, where nothing can follow what it holds."""

    MORE = "more"  # the ship may yet grow it again, after a power cut
    OTHER = "other"


class Mark(NamedTuple):
    """How much of a log somebody has: records from its begin on, and the number of the last programme (-1: none)."""

    records: int
    programme: int


class _Hash(Protocol):
    """What hashlib returns."""

    def update(self, data: bytes, /) -> None: ...
    def digest(self) -> bytes: ...
    def copy(self) -> "_Hash": ...


class ShipLog:
    """The frames of one audience; `at_s` of a frame is when it was released, on any clock that only grows."""

    def __init__(self, audience: str) -> None:
        self.audience = audience
        self._frames: list[bytes] = []
        self._ends = array("Q", [0])
        self._released_s = array("d")
        self._starts: dict[int, int] = {}
        self._digests: dict[int, list[tuple[int, int, _Hash]]] = {}  # places, octets before them, SHA-256 so far
        self._digest: _Hash = sha256()
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
            self._digests[dive] = [(len(self._frames), self._ends[-1], sha256())]
            self._digest = sha256()
        self._digest.update(data)
        self._frames.append(data)
        self._ends.append(self._ends[-1] + len(data))
        self._released_s.append(at_s)
        if self._ends[-1] - self._digests[dive][-1][1] >= HASHED_OCTETS:
            self._digests[dive].append((len(self._frames), self._ends[-1], self._digest.copy()))

    def _post(self, seq: int, data: bytes) -> None:
        if self._programme is not None and seq <= self._programme[0]:
            raise OutOfOrderError(f"programme {seq} for the shore after programme {self._programme[0]}")
        self._programme = seq, data

    @property
    def head(self) -> Mark:
        """Everything there is."""
        return Mark(len(self._frames), -1 if self._programme is None else self._programme[0])

    def find(self, held: Held) -> Mark | Stands:
        """Return how much of this log a shore has; MORE or OTHER where it holds what isn't here.

        A dive that this log lacks, though it has a later one, was lost here: what follows it can be sent (`lacks`). A
        later programme there says nothing of the dives: an audience may have lost the right to be told any.
        """
        if held.dive == NO_DIVE:
            return Mark(0, held.programme)
        if held.dive > self._dive:
            return Stands.MORE
        start = self._starts.get(held.dive)
        if start is None:
            return Mark(min(at for dive, at in self._starts.items() if dive > held.dive), held.programme)
        upto = start + held.seq + 1
        if upto > self._end_of(held.dive):
            return Stands.MORE if held.dive == self._dive else Stands.OTHER
        return Mark(upto, held.programme) if self._digest_of(held.dive, upto) == held.digest else Stands.OTHER

    def _digest_of(self, dive: int, upto: int) -> bytes:
        """Return the SHA-256 of a dive's frames before a place: at most `HASHED_OCTETS` and a frame are hashed."""
        marks = self._digests[dive]
        at, _, digest = marks[bisect_right(marks, upto, key=lambda mark: mark[0]) - 1]
        digest = digest.copy()
        for frame in self._frames[at:upto]:
            digest.update(frame)
        return digest.digest()

    def lacks(self, dive: int) -> bool:
        """Whether a dive isn't here, though a later one is: its recording was lost on the ship."""
        return NO_DIVE < dive < self._dive and dive not in self._starts

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
