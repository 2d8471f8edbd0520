"""What a row of the journal says, in words: received by whom and when, and what its bytes tell when they are decoded.

Rules: only from the row itself, for whoever checks a proof has nothing else: how it is read is judged by its first
byte, with no setting of the feed (a sounder's, a variation): the bytes count, which are told, too. Numbers are told as
they were read, never rounded. Bytes that aren't whole messages are told as such.
"""

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Any

from relay.core.decision import Target, read_decision
from relay.core.errors import OperatorError
from relay.core.model import OBSERVATION_FIELDS, Accepted, Observation, PassedOver, Row, RowKind
from relay.core.policy import SourcePlan
from relay.core.sighting import place_of
from relay.core.sources import decoder_for
from relay.shell.released.printable import printable

MOST_SHOWN = 1_000
MOST_MESSAGES = 20
MOST_READ = 1 << 14
_KINDS = {
    RowKind.STREAM: "bytes of a stream",
    RowKind.WHOLE: "one whole message",
    RowKind.DECISION: "a decision of the operator",
}
_UNITS = {
    "deg_min": "°/min",
    "deg": "°",
    "mps": "m/s",
    "dbar": "dbar",
    "m": "m",
    "us": "microseconds",
    "s": "s",
}
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def row_words(row: Row) -> Iterator[str]:
    """Yield what a row is and says, a line each, fit to be printed."""
    yield f"received: {utc(row.wall_s)} by the ship's wall clock; {_KINDS[row.kind]} from {printable(row.source)!r}"
    yield f"moment: {row.embargo_us} microseconds of the journal's own clock (minute {row.embargo_us // 60_000_000})"
    if row.kind is RowKind.DECISION:
        yield from _decision(row.data)
        return
    yield f"bytes: {_bytes(row.data)}"
    yield from _messages(row.data)


def utc(wall_s: float) -> str:
    """Return a moment of the ship's wall clock, UTC, with its milliseconds; the number itself if it is no date."""
    try:
        return f"{_EPOCH + timedelta(milliseconds=round(wall_s * 1_000)):%Y-%m-%d %H:%M:%S.%f}"[:-3] + " UTC"
    except (OverflowError, ValueError):
        return f"{wall_s} s"


def _bytes(data: bytes) -> str:
    """Return bytes as text where they are, else in hexadecimal digits; long ones cut, which is said."""
    try:
        text = data.decode().removesuffix("\n").removesuffix("\r")
        told = text if text.isprintable() else data.hex()
    except UnicodeDecodeError:
        told = data.hex()
    more = f" ... ({len(data)} bytes in all; the proof has them)" if len(told) > MOST_SHOWN else ""
    return told[:MOST_SHOWN] + more


def _messages(data: bytes) -> Iterator[str]:
    """Yield what the messages in a row tell."""
    name, plan = _format(data)
    try:
        decoder = decoder_for(plan)
    except OperatorError as error:
        yield f"not read: {error}"
        return
    events = [*decoder.receive(data[:MOST_READ]), *decoder.end()]
    told = [event for event in events if isinstance(event, Accepted | PassedOver)]
    for event in told[:MOST_MESSAGES]:
        yield f"read as {name}, {printable(event.kind)}: {_said(event)}"
    if len(told) > MOST_MESSAGES:
        yield f"and {len(told) - MOST_MESSAGES} messages more"
    if not told:
        yield f"read as {name}: no whole message; it may be a piece of one"
    if len(data) > MOST_READ:
        yield f"not read as messages: what follows its first {MOST_READ} bytes"


def _said(event: Accepted | PassedOver) -> str:
    """Return what a whole message tells."""
    if isinstance(event, PassedOver):
        return f"a whole message; what it means here the feed's settings tell ({event.why})"
    values = ", ".join(f"{words(field)} {_value(field, value)}" for field, value in _told(event.observation))
    return values or "nothing of the vehicle"


def _format(data: bytes) -> tuple[str, SourcePlan]:
    """Return what bytes seem to be written as, and how they are read then: as a feed without any settings."""
    first = data[:1]
    if first in (b"\xfd", b"\xfe"):
        sender = data[5:7] if first == b"\xfd" else data[3:5]  # MAVLink 2 and 1: system and component
        system, component = sender if len(sender) == 2 else (1, 1)
        return "MAVLink", SourcePlan(name="", format="mavlink", system=system, component=component)
    if first == b"{":
        return "JSON", SourcePlan(name="", format="station-json")
    if first and (first[0] >> 4 == 0x8 or first[0] in (0xDE, 0xDF)):
        return "MessagePack", SourcePlan(name="", format="station-msgpack")
    return "NMEA 0183", SourcePlan(name="", format="nmea0183")


def _told(observation: Observation) -> Iterator[tuple[str, Any]]:
    for name in OBSERVATION_FIELDS:
        if (value := getattr(observation, name)) is not None:
            yield name, value


def _decision(data: bytes) -> Iterator[str]:
    """Yield what a decision says, member by member, and where a target lies by its sighting."""
    try:
        value = json.loads(data)
        decision = read_decision(data)
    except (OperatorError, ValueError, RecursionError) as error:
        yield f"bytes: {_bytes(data)}"
        yield f"not a decision that this Offing reads: {printable(str(error))}"
        return
    yield f"bytes: {len(data)}, SHA-256 {sha256(data).hexdigest()}; what they say, member by member:"
    for name, item in value.items():
        if item not in (None, False, [], ""):
            yield f"{words(name)}: {printable(_value(name, item))}"
    if isinstance(decision, Target) and decision.sighting is not None and decision.sighting.seen_from is not None:
        place = place_of(decision.sighting, decision.sighting.seen_from)
        spread = place.spread
        yield (
            f"so the target lies at: latitude {place.latitude_deg!r} °, longitude {place.longitude_deg!r} ° (WGS84); "
            f"95 % ellipse {spread.major_95_m:.2f} m by {spread.minor_95_m:.2f} m, its greater axis towards "
            f"{spread.major_azimuth_deg:.1f} °"
        )


def words(name: str) -> str:
    """Return the name of a value without its unit, in words."""
    unit = next((unit for unit in _UNITS if name.endswith(f"_{unit}")), "")
    return name.removesuffix(f"_{unit}").replace("_", " ")


def _value(name: str, value: Any) -> str:
    unit = next((told for unit, told in _UNITS.items() if name.endswith(f"_{unit}")), "")
    told = json.dumps(value, ensure_ascii=False) if isinstance(value, dict | list) else str(value)
    told = told if len(told) <= MOST_SHOWN else f"{told[:MOST_SHOWN]} ..."
    return f"{printable(told)} {unit}".rstrip()
