"""Charts in GeoTIFF, written by tifffile; projections against pyproj."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from pyproj import Transformer

from charts_written import LATITUDES, LONGITUDES, elevation, seabed, write_geotiff
from relay.audit.charts.chart_files import read_chart
from relay.core.errors import ChartError

STEPS = LONGITUDES[1] - LONGITUDES[0], LATITUDES[1] - LATITUDES[0]
DEGREES = {1024: 2, 1025: 1, 2048: 4326}
SCALE = (*STEPS, 0.0)
TIE = (0.0, 0.0, 0.0, LONGITUDES[0] - STEPS[0] / 2, LATITUDES[-1] + STEPS[1] / 2, 0.0)


HOW: list[dict[str, Any]] = [{}, {"byteorder": ">"}, {"compression": "zlib"}, {"tile": (16, 16)}, {"bigtiff": True}]


@pytest.mark.parametrize("kind", [np.float32, np.float64, np.int8, np.int16, np.int32])
@pytest.mark.parametrize("how", HOW)
def test_geotiff_in_degrees_is_read_as_it_was_written(tmp_path: Path, kind: Any, how: dict[str, Any]) -> None:
    """Whatever the numbers and however they are stored, the depths lie where tie point and scale put them."""
    written = np.clip(np.round(seabed()[::-1]), -128, 127).astype(kind)
    chart = read_chart(write_geotiff(tmp_path / "c.tif", written, DEGREES, scale=SCALE, tie=TIE, how=how))
    assert chart.latitude_deg == pytest.approx(LATITUDES)
    assert chart.longitude_deg == pytest.approx(LONGITUDES)
    assert chart.depth_m == pytest.approx(np.minimum(-np.round(seabed()), 128))


def test_unsigned_numbers_are_depths(tmp_path: Path) -> None:
    """Numbers without a sign, of 8, 16 and 32 bits, are read as depths, each in both orders of octets."""
    written = -np.round(seabed()[::-1])
    for kind in (np.uint8, np.uint16, np.uint32):
        for order in "<>" if kind is not np.uint32 else "<":
            how = {"byteorder": order}
            path = write_geotiff(tmp_path / "c.tif", written.astype(kind), DEGREES, scale=SCALE, tie=TIE, how=how)
            assert read_chart(path).depth_m == pytest.approx(written[::-1])


def test_what_would_be_read_wrong_is_refused(tmp_path: Path) -> None:
    """Compressed big-endian numbers, which Pillow gets wrong, are an error rather than wrong depths."""
    how = {"byteorder": ">", "compression": "zlib"}
    path = write_geotiff(tmp_path / "c.tif", seabed().astype(np.float32), DEGREES, scale=SCALE, tie=TIE, how=how)
    with pytest.raises(ChartError, match="little-endian"):
        read_chart(path)


def test_a_pixel_that_is_a_point_lies_on_its_tie_point(tmp_path: Path) -> None:
    """RasterPixelIsPoint moves the chart by half a pixel (OGC 19-008r4, requirement on GTRasterTypeGeoKey)."""
    tie = (0.0, 0.0, 0.0, LONGITUDES[0], LATITUDES[-1], 0.0)
    values = seabed()[::-1].astype(np.float32)
    chart = read_chart(write_geotiff(tmp_path / "c.tif", values, DEGREES | {1025: 2}, scale=SCALE, tie=tie))
    assert chart.latitude_deg == pytest.approx(LATITUDES)
    assert chart.longitude_deg == pytest.approx(LONGITUDES)


def test_no_data_is_unknown_and_positive_values_alone_are_depths(tmp_path: Path) -> None:
    """The text of tag 42113 is the value that means none, also where it is no whole float32."""
    values = -seabed()[::-1].astype(np.float32)
    values[2, 3] = np.float32(1e20)
    chart = read_chart(write_geotiff(tmp_path / "c.tif", values, DEGREES, scale=SCALE, tie=TIE, missing="1e20"))
    assert np.isnan(chart.depth_m[-3, 3]) and np.isfinite(chart.depth_m).sum() == values.size - 1
    assert np.nanmax(np.abs(chart.depth_m + seabed())) < 1e-4


def test_a_matrix_places_as_scale_and_tie_point_do(tmp_path: Path) -> None:
    """Tag 34264 with no turn in it gives the same chart."""
    matrix = (STEPS[0], 0, 0, TIE[3], 0, -STEPS[1], 0, TIE[4], 0, 0, 0, 0, 0, 0, 0, 1)
    values = seabed()[::-1].astype(np.float32)
    chart = read_chart(write_geotiff(tmp_path / "c.tif", values, DEGREES, matrix=matrix))
    assert chart.latitude_deg == pytest.approx(LATITUDES)
    assert chart.depth_m == pytest.approx(-seabed(), abs=1e-4)


@pytest.mark.parametrize("turn_deg", [0.0, 29.0])
def test_a_projected_and_turned_chart_keeps_its_depths_in_place(tmp_path: Path, turn_deg: float) -> None:
    """A grid in UTM zone 25, upright or turned: each cell is as deep as the seabed at its place by pyproj."""
    cosine, sine = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    affine = np.array([[250 * cosine, 250 * sine, 599_000], [250 * sine, -250 * cosine, 5_992_000]])
    row, column = np.meshgrid(np.arange(40) + 0.5, np.arange(44) + 0.5, indexing="ij")
    x, y = (line[0] * column + line[1] * row + line[2] for line in affine)
    longitude, latitude = Transformer.from_crs(32625, 4326, always_xy=True).transform(x, y)
    matrix = (*affine[0, :2], 0, affine[0, 2], *affine[1, :2], 0, affine[1, 2], 0, 0, 0, 0, 0, 0, 0, 1)
    values = elevation(latitude, longitude).astype(np.float32)
    chart = read_chart(write_geotiff(tmp_path / "c.tif", values, {1024: 1, 1025: 1, 3072: 32625}, matrix=matrix))
    truth = -elevation(chart.latitude_deg[:, None], chart.longitude_deg[None, :])
    known = np.isfinite(chart.depth_m)
    assert known.sum() == pytest.approx(40 * 44, rel=0.05)
    off_m = np.abs(chart.depth_m - truth)[
        known
    ]  # half a pixel is 0.3 m on the slope; the outermost half takes the nearest
    assert np.median(off_m) < 0.02 and off_m.max() < 1.6
    assert chart.spacing_m == pytest.approx((250, 250), rel=0.01)


def test_another_datum_is_moved_to_wgs84(tmp_path: Path) -> None:
    """Degrees of a datum on another ellipsoid (ED50, EPSG:4230) lie where pyproj moves them, a hundred metres off."""
    values = seabed()[::-1].astype(np.float32)
    chart = read_chart(write_geotiff(tmp_path / "c.tif", values, DEGREES | {2048: 4230}, scale=SCALE, tie=TIE))
    east, north = Transformer.from_crs(4326, 4230, always_xy=True).transform(
        *np.meshgrid(chart.longitude_deg, chart.latitude_deg)
    )
    known = np.isfinite(chart.depth_m)
    off_m = np.abs(chart.depth_m + elevation(north, east))[known]
    assert known.mean() > 0.9 and np.median(off_m) < 0.02 and off_m.max() < 1.1  # a hundred metres are half a metre


@pytest.mark.parametrize(
    ("keys", "tags", "words"),
    [
        (DEGREES | {2048: 32767}, {"scale": SCALE, "tie": TIE}, "without an EPSG code"),
        ({1024: 1, 3072: 2}, {"scale": SCALE, "tie": TIE}, "EPSG:2 is no projection"),
        (DEGREES, {}, "neither a pixel's size"),
        (DEGREES, {"scale": SCALE, "tie": TIE, "missing": "none"}, "no number"),
    ],
)
def test_a_geotiff_that_tells_no_place_says_so(tmp_path: Path, keys: Any, tags: Any, words: str) -> None:
    """Each missing piece is named, with the file."""
    with pytest.raises(ChartError, match=rf"c\.tif: .*{words}"):
        read_chart(write_geotiff(tmp_path / "c.tif", seabed().astype(np.float32), keys, **tags))


@pytest.mark.parametrize("tag", [34264, 34735])
def test_text_for_numbers_is_refused(tmp_path: Path, tag: int) -> None:
    """A matrix or keys whose type was written over by that of a text: the tag is named, with the file."""
    path = write_geotiff(tmp_path / "c.tif", seabed().astype(np.float32), DEGREES, matrix=np.eye(4).ravel())
    numbers = {34264: 12, 34735: 3}[tag]  # TIFF 6.0: doubles, words of 16 bits; 2 is a text
    was, now = (tag.to_bytes(2, "little") + kind.to_bytes(2, "little") for kind in (numbers, 2))
    assert path.read_bytes().count(was) == 1
    path.write_bytes(path.read_bytes().replace(was, now))
    with pytest.raises(ChartError, match=rf"c\.tif: its tag {tag} holds something else than numbers"):
        read_chart(path)


@pytest.mark.parametrize("scale", [np.nan, np.inf])
def test_size_that_is_no_number_is_refused(tmp_path: Path, scale: float) -> None:
    """A pixel's size that isn't finite."""
    path = write_geotiff(tmp_path / "c.tif", seabed().astype(np.float32), DEGREES, scale=(scale, 0.01, 0.0), tie=TIE)
    with pytest.raises(ChartError, match=r"c\.tif: part of its grid has no place on the earth in WGS 84"):
        read_chart(path)


def test_colours_and_plain_pictures_are_no_charts(tmp_path: Path) -> None:
    """Three bands, or a TIFF without keys, are refused in words."""
    bands = np.zeros((8, 8, 3), dtype=np.uint8)
    with pytest.raises(ChartError, match="3 bands"):
        read_chart(write_geotiff(tmp_path / "c.tif", bands, DEGREES, how={"photometric": "rgb"}))
    tifffile.imwrite(tmp_path / "d.tif", seabed().astype(np.float32), metadata=None)
    with pytest.raises(ChartError, match="without the keys"):
        read_chart(tmp_path / "d.tif")


@pytest.mark.parametrize("kept", [4, 9, 100, 3000])
def test_a_torn_picture_is_refused_in_words(tmp_path: Path, kept: int) -> None:
    """A file cut anywhere is an error of the operator's, never another."""
    path = write_geotiff(tmp_path / "c.tif", seabed().astype(np.float32), DEGREES, scale=SCALE, tie=TIE)
    path.write_bytes(path.read_bytes()[:kept])
    with pytest.raises(ChartError, match=r"c\.tif"):
        read_chart(path)


def test_a_picture_without_all_its_rows_is_refused(tmp_path: Path) -> None:
    """Rows for which the file has no strip aren't taken for a seabed at nought metres."""
    path = write_geotiff(tmp_path / "c.tif", seabed().astype(np.float32), DEGREES, scale=SCALE, tie=TIE)
    rows = 2 * len(LATITUDES)
    with tifffile.TiffFile(path, mode="r+") as file:
        file.pages[0].tags[257].overwrite(rows)  # ImageLength, baseline TIFF 6.0
    words = rf"c\.tif: holds {seabed().size:,} of its {rows:,} by {len(LONGITUDES):,} pixels"
    with pytest.raises(ChartError, match=words):
        read_chart(path)
