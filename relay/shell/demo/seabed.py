"""The invented seabed at the invented place: one analytic depth, and the things that lie on it.

Rules: `INVENTED_PLACE` is the only coordinate of the whole scenario (leak tests search public bytes for it);
everything else is metres east and north of it. Mid-ocean, more than a thousand kilometres from any land, and
no chart shows a seabed this shallow there: nobody can take it for a real site (from memory).
"""

from dataclasses import dataclass
from functools import lru_cache
from math import cos, exp, hypot, pi, radians, sin
from typing import NamedTuple


class Place(NamedTuple):
    """A position on the Earth (WGS 84)."""

    latitude_deg: float
    longitude_deg: float


class Point(NamedTuple):
    """Metres east and north of the invented place."""

    east_m: float
    north_m: float

    def plus(self, east_m: float, north_m: float) -> "Point":
        """Return the point moved by metres east and north."""
        return Point(self.east_m + east_m, self.north_m + north_m)

    def metres_to(self, other: "Point") -> float:
        """Return the distance to `other`."""
        return hypot(other.east_m - self.east_m, other.north_m - self.north_m)


INVENTED_PLACE = Place(latitude_deg=-29.41736, longitude_deg=-22.68359)
DEPTH_AT_PLACE_M = 1120.0
LINE_BEARING_DEG = 62.0


def on_plan(along_m: float, across_m: float) -> Point:
    """Return the point at metres along and across (to the left of) the survey lines."""
    sine, cosine = sin(radians(LINE_BEARING_DEG)), cos(radians(LINE_BEARING_DEG))
    return Point(along_m * sine - across_m * cosine, along_m * cosine + across_m * sine)


_EDGE = 1.6


@dataclass(frozen=True, slots=True)
class Mound:
    """A thing that stands out of the mud (height below zero: a hollow in it), flat-topped and steep-sided.

    `along` and `across` turn metres east and north of the centre into parts of its half length and half width.
    """

    centre: Point
    along: tuple[float, float]
    across: tuple[float, float]
    height_m: float

    def relief_m(self, east_m: float, north_m: float) -> float:
        """Return how far the seabed is raised at a point."""
        east_m, north_m = east_m - self.centre.east_m, north_m - self.centre.north_m
        along = east_m * self.along[0] + north_m * self.along[1]
        across = east_m * self.across[0] + north_m * self.across[1]
        squared = along * along + across * across
        return self.height_m * exp(-squared * squared) if squared < _EDGE * _EDGE else 0.0

    def reach_m(self) -> float:
        """Return the distance from the centre beyond which nothing is raised."""
        return _EDGE / min(hypot(*self.along), hypot(*self.across))


def mound(centre: Point, half_length_m: float, half_width_m: float, bearing_deg: float, height_m: float) -> Mound:
    """Return a mound whose length lies along a bearing."""
    sine, cosine = sin(radians(bearing_deg)), cos(radians(bearing_deg))
    along = (sine / half_length_m, cosine / half_length_m)
    return Mound(centre, along, (cosine / half_width_m, -sine / half_width_m), height_m)


OUTCROP = on_plan(-52.0, -22.0)
DRUM = on_plan(2.0, 76.0)
BOILERS = on_plan(6.0, 230.0)
HULL_BEARING_DEG = LINE_BEARING_DEG + 38.0


def along_hull(metres: float, abeam_m: float = 0.0) -> Point:
    """Return the point at metres from the boilers towards the bow, and to the right of the ship's axis."""
    sine, cosine = sin(radians(HULL_BEARING_DEG)), cos(radians(HULL_BEARING_DEG))
    return BOILERS.plus(metres * sine + abeam_m * cosine, metres * cosine - abeam_m * sine)


BOW = along_hull(41.0)
PLATES = along_hull(20.0, 3.0)
STERN_BREAK = along_hull(-24.0, -2.0)

MOUNDS = (
    mound(OUTCROP, 9.0, 6.0, 20.0, 4.2),
    mound(OUTCROP.plus(6.0, 5.0), 5.0, 4.0, 75.0, 2.6),
    mound(DRUM, 1.4, 1.4, 0.0, 1.3),
    mound(DRUM.plus(4.0, -2.0), 7.0, 3.0, 130.0, 0.4),
    mound(along_hull(0.0, 2.6), 2.6, 2.2, HULL_BEARING_DEG, 3.6),
    mound(along_hull(0.0, -2.6), 2.6, 2.2, HULL_BEARING_DEG, 3.4),
    mound(PLATES, 9.0, 3.5, HULL_BEARING_DEG, 1.3),
    mound(along_hull(12.0, -5.0), 4.0, 1.2, HULL_BEARING_DEG, 2.1),
    mound(STERN_BREAK, 7.0, 4.0, HULL_BEARING_DEG + 25.0, 1.6),
    mound(BOW, 7.0, 3.0, HULL_BEARING_DEG - 6.0, 5.4),
    mound(along_hull(8.0, 12.0), 32.0, 5.5, HULL_BEARING_DEG, -1.7),
)


_SQUARE_M = 20.0


@lru_cache(maxsize=1024)
def _mounds_about(column: int, row: int) -> tuple[Mound, ...]:
    """Return the mounds that may reach into a square of the site: nearly everywhere none."""
    middle = Point(column * _SQUARE_M, row * _SQUARE_M)
    return tuple(each for each in MOUNDS if each.centre.metres_to(middle) < each.reach_m() + _SQUARE_M)


def seabed_depth_m(east_m: float, north_m: float) -> float:
    """Return the depth of the seabed in metres, positive down: slope, sand waves, ripples, mounds and the scour."""
    slope = 0.021 * (0.8 * north_m + 0.6 * east_m)
    waves = 0.35 * sin(2 * pi * (east_m - 0.4 * north_m) / 27.0) + 0.2 * sin(2 * pi * (north_m + 0.2 * east_m) / 71.0)
    ripples = 0.05 * sin(2 * pi * (0.9 * east_m + 0.45 * north_m) / 1.9)
    near = _mounds_about(round(east_m / _SQUARE_M), round(north_m / _SQUARE_M))
    mounds = sum([each.relief_m(east_m, north_m) for each in near])
    return DEPTH_AT_PLACE_M - slope + waves + ripples - mounds
