"""How wrong a chart is: learnt laws against laws that are known, and against published charts."""

from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from match_cases import charts
from relay.audit.charts.chart import Chart
from relay.audit.matching.error_law import halved, learn
from relay.audit.matching.filled import at_places


def _field(draw: np.random.Generator, cells: float, size: int) -> np.ndarray:
    """Return an invented field of variance 1, correlated over a Gaussian of `cells` (scipy.ndimage)."""
    field = gaussian_filter(draw.normal(size=(size, size)), cells, mode="wrap")
    even: np.ndarray = (field - field.mean()) / field.std()
    return even


def _truth_and_chart(error_m: float, cells: float) -> tuple[Chart, Chart]:
    draw = np.random.default_rng(1)
    size = 240
    latitude, longitude = 0.001 * np.arange(size), 0.001 * np.arange(size)
    depth_m = 300 + 0 * _field(draw, 3, size)
    truth = Chart("true", latitude, longitude, depth_m + error_m * _field(draw, cells, size), 0 * depth_m + 1)
    return truth, Chart("charted", latitude, longitude, depth_m, 0 * depth_m + 1)


@pytest.mark.parametrize("error_m", [3.0, 12.0])
def test_size_and_length_of_a_known_error_are_learnt(error_m: float) -> None:
    """Noise smoothed by a Gaussian of s cells is correlated by exp(-(d / 2 s)²): known, not fitted."""
    truth, chart = _truth_and_chart(error_m, 4.0)
    learnt = learn(chart, np.random.default_rng(2), truth)
    assert learnt.law is not None
    size = np.sqrt(sum(share * scale**2 for scale, share in learnt.law.scales)) * np.nanmedian(learnt.error_m)
    assert size == pytest.approx(error_m, rel=0.15)
    assert learnt.law.length_m == pytest.approx(8.0 * chart.spacing_m[0], rel=0.25)
    assert learnt.law.power == pytest.approx(2.0, abs=0.4)


def test_errors_of_a_published_chart_are_as_large_as_learnt(shared_data: Path) -> None:
    """Source: the strait at 160 m against 500 m; errors over what was learnt of them have the learnt mixture's size."""
    truth, chart = charts(shared_data, "500m")
    assert chart.law is not None
    draw = np.random.default_rng(4)
    rows, columns = np.nonzero(np.isfinite(truth.depth_m))
    at = draw.integers(len(rows), size=5_000)
    latitude, longitude = truth.latitude_deg[rows[at]], truth.longitude_deg[columns[at]]
    error = at_places(chart, latitude, longitude) - truth.depth_m[rows[at], columns[at]]
    said = at_places(
        Chart("said", chart.latitude_deg, chart.longitude_deg, chart.error_m, chart.error_m), latitude, longitude
    )
    score = np.abs(error / said)
    known = score[np.isfinite(score)]
    assert np.mean(known <= 1.0) == pytest.approx(0.75, abs=0.12)
    assert np.mean(known <= 4.4) > 0.97
    assert 200 < chart.law.length_m < 800


def test_a_chart_learns_of_itself_in_proportion() -> None:
    """Without a finer chart the law has half the length that every second node shows, and an error everywhere known."""
    truth, _ = _truth_and_chart(12.0, 3.0)
    learnt = learn(truth, np.random.default_rng(5))
    half = learn(halved(truth), np.random.default_rng(5), truth)
    assert learnt.law is not None and half.law is not None
    assert learnt.law.length_m == pytest.approx(half.law.length_m / 2, rel=0.3)
    assert np.isfinite(learnt.error_m).all()
    assert np.median(learnt.error_m) < np.median(half.error_m)


def test_charts_without_common_water_can_teach_nothing() -> None:
    """A finer chart of elsewhere is an error that names both."""
    truth, chart = _truth_and_chart(3.0, 4.0)
    elsewhere = Chart("elsewhere", truth.latitude_deg + 9, truth.longitude_deg, truth.depth_m, truth.error_m)
    with pytest.raises(ValueError, match="charted and elsewhere have no water in common"):
        learn(chart, np.random.default_rng(6), elsewhere)


def test_halved_keeps_every_second_node() -> None:
    """The nodes that are left stand where they stood."""
    truth, _ = _truth_and_chart(3.0, 4.0)
    half = halved(truth)
    np.testing.assert_array_equal(half.depth_m, truth.depth_m[::2, ::2])
    assert half.step_deg == pytest.approx((0.002, 0.002))
