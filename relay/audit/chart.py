"""A chart as an outsider has it: depths on a regular grid of latitude and longitude, and how wrong each may be.

Rules: depth is positive down, NaN where there is land or nothing is known; rows go north, columns east, evenly spaced;
longitudes go on past 180 rather than jump. Nothing here reads a file (`chart_files`).
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating[Any]]
Mask = NDArray[np.bool_]

WGS84_AREA = 6_378.137, 0.00669437999014  # semi-major axis in km and first eccentricity squared, EPSG 7030


@dataclass(frozen=True)
class Chart:
    """A grid of depths.

    `latitude_deg` (rows,) and `longitude_deg` (columns,), both ascending by equal steps; `depth_m` and `error_m`
    (rows, columns) in metres: the charted depth, and the standard deviation of what the seabed may differ from it.
    `land` (rows, columns): where it is known to be dry; None where the file told depths alone.
    """

    name: str
    latitude_deg: Floats
    longitude_deg: Floats
    depth_m: Floats
    error_m: Floats
    land: Mask | None = None

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.depth_m.shape[0], self.depth_m.shape[1]

    @cached_property
    def metres_per_degree(self) -> tuple[Floats, Floats]:
        """Metres to a degree of latitude and of longitude, by row: the radii of curvature of the ellipsoid (WGS84)."""
        semi_major_m, squared = WGS84_AREA[0] * 1e3, WGS84_AREA[1]
        sine = np.sin(np.radians(self.latitude_deg))
        shrink = 1 - squared * sine**2
        north = np.radians(semi_major_m * (1 - squared) / shrink**1.5)
        east = np.radians(semi_major_m / np.sqrt(shrink)) * np.cos(np.radians(self.latitude_deg))
        return north, east

    @cached_property
    def spacing_m(self) -> tuple[float, float]:
        """Metres between rows, and between columns in the middle of the chart."""
        north, east = self.metres_per_degree
        middle = len(north) // 2
        return float(north[middle] * self._step(self.latitude_deg)), float(
            east[middle] * self._step(self.longitude_deg)
        )

    @cached_property
    def cell_km2(self) -> Floats:
        """The area of each cell, square kilometres (rows, columns)."""
        north, east = self.metres_per_degree
        row = north * self._step(self.latitude_deg) * east * self._step(self.longitude_deg) / 1e6
        return np.repeat(row[:, None], self.shape[1], axis=1)

    @cached_property
    def candidates(self) -> Mask:
        """The cells in which a dive may be: wet ones and their neighbours, where a coarse chart has its shore wrong."""
        wet = np.pad(np.isfinite(self.depth_m), 1)
        rows, columns = self.shape
        near = np.zeros(self.shape, dtype=bool)
        for down in range(3):
            for across in range(3):
                near |= wet[down : down + rows, across : across + columns]
        return near

    def index(self, latitude_deg: float, longitude_deg: float) -> tuple[int, int] | None:
        """Return row and column of the cell that holds a place; None outside the chart."""
        row = round((latitude_deg - float(self.latitude_deg[0])) / self._step(self.latitude_deg))
        east_deg = (longitude_deg - float(self.longitude_deg[0]) + 180) % 360 - 180
        if east_deg < -self._step(self.longitude_deg):
            east_deg += 360
        column = round(east_deg / self._step(self.longitude_deg))
        rows, columns = self.shape
        return (row, column) if 0 <= row < rows and 0 <= column < columns else None

    @staticmethod
    def _step(degrees: Floats) -> float:
        return float(degrees[-1] - degrees[0]) / (len(degrees) - 1)
