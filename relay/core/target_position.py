"""Where a target lies that a vehicle sees in a direction at a range, and how well that is known.

Rules: exact, for the ship alone. The range is slant or horizontal, and says which. Uncertainties are standard ones (one
sigma) of independent quantities and go on by the law of propagation (JCGM 100:2008, 5.1.2; for two output quantities
JCGM 102:2011, 6.2), to first order: where that isn't good enough, `first_order` is False and the region is
wrong, mostly too small. Not for navigation, vehicle control or collision avoidance.
"""

from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from math import atan2, cos, degrees, exp, hypot, log, pi, radians, sin, sqrt

from relay.core import given
from relay.core.errors import SurveyError
from relay.core.geodesy import Anchor, plane, point_at

# The region that holds 95 % of a Gaussian in the plane (JCGM 102:2011, 6.5.2): chi-square with two degrees of freedom.
FACTOR_95 = sqrt(-2 * log(0.05))

# Terms of second order up to this share of those of the first: the 95 % ellipse then holds 94 to 96 % of a Monte Carlo
# run (JCGM 101:2008); the tests try it.
MOST_BEND = 0.15
FURTHEST_M = 20_000.0
_STEPS = 720


class RangeIs(StrEnum):
    """What a range was measured along."""

    SLANT = "slant"
    HORIZONTAL = "horizontal"


@dataclass(frozen=True, slots=True)
class Fix:
    """A position and the standard uncertainty of it, the same in east and in north, metres."""

    latitude_deg: float
    longitude_deg: float
    sigma_m: float


@dataclass(frozen=True, slots=True)
class Measured:
    """A value and its standard uncertainty, in the unit that the field's name says."""

    value: float
    sigma: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """What a vehicle tells of a target.

    `heading_deg` is true; `bearing_deg` is relative to the bow, clockwise, from -180 to 360. A slant range needs
    `depression_deg` (below the horizontal, negative above) or `height_m` (of the vehicle above the target, negative
    below), not both; a horizontal range takes neither.
    """

    heading_deg: Measured
    bearing_deg: Measured
    range_m: Measured
    range_is: RangeIs
    depression_deg: Measured | None = None
    height_m: Measured | None = None


@dataclass(frozen=True, slots=True)
class Spread:
    """How well a position is known, metres at the target.

    The covariance of east and north (m²); the 95 % ellipse (semi-axes, and the true azimuth of the greater one from 0
    up to 180; 0 for a circle); the radius of the circle about the position that holds 95 %; and the distance root mean
    square (`drms_m`), within which lie 63 to 68 %.
    """

    east_m2: float
    north_m2: float
    east_north_m2: float
    major_95_m: float
    minor_95_m: float
    major_azimuth_deg: float
    radius_95_m: float
    drms_m: float


@dataclass(frozen=True, slots=True)
class Target:
    """A target: where it lies, seen from the vehicle and on the Earth, and how well that is known."""

    latitude_deg: float
    longitude_deg: float
    azimuth_deg: float
    horizontal_m: float
    spread: Spread
    first_order: bool


def target_position(vehicle: Fix, sighting: Sighting) -> Target:
    """Return where the target lies: at the end of a geodesic (WGS84) of the horizontal range in the true direction.

    Raises SurveyError where a value is none or out of its range, a needed one is missing, or two contradict each other.
    """
    start = given.position("vehicle's", vehicle.latitude_deg, vehicle.longitude_deg)
    given.number("vehicle's sigma_m", vehicle.sigma_m, 0.0)
    azimuth_deg, turn_sigma_deg = _direction(sighting)
    horizontal_m, along_sigma_m, bend_m = _horizontal(sighting)
    latitude_deg, longitude_deg = point_at(start, azimuth_deg, horizontal_m)
    # East and north are those at the target: near a pole they differ from those at the vehicle.
    turn_deg = plane(latitude_deg, longitude_deg, Anchor(*start, 0))[2] if horizontal_m > 0.0 else 0.0
    turn_sigma = radians(turn_sigma_deg)
    across_sigma_m = horizontal_m * turn_sigma
    spread = _spread(vehicle.sigma_m, along_sigma_m, across_sigma_m, radians(azimuth_deg - turn_deg))
    along_ok = bend_m + across_sigma_m * turn_sigma / 2 <= MOST_BEND * hypot(vehicle.sigma_m, along_sigma_m)
    across_ok = along_sigma_m * turn_sigma <= MOST_BEND * hypot(vehicle.sigma_m, across_sigma_m)
    return Target(latitude_deg, longitude_deg, azimuth_deg, horizontal_m, spread, along_ok and across_ok)


def spread_of(east_m2: float, north_m2: float, east_north_m2: float) -> Spread:
    """Return the spread that a covariance of east and north (m²) tells of; SurveyError if it is no covariance."""
    given.number("east_m2", east_m2, 0.0)
    given.number("north_m2", north_m2, 0.0)
    given.number("east_north_m2", east_north_m2)
    middle, half = (east_m2 + north_m2) / 2, hypot((north_m2 - east_m2) / 2, east_north_m2)
    if half > middle * (1 + 1e-9):
        raise SurveyError(f"east_north_m2 is {east_north_m2:g}: greater than the two variances allow")
    major_m, minor_m = sqrt(middle + half), sqrt(max(middle - half, 0.0))
    round_enough = half <= 1e-12 * middle
    turn_deg = 0.0 if round_enough else degrees(atan2(2 * east_north_m2, north_m2 - east_m2) / 2) % 180.0
    return Spread(
        east_m2,
        north_m2,
        east_north_m2,
        FACTOR_95 * major_m,
        FACTOR_95 * minor_m,
        turn_deg,
        _radius_95_m(major_m, minor_m),
        sqrt(east_m2 + north_m2),
    )


