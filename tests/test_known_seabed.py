"""What trials are made on: a finer chart, or the chart itself against every second node of it."""

from dataclasses import replace

import numpy as np
import pytest

from played_cases import STEP_DEG, invented_chart
from relay.audit.charts.chart import Chart, Floats
from relay.audit.matching.filled import at_places
from relay.audit.matching.known_seabed import known_seabed


def rough_chart(cells: int, per_cell: int) -> Chart:
    """Return a seabed of hills of all sizes, `per_cell` nodes to each of the invented chart's cells."""
    step = STEP_DEG / per_cell
    latitude, longitude = (start + step * np.arange(cells * per_cell) for start in (-38.7, -22.0))
    up, across = np.meshgrid((latitude + 38.7) / STEP_DEG, (longitude + 22.0) / STEP_DEG, indexing="ij")
    depth: Floats = 200.0 + 3 * across
    for at, wave in enumerate((17.0, 9.0, 4.1, 2.3, 1.2)):
        turn = 0.7 + at
        depth = depth + 4 * wave * np.sin((up * np.cos(turn) + across * np.sin(turn)) * 2 * np.pi / wave + at)
    return Chart(f"rough {per_cell}", latitude, longitude, depth, np.full(depth.shape, 4.0))


def test_errors_are_as_large_as_the_finer_chart_shows() -> None:
    """The root mean square of what the chart says of its errors is that of its differences from the finer one."""
    chart, finer = rough_chart(48, 1), rough_chart(48, 3)
    seabed = known_seabed(chart, np.random.default_rng(1), finer)
    north, east = np.meshgrid(finer.latitude_deg, finer.longitude_deg, indexing="ij")
    missed = finer.depth_m - at_places(chart, north.ravel(), east.ravel()).reshape(finer.shape)
    told = float(np.sqrt(np.mean(seabed.chart.error_m**2)))
    assert told == pytest.approx(float(np.sqrt(np.nanmean(missed**2))), rel=0.25)
    assert seabed.truth is finer
    assert np.array_equal(seabed.tried.depth_m, seabed.chart.depth_m)


def test_finer_chart_across_the_antimeridian_teaches_the_same() -> None:
    """A chart that counts on past 180 learns from a finer one that counts from -180 what it would anywhere."""
    chart, finer = rough_chart(48, 1), rough_chart(48, 3)
    moved = 180.0 - float(chart.longitude_deg.mean())
    over = replace(chart, longitude_deg=chart.longitude_deg + moved)
    beyond = replace(finer, longitude_deg=finer.longitude_deg + moved - 360)
    here, there = (known_seabed(*pair) for pair in (
        (chart, np.random.default_rng(1), finer), (over, np.random.default_rng(1), beyond)))  # fmt: skip
    assert there.chart.error_m == pytest.approx(here.chart.error_m, rel=0.01)


def test_without_a_finer_chart_every_second_node_is_tried() -> None:
    """The full chart is the known seabed then; the declared area goes along, cell by cell."""
    chart = invented_chart()
    seabed = known_seabed(chart, np.random.default_rng(1))
    assert np.array_equal(chart.depth_m[::2, ::2], seabed.tried.depth_m, equal_nan=True)
    assert seabed.truth is chart
    assert np.array_equal(chart.depth_m, seabed.chart.depth_m, equal_nan=True)
    prior = np.zeros(chart.shape, dtype=bool)
    prior[10:20, 7:30] = True
    where = seabed.where(prior)
    assert where is not None
    for row, column in np.ndindex(*where.shape):
        place = float(seabed.tried.latitude_deg[row]), float(seabed.tried.longitude_deg[column])
        cell = chart.index(*place)
        assert cell is not None
        assert where[row, column] == prior[cell]
    assert seabed.where(None) is None


def test_factor_is_of_what_was_learnt() -> None:
    """Twice as wrong, in the attack and in its trials."""
    chart = invented_chart()
    once, twice = (known_seabed(chart, np.random.default_rng(1), factor=factor) for factor in (1.0, 2.0))
    assert np.allclose(2 * once.chart.error_m, twice.chart.error_m, equal_nan=True)
    assert np.allclose(2 * once.tried.error_m, twice.tried.error_m, equal_nan=True)


def test_finer_chart_that_teaches_nothing_is_refused() -> None:
    """One of elsewhere, and one that is no finer."""
    chart, finer = rough_chart(20, 1), rough_chart(20, 3)
    with pytest.raises(ValueError, match="no water in common"):
        known_seabed(chart, np.random.default_rng(1), replace(finer, latitude_deg=finer.latitude_deg + 20))
    with pytest.raises(ValueError, match="is no finer than"):
        known_seabed(chart, np.random.default_rng(1), chart)
