"""Every text in a recording, and the names of what its records hold beyond the ten fields of a vehicle.

Rules: a reader of what anybody has in hand, so nothing here raises over odd records.
"""

from collections.abc import Iterator, Mapping
from math import isfinite
from typing import Any

from relay.audit.attacks.attack import Dive
from relay.core.policy import Disclosed, Place
from relay.core.release import Kind

_NOT_TEXT = frozenset("format fields place depth key".split())
_KINDS = {
    Kind.NOTE: "annotation", Kind.STILL: "caption", Kind.TARGET: "target", Kind.PROGRAMME: "programme",
}  # fmt: skip


def texts_of(dive: Dive) -> Iterator[tuple[float, str, str]]:
    """Yield every text with its dive time in seconds and what it is; the header's come first, at 0."""
    for key, value in dive.header.items():
        if key not in _NOT_TEXT:
            yield from ((0.0, f"the header's {key}", text) for text in strings(value))
    for record in dive.records:
        if record.kind not in (Kind.DIVE, Kind.TICK):
            what = _KINDS.get(Kind(record.kind), "record") if record.kind in list(Kind) else "record"
            yield from ((float(record.elapsed_s), what, text) for text in strings(record.body))


def names_beyond(header: Mapping[str, Any], count: int) -> list[str]:
    """Return names for `count` columns beyond the ten: the header's fields that no policy has, then their numbers."""
    exact = ["latitude_deg", "longitude_deg"] if header.get("place") == Place.EXACT else []
    known = {str(field) for field in Disclosed}
    named = exact + [str(field) for field in listed(header.get("fields")) if str(field) not in known]
    return [*named, *(f"column {11 + at}" for at in range(len(named), count))][:count]


def clock(elapsed_s: float) -> str:
    """Return a dive time as people read it: hours, minutes and seconds since the dive began."""
    whole = int(elapsed_s) if isfinite(elapsed_s) else 0
    return f"{whole // 3600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def listed(value: object) -> list[Any]:
    """Return a value that ought to be a list, or an empty one."""
    return list(value) if isinstance(value, list | tuple) else []


def strings(value: object) -> Iterator[str]:
    """Yield every text in a value of a record, keys too."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from strings(key)
            yield from strings(item)
    elif isinstance(value, list | tuple):
        for item in value:
            yield from strings(item)
