"""What the file says of the survey arrives as it was written, for the ship alone."""

from pathlib import Path

import pytest

from expeditions import RIGHT, changed
from relay.core.reach import Tether
from relay.core.survey_plan import NO_SURVEY, Gear, SurveyPlan
from relay.core.swath import Swath
from relay.shell.plan.expedition import Expedition, parse_expedition
from survey_settings import SQUARE, gear, planned

FOOT_M = 0.3048  # the international foot, exact since 1959


def read(text: str) -> Expedition:
    """Return an expedition as it is read."""
    return parse_expedition(text, Path("EXPEDITION.toml"))


def test_survey_is_read_in_metres_vehicle_by_vehicle() -> None:
    """Tether, swath and gap of the first vehicle, nothing of the second, and the corners of the plan."""
    text = changed(*gear('tether = "1000 m"\nswath = "1 km"\nnadir_gap = "50 m"'))
    survey = read(text.replace("[dive]", f"[survey]\n{SQUARE}\n\n[dive]")).survey
    assert survey.gear == (Gear(Tether(1_000.0), Swath(1_000.0, 50.0)), Gear())
    assert survey.corners == ((-30.0, -22.0), (-30.0, -21.9), (-30.1, -21.9), (-30.1, -22.0))
    assert survey.of(0).tether == Tether(1_000.0)
    assert NO_SURVEY.of(3) == Gear()


def test_tether_in_feet_is_that_of_the_trade() -> None:
    """1,000 m are spoken of as 3,300 ft (common practice, no source): within 1 %."""
    tether = read(changed(*gear('tether = "3300 ft"'))).survey.of(0).tether
    assert tether is not None
    assert tether.length_m == pytest.approx(3_300 * FOOT_M)
    assert tether.length_m == pytest.approx(1_000.0, rel=0.01)


def test_survey_leaves_all_that_is_released_as_it_was() -> None:
    """The plan that decides about released bytes, and the swath that followers' area goes by, don't know of it."""
    plain = read(RIGHT)
    text = changed(*gear('tether = "1000 m"\nswath = "1 km"\nnadir_gap = "50 m"'))
    with_survey = read(text.replace("[dive]", f"[survey]\n{SQUARE}\n\n[dive]"))
    assert with_survey.plan == plain.plan
    assert with_survey.plan.swath_m is None
    assert plain.survey == SurveyPlan((Gear(), Gear()))


def test_planned_area_alone_is_enough() -> None:
    """Who has no side-scan may still want to see the plan drawn."""
    assert read(changed(*planned(SQUARE))).survey.corners is not None
