"""Charts told apart by their content, whatever they are called; the published charts have their README's figures."""

import gzip
from pathlib import Path

import numpy as np
import pytest

from charts_written import axes, seabed, write_geotiff, write_netcdf3, write_netcdf4
from match_cases import finest
from relay.audit.charts.chart_files import read_chart
from relay.core.errors import ChartError

HELD = {"elevation": (("lat", "lon"), seabed(), {"units": "m"})}
TIFF = {"scale": (0.005, 1 / 300, 0.0), "tie": (0.0, 0.0, 0.0, -31.5, 54.1, 0.0)}


def csv(path: Path) -> Path:
    """Write the invented seabed as nodes."""
    lines = [
        f"{latitude},{longitude},{height}"
        for latitude, row in zip(axes()[0][1], seabed(), strict=True)
        for longitude, height in zip(axes()[1][1], row, strict=True)
    ]
    path.write_text("\n".join(["lat,lon,elevation_m", *lines]))
    return path


def test_the_content_decides_and_gzip_goes_round_anything(tmp_path: Path) -> None:
    """Each format under a name that says nothing, plain and compressed, is the same seabed."""
    point = {1024: 2, 1025: 2, 2048: 4326}
    paths = [
        write_netcdf3(tmp_path / "a", axes(), HELD),
        write_netcdf4(tmp_path / "b", axes(), HELD),
        write_geotiff(tmp_path / "c", seabed()[::-1].astype(np.float32), point, **TIFF),
        csv(tmp_path / "d"),
    ]
    for path in list(paths):
        packed = path.with_suffix(".packed")
        packed.write_bytes(gzip.compress(path.read_bytes()))
        paths.append(packed)
    for path in paths:
        chart = read_chart(path)
        assert chart.name == path.name
        assert chart.depth_m == pytest.approx(-seabed(), abs=1e-4)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\x1f\x8b\x08",
        gzip.compress(b"lat,lon", mtime=0)[:-6],
        gzip.compress(b"lat", mtime=0)[:10] + b"\xff" * 40,
        b"\xff\xfe\x00\x81",
        b"\x00" * 50,
    ],
)
def test_what_is_no_chart_is_said(tmp_path: Path, content: bytes) -> None:
    """An empty file, torn gzip and other bytes are errors of the operator's, with the file's name."""
    path = tmp_path / "chart.bin"
    path.write_bytes(content)
    with pytest.raises(ChartError, match=r"chart\.bin"):
        read_chart(path)


def test_a_chart_that_is_not_there_is_said(tmp_path: Path) -> None:
    """A missing file and a folder are errors of the operator's."""
    for path in (tmp_path / "none.nc", tmp_path):
        with pytest.raises(ChartError, match="cannot be read"):
            read_chart(path)


def test_more_octets_than_a_chart_may_have_are_not_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file at the limit is read, one octet more is refused, also when it only swells in unpacking."""
    path = csv(tmp_path / "c.csv")
    packed = tmp_path / "c.csv.gz"
    packed.write_bytes(gzip.compress(path.read_bytes()))
    monkeypatch.setattr("relay.audit.charts.chart_files.MOST_OCTETS", path.stat().st_size)
    assert read_chart(packed).shape == seabed().shape
    monkeypatch.setattr("relay.audit.charts.chart_files.MOST_OCTETS", path.stat().st_size - 1)
    with pytest.raises(ChartError, match="cut it to the area"):
        read_chart(packed)


def test_the_shelf_has_its_figures(shared_data: Path) -> None:
    """479 by 420 nodes at one minute of arc, 4,327 m at the deepest (README of the data)."""
    chart = read_chart(shared_data / "chart-shelf-1min" / "grid.csv.gz")
    assert chart.shape == (479, 420)
    assert (chart.latitude_deg[0], chart.latitude_deg[-1]) == pytest.approx((47.0167, 54.9833), abs=1e-4)
    assert (chart.longitude_deg[0], chart.longitude_deg[-1]) == pytest.approx((-6.9833, 0), abs=1e-4)
    assert np.diff(chart.latitude_deg) == pytest.approx(1 / 60)
    assert np.nanmax(chart.depth_m) == 4327
    assert chart.land is not None and (chart.land == np.isnan(chart.depth_m)).all()


@pytest.mark.parametrize(
    ("name", "nodes", "spacing_m"), [("chart-500m", 32_510, (436.0, 501.0)), ("fine-160m", 196_095, (145.0, 168.0))]
)
def test_the_strait_has_its_figures(shared_data: Path, name: str, nodes: int, spacing_m: tuple[float, float]) -> None:
    """As much water as nodes of the README's spacing cover, at that density, as deep as the file at its own nodes."""
    path = shared_data / "chart-strait-multires" / f"{name}.csv.gz"
    chart = finest(shared_data) if name == "fine-160m" else read_chart(path)
    table = np.loadtxt(path, delimiter=",", skiprows=1, usecols=(2, 3, 4))
    assert len(table) == nodes
    assert chart.spacing_m == pytest.approx([np.sqrt(spacing_m[0] * spacing_m[1])] * 2, rel=0.01)
    assert chart.cell_km2[np.isfinite(chart.depth_m)].sum() == pytest.approx(
        nodes * spacing_m[0] * spacing_m[1] / 1e6, rel=0.04
    )
    some = table[np.random.default_rng(10).permutation(nodes)[:5000]]
    cells = [chart.index(latitude, longitude) for longitude, latitude, _ in some]
    inside = [(*cell, depth) for cell, depth in zip(cells, some[:, 2], strict=True) if cell]
    row, column, written = np.array(inside).T
    found, error = (held[row.astype(int), column.astype(int)] for held in (chart.depth_m, chart.error_m))
    known = np.isfinite(found)
    assert known.mean() > 0.95 and (known == np.isfinite(error)).all()
    assert np.median(np.abs(found - written)[known]) < 0.5 * np.median(error[known])


def test_the_two_minute_chart_is_made_even_and_its_placeholder_is_doubted(shared_data: Path) -> None:
    """55 by 53 nodes; the 1 m in 43 % of its water is no sounding, so it is doubted by tens of metres."""
    chart = read_chart(shared_data / "chart-strait-multires" / "chart-2min.csv.gz")
    assert chart.shape == (55, 53)
    assert np.diff(chart.longitude_deg) == pytest.approx(2 / 60, abs=1e-4)
    wet = np.isfinite(chart.depth_m)
    assert (chart.depth_m[wet] < 1.5).mean() < 0.1
    assert (chart.error_m[wet] > 50).mean() > 0.3
