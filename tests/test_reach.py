"""Tether and forward sonar: distances by geographiclib, check values of the trade."""

import math
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic
from geographiclib.polygonarea import PolygonArea

from relay.core.errors import SurveyError
from relay.core.reach import FORWARD_SONAR_M, Tether, TetherWord, sonar_ring, tether_margin, within_ring

WGS84 = Geodesic.WGS84
FOOT_M = 0.3048  # the international foot, exact since 1959
PLACES = [(-30.1, -22.2), (0.0, 180.0), (12.0, -179.9999), (84.0, 179.9999), (-89.9, 45.0)]


def away(place: tuple[float, float], azimuth_deg: float, metres: float) -> tuple[float, float]:
    """Return the place that geographiclib has so far away."""
    there = WGS84.Direct(*place, azimuth_deg, metres)
    return there["lat2"], there["lon2"]


@pytest.mark.parametrize("ship", PLACES)
def test_tether_of_a_right_triangle(ship: tuple[float, float]) -> None:
    """600 m away (geographiclib) and 800 m deep are 1,000 m in a straight line (Euclid): nothing of 1,000 m is left."""
    found = tether_margin(ship, away(ship, 233.0, 600.0), 800.0, Tether(1_000.0))
    assert found.horizontal_m == pytest.approx(600.0, abs=1e-3)
    assert found.slant_m == pytest.approx(1_000.0, abs=1e-3)
    assert found.margin_m == pytest.approx(0.0, abs=1e-3)
    assert found.share == pytest.approx(1.0, abs=1e-6)


def test_tether_of_a_thousand_metres_is_three_thousand_three_hundred_feet() -> None:
    """Common practice, no source: to the hundred feet, as the trade says it; straight below it leaves nothing."""
    assert round(1_000.0 / FOOT_M, -2) == 3_300
    found = tether_margin(PLACES[0], PLACES[0], 3_300 * FOOT_M, Tether(1_000.0))
    assert found.margin_m == pytest.approx(0.0, abs=50 * FOOT_M)


@pytest.mark.parametrize(
    ("depth_m", "word"),
    [
        (900.0, TetherWord.WITHIN),
        (900.1, TetherWord.NEAR_END),
        (1_000.0, TetherWord.NEAR_END),
        (1_000.1, TetherWord.BEYOND),
        (0.0, TetherWord.WITHIN),
    ],
)
def test_tether_word_at_each_limit_and_past_it(depth_m: float, word: TetherWord) -> None:
    """At nine tenths nothing is said, past them it warns, past the whole length something is wrong."""
    found = tether_margin(PLACES[0], PLACES[0], depth_m, Tether(1_000.0, 0.9))
    assert (found.word, found.margin_m) == (word, pytest.approx(1_000.0 - depth_m))


def test_share_of_the_whole_tether_warns_of_nothing_but_beyond() -> None:
    """With a share of one there is no band between within and beyond."""
    words = [tether_margin(PLACES[0], PLACES[0], d, Tether(500.0, 1.0)).word for d in (500.0, 500.1)]
    assert words == [TetherWord.WITHIN, TetherWord.BEYOND]


@pytest.mark.parametrize(
    ("values", "said"),
    [((0.0,), "length_m"), ((math.nan,), "length_m"), ((100.0, 0.0), "share"), ((9.0, 1.1), "share")],
)
def test_tether_that_is_none_is_refused(values: tuple[Any, ...], said: str) -> None:
    """A length of nothing and a share beyond the whole are no tether."""
    with pytest.raises(SurveyError, match=said):
        Tether(*values)


@pytest.mark.parametrize(
    ("ship", "vehicle", "depth_m", "said"),
    [
        ((91.0, 0.0), (0.0, 0.0), 1.0, "ship's latitude_deg"),
        ((0.0, 0.0), (0.0, math.nan), 1.0, "vehicle's longitude_deg"),
        ((0.0, 0.0), (0.0, 0.0), 12_000.1, "vehicle's depth_m"),
        ((0.0, 0.0), (0.0, 0.0), math.nan, "vehicle's depth_m"),
    ],
)
def test_nonsense_is_refused(ship: Any, vehicle: Any, depth_m: float, said: str) -> None:
    """What is no place or depth gives no margin."""
    with pytest.raises(SurveyError, match=said):
        tether_margin(ship, vehicle, depth_m, Tether(1_000.0))


@pytest.mark.parametrize("vehicle", PLACES)
def test_ring_lies_as_far_everywhere(vehicle: tuple[float, float]) -> None:
    """Each point lies 60 m away, from north clockwise, and the area is the circle's (geographiclib)."""
    ring = sonar_ring(vehicle, points=360)
    for at, point in enumerate(ring):
        line = WGS84.Inverse(*vehicle, *point)
        assert line["s12"] == pytest.approx(60.0, abs=1e-4)
        assert (line["azi1"] - at + 180) % 360 - 180 == pytest.approx(0.0, abs=1e-3)
    polygon = PolygonArea(WGS84)
    for point in reversed(ring):
        polygon.AddPoint(*point)
    assert polygon.Compute()[2] == pytest.approx(math.pi * 60.0**2, rel=1e-3)
    assert len(sonar_ring(vehicle)) == 72


def test_ring_is_about_two_hundred_feet() -> None:
    """Common practice, no source: a forward sonar of about 200 ft."""
    assert pytest.approx(200 * FOOT_M, rel=0.02) == FORWARD_SONAR_M


@pytest.mark.parametrize("vehicle", PLACES)
@pytest.mark.parametrize(("metres", "inside"), [(0.0, True), (59.999, True), (60.001, False), (5_000.0, False)])
def test_target_at_the_ring_and_past_it(vehicle: tuple[float, float], metres: float, inside: bool) -> None:
    """A target a millimetre within the ring (geographiclib) is in it, one a millimetre beyond isn't."""
    assert within_ring(vehicle, away(vehicle, 301.0, metres)) is inside


def test_ring_that_is_none_is_refused() -> None:
    """Neither a radius of nothing nor two points make a ring."""
    for ask in (lambda: sonar_ring((0.0, 0.0), 0.0), lambda: within_ring((0.0, 0.0), (0.0, 0.0), math.nan)):
        with pytest.raises(SurveyError, match="radius_m"):
            ask()
    with pytest.raises(SurveyError, match="points"):
        sonar_ring((0.0, 0.0), points=2)
    with pytest.raises(SurveyError, match="target's latitude_deg"):
        within_ring((0.0, 0.0), (-91.0, 0.0))
