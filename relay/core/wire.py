"""Released records as bytes, and back.

Rules: one record is one MessagePack array `[dive, seq, kind, elapsed_s, body, pad]`, the same bytes on the
live socket, in the history, in a recording and in an export; only a `ReleasedRecord` can be encoded (R1);
tick records of an expedition all have one length and every other record a multiple of `BLOCK`, so that a length tells
nothing its content doesn't; the pad has room for the ship's signature (`seal`), and is zero beyond it.
MessagePack: the specification at msgpack.org, by the library `msgpack`.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from hashlib import sha256
from typing import Any, NamedTuple

import msgpack

from relay.core.errors import OneDoorError, RecordingError
from relay.core.release import FORMAT, VERSION, Kind, ReleasedRecord, seconds

BLOCK = 64
SIGNATURE_OCTETS = 64
_TICK_FIXED, _TICK_EACH = 40, 118
_ARRAY_OF_SIX = b"\x96"
_BIN_16 = b"\xc5"  # for every pad: with the shortest form some lengths could not be reached
FOOTER_MARK = "end"


class WireRecord(NamedTuple):
    """A record as a reader sees it; unlike a `ReleasedRecord` it can't be sent."""

    dive: int
    seq: int
    kind: int
    elapsed_s: float
    body: Any
    data: bytes


def encode(record: ReleasedRecord) -> bytes:
    """Return the frame of a released record; anything else raises OneDoorError."""
    if type(record) is not ReleasedRecord:
        raise OneDoorError("only released records are encoded")
    fields = [record.dive, record.seq, int(record.kind), seconds(record.elapsed_us), record.body]
    five: bytes = msgpack.packb(fields)
    bare = _ARRAY_OF_SIX + five[len(_ARRAY_OF_SIX) :] + _BIN_16  # the sixth is the pad
    least = _TICK_FIXED + _TICK_EACH * len(record.body) if record.kind is Kind.TICK else 0
    pad = _blocks(max(least, len(bare) + 2) + SIGNATURE_OCTETS) - len(bare) - 2
    return bare + pad.to_bytes(2, "big") + bytes(pad)


def frame_begin(dive: int, seq: int) -> bytes:
    """Return the bytes that the frame of this record of a dive begins with."""
    return b"".join([_ARRAY_OF_SIX, msgpack.packb(dive), msgpack.packb(seq)])


def _blocks(length: int) -> int:
    return -(-length // BLOCK) * BLOCK


def decode(frame: bytes) -> WireRecord:
    """Return the record in a frame; RecordingError if it isn't one."""
    return _record(_value(frame), frame)


def pad_start(frame: bytes) -> int:
    """Return where the content of a frame's pad begins; RecordingError if it isn't a frame of `encode`."""
    pad = pad_of(frame)
    start = len(frame) - len(pad)
    begin = frame[max(0, start - 3) : start]
    if begin[:1] != _BIN_16 or int.from_bytes(begin[1:], "big") != len(pad):  # no longer pad fits two octets
        raise RecordingError("not a record: it doesn't end with a pad")
    return start


def pad_of(frame: bytes) -> bytes:
    """Return the content of a record's pad, whatever its form; RecordingError if it has none."""
    value = _value(frame)
    _record(value, frame)
    if not isinstance(value[5], bytes):
        raise RecordingError("not a record: it has no pad")
    return value[5]


def _value(frame: bytes) -> Any:
    try:
        return msgpack.unpackb(frame)
    except (ValueError, msgpack.exceptions.UnpackException) as error:
        raise RecordingError(f"not a record: {error}") from error


def _record(value: Any, frame: bytes) -> WireRecord:
    if isinstance(value, list) and len(value) == 6:
        dive, seq, kind, elapsed_s, body, _ = value
        if isinstance(dive, int) and isinstance(seq, int) and isinstance(kind, int):
            return WireRecord(dive, seq, kind, elapsed_s, body, frame)
    raise RecordingError("not a record: expected [dive, seq, kind, elapsed_s, body, pad]")


def footer(frames: Iterable[bytes]) -> bytes:
    """Return what closes a recording: mark, count of records, SHA-256 (FIPS 180-4) of all frames joined."""
    digest, count = sha256(), 0
    for frame in frames:
        digest.update(frame)
        count += 1
    return bytes(msgpack.packb([FOOTER_MARK, count, digest.hexdigest()]))


def is_footer(value: object) -> bool:
    """Whether an object of a recording is what closes it, right or wrong."""
    return isinstance(value, list) and bool(value) and value[0] == FOOTER_MARK


@dataclass(frozen=True, slots=True)
class Recording:
    """A recording read back: its records, whether it is complete, and how many bytes of a torn tail were cut."""

    records: tuple[WireRecord, ...]
    closed: bool
    torn_bytes: int

    @property
    def header(self) -> dict[str, Any]:
        """The body of the record that begins the dive."""
        body = self.records[0].body
        assert isinstance(body, dict)
        return body

    @property
    def signed(self) -> bool:
        """Whether it says that it is signed: it names a key."""
        return self.header.get("key") is not None


def read_recording(data: bytes) -> Recording:
    """Read a recording: gapless records, and a footer if the dive was closed.

    Raises RecordingError when it is not a recording, is of another version, has a gap, or its footer does not
    agree. A torn tail (the last object cut off) is recognised and left out.
    """
    records: list[WireRecord] = []
    good = 0
    for value, start, end in objects(data):
        if is_footer(value):
            _check_footer(data[start:end], records)
            if end != len(data):
                raise RecordingError("bytes after the footer")
            return Recording(tuple(records), True, 0)
        record = _record(value, data[start:end])
        _check_order(record, records)
        records.append(record)
        good = end
    if not records:
        raise RecordingError("not a recording: it has no first record")
    return Recording(tuple(records), False, len(data) - good)


def whole_octets(data: bytes) -> int:
    """Return how many bytes of a recording are left without a torn tail: a last object that is cut off.

    Bytes that are no MessagePack are no torn tail.
    """
    whole = 0
    try:
        for _, _, end in objects(data):
            whole = end
    except RecordingError:
        return len(data)
    return whole


def objects(data: bytes) -> Iterator[tuple[Any, int, int]]:
    """Yield the objects of a recording, with where each begins and ends; a last one that is cut off is left out."""
    if not data:
        return  # most are asked for before there is anything: a reader is dear to make
    unpacker = msgpack.Unpacker(max_buffer_size=len(data) + 1)
    unpacker.feed(data)
    start = 0
    while True:
        try:
            value = unpacker.unpack()
        except msgpack.exceptions.OutOfData:
            return
        except (ValueError, msgpack.exceptions.UnpackException) as error:
            raise RecordingError(f"not MessagePack at byte {start}: {error}") from error
        end = unpacker.tell()
        yield value, start, end
        start = end


def _check_order(record: WireRecord, before: list[WireRecord]) -> None:
    if not before:
        body = record.body
        if record.seq != 0 or record.kind != Kind.DIVE or not isinstance(body, dict) or body.get("format") != FORMAT:
            raise RecordingError("not a recording: the first record does not begin a dive")
        if body.get("version") != VERSION:
            raise RecordingError(f"recording of version {body.get('version')}; this Offing reads {VERSION}")
    elif (record.dive, record.seq) != (before[0].dive, len(before)):
        due = f"{len(before)} of {before[0].dive}"
        raise RecordingError(f"record {record.seq} of dive {record.dive} where {due} was due")


def _check_footer(data: bytes, records: list[WireRecord]) -> None:
    if data != footer(record.data for record in records):
        raise RecordingError("the footer does not agree with the records: the recording was altered or cut")
