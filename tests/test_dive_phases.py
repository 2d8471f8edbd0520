"""Legs of a dive and its begin and end, as tables and limits."""

import pytest

from relay.core.dive_phases import DiveWatch, LegWatch
from relay.core.fuse import Fuse, Stamped
from relay.core.model import Observation
from relay.core.policy import DiveLimits, Leg, LegLimits

SECOND = 1_000_000


def legs(*steps: tuple[float | None, float | None], every_s: int = 15) -> list[str]:
    """Return the legs a vehicle is in at a sequence of depths and altitudes."""
    watch = LegWatch(LegLimits())
    return [str(watch.judge(depth, altitude, at * every_s * SECOND)) for at, (depth, altitude) in enumerate(steps)]


def test_legs_of_a_whole_dive_in_order() -> None:
    """Deck, descent, bottom, ascent, deck."""
    seen = legs(
        (0.2, None),
        (4.0, None),
        (500.0, None),
        (1_110.0, 14.0),
        (1_120.0, 3.0),
        (1_070.0, 55.0),
        (20.0, None),
        (1.0, None),
    )
    assert seen == ["deck", "descent", "descent", "bottom", "bottom", "ascent", "ascent", "deck"]


@pytest.mark.parametrize(
    ("steps", "last"),
    [
        ([(3.0, None)], "deck"),
        ([(3.01, None)], "descent"),
        ([(10.0, None), (1.5, None)], "descent"),
        ([(10.0, None), (1.49, None)], "deck"),
        ([(10.0, 15.0)], "descent"),
        ([(10.0, 15.0), (10.0, 15.0)], "bottom"),
        ([(10.0, 15.1), (10.0, 15.1)], "descent"),
        ([(100.0, 5.0), (100.0, 5.0), (90.0, 40.0)], "bottom"),
        ([(100.0, 5.0), (100.0, 5.0), (90.0, 40.1)], "ascent"),
        ([(100.0, 5.0), (100.0, 5.0), (60.0, None)], "bottom"),
        ([(100.0, 5.0), (100.0, 5.0), (59.9, None)], "ascent"),
        ([(100.0, 5.0), (100.0, 5.0), (59.9, None), (95.0, 10.0)], "bottom"),
    ],
)
def test_leg_limits_at_them_and_past_them(steps: list[tuple[float, float | None]], last: str) -> None:
    """Each border holds at its limit and gives way just past it."""
    assert legs(*steps)[-1] == last


def test_leg_bottom_without_an_altitude_is_a_level_depth() -> None:
    """Three minutes within 5 m are the bottom when no altimeter says otherwise; a slow descent isn't."""
    assert legs((50.0, None), *[(900.0, None)] * 13)[-2:] == ["descent", "bottom"]
    assert set(legs(*[(10.0 + 6.0 * at, None) for at in range(100)])[1:]) == {"descent"}


def test_leg_is_kept_while_the_depth_is_unknown() -> None:
    """Silence changes no leg."""
    assert legs((50.0, None), (None, None), (None, None)) == ["descent"] * 3


def heard(*reports: tuple[int, float]) -> Fuse:
    """Return a fuse of one vehicle that reported depths at seconds."""
    fuse = Fuse(1)
    for second, depth in reports:
        fuse.take(Stamped(second * SECOND, 1, 0, Observation(depth_m=depth)))
    return fuse


def test_dive_begins_with_the_first_report_or_below_a_depth() -> None:
    """Both ways of beginning, at the limit and past it."""
    assert not DiveWatch(DiveLimits()).begins(Fuse(1), 0)
    assert DiveWatch(DiveLimits()).begins(heard((0, 0.0)), 0)
    by_depth = DiveWatch(DiveLimits(begin_depth_m=5.0))
    assert not by_depth.begins(heard((0, 5.0)), 0)
    assert by_depth.begins(heard((0, 5.01)), 0)


def test_dive_ends_after_quiet_or_at_the_surface() -> None:
    """Quiet for the limit ends it, a second less doesn't; surfaced for the limit ends one that began by depth."""
    watch = DiveWatch(DiveLimits(quiet_us=600 * SECOND))
    assert not watch.ends(heard((0, 9.0)), 599 * SECOND)
    assert watch.ends(heard((0, 9.0)), 600 * SECOND)
    watch = DiveWatch(DiveLimits(begin_depth_m=5.0, surfaced_us=60 * SECOND))
    assert not watch.ends(heard((0, 2.5)), 0)
    assert not watch.ends(heard((59, 2.5)), 59 * SECOND)
    assert watch.ends(heard((60, 2.5)), 60 * SECOND)


def test_dive_goes_on_when_a_vehicle_dips_again() -> None:
    """Time at the surface counts anew after every dip."""
    watch = DiveWatch(DiveLimits(begin_depth_m=5.0, surfaced_us=60 * SECOND))
    assert not watch.ends(heard((0, 1.0)), 0)
    assert not watch.ends(heard((30, 2.6)), 30 * SECOND)
    assert not watch.ends(heard((61, 1.0)), 61 * SECOND)


def test_leg_words_are_the_four_of_the_trade() -> None:
    """Common practice, no source."""
    assert [str(leg) for leg in Leg] == ["deck", "descent", "bottom", "ascent"]
