"""The ship's way from AIS: her plane, her stays, and the floor that they set."""

import numpy as np
import pytest
from shapely import Point as Spot
from shapely import union_all

from audited import apart
from relay.audit.attacks.attack import ShipTrack
from relay.audit.attacks.ship_path import ShipPath, correlate
from ship_tracks import BEGIN_S, ais, of_places

STATIONS = [(0.0, 0.0), (5_200.0, 1_900.0), (-4_100.0, 3_000.0)]


def test_floor_is_the_area_about_her_stays() -> None:
    """The floor is the union of discs about stays that are long enough, by shapely, and not about the shorter ones."""
    ship = ais([(STATIONS[0], 8_000), ((300.0, 0.0), 8_000), (STATIONS[2], 3_000)])
    path = ShipPath.of(ship)
    floor_km2, stays = path.floor_km2(6_000, 500.0)
    discs = union_all([Spot(0, 0).buffer(500), Spot(300, 0).buffer(500)])
    assert floor_km2 == pytest.approx(discs.area / 1e6, rel=0.06)
    assert stays == len(path.stays(6_000, 500.0)) <= 2


def test_plane_of_the_ship_has_the_scale_of_the_ellipsoid() -> None:
    """Distances on her plane times its scale are geographiclib's, at high latitudes and over the antimeridian too."""
    for site in ((48.5, -123.2), (-71.0, 179.99)):
        path = ShipPath.of(of_places([(0.0, 0.0), (800.0, 600.0), (1_600.0, 1_200.0)], site=site))
        apart_m = abs(path.place[-1] - path.place[0]) * path.scale[len(path) // 2]
        ends = [(float(path.latitude_deg[at]), float(path.longitude_deg[at])) for at in (0, -1)]
        assert apart_m == pytest.approx(apart(*ends), rel=1e-4)


def test_lags_are_summed_as_numpy_does() -> None:
    """The sums for all lags at once are those of numpy's correlation, for complex numbers too."""
    draw = np.random.default_rng(3)
    short, long = (draw.normal(size=size) + 1j * draw.normal(size=size) for size in (17, 90))
    assert correlate(short, long) == pytest.approx(np.correlate(long, short.conj(), "valid"))


def test_fixes_are_joined_but_not_over_long_gaps() -> None:
    """Fixes in any order make an even way; where none came for half an hour nothing is known, and that is counted."""
    track = ais([(STATIONS[0], 3_600), (STATIONS[1], 3_600)])
    order = np.random.default_rng(4).permutation(len(track.t_s))
    path = ShipPath.of(ShipTrack(track.t_s[order], track.latitude_deg[order], track.longitude_deg[order]))
    assert path.known.all() and path.begin_s == BEGIN_S
    assert path.speed_mps.max() == pytest.approx(5.0, rel=0.1) and np.median(path.speed_mps) < 0.1
    kept = (track.t_s < BEGIN_S + 1_200) | (track.t_s > BEGIN_S + 4_200)
    holed = ShipPath.of(ShipTrack(track.t_s[kept], track.latitude_deg[kept], track.longitude_deg[kept]))
    assert holed.gaps_s == pytest.approx(3_060, abs=90)


def test_moved_places_are_as_far_as_they_were_moved() -> None:
    """A place some metres from a sample lies that far from it, by geographiclib."""
    path = ShipPath.of(ais([(STATIONS[0], 600)]))
    latitude, longitude = path.moved(np.array([3]), np.array([300.0 + 400.0j]))
    here = float(path.latitude_deg[3]), float(path.longitude_deg[3])
    assert apart(here, (float(latitude[0]), float(longitude[0]))) == pytest.approx(500, rel=1e-3)
