"""A chart without gaps, and its depth at any place: what the chart match and the learning of errors both need.

Rules: between nodes bilinear, whichever turn longitudes are counted on; gaps beside known cells are filled by their
neighbours' mean, for a few rings, their error growing; what lies beyond is shore.
"""

import numpy as np

from relay.audit.charts.chart import Chart, Floats
from relay.audit.charts.chart_sampling import between

RINGS, GROWS = 3, 1.5
SHORE_M = 30.0


def filled(chart: Chart) -> tuple[Floats, Floats]:
    """Return depth and error (rows, columns) of a chart without gaps."""
    depth, error = chart.depth_m.astype(float), chart.error_m.astype(float)
    for _ in range(RINGS):
        depth, error = _ring(depth, 1.0), _ring(error, GROWS)
    return np.where(np.isfinite(depth), depth, 0.0), np.where(np.isfinite(error), error, SHORE_M)


def _ring(grid: Floats, factor: float) -> Floats:
    """Return `grid` with gaps beside known cells filled by their neighbours' mean, times `factor`."""
    known, padded = np.isfinite(grid), np.pad(grid, 1, constant_values=np.nan)
    rows, columns = grid.shape
    around = np.stack([padded[y : y + rows, x : x + columns] for y in range(3) for x in range(3)])
    count = np.isfinite(around).sum(axis=0)
    total = np.nansum(around, axis=0)
    whole: Floats = np.where(known | (count == 0), grid, factor * total / np.maximum(count, 1))
    return whole


def at_places(chart: Chart, latitude_deg: Floats, longitude_deg: Floats, grid: Floats | None = None) -> Floats:
    """Return the charted depth (places,), bilinear; NaN outside, and where one of the four nodes about it is.

    Longitudes may be counted on another turn than the chart's. `grid`: values (rows, columns of the chart) instead of
    its depths.
    """
    axis = chart.longitude_deg
    turns = np.round((longitude_deg - (axis[0] + axis[-1]) / 2) / 360)
    up = (latitude_deg - chart.latitude_deg[0]) / chart.step_deg[0]
    across = (longitude_deg - 360 * turns - axis[0]) / chart.step_deg[1]
    return between(chart.depth_m if grid is None else grid, up, across)
