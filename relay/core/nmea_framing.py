"""Cut a byte stream into NMEA 0183 frames and judge their checksums; the fields are read in `nmea0183`.

Rules (NMEA 0183 v4 = IEC 61162-1, as described in "NMEA Revealed", section "NMEA Encoding Conventions", and
common practice for tag blocks, no free source):

1. `$` and `!` start a sentence, a backslash opens or closes a tag block, LF ends the line, a CR before it is
   optional. The three start characters are reserved: inside a frame they can only mean that the end of the
   line was lost, so they begin the next frame.
2. A frame is any number of closed tag blocks and one sentence. The end of a datagram or the next start
   character ends it as LF does: the checksum vouches for its completeness.
3. The checksum of a sentence is mandatory (same section; from memory: since v3.01, before it only for some
   sentences): without it the frame is rejected. That of a tag block is verified where present.
4. Bare line ends belong to the frame that follows them. Where they do not fit in front of it, or nothing
   follows, they are a frame of their own.
5. A frame is at most `limit` bytes long, LF included; as soon as `limit` bytes hold no LF they are rejected, so a
   longer line falls into bounded pieces. The standard's 82 characters are not enforced: real devices exceed them.
"""

import re
from enum import Enum, auto
from functools import reduce
from operator import xor

import msgspec

from relay.core.model import PassedOver, Rejected

NOISE = "noise between sentences"
OVER_LIMIT = "line over the limit"
TAG_NOT_CLOSED = "tag block not closed"
WRONG_TAG_CHECKSUM = "wrong tag block checksum"
NO_CHECKSUM = "no checksum"
MALFORMED_CHECKSUM = "malformed checksum"
WRONG_CHECKSUM = "wrong checksum"
NOT_ASCII = "characters outside printable ASCII"

_SENTENCE_STARTS = (b"$", b"!")
_BACKSLASH = b"\\"
_LINE = re.compile(rb"[$!][^$!\\\n]*\n")
_SEGMENT_END = re.compile(rb"\n|(?=[$!\\])")
_TAG_BLOCK = re.compile(rb"\\([^\\]*)\\")
_HEX_PAIR = re.compile(rb"[0-9A-Fa-f]{2}")
_PRINTABLE = re.compile(rb"[ -~]*")


class Frame(msgspec.Struct, frozen=True):
    """One frame: `raw` is every byte of it, `tags` its tag blocks, `sentence` from the start character to before
    the line end (empty for a tag block alone on its line)."""

    raw: bytes
    tags: bytes
    sentence: bytes

    @property
    def start(self) -> bytes:
        """The start character of the sentence."""
        return self.sentence[:1]

    @property
    def content(self) -> str:
        """The characters between the start character and the checksum; only for a frame without fault."""
        return self.sentence[1:].partition(b"*")[0].decode("ascii")


Piece = Frame | PassedOver | Rejected


def checksum(characters: bytes) -> int:
    """Return the exclusive or of all bytes: what follows `*` as two hexadecimal digits."""
    return reduce(xor, characters, 0)


def frame_fault(frame: Frame) -> str | None:
    """Return a countable reason why the frame is not a good one, or None."""
    for block in _TAG_BLOCK.findall(frame.tags) if frame.tags else ():
        if b"*" in block and _checksum_fault(block) is not None:
            return WRONG_TAG_CHECKSUM
    if not frame.sentence:
        return None
    return _checksum_fault(frame.sentence[1:])


def _checksum_fault(text: bytes) -> str | None:
    """Judge `characters*hh`; lower-case digits are taken, as some devices send them (common practice, no source)."""
    characters, star, stated = text.partition(b"*")
    if not star:
        return NO_CHECKSUM
    if not _HEX_PAIR.fullmatch(stated):
        return MALFORMED_CHECKSUM
    if int(stated, 16) != checksum(characters):
        return WRONG_CHECKSUM
    return None if _PRINTABLE.fullmatch(characters) else NOT_ASCII


class _State(Enum):
    """What is held in front of the segment being read."""

    BETWEEN = auto()  # at most bare line ends
    TAG_OPEN = auto()  # a tag block waits for its closing backslash
    TAGGED = auto()  # closed tag blocks wait for their sentence


