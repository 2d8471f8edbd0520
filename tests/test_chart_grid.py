"""Grids and nodes laid on even axes: antimeridian, uneven steps, turned grids, gaps; against scipy, geographiclib."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from scipy.interpolate import LinearNDInterpolator

from charts_written import LATITUDES, LONGITUDES, elevation, seabed
from relay.audit.charts.chart_grid import chart_of_grid, chart_of_nodes, unwrapped
from relay.audit.matching.match import Ground
from relay.core.errors import ChartError


def turned(rows: int = 60, columns: int = 80, turn_deg: float = 29.0, spacing_m: float = 150.0) -> np.ndarray:
    """Return latitudes and longitudes (2, nodes) of a grid turned on the invented seabed."""
    row, column = np.meshgrid(np.arange(rows), np.arange(columns), indexing="ij")
    cosine, sine = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    east, north = spacing_m * (column * cosine - row * sine), spacing_m * (column * sine + row * cosine)
    return np.array([54.0 + north.ravel() / 111_300, -31.45 + east.ravel() / 65_500])


@pytest.mark.parametrize("shift", [-360, 0, 360])
def test_a_chart_over_the_antimeridian_is_one_piece(shift: int) -> None:
    """Longitudes in -180..180 or 0..360 that jump in the middle of the chart go on past 180."""
    longitudes = np.array([179.8, 179.9, 180.0, -179.9, -179.8])
    values = -np.arange(15.0).reshape(3, 5) - 1
    order = np.argsort(longitudes % 360 if shift else longitudes)
    written = (longitudes % 360 + shift if shift else longitudes)[order]
    chart = chart_of_grid("c", np.arange(3) * 0.1, written, values[:, order])
    assert chart.longitude_deg == pytest.approx(179.8 + np.arange(5) * 0.1)
    assert chart.depth_m == pytest.approx(-values)


def test_longitudes_begin_after_the_widest_gap() -> None:
    """0..360 about Greenwich and a chart of the whole Earth keep their order eastward."""
    assert unwrapped(np.array([359.0, 0.0, 1.0])) == pytest.approx([-1, 0, 1])
    around = np.arange(-180.0, 180.0)
    assert np.diff(np.sort(unwrapped(around))) == pytest.approx(1)


def test_uneven_steps_are_made_even_and_rounded_ones_are_taken_as_they_are() -> None:
    """Rows of a Mercator chart come out at even latitudes, as deep as the seabed there; rounding moves nothing."""
    mercator = np.degrees(np.arctan(np.sinh(np.linspace(*np.arcsinh(np.tan(np.radians([40.0, 55.0]))), 90))))
    values = -50 - 3 * (mercator[:, None] - 40) - 0 * LONGITUDES[None]
    chart = chart_of_grid("c", mercator, LONGITUDES, values)
    assert np.diff(chart.latitude_deg) == pytest.approx(15 / 89)
    assert chart.depth_m[:, 3] == pytest.approx(50 + 3 * (chart.latitude_deg - 40))
    rounded = chart_of_grid("c", np.round(LATITUDES, 4), np.round(LONGITUDES, 4), seabed())
    assert (rounded.depth_m == -seabed()).all()


def test_land_is_left_out_and_remembered() -> None:
    """An elevation at or above nought has no depth and is land; the unknown has none and is not."""
    values = seabed()
    values[3, 4], values[3, 5], values[6, 6] = 0.0, 12.0, np.nan
    chart = chart_of_grid("c", LATITUDES, LONGITUDES, values)
    assert chart.land is not None
    assert [tuple(cell) for cell in np.argwhere(chart.land)] == [(3, 4), (3, 5)]
    assert np.isnan(chart.depth_m).sum() == 3


def test_nodes_of_an_even_grid_keep_it_though_land_is_missing() -> None:
    """Nodes in any order whose land was left out come back cell by cell, nothing moved."""
    row, column = np.meshgrid(np.arange(31), np.arange(41), indexing="ij")
    wet = np.hypot(row - 15, column - 20).ravel() > 9
    order = np.random.default_rng(7).permutation(np.flatnonzero(wet))
    row, column = row.ravel()[order], column.ravel()[order]
    chart = chart_of_nodes("c", np.round(LATITUDES[row], 6), np.round(LONGITUDES[column], 6), seabed()[row, column])
    assert chart.shape == (31, 41)
    assert (np.isfinite(chart.depth_m).ravel() == wet).all()
    assert chart.depth_m.ravel()[wet] == pytest.approx(-seabed().ravel()[wet])


def test_a_turned_grid_is_resampled_at_its_own_density() -> None:
    """As many cells as nodes, as far apart by geographiclib as these were, as deep as the seabed there."""
    latitude, longitude = turned()
    chart = chart_of_nodes("c", latitude, longitude, elevation(latitude, longitude))
    known = np.isfinite(chart.depth_m)
    assert known.sum() == pytest.approx(60 * 80, rel=0.05)
    between = [
        Geodesic.WGS84.Inverse(chart.latitude_deg[0], chart.longitude_deg[0], *place)["s12"]
        for place in ((chart.latitude_deg[1], chart.longitude_deg[0]), (chart.latitude_deg[0], chart.longitude_deg[1]))
    ]
    assert between == pytest.approx([150, 150], rel=0.01)
    truth = -elevation(chart.latitude_deg[:, None], chart.longitude_deg[None, :])
    assert (
        np.abs(chart.depth_m - truth)[known].max() < 0.35
    )  # half the curvature, 2 h / s^2, times the squared circumradius


def test_resampled_depths_are_those_of_scipy() -> None:
    """Inside the triangles a cell is as deep as scipy's LinearNDInterpolator says, on scattered nodes."""
    draw = np.random.default_rng(8)
    latitude, longitude = turned() + draw.normal(scale=1e-4, size=(2, 4800))
    heights = -100 + draw.normal(size=4800)
    chart = chart_of_nodes("c", latitude, longitude, heights)
    shrink = np.cos(np.radians(latitude.mean()))
    at = np.meshgrid(chart.longitude_deg * shrink, chart.latitude_deg)
    reference = LinearNDInterpolator(np.column_stack([longitude * shrink, latitude]), heights)(*at)
    known = np.isfinite(chart.depth_m)
    assert known.sum() > 4000
    assert np.abs(chart.depth_m + reference)[known].max() < 1e-6


