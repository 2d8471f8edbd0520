"""Target positions against geographiclib; their uncertainty against numpy and Monte Carlo runs (JCGM 101:2008)."""

import math
import random
from dataclasses import replace
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from relay.core.errors import SurveyError
from relay.core.target_position import FACTOR_95, Fix, Measured, RangeIs, Sighting, Spread, spread_of, target_position

WGS84 = Geodesic.WGS84
TRIALS = 200_000  # JCGM 101:2008, 7.2.1: at least 10,000 / (1 - 0.95)
HERE = Fix(-30.1, -22.2, 4.0)


def sighting(
    heading: float = 40.0,
    bearing: float = 25.0,
    range_m: float = 55.0,
    sigmas: tuple[float, float, float] = (1.0, 1.5, 0.8),
    **more: Any,
) -> Sighting:
    """Return a sighting at a horizontal range, unless `more` says otherwise."""
    return Sighting(
        heading_deg=Measured(heading, sigmas[0]),
        bearing_deg=Measured(bearing, sigmas[1]),
        range_m=Measured(range_m, sigmas[2]),
        **{"range_is": RangeIs.HORIZONTAL, **more},
    )


def test_position_is_where_geographiclib_has_it() -> None:
    """From places all over the Earth, the antimeridian and 89.9 degrees among them, to a tenth of a millimetre."""
    dice = random.Random(5)
    places = [(dice.uniform(-85, 85), dice.uniform(-180, 180)) for _ in range(60)]
    for place in [*places, (12.0, 180.0), (-40.0, 179.9999), (-40.0, -179.9999), (89.9, 25.0), (-89.9, 0.0)]:
        heading, bearing, range_m = dice.uniform(0, 360), dice.uniform(-180, 360), dice.uniform(1, 5_000)
        found = target_position(Fix(*place, 1.0), sighting(heading, bearing, range_m))
        there = WGS84.Direct(*place, heading + bearing, range_m)
        off = WGS84.Inverse(found.latitude_deg, found.longitude_deg, there["lat2"], there["lon2"])
        assert off["s12"] < 1e-4
        assert -180 <= found.longitude_deg <= 180
        assert math.isclose(found.azimuth_deg, (heading + bearing) % 360)


@pytest.mark.parametrize(
    ("more", "horizontal_m"),
    [
        ({"range_is": RangeIs.HORIZONTAL}, 100.0),
        ({"range_is": RangeIs.SLANT, "height_m": Measured(60.0, 0.5)}, 80.0),
        ({"range_is": RangeIs.SLANT, "height_m": Measured(-60.0, 0.5)}, 80.0),
        ({"range_is": RangeIs.SLANT, "depression_deg": Measured(60.0, 0.5)}, 50.0),
        ({"range_is": RangeIs.SLANT, "depression_deg": Measured(-60.0, 0.5)}, 50.0),
    ],
)
def test_slant_range_becomes_horizontal(more: dict[str, Any], horizontal_m: float) -> None:
    """A right triangle of 60, 80 and 100 m, and half of the range at a depression of 60 degrees (Euclid)."""
    assert target_position(HERE, sighting(range_m=100.0, **more)).horizontal_m == pytest.approx(horizontal_m)


def drawn(vehicle: Fix, seen: Sighting) -> tuple[Any, Any]:
    """Return what Monte Carlo makes of a sighting (JCGM 101:2008, 7): east and north of the vehicle's position."""
    dice = np.random.default_rng(20261126)

    def draw(measured: Measured) -> Any:
        return dice.normal(measured.value, measured.sigma, TRIALS)

    azimuth = np.radians(draw(seen.heading_deg) + draw(seen.bearing_deg))
    along = draw(seen.range_m)
    if seen.depression_deg is not None:
        along = along * np.cos(np.radians(draw(seen.depression_deg)))
    if seen.height_m is not None:
        along = np.sqrt(np.maximum(along**2 - draw(seen.height_m) ** 2, 0.0))
    noise = dice.normal(0.0, vehicle.sigma_m, (2, TRIALS))
    return noise[0] + along * np.sin(azimuth), noise[1] + along * np.cos(azimuth)


def share_in_ellipse(spread: Spread, east: Any, north: Any) -> float:
    """Return the share of points about the mean that the 95 % ellipse holds."""
    turn = math.radians(spread.major_azimuth_deg)
    major = (east * math.sin(turn) + north * math.cos(turn)) / spread.major_95_m
    minor = (east * math.cos(turn) - north * math.sin(turn)) / spread.minor_95_m
    return float(np.mean(major**2 + minor**2 <= 1))


