"""Recordings as they would have been with one field withheld: what did it give away?

Rules: a withheld field is gone from every record and from the header, as if the policy had not named it; everything
else, and which ticks there are, stays as it was.
"""

from collections.abc import Iterator, Sequence
from typing import Any

import msgpack

from relay.audit.attacks.attack import Dive
from relay.core.policy import Disclosed
from relay.core.release import Kind
from relay.core.wire import WireRecord

# Where `core.release` puts a field in a vehicle's part of a tick; 10 and 11 are the exact place of trusted audiences.
COLUMNS = {
    Disclosed.TRACK: (1, 2, 10, 11),
    Disclosed.DEPTH: (3,),
    Disclosed.HEADING: (4,),
    Disclosed.ALTITUDE: (5,),
    Disclosed.MODE: (6,),
    Disclosed.LEG: (7,),
    Disclosed.PITCH: (8,),
    Disclosed.ROLL: (9,),
}
_OF_HEADER = {
    Disclosed.TRACK: "cell_m",
    Disclosed.DEPTH: "depth_step_m",
    Disclosed.HEADING: "heading_step_deg",
}
_TEXTS = {
    Disclosed.NOTES: (Kind.NOTE, Kind.STILL, Kind.TARGET),
    Disclosed.STILLS: (Kind.STILL,),
}


def told_fields(dives: Sequence[Dive]) -> list[Disclosed]:
    """Return the fields of which something was told in any of the dives, in the order of the policy's names."""
    told = {field for dive in dives for record in dive.records for field in _told(record)}
    return [field for field in Disclosed if field in told]


def _told(record: WireRecord) -> Iterator[Disclosed]:
    if record.kind == Kind.TICK:
        for row in record.body:
            for field, columns in COLUMNS.items():
                if any(row[column] is not None for column in columns if column < len(row)):
                    yield field
    yield from (field for field, kinds in _TEXTS.items() if record.kind in kinds)


def without(dive: Dive, field: Disclosed) -> Dive:
    """Return the dive as it would have been told without a field."""
    header = _header(dive.header, field)
    records, sent_s = list[WireRecord](), list[float]()
    for at, record in enumerate(dive.records):
        if record.kind in _TEXTS.get(field, ()):
            continue
        body = header if record.kind == Kind.DIVE else _body(record, field)
        records.append(_again(record._replace(body=body)))
        if dive.sent_s is not None:
            sent_s.append(dive.sent_s[at])
    return Dive(dive.name, header, tuple(records), None if dive.sent_s is None else tuple(sent_s), dive.live)


def _header(header: Any, field: Disclosed) -> dict[str, Any]:
    named = [name for name in header.get("fields", ()) if name != field]
    changed: dict[str, Any] = {**header, "fields": named}
    if field in _OF_HEADER:
        changed[_OF_HEADER[field]] = None
    if field is Disclosed.TRACK:
        changed["place"] = "area"
    return changed


def _body(record: WireRecord, field: Disclosed) -> Any:
    if record.kind != Kind.TICK or field not in COLUMNS:
        return record.body
    gone = COLUMNS[field]
    return [[None if at in gone else value for at, value in enumerate(row)] for row in record.body]


def _again(record: WireRecord) -> WireRecord:
    """Return a record with the bytes of what it tells now: none of what was withheld is left in them."""
    data = msgpack.packb([record.dive, record.seq, record.kind, record.elapsed_s, record.body, b""])
    return record._replace(data=bytes(data))
