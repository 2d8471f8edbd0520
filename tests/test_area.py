"""The declared area against geographiclib and shapely; hidden zones cover what was asked and don't point at it."""

import math
import random

import pytest
from geographiclib.geodesic import Geodesic
from shapely.geometry import Point, Polygon

from relay.core.area import Area, Zone, ZoneAction, hidden_disc
from relay.core.geodesy import Anchor, SiteFrame
from relay.core.secrets import Secrets

ANCHOR = Anchor(-41.2, 17.5, 0)
ZONE = Zone(name="midships", latitude_deg=-41.203, longitude_deg=17.504, radius_m=100.0, margin_m=60.0,
            action=ZoneAction.WITHHOLD)  # fmt: skip


@pytest.mark.parametrize(("metres", "inside"), [(4_999.9, True), (5_000.1, False)])
def test_circle_at_its_edge_and_past_it(metres: float, inside: bool) -> None:
    """A position just within the radius (geographiclib's direct geodesic) is in the area, one just beyond is not."""
    there = Geodesic.WGS84.Direct(-41.2, 17.5, 70.0, metres)
    assert Area("x", ((-41.2, 17.5),), 5_000.0).contains((there["lat2"], there["lon2"])) is inside


def test_polygon_agrees_with_shapely() -> None:
    """Inside and outside of a polygon that isn't convex, its sides a few kilometres, as shapely has them."""
    corners = [(0.0, 0.0), (0.03, 0.01), (0.01, 0.02), (0.04, 0.05), (-0.02, 0.04)]
    shape, chance = Polygon(corners), random.Random(3)
    points = [(chance.uniform(-0.03, 0.05), chance.uniform(-0.01, 0.06)) for _ in range(2_000)]
    points = [point for point in points if shape.boundary.distance(Point(point)) > 1e-5]
    judged = [Area("x", tuple(corners)).contains(point) for point in points]
    assert [shape.contains(Point(point)) for point in points] == judged
    assert 300 < sum(judged) < 1_700


def test_polygon_may_lie_across_the_antimeridian() -> None:
    """An area on both sides of 180 degrees is one area."""
    area = Area("x", ((10.0, 179.0), (10.0, -179.0), (12.0, -179.0), (12.0, 179.0)))
    assert area.contains((11.0, 180.0))
    assert area.contains((11.0, -179.5))
    assert not area.contains((11.0, 178.5))
    assert not area.contains((11.0, 0.0))


def discs() -> list[tuple[float, float, float]]:
    """Return how far (metres east and north) the hidden disc of each of many sites is off its zone, and its radius."""
    out = []
    for site in range(500):
        secrets = Secrets(site.to_bytes(32, "big"))
        frame = SiteFrame(ANCHOR, secrets)
        placed, disc = frame.place(ZONE.latitude_deg, ZONE.longitude_deg), hidden_disc(ZONE, frame, secrets)
        out.append((disc.east_m - placed.east_m, disc.north_m - placed.north_m, disc.radius_m))
    return out


def test_hidden_disc_covers_the_zone_whatever_the_secrets() -> None:
    """However it was moved and widened, no point of the zone lies outside it."""
    assert all(math.hypot(east, north) + ZONE.radius_m <= radius for east, north, radius in discs())


def test_hidden_disc_does_not_point_at_its_zone() -> None:
    """Its centre is uniform over a disc of the margin about the zone: Kolmogorov's distance below 1.63/sqrt(n), the
    1 % point (table of the statistic, from memory), for the squared reach and for the bearing; radii differ too.
    """
    found = discs()
    reach = sorted((math.hypot(east, north) / ZONE.margin_m) ** 2 for east, north, _ in found)
    bearing = sorted(math.atan2(east, north) / (2 * math.pi) + 0.5 for east, north, _ in found)
    for values in (reach, bearing):
        furthest = max(abs(value - (at + 0.5) / len(values)) for at, value in enumerate(values))
        assert furthest < 1.63 / math.sqrt(len(values))
    assert max(radius for *_, radius in found) - min(radius for *_, radius in found) > 0.9 * ZONE.margin_m
