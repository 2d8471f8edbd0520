"""The declared area against geographiclib and shapely; hidden zones cover what was asked and don't point at it."""

import math
import random
from dataclasses import replace

import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon

from relay.core.area import Area, Lies, Zone, ZoneAction, hidden_disc, where_lies
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


@pytest.mark.parametrize(
    "centre", [(0.0, 180.0), (-17.0, -179.999), (89.0, 25.0), (-84.5, 179.9), (90.0, 0.0), (38.0, -28.0)]
)
def test_circle_is_one_anywhere_on_earth(centre: tuple[float, float]) -> None:
    """At the antimeridian, near the poles and on one, as far in every direction (geographiclib's direct geodesic)."""
    area = Area("x", (centre,), 30_000.0)
    for bearing_deg in range(0, 360, 15):
        for metres, inside in ((29_999.9, True), (30_000.1, False)):
            there = Geodesic.WGS84.Direct(*centre, bearing_deg, metres)
            assert area.contains((there["lat2"], there["lon2"])) is inside


@st.composite
def stars(draw: st.DrawFn) -> list[tuple[float, float]]:
    """Return corners, metres east and north of a middle, of a polygon that never crosses itself and may be concave."""
    reaches_m = draw(st.lists(st.floats(500.0, 20_000.0), min_size=3, max_size=12))
    spots = [2 * math.pi * at / len(reaches_m) for at in range(len(reaches_m))]
    return [(reach * math.sin(spot), reach * math.cos(spot)) for reach, spot in zip(reaches_m, spots, strict=True)]


MIDDLES = st.sampled_from([(0.0, 0.0), (12.0, 180.0), (-12.0, -179.99), (62.0, 5.0), (-78.0, 179.95), (86.0, -60.0)])


@settings(max_examples=60)
@given(stars(), MIDDLES, st.lists(st.tuples(st.floats(-2e4, 2e4), st.floats(-2e4, 2e4)), min_size=1, max_size=15))
def test_polygon_anywhere_is_what_shapely_has_in_the_plane(
    corners_m: list[tuple[float, float]], middle: tuple[float, float], points_m: list[tuple[float, float]]
) -> None:
    """Concave ones, across the antimeridian and at high latitudes: placed by geographiclib about the middle.

    Points within 30 m of the edge are left out: a straight line in the plane about the middle and one in the plane
    about the first corner are some metres apart over 40 km.
    """
    shape = Polygon(corners_m)
    area = Area("x", tuple(on_earth(middle, corner) for corner in corners_m))
    clear = [point for point in points_m if shape.boundary.distance(Point(point)) > 30.0]
    assert [area.contains(on_earth(middle, point)) for point in clear] == [shape.contains(Point(p)) for p in clear]


def on_earth(middle: tuple[float, float], metres: tuple[float, float]) -> tuple[float, float]:
    """Return the position so many metres east and north of a middle, along a geodesic."""
    bearing_deg, reach_m = math.degrees(math.atan2(*metres)), math.hypot(*metres)
    there = Geodesic.WGS84.Direct(*middle, bearing_deg, reach_m)
    return there["lat2"], there["lon2"]


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


def test_hidden_disc_is_the_same_wherever_on_earth_the_site_is() -> None:
    """A translation of anchor and zone moves no disc: only the secrets and the zone's size shape it (R3)."""
    secrets, found = Secrets(bytes(range(32))), []
    for site in ((-41.2, 17.5), (0.0, 180.0), (-12.0, -179.9999), (85.0, 10.0), (-85.0, -170.0)):
        centre = on_earth(site, (140.0, -230.0))
        moved = replace(ZONE, latitude_deg=centre[0], longitude_deg=centre[1])
        disc = hidden_disc(moved, SiteFrame(Anchor(*site, 0), secrets), secrets)
        found.append((disc.east_m, disc.north_m, disc.radius_m))
    for disc in found[1:]:
        assert disc == pytest.approx(found[0], abs=1e-5)


def test_hidden_discs_of_zones_of_other_names_are_drawn_apart() -> None:
    """Two zones of one site share no margin: knowing one tells nothing of the other."""
    secrets = Secrets(bytes(range(32)))
    frame = SiteFrame(ANCHOR, secrets)
    one, other = (hidden_disc(replace(ZONE, name=name), frame, secrets) for name in ("bow", "stern"))
    assert math.hypot(one.east_m - other.east_m, one.north_m - other.north_m) > 1.0
    assert abs(one.radius_m - other.radius_m) > 1.0


@pytest.mark.parametrize(("metres", "lies"), [
    (0.0, Lies.INSIDE), (4_899.0, Lies.INSIDE), (4_901.0, Lies.ACROSS), (5_099.0, Lies.ACROSS), (5_101.0, Lies.OUTSIDE),
])  # fmt: skip
@pytest.mark.parametrize("bearing_deg", [0.0, 65.0, 200.0, 315.0])
def test_zone_lies_inside_across_or_outside_a_circle(metres: float, lies: Lies, bearing_deg: float) -> None:
    """A zone of 100 m, its centre so far from the middle of 5 km (geographiclib's direct geodesic)."""
    there = Geodesic.WGS84.Direct(-41.2, 17.5, bearing_deg, metres)
    zone = replace(ZONE, latitude_deg=there["lat2"], longitude_deg=there["lon2"])
    assert where_lies(zone, Area("x", ((-41.2, 17.5),), 5_000.0)) is lies


def test_zone_lies_to_a_polygon_as_shapely_has_it() -> None:
    """Zones at random about a concave polygon, in the plane about its middle; those within 2 m of touching left out."""
    corners_m = [(-3e3, -3e3), (3e3, -3e3), (3e3, 3e3), (0.0, -1e3), (-3e3, 3e3)]
    middle, dice = (-41.2, 17.5), random.Random(4)
    polygon, area = Polygon(corners_m), Area("x", tuple(on_earth(middle, corner) for corner in corners_m))
    seen = set()
    for _ in range(150):
        at_m = (dice.uniform(-5e3, 5e3), dice.uniform(-5e3, 5e3))
        latitude_deg, longitude_deg = on_earth(middle, at_m)
        zone = replace(ZONE, latitude_deg=latitude_deg, longitude_deg=longitude_deg, radius_m=900.0)
        disc = Point(at_m).buffer(900.0, 64)
        if abs(polygon.boundary.distance(Point(at_m)) - 900.0) < 2.0:
            continue
        judged = where_lies(zone, area)
        expected = Lies.INSIDE if polygon.contains(disc) else Lies.ACROSS if polygon.intersects(disc) else Lies.OUTSIDE
        assert judged is expected
        seen.add(judged)
    assert seen == set(Lies)


def test_zone_that_holds_a_whole_small_area_lies_across_it() -> None:
    """None of its edge and not its centre is inside, and yet it hides all there is."""
    there = Geodesic.WGS84.Direct(-41.2, 17.5, 90.0, 600.0)
    zone = replace(ZONE, latitude_deg=there["lat2"], longitude_deg=there["lon2"], radius_m=1_000.0)
    assert where_lies(zone, Area("x", ((-41.2, 17.5),), 100.0)) is Lies.ACROSS
