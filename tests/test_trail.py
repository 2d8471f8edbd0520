"""A line that stays short enough to be drawn."""

import itertools

from hypothesis import given
from hypothesis import strategies as st

from relay.shell.desk.trail import MOST, Trail


@given(st.lists(st.integers(1, 1_000), max_size=3_000))
def test_trail_keeps_points_that_came_in_their_order_and_never_more_than_its_bound(steps: list[int]) -> None:
    """However long it grows: at most the bound, the first and the newest among them, and nothing invented."""
    trail, came, at = Trail(most=50), [], 0
    for step in steps:
        at += step
        came.append((at, float(step), None))
        trail.add(*came[-1])
    points = list(trail.points())
    assert len(points) <= 51
    assert set(points) <= set(came)
    assert points == sorted(points)
    if came:
        assert (points[0], points[-1]) == (came[0], came[-1])


def test_trail_of_a_long_dive_is_thinned_evenly() -> None:
    """A day of points a second: none of what is left lies more than four times as far apart as it would have to."""
    trail = Trail()
    for at in range(86_400):
        trail.add(at, 0.0)
    moments = [point[0] for point in trail.points()]
    assert MOST / 4 < len(moments) <= MOST + 1
    assert max(later - earlier for earlier, later in itertools.pairwise(moments)) <= 4 * 86_400 / MOST


def test_point_that_is_not_later_is_none() -> None:
    """A vehicle that is silent is where it was: the same moment adds nothing."""
    trail = Trail()
    for at in (5, 5, 4):
        trail.add(at, float(at))
    assert list(trail.points()) == [(5, 5.0)]
