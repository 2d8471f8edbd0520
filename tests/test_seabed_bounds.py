"""What a tick says of the seabed: never more than is true, and no less than an outsider can know.

The courses are invented, their exact values known; they are told by the disclosure itself.
"""

from itertools import pairwise
from math import inf, isfinite, sin

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from relay.audit.matching.seabed_bounds import Bound, Speeds, bounds_of, rows_of, steps_of
from relay.core.disclosure import AltitudeWords
from relay.core.policy import Disclosed, Policy
from told_dives import SECOND, Moment, course_over, policy_of, told_dive

ALL = frozenset(Disclosed)


def rolling(east_m: float, north_m: float) -> float:
    """Return the depth of an invented seabed, metres: slopes of up to 0.1 about 300 m."""
    return 300 + 20 * sin(east_m / 240) + 12 * sin(north_m / 170 + 1)


def bounds(policy: Policy, course: list[Moment]) -> list[Bound]:
    """Return the bounds of a course told under a policy."""
    dive = told_dive(policy, course)
    steps = steps_of([dive])
    assert steps is not None
    return bounds_of(dive, 0, steps)


@given(
    seed=st.integers(0, 10_000),
    depth_step_m=st.sampled_from([0.1, 5.0, 10.0, 50.0]),
    descent_step_m=st.sampled_from([None, 1.0, 10.0]),
    relative=st.booleans(),
    withheld=st.sampled_from([(), ("altitude",), ("leg",), ("altitude", "leg")]),
)
@settings(max_examples=30)
def test_bounds_hold_the_truth(
    seed: int, depth_step_m: float, descent_step_m: float | None, relative: bool, withheld: tuple[str, ...]
) -> None:
    """Whatever the policy tells, depth and height of each tick lie within what is made of it.

    Where neither legs nor heights are told, the height is a guess, so that the depth alone is held to be true.
    """
    course = course_over(rolling, seed, bottom_s=1_200)
    policy = policy_of(
        depth_step_m=depth_step_m, descent_step_m=descent_step_m, depth_relative=relative,
        fields=ALL - {Disclosed(name) for name in withheld},
    )  # fmt: skip
    exact = {moment.at_s: moment for moment in course}
    found = bounds(policy, course)
    first_m = exact[found[0].at_s].depth_m if relative else 0.0
    for bound in found:
        moment = exact[bound.at_s]
        assert moment.altitude_m is not None
        assert bound.low_m - 1e-6 <= moment.depth_m - first_m <= bound.high_m + 1e-6
        if len(withheld) == 2 and not relative:
            continue
        assert bound.least_height_m - 1e-6 <= moment.altitude_m <= bound.most_height_m + 1e-6
        seabed_m = rolling(moment.east_m, moment.north_m) - first_m
        assert bound.shallowest_m - 1e-6 <= seabed_m <= bound.deepest_m + 1e-6


def test_touchdown_is_bounded_by_the_fine_steps_of_the_descent() -> None:
    """Though the bottom is told in steps of 50 m, the first tick there is known to a descent's step and one tick."""
    found = bounds(policy_of(), course_over(rolling, 3))
    touchdown = next(bound for bound in found if bound.bottom)
    assert touchdown.high_m - touchdown.low_m <= 1.5 * 10 + 2 * 0.5 * 15 * 1.3
    later = [bound.high_m - bound.low_m for bound in found if bound.bottom]
    assert max(later) > 50  # the coarse step is what holds once the vehicle had time to go elsewhere


def test_change_of_step_gives_away_its_edge() -> None:
    """A depth that has just passed into another step is known to what it can have moved since the tick before."""
    slow = [Moment(15.0 * at, 0, 0, 200 + 0.1 * 15 * at, 3.0) for at in range(60)]
    found = bounds(policy_of(descent_step_m=None), slow)
    narrowest = min(found, key=lambda bound: bound.high_m - bound.low_m)
    assert narrowest.high_m - narrowest.low_m <= 2 * Speeds().bottom_mps * 15
    exact = {moment.at_s: moment.depth_m for moment in slow}
    assert narrowest.low_m <= exact[narrowest.at_s] <= narrowest.high_m


