"""Read NMEA 0183 sentences into observations; `nmea_framing` cuts them out of the stream.

Rules:

1. The fields of one framed sentence are read by pynmeagps's tables (`nmea_fields`), the form and the range of every
   field used are checked here and there. What either refuses is rejected.
2. A field that is empty says nothing; one that says something impossible rejects the whole sentence.
3. A sentence must reach the last field used here, or it was cut short before its checksum was made.
4. A position counts with GGA quality 1 or more, or status A, and without mode N. Time is taken without a fix too.
5. Sources: the field tables of "NMEA Revealed" (gpsd project); what they leave open is marked beside the code.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from enum import StrEnum
from functools import lru_cache
from typing import Any

from relay.core.model import Accepted, Decoder, Event, Observation, PassedOver, Rejected
from relay.core.nmea_fields import NUMBER, Fields, Impossible, Values, check
from relay.core.nmea_framing import Frame, Framer, Piece, frame_fault


class Sounder(StrEnum):
    """What the sounder sentence of a feed tells: the vehicle's own depth, or its height above the bottom."""

    DEPTH = "depth"
    ALTITUDE = "altitude"


class SounderSentence(StrEnum):
    """Which sounder sentence of a feed is read; a device that sends both may disagree with itself."""

    DPT = "DPT"
    DBT = "DBT"


MPS_PER_KNOT = 1852 / 3600  # a knot is 1,852 m an hour (SI Brochure, table of non-SI units; from memory)

_ADDRESS = re.compile(r"[A-Z][A-Z0-9]([A-Z][A-Z0-9]{2})")
_ROUND = frozenset({"heading_deg", "course_deg"})
_QUALITIES = frozenset("012345678")
_PITCH_NAMES = frozenset({"PTCH", "PITCH"})
_ROLL_NAMES = frozenset({"ROLL"})


class _Unused(Exception):
    """The sentence is good but tells nothing here; the text is the countable why."""


@dataclass(frozen=True, slots=True)
class _Setting:
    sounder: Sounder | None
    sounder_sentence: SounderSentence
    variation_deg: float | None
    vehicle: str | None


def _timed(fields: Fields, day: date | None) -> Values:
    """Return the sender's clock: Unix seconds with a date, seconds after midnight without."""
    second = fields.time_of_day_s()
    if second is None or day is None:
        return {"time_of_day_s": second}
    return {"clock_s": datetime.combine(day, time(), UTC).timestamp() + second}


def _true(magnetic_deg: float | None, variation_deg: float | None) -> float | None:
    """Return a true heading: magnetic plus variation, east positive (definition of HDG in NMEA Revealed)."""
    if magnetic_deg is None:
        return None
    check("heading_deg", magnetic_deg)
    if variation_deg is None:
        raise _Unused("magnetic heading without variation")
    return (magnetic_deg + variation_deg) % 360


def _in_mps(knots: float | None) -> float | None:
    return None if knots is None else knots * MPS_PER_KNOT


def _gga(fields: Fields, _: _Setting) -> Values:
    quality = fields.text("quality")
    if quality and quality not in _QUALITIES:
        raise Impossible("GGA quality out of range")
    return _timed(fields, None) | (fields.position() if quality not in ("", "0") else {})


def _gll(fields: Fields, _: _Setting) -> Values:
    fixed = fields.valid("status") and fields.text("posMode") != "N"
    return _timed(fields, None) | (fields.position() if fixed else {})


def _rmc(fields: Fields, _: _Setting) -> Values:
    values = _timed(fields, fields.short_date())
    if not fields.valid("status") or fields.text("posMode") == "N":
        return values
    return values | fields.position() | {"speed_mps": _in_mps(fields.number("spd")), "course_deg": fields.number("cog")}


def _vtg(fields: Fields, _: _Setting) -> Values:
    if fields.text("posMode") == "N":
        return {}
    return {
        "course_deg": fields.measured("cogt", "cogtUnit", "T"),
        "speed_mps": _in_mps(fields.measured("sogn", "sognUnit", "N")),
    }