class _Segment(Enum):
    """The shortest parts a stream falls into: cut after each LF and before each start character."""

    BLANK = auto()  # line ends alone
    TEXT = auto()  # no start character
    SENTENCE = auto()  # from `$` or `!`
    TAG = auto()  # a backslash and characters
    TAG_LINE = auto()  # the same, up to LF
    BAR = auto()  # a backslash alone
    BAR_LINE = auto()  # the same, up to LF


class _Step(Enum):
    """What becomes of a segment."""

    HOLD_BLANK = auto()
    HOLD = auto()
    FRAME = auto()
    REJECT_TEXT = auto()
    REJECT_TAG = auto()
    RESTART = auto()  # reject what is held as an open tag block, then look at the segment again


_TABLE: dict[tuple[_State, _Segment], tuple[_Step, _State]] = {
    (_State.BETWEEN, _Segment.BLANK): (_Step.HOLD_BLANK, _State.BETWEEN),
    (_State.BETWEEN, _Segment.TEXT): (_Step.REJECT_TEXT, _State.BETWEEN),
    (_State.BETWEEN, _Segment.SENTENCE): (_Step.FRAME, _State.BETWEEN),
    (_State.BETWEEN, _Segment.TAG): (_Step.HOLD, _State.TAG_OPEN),
    (_State.BETWEEN, _Segment.BAR): (_Step.HOLD, _State.TAG_OPEN),
    (_State.BETWEEN, _Segment.TAG_LINE): (_Step.REJECT_TAG, _State.BETWEEN),
    (_State.BETWEEN, _Segment.BAR_LINE): (_Step.REJECT_TAG, _State.BETWEEN),
    (_State.TAG_OPEN, _Segment.TAG): (_Step.RESTART, _State.BETWEEN),
    (_State.TAG_OPEN, _Segment.TAG_LINE): (_Step.RESTART, _State.BETWEEN),
    (_State.TAG_OPEN, _Segment.BAR): (_Step.HOLD, _State.TAGGED),
    (_State.TAG_OPEN, _Segment.BAR_LINE): (_Step.FRAME, _State.BETWEEN),
    (_State.TAGGED, _Segment.SENTENCE): (_Step.FRAME, _State.BETWEEN),
    (_State.TAGGED, _Segment.TAG): (_Step.HOLD, _State.TAG_OPEN),
    (_State.TAGGED, _Segment.BAR): (_Step.HOLD, _State.TAG_OPEN),
    (_State.TAGGED, _Segment.TAG_LINE): (_Step.REJECT_TAG, _State.BETWEEN),
    (_State.TAGGED, _Segment.BAR_LINE): (_Step.REJECT_TAG, _State.BETWEEN),
}
# No more pairs occur: BLANK and TEXT stand after LF or at the beginning, where at most blanks are held, and the
# first byte of a SENTENCE rejects an open tag block before its end is looked for.


def _classify(segment: bytes) -> _Segment:
    first, rest = segment[:1], segment[1:]
    if first in _SENTENCE_STARTS:
        return _Segment.SENTENCE
    if first != _BACKSLASH:
        return _Segment.TEXT if segment.strip(b"\r\n") else _Segment.BLANK
    if not rest:
        return _Segment.BAR
    if not rest.endswith(b"\n"):
        return _Segment.TAG
    return _Segment.TAG_LINE if rest.strip(b"\r\n") else _Segment.BAR_LINE


