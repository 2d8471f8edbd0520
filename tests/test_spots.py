"""Places become likelihoods over a chart's cells, by true distances."""

import numpy as np
import pytest

from audited import apart, chart_about
from relay.audit.attacks.spots import apart_m, at_spot, blurred, gathered, or_elsewhere
from relay.audit.charts.chart import Chart
from relay.audit.matching.posterior import Posterior

PLACES = [(-38.61, -21.93), (70.2, 179.995), (0.0, -180.0)]


@pytest.mark.parametrize("place", PLACES)
def test_distances_are_those_of_the_ellipsoid(place: tuple[float, float]) -> None:
    """Within 10 km of a place, over the antimeridian and at high latitudes, distances are geographiclib's to 0.5 %."""
    chart = chart_about(place, cells=41)
    distance = apart_m(chart, *place)
    for row, column in ((0, 0), (5, 38), (20, 21), (40, 10)):
        there = float(chart.latitude_deg[row]), float(chart.longitude_deg[column])
        assert distance[row, column] == pytest.approx(apart(place, there), rel=5e-3, abs=0.1)


def test_spot_lies_in_its_cell() -> None:
    """A place known exactly is most likely in its own cell, and a region about it no larger than a few cells."""
    chart = chart_about()
    place = (float(chart.latitude_deg[50]) + 1e-5, float(chart.longitude_deg[70]))
    posterior = Posterior.of(chart, at_spot(chart, *place, 1.0))
    assert posterior.best == pytest.approx(place, abs=2e-5)
    assert posterior.region().sum() < 10


@pytest.mark.parametrize("place", PLACES)
def test_weights_are_gathered_by_cell(place: tuple[float, float]) -> None:
    """All weight on the chart is kept, in the cell that the chart itself names; what is outside is left out."""
    chart = chart_about(place, cells=41)
    draw = np.random.default_rng(1)
    latitude = place[0] + draw.uniform(-0.03, 0.03, 500)
    longitude = (place[1] + draw.uniform(-0.03, 0.03, 500) + 180) % 360 - 180
    mass = gathered(chart, latitude, longitude, np.ones(500))
    assert mass.sum() == 500
    where = chart.index(float(latitude[0]), float(longitude[0]))
    assert where is not None and mass[where] >= 1
    assert gathered(chart, latitude + 5, longitude, np.ones(500)).sum() == 0


def test_blur_keeps_weight_and_has_its_spread() -> None:
    """Spread out by 500 m, a weight stays whole, and its root mean square distance is 500 m in each direction."""
    chart = chart_about()
    mass = np.zeros(chart.shape)
    mass[60, 60] = 1.0
    spread = blurred(chart, mass, 500.0)
    assert spread.sum() == pytest.approx(1, abs=1e-4)
    distance = apart_m(chart, float(chart.latitude_deg[60]), float(chart.longitude_deg[60]))
    assert np.sqrt((spread * distance**2).sum() / 2) == pytest.approx(500, rel=0.03)


def test_elsewhere_keeps_every_cell_possible() -> None:
    """With a probability of being wrong no cell is impossible, and the densities add up to one."""
    chart: Chart = chart_about(cells=41)
    mass = np.zeros(chart.shape)
    mass[3, 4] = 1.0
    log = or_elsewhere(chart, mass, 0.01)
    assert np.isfinite(log).all()
    assert (np.exp(log) * chart.cell_km2).sum() == pytest.approx(1)
