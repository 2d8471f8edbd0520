"""One viewer's standing: what it asked for, whether it is owed more than the socket replays, which frames come next.

Rules: a viewer gets exactly the records after the position it named, each once, in order, with no gap (R5).
More than `ReplayLimit` owed: "history first". Live frames need no state of the viewer: whoever holds the head
gets every new one.

| standing  | on                          | then      |
| --------- | --------------------------- | --------- |
| REPLAYING | frames taken, head reached  | LIVE      |
| AHEAD     | a frame after its position  | LIVE      |
| LIVE      | any frame                   | LIVE      |

AHEAD is a viewer that holds more than this server: it fetched the history from another relay of the same
audience. It gets nothing twice.
"""

import re
from dataclasses import dataclass
from enum import Enum, auto
from urllib.parse import parse_qsl

from relay.core.history import EVERYTHING, History, Position
from relay.core.websocket import CloseCode

_NUMBER = re.compile(r"[0-9]{1,9}")
_FIELDS_LIMIT = 8


@dataclass(frozen=True, slots=True)
class Ask:
    """What a viewer wants: everything after `position`, or, without one, what is released from now on."""

    audience: str
    position: Position | None


@dataclass(frozen=True, slots=True)
class ReplayLimit:
    """How much the socket replays; beyond it, the recording is the way."""

    frames: int
    octets: int


def parse_ask(query: str) -> Ask | None:
    """Return what `audience=NAME[&dive=N&after=SEQ]` asks for, None if it is not that.

    `after=-1` asks for a dive from its first record. Unknown names are ignored, repeated ones are not taken.
    """
    try:
        pairs = parse_qsl(query, keep_blank_values=True, strict_parsing=True, max_num_fields=_FIELDS_LIMIT)
    except ValueError:
        return None
    fields = dict(pairs)
    audience, dive, after = fields.get("audience"), fields.get("dive"), fields.get("after")
    if len(fields) != len(pairs) or not audience:
        return None
    if dive is None and after is None:
        return Ask(audience, None)
    position = _position(dive or "", after or "")
    return None if position is None else Ask(audience, position)


def _position(dive: str, after: str) -> Position | None:
    if not _NUMBER.fullmatch(dive) or not (after == "-1" or _NUMBER.fullmatch(after)):
        return None
    return Position(int(dive), int(after)) if int(dive) >= 1 else None


class Standing(Enum):
    """Where a viewer stands towards the log."""

    REPLAYING = auto()
    LIVE = auto()
    AHEAD = auto()


class Subscriber:
    """The position of one viewer that is not, or not yet, live."""

    __slots__ = ("position",)

    def __init__(self, position: Position) -> None:
        self.position = position

    def standing(self, history: History) -> Standing:
        """Return where this viewer stands now."""
        head = history.head
        if self.position > head:
            return Standing.AHEAD
        return Standing.REPLAYING if self.position < head else Standing.LIVE

    def take(self, history: History, limit: int, octets: int = EVERYTHING) -> list[bytes]:
        """Return up to `limit` of the frames it is owed, up to the one that makes `octets`, and count them as held."""
        frames, self.position = history.after(self.position, limit, octets)
        return frames

    def wants(self, dive: int, seq: int) -> bool:
        """Whether a record comes after what this viewer holds."""
        return (dive, seq) > self.position


def admit(ask: Ask, history: History, limit: ReplayLimit) -> Subscriber | CloseCode:
    """Return the standing of a new viewer, or HISTORY_FIRST where it is owed more than the socket replays."""
    position = history.head if ask.position is None else ask.position
    owed = history.owed(position)
    if owed.frames > limit.frames or owed.octets > limit.octets:
        return CloseCode.HISTORY_FIRST
    return Subscriber(position)
