"""What a recording proves to somebody who trusts nobody that handed it on.

Rules: every record is judged, and what is wrong is told by its number; what nobody signed is called unsigned, never
good; a key that a recording names itself proves no more than that one hand wrote it all.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from relay.core.errors import RecordingError
from relay.core.release import HEAD_BYTES, Kind
from relay.core.seal import is_sealed, parse_key
from relay.core.wire import (
    Recording,
    WireRecord,
    decode,
    footer,
    frame_begin,
    is_footer,
    objects,
    pad_of,
    read_recording,
)


@dataclass(frozen=True, slots=True)
class Examined:
    """What was found in a recording. `key`: the one that its first record names; `faults`: what is wrong, in words.

    `ended`: it has the record that ends the dive; `torn_octets`: of a last record that is cut off. `unsigned`: nobody
    signed any of it, and nothing says that somebody had.
    """

    expedition: str
    audience: str
    dive: int
    records: int
    ended: bool
    torn_octets: int
    key: bytes | None
    unsigned: bool
    faults: tuple[str, ...]


def examine(data: bytes, key: bytes | None = None) -> Examined:
    """Examine a recording record by record, with the ship's key (32 bytes), or with the one that it names itself.

    RecordingError where it is none: not even its first record can be read.
    """
    records, end, faults = _parts(data)
    if not records:
        raise RecordingError(faults[0] if faults else "not a recording: it has no first record")
    header = read_recording(records[0].data).header
    audience, own = _text(header, "audience"), key_of(header)
    unsigned = own is None and not any(map(_has_signature, records))
    faults = [*_in_order(records), *faults] + ([] if faults else [*_behind(records, data[end:], end)])
    faults += [] if unsigned and key is None else _by_whom(records, audience, own, key)
    ended = records[-1].kind == Kind.END
    torn = 0 if ended or faults else len(data) - end
    return Examined(
        _text(header, "expedition"), audience, records[0].dive, len(records), ended, torn, own, unsigned, tuple(faults)
    )


def check_signed(recording: Recording) -> bool:
    """Return whether a recording is signed throughout with the key it names, False where it is unsigned throughout.

    RecordingError where it is neither.
    """
    own = key_of(recording.header)
    if own is None and not any(map(_has_signature, recording.records)):
        return False
    for fault in _by_whom(recording.records, _text(recording.header, "audience"), own, None):
        raise RecordingError(f"{fault}. `offing verify` tells more; take the original")
    return True


def key_of(header: dict[str, Any]) -> bytes | None:
    """Return the key that a dive's first record names, None where it names none; RecordingError if it is no key."""
    named = header.get("key")
    if named is None:
        return None
    try:
        return parse_key(named)
    except (TypeError, ValueError) as error:
        raise RecordingError(f"the first record names {named!r} as its key: {error}") from error


def _text(header: dict[str, Any], name: str) -> str:
    text = header.get(name)
    if not isinstance(text, str):
        raise RecordingError(f"not a recording: its first record has no {name}")
    return text


def _parts(data: bytes) -> tuple[list[WireRecord], int, list[str]]:
    """Return the records, where the last of them ends, and what couldn't be read; what follows them is left."""
    records: list[WireRecord] = []
    last, faults = 0, list[str]()
    try:
        for value, start, end in objects(data):
            if is_footer(value):
                break
            records.append(decode(data[start:end]))
            last = end
    except RecordingError as error:
        after = f" after record {records[-1].seq}" if records else ""
        faults.append(f"{error}: nothing{after} can be read (bytes {last} to {len(data) - 1})")
    return records, last, faults


