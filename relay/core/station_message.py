"""Offing's own station messages in, events out: JSON lines, or a stream of MessagePack maps.

Rules:

1. A message is one map of named fields: `t` (Unix seconds), `vehicle`, `latitude_deg` and `longitude_deg` (both or
   neither), `depth_m`, `pressure_dbar`, `altitude_m`, `heading_deg`, `pitch_deg`, `roll_deg`, `speed_mps`, `mode`
   (tethered, autonomous, surface) and `note`. Any may be missing; null says the same as missing.
2. A field that is not in that list rejects the message. A misspelt name would otherwise lose data for a whole dive
   without a word; a count of rejected messages is seen on the first day.
3. Text is never read as a number, nor a number as text; of a field given twice, the last one counts. Every value is
   range-checked, and one bad value rejects all of the message, because whatever garbled it may have touched the
   others.
4. A message that says nothing but whose it is, or nothing at all, is passed over.
5. `pending` is bounded by `limit`, the most bytes one message may have. Decisions depend on the bytes alone, never
   on how they were cut.

Sources: RFC 8259 (JSON), the MessagePack specification (msgpack.org, spec.md) for the framing.
"""

import re
from collections.abc import Callable
from operator import attrgetter
from typing import Any

import msgspec

from relay.core.model import Accepted, Event, Mode, Observation, PassedOver, Rejected
from relay.core.ranges import note_fault, out_of_range

DEFAULT_LIMIT = 65_536
VEHICLE_NAME_LIMIT = 60
KIND = "station message"

_NUMBERS = (
    "latitude_deg",
    "longitude_deg",
    "depth_m",
    "pressure_dbar",
    "altitude_m",
    "heading_deg",
    "pitch_deg",
    "roll_deg",
    "speed_mps",
)


