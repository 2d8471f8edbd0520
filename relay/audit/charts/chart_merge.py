"""Several charts as one: coarse everywhere, finer in places.

Rules: one grid as fine as the finest chart, or as `most_cells` allows; in each cell the finest chart that knows it
decides, whether that is a depth or land, and its error with it. A chart finer than the grid is averaged in, and
what varies within a cell is added to its error. Laws learnt of single charts (`error_law`) don't hold for all together:
the joint chart has none until it is learnt of it.
"""

from collections.abc import Sequence

import numpy as np

from relay.audit.charts.chart import Chart, Floats, Mask
from relay.audit.charts.chart_sampling import bilinear
from relay.core.errors import ChartError

MOST_CELLS = 400_000


def merge(charts: Sequence[Chart], *, most_cells: int = MOST_CELLS) -> Chart:
    """Return one chart of several, or the one there is, on at most `most_cells` cells.

    Raises ChartError without charts, or when one lies apart from all others.
    """
    if not charts:
        raise ChartError("no chart is given; name one with --chart")
    if len(charts) == 1 and charts[0].depth_m.size <= most_cells:
        return charts[0]
    aligned = [_beside(chart, charts[0]) for chart in charts]
    _all_touch(aligned)
    latitudes, longitudes = _axes(aligned, most_cells)
    shape = len(latitudes), len(longitudes)
    depth_m, error_m, land = np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(shape, dtype=bool)
    for chart in sorted(aligned, key=_spacing_m, reverse=True):
        depth, error, dry = _onto(chart, latitudes, longitudes)
        wet = np.isfinite(depth)
        depth_m = np.where(wet, depth, np.where(dry, np.nan, depth_m))
        error_m = np.where(wet, error, np.where(dry, np.nan, error_m))
        land = (land & ~wet) | dry
    name = " + ".join(chart.name for chart in charts)
    return Chart(name, latitudes, longitudes, depth_m, error_m, land if land.any() else None)


def _spacing_m(chart: Chart) -> float:
    return float(np.sqrt(chart.spacing_m[0] * chart.spacing_m[1]))


def _beside(chart: Chart, first: Chart) -> Chart:
    """Return the chart with its longitudes counted on the same turn as those of the first."""
    apart = float(chart.longitude_deg.mean() - first.longitude_deg.mean())
    turns = 360 * round(apart / 360)
    if not turns:
        return chart
    return Chart(chart.name, chart.latitude_deg, chart.longitude_deg - turns, chart.depth_m, chart.error_m, chart.land)


def _all_touch(charts: Sequence[Chart]) -> None:
    """Raise ChartError unless each chart can be reached from the first over charts that overlap."""
    reached, left = [charts[0]], list(charts[1:])
    while left:
        found = next((chart for chart in left if any(_overlap(chart, other) for other in reached)), None)
        if found is None:
            names = ", ".join(chart.name for chart in left)
            raise ChartError(
                f"{names}: lies apart from {charts[0].name}; give charts that overlap, or audit each alone"
            )
        reached.append(found)
        left.remove(found)


def _overlap(one: Chart, other: Chart) -> bool:
    return all(
        first[0] <= second[-1] and second[0] <= first[-1]
        for first, second in ((one.latitude_deg, other.latitude_deg), (one.longitude_deg, other.longitude_deg))
    )


def _axes(charts: Sequence[Chart], most_cells: int) -> tuple[Floats, Floats]:
    """Return even axes over all charts, as far apart as the finest chart's rows, or as `most_cells` allows."""
    finest = min(charts, key=_spacing_m)
    lows, highs = ([edge(float(edge(axis)) for axis in axes) for axes in _both(charts)] for edge in (min, max))
    north_deg, east_deg = (abs(axis[1] - axis[0]) for axis in (finest.latitude_deg, finest.longitude_deg))
    spans = highs[0] - lows[0], highs[1] - lows[1]
    steps = [float(north_deg), float(east_deg)]
    while (counts := [int(span / step + 1e-9) + 1 for span, step in zip(spans, steps, strict=True)]) and (
        counts[0] * counts[1] > most_cells
    ):
        widen = max(1.001, float(np.sqrt(counts[0] * counts[1] / most_cells)) * 0.999)
        steps = [step * widen for step in steps]
    return (lows[0] + steps[0] * np.arange(max(counts[0], 2))), (lows[1] + steps[1] * np.arange(max(counts[1], 2)))


def _both(charts: Sequence[Chart]) -> tuple[list[Floats], list[Floats]]:
    return [chart.latitude_deg for chart in charts], [chart.longitude_deg for chart in charts]


def _onto(chart: Chart, latitudes: Floats, longitudes: Floats) -> tuple[Floats, Floats, Mask]:
    """Return depth, error and land of a chart on other axes."""
    row, column = _places(latitudes, chart.latitude_deg), _places(longitudes, chart.longitude_deg)
    coarser = min(row[1] - row[0], column[1] - column[0]) > 1.5
    if coarser:
        return _averaged(chart, latitudes, longitudes)
    rows, columns = np.meshgrid(row, column, indexing="ij")
    depth_m, error_m = (bilinear(held, rows, columns) for held in (chart.depth_m, chart.error_m))
    if chart.land is None:
        return depth_m, error_m, np.zeros(rows.shape, dtype=bool)
    dry = bilinear(chart.land.astype(np.float64), rows, columns) >= 0.5
    return depth_m, error_m, dry & ~np.isfinite(depth_m)


def _averaged(chart: Chart, latitudes: Floats, longitudes: Floats) -> tuple[Floats, Floats, Mask]:
    """Return the mean of a finer chart's nodes in each cell, the error with their spread in it, and mostly land."""
    rows, columns = len(latitudes), len(longitudes)
    row = np.round(_places(chart.latitude_deg, latitudes)).astype(np.int64)
    column = np.round(_places(chart.longitude_deg, longitudes)).astype(np.int64)
    cell = np.clip(row, 0, rows - 1)[:, None] * columns + np.clip(column, 0, columns - 1)[None, :]

    def total(values: Floats, where: Mask) -> Floats:
        sums = np.bincount(cell[where], weights=values[where], minlength=rows * columns).astype(np.float64)
        return sums.reshape(rows, columns)

    wet = np.isfinite(chart.depth_m)
    count = total(np.ones(wet.shape), wet)
    least = np.maximum(count, 1)
    depth_m = np.where(count > 0, total(chart.depth_m, wet) / least, np.nan)
    spread_m2 = np.maximum(total(chart.depth_m**2, wet) / least - depth_m**2, 0)
    error_m = np.sqrt(total(chart.error_m**2, wet) / least + spread_m2)
    dry = total(np.ones(wet.shape), chart.land) if chart.land is not None else np.zeros((rows, columns))
    return np.where(dry > count, np.nan, depth_m), error_m, dry > count


def _places(wanted: Floats, axis: Floats) -> Floats:
    """Return where values lie on an even axis, in steps from its start."""
    places: Floats = (wanted - axis[0]) / ((axis[-1] - axis[0]) / (len(axis) - 1))
    return places
