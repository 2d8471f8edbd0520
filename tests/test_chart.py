"""A chart's distances, areas and cells, against pyproj's and geographiclib's geodesics on WGS84."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from pyproj import Geod

from relay.audit.charts.chart import Chart


def flat(latitudes: np.ndarray, longitudes: np.ndarray) -> Chart:
    """Return a chart of even depth."""
    even = np.full((len(latitudes), len(longitudes)), 50.0)
    return Chart("flat", latitudes, longitudes, even, even * 0 + 1)


@pytest.mark.parametrize("latitude", [-77.0, -33.3, 0.0, 12.5, 48.6, 84.9])
def test_metres_per_degree_are_those_of_geodesics(latitude: float) -> None:
    """A hundredth of a degree north and east is as long as geographiclib's geodesic between its ends."""
    chart = flat(latitude + np.array([-0.01, 0.0, 0.01]), 20 + np.array([0.0, 0.01, 0.02]))
    north, east = (axis[1] for axis in chart.metres_per_degree)
    up = Geodesic.WGS84.Inverse(latitude - 0.005, 20, latitude + 0.005, 20)["s12"]
    across = Geodesic.WGS84.Inverse(latitude, 20, latitude, 20.01)["s12"]
    assert north * 0.01 == pytest.approx(up, rel=1e-8)
    assert east * 0.01 == pytest.approx(across, rel=1e-6)
    assert chart.spacing_m == pytest.approx((up, across), rel=1e-6)


@pytest.mark.parametrize("latitude", [-70.0, 0.5, 48.6, 80.0])
def test_cells_are_as_large_as_pyproj_says(latitude: float) -> None:
    """A cell's area is that of the polygon of its corners by pyproj, sides along parallels cut into short ones."""
    chart = flat(latitude + np.arange(5) / 60, 170 + np.arange(4) / 60)
    south, north = latitude + 1.5 / 60, latitude + 2.5 / 60
    along = np.linspace(170 + 0.5 / 60, 170 + 1.5 / 60, 40)
    ring = np.append(along, along[::-1]), np.append(np.full(40, south), np.full(40, north))
    area_m2, _ = Geod(ellps="WGS84").polygon_area_perimeter(*ring)
    assert chart.cell_km2[2, 1] == pytest.approx(abs(area_m2) / 1e6, rel=1e-5)


def test_a_place_is_in_the_cell_whose_middle_is_nearest() -> None:
    """A place up to half a step from a node is in its cell; one beyond the outer cells is in none."""
    chart = flat(10 + np.arange(4) * 0.1, 20 + np.arange(5) * 0.1)
    assert chart.index(10.14, 20.26) == (1, 3)
    assert chart.index(9.96, 19.96) == (0, 0)
    assert chart.index(9.94, 20.0) is None
    assert chart.index(10.0, 20.46) is None


def test_a_chart_over_the_antimeridian_finds_places_on_both_sides() -> None:
    """Longitudes that go on past 180 hold places written with -180..180, and those of 0..360."""
    chart = flat(np.arange(3) * 0.1, 179.8 + np.arange(5) * 0.1)
    assert [chart.index(0.1, longitude) for longitude in (179.9, -180.0, 180.0, -179.9, 180.1)] == [
        (1, 1), (1, 2), (1, 2), (1, 3), (1, 3),
    ]  # fmt: skip


def test_a_dive_may_be_beside_charted_water_too() -> None:
    """Candidates are wet cells and those that touch one, diagonally too."""
    chart = flat(np.arange(5.0), np.arange(6.0))
    dry = np.full(chart.shape, np.nan)
    dry[1, 1] = 20.0
    one = Chart("one", chart.latitude_deg, chart.longitude_deg, dry, chart.error_m)
    expected = np.zeros(chart.shape, dtype=bool)
    expected[0:3, 0:3] = True
    assert (expected == one.candidates).all()