class _Message(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The map as it is sent."""

    t: float | None = None
    vehicle: str | None = None
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    depth_m: float | None = None
    pressure_dbar: float | None = None
    altitude_m: float | None = None
    heading_deg: float | None = None
    pitch_deg: float | None = None
    roll_deg: float | None = None
    speed_mps: float | None = None
    mode: Mode | None = None
    note: str | None = None


STATION_FIELDS = _Message.__struct_fields__
_numbers = attrgetter(*_NUMBERS)
_TYPES: dict[str, Any] = _Message.__annotations__
_Raws = dict[str, msgspec.Raw]


class _Format:
    """How one encoding is read: `decode` takes bytes and a type, `name` is what bad bytes are not."""

    def __init__(self, name: str, decode: Callable[..., Any], message: Callable[[bytes], _Message]) -> None:
        self.name, self._decode, self._message = name, decode, message

    def event(self, raw: bytes) -> Event:
        """Read one whole message."""
        try:
            message = self._message(raw)
        except (msgspec.DecodeError, UnicodeDecodeError):
            return Rejected(raw, self._reason(raw))
        fault = _fault(message)
        if fault:
            return Rejected(raw, fault)
        observation = _observation(message)
        if observation is None:
            return PassedOver(raw, KIND, "says nothing")
        return Accepted(raw, KIND, observation)

    def _reason(self, raw: bytes) -> str:
        """Find why the typed reading failed: read again field by field, so that no reason depends on its wording."""
        try:
            parts: _Raws = self._decode(raw, type=_Raws)
        except msgspec.ValidationError:
            return "not a map of named fields"
        except UnicodeDecodeError:
            return "text is not UTF-8"
        except RecursionError:
            return "nested too deeply"
        except msgspec.DecodeError:
            return f"not {self.name}"
        if not parts.keys() <= _TYPES.keys():
            return "unknown field"
        return next((reason for name, part in parts.items() if (reason := self._field_fault(name, part))), "unreadable")

    def _field_fault(self, name: str, part: msgspec.Raw) -> str | None:
        try:
            self._decode(part, type=_TYPES[name])
        except msgspec.ValidationError:
            return f"{name} is not one of its words" if name == "mode" else f"{name} is of the wrong type"
        except UnicodeDecodeError:
            return "text is not UTF-8"
        except msgspec.DecodeError:
            return f"not {self.name}"
        return None


_JSON = _Format("JSON", msgspec.json.decode, msgspec.json.Decoder(_Message).decode)
_MESSAGE_PACK = _Format("MessagePack", msgspec.msgpack.decode, msgspec.msgpack.Decoder(_Message).decode)


def _fault(message: _Message) -> str | None:
    """Return the first thing in the message that cannot be, as a countable reason."""
    if (message.latitude_deg is None) != (message.longitude_deg is None):
        return "latitude_deg and longitude_deg only come together"
    for name, value in zip(_NUMBERS, _numbers(message), strict=True):
        if value is not None and (reason := out_of_range(name, value)):
            return reason
    if message.t is not None and (reason := out_of_range("clock_s", message.t)):
        return reason.replace("clock_s", "t")
    if message.vehicle is not None and not _is_name(message.vehicle):
        return "vehicle is not a name"
    return None if message.note is None else note_fault(message.note)


def _is_name(text: str) -> bool:
    """Tell whether a vehicle can be called that: printable, not blank, of at most 60 characters."""
    return bool(text.strip()) and len(text) <= VEHICLE_NAME_LIMIT and text.isprintable()


def _observation(message: _Message) -> Observation | None:
    """Return what the message says, or None where it names a vehicle at most."""
    values: dict[str, Any] = dict(zip(_NUMBERS, _numbers(message), strict=True))
    values.update(clock_s=message.t, mode=message.mode, note=message.note)
    if all(value is None for value in values.values()):
        return None
    if message.heading_deg == 360.0:
        values["heading_deg"] = 0.0
    return Observation(vehicle=message.vehicle, **values)


class JsonLinesDecoder:
    """Decode one JSON object per line (see `relay.core.model.Decoder`).

    A line ends with a line feed, or with the stream or datagram. Blank lines are passed over. `limit` is the most
    bytes a line may have, its end included; a longer one is rejected in pieces of `limit` bytes.
    """

    def __init__(self, limit: int = DEFAULT_LIMIT) -> None:
        self._limit = limit
        self._buffer = bytearray()
        self._searched = 0
        self._too_long = False

    @property
    def pending(self) -> bytes:
        """The bytes of the unfinished line, fewer than `limit`."""
        return bytes(self._buffer)

    @property
    def at_rest(self) -> bool:
        """Whether no line has begun."""
        return not self._buffer and not self._too_long

    def receive(self, data: bytes) -> list[Event]:
        """Take the next bytes of the stream and return the events they complete."""
        self._buffer += data
        events: list[Event] = []
        start = 0
        while True:
            end = self._buffer.find(b"\n", max(start, self._searched), start + self._limit) + 1
            if end:
                events.append(self._line(bytes(self._buffer[start:end])))
                start, self._too_long = end, False
            elif len(self._buffer) - start >= self._limit:
                self._too_long = True
                events.append(self._line(bytes(self._buffer[start : start + self._limit])))
                start += self._limit
            else:
                break
        del self._buffer[:start]
        self._searched = len(self._buffer)
        return events

    def end(self) -> list[Event]:
        """Read what is pending as the last line; one cut short is no JSON."""
        rest = bytes(self._buffer)
        events = [self._line(rest)] if rest else []
        self._buffer.clear()
        self._searched, self._too_long = 0, False
        return events

    def _line(self, raw: bytes) -> Event:
        if self._too_long:
            return Rejected(raw, "line too long")
        return _JSON.event(raw) if raw.strip() else PassedOver(raw, "blank line", "says nothing")


def _head(byte: int) -> tuple[int, int, int, int, int]:
    """Return for the first byte of a MessagePack object what follows it (spec.md, "Formats").

    That is: bytes of a length n; payload bytes, and more of them for each of n; objects inside, and more for each.
    """
    if byte <= 0x7F or byte >= 0xE0 or byte in (0xC0, 0xC2, 0xC3):
        return 0, 0, 0, 0, 0
    if byte <= 0x8F:
        return 0, 0, 0, 2 * (byte & 0x0F), 0
    if byte <= 0x9F:
        return 0, 0, 0, byte & 0x0F, 0
    if byte <= 0xBF:
        return 0, byte & 0x1F, 0, 0, 0
    return _HEADS[byte]


_HEADS = {
    0xC4: (1, 0, 1, 0, 0),  # bin 8, 16, 32
    0xC5: (2, 0, 1, 0, 0),
    0xC6: (4, 0, 1, 0, 0),
    0xC7: (1, 1, 1, 0, 0),  # ext 8, 16, 32, with a type byte
    0xC8: (2, 1, 1, 0, 0),
    0xC9: (4, 1, 1, 0, 0),
    0xCA: (0, 4, 0, 0, 0),  # float 32, 64
    0xCB: (0, 8, 0, 0, 0),
    0xCC: (0, 1, 0, 0, 0),  # uint 8 to 64, int 8 to 64
    0xCD: (0, 2, 0, 0, 0),
    0xCE: (0, 4, 0, 0, 0),
    0xCF: (0, 8, 0, 0, 0),
    0xD0: (0, 1, 0, 0, 0),
    0xD1: (0, 2, 0, 0, 0),
    0xD2: (0, 4, 0, 0, 0),
    0xD3: (0, 8, 0, 0, 0),
    0xD4: (0, 2, 0, 0, 0),  # fixext 1 to 16, with a type byte
    0xD5: (0, 3, 0, 0, 0),
    0xD6: (0, 5, 0, 0, 0),
    0xD7: (0, 9, 0, 0, 0),
    0xD8: (0, 17, 0, 0, 0),
    0xD9: (1, 0, 1, 0, 0),  # str 8, 16, 32
    0xDA: (2, 0, 1, 0, 0),
    0xDB: (4, 0, 1, 0, 0),
    0xDC: (2, 0, 0, 0, 1),  # array 16, 32
    0xDD: (4, 0, 0, 0, 1),
    0xDE: (2, 0, 0, 0, 2),  # map 16, 32
    0xDF: (4, 0, 0, 0, 2),
}
_NEVER_USED = 0xC1
_FOLLOWING = tuple(None if byte == _NEVER_USED else _head(byte) for byte in range(256))


def _opening() -> re.Pattern[bytes]:
    """Match the first bytes of a map whose first key is one of our fields."""
    keys = b"|".join(
        b"(?:"
        + re.escape(bytes((0xA0 | len(name),)))
        + b"|\xd9"
        + re.escape(bytes((len(name),)))
        + b")"
        + name.encode()
        for name in STATION_FIELDS
    )
    return re.compile(rb"(?:[\x81-\x8d]|\xde\x00[\x01-\x0d]|\xdf\x00\x00\x00[\x01-\x0d])(?:" + keys + rb")", re.DOTALL)


_OPENING = _opening()
_LONGEST_OPENING = 5 + 2 + max(map(len, STATION_FIELDS))


class MessagePackDecoder:
    """Decode a stream of MessagePack maps, one after the other (see `relay.core.model.Decoder`).

    The end of an object is found by counting the objects still owed, so that deep nesting costs nothing. An object
    that is no map is rejected whole. A byte that cannot be MessagePack, or an object of more than `limit` bytes,
    loses the framing: from there on bytes are rejected, in pieces of at most `limit`, up to the next map that begins
    with one of our fields.
    """

    def __init__(self, limit: int = DEFAULT_LIMIT) -> None:
        self._limit = limit
        self._buffer = bytearray()
        # The object at the start of the buffer is walked up to `at`, with `owed` objects to come; when `lost` is set,
        # the buffer is searched from `at` for the next opening instead.
        self._at, self._owed, self._lost = 0, 1, ""

    @property
    def pending(self) -> bytes:
        """The bytes of the unfinished object, at most `limit` and the 20 of the longest opening."""
        return bytes(self._buffer)

    @property
    def at_rest(self) -> bool:
        """Whether no object has begun and the framing is not lost."""
        return not self._buffer and not self._lost

    def receive(self, data: bytes) -> list[Event]:
        """Take the next bytes of the stream and return the events they complete."""
        self._buffer += data
        events: list[Event] = []
        while self._search(events) if self._lost else self._walk(events):
            pass
        return events

    def end(self) -> list[Event]:
        """Reject what is pending: the message was cut short."""
        rest = bytes(self._buffer)
        reason = self._lost or "message cut short"
        pieces = [rest[at : at + self._limit] for at in range(0, len(rest), self._limit)]
        self._take(len(rest))
        return [Rejected(piece, reason) for piece in pieces]

    def _take(self, size: int) -> bytes:
        """Cut `size` bytes off the buffer and begin afresh behind them."""
        raw = bytes(self._buffer[:size])
        del self._buffer[:size]
        self._at, self._owed, self._lost = 0, 1, ""
        return raw

    def _walk(self, events: list[Event]) -> bool:
        """Walk to the end of the object and append its event; return False if more bytes must come first."""
        buffer = self._buffer
        while self._owed:
            if self._at >= len(buffer):
                return False
            following = _FOLLOWING[buffer[self._at]]
            if following is None:
                return self._lose("not MessagePack")
            width, size, size_each, objects, objects_each = following
            end = self._at + 1 + width
            if end > len(buffer):
                return False
            count = int.from_bytes(buffer[self._at + 1 : end], "big") if width else 0
            owed = self._owed - 1 + objects + count * objects_each
            end += size + count * size_each
            # Every object still owed takes at least one byte.
            if end + owed > self._limit:
                return self._lose("message too long")
            self._at, self._owed = end, owed
        if self._at > len(buffer):
            return False
        raw = self._take(self._at)
        events.append(_MESSAGE_PACK.event(raw))
        return True

    def _lose(self, reason: str) -> bool:
        """Give the framing up at the byte reached: what is inside the broken object is not looked for messages."""
        self._lost = reason
        self._at += 1
        return True

    def _search(self, events: list[Event]) -> bool:
        """Reject bytes up to the next opening; return False if more bytes must come first."""
        reason = self._lost
        found = _OPENING.search(self._buffer, self._at)
        if found and found.start() <= self._limit:
            events.append(Rejected(self._take(found.start()), reason))
            return True
        if not found and len(self._buffer) < self._limit + _LONGEST_OPENING:
            self._at = max(self._at, len(self._buffer) - _LONGEST_OPENING + 1)
            return False
        events.append(Rejected(self._take(self._limit), reason))
        self._lost = reason
        return True
