"""From what a chart file holds to a Chart: axes put in order, nodes that are no grid laid on one, land left out.

Rules: nothing is made up: a cell is as deep as the nodes about it say, or unknown; no interpolation crosses land or a
gap wider than two and a half times the nodes' own spacing. Rows within half a degree of a pole are left out. Elevation
here is positive up, as in most files.
"""

from typing import Any

import numpy as np

from relay.audit.charts.chart import Chart, Floats, Mask
from relay.audit.charts.chart_error import seabed_error
from relay.audit.charts.chart_placeholder import sounded
from relay.core.errors import ChartError

EVEN = 0.05  # how far, in steps, an axis may be from even steps and still be taken for them: coordinates are rounded
WIDEST = 2.5  # the longest side, in spacings, of a triangle that is interpolated in
FARTHEST = 1.5  # how far, in spacings, a cell may lie from the nearest node
MOST_CELLS = 8_000_000  # reading takes up to 140 bytes for each: a little more than 1 GB
MOST_SPREAD = 50  # cells for each number of a file: a narrow strip that lies across the grid comes to some tens
FEW_CELLS = 1_000_000  # so many are laid however few numbers there are
FARTHEST_NORTH_DEG = 89.5  # beyond, a degree of longitude is too short to lay a dive on rows and columns
EARTH_M = 6_371_008.8  # mean radius (IUGG), for the plane in which nodes are triangulated alone


def chart_of_grid(
    name: str, latitude_deg: Floats, longitude_deg: Floats, elevation_m: Floats, *, error_factor: float = 1.0
) -> Chart:
    """Return the chart of elevations (latitudes, longitudes) in metres, positive up, NaN where unknown.

    Axes may run either way, in -180..180 or 0..360, and over the antimeridian; uneven steps (Mercator) are resampled
    linearly to as many even ones. Raises ChartError where there is no water or no axis.
    """
    rows = np.argsort(latitude_deg, kind="stable")
    east = unwrapped(longitude_deg)
    columns = np.argsort(east, kind="stable")
    latitudes, longitudes = latitude_deg[rows], east[columns]
    elevation_m = elevation_m[np.ix_(rows, columns)].astype(np.float64)
    if min(elevation_m.shape) < 2:
        raise ChartError(f"{name}: a chart needs two rows and two columns at least, this one is {elevation_m.shape}")
    elevation_m, doubt_m = sounded(elevation_m)
    laid = [_even(name, "latitude", latitudes, held) for held in (elevation_m, doubt_m)]
    turned = [_even(name, "longitude", longitudes, held.T) for _, held in laid]
    return _finished(name, laid[0][0], turned[0][0], turned[0][1].T, turned[1][1].T, error_factor)


def chart_of_nodes(
    name: str, latitude_deg: Floats, longitude_deg: Floats, elevation_m: Floats, *, error_factor: float = 1.0
) -> Chart:
    """Return the chart of single nodes, all (nodes,): their own grid if they lie on one, else one of their density.

    Raises ChartError where they make no chart.
    """
    known = np.isfinite(elevation_m)
    latitudes, longitudes = latitude_deg[known], unwrapped(longitude_deg[known])
    elevation_m = elevation_m[known].astype(np.float64)
    if len(elevation_m) < 4:
        raise ChartError(f"{name}: {len(elevation_m)} nodes with a depth are too few for a chart")
    rows, columns = _steps_of(latitudes), _steps_of(longitudes)
    if rows and columns and rows[1] * columns[1] <= MOST_SPREAD * len(elevation_m):
        axes: list[Floats] = [low + step * np.arange(count) for low, count, step in (rows, columns)]
        values = _placed(axes, latitudes, longitudes, elevation_m)
        return chart_of_grid(name, axes[0], axes[1], values, error_factor=error_factor)
    return _resampled(name, latitudes, longitudes, elevation_m, error_factor)


