"""What the seabed may differ from a chart, told by the chart itself.

Rules: a standard deviation in metres for each wet cell, made of three parts that are independent of each other:
how badly the neighbours at twice the spacing predict a node (what a grid of this spacing smooths away, and what the
chart's own making left in it), how steep the seabed is (a charted depth stands for a place up to half a cell away), and
a floor for the soundings that the chart was made of. Where a chart is better or worse than that, its owner says so by
a factor (`error_factor` of `read_chart`).
"""

import numpy as np

from relay.audit.chart import Chart, Floats

ABOUT = 5  # cells on a side over which roughness is averaged
FLOOR_M, FLOOR_SHARE = (
    0.5 / 1.96,
    0.013 / 1.96,
)  # IHO S-44, order 1: 95 % limits of 0.5 m and 1.3 % of depth; from memory
WITHIN_CELL = 1 / np.sqrt(12)  # the standard deviation, in cells, of a place anywhere in a cell


def seabed_error(chart: Chart) -> Floats:
    """Return the standard deviation (rows, columns) in metres of seabed minus chart; NaN where there is no depth."""
    depth_m = chart.depth_m
    rough_m2 = _about(np.square(_misfit(depth_m)))
    slope_m2 = _about(_steps_squared(depth_m)) * WITHIN_CELL**2
    floor_m2 = FLOOR_M**2 + np.square(FLOOR_SHARE * depth_m)
    error_m: Floats = np.sqrt(np.nan_to_num(rough_m2) + np.nan_to_num(slope_m2) + floor_m2)
    return error_m


def _misfit(depth_m: Floats) -> Floats:
    """Return each node minus the mean of its neighbours on either side, along rows and columns; NaN where none is."""
    pairs = []
    for axis in (0, 1):
        padded = np.pad(depth_m, [(1, 1) if at == axis else (0, 0) for at in (0, 1)], constant_values=np.nan)
        length = depth_m.shape[axis]
        before, after = (np.take(padded, np.arange(length) + shift, axis=axis) for shift in (0, 2))
        pairs.append((before + after) / 2)
    return _mean_of_known(depth_m - pairs[0], depth_m - pairs[1])


def _steps_squared(depth_m: Floats) -> Floats:
    """Return the squared change of depth over one cell, both ways added (rows, columns); NaN beside the unknown."""
    parts = []
    for axis in (0, 1):
        step = np.square(np.diff(depth_m, axis=axis))
        pad = [(1, 0) if at == axis else (0, 0) for at in (0, 1)], [(0, 1) if at == axis else (0, 0) for at in (0, 1)]
        parts.append(_mean_of_known(*(np.pad(step, way, constant_values=np.nan) for way in pad)))
    return 2 * _mean_of_known(*parts)


def _mean_of_known(first: Floats, second: Floats) -> Floats:
    known = np.isfinite(first).astype(np.float64) + np.isfinite(second)
    total = np.nan_to_num(first) + np.nan_to_num(second)
    mean: Floats = np.divide(total, known, out=np.full(total.shape, np.nan), where=known > 0)
    return mean


def _about(values: Floats) -> Floats:
    """Return the mean of the known values about each cell; where none is near, that of the whole chart."""
    from scipy.ndimage import uniform_filter

    known = np.isfinite(values)
    share = uniform_filter(known.astype(np.float64), ABOUT, mode="constant")
    total = uniform_filter(np.where(known, values, 0.0), ABOUT, mode="constant")
    everywhere = float(values[known].mean()) if known.any() else 0.0
    near = share > 0.5 / ABOUT**2
    mean: Floats = np.divide(total, share, out=np.full(values.shape, everywhere), where=near)
    return mean
