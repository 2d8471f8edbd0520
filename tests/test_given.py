"""Values given to the survey's arithmetic: at their limits, past them, and what is no number at all."""

import math
from typing import Any

import pytest

from relay.core import given
from relay.core.errors import SurveyError


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, True, "12", None])
def test_what_is_no_finite_number_is_refused(value: Any) -> None:
    """Neither NaN nor an infinity, nor a word, becomes a result; the message says which value it was."""
    with pytest.raises(SurveyError, match=r"width_m is .*: give a finite number"):
        given.number("width_m", value)


@pytest.mark.parametrize(
    ("value", "low", "high", "right"),
    [
        (-0.1, 0.0, math.inf, "of at least 0"),
        (0.6, -math.inf, 0.5, "of at most 0.5"),
        (90.001, -90.0, 90.0, "from -90 to 90"),
    ],
)
def test_number_out_of_its_range_is_refused_with_the_range(value: float, low: float, high: float, right: str) -> None:
    """One past the limit is refused, and the message says what is right; the limits themselves are taken."""
    with pytest.raises(SurveyError, match=f"x is {value}: give a number {right}"):
        given.number("x", value, low, high)
    for limit in (low, high):
        assert math.isinf(limit) or given.number("x", limit, low, high) == limit


def test_zero_is_not_positive() -> None:
    """What divides, or is a length, is more than nothing."""
    with pytest.raises(SurveyError, match="greater than 0"):
        given.positive("x", 0.0)
    assert given.positive("x", 5e-324) > 0


def test_place_at_the_ends_of_the_ranges() -> None:
    """Poles and antimeridian are places, beyond them is nothing; the message says whose it was."""
    for place in [(90.0, 180.0), (-90.0, -180.0), (0, 0)]:
        assert given.position("ship's", *place) == place
    with pytest.raises(SurveyError, match="ship's latitude_deg"):
        given.position("ship's", 90.1, 0.0)
    with pytest.raises(SurveyError, match="ship's longitude_deg"):
        given.position("ship's", 0.0, 180.1)


@pytest.mark.parametrize("value", [-1, 1.0, True, None])
def test_moment_is_whole_microseconds(value: Any) -> None:
    """A moment of the embargo clock is a whole number of microseconds since the journal began."""
    with pytest.raises(SurveyError, match="whole microseconds"):
        given.moment("now_us", value)
    assert given.moment("now_us", 0) == 0