def unwrapped(longitude_deg: Floats) -> Floats:
    """Return longitudes that go on past 180 rather than jump: they begin after the widest gap of the circle."""
    turned = np.mod(longitude_deg, 360.0)
    held = np.unique(turned)
    if len(held) < 2:
        return turned
    gaps = np.diff(np.append(held, held[0] + 360))
    start = held[(int(np.argmax(gaps)) + 1) % len(held)]
    first = (start + 180) % 360 - 180
    unrolled: Floats = first + np.mod(turned - start, 360.0)
    return unrolled


def _finished(
    name: str, latitudes: Floats, longitudes: Floats, elevation_m: Floats, doubt_m: Floats, error_factor: float
) -> Chart:
    level = np.abs(latitudes) <= FARTHEST_NORTH_DEG
    if level.sum() < 2:
        raise ChartError(f"{name}: all of it lies within half a degree of a pole, where no dive can be audited")
    latitudes, elevation_m, doubt_m = latitudes[level], elevation_m[level], doubt_m[level]
    land = elevation_m >= 0
    depth_m = np.where(elevation_m < 0, -elevation_m, np.nan)
    if not np.isfinite(depth_m).any():
        raise ChartError(f"{name}: nothing lies under water; elevations are positive up, depths positive down")
    error_m = np.where(elevation_m < 0, np.hypot(seabed_error(elevation_m), doubt_m) * error_factor, np.nan)
    return Chart(name, latitudes, longitudes, depth_m, error_m, land if land.any() else None)


def _even(name: str, axis: str, degrees: Floats, values: Floats) -> tuple[Floats, Floats]:
    """Return an axis of even steps over the same span, and values (along it, ...) at them."""
    steps = np.diff(degrees)
    if not np.isfinite(degrees).all() or (steps <= 0).any():
        raise ChartError(f"{name}: the {axis} axis holds a value twice, or none; write each row and column once")
    even = np.linspace(degrees[0], degrees[-1], len(degrees))
    if np.abs(even - degrees).max() <= EVEN * even[1] - EVEN * even[0]:
        return even, values
    at = np.clip(np.searchsorted(degrees, even, side="right") - 1, 0, len(degrees) - 2)
    share = ((even - degrees[at]) / steps[at])[:, None]
    low, high = values[at], values[at + 1]
    between = low + share * (high - low)
    nearer = np.where(share < 0.5, low, high)  # beside the unknown the nearer node stands, if it is known
    return even, np.where(np.isfinite(between), between, nearer)


def _steps_of(degrees: Floats) -> tuple[float, int, float] | None:
    """Return lowest value, count and step of the even axis that coordinates lie on; None where they lie on none."""
    held = np.unique(degrees)
    starts = np.flatnonzero(np.append(True, np.diff(held) > 2e-6))
    ends = np.append(starts[1:], len(held)) - 1
    if len(starts) < 2 or (held[ends] - held[starts]).max() > 5e-6:
        return None
    middle = (held[starts] + held[ends]) / 2
    gaps = np.diff(middle)
    step = float(np.median(gaps[gaps < 1.5 * gaps.min()]))
    count = round(float(middle[-1] - middle[0]) / step) + 1
    if count > 100_000:
        return None
    step = float(middle[-1] - middle[0]) / (count - 1)
    off = (middle - middle[0]) / step
    even = np.abs(off - np.round(off)).max() <= 2 * EVEN
    return (float(middle[0]), count, step) if even else None


def _placed(axes: list[Floats], latitudes: Floats, longitudes: Floats, elevation_m: Floats) -> Floats:
    rows, columns = (len(axis) for axis in axes)
    fits(rows, columns)
    row, column = (
        np.round((held - axis[0]) / (axis[1] - axis[0])).astype(np.int64)
        for held, axis in zip((latitudes, longitudes), axes, strict=True)
    )
    cell = row * columns + column
    count = np.bincount(cell, minlength=rows * columns)
    total = np.bincount(cell, weights=elevation_m, minlength=rows * columns)
    mean: Floats = np.divide(total, count, out=np.full(total.shape, np.nan), where=count > 0)
    return mean.reshape(rows, columns)


