"""The programme as it is decided: which ones can be, and how coarsely the next dive is told."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core.decision import Programme, read_decision, write_decision
from relay.core.errors import OperatorError
from relay.core.programme import LINE_LIMIT, MOST_LINES, MOST_S, coarse_s, next_step_s

MINUTE, HOUR, DAY = 60, 3_600, 86_400
EXTRAS = st.sampled_from([0, 1, 300_000_000, 600_000_000, 600_000_001, 3_600_000_000, 86_400_000_000])


@pytest.mark.parametrize(
    ("left_s", "told_s"),
    [(0, 0), (599, 0), (600, 20 * MINUTE), (40 * MINUTE, 40 * MINUTE), (49 * MINUTE, 40 * MINUTE),
     (50 * MINUTE, HOUR), (2 * HOUR - 1, 2 * HOUR), (2 * HOUR + 29 * MINUTE, 2 * HOUR), (10_020, 3 * HOUR),
     (11 * HOUR + 30 * MINUTE, 12 * HOUR), (15 * HOUR - 1, 12 * HOUR), (15 * HOUR, 18 * HOUR),
     (47 * HOUR, 2 * DAY), (2 * DAY + 11 * HOUR, 2 * DAY), (MOST_S, MOST_S)],
)  # fmt: skip
def test_coarse_tells_the_steps_that_are_documented(left_s: int, told_s: int) -> None:
    """20 minutes, an hour from two on, six from twelve on, a day from two on, to the nearest."""
    assert coarse_s(left_s, extra_us=600_000_000) == told_s


@given(st.integers(0, MOST_S), EXTRAS)
def test_coarse_is_never_finer_than_twice_the_secret_addition(left_s: int, extra_us: int) -> None:
    """At least as many moments as twice the addition is wide are told alike, up to the widest step, a day."""
    told_s = coarse_s(left_s, extra_us)
    around = [coarse_s(max(0, left_s + by), extra_us) for by in (-1, 1)]
    assert told_s % min(DAY, max(20 * MINUTE, HOUR if extra_us > 600_000_000 else 0)) == 0
    assert abs(told_s - left_s) <= DAY
    assert all(abs(other - told_s) in (0, *(step for step in (20 * MINUTE, HOUR, 6 * HOUR, DAY))) for other in around)


@given(st.integers(0, MOST_S), st.integers(0, MOST_S), EXTRAS)
def test_coarse_never_grows_as_less_is_left(one_s: int, other_s: int, extra_us: int) -> None:
    """Who has less left is never told more."""
    least_s, most_s = sorted((one_s, other_s))
    assert coarse_s(least_s, extra_us) <= coarse_s(most_s, extra_us)


@given(st.integers(0, MOST_S), EXTRAS)
def test_next_step_is_where_what_is_told_changes(left_s: int, extra_us: int) -> None:
    """At the moment named the same is still told, just below it less; from "soon" there is no step."""
    told_s = coarse_s(left_s, extra_us)
    below_s = next_step_s(told_s, extra_us)
    if below_s is None:
        assert told_s == 0
    else:
        assert coarse_s(below_s, extra_us) == told_s > coarse_s(below_s - 1e-6, extra_us)


def test_programme_is_read_as_it_was_written() -> None:
    """Through the journal's row and back, with everything and with nothing."""
    for programme in (
        Programme(),
        Programme(pinned="the boiler", schedule=("the bow",) * MOST_LINES, next_dive_in_s=0),
    ):
        assert read_decision(write_decision(programme, "a test")) == programme


@pytest.mark.parametrize(
    ("given_", "why"),
    [('"pinned": 3', "pinned"), ('"pinned": ""', "empty"), ('"pinned": "a\\nb"', "control"),
     ('"schedule": "bow"', "list"), ('"schedule": [1]', "not text"), ('"schedule": [""]', "empty"),
     (f'"schedule": {["x"] * (MOST_LINES + 1)}'.replace("'", '"'), "at most 12"),
     (f'"schedule": ["{"x" * (LINE_LIMIT + 1)}"]', "longer"), ('"next_dive_in_s": -1', "whole seconds"),
     ('"next_dive_in_s": 1.5', "whole seconds"), ('"next_dive_in_s": true', "whole seconds"),
     (f'"next_dive_in_s": {MOST_S + 1}', "14 days"), ('"at": "14:30"', "has no at")],
)  # fmt: skip
def test_programme_of_nonsense_is_refused(given_: str, why: str) -> None:
    """Each fault by itself, in words."""
    with pytest.raises(OperatorError, match=why):
        read_decision(('{"do": "programme", ' + given_ + "}").encode())
