"""Headings against courses made good: true ones agree, magnetic ones differ by the declination."""

import math
from collections.abc import Callable

import pytest

from audited import journal
from dives import plan
from relay.audit.attacks.compass import CRAB_DEG, compass_of
from told_besides import lane, released, survey

DECLINATION_DEG = 16.0


def steered(change: Callable[[float], float], seconds: int = 6_000) -> list[dict[str, float]]:
    """Return a survey whose headings are told otherwise."""
    return [step | {"heading": change(step["heading"]) % 360} for step in survey(seconds)]


def test_magnetic_headings_differ_by_the_declination() -> None:
    """A feed that tells magnetic headings for true ones gives the declination away, through the secret turn."""
    dive = released(journal(steered(lambda heading: heading - DECLINATION_DEG), 4))["public"]
    compass = compass_of([dive])
    assert compass is not None
    assert compass.off_deg == pytest.approx(-DECLINATION_DEG, abs=3 * compass.error_deg)
    assert compass.off_deg == pytest.approx(-DECLINATION_DEG, abs=4.0)


def test_true_headings_agree() -> None:
    """Counter-test: with true headings the difference is within its error of nothing."""
    compass = compass_of([released(journal(survey(6_000), 4))["public"]])
    assert compass is not None and abs(compass.off_deg) < 3 * compass.error_deg
    assert compass.error_deg >= CRAB_DEG


def test_side_current_cancels_over_courses() -> None:
    """A steady current from the side pushes one way and the other: the mean over courses stays about nothing."""

    def into_the_current(course: float) -> float:
        return course + math.degrees(math.asin(0.35 * math.sin(math.radians(course - 40.0))))

    compass = compass_of([released(journal(steered(into_the_current), 4))["public"]])
    assert compass is not None and abs(compass.off_deg) < 3 * compass.error_deg


def test_few_runs_or_few_courses_say_nothing() -> None:
    """One lane has one course: its current can't be told from its compass."""
    assert compass_of([released(journal(survey(200), 4))["public"]]) is None
    assert compass_of([released(journal(lane(1_500, 30.0), 4), plan())["public"]]) is None
    assert compass_of([]) is None
