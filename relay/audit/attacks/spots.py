"""Likelihoods of spots: from places on the Earth, each with a weight and an uncertainty, to the cells of a chart.

Rules: distances are metres on the ellipsoid's tangent at each row of the chart; nothing is told finer than a cell; what
lies outside the chart has no cell and counts for nothing.
"""

import numpy as np
from scipy.ndimage import gaussian_filter

from relay.audit.charts.chart import Chart, Floats

EARTH = 6_371_008.8  # mean radius in metres (IUGG), for spreads alone


def apart_m(chart: Chart, latitude_deg: float, longitude_deg: float) -> Floats:
    """Return how far the middle of each cell is from a place, metres (rows, columns)."""
    north, east = chart.metres_per_degree
    up = (chart.latitude_deg - latitude_deg) * north
    across = (chart.longitude_deg - longitude_deg + 180) % 360 - 180
    distance: Floats = np.hypot(up[:, None], across[None, :] * east[:, None])
    return distance


def at_spot(chart: Chart, latitude_deg: float, longitude_deg: float, spread_m: float) -> Floats:
    """Return the log likelihood (rows, columns) of a place known to `spread_m` (a deviation), at least a cell's."""
    least_m = max(chart.spacing_m) / np.sqrt(12)
    scaled = apart_m(chart, latitude_deg, longitude_deg) / float(np.hypot(spread_m, least_m))
    log: Floats = -0.5 * scaled**2
    return log


def within_a_cell(chart: Chart, off_m: float) -> bool:
    """Whether a place that is known to `off_m` (metres) is known to within a cell of the chart."""
    return off_m <= max(chart.spacing_m)


def gathered(chart: Chart, latitude_deg: Floats, longitude_deg: Floats, weight: Floats) -> Floats:
    """Return how much weight falls in each cell (rows, columns); what falls outside the chart is left out."""
    step_lat = float(chart.latitude_deg[-1] - chart.latitude_deg[0]) / (chart.shape[0] - 1)
    step_lon = float(chart.longitude_deg[-1] - chart.longitude_deg[0]) / (chart.shape[1] - 1)
    middle = float(chart.longitude_deg[0] + chart.longitude_deg[-1]) / 2
    longitude = middle + (longitude_deg - middle + 180) % 360 - 180
    row = np.round((latitude_deg - chart.latitude_deg[0]) / step_lat).astype(int)
    column = np.round((longitude - chart.longitude_deg[0]) / step_lon).astype(int)
    inside = (row >= 0) & (row < chart.shape[0]) & (column >= 0) & (column < chart.shape[1])
    flat: Floats = np.bincount(
        row[inside] * chart.shape[1] + column[inside], weights=weight[inside], minlength=chart.depth_m.size
    ).astype(float)
    return flat.reshape(chart.shape)


def blurred(chart: Chart, mass: Floats, spread_m: float) -> Floats:
    """Return mass (rows, columns) spread out by a Gaussian of `spread_m`, at least a cell's own."""
    down, across = chart.spacing_m
    sigma = [float(np.hypot(spread_m, step / np.sqrt(12))) / step for step in (down, across)]
    spread: Floats = np.maximum(gaussian_filter(mass, sigma, mode="constant", truncate=5.0), 0.0)
    return spread


def or_elsewhere(chart: Chart, mass: Floats, elsewhere: float, share: float = 1.0) -> Floats:
    """Return the log likelihood of mass by cell (rows, columns), were it wrong with the probability `elsewhere`.

    Mass is a probability, so a cell's likelihood is its density. `share`: of how much of all the probability this is a
    part, such as one turn of many.
    """
    area = chart.cell_km2
    log: Floats = np.log((1 - elsewhere) * mass / area + elsewhere * share / float(area[chart.candidates].sum()))
    return log
