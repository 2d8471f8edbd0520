"""The invented seabed is a believable one, and everything of the scenario lies on it."""

from math import hypot

from hypothesis import given
from hypothesis import strategies as st

from relay.shell.demo import seabed
from relay.shell.demo.seabed import (
    BOILERS,
    BOW,
    DEPTH_AT_PLACE_M,
    DRUM,
    LINE_BEARING_DEG,
    MOUNDS,
    OUTCROP,
    along_hull,
    on_plan,
    seabed_depth_m,
)

METRES = st.floats(-500.0, 500.0)


@given(METRES, METRES)
def test_seabed_lies_deeper_than_three_thousand_feet(east_m: float, north_m: float) -> None:
    """Within half a kilometre the depth is beyond 3,000 ft (0.3048 m each: the international foot, exactly)."""
    assert 3_000 * 0.3048 < seabed_depth_m(east_m, north_m) < DEPTH_AT_PLACE_M + 30.0


@given(st.floats(-400.0, 400.0), st.floats(-400.0, -100.0))
def test_seabed_slopes_gently_away_from_the_targets(east_m: float, north_m: float) -> None:
    """Over 100 m of bare mud the slope is at most 3 degrees or so (common practice, no source)."""
    rise_m = abs(seabed_depth_m(east_m, north_m) - seabed_depth_m(east_m, north_m - 100.0))
    assert rise_m / 100.0 < 0.05


def test_targets_stand_out_of_the_mud() -> None:
    """Outcrop, drum, boilers and bow rise above the ground 30 m away by about their heights."""
    for target, height_m in ((OUTCROP, 4.0), (DRUM, 1.2), (along_hull(0.0, 2.6), 3.4), (BOW, 5.2)):
        about = [seabed_depth_m(*target.plus(east, north)) for east, north in ((30, 0), (-30, 0), (0, 30), (0, -30))]
        assert height_m - 2.0 < sum(about) / 4 - seabed_depth_m(*target) < height_m + 2.0


def test_scour_is_a_hollow_beside_the_hull() -> None:
    """The mud beside the hull lies deeper than as far off on its other side, slope taken off."""
    beside, other = along_hull(8.0, 14.0), along_hull(8.0, -14.0)
    far_beside, far_other = along_hull(8.0, 45.0), along_hull(8.0, -45.0)
    slope = (seabed_depth_m(*far_beside) - seabed_depth_m(*far_other)) / 90.0
    assert seabed_depth_m(*beside) - seabed_depth_m(*other) - 28.0 * slope > 0.8


@given(METRES, METRES)
def test_seabed_is_the_same_whichever_mounds_are_looked_at(east_m: float, north_m: float) -> None:
    """Leaving out mounds that are too far away to matter never changes the depth."""
    near = seabed._mounds_about(round(east_m / seabed._SQUARE_M), round(north_m / seabed._SQUARE_M))
    reliefs = [sum(each.relief_m(east_m, north_m) for each in mounds) for mounds in (near, MOUNDS)]
    assert reliefs[0] == reliefs[1]


@given(METRES, METRES)
def test_plan_is_turned_not_stretched(along_m: float, across_m: float) -> None:
    """A point of the plan is as far from the place as its two distances say, and the lines run on their bearing."""
    point = on_plan(along_m, across_m)
    assert abs(hypot(*point) - hypot(along_m, across_m)) < 1e-9
    ahead = on_plan(along_m + 1.0, across_m)
    assert abs(point.metres_to(ahead) - 1.0) < 1e-9
    assert 0.0 < LINE_BEARING_DEG < 90.0
    assert ahead.east_m > point.east_m
    assert ahead.north_m > point.north_m


def test_boilers_lie_amid_the_hull() -> None:
    """The boilers are between the bow and the stern break, on one line."""
    assert abs(BOW.metres_to(along_hull(-24.0)) - BOW.metres_to(BOILERS) - BOILERS.metres_to(along_hull(-24.0))) < 1e-9
