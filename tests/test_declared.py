"""The declared area on a chart: the same cells as `core.area` says, one by one."""

import numpy as np
import pytest

from dives import INVENTED_SITE
from played_cases import invented_chart
from relay.audit.chart import Chart
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
