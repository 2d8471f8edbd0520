"""Coarse values with hysteresis."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core.quantise import SLACK, Step, plain


@given(st.floats(-1e5, 1e5), st.sampled_from([0.5, 1.0, 10.0, 25.0]))
def test_step_rounds_to_a_multiple_within_its_reach(value: float, size: float) -> None:
    """A fresh step gives a multiple of its size at most half a step away."""
    shown = Step(size).quantise(value)
    assert math.isclose(shown / size, round(shown / size), abs_tol=1e-9)
    assert abs(shown - value) <= size / 2 + 1e-6


@given(st.lists(st.floats(-500, 500), min_size=1, max_size=60))
def test_step_with_hysteresis_never_strays_and_never_flutters(values: list[float]) -> None:
    """What is shown stays within the slackened half step, and changes only when the value is past it."""
    step, before = Step(10.0), None
    for value in values:
        shown = step.quantise(value)
        assert abs(shown - value) <= 10.0 * (0.5 + SLACK) + 1e-9
        if before is not None and abs(value - before) <= 10.0 * (0.5 + SLACK):
            assert shown == before
        before = shown


def test_step_at_its_edge_and_past_it() -> None:
    """At 7.5 of 10 the last step is held, just past it the next one is shown."""
    step = Step(10.0)
    assert step.quantise(0.0) == 0.0
    assert step.quantise(7.5) == 0.0
    assert step.quantise(7.500001) == 10.0
    assert step.quantise(2.6) == 10.0
    assert step.quantise(2.4) == 0.0


def test_step_of_a_circle_crosses_north_without_a_jump() -> None:
    """A heading that wavers about north is shown as one step, and 360 is shown as 0."""
    step = Step(22.5, period=360.0)
    assert [step.quantise(value) for value in (359.0, 1.0, 350.0, 10.0, 359.9)] == [0.0] * 5
    assert step.quantise(20.0) == 22.5


def test_step_of_no_size_is_refused() -> None:
    """A step is greater than zero: nothing else rounds."""
    for size in (0.0, -1.0):
        with pytest.raises(ValueError, match="greater than zero"):
            Step(size)


def test_plain_numbers_are_whole_where_they_can_be() -> None:
    """Whole values are ints, others lose the dust of binary fractions."""
    assert [plain(value) for value in (25.0, -0.0, 3 * 0.1, 12.5)] == [25, 0, 0.3, 12.5]
    assert isinstance(plain(25.0), int)