def _resampled(name: str, latitudes: Floats, longitudes: Floats, elevation_m: Floats, error_factor: float) -> Chart:
    """Lay nodes on a grid of their own density, linearly within the triangles between them (Delaunay)."""
    from scipy.spatial import Delaunay, QhullError, cKDTree

    metre_deg = np.degrees(1 / EARTH_M)
    scale = np.array([metre_deg / np.cos(np.radians(latitudes.mean())), metre_deg])
    origin = np.array([longitudes.min(), latitudes.min()])
    plane = (np.column_stack([longitudes, latitudes]) - origin) / scale
    try:
        triangles = Delaunay(plane)
    except (QhullError, ValueError) as error:
        raise ChartError(f"{name}: the nodes lie on one line, or on one place; a chart needs an area") from error
    spacing_m = _density(plane[triangles.simplices])
    span = plane.max(axis=0)
    columns, rows = (int(np.floor(length / spacing_m)) + 1 for length in span)
    if spread(rows, columns, len(elevation_m)):
        raise ChartError(
            f"{name}: {len(elevation_m):,} nodes would come to {rows:,} by {columns:,} cells, so unevenly do they lie; "
            "cut it to the area about the dive"
        )
    fits(rows, columns)
    if min(rows, columns) < 2:
        raise ChartError(f"{name}: the nodes make a strip narrower than their spacing of {spacing_m:.0f} m, no chart")
    axes = [origin[at] + scale[at] * spacing_m * np.arange(count) for at, count in ((1, rows), (0, columns))]
    east, north = np.meshgrid(spacing_m * np.arange(columns), spacing_m * np.arange(rows))
    cells = np.column_stack([east.ravel(), north.ravel()])
    values = _linear(triangles, elevation_m, cells, WIDEST * spacing_m)
    held = np.flatnonzero(np.isfinite(values))
    away_m, _ = cKDTree(plane).query(cells[held], distance_upper_bound=FARTHEST * spacing_m)
    values[held[np.isinf(away_m)]] = np.nan
    return chart_of_grid(name, axes[0], axes[1], values.reshape(rows, columns), error_factor=error_factor)


def _density(corners: Floats) -> float:
    """Return the spacing of nodes in metres from their triangles (triangles, 3, 2): two triangles go with each node."""
    first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area_m2 = np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) / 2
    return float(np.sqrt(2 * np.median(area_m2)))


def _linear(triangles: Any, elevation_m: Floats, cells: Floats, longest_m: float) -> Floats:
    """Return the elevation at cells (cells, 2), NaN outside triangles whose sides are all short enough."""
    corners = triangles.points[triangles.simplices]
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)
    short: Mask = sides.max(axis=1) <= longest_m
    within = triangles.find_simplex(cells)
    held = np.flatnonzero((within >= 0) & short[within])
    turn = triangles.transform[within[held]]
    first_two = np.einsum("nij,nj->ni", turn[:, :2], cells[held] - turn[:, 2])
    share = np.column_stack([first_two, 1 - first_two.sum(axis=1)])
    values = np.full(len(cells), np.nan)
    values[held] = (share * elevation_m[triangles.simplices[within[held]]]).sum(axis=1)
    return values


def fits(rows: int, columns: int) -> None:
    """Raise ChartError where a grid is too large to be worked with."""
    if rows * columns > MOST_CELLS:
        raise ChartError(
            f"a chart of {rows:,} by {columns:,} cells is more than can be matched; cut it to the area about the dive"
        )


def spread(rows: int, columns: int, numbers: int) -> bool:
    """Say if so many numbers of a file would be spread over a grid that is far larger."""
    return rows * columns > max(FEW_CELLS, MOST_SPREAD * numbers)
