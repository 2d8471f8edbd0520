"""The range of every value, at its limits and just past them."""

import math

import pytest

from relay.core.model import OBSERVATION_FIELDS
from relay.core.ranges import NOTE_LIMIT, RANGES, note_fault, out_of_range


@pytest.mark.parametrize("field", RANGES)
def test_range_holds_at_its_limits_and_not_past_them(field: str) -> None:
    """Both limits are in; the next number beyond either is out; what is no number is out."""
    low, high = RANGES[field]
    assert out_of_range(field, low) is None
    assert out_of_range(field, high) is None
    assert out_of_range(field, math.nextafter(low, -math.inf)) == f"{field} out of range"
    assert out_of_range(field, math.nextafter(high, math.inf)) == f"{field} out of range"
    for value in (math.nan, math.inf, -math.inf):
        assert out_of_range(field, value) == f"{field} is not a finite number"


def test_every_number_of_an_observation_has_a_range() -> None:
    """No field of a report goes unchecked for want of a range; deepest ocean and highest latitude are within."""
    assert set(RANGES) == set(OBSERVATION_FIELDS) - {"vehicle", "mode", "note"}
    assert out_of_range("depth_m", 10_935.0) is None  # the deepest sounding, about; from memory
    assert out_of_range("latitude_deg", 90.0) is None


def test_note_is_short_one_line_and_says_something() -> None:
    """At the limit it passes, past it it doesn't; control characters and blanks alone are refused."""
    assert note_fault("x" * NOTE_LIMIT) is None
    assert note_fault("x" * (NOTE_LIMIT + 1)) == "note too long"
    assert note_fault(" ") == "note is empty"
    assert note_fault("two\nlines") == "note has control characters"
    assert note_fault("ends\x9b") == "note has control characters"
    assert note_fault("Plätze, 沈船, 🚢") is None
