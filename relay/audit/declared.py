"""The declared area on a chart: the cells in which an outsider knows the dive to be.

Rules: a cell counts by its middle; the same plane and the same edge as `core.area`, for all cells at once (Karney's
geodesics by PROJ, the even-odd rule).
"""

import numpy as np
from pyproj import Geod

from relay.audit.charts.chart import Chart, Floats, Mask
from relay.core.area import Area

_WGS84 = Geod(ellps="WGS84")


def declared_cells(chart: Chart, area: Area) -> Mask:
    """Return which cells (rows, columns) have their middle in the area."""
    latitude, longitude = np.meshgrid(chart.latitude_deg, chart.longitude_deg, indexing="ij")
    east_m, north_m, apart_m = _plane(latitude, longitude, area.corners[0])
    if area.radius_m is not None:
        return apart_m <= area.radius_m
    corners = np.array(area.corners, dtype=float)
    ring_east_m, ring_north_m, _ = _plane(corners[:, 0], corners[:, 1], area.corners[0])
    return _inside(east_m, north_m, ring_east_m, ring_north_m)


def _plane(latitude: Floats, longitude: Floats, origin: tuple[float, float]) -> tuple[Floats, Floats, Floats]:
    """Return metres east and north about an origin on the azimuthal equidistant plane, and the distance."""
    flat = latitude.ravel(), longitude.ravel()
    from_latitude, from_longitude = np.full(flat[0].size, origin[0]), np.full(flat[0].size, origin[1])
    out, _, apart_m = _WGS84.inv(from_longitude, from_latitude, flat[1], flat[0])
    azimuth = np.radians(out)
    east_m, north_m = apart_m * np.sin(azimuth), apart_m * np.cos(azimuth)
    shape = latitude.shape
    return east_m.reshape(shape), north_m.reshape(shape), np.asarray(apart_m).reshape(shape)


def _inside(x: Floats, y: Floats, ring_x: Floats, ring_y: Floats) -> Mask:
    """Return which points lie in a polygon: those whose ray to the east crosses an odd number of edges."""
    odd = np.zeros(x.shape, dtype=bool)
    for x1, y1, x2, y2 in zip(ring_x, ring_y, np.roll(ring_x, -1), np.roll(ring_y, -1), strict=True):
        if y1 != y2:
            odd ^= ((y1 > y) != (y2 > y)) & (x < x1 + (y - y1) * (x2 - x1) / (y2 - y1))
    return odd
