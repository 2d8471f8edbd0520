"""The method page: what `offing audit --method` prints, to be read by those who answer for a wreck."""

from importlib.resources import files

import pytest
from pyproj import Geod

from relay.audit.attacks.chart_match import MOST
from relay.audit.charts.chart_grid import FARTHEST_NORTH_DEG
from relay.audit.matching.match import Errors
from relay.audit.matching.soundings_of import MOST_PARTS

PAGE = files("relay.shell").joinpath("templates/method.txt").read_text(encoding="utf-8")
FLAT = " ".join(PAGE.split())


@pytest.mark.parametrize(
    "told",
    [
        "84 % of them (m)",
        "up to 85 % of the hidden places",
        "Quantifying Location Privacy",
        "down to the resolution of their map",
        "to 0.001, 0.01, 0.1 or 1 degree",
        "is cited from memory",
        "93 to 97 of 100",
        "gives no number",
    ],
)
def test_page_tells_its_sources_and_when_it_gives_no_number(told: str) -> None:
    """Each source that the method rests on is on the page, and what was cited from memory says so."""
    assert told in FLAT


@pytest.mark.parametrize("heading", ["The question", "What he does", "Why you may believe it", "Limits", "Where it"])
def test_page_has_its_parts(heading: str) -> None:
    """Question, method, grounds for belief, limits and sources are headings of their own."""
    assert any(part.strip().startswith(heading) for part in PAGE.split("\n\n\n"))


def test_page_fits_a_terminal_of_80_columns() -> None:
    """It is printed as it stands, in letters that every terminal has."""
    assert PAGE.isascii()
    assert max(map(len, PAGE.splitlines())) < 80


def test_area_of_a_tenth_of_a_degree_is_what_the_page_says() -> None:
    """The square at 45 degrees has 87 km2 and a fraction, by a geodesic library."""
    corners = [0.0, 0.1, 0.1, 0.0], [44.95, 44.95, 45.05, 45.05]
    area_m2, _ = Geod(ellps="WGS84").polygon_area_perimeter(*corners)
    assert int(area_m2 / 1e6) == 87
    assert "87 km2 at 45 degrees" in FLAT


def test_limits_are_those_of_the_program() -> None:
    """How many soundings and parts count, how far off the water is taken to be, and where charts end are as coded."""
    assert f"the {MOST} soundings on the chart that tell most" in FLAT
    assert MOST_PARTS == 8 and "eight of them at most" in FLAT
    assert f"off by {Errors().common_m:g} m or so" in FLAT
    assert FARTHEST_NORTH_DEG == 89.5 and "within half a degree of a pole are left out" in FLAT


@pytest.mark.parametrize(
    "limit",
    [
        "no command lays them on a map of the sea",
        "a dive that is invented (three hours)",
        "each with an unknown depth of its own",
        "by this project's tests and not in your run",
        "That is tried for the chart match",
        "No preset makes one by itself",
    ],
)
def test_limits_that_who_answers_for_a_wreck_must_read_are_there(limit: str) -> None:
    """What the audit leaves out, simplifies or takes for granted stands on the page."""
    assert limit in FLAT
