"""Probabilities by cell: regions, ranks, bits, and what lies near."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from scipy.stats import entropy

from relay.audit.charts.chart import Chart
from relay.audit.matching.posterior import Posterior


def _chart(rows: int = 40, columns: int = 50) -> Chart:
    depth_m = np.full((rows, columns), 100.0)
    return Chart("invented", 47 + 0.005 * np.arange(rows), -8 + 0.008 * np.arange(columns), depth_m, 0 * depth_m + 1)


def test_region_is_the_smallest_that_holds_its_mass() -> None:
    """Taking its least probable cell away leaves too little, and no cell outside is more probable than one inside."""
    chart = _chart()
    logs = np.random.default_rng(4).normal(size=chart.shape) * 2
    posterior = Posterior.of(chart, logs)
    inside = posterior.region(0.95)
    density = posterior.mass / chart.cell_km2
    assert posterior.mass[inside].sum() >= 0.95
    assert posterior.mass[inside].sum() - posterior.mass[inside].min() < 0.95
    assert density[inside].min() >= density[~inside].max()
    assert posterior.area_km2(0.95) == pytest.approx(chart.cell_km2[inside].sum())


def test_an_even_posterior_leaves_the_area_as_it_was() -> None:
    """Without a hint 95 % of the area is left, no bit is lost, and every cell has the middle rank."""
    posterior = Posterior.of(_chart(), np.zeros((40, 50)))
    assert posterior.area_km2(0.95) == pytest.approx(0.95 * posterior.prior_km2, rel=0.002)
    assert posterior.lost_bits == pytest.approx(0, abs=1e-9)
    np.testing.assert_allclose(posterior.rank[5], 0.5, atol=0.02)


def test_lost_bits_are_scipys_divergence() -> None:
    """Source of the reference: scipy.stats.entropy of the posterior against the prior, base 2."""
    chart = _chart()
    posterior = Posterior.of(chart, np.random.default_rng(5).normal(size=chart.shape) * 3)
    prior = chart.cell_km2 / chart.cell_km2.sum()
    assert posterior.lost_bits == pytest.approx(entropy(posterior.mass.ravel(), prior.ravel(), base=2))


def test_rank_of_a_true_place_is_even_where_the_posterior_is_right() -> None:
    """Places drawn from the posterior itself have even ranks: mean a half, 95 % of them below 0.95."""
    chart = _chart()
    draw = np.random.default_rng(6)
    posterior = Posterior.of(chart, draw.normal(size=chart.shape))
    places = draw.choice(posterior.mass.size, 4_000, p=posterior.mass.ravel())
    ranks = posterior.rank.ravel()[places]
    assert ranks.mean() == pytest.approx(0.5, abs=0.02)
    assert (ranks <= 0.95).mean() == pytest.approx(0.95, abs=0.012)


def test_near_counts_cells_by_their_distance_on_the_ellipsoid() -> None:
    """Source of the reference: geographiclib's geodesics to the middle of each cell."""
    chart = _chart()
    posterior = Posterior.of(chart, np.random.default_rng(7).normal(size=chart.shape))
    here = (47.083, -7.81)
    expected = sum(
        posterior.mass[row, column]
        for row, latitude in enumerate(chart.latitude_deg)
        for column, longitude in enumerate(chart.longitude_deg)
        if Geodesic.WGS84.Inverse(*here, float(latitude), float(longitude))["s12"] <= 1_500
    )
    assert posterior.near(*here, within_m=1_500) == pytest.approx(expected)
    assert 0 < expected < 0.2


def test_best_is_the_most_probable_cell() -> None:
    """One cell that stands out is the best."""
    logs = np.zeros((40, 50))
    logs[12, 30] = 3.0
    assert Posterior.of(_chart(), logs).best == pytest.approx((47.06, -7.76))


def test_cells_outside_the_declared_area_count_for_nothing() -> None:
    """A prior leaves its own cells alone, however likely the others are."""
    prior = np.zeros((40, 50), dtype=bool)
    prior[:10] = True
    logs = np.zeros((40, 50))
    logs[30] = 100.0
    posterior = Posterior.of(_chart(), logs, prior)
    assert posterior.mass[10:].sum() == 0 and not posterior.region(0.95)[10:].any()


def test_a_dive_that_fits_nowhere_is_an_error() -> None:
    """Without a possible cell there is no posterior."""
    with pytest.raises(ValueError, match="no cell of the chart"):
        Posterior.of(_chart(), np.full((40, 50), -np.inf))
