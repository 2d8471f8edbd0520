"""A chart without gaps, and its depth at any place."""

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from relay.audit.charts.chart import Chart
from relay.audit.matching.filled import RINGS, SHORE_M, at_places, filled


def _chart(depth_m: np.ndarray) -> Chart:
    rows, columns = depth_m.shape
    return Chart("invented", 40 + 0.01 * np.arange(rows), 5 + 0.02 * np.arange(columns), depth_m, 0 * depth_m + 2.0)


def test_depth_between_nodes_is_bilinear() -> None:
    """Source of the reference: scipy.interpolate.RegularGridInterpolator, linear; outside there is none."""
    draw = np.random.default_rng(1)
    chart = _chart(draw.uniform(10, 90, (7, 9)))
    latitude, longitude = draw.uniform(39.98, 40.08, 200), draw.uniform(4.98, 5.18, 200)
    reference = RegularGridInterpolator(
        (chart.latitude_deg, chart.longitude_deg), chart.depth_m, bounds_error=False, fill_value=np.nan
    )
    expected = reference(np.stack([latitude, longitude], axis=1))
    assert 20 < np.isnan(expected).sum() < 180
    np.testing.assert_allclose(at_places(chart, latitude, longitude), expected, atol=1e-9)


def test_a_gap_beside_a_place_is_no_depth() -> None:
    """A place with land or nothing known at one of its four nodes has no depth of its own."""
    depth_m = np.full((3, 3), 50.0)
    depth_m[0, 0] = np.nan
    found = at_places(_chart(depth_m), np.array([40.005, 40.015]), np.array([5.01, 5.03]))
    assert np.isnan(found[0]) and found[1] == 50.0


@pytest.mark.parametrize("turns", [-1, 0, 1])
def test_longitudes_may_be_counted_on_another_turn(turns: int) -> None:
    """A place across the antimeridian has the same depth whether its longitude goes on past 180 or jumps."""
    depth_m = np.random.default_rng(3).uniform(10, 90, (5, 11))
    chart = Chart("antimeridian", 40 + 0.01 * np.arange(5), 179.9 + 0.02 * np.arange(11), depth_m, depth_m)
    longitude = np.repeat(179.91 + 0.02 * np.arange(10), 2)
    latitude = np.tile([40.005, 40.03], 10)
    reference = RegularGridInterpolator((chart.latitude_deg, chart.longitude_deg), depth_m)((latitude, longitude))
    assert at_places(chart, latitude, longitude + 360 * turns) == pytest.approx(reference, abs=1e-6)


def test_gaps_are_filled_by_rings_and_then_by_shore() -> None:
    """A few rings go on with what is beside them, less and less sure; beyond is shore."""
    depth_m = np.full((3, RINGS + 4), np.nan)
    depth_m[:, 0] = 80.0
    depth, error = filled(_chart(depth_m))
    assert depth[1, : RINGS + 1] == pytest.approx(80.0)
    assert np.all(np.diff(error[1, : RINGS + 1]) > 0)
    assert (depth[1, RINGS + 1], error[1, RINGS + 1]) == (0.0, SHORE_M)


def test_what_is_known_stays_as_it_is() -> None:
    """Filling changes no known depth and no known error."""
    depth_m = np.random.default_rng(2).uniform(1, 100, (5, 5))
    depth_m[2, 2] = np.nan
    chart = _chart(depth_m)
    depth, error = filled(chart)
    known = np.isfinite(depth_m)
    np.testing.assert_array_equal(depth[known], depth_m[known])
    np.testing.assert_array_equal(error[known], chart.error_m[known])
