"""Charts in NetCDF, written by h5netcdf (version 4) and scipy (version 3); projections against pyproj."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pyproj import CRS, Transformer

from charts_written import LATITUDES, LONGITUDES, axes, elevation, seabed, write_netcdf3, write_netcdf4
from relay.audit.charts.chart_files import read_chart
from relay.core.errors import ChartError

WRITERS = [write_netcdf3, write_netcdf4]
GRID = ("lat", "lon")


@pytest.mark.parametrize("write", WRITERS)
def test_netcdf_of_elevations_is_read_as_it_was_written(tmp_path: Path, write: Any) -> None:
    """Axes and depths come back as the library wrote them, up turned to down."""
    path = write(tmp_path / "c.nc", axes(), {"elevation": (GRID, seabed(), {"units": "m"})})
    chart = read_chart(path)
    assert chart.latitude_deg == pytest.approx(LATITUDES)
    assert chart.longitude_deg == pytest.approx(LONGITUDES)
    assert chart.depth_m == pytest.approx(-seabed())
    assert chart.name == "c.nc" and chart.land is None


@pytest.mark.parametrize("write", WRITERS)
def test_axes_may_run_south_and_in_either_order(tmp_path: Path, write: Any) -> None:
    """Latitudes from the north, longitudes to 360, the value (lon, lat) and named only by CF: the same chart."""
    held = [
        ("v", LATITUDES[::-1].copy(), {"standard_name": "latitude"}),
        ("u", LONGITUDES + 360, {"standard_name": "longitude"}),
    ]
    values = -seabed()[::-1].T.copy()
    path = write(tmp_path / "c.nc", held, {"q": (("u", "v"), values, {"standard_name": "sea_floor_depth_below_geoid"})})
    chart = read_chart(path)
    assert chart.latitude_deg == pytest.approx(LATITUDES)
    assert chart.longitude_deg == pytest.approx(LONGITUDES)
    assert chart.depth_m == pytest.approx(-seabed())


@pytest.mark.parametrize("write", WRITERS)
def test_packed_values_fills_and_ranges_are_undone(tmp_path: Path, write: Any) -> None:
    """Integers with scale and offset, fill and missing values, a valid range: metres, and unknown where CF says."""
    stored = np.round((-seabed() - 100) / 0.25).astype(np.int16)
    stored[0, 0], stored[0, 1], stored[0, 2] = -32000, -31000, 30000
    attributes = {
        "units": "m", "positive": "down", "scale_factor": 0.25, "add_offset": 100.0, "_FillValue": np.int16(-32000),
        "missing_value": np.int16(-31000), "valid_max": np.int16(20000),
    }  # fmt: skip
    chart = read_chart(write(tmp_path / "c.nc", axes(), {"z": (GRID, stored, attributes)}))
    assert np.isnan(chart.depth_m[0, :3]).all()
    assert chart.depth_m[1:] == pytest.approx(-seabed()[1:], abs=0.126)


@pytest.mark.parametrize(
    ("name", "attributes", "factor"),
    [
        ("depth", {"units": "m"}, -1.0),
        ("z", {"units": "m", "positive": "up"}, 1.0),
        ("depth", {"units": "m", "positive": "up"}, 1.0),
        ("Band1", {}, 1.0),
        ("bathymetry", {}, -1.0),
        ("depth_ft", {"units": "feet"}, -1 / 0.3048),
        ("height", {"units": "m", "positive": "down", "standard_name": "surface_altitude"}, 1.0),
    ],
)
def test_the_sign_is_by_standard_name_then_positive_then_name(
    tmp_path: Path, name: str, attributes: dict[str, str], factor: float
) -> None:
    """Whichever way a file counts, and in whichever unit, the depths are metres down."""
    path = write_netcdf4(tmp_path / "c.nc", axes(), {name: (GRID, seabed() * factor, attributes)})
    assert read_chart(path).depth_m == pytest.approx(-seabed())


def test_a_mask_of_the_file_is_land(tmp_path: Path) -> None:
    """What `land_binary_mask` calls land has no depth, whatever number stands there."""
    mask = np.zeros(seabed().shape, dtype=np.int8)
    mask[5:9, 4] = 1
    values = {"elevation": (GRID, seabed(), {}), "m": (GRID, mask, {"standard_name": "land_binary_mask"})}
    chart = read_chart(write_netcdf4(tmp_path / "c.nc", axes(), values))
    assert (np.isnan(chart.depth_m) == (mask == 1)).all()
    assert chart.land is not None and (chart.land == (mask == 1)).all()


def test_one_moment_of_time_is_no_axis(tmp_path: Path) -> None:
    """A dimension of one element is left out."""
    held = [("time", np.array([3.0]), {"units": "days since 2001-01-01"}), *axes()]
    values = {"depth": (("time", *GRID), -seabed()[None], {"units": "m"})}
    assert read_chart(write_netcdf4(tmp_path / "c.nc", held, values)).depth_m == pytest.approx(-seabed())


def test_a_turned_grid_with_places_by_node_keeps_its_depths(tmp_path: Path) -> None:
    """Latitude and longitude as fields of two dimensions: resampled, and right to what bends over a cell."""
    row, column = np.meshgrid(np.arange(40.0), np.arange(50.0), indexing="ij")
    latitude, longitude = 54 + 0.001 * (row + 0.5 * column), -31.5 + 0.0017 * (column - 0.5 * row)
    values = {
        "nav_lat": (("y", "x"), latitude, {"units": "degrees_north"}),
        "nav_lon": (("y", "x"), longitude, {"units": "degrees_east"}),
        "Bathymetry": (("y", "x"), -elevation(latitude, longitude), {"units": "metres"}),
    }
    held = [("y", np.arange(40.0), {}), ("x", np.arange(50.0), {})]
    chart = read_chart(write_netcdf4(tmp_path / "c.nc", held, values))
    truth = -elevation(chart.latitude_deg[:, None], chart.longitude_deg[None, :])
    known = np.isfinite(chart.depth_m)
    assert 0.9 * 39 * 49 < known.sum() < 1.3 * 40 * 50
    assert np.abs(chart.depth_m - truth)[known].max() < 0.3


def test_a_projection_told_by_the_file_is_undone(tmp_path: Path) -> None:
    """A grid in UTM zone 25 (pyproj's EPSG:32625) with its projection in CF's words: depths at their places."""
    crs = CRS.from_epsg(32625)
    x, y = 599_000 + 250 * np.arange(40.0), 5_985_000 + 250 * np.arange(44.0)
    east, north = np.meshgrid(x, y)
    longitude, latitude = Transformer.from_crs(crs, 4326, always_xy=True).transform(east, north)
    attributes = {name: value for name, value in crs.to_cf().items() if name != "crs_wkt"}
    held = [
        ("y", y, {"standard_name": "projection_y_coordinate", "units": "m"}),
        ("x", x, {"standard_name": "projection_x_coordinate", "units": "m"}),
    ]
    values = {
        "utm": ((), np.int32(0), attributes),
        "elevation": (("y", "x"), elevation(latitude, longitude), {"grid_mapping": "utm"}),
    }
    chart = read_chart(write_netcdf4(tmp_path / "c.nc", held, values))
    truth = -elevation(chart.latitude_deg[:, None], chart.longitude_deg[None, :])
    known = np.isfinite(chart.depth_m)
    assert known.mean() > 0.9
    assert np.abs(chart.depth_m - truth)[known].max() < 0.5
    assert chart.spacing_m == pytest.approx((250, 250), rel=0.01)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"salt": (GRID, seabed(), {})}, "name it depth"),
        ({"depth": (GRID, -seabed(), {}), "depth_2": (GRID, -seabed(), {})}, "could all be the depth"),
        ({"depth": (GRID, -seabed(), {"units": "Pa"})}, "in `pa`"),
        ({"elevation": (GRID, -seabed(), {})}, "nothing lies under water"),
        ({"z": (GRID, seabed() * 0 - 5, {})}, "not said whether"),
    ],
)
def test_a_file_that_is_no_chart_says_what_is_wrong(tmp_path: Path, values: Any, words: str) -> None:
    """Each fault has its own words, with the file's name before them."""
    with pytest.raises(ChartError, match=rf"c\.nc: .*{words}"):
        read_chart(write_netcdf4(tmp_path / "c.nc", axes(), values))


def test_a_grid_without_axes_is_refused(tmp_path: Path) -> None:
    """Rows and columns by number say nothing of where they are."""
    held = [("y", np.arange(31.0), {}), ("x", np.arange(41.0), {})]
    with pytest.raises(ChartError, match="no axes of latitude"):
        read_chart(write_netcdf3(tmp_path / "c.nc", held, {"depth": (("y", "x"), -seabed(), {})}))


@pytest.mark.parametrize("write", WRITERS)
@pytest.mark.parametrize("kept", [8, 40, 200, 2000])
def test_a_torn_file_is_refused_in_words(tmp_path: Path, write: Any, kept: int) -> None:
    """A file cut anywhere is an error of the operator's, never another."""
    path = write(tmp_path / "c.nc", axes(), {"elevation": (GRID, seabed(), {"units": "m"})})
    path.write_bytes(path.read_bytes()[:kept])
    with pytest.raises(ChartError, match=r"c\.nc"):
        read_chart(path)
