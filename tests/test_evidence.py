"""What a dive would have told of another seabed."""

import numpy as np
import pytest

from match_cases import dive


@pytest.mark.parametrize("step_m", [0.0, 0.5, 10.0, 50.0])
@pytest.mark.parametrize("heights_m", [(0.0, 0.0), (1.5, 15.0), (0.0, 40.0)])
def test_what_is_told_bounds_the_seabed(step_m: float, heights_m: tuple[float, float]) -> None:
    """Whatever the step and the height, the seabed lies between what is told of it, no wider than both leave open."""
    draw = np.random.default_rng(1)
    base = dive("area", step_m=step_m, heights_m=heights_m)
    for _ in range(50):
        seabed_m = draw.uniform(20, 400, len(base))
        told = base.observed_over(seabed_m, draw)
        assert np.all(told.shallowest_m <= seabed_m + 1e-9)
        assert np.all(seabed_m <= told.deepest_m + 1e-9)
        np.testing.assert_allclose(told.deepest_m - told.shallowest_m, step_m + heights_m[1] - heights_m[0])


def test_relative_depths_count_from_the_first() -> None:
    """A seabed deeper everywhere by the same tells the same, for the same heights."""
    base = dive("area", step_m=5.0, heights_m=(1.5, 15.0), relative=True)
    seabed_m = np.random.default_rng(2).uniform(50, 300, len(base))
    one, other = (base.observed_over(seabed_m + deeper, np.random.default_rng(3)) for deeper in (0.0, 800.0))
    np.testing.assert_allclose(one.shallowest_m, other.shallowest_m)
    assert one.relative


def test_depths_are_told_on_one_grid_of_steps() -> None:
    """Every band's upper edge, less the least height, lies half a step beside a multiple of the step."""
    base = dive("line", step_m=10.0, heights_m=(1.5, 15.0))
    told = base.observed_over(np.random.default_rng(4).uniform(50, 300, len(base)), np.random.default_rng(5))
    np.testing.assert_allclose((told.shallowest_m - 1.5 + 5.0) % 10.0 % 10.0, 0.0, atol=1e-9)


def test_places_and_heights_stay_as_they_were() -> None:
    """Only what is told of the seabed is new."""
    base = dive("wreck", step_m=1.0, turned=True)
    told = base.observed_over(np.full(len(base), 90.0), np.random.default_rng(6))
    np.testing.assert_array_equal(told.east_m, base.east_m)
    np.testing.assert_array_equal(told.most_height_m, base.most_height_m)
    assert told.turned and len(told) == len(base)