def _in_order(records: Sequence[WireRecord]) -> Iterator[str]:
    """Yield what is missing, comes again, or doesn't belong here."""
    due, ended = 0, False
    for record in records:
        if record.dive != records[0].dive:
            yield f"record {record.seq} is of dive {record.dive}"
            continue
        if record.kind == Kind.HEAD and not _is_head(record.body):
            yield f"record {record.seq}: no tree head, which is a hash of {HEAD_BYTES} bytes and nothing beside it"
        if record.seq > due:
            yield f"{_span(due, record.seq - 1)}: missing"
        elif record.seq < due:
            yield f"record {record.seq}: comes again, or in another order"
        elif ended:
            yield f"record {record.seq}: behind the end of the dive"
        due, ended = max(due, record.seq + 1), ended or record.kind == Kind.END


def _is_head(body: Any) -> bool:
    parts = body if isinstance(body, list) else []
    return [len(part) for part in parts if isinstance(part, bytes)] == [HEAD_BYTES] and len(parts) == 1


def _behind(records: Sequence[WireRecord], rest: bytes, at: int) -> Iterator[str]:
    """Yield what is wrong with what follows the records, at byte `at`: nothing, the footer, or the begin of either.

    After the end of a dive only the footer may follow, whole or cut off; before it only a next record, cut off.
    """
    ended = records[-1].kind == Kind.END
    where = f"bytes {at} to {at + len(rest) - 1}"
    found = [end for value, _, end in _readable(rest) if is_footer(value)][:1]
    good = footer(record.data for record in records)
    if found and rest[: found[0]] != good:
        yield (
            "the footer: it doesn't agree with the records, which were altered, or some were taken out or put in "
            f"({where})"
        )
    if found and not ended:
        yield "the record that ends the dive: missing, though there is a footer"
    if found and len(rest) > found[0]:
        yield f"{len(rest) - found[0]} bytes behind the footer"
    if not found and ended and not good.startswith(rest):
        yield f"the footer: altered, or something stands in its place ({where})"
    if not found and not ended and rest:
        yield from _torn(records[-1], rest, where)


def _torn(last: WireRecord, rest: bytes, where: str) -> Iterator[str]:
    """Yield why the bytes behind an open recording's last record aren't the next one, cut off."""
    due = frame_begin(last.dive, last.seq + 1)
    if rest[: len(due)] != due[: len(rest)]:
        yield f"record {last.seq + 1}: altered, for it doesn't begin as one; nothing from there can be read ({where})"
    elif frame_begin(last.dive, last.seq + 2) in rest:
        yield f"record {last.seq + 1}: altered, for it seems to hold the next one ({where})"


def _readable(data: bytes) -> Iterator[tuple[Any, int, int]]:
    try:
        yield from objects(data)
    except RecordingError:
        return


def _by_whom(records: Iterable[WireRecord], audience: str, own: bytes | None, given: bytes | None) -> Iterator[str]:
    """Yield what isn't signed with the key given, or, without one, with the recording's own."""
    if given is not None and own is not None and own != given:
        yield f"the first record names another key, {own.hex()}"
    key = own if given is None else given
    if key is None:
        yield "there are signatures, but the first record names no key to check them with"
        return
    wrong = [record.seq for record in records if not _is_sealed(key, audience, record.data)]
    for first, last in _runs(wrong):
        yield f"{_span(first, last)}: altered, or not signed with this key"


def _is_sealed(key: bytes, audience: str, frame: bytes) -> bool:
    try:
        return is_sealed(key, audience, frame)
    except RecordingError:
        return False


def _has_signature(record: WireRecord) -> bool:
    try:
        return any(pad_of(record.data))
    except RecordingError:
        return True  # whatever stands in its place, it is not nothing


def _runs(numbers: Iterable[int]) -> Iterator[tuple[int, int]]:
    """Yield the first and last of each run of numbers that follow one another."""
    run: tuple[int, int] | None = None
    for number in numbers:
        if run is not None and number == run[1] + 1:
            run = run[0], number
            continue
        if run is not None:
            yield run
        run = number, number
    if run is not None:
        yield run


def _span(first: int, last: int) -> str:
    return f"record {first}" if first == last else f"records {first} to {last}"
