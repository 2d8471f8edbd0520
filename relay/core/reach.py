"""How far a vehicle is from its ship against the length of its tether, and what its forward sonar reaches.

Rules: exact, for the ship alone; distances are geodesics on WGS84. What is worked out is the straight line: a tether
hangs in a curve and needs more, so the true margin is at most the one given here. It replaces neither the tether's own
counter nor the watch of those who handle it.
"""

from dataclasses import dataclass
from enum import StrEnum
from math import hypot

from relay.core import given
from relay.core.geodesy import distance_m, point_at

FORWARD_SONAR_M = 60.0  # about 200 ft: common practice, no source
LONGEST_TETHER_M = 20_000.0


class TetherWord(StrEnum):
    """How a straight line from ship to vehicle compares with the tether."""

    WITHIN = "within"
    NEAR_END = "near its end"
    BEYOND = "longer than the tether"


@dataclass(frozen=True, slots=True)
class Tether:
    """A tether: its length in metres (paid out, or the greatest), and the share of it from which to warn."""

    length_m: float
    warn_share: float = 0.9

    def __post_init__(self) -> None:
        """Refuse, by a SurveyError, what is no length or share."""
        given.positive("length_m", self.length_m, LONGEST_TETHER_M)
        given.positive("warn_share", self.warn_share, 1.0)


@dataclass(frozen=True, slots=True)
class TetherMargin:
    """Distance of ship and vehicle, horizontal and slant, what is left of the tether (negative beyond it), metres.

    `share` is the slant distance in lengths of the tether. BEYOND can't be with the tether whole: a position, the depth
    or the length is wrong.
    """

    horizontal_m: float
    slant_m: float
    margin_m: float
    share: float
    word: TetherWord


def tether_margin(ship: given.Position, vehicle: given.Position, depth_m: float, tether: Tether) -> TetherMargin:
    """Return the margin of a vehicle at `depth_m` below where the tether leaves the ship.

    `ship` and `vehicle` are (latitude_deg, longitude_deg). Raises SurveyError for what is no place or depth. It warns
    (NEAR_END) at more than the stated share of the length, and says BEYOND at more than all of it.
    """
    given.field("depth_m", depth_m, "vehicle's")
    horizontal_m = distance_m(given.position("ship's", *ship), given.position("vehicle's", *vehicle))
    slant_m = hypot(horizontal_m, depth_m)
    share = slant_m / tether.length_m
    beyond = TetherWord.BEYOND if slant_m > tether.length_m else TetherWord.NEAR_END
    word = beyond if share > tether.warn_share else TetherWord.WITHIN
    return TetherMargin(horizontal_m, slant_m, tether.length_m - slant_m, share, word)


def sonar_ring(
    vehicle: given.Position, radius_m: float = FORWARD_SONAR_M, points: int = 72
) -> tuple[given.Position, ...]:
    """Return points (latitude_deg, longitude_deg) of the ring of a horizontal range, from north clockwise, not closed.

    Raises SurveyError for what is no place or radius, or fewer than three points.
    """
    centre = given.position("vehicle's", *vehicle)
    given.positive("radius_m", radius_m, LONGEST_TETHER_M)
    given.number("points", points, 3, 3600)
    return tuple(point_at(centre, 360.0 * step / points, radius_m) for step in range(points))


def within_ring(vehicle: given.Position, target: given.Position, radius_m: float = FORWARD_SONAR_M) -> bool:
    """Return whether a target's horizontal distance from the vehicle is at most the radius; SurveyError as above."""
    given.positive("radius_m", radius_m, LONGEST_TETHER_M)
    return distance_m(given.position("vehicle's", *vehicle), given.position("target's", *target)) <= radius_m
