"""Where a reader of a stream stands: which message follows what it holds, which it has, which it must not take yet.

Rules (R5): a stream may repeat, reorder, lack and lose messages, and whoever can write to it may lie; so a frame is
taken only if the ship signed it for this audience and it follows the very record that is held last: what a reader
gives out has no gap, and never goes back. Which dive is the first one, and which record was the last of a dive, isn't
told by numbers alone, so each message says after which record its frame was kept on the disk that is the source of
truth. A frame that is held already is compared: of two with one number the first one stays. The programme is of no
dive: a later one replaces it.
"""

import re
from enum import Enum, auto

from relay.core.errors import RecordingError
from relay.core.history import NOTHING, History, Position, is_next
from relay.core.release import NO_DIVE, Kind
from relay.core.seal import is_sealed
from relay.core.wire import WireRecord, decode

_POSITION = re.compile(r"([0-9]{1,9})\.(-1|[0-9]{1,9})", re.ASCII)


class Verdict(Enum):
    """What becomes of a message."""

    NEXT = auto()  # it follows: take it
    HELD = auto()  # it was taken before
    SKIP = auto()  # it follows, but its dive isn't the next: is what is between missing on the ship, or only here?
    GAP = auto()  # something before it is missing
    UNSIGNED = auto()  # not as the ship signed it, or no record at all
    OTHER = auto()  # the ship signed another record under the same number


def say_position(position: Position) -> str:
    """Return a position as a message's header names it."""
    return f"{position.dive}.{position.seq}"


def read_position(text: str) -> Position | None:
    """Return the position that a header names, None if it names none."""
    match = _POSITION.fullmatch(text)
    return Position(int(match[1]), int(match[2])) if match else None


def message_id(audience: str, position: Position) -> str:
    """Return by what a stream's server knows a message that it was given twice."""
    return f"{position.dive}-{audience}-{position.seq}"


def judge(history: History, key: bytes, data: bytes, follows: Position | None) -> Verdict:
    """Return what becomes of a frame for an audience.

    `history`: what is held. `key`: the ship's. `follows`: what the frame says it was kept after, None if nothing.
    """
    try:
        record = decode(data)
    except RecordingError:
        return Verdict.UNSIGNED
    held = _held(history, record)
    if held is not None and held == data:
        return Verdict.HELD
    if not _is_sealed(key, history.audience, data):
        return Verdict.UNSIGNED
    if held is not None:
        return Verdict.OTHER
    if not _is_next(history, record, follows):
        return Verdict.GAP
    if history.head != NOTHING and record.dive > history.head.dive + 1:
        return Verdict.SKIP
    return Verdict.HELD if _is_behind(history, record) else Verdict.NEXT


def _held(history: History, record: WireRecord) -> bytes | None:
    """Return what is held under a record's number."""
    if record.dive == NO_DIVE:
        told = history.programme
        return told.data if told is not None and told.seq == record.seq else None
    dive = history.dive(record.dive)
    if dive is None or not 0 <= record.seq < len(dive.frames):
        return None
    return dive.frames[record.seq]


def _is_next(history: History, record: WireRecord, follows: Position | None) -> bool:
    """Whether a record that isn't held follows what is: by its own number, and by what it says."""
    if record.dive == NO_DIVE:
        return record.kind == Kind.PROGRAMME and record.seq >= 0
    ended = bool(history.dives) and history.dives[-1].closed
    return follows == history.head and is_next(record, history.head, ended)


def _is_behind(history: History, record: WireRecord) -> bool:
    """Whether a programme was told before the one that is held."""
    told = history.programme
    return record.dive == NO_DIVE and told is not None and record.seq < told.seq


def _is_sealed(key: bytes, audience: str, data: bytes) -> bool:
    try:
        return is_sealed(key, audience, data)
    except RecordingError:
        return False
