"""What the operator read off about a target, its form in the journal, and where the target lies by it.

Rules: exact, for the ship alone: no released record knows of a sighting (R1). The relay itself adds from where it was
seen, when it takes the decision, so that the row tells all that the position depends on and gives it again at any time.
"""

from dataclasses import asdict, dataclass, fields
from typing import Any

from relay.core.errors import SurveyError
from relay.core.target_position import Fix, Measured, RangeIs, Sighting, Target, target_position

FRESH_US = 30_000_000  # common practice, no source: an older fix or heading of a vehicle places nothing


@dataclass(frozen=True, slots=True)
class SeenFrom:
    """The vehicle's exact position and true heading when the target was seen."""

    latitude_deg: float
    longitude_deg: float
    heading_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighted:
    """A range and a bearing relative to the bow, with standard uncertainties; see `target_position.Sighting`.

    `place_sigma_m` and `heading_sigma_deg` are those of the vehicle. A slant range needs `depression_deg`.
    """

    bearing_deg: float
    range_m: float
    range_is: RangeIs
    bearing_sigma_deg: float
    range_sigma_m: float
    heading_sigma_deg: float
    place_sigma_m: float
    depression_deg: float | None = None
    depression_sigma_deg: float | None = None
    seen_from: SeenFrom | None = None


_NAMES = tuple(field.name for field in fields(Sighted))
_MAY_LACK = ("depression_deg", "depression_sigma_deg", "seen_from")
_FROM = tuple(field.name for field in fields(SeenFrom))
_MOST = 1e9
_ANYWHERE = SeenFrom(0.0, 0.0, 0.0)


def read_sighted(value: object) -> Sighted:
    """Return the sighting in a decision; SurveyError says what is wrong with it."""
    if isinstance(value, Sighted):
        return value
    known = _members(value, "sighting", _NAMES, _MAY_LACK)
    for name, item in known.items():
        if name not in ("range_is", "seen_from") and not (item is None and name in _MAY_LACK):
            known[name] = _number(name, item)
    if known["range_is"] not in list(RangeIs):
        raise SurveyError(f"range_is is {known['range_is']!r}: say slant or horizontal")
    known["range_is"] = RangeIs(known["range_is"])
    if known.get("seen_from") is not None:
        seen_from = _members(known["seen_from"], "seen_from", _FROM)
        known["seen_from"] = SeenFrom(**{name: _number(name, item) for name, item in seen_from.items()})
    sighted = Sighted(**known)
    if sighted.range_is is RangeIs.SLANT and sighted.depression_deg is None:
        raise SurveyError("a slant range needs depression_deg: give it, or a horizontal range")
    place_of(sighted, sighted.seen_from or _ANYWHERE)
    return sighted


def write_sighted(sighted: Sighted) -> dict[str, Any]:
    """Return a sighting as plain values."""
    return asdict(sighted) | {"range_is": str(sighted.range_is)}


def place_of(sighted: Sighted, seen_from: SeenFrom) -> Target:
    """Return where the target lies that was seen from there; SurveyError for a value that is none."""
    depression = None
    if sighted.depression_deg is not None:
        if sighted.depression_sigma_deg is None:
            raise SurveyError("depression_deg goes with depression_sigma_deg: give both")
        depression = Measured(sighted.depression_deg, sighted.depression_sigma_deg)
    fix = Fix(seen_from.latitude_deg, seen_from.longitude_deg, sighted.place_sigma_m)
    seen = Sighting(
        heading_deg=Measured(seen_from.heading_deg, sighted.heading_sigma_deg),
        bearing_deg=Measured(sighted.bearing_deg, sighted.bearing_sigma_deg),
        range_m=Measured(sighted.range_m, sighted.range_sigma_m),
        range_is=sighted.range_is,
        depression_deg=depression,
    )
    return target_position(fix, seen)


def _number(name: str, value: object) -> float:
    """Return a number as JSON may have it: not a truth value, and no whole number beyond all floats."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not -_MOST <= value <= _MOST:
        raise SurveyError(f"{name} is {str(value)[:20]!r}: give a finite number")
    return float(value)


def _members(value: object, what: str, names: tuple[str, ...], may_lack: tuple[str, ...] = ()) -> dict[str, Any]:
    """Return the members of a JSON object that has these names and no others."""
    if not isinstance(value, dict):
        raise SurveyError(f"{what} is a JSON object of {', '.join(names)}")
    if unknown := set(value) - set(names):
        raise SurveyError(f"{what} has no {', '.join(sorted(unknown))}; it takes {', '.join(names)}")
    if missing := [name for name in names if name not in may_lack and name not in value]:
        raise SurveyError(f"{what} lacks {', '.join(missing)}")
    return dict(value)
