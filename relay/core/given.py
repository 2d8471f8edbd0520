"""Values that are given to the survey's arithmetic: each is a finite number in its range, or is refused with a reason.

Rules: a value that is no number never becomes a result; the message names the value, whose it is, and what is right.
"""

from math import inf, isfinite

from relay.core.errors import SurveyError
from relay.core.ranges import RANGES

Position = tuple[float, float]


def number(name: str, value: float, low: float = -inf, high: float = inf) -> float:
    """Return `value` if it is a finite number from `low` to `high`, both included; raise SurveyError otherwise."""
    if not _is(value, (float, int)) or not isfinite(value):
        raise SurveyError(f"{name} is {value!r}: give a finite number")
    if not low <= value <= high:
        raise SurveyError(f"{name} is {value:g}: give a number {_span(low, high)}")
    return value


def positive(name: str, value: float, high: float = inf) -> float:
    """Return `value` if it is a finite number greater than zero and at most `high`; raise SurveyError otherwise."""
    if number(name, value, high=high) <= 0.0:
        raise SurveyError(f"{name} is {value:g}: give a number greater than 0")
    return value


def field(name: str, value: float, whose: str = "") -> float:
    """Return `value` if a report could hold it as its field `name` (see `ranges`); raise SurveyError otherwise."""
    return number(f"{whose} {name}".strip(), value, *RANGES[name])


def position(whose: str, latitude_deg: float, longitude_deg: float) -> Position:
    """Return (latitude_deg, longitude_deg) if it is a place on the Earth; `whose` names it in the SurveyError."""
    return field("latitude_deg", latitude_deg, whose), field("longitude_deg", longitude_deg, whose)


def moment(name: str, value_us: int) -> int:
    """Return a moment or duration in whole microseconds of the embargo clock; raise SurveyError if it is none."""
    if not _is(value_us, int) or value_us < 0:
        raise SurveyError(f"{name} is {value_us!r}: give whole microseconds of the embargo clock, 0 or more")
    return value_us


def _is(value: object, kind: type | tuple[type, ...]) -> bool:
    return isinstance(value, kind) and not isinstance(value, bool)


def _span(low: float, high: float) -> str:
    if high == inf:
        return f"of at least {low:g}"
    return f"of at most {high:g}" if low == -inf else f"from {low:g} to {high:g}"
