"""The declared area (what the operator has admitted in public), and hidden zones within a site.

Rules: outside the declared area nothing is released; a zone's edge is moved and widened by secret margins, so
that the hole in a track does not point at its centre, and it always covers the zone that was asked for.
"""

from dataclasses import dataclass
from enum import StrEnum
from math import cos, hypot, pi, sin, sqrt

from relay.core.geodesy import Anchor, SiteFrame, distance_m, plane, point_at
from relay.core.secrets import Secrets

Position = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Area:
    """A declared area: a circle (one corner and a radius) or a polygon (three corners or more, no radius).

    `corners` are (latitude_deg, longitude_deg); `name` is what followers read.
    """

    name: str
    corners: tuple[Position, ...]
    radius_m: float | None = None

    def contains(self, position: Position) -> bool:
        """Return whether (latitude_deg, longitude_deg) lies in the area, its edge included for a circle."""
        if self.radius_m is not None:
            return distance_m(self.corners[0], position) <= self.radius_m
        origin = Anchor(*self.corners[0], 0)
        ring = [plane(*corner, origin)[:2] for corner in self.corners]
        return _inside(plane(*position, origin)[:2], ring)


def _inside(point: tuple[float, float], ring: list[tuple[float, float]]) -> bool:
    """Return whether a point lies in a polygon: the even-odd rule over the edges that a ray to the east crosses."""
    x, y = point
    odd = False
    for (x1, y1), (x2, y2) in zip(ring, ring[1:] + ring[:1], strict=True):
        if (y1 > y) != (y2 > y) and x < x1 + (y - y1) * (x2 - x1) / (y2 - y1):
            odd = not odd
    return odd


class ZoneAction(StrEnum):
    """What happens to the track in a zone."""

    WITHHOLD = "withhold"
    FREEZE = "freeze"


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A place whose surroundings must not be shown: centre, radius, and the greatest secret margin, metres."""

    name: str
    latitude_deg: float
    longitude_deg: float
    radius_m: float
    margin_m: float
    action: ZoneAction


class Lies(StrEnum):
    """How much of a zone lies in the declared area."""

    INSIDE = "inside"
    ACROSS = "across its edge"
    OUTSIDE = "outside"


_EDGE_POINTS = 72


def where_lies(zone: Zone, area: Area) -> Lies:
    """Return where a zone, without its margin, lies to an area: judged at its centre and at 72 points of its edge."""
    centre = (zone.latitude_deg, zone.longitude_deg)
    edge = [point_at(centre, 360.0 / _EDGE_POINTS * step, zone.radius_m) for step in range(_EDGE_POINTS)]
    judged = {area.contains(point) for point in (centre, *edge)}
    if judged == {True}:
        return Lies.INSIDE
    holds_a_corner = any(distance_m(corner, centre) <= zone.radius_m for corner in area.corners)
    return Lies.ACROSS if True in judged or holds_a_corner else Lies.OUTSIDE


@dataclass(frozen=True, slots=True)
class HiddenDisc:
    """A zone as it acts in the published frame, metres: moved and widened by the site's secrets."""

    east_m: float
    north_m: float
    radius_m: float
    action: ZoneAction

    def covers(self, east_m: float, north_m: float) -> bool:
        """Return whether a published position lies in it."""
        return hypot(east_m - self.east_m, north_m - self.north_m) <= self.radius_m


def hidden_disc(zone: Zone, frame: SiteFrame, secrets: Secrets) -> HiddenDisc:
    """Return a zone in the frame: its centre moved within a disc of `margin_m`, its radius widened by one to two of it.

    The widened disc covers the zone wherever the centre went; a circle fitted to the hole finds the moved centre.
    """
    placed = frame.place(zone.latitude_deg, zone.longitude_deg)
    reach = zone.margin_m * sqrt(secrets.unit(f"zone reach {zone.name}"))
    bearing = 2 * pi * secrets.unit(f"zone bearing {zone.name}")
    widened = zone.radius_m + zone.margin_m * (1 + secrets.unit(f"zone margin {zone.name}"))
    return HiddenDisc(placed.east_m + reach * sin(bearing), placed.north_m + reach * cos(bearing), widened, zone.action)
