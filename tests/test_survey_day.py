"""The survey from reports as they come: what counts as a line, what doesn't, and what is kept over a restart."""

import random

import pytest

from relay.core.errors import SurveyError
from relay.core.survey import TrackPoint
from relay.core.survey_day import SurveyDay
from relay.core.survey_plan import Gear, SurveyPlan
from relay.core.swath import Swath
from test_swath import at_metres

SECOND = 1_000_000
GEAR = Gear(swath=Swath(1_000.0))
Metres = tuple[float, float]


def reported(
    day: SurveyDay, metres: list[Metres], depths: list[float | None], begin_s: int = 0, vehicle: int = 0
) -> None:
    """Report places in metres, one every 5 s, each with its depth."""
    for at, (place, depth_m) in enumerate(zip(metres, depths, strict=True)):
        day.take(vehicle, TrackPoint((begin_s + 5 * at) * SECOND, *at_metres(*place), None, depth_m))


def east(metres: float, step: float = 7.0) -> list[Metres]:
    """Return places along a line to the east."""
    return [(at * step, 0.0) for at in range(round(metres / step) + 1)]


def test_line_counts_its_kilometres_and_ground() -> None:
    """A line of 5,600 m with a swath of 1,000 m, at depth and level: 5.6 km² (common practice, no source)."""
    day = SurveyDay(SurveyPlan((GEAR,)), ["Lantern"])
    reported(day, east(5_600), [900.0] * 801)
    day.show()
    day.work()
    assert day.done[0].line_m == pytest.approx(5_600, abs=15)
    assert day.done[0].covered is not None
    assert day.done[0].covered.area_m2 == pytest.approx(5.6e6, rel=1e-3)


def test_vehicle_that_stays_where_it_is_runs_no_line() -> None:
    """An hour in one place, its fixes scattered by 2 m each way, is not a hundred metres."""
    dice = random.Random(2)
    day = SurveyDay(SurveyPlan((GEAR,)), ["Lantern"])
    reported(day, [(dice.gauss(0, 2), dice.gauss(0, 2)) for _ in range(720)], [900.0] * 720)
    assert day.done[0].line_m < 100.0


def test_descent_surface_and_deck_are_no_lines() -> None:
    """Drifting while it goes down or up, and moving at the surface, a vehicle surveys nothing; the bottom counts."""
    day = SurveyDay(SurveyPlan((GEAR,)), ["Lantern"])
    places = east(1_400)
    reported(day, places, [2.9] * 201)
    reported(day, places, [10.0 + 5 * at for at in range(201)], begin_s=2_000)
    reported(day, places, [1_010.0 - 5 * at for at in range(201)], begin_s=4_000)
    day.work()
    assert day.done[0].line_m == 0.0
    assert day.done[0].covered is None
    reported(day, places, [900.0 + 0.3 * at for at in range(201)], begin_s=6_000)
    assert day.done[0].line_m == pytest.approx(1_400, abs=15)


def test_vehicle_that_tells_no_depth_counts_everywhere() -> None:
    """Nothing is known that would keep a line from counting."""
    day = SurveyDay(SurveyPlan((GEAR,)), ["Lantern"])
    reported(day, east(700), [None] * 101)
    assert day.done[0].line_m == pytest.approx(700, abs=15)


def test_share_of_the_plan_is_that_of_all_vehicles() -> None:
    """Each does half of a plan of 2,000 by 1,000 m: both are told that it is done."""
    corners = tuple(at_metres(*corner) for corner in ((0, -500), (2_100, -500), (2_100, 500), (0, 500)))
    day = SurveyDay(SurveyPlan((GEAR, GEAR, Gear()), corners), ["Lantern", "Moth", "Wren"])
    reported(day, east(1_050), [900.0] * 151)
    reported(day, [(2_100 - x, y) for x, y in east(1_050)], [900.0] * 151, vehicle=1)
    reported(day, east(1_050), [900.0] * 151, vehicle=2)
    day.work()
    for done in day.done[:2]:
        assert done.covered is not None
        assert done.covered.planned_percent == pytest.approx(100.0, abs=1.5)
        assert done.covered.area_m2 == pytest.approx(1.05e6, rel=0.02)
    assert day.done[2].covered is None
    assert day.done[2].line_m == pytest.approx(1_050, abs=15)


def test_legs_too_far_from_the_plan_are_told_and_not_counted() -> None:
    """What lies more than 100 km off is no ground of this survey, and stops nothing."""
    corners = tuple(at_metres(*corner) for corner in ((0, 0), (1_000, 0), (0, 1_000)))
    day = SurveyDay(SurveyPlan((GEAR,), corners), ["Lantern"])
    reported(day, [(x + 150_000, y) for x, y in east(700)], [900.0] * 101)
    day.work()
    assert day.done[0].too_far > 40
    assert day.done[0].covered is None or day.done[0].covered.area_m2 == 0.0


def test_survey_goes_on_after_a_restart_by_the_names_of_vehicles() -> None:
    """Kilometres and ground come back, though the file has the vehicles in another order; what is gone is left out."""
    day = SurveyDay(SurveyPlan((GEAR, GEAR)), ["Lantern", "Moth"])
    reported(day, east(1_400), [900.0] * 201)
    day.work()
    again = SurveyDay(SurveyPlan((GEAR, GEAR)), ["Wren", "Lantern"])
    again.restore(day.saved())
    assert again.done[1].line_m == day.done[0].line_m
    assert again.done[1].covered is not None
    assert day.done[0].covered is not None
    assert again.done[1].covered.area_m2 == pytest.approx(day.done[0].covered.area_m2, rel=1e-9)
    assert (again.done[0].line_m, again.done[0].covered) == (0.0, None)
    reported(again, [(x, 2_000.0) for x, _ in east(1_400)], [900.0] * 201, begin_s=9_000, vehicle=1)
    again.work()
    assert again.done[1].covered.area_m2 == pytest.approx(2.8e6, rel=0.02)


def test_ground_far_from_a_new_plan_is_refused() -> None:
    """Whoever plans another site and keeps the folder is told by an error, and nothing is mixed."""
    day = SurveyDay(SurveyPlan((GEAR,)), ["Lantern"])
    reported(day, east(1_400), [900.0] * 201)
    day.work()
    elsewhere = SurveyPlan((GEAR,), ((-10.0, -22.0), (-10.0, -21.9), (-10.1, -22.0)))
    with pytest.raises(SurveyError, match="from the origin"):
        SurveyDay(elsewhere, ["Lantern"]).restore(day.saved())
    with pytest.raises(SurveyError, match="can't be read"):
        SurveyDay(elsewhere, ["Lantern"]).restore({"origin": None})
