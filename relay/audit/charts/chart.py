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
class ErrorLaw:
    """How the errors of a chart hang together.

    Two of them `apart_m` metres apart are correlated by exp(-(apart_m / `length_m`) ** `power`); `scales`: by how much
    a place's errors are larger or smaller than its chart's `error_m` says, and for which share of places.
    """

    length_m: float
    power: float = 2.0
    scales: tuple[tuple[float, float], ...] = ((0.35, 0.4), (1.0, 0.45), (2.2, 0.15))


@dataclass(frozen=True)
class Chart:
    """A grid of depths.

    `latitude_deg` (rows,) and `longitude_deg` (columns,), both ascending by equal steps; `depth_m` and `error_m`
    (rows, columns) in metres: the charted depth, and the standard deviation of what the seabed may differ from it.
    `land` (rows, columns): where it is known to be dry; None where the file told depths alone.
    `law`: how these errors hang together; by default over most of a cell (`error_law` learns it).
    """

    name: str
    latitude_deg: Floats
    longitude_deg: Floats
    depth_m: Floats
    error_m: Floats
    land: Mask | None = None
    law: ErrorLaw | None = None

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.depth_m.shape[0], self.depth_m.shape[1]

    @cached_property
    def step_deg(self) -> tuple[float, float]:
        """Degrees between rows, and between columns."""
        latitudes, longitudes = self.latitude_deg, self.longitude_deg
        return (
            float(latitudes[-1] - latitudes[0]) / (len(latitudes) - 1),
            float(longitudes[-1] - longitudes[0]) / (len(longitudes) - 1),
        )

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
        return float(north[middle] * self.step_deg[0]), float(east[middle] * self.step_deg[1])

    @cached_property
    def cell_km2(self) -> Floats:
        """The area of each cell, square kilometres (rows, columns)."""
        north, east = self.metres_per_degree
        row = north * self.step_deg[0] * east * self.step_deg[1] / 1e6
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
        row = round((latitude_deg - float(self.latitude_deg[0])) / self.step_deg[0])
        east_deg = (longitude_deg - float(self.longitude_deg[0]) + 180) % 360 - 180
        if east_deg < -self.step_deg[1]:
            east_deg += 360
        column = round(east_deg / self.step_deg[1])
        rows, columns = self.shape
        return (row, column) if 0 <= row < rows and 0 <= column < columns else None
