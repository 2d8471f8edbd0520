"""What the seabed may differ from a chart, told by the chart itself.

Rules: a standard deviation in metres for each cell, made of three parts that are independent of each other: how badly
the neighbours on either side, two spacings apart, predict a node (what a grid smooths away, and what its making left in
it); how steep the seabed is (a charted depth stands for a place anywhere in its cell); and a floor for the soundings
that the chart was made of. The first two are averaged over a few cells. Known land counts as a seabed at nought: a
steep shore is steep. A reader may multiply it by a factor (`error_factor`). It is the start alone: before a match
`error_law.learn` takes it for the chart's relief and replaces it by what the chart is seen to be off; a factor that is
to count is applied after that (`known_seabed`). Measured: a chart of 500 m differs from the nodes of a finer one of the
same strait by 1.1 times this, root mean square.
"""

import numpy as np

from relay.audit.charts.chart import Floats

ABOUT = 5  # cells on a side over which roughness is averaged
FLOOR_M, FLOOR_SHARE = (
    0.5 / 1.96,
    0.013 / 1.96,
)  # IHO S-44, order 1: 95 % limits of 0.5 m and 1.3 % of depth; from memory
WITHIN_CELL = 1 / np.sqrt(12)  # the standard deviation, in cells, of a place anywhere in a cell


def seabed_error(elevation_m: Floats) -> Floats:
    """Return the standard deviation (rows, columns), metres, of seabed minus chart.

    `elevation_m` (rows, columns), positive up, NaN where unknown.
    """
    seabed_m = np.minimum(elevation_m, 0.0)
    rough_m2 = about(np.square(_misfit(seabed_m)))
    slope_m2 = about(_steps_squared(seabed_m)) * WITHIN_CELL**2
    floor_m2 = FLOOR_M**2 + np.square(FLOOR_SHARE * np.nan_to_num(seabed_m))
    error_m: Floats = np.sqrt(rough_m2 + slope_m2 + floor_m2)
    return error_m


def about(values: Floats) -> Floats:
    """Return the mean of the known values about each cell; where none is near, that of all; where none is, 0."""
    from scipy.ndimage import uniform_filter

    known = np.isfinite(values)
    share = uniform_filter(known.astype(np.float64), ABOUT, mode="constant")
    total = uniform_filter(np.where(known, values, 0.0), ABOUT, mode="constant")
    everywhere = float(values[known].mean()) if known.any() else 0.0
    near = share > 0.5 / ABOUT**2
    mean: Floats = np.divide(total, share, out=np.full(values.shape, everywhere), where=near)
    return np.where(near, np.clip(mean, *_limits(values[known])), mean)


def _limits(known: Floats) -> tuple[float, float]:
    """Return the least and the most there is: a running mean can leave them by what it rounds."""
    return (float(known.min()), float(known.max())) if known.size else (0.0, 0.0)


def _misfit(seabed_m: Floats) -> Floats:
    """Return each node minus the mean of its neighbours on either side, along rows and columns; NaN where none is."""
    pairs = []
    for axis in (0, 1):
        padded = np.pad(seabed_m, [(1, 1) if at == axis else (0, 0) for at in (0, 1)], constant_values=np.nan)
        length = seabed_m.shape[axis]
        before, after = (np.take(padded, np.arange(length) + shift, axis=axis) for shift in (0, 2))
        pairs.append(seabed_m - (before + after) / 2)
    return _mean_of_known(pairs[0], pairs[1])


def _steps_squared(seabed_m: Floats) -> Floats:
    """Return the squared change of height over one cell, both ways added (rows, columns); NaN beside the unknown."""
    parts = []
    for axis in (0, 1):
        step = np.square(np.diff(seabed_m, axis=axis))
        sides = [[side if at == axis else (0, 0) for at in (0, 1)] for side in ((1, 0), (0, 1))]
        before, after = (np.pad(step, side, constant_values=np.nan) for side in sides)
        parts.append(_mean_of_known(before, after))
    return 2 * _mean_of_known(parts[0], parts[1])


def _mean_of_known(first: Floats, second: Floats) -> Floats:
    known = np.isfinite(first).astype(np.float64) + np.isfinite(second)
    total = np.nan_to_num(first) + np.nan_to_num(second)
    mean: Floats = np.divide(total, known, out=np.full(total.shape, np.nan), where=known > 0)
    return mean