SLANT = RangeIs.SLANT
SEEN = [
    (HERE, sighting()),
    (replace(HERE, sigma_m=0.5), sighting(sigmas=(2.0, 2.0, 1.0))),
    (replace(HERE, sigma_m=0.2), sighting(300.0, -100.0, 60.0, (3.0, 2.0, 2.0))),
    (replace(HERE, sigma_m=0.1), sighting(0.0, 0.0, 400.0, (1.0, 0.5, 3.0))),
    (HERE, sighting(range_is=SLANT, height_m=Measured(20.0, 0.5))),
    (replace(HERE, sigma_m=1.0), sighting(200.0, 350.0, range_is=SLANT, height_m=Measured(45.0, 1.0))),
    (replace(HERE, sigma_m=1.0), sighting(range_is=SLANT, depression_deg=Measured(30.0, 3.0))),
    (replace(HERE, sigma_m=2.0), sighting(10.0, 80.0, range_is=SLANT, depression_deg=Measured(0.0, 5.0))),
    (replace(HERE, sigma_m=20.0), sighting(sigmas=(9.0, 3.0, 15.0))),
]


@pytest.mark.parametrize(("vehicle", "seen"), SEEN)
def test_spread_is_what_monte_carlo_finds(vehicle: Fix, seen: Sighting) -> None:
    """Covariances to 4 % of the variance; 94 to 96 % of the trials in the ellipse and in the circle."""
    found = target_position(vehicle, seen)
    assert found.first_order
    spread, azimuth = found.spread, math.radians(found.azimuth_deg)
    east, north = drawn(vehicle, seen)
    wanted = np.cov(east, north)
    ours = np.array([[spread.east_m2, spread.east_north_m2], [spread.east_north_m2, spread.north_m2]])
    assert np.abs(ours - wanted).max() < 0.04 * np.trace(wanted)
    east, north = east - found.horizontal_m * math.sin(azimuth), north - found.horizontal_m * math.cos(azimuth)
    assert share_in_ellipse(spread, east, north) == pytest.approx(0.95, abs=0.01)
    assert np.mean(np.hypot(east, north) <= spread.radius_95_m) == pytest.approx(0.95, abs=0.01)
    assert spread.drms_m == pytest.approx(np.sqrt(np.mean(east**2 + north**2)), rel=0.03)
    assert 0.62 < np.mean(np.hypot(east, north) <= spread.drms_m) < 0.70


@pytest.mark.parametrize(
    ("vehicle", "seen"),
    [
        (replace(HERE, sigma_m=0.5), sighting(sigmas=(25.0, 5.0, 0.5))),
        (replace(HERE, sigma_m=0.5), sighting(range_is=SLANT, height_m=Measured(54.5, 1.0))),
        (replace(HERE, sigma_m=1.0), sighting(sigmas=(0.1, 0.1, 0.0), range_is=SLANT, height_m=Measured(45.0, 6.0))),
        (replace(HERE, sigma_m=0.1), sighting(range_m=400.0, range_is=SLANT, depression_deg=Measured(0.0, 8.0))),
    ],
)
def test_where_the_first_order_is_not_enough_it_says_so(vehicle: Fix, seen: Sighting) -> None:
    """Monte Carlo finds other than 94 to 96 % in the ellipse where direction, height or depression bend the answer."""
    found = target_position(vehicle, seen)
    azimuth = math.radians(found.azimuth_deg)
    east, north = drawn(vehicle, seen)
    east, north = east - found.horizontal_m * math.sin(azimuth), north - found.horizontal_m * math.cos(azimuth)
    assert not found.first_order
    assert abs(share_in_ellipse(found.spread, east, north) - 0.95) > 0.01


def test_ellipse_is_that_of_the_eigenvectors() -> None:
    """Axes and direction of random covariances, and degenerate ones, against numpy's symmetric eigensolver."""
    dice = np.random.default_rng(3)
    for _ in range(200):
        square = dice.normal(size=(2, 2))
        covariance = square @ square.T
        spread = spread_of(covariance[0, 0], covariance[1, 1], covariance[0, 1])
        values, vectors = np.linalg.eigh(covariance)
        assert spread.minor_95_m == pytest.approx(FACTOR_95 * math.sqrt(values[0]), rel=1e-6, abs=1e-6)
        assert spread.major_95_m == pytest.approx(FACTOR_95 * math.sqrt(values[1]))
        azimuth = math.degrees(math.atan2(vectors[0, 1], vectors[1, 1]))
        assert abs((spread.major_azimuth_deg - azimuth + 90) % 180 - 90) < 1e-6
        assert 0 <= spread.major_azimuth_deg < 180
        assert spread.minor_95_m <= spread.radius_95_m <= spread.major_95_m
    assert spread_of(1.0, 4.0, 0.0).major_azimuth_deg == 0.0
    assert spread_of(4.0, 1.0, 0.0).major_azimuth_deg == 90.0
    assert spread_of(1.0, 1.0, 0.5).major_azimuth_deg == pytest.approx(45.0)
    assert spread_of(1.0, 1.0, -0.5).major_azimuth_deg == pytest.approx(135.0)