def _direction(sighting: Sighting) -> tuple[float, float]:
    """Return the true azimuth and its standard uncertainty, degrees."""
    heading, bearing = sighting.heading_deg, sighting.bearing_deg
    given.field("heading_deg", heading.value)
    given.number("bearing_deg", bearing.value, -180.0, 360.0)
    for name, measured in (("heading_deg", heading), ("bearing_deg", bearing)):
        given.number(f"sigma of {name}", measured.sigma, 0.0, 180.0)
    return (heading.value + bearing.value) % 360.0, hypot(heading.sigma, bearing.sigma)


def _horizontal(sighting: Sighting) -> tuple[float, float, float]:
    """Return the horizontal range, its standard uncertainty, and what terms of second order shift it by, metres."""
    range_m = given.number("range_m", sighting.range_m.value, 0.0, FURTHEST_M)
    sigma_m = given.number("sigma of range_m", sighting.range_m.sigma, 0.0)
    others = [name for name in ("depression_deg", "height_m") if getattr(sighting, name) is not None]
    if sighting.range_is is RangeIs.HORIZONTAL:
        if others:
            raise SurveyError(f"a horizontal range needs no {others[0]}: leave it out, or say that the range is slant")
        return range_m, sigma_m, 0.0
    if len(others) != 1:
        raise SurveyError("a slant range needs depression_deg or height_m, one of them: give it, or a horizontal range")
    if sighting.depression_deg is not None:
        return _by_depression(range_m, sigma_m, sighting.depression_deg)
    assert sighting.height_m is not None
    return _by_height(range_m, sigma_m, sighting.height_m)


def _by_depression(range_m: float, sigma_m: float, depression_deg: Measured) -> tuple[float, float, float]:
    """Return range times the cosine of the depression: sensitivities cos(d) and -range sin(d)."""
    down = radians(given.number("depression_deg", depression_deg.value, -90.0, 90.0))
    down_sigma = radians(given.number("sigma of depression_deg", depression_deg.sigma, 0.0, 90.0))
    along_m = range_m * cos(down)
    return along_m, hypot(cos(down) * sigma_m, range_m * sin(down) * down_sigma), along_m * down_sigma**2 / 2


def _by_height(range_m: float, sigma_m: float, height_m: Measured) -> tuple[float, float, float]:
    """Return the other leg of the right triangle: sensitivities range / leg and -height / leg."""
    up_m = given.number("height_m", height_m.value, -FURTHEST_M, FURTHEST_M)
    up_sigma_m = given.number("sigma of height_m", height_m.sigma, 0.0)
    if abs(up_m) >= range_m:
        raise SurveyError(
            f"range_m is {range_m:g} and height_m {up_m:g}: a slant range is longer than the height; "
            "measure again, or give the depression for a target straight below"
        )
    leg_m = sqrt((range_m - up_m) * (range_m + up_m))
    bend_m = ((up_m * sigma_m) ** 2 + (range_m * up_sigma_m) ** 2) / (2 * leg_m**3)
    return leg_m, hypot(range_m * sigma_m, up_m * up_sigma_m) / leg_m, bend_m


def _spread(sigma_m: float, along_m: float, across_m: float, azimuth: float) -> Spread:
    """Return the spread of uncertainties along and across the line of sight, and of the vehicle's position."""
    east, north = sin(azimuth), cos(azimuth)
    return spread_of(
        sigma_m**2 + (east * along_m) ** 2 + (north * across_m) ** 2,
        sigma_m**2 + (north * along_m) ** 2 + (east * across_m) ** 2,
        east * north * (along_m**2 - across_m**2),
    )


@lru_cache(maxsize=256)  # a restart, a rehearsal and a foresight read the same sightings again
def _radius_95_m(major_m: float, minor_m: float) -> float:
    """Return the radius about the mean that holds 95 % of a Gaussian with these standard deviations along its axes.

    In the direction psi of the plane in which it is round, it reaches s(psi) per unit; so the share within R is one
    minus the mean of exp(-R² / (2 s²)) over all directions. Solved by halving; by symmetry a quarter turn is enough.
    """
    if major_m == 0.0:
        return 0.0
    ratio = minor_m / major_m
    squares = [
        cos(turn) ** 2 + (ratio * sin(turn)) ** 2 for turn in (pi / 2 * (step + 0.5) / _STEPS for step in range(_STEPS))
    ]
    low, high = 0.0, FACTOR_95
    while high - low > 1e-7:
        middle = (low + high) / 2
        beyond = sum(exp(-(middle**2) / (2 * square)) for square in squares) / _STEPS
        low, high = (middle, high) if beyond > 0.05 else (low, middle)
    return high * major_m
