"""When an autonomous vehicle is overdue: limits, lost and disordered reports, moments that aren't of the same clock."""

import random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core.errors import SurveyError
from relay.core.overdue import Expectation, Lateness, Standing, alarm, newest

S = 1_000_000
DIVE = Expectation(begun_us=1_000 * S, return_us=8_200 * S, return_grace_us=600 * S, report_every_us=30 * S,
                   report_grace_us=120 * S)  # fmt: skip


@pytest.mark.parametrize(
    ("now_us", "standing", "late_us"),
    [
        (8_200 * S - 1, Standing.AWAITED, -1),
        (8_200 * S, Standing.DUE, 0),
        (8_800 * S, Standing.DUE, 600 * S),
        (8_800 * S + 1, Standing.OVERDUE, 600 * S + 1),
    ],
)
def test_return_at_each_limit_and_past_it(now_us: int, standing: Standing, late_us: int) -> None:
    """Due from the moment expected, overdue a microsecond past the grace, late by the time since it was expected."""
    found = alarm(DIVE, now_us, last_report_us=now_us)
    assert found.back == Lateness(standing, 8_200 * S, late_us)
    assert found.sounds is (standing is Standing.OVERDUE)


@pytest.mark.parametrize("last_s", [None, 400, 1_000, 5_000])
@pytest.mark.parametrize(
    ("after_us", "standing", "missing"),
    [
        (30 * S - 1, Standing.AWAITED, 0),
        (30 * S, Standing.DUE, 1),
        (150 * S, Standing.DUE, 5),
        (150 * S + 1, Standing.OVERDUE, 5),
        (180 * S, Standing.OVERDUE, 6),
    ],
)
def test_report_at_each_limit_and_past_it(last_s: int | None, after_us: int, standing: Standing, missing: int) -> None:
    """Counted from the newest report; before the first, and after one of an earlier dive, from the begin."""
    since_us = max(last_s or 0, 1_000) * S
    found = alarm(DIVE, since_us + after_us, None if last_s is None else last_s * S)
    assert found.report == Lateness(standing, since_us + 30 * S, after_us - 30 * S)
    assert found.missing_reports == missing
    assert found.sounds is (standing is Standing.OVERDUE)


@given(st.lists(st.integers(0, 10_000 * S), min_size=1), st.randoms(use_true_random=False))
def test_order_in_which_reports_are_handed_in_changes_nothing(receipts: list[int], dice: random.Random) -> None:
    """Shuffled and doubled, the newest receipt is the same, so the alarm is."""
    last_us = None
    for received_us in receipts:
        last_us = newest(last_us, received_us)
    shuffled_us = None
    for received_us in dice.sample(receipts * 2, len(receipts) * 2):
        shuffled_us = newest(shuffled_us, received_us)
    assert last_us == shuffled_us == max(receipts)


def test_lost_reports_within_the_grace_sound_no_alarm() -> None:
    """Of reports every 30 s two thirds get lost, and the grace of 120 s bears it; silence isn't borne."""
    last_us = None
    for at_us in range(DIVE.begun_us, 4_000 * S, S):
        if at_us % (90 * S) == 0:
            last_us = newest(last_us, at_us)
        assert not alarm(DIVE, at_us, last_us).sounds
    assert last_us is not None
    sounding = [us for us in range(4_000 * S, 4_400 * S, S) if alarm(DIVE, us, last_us).sounds]
    assert sounding[0] == last_us + 151 * S


def test_vehicle_that_is_back_is_not_overdue() -> None:
    """Once somebody says that it is back nothing sounds, however long ago return and report were expected."""
    found = alarm(DIVE, 20_000 * S, 1_100 * S, back_us=8_900 * S)
    assert found.report is not None
    assert (found.back.standing, found.report.standing, found.missing_reports) == (Standing.BACK, Standing.BACK, 0)
    assert not found.sounds
    assert alarm(DIVE, 20_000 * S, 1_100 * S, back_us=900 * S).sounds, "it was back before it went down: another dive"


def test_dive_without_reports_has_its_return_alone() -> None:
    """Where no reports are expected none is missing."""
    silent = Expectation(begun_us=0, return_us=100 * S, return_grace_us=0)
    found = alarm(silent, 100 * S + 1, None)
    assert (found.report, found.missing_reports, found.sounds) == (None, 0, True)


@pytest.mark.parametrize(
    ("now_us", "last_us", "back_us", "said"),
    [
        (999 * S, None, None, "begun_us"),
        (2_000 * S, 2_000 * S + 1, None, "last_report_us"),
        (2_000 * S, None, 2_000 * S + 1, "back_us"),
        (-1, None, None, "now_us"),
        (1.5e9, None, None, "now_us"),
    ],
)
def test_moment_of_another_clock_is_refused(now_us: Any, last_us: int | None, back_us: int | None, said: str) -> None:
    """A receipt later than now would put off the alarm: it can't be of the embargo clock."""
    with pytest.raises(SurveyError, match=said):
        alarm(DIVE, now_us, last_us, back_us)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"return_us": 5}, "isn't after"),
        ({"begun_us": -1}, "begun_us"),
        ({"return_grace_us": -1}, "return_grace_us"),
        ({"report_every_us": 0}, "report_every_us"),
        ({"report_grace_us": 0.5}, "report_grace_us"),
    ],
)
def test_expectation_that_is_none_is_refused(values: dict[str, Any], said: str) -> None:
    """A return before the begin, and intervals of nothing, are refused before the dive."""
    with pytest.raises(SurveyError, match=said):
        Expectation(**{"begun_us": 5, "return_us": 100, "return_grace_us": 0, **values})