def _vhw(fields: Fields, setting: _Setting) -> Values:
    speed = _in_mps(fields.measured("spdN", "spdNu", "N"))
    heading = fields.measured("hdgT", "hgdTu", "T")
    magnetic = fields.measured("hdgM", "hgdMu", "M")
    if heading is None and (speed is None or setting.variation_deg is not None):
        heading = _true(magnetic, setting.variation_deg)
    return {"water_speed_mps": speed, "heading_deg": heading}


def _hdt(fields: Fields, _: _Setting) -> Values:
    return {"heading_deg": fields.measured("headingT", "headingTu", "T")}


def _hdg(fields: Fields, setting: _Setting) -> Values:
    sensor, deviation, variation = (
        fields.number("headingM"),
        fields.east_west("deviation"),
        fields.east_west("variation"),
    )
    if sensor is None:
        return {}
    check("heading_deg", sensor)
    magnetic = (sensor + (deviation or 0.0)) % 360
    return {"heading_deg": _true(magnetic, setting.variation_deg if variation is None else variation)}


def _hdm(fields: Fields, setting: _Setting) -> Values:
    return {"heading_deg": _true(fields.measured("headingM", "headingMag", "M"), setting.variation_deg)}


def _rot(fields: Fields, _: _Setting) -> Values:
    if not fields.valid("valid"):
        raise _Unused("rate of turn not valid")
    return {"rate_of_turn_deg_min": fields.number("rot")}


def _dpt(fields: Fields, setting: _Setting) -> Values:
    """Return depth below the waterline or altitude of the transducer.

    A positive offset leads from the transducer up to the waterline and is added to the depth, a negative one leads
    to the keel and is left alone (NOAA archive format "scs_dpt"). The altitude takes no offset.
    """
    below_transducer, offset = fields.number("depth"), fields.number("offset")
    if below_transducer is None:
        return {}
    if setting.sounder is Sounder.ALTITUDE:
        return {"altitude_m": below_transducer}
    return {"depth_m": below_transducer + max(offset or 0.0, 0.0)}


def _dbt(fields: Fields, setting: _Setting) -> Values:
    """Return depth or altitude of the transducer: DBT has no offset."""
    metres = fields.measured("depthm", "depthmu", "M")
    return {"altitude_m" if setting.sounder is Sounder.ALTITUDE else "depth_m": metres}


def _xdr(fields: Fields, _: _Setting) -> Values:
    """Return pitch and roll, degrees, from quadruples of type, value, unit and name.

    Names and signs (bow up, starboard down) are common practice, no source. Of two transducers with one meaning the
    first counts. HEEL and TRIM are left alone: their signs differ between devices (common practice, no source).
    """
    values: Values = {}
    for start in range(0, len(fields.texts), 4):
        quadruple = fields.texts[start : start + 4]
        if len(quadruple) < 4 and any(quadruple):
            raise Impossible("truncated sentence")
        kind, text, unit, name = (*quadruple, "", "", "")[:4]
        field = "pitch_deg" if name.upper() in _PITCH_NAMES else "roll_deg" if name.upper() in _ROLL_NAMES else None
        if field is None or (kind, unit) != ("A", "D") or not text:
            continue
        if not NUMBER.fullmatch(text):
            raise Impossible(f"XDR {field} is not a number")
        values.setdefault(field, float(text))
    return values


def _zda(fields: Fields, _: _Setting) -> Values:
    return _timed(fields, fields.long_date())


@dataclass(frozen=True, slots=True)
class _Reading:
    """How one kind of sentence is read: the number of fields it must have, and why it may tell nothing."""

    read: Callable[[Fields, _Setting], Values]
    least: int
    nothing: str = "empty fields"


_READINGS: dict[str, _Reading] = {
    "GGA": _Reading(_gga, 6, "no fix"),
    "GLL": _Reading(_gll, 6, "no fix"),
    "RMC": _Reading(_rmc, 9, "no fix"),
    "VTG": _Reading(_vtg, 6, "no fix"),
    "VHW": _Reading(_vhw, 6),
    "HDT": _Reading(_hdt, 2),
    "HDG": _Reading(_hdg, 5),
    "HDM": _Reading(_hdm, 2),
    "ROT": _Reading(_rot, 2),
    "DPT": _Reading(_dpt, 2),
    "DBT": _Reading(_dbt, 4),
    "XDR": _Reading(_xdr, 4, "no pitch or roll"),
    "ZDA": _Reading(_zda, 4),
}
_SOUNDER_SENTENCES = frozenset(SounderSentence)


