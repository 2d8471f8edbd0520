"""Values between the nodes of a grid, against scipy's interpolation."""

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from relay.audit.charts.chart_sampling import between, bilinear


def test_values_between_nodes_are_those_of_scipy() -> None:
    """Inside the grid a value is that of scipy's RegularGridInterpolator, linear both ways."""
    draw = np.random.default_rng(1)
    values = draw.normal(size=(7, 9))
    row, column = draw.uniform(0, 6, 500), draw.uniform(0, 8, 500)
    reference = RegularGridInterpolator((np.arange(7), np.arange(9)), values)(np.column_stack([row, column]))
    assert bilinear(values, row, column) == pytest.approx(reference, abs=1e-12)
    assert bilinear(values, *np.meshgrid(np.arange(7.0), np.arange(9.0), indexing="ij")) == pytest.approx(values)


def test_beside_the_unknown_the_nearest_node_decides() -> None:
    """Near a hole a known node keeps its half of the way, and the hole its own."""
    values = np.ones((4, 4))
    values[1, 1] = np.nan
    row, column = np.array([1.4, 1.6, 0.4, 2.5]), np.array([1.4, 1.4, 1.0, 2.5])
    assert bilinear(values, row, column) == pytest.approx(np.array([np.nan, 1, 1, 1]), nan_ok=True)


def test_half_a_cell_outside_is_the_cell_still() -> None:
    """The outermost cells reach half a step out, and no farther."""
    values = np.arange(6.0).reshape(2, 3)
    row, column = np.array([-0.5, -0.51, 1.5, 0.0, 0.0]), np.array([0.0, 0.0, 2.5, 2.51, -0.5])
    assert bilinear(values, row, column) == pytest.approx(np.array([0, np.nan, 5, np.nan, 0]), nan_ok=True)


def test_place_that_is_no_number_has_no_value() -> None:
    """PROJ gives infinity for a place that a projection doesn't have; times nought that is no number (IEEE 754)."""
    row, column = np.array([np.nan, 0.0, np.inf, -np.inf, 1.0]), np.array([0.0, np.nan, np.nan, 1.0, 1.0])
    assert bilinear(np.ones((3, 3)), row, column) == pytest.approx(np.array([np.nan] * 4 + [1]), nan_ok=True)


def test_between_nodes_nothing_is_known_beside_the_unknown_or_outside() -> None:
    """Inside it is scipy's interpolation up to the outermost nodes; a hole takes the four cells about it along."""
    values = np.random.default_rng(2).normal(size=(4, 5))
    reference = RegularGridInterpolator((np.arange(4), np.arange(5)), values)
    row, column = np.array([0.0, 3.0, 1.25, 2.5]), np.array([0.0, 4.0, 3.5, 4.0])
    assert between(values, row, column) == pytest.approx(reference((row, column)), abs=1e-12)
    assert np.isnan(between(values, np.array([-0.01, 3.01, 1.0]), np.array([1.0, 1.0, 4.01]))).all()
    values[1, 1] = np.nan
    assert np.isnan(between(values, np.array([0.5, 1.5, 1.9]), np.array([0.5, 1.5, 0.9]))).all()
