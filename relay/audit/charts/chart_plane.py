"""Charts whose grid lies in a projection, or is turned: laid on a grid of latitude and longitude of their own spacing.

Rules: WGS84 by PROJ; each cell of the new grid is taken from where it lies in the old one, linear both ways.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from pyproj import CRS, Transformer

from relay.audit.charts.chart import Chart, Floats
from relay.audit.charts.chart_grid import MOST_CELLS, chart_of_grid, fits, spread, unwrapped
from relay.audit.charts.chart_sampling import bilinear
from relay.core.errors import ChartError

WRITE_ANEW = "look how its grid was laid (transform, EPSG code), and write it anew in EPSG:4326"


@dataclass(frozen=True)
class Plane:
    """Where the pixels of a grid lie: x and y of the middle of pixel (column, row) are `affine` of these, in `crs`.

    `affine` (2, 3): x = affine[0] . (column, row, 1), y likewise; in degrees east and north where `crs` is geographic.
    """

    crs: CRS
    affine: Floats

    @property
    def upright(self) -> bool:
        """Whether rows and columns are latitudes and longitudes as they stand."""
        return bool(self.crs.is_geographic and not self.affine[0, 1] and not self.affine[1, 0] and self._is_wgs84)

    def axes(self, rows: int, columns: int) -> tuple[Floats, Floats]:
        """Return the latitudes of rows and longitudes of columns of an upright grid, degrees."""
        longitudes = self.affine[0, 0] * np.arange(columns) + self.affine[0, 2]
        return self.affine[1, 1] * np.arange(rows) + self.affine[1, 2], longitudes

    def placed(self, row: Floats, column: Floats) -> tuple[Floats, Floats]:
        """Return latitude and longitude, degrees, of places given in rows and columns."""
        x = self.affine[0, 0] * column + self.affine[0, 1] * row + self.affine[0, 2]
        y = self.affine[1, 0] * column + self.affine[1, 1] * row + self.affine[1, 2]
        longitude, latitude = self._to_wgs84.transform(x, y)
        return latitude, longitude

    def found(self, latitude_deg: Floats, longitude_deg: Floats) -> tuple[Floats, Floats]:
        """Return row and column of places, fractional."""
        x, y = self._to_wgs84.transform(longitude_deg, latitude_deg, direction="INVERSE")
        back = np.linalg.inv(self.affine[:, :2])
        x, y = x - self.affine[0, 2], y - self.affine[1, 2]
        return back[1, 0] * x + back[1, 1] * y, back[0, 0] * x + back[0, 1] * y

    @property
    def _is_wgs84(self) -> bool:
        datum = self.crs.ellipsoid
        return datum is not None and abs(datum.semi_major_metre - 6_378_137) < 1  # within a metre: WGS84, NAD83, ETRS89

    @cached_property
    def _to_wgs84(self) -> Transformer:
        return Transformer.from_crs(self.crs, CRS.from_epsg(4326), always_xy=True)


def chart_of_plane(name: str, plane: Plane, elevation_m: Floats, *, error_factor: float = 1.0) -> Chart:
    """Return the chart of elevations (rows, columns), metres positive up, whose pixels lie in a plane."""
    rows, columns = elevation_m.shape
    with np.errstate(over="ignore", invalid="ignore"):  # what comes of it has no place on the earth, and is refused
        axes = plane.axes(rows, columns) if plane.upright else _axes(name, plane, rows, columns)
    _check_places(name, plane, *axes)
    if plane.upright:
        return chart_of_grid(name, *axes, elevation_m, error_factor=error_factor)
    north, east = np.meshgrid(*axes, indexing="ij")
    with np.errstate(invalid="ignore"):  # PROJ gives infinity for what has no place in the plane: nothing is there
        at = plane.found(north.ravel(), (east.ravel() + 180) % 360 - 180)
    values = bilinear(elevation_m, *at).reshape(north.shape)
    return chart_of_grid(name, *axes, values, error_factor=error_factor)


def _axes(name: str, plane: Plane, rows: int, columns: int) -> tuple[Floats, Floats]:
    """Return even latitudes and longitudes over the grid's edge, as far apart as its pixels in its middle."""
    along, down = np.linspace(0, columns - 1, 50), np.linspace(0, rows - 1, 50)
    edge_row = np.concatenate([np.zeros(50), np.full(50, rows - 1.0), down, down])
    edge_column = np.concatenate([along, along, np.zeros(50), np.full(50, columns - 1.0)])
    middle = (rows - 1) / 2 + np.array([0.0, 1.0, 0.0]), (columns - 1) / 2 + np.array([0.0, 0.0, 1.0])
    (latitudes, longitudes), (north, east) = plane.placed(edge_row, edge_column), plane.placed(*middle)
    _check_places(name, plane, latitudes, longitudes, north, east)
    longitudes, east = unwrapped(longitudes), unwrapped(east)
    shrink = np.cos(np.radians(north[0]))
    up, across = np.diff(north[[0, 1, 0, 2]])[::2], np.diff(east[[0, 1, 0, 2]])[::2] * shrink
    step = float(np.sqrt(abs(up[0] * across[1] - up[1] * across[0])))  # the side of a square as large as a pixel
    steps = step, step / float(shrink)
    if not (min(steps) > 0 and np.linalg.det(plane.affine[:, :2])):
        raise ChartError(f"{name}: its pixels have no size on the earth in {plane.crs.name}; {WRITE_ANEW}")
    spans = float(np.ptp(latitudes)), float(np.ptp(longitudes))
    counts = [max(int(min(span / each, MOST_CELLS)) + 1, 2) for span, each in zip(spans, steps, strict=True)]
    if spread(counts[0], counts[1], rows * columns):
        raise ChartError(
            f"{name}: its {rows:,} by {columns:,} pixels would come to {counts[0]:,} by {counts[1]:,} cells, so far "
            f"apart or so askew do they lie in {plane.crs.name}; {WRITE_ANEW}"
        )
    fits(*counts)
    latitude, longitude = (
        held.min() + each * np.arange(count)
        for held, each, count in zip((latitudes, longitudes), steps, counts, strict=True)
    )
    return latitude, longitude


def _check_places(name: str, plane: Plane, *degrees: Floats) -> None:
    if not all(np.isfinite(held).all() for held in degrees):
        raise ChartError(f"{name}: part of its grid has no place on the earth in {plane.crs.name}; {WRITE_ANEW}")