def _observe(reading: _Reading, content: str, setting: _Setting) -> Observation:
    values = dict[str, Any]()
    for field, value in reading.read(Fields(content, reading.least), setting).items():
        if value is not None:
            check(field, value)
            # 360 becomes 0, be it sent or the rounded remainder of a tiny negative angle; minus zero becomes 0.
            values[field] = value % 360 if field in _ROUND else value + 0.0
    if not values:
        raise _Unused(reading.nothing)
    return Observation(vehicle=setting.vehicle, **values)


@lru_cache(maxsize=1024)
def _formatter(address: str) -> str | None:
    """Return the formatter of an address of talker and formatter, None of any other."""
    found = _ADDRESS.fullmatch(address)
    return found[1] if found else None


class NmeaDecoder(Decoder):
    """Decode the NMEA 0183 stream of one feed.

    `sounder`: what DPT or DBT tell, None where they are to be passed over. `sounder_sentence`: which of the two is
    read. `variation_deg`: magnetic variation, east positive, for headings that bring none. `limit`: the greatest
    length of a line, bytes. `vehicle`: of which vehicle every observation is said to be; None leaves that open. Any
    talker is taken. Raises ValueError for a variation or limit that cannot be.
    """

    def __init__(
        self,
        *,
        sounder: Sounder | None,
        sounder_sentence: SounderSentence,
        variation_deg: float | None,
        limit: int = 1024,
        vehicle: str | None = None,
    ) -> None:
        if variation_deg is not None and not -180 <= variation_deg <= 180:
            raise ValueError("variation_deg must lie between -180 and 180")
        self._setting = _Setting(sounder, sounder_sentence, variation_deg, vehicle)
        self._framer = Framer(limit)

    def receive(self, data: bytes) -> list[Event]:
        """Take the next bytes of the stream and return the events they complete."""
        return [self._judge(piece) for piece in self._framer.receive(data)]

    def end(self) -> list[Event]:
        """The stream or datagram ended: a last sentence needs no line end; the decoder is fresh afterwards."""
        return [self._judge(piece) for piece in self._framer.end()]

    @property
    def pending(self) -> bytes:
        """The bytes of the unfinished frame, never more than `limit`."""
        return self._framer.pending

    @property
    def at_rest(self) -> bool:
        """Whether no line has begun."""
        return self._framer.at_rest

    def _judge(self, piece: Piece) -> Event:
        if not isinstance(piece, Frame):
            return piece
        fault = frame_fault(piece)
        if fault is not None:
            return Rejected(piece.raw, fault)
        content = piece.content
        kind, why = self._sort(piece, content)
        if why is not None:
            return PassedOver(piece.raw, kind, why)
        try:
            return Accepted(piece.raw, kind, _observe(_READINGS[kind], content, self._setting))
        except _Unused as nothing:
            return PassedOver(piece.raw, kind, str(nothing))
        except Impossible as reason:
            return Rejected(piece.raw, str(reason))

    def _sort(self, frame: Frame, content: str) -> tuple[str, str | None]:
        """Return the kind of a good frame, and why it is not read, None if it is."""
        if not frame.sentence:
            return "tag block", "no sentence"
        if content.startswith("P"):
            return "proprietary", "proprietary sentence"
        kind = _formatter(content.partition(",")[0])
        if kind is None:
            return "other", "address is not talker and formatter"
        if frame.start == b"!":
            return kind, "encapsulated sentence"
        return kind, self._why_unread(kind)

    def _why_unread(self, kind: str) -> str | None:
        if kind not in _READINGS:
            return "sentence not used"
        if kind not in _SOUNDER_SENTENCES:
            return None
        if self._setting.sounder is None:
            return "sounder not assigned"
        return None if kind == self._setting.sounder_sentence else "not the sounder sentence"
