"""Grids in a projection: places of their pixels, against pyproj's projections and geodesics."""

import numpy as np
import pytest
from pyproj import CRS, Geod, Transformer

from relay.audit.charts.chart_plane import Plane, chart_of_plane
from relay.core.errors import ChartError

TURNED = np.array([[40.0, -30.0, 500_000.0], [-30.0, -40.0, 6_000_000.0]])


def test_places_and_pixels_undo_each_other() -> None:
    """Rows and columns of a turned grid to degrees and back, and the places are those of pyproj."""
    plane = Plane(CRS.from_epsg(32631), TURNED)
    row, column = np.array([0.0, 3.5, 100.0]), np.array([0.0, 80.0, 7.25])
    latitude, longitude = plane.placed(row, column)
    x, y = (line[0] * column + line[1] * row + line[2] for line in TURNED)
    expected = Transformer.from_crs(32631, 4326, always_xy=True).transform(x, y)
    assert (longitude, latitude) == (pytest.approx(expected[0]), pytest.approx(expected[1]))
    assert [*plane.found(latitude, longitude)] == [pytest.approx(row, abs=1e-6), pytest.approx(column, abs=1e-6)]


def test_only_degrees_on_wgs84_are_taken_as_they_stand() -> None:
    """WGS84 and NAD83, which agree to two metres, are upright; ED50, a turn or a projection are resampled."""
    upright = np.array([[0.01, 0.0, 3.0], [0.0, -0.01, 54.0]])
    assert Plane(CRS.from_epsg(4326), upright).upright and Plane(CRS.from_epsg(4269), upright).upright
    assert not Plane(CRS.from_epsg(4230), upright).upright
    assert not Plane(CRS.from_epsg(4326), upright + np.array([[0, 1e-4, 0], [0, 0, 0]])).upright
    assert not Plane(CRS.from_epsg(32631), upright).upright


@pytest.mark.parametrize(("code", "x", "y"), [(32601, 300_000.0, 7_000_000.0), (3031, 900_000.0, -1_400_000.0)])
def test_a_plane_is_resampled_at_its_own_pixels_size(code: int, x: float, y: float) -> None:
    """Beside the antimeridian and near the south pole, cells are as large by pyproj's geodesics as the pixels were."""
    affine = np.array([[200.0, 0.0, x], [0.0, -200.0, y]])
    row, column = np.meshgrid(np.arange(50.0), np.arange(60.0), indexing="ij")
    chart = chart_of_plane("c", Plane(CRS.from_epsg(code), affine), -100 - row - 2 * column)
    known = np.isfinite(chart.depth_m)
    corners = x - 100, x + 59.5 * 200, y + 100, y - 49.5 * 200
    along = np.linspace(0, 1, 50)
    ring_x = np.concatenate([corners[0] + along * (corners[1] - corners[0]), np.full(50, corners[1])])
    ring_y = np.concatenate([np.full(50, corners[2]), corners[2] + along * (corners[3] - corners[2])])
    ring_x, ring_y = np.append(ring_x, [corners[0]]), np.append(ring_y, [corners[3]])
    longitude, latitude = Transformer.from_crs(code, 4326, always_xy=True).transform(ring_x, ring_y)
    area_m2 = abs(Geod(ellps="WGS84").polygon_area_perimeter(longitude, latitude)[0])
    assert chart.cell_km2[known].sum() == pytest.approx(area_m2 / 1e6, rel=0.02)
    assert known.sum() == pytest.approx(50 * 60, rel=0.03)
    assert (np.diff(chart.longitude_deg) > 0).all() and np.ptp(chart.longitude_deg) < 5


@pytest.mark.parametrize("code", [4322, 32631, 3031])
@pytest.mark.parametrize(
    ("affine", "words"),
    [
        ([[np.nan, 0, 0], [0, -1, 0]], "no place on the earth"),
        ([[1, 0, np.inf], [0, -1, 0]], "no place on the earth"),
        ([[1e308, 0, 0], [0, -1e308, 0]], "no place on the earth"),
        ([[0, 0, 3], [0, -1, 5]], "no size on the earth"),
        ([[1, 1, 3], [1, 1, 5]], "no size on the earth"),
        ([[1e-300, 0, 3], [0, -1e-280, 54]], "no size on the earth"),
    ],
)
def test_a_plane_that_is_none_is_refused(code: int, affine: list[list[float]], words: str) -> None:
    """Numbers that lay no grid on the earth, in degrees of another datum or in metres: the file and its projection."""
    crs = CRS.from_epsg(code)
    with pytest.raises(ChartError, match=rf"c\.tif: .*{words} in {crs.name}; .* write it anew"):
        chart_of_plane("c.tif", Plane(crs, np.array(affine, dtype=float)), np.full((4, 4), -100.0))


@pytest.mark.parametrize("start", [np.nan, np.inf])
def test_degrees_that_are_no_numbers_are_refused(start: float) -> None:
    """An upright grid isn't projected, and is refused in the same words."""
    affine = np.array([[0.01, 0.0, start], [0.0, -0.01, 54.0]])
    with pytest.raises(ChartError, match=r"c\.tif: .*no place on the earth"):
        chart_of_plane("c.tif", Plane(CRS.from_epsg(4326), affine), np.full((4, 4), -100.0))


def test_few_pixels_become_no_millions_of_cells() -> None:
    """A narrow strip across the grid is laid out; pixels that lie nowhere near one another are refused unlaid."""
    side = 200 * np.sqrt(0.5)
    askew = np.array([[side, side, 300_000.0], [side, -side, 6_000_000.0]])
    strip = chart_of_plane("strip.tif", Plane(CRS.from_epsg(32631), askew), np.full((10, 800), -100.0))
    assert np.isfinite(strip.depth_m).sum() == pytest.approx(8_000, rel=0.05)
    stretched = np.array([[-2.6e14, 0.0, 1.6e-314], [0.0, 3.2e14, -31.5]])
    with pytest.raises(ChartError, match=r"c\.tif: its 4 by 4 pixels would come to [\d,]+ by [\d,]+ cells.* anew in"):
        chart_of_plane("c.tif", Plane(CRS.from_epsg(4294), stretched), np.full((4, 4), -100.0))
