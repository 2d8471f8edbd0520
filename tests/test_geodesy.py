"""Checks of the site's frame against geographiclib (MIT) and Karney's test set for geodesics."""

import cmath
import csv
import math
import random
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic

from relay.core.geodesy import Anchor, AnchorSeeker, SiteFrame, distance_m, plane, point_at
from relay.core.secrets import Secrets

WGS84 = Geodesic.WGS84
SECRETS = Secrets(bytes(range(32)))


def random_places(count: int, seed: int = 7) -> list[tuple[float, float]]:
    """Return places all over the Earth, the antimeridian and high latitudes among them."""
    chance = random.Random(seed)
    places = [(math.degrees(math.asin(chance.uniform(-0.996, 0.996))), chance.uniform(-180, 180)) for _ in range(count)]
    return [*places, (84.9, 179.999), (-84.9, -179.999), (0.0, 180.0), (0.0, 0.0)]


def test_plane_agrees_with_geographiclib_within_a_centimetre_at_ten_kilometres() -> None:
    """East and north of a point placed 10 km away by geographiclib are what was asked for."""
    chance = random.Random(3)
    for latitude, longitude in random_places(200):
        azimuth = chance.uniform(-180, 180)
        there = WGS84.Direct(latitude, longitude, azimuth, 10_000.0)
        east, north, _, distance = plane(there["lat2"], there["lon2"], Anchor(latitude, longitude, 0))
        wanted = (10_000 * math.sin(math.radians(azimuth)), 10_000 * math.cos(math.radians(azimuth)))
        assert math.dist((east, north), wanted) < 0.01
        assert distance == pytest.approx(10_000, abs=0.001)