class Framer:
    """Bytes in, pieces out: frames, and what is none of them as decoder events.

    `limit` (1 or more): see rule 5. `pending` never holds more than `limit` bytes.
    """

    def __init__(self, limit: int) -> None:
        if limit < 1:
            raise ValueError("limit must be 1 byte or more")
        self._limit = limit
        self._forget()

    def _forget(self) -> None:
        self._state = _State.BETWEEN
        self._held = b""
        self._blank_length = 0
        self._segment = b""
        self._over_limit = False

    @property
    def pending(self) -> bytes:
        """The bytes of the unfinished frame."""
        return self._held + self._segment

    @property
    def at_rest(self) -> bool:
        """Whether no line has begun, nor one that was cut over the limit is still to end."""
        return not self.pending and not self._over_limit and self._state is _State.BETWEEN

    def receive(self, data: bytes) -> list[Piece]:
        """Take the next bytes of the stream and return the pieces they complete."""
        if data and self.at_rest and (lines := self._lines(data)):
            return lines
        pieces: list[Piece] = []
        stream = self._segment + data
        position = 0
        while position < len(stream):
            stop, complete = self._find_end(stream, position, pieces)
            if not self._fits(stop - position - (complete and stream[stop - 1] == 0x0A)):
                position = self._cut_over_limit(stream, position, pieces)
            elif complete:
                self._place(stream[position:stop], pieces)
                position = stop
            else:
                break
        self._segment = stream[position:]
        return pieces

    def _lines(self, data: bytes) -> list[Piece]:
        """Return the frames of a stream at rest that holds whole sentences alone, one a line; none for any other."""
        lines = _LINE.findall(data)
        if sum(map(len, lines)) != len(data) or max(map(len, lines)) > self._limit:
            return []
        return [Frame(line, b"", line.rstrip(b"\r\n")) for line in lines]

    def _find_end(self, stream: bytes, position: int, pieces: list[Piece]) -> tuple[int, bool]:
        """Return where the segment ends, as far as `limit` lets it, and whether that is its real end."""
        first = stream[position : position + 1]
        if first in _SENTENCE_STARTS and self._state is _State.TAG_OPEN:
            self._reject_held(TAG_NOT_CLOSED, pieces)
        started = first in _SENTENCE_STARTS or first == _BACKSLASH
        window_end = min(len(stream), position + self._limit)
        match = _SEGMENT_END.search(stream, position + started, window_end)
        return (match.end(), True) if match else (window_end, False)

    def _fits(self, length: int) -> bool:
        return len(self._held) + length < self._limit

    def _cut_over_limit(self, stream: bytes, position: int, pieces: list[Piece]) -> int:
        """Make room by giving up the bare line ends, or else the first `limit` bytes of the line."""
        if self._blank_length:
            self._pass_over_blank(pieces)
            return position
        stop = position + self._limit - len(self._held)
        self._held += stream[position:stop]
        self._reject_held(OVER_LIMIT, pieces)
        self._over_limit = True
        return stop

    def _place(self, segment: bytes, pieces: list[Piece]) -> None:
        step, state = _TABLE[self._state, _classify(segment)]
        if step is _Step.RESTART:
            self._reject_held(TAG_NOT_CLOSED, pieces)
            step, state = _TABLE[self._state, _classify(segment)]
        self._held += segment
        self._state = state
        if step is _Step.HOLD_BLANK:
            self._blank_length = len(self._held)
        elif step is _Step.FRAME:
            self._frame(len(segment), pieces)
        elif step is _Step.REJECT_TEXT:
            self._reject_held(OVER_LIMIT if self._over_limit else NOISE, pieces)
        elif step is _Step.REJECT_TAG:
            self._reject_held(TAG_NOT_CLOSED, pieces)
        self._over_limit = False

    def _frame(self, segment_length: int, pieces: list[Piece]) -> None:
        tags_end = len(self._held) - segment_length
        tags, last = self._held[self._blank_length : tags_end], self._held[tags_end:].rstrip(b"\r\n")
        if last[:1] in _SENTENCE_STARTS:
            pieces.append(Frame(self._held, tags, last))
        else:
            pieces.append(Frame(self._held, tags + last, b""))
        self._release(len(self._held))

    def _reject_held(self, reason: str, pieces: list[Piece]) -> None:
        pieces.append(Rejected(self._held, reason))
        self._release(len(self._held))
        self._state = _State.BETWEEN

    def _pass_over_blank(self, pieces: list[Piece]) -> None:
        pieces.append(PassedOver(self._held[: self._blank_length], "blank", "empty line"))
        self._release(self._blank_length)

    def _release(self, length: int) -> None:
        self._held = self._held[length:]
        self._blank_length = 0

    def end(self) -> list[Piece]:
        """Close the stream: turn what is pending into pieces; the framer is fresh afterwards."""
        pieces: list[Piece] = []
        if self._segment:
            self._place(self._segment, pieces)
        if self._state is _State.TAG_OPEN:
            self._reject_held(TAG_NOT_CLOSED, pieces)
        elif self._state is _State.TAGGED:
            self._frame(0, pieces)
        elif self._held:
            self._pass_over_blank(pieces)
        self._forget()
        return pieces
