"""Positions read out of texts, against general-purpose libraries.

Texts are written by `utm`, `mgrs`, `openlocationcode`, `pygeohash`, `maidenhead` and `pyproj` (by way of
`place_spellings` and `canary_spellings`), distances are geographiclib's: the reader uses nothing of them but PROJ.
"""

import random

import pytest

from audited import apart, chart_about
from canary_spellings import whole_positions
from place_spellings import Position, degree_spellings, grid_spellings, random_positions, signed_spellings
from relay.audit.attacks.told_places import places_in

PLACES = random_positions(3, 7)
# Too coarse for the reader to choose by, or half a position: 577604mE alone, a zone alone.
HALF = ("mE", "UTM zone")


def chart_near(place: Position) -> object:
    """Return a chart of a degree about somewhere near a place, so that the chart's middle tells nothing."""
    return chart_about((place.latitude_deg + 0.1, place.longitude_deg - 0.13), cells=61, step_deg=1 / 60)


def missed(place: Position, text: str) -> bool:
    """Say if no reading of a text is as near to the place as it claims, within its last figure and 20 m."""
    there = place.latitude_deg, place.longitude_deg
    readings = places_in(text, chart_near(place))  # type: ignore[arg-type]
    return not any(apart(reading[:2], there) <= 20 + 1.5 * reading.within_m for reading in readings)


@pytest.mark.parametrize("place", PLACES, ids=str)
def test_degrees_in_every_spelling_are_read(place: Position) -> None:
    """Whatever the marks, hemispheres, order and joints: 98 of 100 pairs of angles lead to the place."""
    source = random.Random(3)
    written = [text for what, text in degree_spellings(place, source) if "alone" not in what]
    written += [text for _, text in signed_spellings(place, source)]
    lost = [text for text in written if missed(place, text)]
    assert len(written) > 300 and len(lost) <= 0.02 * len(written), lost


@pytest.mark.parametrize("place", PLACES, ids=str)
def test_codes_grids_and_counted_degrees_are_read(place: Position) -> None:
    """What libraries write as one code or as metres, in whole numbers or radians, leads to the place."""
    told = whole_positions((place.latitude_deg, place.longitude_deg))
    lost = {what: text for what, texts in told.items() for text in texts if missed(place, text)}
    assert len(told) > 30 and lost == {}


@pytest.mark.parametrize("place", PLACES, ids=str)
def test_grid_references_are_read_in_every_form(place: Position) -> None:
    """UTM and military references of the libraries `utm` and `mgrs` lead to the place."""
    forms = [text for _, text in grid_spellings(place) if not text.endswith(HALF[0]) and HALF[1] not in text]
    assert [text for text in forms if missed(place, text)] == []


def test_coarse_words_claim_no_more_than_they_say() -> None:
    """A tenth of a degree is read as a tenth of a degree."""
    (reading, *_) = places_in("48.6 N 123.5 W", chart_about((48.55, -123.45), cells=61, step_deg=1 / 60))
    assert 5_000 < reading.within_m < 6_000


def test_dive_talk_is_no_place() -> None:
    """Depths, headings and dimensions lead nowhere."""
    chart = chart_about((48.55, -123.45), cells=61, step_deg=1 / 60)
    for text in ("Depth 1,142 m, heading 245.", "The plate measures 0.42 x 0.31 m.", "48 bottles, 123 coins", ""):
        assert places_in(text, chart) == []