def test_distance_agrees_with_the_geodesic_test_set(shared_data: Path) -> None:
    """Every distance of Karney's test set (doi:10.5281/zenodo.32156, 100 lines) is met to a tenth of a millimetre."""
    with (shared_data / "vectors" / "geodesic-wgs84.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 100
    for row in rows:
        first = (float(row["lat1_deg"]), 0.0)
        second = (float(row["lat2_deg"]), float(row["lon2_deg"]))
        assert distance_m(first, second) == pytest.approx(float(row["s12_m"]), abs=1e-4)


def test_point_at_a_distance_is_where_geographiclib_has_it() -> None:
    """The direct geodesic from random places in random directions, to a millimetre (geographiclib's Direct)."""
    dice = random.Random(11)
    for place in random_places(50):
        azimuth_deg, metres = dice.uniform(0, 360), dice.uniform(1, 100_000)
        there = Geodesic.WGS84.Direct(*place, azimuth_deg, metres)
        found = point_at(place, azimuth_deg, metres)
        assert Geodesic.WGS84.Inverse(*found, there["lat2"], there["lon2"])["s12"] < 0.001


def test_heading_turn_follows_the_meridians_as_geographiclib_has_them() -> None:
    """The turn at a point is the difference of a geodesic's azimuth at its two ends, per geographiclib."""
    for latitude, longitude in random_places(100, seed=9):
        there = WGS84.Direct(latitude, longitude, 63.0, 8_000.0)
        turn = plane(there["lat2"], there["lon2"], Anchor(latitude, longitude, 0))[2]
        off = (turn - (63.0 - there["azi2"]) + 180) % 360 - 180
        assert abs(off) < 1e-6


def test_site_frame_keeps_distances_and_angles_and_hides_the_anchor() -> None:
    """Shift and turn change neither distances between points nor the angle between heading and track."""
    frame = SiteFrame(Anchor(-41.2, 17.5, 0), SECRETS)
    first = WGS84.Direct(-41.2, 17.5, 10.0, 1_000.0)
    second = WGS84.Direct(first["lat2"], first["lon2"], 70.0, 500.0)
    a, b = frame.place(first["lat2"], first["lon2"]), frame.place(second["lat2"], second["lon2"])
    assert math.dist((a.east_m, a.north_m), (b.east_m, b.north_m)) == pytest.approx(500.0, abs=0.01)
    course = math.degrees(math.atan2(b.east_m - a.east_m, b.north_m - a.north_m))
    assert (course - (70.0 + a.heading_turn_deg) + 180) % 360 - 180 == pytest.approx(0.0, abs=0.01)
    origin = frame.place(-41.2, 17.5)
    assert math.hypot(origin.east_m, origin.north_m) == pytest.approx(math.hypot(*SECRETS.shift_m))
    assert math.hypot(origin.east_m, origin.north_m) > 1.0


def test_site_frame_is_the_same_wherever_the_site_lies() -> None:
    """The same walk about the anchor gives the same metres and turns everywhere on Earth (R3)."""
    walks = [(azimuth, reach) for azimuth in (0.0, 77.0, 200.0) for reach in (0.5, 300.0, 4_000.0)]
    expected = None
    for latitude, longitude in random_places(60, seed=11):
        frame = SiteFrame(Anchor(latitude, longitude, 0), SECRETS)
        points = [WGS84.Direct(latitude, longitude, azimuth, reach) for azimuth, reach in walks]
        placed = [frame.place(point["lat2"], point["lon2"]) for point in points]
        headed = [(turn.heading_turn_deg + point["azi2"]) % 360 for turn, point in zip(placed, points, strict=True)]
        actual = [(p.east_m, p.north_m, h) for p, h in zip(placed, headed, strict=True)]
        expected = expected or actual
        for (e1, n1, h1), (e2, n2, h2) in zip(actual, expected, strict=True):
            assert math.dist((e1, n1), (e2, n2)) < 1e-5
            assert abs((h1 - h2 + 180) % 360 - 180) < 1e-6


def test_anchor_needs_a_second_fix_nearby() -> None:
    """One wild fix is never the anchor; the first confirmed one is, at the moment of its confirmation."""
    seeker = AnchorSeeker(within_m=2_000)
    assert seeker.offer(0.0, 0.0, 1) is None
    assert seeker.offer(-41.2, 17.5, 2) is None
    assert seeker.offer(-41.2001, 17.5, 3) == Anchor(-41.2, 17.5, 3)


@pytest.mark.parametrize(("metres", "confirmed"), [(1_999.9, True), (2_000.1, False)])
def test_anchor_limit_at_it_and_past_it(metres: float, confirmed: bool) -> None:
    """A fix just within the limit confirms, one just beyond doesn't."""
    seeker = AnchorSeeker(within_m=2_000)
    seeker.offer(50.0, 0.0, 1)
    there = WGS84.Direct(50.0, 0.0, 45.0, metres)
    assert (seeker.offer(there["lat2"], there["lon2"], 2) is not None) is confirmed


def test_site_frame_is_turned_and_moved_by_its_secrets() -> None:
    """True north at the anchor points along the secret turn, and the anchor lies where the secrets move it to."""
    anchor = Anchor(-41.2, 17.5, 0)
    for site in range(20):
        secrets = Secrets(site.to_bytes(32, "big"))
        frame = SiteFrame(anchor, secrets)
        origin = frame.place(anchor.latitude_deg, anchor.longitude_deg)
        north = WGS84.Direct(anchor.latitude_deg, anchor.longitude_deg, 0.0, 1_000.0)
        ahead = frame.place(north["lat2"], north["lon2"])
        bearing = math.degrees(math.atan2(ahead.east_m - origin.east_m, ahead.north_m - origin.north_m)) % 360.0
        assert bearing == pytest.approx(secrets.turn_deg, abs=1e-4)
        turned = complex(*secrets.shift_m) * cmath.exp(-1j * math.radians(secrets.turn_deg))
        assert (origin.east_m, origin.north_m) == pytest.approx((turned.real, turned.imag), abs=1e-6)