def test_nothing_is_made_up_across_land() -> None:
    """A band five spacings wide without nodes stays unknown in the middle; one that is a node wide is bridged."""
    latitude, longitude = turned()
    column = np.tile(np.arange(80), 60)
    for missing, open_again in (((40, 45), False), ((40, 41), True)):
        kept = (column < missing[0]) | (column >= missing[1])
        chart = chart_of_nodes("c", latitude[kept], longitude[kept], elevation(latitude, longitude)[kept])
        middle = 30 * 80 + (missing[0] + missing[1]) // 2
        cell = chart.index(latitude[middle], longitude[middle])
        assert cell is not None and np.isfinite(chart.depth_m[cell]) == open_again


def test_a_node_given_twice_is_its_mean_and_the_unknown_is_left_out() -> None:
    """On an even grid two depths for a node give their mean; a node without a depth is no node."""
    row, column = (axis.ravel() for axis in np.meshgrid(np.arange(31), np.arange(41), indexing="ij"))
    row, column = np.append(row, [0, 2]), np.append(column, [0, 2])
    values = np.append(seabed().ravel(), [seabed()[0, 0] - 2, np.nan])
    chart = chart_of_nodes("c", LATITUDES[row], LONGITUDES[column], values)
    assert chart.depth_m[0, 0] == pytest.approx(1 - seabed()[0, 0])
    assert chart.depth_m[2, 2] == pytest.approx(-seabed()[2, 2])


def test_the_factor_scales_the_error_alone() -> None:
    """`error_factor` multiplies what the chart says of its error, and no depth."""
    one, three = (chart_of_grid("c", LATITUDES, LONGITUDES, seabed(), error_factor=factor) for factor in (1.0, 3.0))
    assert three.error_m == pytest.approx(3 * one.error_m)
    assert (three.depth_m == one.depth_m).all()


@pytest.mark.parametrize(
    ("latitude", "longitude", "words"),
    [
        ([1.0, 2.0, 3.0], [1.0, 1.0, 2.0], "too few"),
        ([1.0, 2.0, 3.1, 4.7, 5.3], [1.0, 2.0, 3.1, 4.7, 5.3], "one line"),
        ([1.0] * 5, [1.0] * 5, "one line"),
    ],
)
def test_nodes_that_make_no_area_are_no_chart(latitude: list[float], longitude: list[float], words: str) -> None:
    """Three nodes, nodes on a line and nodes on one place are refused in words."""
    with pytest.raises(ChartError, match=f"c: .*{words}"):
        chart_of_nodes("c", np.array(latitude), np.array(longitude), np.full(len(latitude), -5.0))


def test_a_grid_without_water_or_with_a_row_twice_is_no_chart() -> None:
    """Dry land, a latitude that comes twice and a single row are refused in words."""
    with pytest.raises(ChartError, match="nothing lies under water"):
        chart_of_grid("c", LATITUDES, LONGITUDES, -seabed())
    with pytest.raises(ChartError, match="latitude axis holds a value twice"):
        chart_of_grid("c", np.append(LATITUDES[:-1], LATITUDES[0]), LONGITUDES, seabed())
    with pytest.raises(ChartError, match="two rows"):
        chart_of_grid("c", LATITUDES[:1], LONGITUDES, seabed()[:1])


@pytest.mark.parametrize("pole", [-90.0, 90.0])
def test_rows_at_a_pole_are_left_out(pole: float) -> None:
    """A chart up to the pole is one up to half a degree from it, on which a dive can be laid; the rest is refused."""
    latitudes, longitudes = np.sort(pole - np.sign(pole) * 0.25 * np.arange(9)), 20 + 0.25 * np.arange(6)
    values = -100.0 - np.arange(54.0).reshape(9, 6)
    chart = chart_of_grid("c", latitudes, longitudes, values)
    assert np.abs(chart.latitude_deg).max() == pytest.approx(89.5)
    assert chart.depth_m == pytest.approx(-values[np.abs(latitudes) <= 89.5])
    assert len(Ground.of(chart, 3_000.0).cells) == chart.depth_m.size == 42
    near = np.abs(latitudes) > 89.4
    with pytest.raises(ChartError, match="c: all of it lies within half a degree of a pole"):
        chart_of_grid("c", latitudes[near], longitudes, values[near])


def test_few_nodes_become_no_millions_of_cells() -> None:
    """A dense patch and one node 20 km away are refused before a grid as fine as the patch is laid over all of it."""
    chance = np.random.default_rng(3)
    latitude = np.append(54.0 + chance.uniform(0, 0.0015, 200), 54.18)
    longitude = np.append(-31.0 + chance.uniform(0, 0.0025, 200), -30.7)
    with pytest.raises(ChartError, match=r"c: 201 nodes would come to [\d,]+ by [\d,]+ cells, so unevenly do they lie"):
        chart_of_nodes("c", latitude, longitude, np.full(201, -100.0))
