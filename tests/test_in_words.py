"""Spans, amounts and lengths in words: rounded as people say them, never a unit too small or too large."""

import pytest

from relay.core.in_words import area, metres, several, size, span, speed


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (-5, "0 s"),
        (0.4, "0 s"),
        (119.4, "119 s"),
        (120, "2 min"),
        (59 * 60 + 29, "59 min"),
        (59 * 60 + 31, "1 h"),
        (80 * 60, "1 h 20 min"),
        (5 * 3600 + 1_000, "5 h"),
        (47.4 * 3600, "47 h"),
        (48 * 3600, "2 days"),
        (12 * 86_400, "12 days"),
    ],
)
def test_span_is_told_in_the_unit_that_fits(seconds: float, said: str) -> None:
    """Seconds up to two minutes, minutes up to an hour, hours up to two days, then days."""
    assert span(seconds) == said


@pytest.mark.parametrize(
    ("count", "said"),
    [
        (0, "0 B"),
        (999, "999 B"),
        (999.6, "1 kB"),
        (1_234, "1.23 kB"),
        (12.5e6, "12.5 MB"),
        (999.9e6, "1 GB"),
        (3e12, "3 TB"),
    ],
)
def test_size_is_told_in_decimal_units(count: float, said: str) -> None:
    """A kilobyte is a thousand bytes (IEC 80000-13; from memory), and 999.9 of one unit are one of the next."""
    assert size(count) == said


@pytest.mark.parametrize(
    ("bits", "said"), [(850, "850 bit/s"), (9_600, "9.6 kbit/s"), (3e6, "3 Mbit/s"), (2e9, "2 Gbit/s")]
)
def test_speed_is_told_in_bits(bits: float, said: str) -> None:
    """Links are spoken of in bits a second."""
    assert speed(bits) == said


@pytest.mark.parametrize(
    ("length_m", "said"), [(30.4, "30 m"), (999.4, "999 m"), (999.6, "1 km"), (1_234.0, "1.23 km")]
)
def test_length_is_told_in_metres_up_to_a_kilometre(length_m: float, said: str) -> None:
    """Whole metres, then kilometres to three figures."""
    assert metres(length_m) == said


@pytest.mark.parametrize(
    ("square_m", "said"),
    [(0.0, "0 m²"), (2_551.2, "2,550 m²"), (99_900.0, "99,900 m²"), (1e5, "0.10 km²"), (1.234e7, "12.34 km²")],
)
def test_area_is_told_in_square_metres_where_it_is_small(square_m: float, said: str) -> None:
    """What a small swath has seen is no 0.00 km²."""
    assert area(square_m) == said


def test_several_are_told_as_a_list() -> None:
    """None, one, two and three."""
    assert [several(words) for words in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]
