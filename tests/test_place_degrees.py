"""Degrees, minutes and seconds: random positions, every spelling, every digit."""

import random
import sys
import unicodedata
from collections.abc import Iterable

import pytest
from geographiclib.geodesic import Geodesic

from place_spellings import (
    SETTINGS,
    Position,
    degree_spellings,
    labelled_spellings,
    random_positions,
    signed_spellings,
    transformations,
)
from relay.core.place_in_text import find_places

SEED = 20261125
POSITIONS = random_positions(8, SEED)


def missed(spellings: Iterable[tuple[object, str]], source: random.Random) -> list[tuple[object, str]]:
    """Return the spellings that get through, each put into a random sentence."""
    told = [(what, source.choice(SETTINGS).format(text)) for what, text in spellings]
    assert told
    return [(what, text) for what, text in told if not find_places(text)]


@pytest.mark.parametrize("position", POSITIONS)
def test_degrees_with_hemispheres_are_found(position: Position) -> None:
    """576 spellings of each position, with marks, hemispheres, separators and decimals of all kinds, are found."""
    source = random.Random(SEED)
    assert [] == missed(degree_spellings(position, source), source)


@pytest.mark.parametrize("position", POSITIONS)
def test_signed_pairs_are_found(position: Position) -> None:
    """Pairs without hemispheres are found, latitude or longitude first."""
    source = random.Random(SEED)
    assert [] == missed(signed_spellings(position, source), source)


@pytest.mark.parametrize("position", POSITIONS)
def test_labelled_numbers_are_found(position: Position) -> None:
    """Numbers called latitude or longitude are found, whole ones too."""
    source = random.Random(SEED)
    assert [] == missed(labelled_spellings(position, source), source)


@pytest.mark.parametrize("change", sorted(transformations(random.Random(SEED))))
def test_other_characters_hide_nothing(change: str) -> None:
    """Digits of other scripts, zero-width characters, look-alike letters and strokes through them hide nothing."""
    source = random.Random(SEED)
    write = transformations(source)[change]
    spellings = [each for position in POSITIONS for each in source.sample([*degree_spellings(position, source)], 20)]
    assert [] == missed([(what, write(text)) for what, text in spellings], source)


def test_digits_of_every_script_are_read() -> None:
    """Every decimal digit of the Unicode character database (the standard library's) reads as its value."""
    digits: dict[int, list[str]] = {value: [] for value in range(10)}
    for code in range(sys.maxunicode + 1):
        value = unicodedata.decimal(chr(code), None)
        if value is not None:
            digits[int(value)].append(chr(code))
    assert len(digits[0]) > 50
    for zero in digits[0]:
        assert find_places(f"{chr(ord(zero) + 4)}{chr(ord(zero) + 8)}.{chr(ord(zero) + 1)}{chr(ord(zero) + 2)} N"), zero


def test_points_along_a_line_are_found() -> None:
    """Every point of a geodesic round the globe (geographiclib), close by the poles too, is found."""
    line = Geodesic.WGS84.Line(-89.5, 10.0, 7.0)
    for step in range(400):
        point = line.Position(step * 100_000.0)
        assert find_places(f"{point['lat2']:.4f}, {point['lon2']:.4f}")
        assert find_places(f"{abs(point['lat2']):.3f} {'NS'[point['lat2'] < 0]}")


@pytest.mark.parametrize(
    "text",
    ["90 00.0 N", "90.0 S", "180 00.0 W", "180.0 E", "0 0.0 N", "00.00 S", "89 59.999 N", "90.0000, 180.0000"],
)
def test_limits_of_the_globe_are_positions(text: str) -> None:
    """The poles, the equator and the antimeridian are places."""
    assert find_places(text)


@pytest.mark.parametrize("text", ["91 00.1 N", "48 60.0 x", "200.1234, 300.5678", "91.1234, 181.1234"])
def test_numbers_off_the_globe_are_no_positions(text: str) -> None:
    """One past each limit is not a place."""
    assert not [finding for finding in find_places(text) if finding.start == 0 and finding.end == len(text)]


@pytest.mark.parametrize("position", random_positions(40, SEED))
def test_one_axis_as_fine_as_a_screen_shows_it_is_found(position: Position) -> None:
    """Half a position, five decimals and more, in the middle of a sentence; as a measurement, named so, it passes."""
    for value in (position.latitude_deg, position.longitude_deg):
        for decimals in (5, 7, 12):
            assert find_places(f"sherd at {value:.{decimals}f} now")
            assert not find_places(f"conductivity {abs(value):.{decimals}f} now")
            assert not find_places(f"density {abs(value):.{decimals}f} kg per litre")
