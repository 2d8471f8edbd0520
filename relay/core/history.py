"""What one audience has been sent, in memory: the frames of each dive in order, and where a reader stands.

Rules: frames are kept as the bytes that were released, never altered; positions only grow; numbers within a
dive are gapless from 0 and nothing follows its end (R5): a frame that would break this is our own fault and is
not taken. The programme is of no dive: its last record is kept, and a number comes once.
"""

from array import array
from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from hashlib import sha256
from typing import NamedTuple, Protocol

from relay.core.errors import OutOfOrderError
from relay.core.release import NO_DIVE, Kind
from relay.core.wire import WireRecord, decode, footer


class Position(NamedTuple):
    """The last record somebody holds; (0, -1) holds nothing, (n, -1) everything before dive n."""

    dive: int
    seq: int


NOTHING = Position(0, -1)
EVERYTHING = 1 << 62


def is_next(record: WireRecord, head: Position, ended: bool) -> bool:
    """Whether a record of a dive comes next after the one at `head`, which ended its dive or not.

    The one rule of what follows what: the next number of the dive, or, once that has ended, the begin of a later one.
    That dive's number may be greater by more than one: a ship leaves out a dive whose recording she can't read.
    """
    if head == NOTHING or ended:
        return record.dive > head.dive and record.seq == 0 and record.kind == Kind.DIVE
    return (record.dive, record.seq) == (head.dive, head.seq + 1) and record.kind != Kind.DIVE


class Published(Protocol):
    """What the site publishes: one released record in its wire form."""

    @property
    def audience(self) -> str:
        """Whom it was released to."""
        ...

    @property
    def dive(self) -> int:
        """The dive, from 1; NO_DIVE for the programme."""
        ...

    @property
    def seq(self) -> int:
        """The number within the dive, from 0."""
        ...

    @property
    def data(self) -> bytes:
        """The bytes of `wire.encode`."""
        ...


class Received(NamedTuple):
    """A released record that came from elsewhere, to be published here."""

    audience: str
    dive: int
    seq: int
    data: bytes


def received(audience: str, data: bytes) -> Received:
    """Return a frame with what it says of itself; RecordingError if it isn't one."""
    record = decode(data)
    return Received(audience, record.dive, record.seq, data)


class Dive:
    """The frames of one dive so far."""

    __slots__ = ("_digest", "_ends", "closed", "frames", "number")

    def __init__(self, number: int) -> None:
        self.number = number
        self.frames: list[bytes] = []
        self.closed = False
        self._ends = array("Q", [0])
        self._digest = sha256()

    def append(self, seq: int, data: bytes) -> None:
        """Keep the next frame; OutOfOrderError if it is not the next, or says so itself."""
        record = decode(data)
        head = Position(self.number, len(self.frames) - 1) if self.frames else NOTHING
        due = is_next(record, head, False) and not self.closed
        if not due or (record.dive, record.seq) != (self.number, seq):
            raise OutOfOrderError(f"frame {seq} of dive {self.number} where {len(self.frames)} was due")
        self.frames.append(data)
        self._ends.append(self._ends[-1] + len(data))
        self._digest.update(data)
        self.closed = record.kind == Kind.END

    def bytes_after(self, seq: int) -> int:
        """Return how many bytes of frames follow number `seq`."""
        return self._ends[-1] - self._ends[min(seq + 1, len(self.frames))]

    def part(self, start: int, count: int, octets: int) -> list[bytes]:
        """Return up to `count` frames from number `start` on, up to the one with which they come to `octets`."""
        if start >= len(self.frames):
            return []
        return self.frames[start : min(start + count, bisect_left(self._ends, self._ends[start] + octets))]

    def recording(self) -> bytes:
        """Return the recording so far; a closed one ends with its footer."""
        return b"".join((*self.frames, footer(self.frames) if self.closed else b""))

    def digest(self) -> bytes:
        """Return the SHA-256 of the frames joined."""
        return self._digest.digest()

    @property
    def tag(self) -> str:
        """A name for exactly these frames: SHA-256 in hexadecimal."""
        return f"{self._digest.hexdigest()}{'-closed' if self.closed else ''}"


@dataclass(frozen=True, slots=True)
class Owed:
    """What follows a position: how much, not which."""

    frames: int
    octets: int


class History:
    """All dives of one audience, oldest first."""

    __slots__ = ("_numbers", "audience", "dives", "programme")

    def __init__(self, audience: str) -> None:
        self.audience = audience
        self.programme: WireRecord | None = None
        self.dives: list[Dive] = []
        self._numbers: list[int] = []

    def append(self, frame: Published) -> None:
        """Keep a frame; OutOfOrderError (and nothing kept) unless it follows the last one."""
        if not self.dives or frame.dive > self.dives[-1].number:
            if self.dives and not self.dives[-1].closed:
                raise OutOfOrderError(f"a frame of dive {frame.dive} before dive {self.dives[-1].number} has ended")
            dive = Dive(frame.dive)
            dive.append(frame.seq, frame.data)
            self.dives.append(dive)
            self._numbers.append(frame.dive)
        elif frame.dive == self.dives[-1].number:
            self.dives[-1].append(frame.seq, frame.data)
        else:
            raise OutOfOrderError(f"a frame of dive {frame.dive} after dive {self.dives[-1].number} began")

    def post(self, frame: Published) -> None:
        """Keep the programme; OutOfOrderError (and nothing kept) unless it is later than the last one."""
        record = decode(frame.data)
        if record.kind != Kind.PROGRAMME or (record.dive, record.seq) != (NO_DIVE, frame.seq):
            raise OutOfOrderError(f"a frame of dive {record.dive} where a programme was due")
        if self.programme is not None and record.seq <= self.programme.seq:
            raise OutOfOrderError(f"programme {record.seq} after programme {self.programme.seq}")
        self.programme = record

    @property
    def head(self) -> Position:
        """The newest position, NOTHING where nothing was released yet."""
        return Position(self.dives[-1].number, len(self.dives[-1].frames) - 1) if self.dives else NOTHING

    def dive(self, number: int) -> Dive | None:
        """Return a dive by its number."""
        index = bisect_right(self._numbers, number) - 1
        return self.dives[index] if index >= 0 and self._numbers[index] == number else None

    def owed(self, position: Position) -> Owed:
        """Return how much follows `position`, over all later dives."""
        spans = [(dive, self._seq_in(dive, position)) for dive in self._from(position)]
        return Owed(
            sum(max(0, len(dive.frames) - seq - 1) for dive, seq in spans),
            sum(dive.bytes_after(seq) for dive, seq in spans),
        )

    def after(self, position: Position, limit: int, octets: int = EVERYTHING) -> tuple[list[bytes], Position]:
        """Return up to `limit` frames that follow `position`, and the position after them.

        The last of them is the one with which they come to `octets` or more.
        """
        frames: list[bytes] = []
        for dive in self._from(position):
            start = self._seq_in(dive, position) + 1
            part = dive.part(start, limit - len(frames), octets)
            if part:
                frames += part
                position = Position(dive.number, start + len(part) - 1)
                octets -= sum(map(len, part))
            if len(frames) == limit or octets <= 0:
                break
        return frames, position

    def _from(self, position: Position) -> list[Dive]:
        index = bisect_right(self._numbers, position.dive)
        if index and self._numbers[index - 1] == position.dive:
            index -= 1
        return self.dives[index:]

    @staticmethod
    def _seq_in(dive: Dive, position: Position) -> int:
        return position.seq if dive.number == position.dive else -1
