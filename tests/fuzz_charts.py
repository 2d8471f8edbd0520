"""Fuzz targets of what the audit is given: charts in every format, the ship's track from AIS, a list of wrecks.

Properties: a chart's axes are finite and fit its depths; a track's times go forward; nothing is raised but
ChartError or OperatorError.
"""

import gzip
import tempfile
import warnings
from pathlib import Path

import numpy as np

from charts_written import axes, seabed, write_geotiff, write_netcdf3, write_netcdf4
from fuzz_target import Target, as_file, result_or
from relay.audit.charts.chart import Chart
from relay.audit.charts.chart_files import read_chart
from relay.core.errors import OperatorError
from relay.shell.audit.ship_track_file import read_ship_track
from relay.shell.audit.wreck_list_file import read_wreck_list

_TRACK = b"time,mmsi,lat,lon\n2026-11-26T22:05:00Z,1,-38.61,-21.93\n"
_TRACK += b"2026-11-26T22:06:00Z,1,91,181\n1764194760,1,-38.62,-21.9\n"
_WRECKS = b"name;lat;lon;depth_m;length_m\nIsoline Marr;-38.61;-21.93;1100;90\nUnknown;-38.5;-21.9;;\n"
_NODES = (
    b"# an invented seabed\nlongitude,latitude,depth_m\n-21.93,-38.61,1100\n-21.92,-38.61,1090\n-21.93,-38.60,1105\n"
)
_NODES += b"-21.92,-38.60,\n"
_MATRIX = b"lat\\lon;-21.93;-21.92;-21.91\n-38.61;-1100;-1090;-1080\n-38.60;-1105;nan;-1075\n"


def _chart(name: str) -> Target:
    def check(data: bytes) -> None:
        path = as_file(data, f"chart-{name}")
        with warnings.catch_warnings():  # what a command prints of a reader's doubts, and goes on
            warnings.simplefilter("ignore")
            chart = result_or(OperatorError, lambda: read_chart(path))
        if isinstance(chart, Chart):
            assert chart.depth_m.shape == (len(chart.latitude_deg), len(chart.longitude_deg))
            assert np.isfinite(chart.latitude_deg).all()
            assert np.isfinite(chart.longitude_deg).all()

    return Target(f"chart-{name}", check, _charts(name), 8_192 if name == "netcdf4" else 2_048)


def _charts(name: str) -> list[bytes]:
    """Return charts of an invented seabed, as other libraries write them."""
    held = axes(*(axis[1][:4] for axis in axes()))
    values = {
        "elevation": (("lat", "lon"), seabed()[:4, :4].astype("float32"), {"units": "m", "standard_name": "height"})
    }
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "chart"
        if name == "netcdf3":
            return [write_netcdf3(path, held, values).read_bytes()]
        if name == "netcdf4":
            return [write_netcdf4(path, held, values).read_bytes()]
        if name == "geotiff":
            keys = {1024: 2, 1025: 1, 2048: 4326}
            where = {"scale": (1 / 200, 1 / 300, 0.0), "tie": (0.0, 0.0, 0.0, -31.5, 54.1, 0.0), "missing": "-9999"}
            return [write_geotiff(path, seabed()[:4, :4].astype("float32"), keys, **where).read_bytes()]
    return [_NODES, _MATRIX, gzip.compress(_MATRIX, mtime=0)]


def _track(data: bytes) -> None:
    path = as_file(data, "ais.csv")
    track = result_or(OperatorError, lambda: read_ship_track(path))
    if not isinstance(track, str):
        assert np.isfinite(track.t_s).all()  # type: ignore[attr-defined]
        assert (np.diff(track.t_s) > 0).all()  # type: ignore[attr-defined]


def _wrecks(data: bytes) -> None:
    path = as_file(data, "wrecks.csv")
    result_or(OperatorError, lambda: read_wreck_list(path))


TARGETS = (
    *map(_chart, ("text", "geotiff", "netcdf3", "netcdf4")),
    Target("ship-track", _track, [_TRACK, gzip.compress(_TRACK, mtime=0)], 1_024),
    Target("wreck-list", _wrecks, [_WRECKS], 1_024),
)