def test_radius_of_a_round_and_of_a_flat_spread() -> None:
    """Round: the factor 2.45 of JCGM 102:2011, 6.5.2 (from memory); on a line: Python's 97.5 % normal quantile."""
    assert round(FACTOR_95, 2) == 2.45
    assert spread_of(9.0, 9.0, 0.0).radius_95_m == pytest.approx(3 * FACTOR_95, rel=1e-6)
    assert spread_of(9.0, 0.0, 0.0).radius_95_m == pytest.approx(3 * NormalDist().inv_cdf(0.975), rel=1e-4)
    assert spread_of(0.0, 0.0, 0.0) == Spread(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


@pytest.mark.parametrize("latitude_deg", [-30.0, 84.0, 89.99, -89.99])
def test_axes_are_those_at_the_target(latitude_deg: float) -> None:
    """A long range that is poorly known spreads along the geodesic's azimuth at the target, per geographiclib."""
    seen = sighting(30.0, 40.0, 900.0, (0.0, 0.0, 50.0))
    found = target_position(Fix(latitude_deg, 179.99, 0.0), seen)
    arrives = WGS84.Direct(latitude_deg, 179.99, 70.0, 900.0)["azi2"]
    assert abs((found.spread.major_azimuth_deg - arrives + 90) % 180 - 90) < 1e-5


@pytest.mark.parametrize(
    ("vehicle", "seen", "said"),
    [
        (replace(HERE, latitude_deg=math.nan), sighting(), "vehicle's latitude_deg"),
        (replace(HERE, longitude_deg=180.5), sighting(), "vehicle's longitude_deg"),
        (replace(HERE, sigma_m=-1.0), sighting(), "vehicle's sigma_m"),
        (HERE, sighting(heading=360.1), "heading_deg"),
        (HERE, sighting(bearing=-180.1), "bearing_deg"),
        (HERE, sighting(range_m=-1.0), "range_m"),
        (HERE, sighting(range_m=20_000.1), "range_m"),
        (HERE, sighting(sigmas=(-1.0, 1.0, 1.0)), "sigma of heading_deg"),
        (HERE, sighting(sigmas=(1.0, math.inf, 1.0)), "sigma of bearing_deg"),
        (HERE, sighting(sigmas=(1.0, 1.0, math.nan)), "sigma of range_m"),
        (HERE, sighting(height_m=Measured(1.0, 1.0)), "horizontal range needs no height_m"),
        (HERE, sighting(range_is=SLANT), "slant range needs"),
        (HERE, sighting(range_is=SLANT, height_m=Measured(1.0, 1.0), depression_deg=Measured(1.0, 1.0)), "one of them"),
        (HERE, sighting(range_is=SLANT, height_m=Measured(55.0, 1.0)), "longer than the height"),
        (HERE, sighting(range_is=SLANT, height_m=Measured(1.0, -1.0)), "sigma of height_m"),
        (HERE, sighting(range_is=SLANT, depression_deg=Measured(90.1, 1.0)), "depression_deg"),
        (HERE, sighting(range_is=SLANT, depression_deg=Measured(1.0, -1.0)), "sigma of depression_deg"),
    ],
)
def test_what_makes_no_position_is_refused(vehicle: Fix, seen: Sighting, said: str) -> None:
    """Each value that is none, is missing or contradicts another is named."""
    with pytest.raises(SurveyError, match=said):
        target_position(vehicle, seen)


def test_what_is_no_covariance_is_refused() -> None:
    """Two quantities can't vary together by more than each varies."""
    with pytest.raises(SurveyError, match="greater than the two variances allow"):
        spread_of(1.0, 4.0, 2.1)
    with pytest.raises(SurveyError, match="east_m2"):
        spread_of(-1.0, 4.0, 0.0)
    assert spread_of(1.0, 4.0, 2.0).minor_95_m == 0.0
