"""From positions on the Earth to metres in the site's secret frame.

Rules: the plane is the azimuthal equidistant one about the site's anchor (the first confirmed fix of the
site), shifted and turned by the secrets, so a translation of the whole dive leaves every number as it was.
The geodesics are Karney's (PROJ's `Geod`, WGS84); the tests hold them against geographiclib.
"""

from dataclasses import dataclass
from math import cos, radians, sin
from typing import NamedTuple

from pyproj import Geod

from relay.core.secrets import Secrets

_WGS84 = Geod(ellps="WGS84")


class Placed(NamedTuple):
    """A position in the site's frame: metres east and north, what to add to a true heading, and the
    distance from the anchor in metres."""

    east_m: float
    north_m: float
    heading_turn_deg: float
    from_anchor_m: float


@dataclass(frozen=True, slots=True)
class Anchor:
    """The fix the site's plane is laid about, and the embargo moment (microseconds) it was confirmed."""

    latitude_deg: float
    longitude_deg: float
    confirmed_us: int


def plane(latitude_deg: float, longitude_deg: float, anchor: Anchor) -> tuple[float, float, float, float]:
    """Return east and north in metres about the anchor, the frame's turn there in degrees, and the distance.

    The turn is what has to be added to a heading from true north at the point to give the heading in the
    plane: meridians converge, and at high latitudes that is more than a rounding step.
    """
    out, back, distance_m = _WGS84.inv(anchor.longitude_deg, anchor.latitude_deg, longitude_deg, latitude_deg)
    azimuth = radians(out)
    return distance_m * sin(azimuth), distance_m * cos(azimuth), out - (back + 180.0), distance_m


def distance_m(first: tuple[float, float], second: tuple[float, float]) -> float:
    """Return the geodesic distance in metres between two (latitude_deg, longitude_deg) pairs."""
    return float(_WGS84.inv(first[1], first[0], second[1], second[0])[2])


def point_at(start: tuple[float, float], azimuth_deg: float, distance_m: float) -> tuple[float, float]:
    """Return the (latitude_deg, longitude_deg) that lies `distance_m` from `start` in the direction of an azimuth."""
    longitude_deg, latitude_deg, _ = _WGS84.fwd(start[1], start[0], azimuth_deg, distance_m)
    return float(latitude_deg), float(longitude_deg)


class SiteFrame:
    """The published frame of one site: anchor, secret shift, secret turn."""

    def __init__(self, anchor: Anchor, secrets: Secrets) -> None:
        self.anchor = anchor
        self._shift = secrets.shift_m
        self._turn_deg = secrets.turn_deg
        self._sin, self._cos = sin(radians(self._turn_deg)), cos(radians(self._turn_deg))

    def place(self, latitude_deg: float, longitude_deg: float) -> Placed:
        """Return the position in the frame; headings turn clockwise by the same secret angle."""
        east, north, convergence, distance = plane(latitude_deg, longitude_deg, self.anchor)
        east, north = east + self._shift[0], north + self._shift[1]
        return Placed(
            east * self._cos + north * self._sin,
            north * self._cos - east * self._sin,
            (convergence + self._turn_deg) % 360.0,
            distance,
        )


class AnchorSeeker:
    """Finds the site's anchor: the first fix that the next one confirms, so that one wild fix is not it."""

    def __init__(self, within_m: float = 2_000.0) -> None:
        self._within_m = within_m
        self._candidate: tuple[float, float] | None = None

    def offer(self, latitude_deg: float, longitude_deg: float, embargo_us: int) -> Anchor | None:
        """Take the next fix; return the anchor once a fix lies within `within_m` of the one before it."""
        fix, before = (latitude_deg, longitude_deg), self._candidate
        self._candidate = fix
        if before is None or distance_m(before, fix) > self._within_m:
            return None
        return Anchor(before[0], before[1], embargo_us)
