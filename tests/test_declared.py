"""The declared area on a chart: the same cells as `core.area` says, one by one."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from shapely.geometry import Point, Polygon

from dives import INVENTED_SITE
from played_cases import invented_chart
from relay.audit.charts.chart import Chart
from relay.audit.declared import declared_cells
from relay.core.area import Area

NORTH, EAST = INVENTED_SITE
AREAS = [
    Area("a circle", (INVENTED_SITE,), 4_321.0),
    Area("a triangle", ((NORTH - 0.05, EAST - 0.06), (NORTH + 0.06, EAST - 0.01), (NORTH - 0.03, EAST + 0.07))),
    Area("a hook", tuple((NORTH + up, EAST + across) for up, across in
                         [(-0.05, -0.05), (0.05, -0.05), (0.05, 0.05), (0.02, 0.05), (0.02, -0.02), (-0.05, -0.02)])),
]  # fmt: skip


@pytest.mark.parametrize("area", AREAS, ids=lambda area: area.name)
def test_cells_are_those_whose_middle_the_area_contains(area: Area) -> None:
    """Cell by cell the same answer as `Area.contains`, which the release goes by."""
    chart = invented_chart()
    found = declared_cells(chart, area)
    asked = [[area.contains((float(lat), float(lon))) for lon in chart.longitude_deg] for lat in chart.latitude_deg]
    assert np.array_equal(np.array(asked), found)
    assert 50 < found.sum() < found.size - 50


def test_circle_across_the_antimeridian_is_whole() -> None:
    """A chart that counts on past 180 has both halves of a circle there."""
    longitude = np.arange(179.5, 180.5, 0.01)
    latitude = np.arange(-17.5, -16.5, 0.01)
    flat = np.full((len(latitude), len(longitude)), 100.0)
    chart = Chart("antimeridian", latitude, longitude, flat, flat)
    found = declared_cells(chart, Area("across", ((-17.0, 180.0),), 30_000.0))
    columns = np.flatnonzero(found.any(axis=0))
    assert columns[0] < 50 < columns[-1]
    assert float(chart.cell_km2[found].sum()) == pytest.approx(np.pi * 30**2, rel=0.01)


def test_circle_is_that_of_geographiclib_and_polygon_that_of_shapely() -> None:
    """Cells agree with geographiclib's geodesic distances, and with shapely's polygon away from its long edges."""
    square = ((-41.04, 17.02), (-41.04, 17.2), (-41.01, 17.2), (-41.01, 17.02))
    flat = np.full((60, 80), 100.0)
    chart = Chart("flat", -41.05 + 0.001 * np.arange(60), 17.0 + 0.0013 * np.arange(80), flat, flat)
    near = declared_cells(chart, Area("bank", ((-41.02, 17.05),), 2_000.0))
    inside = declared_cells(chart, Area("bank", square))
    polygon = Polygon([(longitude, latitude) for latitude, longitude in square])
    for row in range(2, 60, 6):
        for column in range(1, 80, 6):
            latitude_deg, longitude_deg = float(chart.latitude_deg[row]), float(chart.longitude_deg[column])
            apart_m = Geodesic.WGS84.Inverse(-41.02, 17.05, latitude_deg, longitude_deg)["s12"]
            assert near[row, column] == (apart_m <= 2_000.0)
            if polygon.exterior.distance(Point(longitude_deg, latitude_deg)) > 1e-4:
                assert inside[row, column] == polygon.contains(Point(longitude_deg, latitude_deg))