@pytest.mark.parametrize(
    ("heights", "expected"),
    [
        ([1.5], (0.0, 1.5)),
        ([1.0, 1.875], (0.0, 1.875)),
        ([1.51], (1.5, 18.75)),
        ([1.0, 1.88], (1.875, 15.0)),
        ([15.0, 18.75], (1.5, 18.75)),
        ([15.0, 18.76], (18.75, 40.0)),
        ([20.0, 14.0], (1.5, 15.0)),
    ],
)
def test_word_for_the_height_bounds_it(heights: list[float], expected: tuple[float, float]) -> None:
    """Each word is bounded by its borders, wider where it is held, at the very border and just past it."""
    words = AltitudeWords()
    said = [words.say(height) for height in heights]
    course = [Moment(15.0 * at, 0, 0, 100.0, height) for at, height in enumerate([10.0, *heights])]
    dive = told_dive(policy_of(), course)
    assert [row.word for row in rows_of(dive, 0)][-1] == said[-1]
    found = bounds(policy_of(), course)
    assert (found[-1].least_height_m, found[-1].most_height_m) == expected


def test_without_an_echo_the_seabed_has_no_bound_below() -> None:
    """A tick whose height is unknown though heights are told says only that the seabed lies deeper."""
    course = [Moment(0, 0, 0, 100, 10.0), *(Moment(15.0 * at, 0, 0, 100, None) for at in range(1, 4))]
    found = bounds(policy_of(), course)
    assert isfinite(found[0].deepest_m)
    assert [bound.deepest_m for bound in found[1:]] == [inf] * 3
    assert all(bound.shallowest_m <= 100 for bound in found)


def test_leaving_the_bottom_bounds_the_height() -> None:
    """The tick at which the ascent begins was at most a climb beyond the limit of the bottom leg."""
    course = course_over(rolling, 5, bottom_s=600)
    found = bounds(policy_of(), course)
    left = next(now for before, now in pairwise(found) if before.bottom and not now.bottom)
    exact = next(moment for moment in course if moment.at_s == left.at_s)
    assert left.most_height_m <= 40 + 15 * 0.5 * 1.3
    assert exact.altitude_m is not None and exact.altitude_m <= left.most_height_m


def test_step_of_the_descent_is_found_from_what_was_told() -> None:
    """The header doesn't name it; the depths told off the bottom do."""
    course = course_over(rolling, 2, bottom_s=300)
    steps = steps_of([told_dive(policy_of(descent_step_m=7.5), course)])
    assert steps is not None
    assert (steps.bottom_m, steps.elsewhere_m) == (50.0, 7.5)


def test_withheld_depth_bounds_nothing() -> None:
    """Without depth there are no steps, and nothing to bound."""
    dive = told_dive(policy_of(fields=ALL - {Disclosed.DEPTH}), course_over(rolling, 2, bottom_s=60))
    assert steps_of([dive]) is None
    assert steps_of([]) is None


def test_wild_depth_stays_as_it_was_told() -> None:
    """A jump that no vehicle makes isn't explained away: its tick keeps the bound of its own step."""
    course = [Moment(15.0 * at, 0, 0, 100.0 + (600 if at == 5 else 0), 5.0) for at in range(10)]
    found = bounds(policy_of(depth_step_m=10.0, descent_step_m=None), course)
    assert found[5].low_m <= 700 <= found[5].high_m
    assert found[6].low_m <= 100 <= found[6].high_m


def test_tick_of_seconds_is_read_as_told() -> None:
    """Moments are the record's own dive time, whatever the tick."""
    course = [Moment(2.0 * at, 0, 0, 100.0, 5.0) for at in range(5)]
    found = bounds(policy_of(tick_us=2 * SECOND), course)
    assert [bound.at_s for bound in found] == [0, 2, 4, 6, 8]
