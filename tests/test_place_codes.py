"""Positions as one code: made by other libraries from random positions, found here; names and serials are not."""

import random
import re

import mgrs
import pygeohash
import pytest
from pyproj import Transformer

from place_spellings import SETTINGS, Position, code_spellings, grid_spellings, random_positions
from relay.core import place_codes
from relay.core.place_codes import is_geohash
from relay.core.place_in_text import Notation, find_places

SEED = 20261126
POSITIONS = random_positions(60, SEED)


@pytest.mark.parametrize("position", POSITIONS[:40])
def test_codes_of_other_libraries_are_found(position: Position) -> None:
    """Codes by openlocationcode, maidenhead and pygeohash, geo URIs and ISO 6709 strings are named as such."""
    source = random.Random(SEED)
    for notation, code in code_spellings(position):
        text = source.choice(SETTINGS).format(code)
        assert notation in {finding.notation for finding in find_places(text)}, text


@pytest.mark.parametrize("position", POSITIONS)
def test_grid_references_of_other_libraries_are_found(position: Position) -> None:
    """UTM by utm and military grid references by mgrs are found in every spelling."""
    source = random.Random(SEED)
    for _, grid in grid_spellings(position):
        text = source.choice(SETTINGS).format(grid)
        assert find_places(text), text


@pytest.mark.parametrize("latitude_deg", [84.5, 87.0, 89.99, -80.5, -85.0, -89.99])
def test_polar_grid_references_are_found(latitude_deg: float) -> None:
    """Near the poles the military grid has no zone number, and is found all the same (mgrs)."""
    for longitude_deg in range(-175, 180, 10):
        code = mgrs.MGRS().toMGRS(latitude_deg, float(longitude_deg), MGRSPrecision=5).strip()
        assert find_places(f"at {code}"), code


@pytest.mark.parametrize(("length", "most_missed"), [(6, 0.06), (8, 0.015), (10, 0.004), (12, 0.003)])
def test_bare_geohashes_are_found(length: int, most_missed: float) -> None:
    """Standing alone, hashes of letters and digits are found but for those that look like a word with a number."""
    source = random.Random(SEED)
    hashes = [pygeohash.encode(source.uniform(-90, 90), source.uniform(-180, 180), length) for _ in range(1000)]
    mixed = [code for code in hashes if not code.isalpha() and not code.isdigit()]
    missed = [code for code in mixed if not find_places(code)]
    assert len(missed) <= most_missed * len(mixed)
    assert all(find_places(f"geohash {code}") for code in hashes[::10])


@pytest.mark.parametrize(
    "token",
    [
        *("2h15m30s", "20260714t1432z", "1080p60", "1920x1080", "3300ft", "1200rpm", "455khz", "0832utc", "wreck2"),
        *(
            "bucket12",
            "depth1142",
            "10degrees",
            "100feet",
            "20percent",
            "m12x48",
            "dsc04123",
            "sn1142",
            "2h15m",
            "strength1",
        ),
    ],
)
def test_names_times_and_units_are_no_geohashes(token: str) -> None:
    """Tokens of the same letters that are a unit, a time, a size or a name with a number pass."""
    assert not is_geohash(token)


@pytest.mark.parametrize(
    "text",
    [
        *("12 Oct 2026", "9 Jul 1912", "23 JAN 2017", "12 CTD 1142", "5 DEC 1998", "3 Mar 2026 14:32"),
        *("Part 33-UTP", "S/N 99380-42054", "serial AB12CD", "Serial numbers 299380 and 534205"),
    ],
)
def test_dates_and_serials_are_no_grid_references(text: str) -> None:
    """What a date or a serial number shares with a grid reference stops nothing."""
    assert find_places(text) == []


def test_published_examples_are_found() -> None:
    """The examples of RFC 5870 and of ISO 6709 annex H, both from memory, are named for what they are."""
    for text in ("geo:13.4125,103.8667", "geo:48.2010,16.3695,183", "geo:66,30;u=6.500;FOo=this%2dthat"):
        assert find_places(text)[0].notation is Notation.GEO_URI
    for text in ("+40-075CRSxxxx/", "+40.20361-075.00417CRSxxxx/", "+401213.1-0750015.1+2.79CRSxxxx/", "-33+018/"):
        assert find_places(text)[0].notation is Notation.ISO_6709


def test_every_repetition_is_bounded() -> None:
    """No pattern repeats without a bound, so the work per character has one."""
    sources = [pattern.pattern for _, pattern in place_codes._PATTERNS]
    assert len(sources) > 30
    for source in sources:
        bare = re.sub(r"\[(?:\\.|[^\]])*\]", "c", re.sub(r"\\[^\[\]]", "e", source))
        assert not re.search(r"[*+]|\{\d+,\}", bare), source


@pytest.mark.parametrize("position", POSITIONS)
def test_positions_as_instruments_count_them_are_found(position: Position) -> None:
    """Two whole numbers of 1e-7 degrees, minutes or milliseconds of arc, or metres of Web Mercator (pyproj)."""
    metres = Transformer.from_crs(4326, 3857, always_xy=True).transform(position.longitude_deg, position.latitude_deg)
    pairs = [(position.latitude_deg * scale, position.longitude_deg * scale) for scale in (1e7, 3.6e6, 6e5)] + [metres]
    for first, second in pairs:
        if min(abs(first), abs(second)) >= 1e6:
            assert find_places(f"sherd at {first:.0f}, {second:.0f} now")
            assert find_places(f"{first:.0f} {second:.0f}")
            assert not find_places(f"serial numbers {abs(first):.0f}, {abs(second):.0f}")
