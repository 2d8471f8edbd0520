"""Points, lines and areas on the Earth, as an export writes them: WGS84 degrees, longitude before latitude.

Rules: coordinates are not rounded. What crosses the antimeridian is cut there in two (RFC 7946, 3.1.9), so lines and
areas are of several parts. Outer rings go against the clock (RFC 7946, 3.1.6). Well-known binary and text are those of
OGC 06-103r4 (8.2, 7.2), little endian.
"""

import struct
import sys
from array import array
from collections.abc import Iterable, Iterator, Sequence
from enum import IntEnum
from itertools import pairwise
from math import atan2, cos, degrees, hypot, pi, sin
from typing import NamedTuple

from shapely import Polygon, box, intersection

from relay.core.geodesy import point_at

CORNERS = 72
_HALF, _WHOLE = 180.0, 360.0


class ShapeKind(IntEnum):
    """Which shape: its number in well-known binary."""

    POINT = 1
    LINES = 5
    AREAS = 6


GEOJSON = {ShapeKind.POINT: "Point", ShapeKind.LINES: "MultiLineString", ShapeKind.AREAS: "MultiPolygon"}
_LINE, _AREA = 2, 3
_POINT = struct.Struct("<BIdd")
_COUNTED = struct.Struct("<BII")
_COUNT = struct.Struct("<I")


class Shape(NamedTuple):
    """A shape; `parts`: rows of longitude and latitude in turn, one for a point, a line each, or a ring each."""

    kind: ShapeKind
    parts: tuple[Sequence[float], ...]

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """The least and greatest longitude, and the least and greatest latitude."""
        if self.kind is ShapeKind.POINT:
            lon, lat = self.parts[0]
            return lon, lon, lat, lat
        lons = [value for part in self.parts for value in (min(part[0::2]), max(part[0::2]))]
        lats = [value for part in self.parts for value in (min(part[1::2]), max(part[1::2]))]
        return min(lons), max(lons), min(lats), max(lats)

    def wkb(self, head: bytes = b"") -> bytes:
        """Return it in well-known binary, behind a head."""
        if self.kind is ShapeKind.POINT:
            return head + _POINT.pack(1, ShapeKind.POINT, *self.parts[0])
        out = [head, _COUNTED.pack(1, self.kind, len(self.parts))]
        for part in self.parts:
            if self.kind is ShapeKind.LINES:
                out.append(_COUNTED.pack(1, _LINE, len(part) // 2))
            else:
                out += (_COUNTED.pack(1, _AREA, 1), _COUNT.pack(len(part) // 2))
            out.append(_little_endian(part))
        return b"".join(out)

    def wkt(self) -> str:
        """Return it in well-known text."""
        rows = [", ".join(f"{lon!r} {lat!r}" for lon, lat in _pairs(part)) for part in self.parts]
        if self.kind is ShapeKind.POINT:
            return f"POINT ({rows[0]})"
        if self.kind is ShapeKind.LINES:
            return "MULTILINESTRING (" + ", ".join(f"({row})" for row in rows) + ")"
        return "MULTIPOLYGON (" + ", ".join(f"(({row}))" for row in rows) + ")"

    def coordinates(self) -> list[object]:
        """Return its coordinates as GeoJSON nests them."""
        rows: list[object] = [[[lon, lat] for lon, lat in _pairs(part)] for part in self.parts]
        if self.kind is ShapeKind.POINT:
            return list(self.parts[0])
        return rows if self.kind is ShapeKind.LINES else [[row] for row in rows]


def _little_endian(part: Sequence[float]) -> bytes:
    """Return doubles as bytes, without a number made of each: a track of a day has half a million."""
    doubles = array("d", part)
    if sys.byteorder == "big":
        doubles.byteswap()
    return doubles.tobytes()


def point(longitude_deg: float, latitude_deg: float) -> Shape:
    """Return a point."""
    return Shape(ShapeKind.POINT, ((longitude_deg, latitude_deg),))


def track_of(places: Iterable[tuple[float, float]]) -> Shape | None:
    """Return the line through (longitude, latitude) pairs, cut where it crosses the antimeridian; None below two."""
    parts = [array("d")]
    for lon, lat in places:
        part = parts[-1]
        if part and abs(lon - part[-2]) > _HALF:
            side = _HALF if part[-2] > 0 else -_HALF
            east_deg = lon + 2 * side - part[-2]  # of the new place from the last: 0 from 180 to -180
            share = (side - part[-2]) / east_deg if east_deg else 0.0
            crossing = part[-1] + share * (lat - part[-1])
            if part[-2] != side:
                part.extend((side, crossing))
            parts.append(array("d", (-side, crossing)))
            part = parts[-1]
        part.extend((lon, lat))
    lines = tuple(part for part in parts if len(part) >= 4)
    return Shape(ShapeKind.LINES, lines) if lines else None


def area_of(ring: Sequence[tuple[float, float]]) -> Shape | None:
    """Return the area in a closed ring of (longitude, latitude) pairs, cut at the antimeridian; None if it is none."""
    unrolled, last = list[tuple[float, float]](), ring[0][0]
    for lon, lat in ring:
        last = lon + _WHOLE * round((last - lon) / _WHOLE)
        unrolled.append((last, lat))
    whole = Polygon(unrolled)
    if not whole.is_valid or whole.area == 0.0:
        return None
    lons = [lon for lon, _ in unrolled]
    if -_HALF <= min(lons) and max(lons) <= _HALF:
        return Shape(ShapeKind.AREAS, (_against_the_clock(unrolled),))
    parts = []
    for turn in (-_WHOLE, 0.0, _WHOLE):
        piece = intersection(whole, box(-_HALF + turn, -90.0, _HALF + turn, 90.0))
        if isinstance(piece, Polygon) and not piece.is_empty:
            parts.append(_against_the_clock([(lon - turn, lat) for lon, lat in piece.exterior.coords]))
    return Shape(ShapeKind.AREAS, tuple(parts)) if parts else None


def ellipse(latitude_deg: float, longitude_deg: float, axes: tuple[float, float, float]) -> Shape | None:
    """Return an ellipse (semi-axes in metres, true azimuth of the greater) of 72 corners; None where it has no width.

    Each corner lies on the ellipse in the plane, laid on the Earth by its azimuth and distance (geodesic, WGS84).
    """
    major_m, minor_m, azimuth_deg = axes
    if minor_m <= 0.0:
        return None
    corners = []
    for corner in range(CORNERS):
        angle = 2 * pi * corner / CORNERS
        along_m, across_m = major_m * cos(angle), minor_m * sin(angle)
        towards_deg = azimuth_deg + degrees(atan2(across_m, along_m))
        lat, lon = point_at((latitude_deg, longitude_deg), towards_deg, hypot(along_m, across_m))
        corners.append((lon, lat))
    return area_of([*corners, corners[0]])


def _pairs(part: Sequence[float]) -> Iterator[tuple[float, float]]:
    return zip(part[0::2], part[1::2], strict=True)


def _against_the_clock(ring: Sequence[tuple[float, float]]) -> "array[float]":
    twice = sum(one[0] * other[1] - other[0] * one[1] for one, other in pairwise(ring))
    return array("d", (value for pair in (ring if twice > 0 else reversed(ring)) for value in pair))
