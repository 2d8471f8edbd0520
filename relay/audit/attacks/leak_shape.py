"""What may stand where in a recording, and what stands there besides: the direct leak scan's first look.

Rules: the format of a released record (`core.release`, `core.wire`) and what its own header says of the policy are all
that a recording may hold: whatever is more (a name, a column, a value off its step, bytes in the padding) is a leak,
whether or not it can be read. Values that are as they should be are passed over; all others are handed on to be read.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from math import isfinite, sqrt
from typing import Any

from relay.audit.attacks.attack import Dive
from relay.audit.attacks.told_texts import listed
from relay.core.errors import RecordingError
from relay.core.policy import Disclosed, Leg, Place
from relay.core.release import HEAD_BYTES, Kind
from relay.core.seal import is_sealed, parse_key
from relay.core.wire import SIGNATURE_OCTETS, WireRecord, pad_of

HEADER = frozenset(
    "format version expedition audience vehicles tick_s delay_s cell_m depth_step_m heading_step_deg fields place "
    "depth area swath_m key".split()
)
_COLUMNS: tuple[tuple[str, Disclosed | None, str | None], ...] = (
    ("heard", None, None),
    ("east", Disclosed.TRACK, "cell_m"),
    ("north", Disclosed.TRACK, "cell_m"),
    ("depth", Disclosed.DEPTH, None),
    ("heading", Disclosed.HEADING, "heading_step_deg"),
    ("altitude", Disclosed.ALTITUDE, None),
    ("mode", Disclosed.MODE, None),
    ("leg", Disclosed.LEG, None),
    ("pitch", Disclosed.PITCH, None),
    ("roll", Disclosed.ROLL, None),
)
_WORDS = {
    "heard": {"reporting", "no report"},
    "altitude": {"on the bottom", "near the bottom", "mid-water"},
    "leg": {str(leg) for leg in Leg},
}
_LENGTHS = {Kind.NOTE: 2, Kind.TARGET: 3, Kind.STILL: 5}


@dataclass
class Odd:
    """What a recording holds besides: in words with how many records have it, values to be read, bytes to be read."""

    counts: Counter[str] = field(default_factory=Counter)
    values: list[Any] = field(default_factory=list)
    octets: list[bytes] = field(default_factory=list)

    def note(self, what: str, *values: Any) -> None:
        """Count something that has no business there, and keep its values."""
        self.counts[what] += 1
        self.values += values

    @property
    def leaks(self) -> Iterator[str]:
        """Each in words, with how many records have it."""
        for what, count in self.counts.items():
            yield what if count == 1 else f"{what} ({count} times)"


def odd_in(dive: Dive) -> Odd:
    """Return what a recording holds besides what its format and its header allow."""
    odd = Odd()
    _header(dive.header, odd)
    key = _key(dive.header)
    for record in dive.records:
        if record.kind == Kind.TICK:
            _tick(record.body, dive.header, odd)
        elif record.kind == Kind.HEAD:
            _head(record.body, odd)
        elif record.kind not in (Kind.DIVE, Kind.END):
            _said(record, odd)
        elif record.kind == Kind.END and record.body is not None:
            odd.note("the record of the end holds something", record.body)
        _padding(record, dive.audience, key, odd)
    _alike(dive, odd)
    return odd


def _header(header: Mapping[str, Any], odd: Odd) -> None:
    for name in header.keys() - HEADER:
        odd.note(f"the header has “{name}”, which no policy has", header[name])
    known = {str(field) for field in Disclosed}
    for name in listed(header.get("fields")):
        if str(name) not in known:
            odd.note(f"the header names the field “{name}”, which no policy has")


def _tick(body: Any, header: Mapping[str, Any], odd: Odd) -> None:
    wide = len(_COLUMNS) + (2 if header.get("place") == Place.EXACT else 0)
    fields = {str(name) for name in listed(header.get("fields"))}
    for row in map(listed, listed(body)):
        if len(row) > wide:
            odd.note(f"tick records have {len(row)} columns where {wide} were due", row[wide:])
        for (name, allowed, step), value in zip(_COLUMNS, row, strict=False):
            if value is not None and allowed is not None and str(allowed) not in fields:
                odd.note(f"tick records tell {name}, which the header doesn't name", [value])
            elif name in _WORDS and value is not None and not (isinstance(value, str) and value in _WORDS[name]):
                odd.note(f"tick records have for {name} what is none of its words", [value])
            elif step is not None and value is not None and not _on_step(value, header.get(step)):
                odd.note(f"tick records tell {name} finer than the header says", row[1:3])


def _on_step(value: Any, step: Any) -> bool:
    if not isinstance(value, int | float) or not isinstance(step, int | float) or step <= 0:
        return False
    steps = value / step
    return isfinite(steps) and abs(steps - round(steps)) < 1e-4


def _said(record: WireRecord, odd: Odd) -> None:
    kinds = {int(kind) for kind in Kind}
    if record.kind not in kinds or record.kind == Kind.PROGRAMME:
        odd.note(f"records of kind {record.kind}, which a dive doesn't have", record.body)
        return
    body, due = listed(record.body), _LENGTHS[Kind(record.kind)]
    if len(body) != due:
        odd.note(f"annotations have {len(body)} parts where {due} were due", body[due:])
    if record.kind == Kind.STILL and len(body) >= due and isinstance(body[4], bytes):
        for mark in (b"Exif", b"http://ns.adobe", b"GPS"):
            if mark in body[4]:
                odd.note("stills carry what a camera writes into a picture")
                odd.octets.append(body[4])


def _head(body: Any, odd: Odd) -> None:
    """A tree head stands alone: a count or a minute beside it would tell how much there was."""
    parts = listed(body)
    head = parts[0] if parts else body
    if not isinstance(head, bytes) or len(head) != HEAD_BYTES:
        odd.note(f"tree heads are no hash of {HEAD_BYTES} bytes", parts)
        odd.octets += [head] if isinstance(head, bytes) else []
    if len(parts) > 1:
        odd.note("tree heads have something beside them", parts[1:])


def _alike(dive: Dive, odd: Odd) -> None:
    """Tree heads that have more in common than chance gives them aren't blinded hashes: they tell what changed between.

    Of two random bytes one pair in 256 is equal; of a sound dive's heads six standard deviations more never are.
    """
    bodies = [listed(record.body) for record in dive.records if record.kind == Kind.HEAD]
    heads = [body[0] for body in bodies if body and isinstance(body[0], bytes)]
    alike = sum(one == other for pair in pairwise(heads) for one, other in zip(*pair, strict=False))
    chance = HEAD_BYTES * max(0, len(heads) - 1) / 256
    if alike > chance + 6 * sqrt(chance) + 3:
        odd.note("tree heads that follow each other have bytes in common, so they are no blinded hashes")
        odd.octets += heads


def _key(header: Mapping[str, Any]) -> bytes | None:
    try:
        return parse_key(str(header.get("key")))
    except ValueError:
        return None


def _padding(record: WireRecord, audience: str, key: bytes | None, odd: Odd) -> None:
    """Padding is zeros, but for a signature at its beginning; a signature is proven, or it may be anything."""
    try:
        pad = pad_of(record.data)
        if not any(pad):
            return
        if key is not None and is_sealed(key, audience, record.data):
            return
    except RecordingError:
        odd.note("records end in something that is no padding")
        odd.octets.append(record.data[-256:])
        return
    start = 0 if key is None or any(pad[SIGNATURE_OCTETS:]) else None
    odd.note(
        "the padding of records holds bytes behind the signature"
        if any(pad[SIGNATURE_OCTETS:])
        else "the padding of records holds what is no signature of the header's key"
    )
    odd.octets.append(pad[start:] if start is not None else pad)
