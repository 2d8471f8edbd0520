"""Charts from files, told apart by what is in them rather than by their names.

Rules: reads the file it is given and no other; a file that is no chart is a ChartError that says what, where and what
to do. Needs the extra `audit`.
"""

import gzip
import io
import zlib
from pathlib import Path

from relay.audit.charts.chart import Chart
from relay.audit.charts.chart_csv import read_text
from relay.audit.charts.chart_geotiff import MAGIC, read_geotiff
from relay.audit.charts.chart_netcdf import CLASSIC, HDF5, read_netcdf
from relay.core.errors import ChartError

MOST_OCTETS = 1 << 30
GZIP = b"\x1f\x8b"


def read_chart(path: Path, *, error_factor: float = 1.0) -> Chart:
    """Return the chart in a file: NetCDF, GeoTIFF, a CSV matrix or CSV nodes, also compressed by gzip.

    `error_factor`: how many times the chart's own estimate the seabed may differ from it. Raises ChartError.
    """
    content = _content(path)
    if content.startswith((*CLASSIC, HDF5)):
        return read_netcdf(path.name, content, error_factor)
    if content.startswith(MAGIC):
        return read_geotiff(path.name, content, error_factor)
    try:
        return read_text(path.name, io.TextIOWrapper(io.BytesIO(content), encoding="utf-8-sig"), error_factor)
    except UnicodeDecodeError as error:
        raise ChartError(f"{path}: neither NetCDF, GeoTIFF nor text; a chart is one of these") from error


def _content(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            packed = file.read(2) == GZIP
        with gzip.open(path) if packed else path.open("rb") as stream:
            content = stream.read(MOST_OCTETS + 1)
    except (OSError, EOFError, zlib.error) as error:
        raise ChartError(f"{path}: cannot be read: {error}") from error
    if len(content) > MOST_OCTETS:
        raise ChartError(f"{path}: more than {MOST_OCTETS >> 20} MiB; cut it to the area about the dive")
    return content
