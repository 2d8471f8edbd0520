"""The ship's track as others have it from AIS: a table of times and places.

Rules: times are ISO 8601 (UTC where no zone is told) or Unix time in seconds or milliseconds; fixes are put in order of
time, one for each instant. Latitude 91 and longitude 181 say "not available" (ITU-R M.1371, from memory): such lines
are passed over. A time outside the years 1970 to 2200 is none. A table of several ships is refused: which of them she
is, nobody here can know.
"""

from datetime import UTC, datetime
from math import isfinite
from pathlib import Path

import numpy as np

from relay.audit.attacks.attack import ShipTrack
from relay.core.errors import OperatorError
from relay.shell.audit.table_file import Table, read_table

TIMES = "time", "t_s", "time_utc", "timestamp", "datetime", "base_date_time", "utc", "date_time_utc", "unix_time", "t"
LATITUDES = "lat", "latitude", "lat_deg", "latitude_deg"
LONGITUDES = "lon", "longitude", "lon_deg", "longitude_deg", "long", "lng"
SHIPS = "mmsi", "imo", "ship", "vessel_name", "vessel"
_NO_LATITUDE, _NO_LONGITUDE = 91.0, 181.0
_MILLISECONDS_FROM = 1e11  # as seconds that would be the year 5138
_EARLIEST_S, _LATEST_S = 0.0, 7_258_118_400.0  # 1970-01-01 and 2200-01-01


def read_ship_track(path: Path) -> ShipTrack:
    """Read a ship's track; OperatorError says which line is wrong, or which column is missing."""
    table = read_table(path)
    _check_one_ship(table)
    at_time, at_lat = table.needed("times", TIMES), table.needed("latitudes", LATITUDES)
    at_lon = table.needed("longitudes", LONGITUDES)
    fixes: dict[float, tuple[float, float]] = {}
    lines = zip(table.cells(at_time), table.cells(at_lat), table.cells(at_lon), strict=True)
    for (line, when), (_, lat), (_, lon) in lines:
        latitude, longitude = table.number(line, lat, at_lat), table.number(line, lon, at_lon)
        if latitude == _NO_LATITUDE or longitude == _NO_LONGITUDE:
            continue
        _check_place(path, line, latitude, longitude)
        fixes[_seconds(path, line, when)] = (latitude, longitude)
    if not fixes:
        raise OperatorError(f"{path}: no line has a place: there is no track in it")
    t_s = np.array(sorted(fixes))
    places = np.array([fixes[at_s] for at_s in sorted(fixes)])
    return ShipTrack(t_s, places[:, 0], places[:, 1])


def _check_one_ship(table: Table) -> None:
    column = table.column(SHIPS)
    if column is None:
        return
    ships = {cell for _, cell in table.cells(column) if cell}
    if len(ships) > 1:
        raise OperatorError(
            f"{table.path}: it holds {len(ships)} ships (column {table.names[column]}): keep the lines of yours alone"
        )


def _check_place(path: Path, line: int, latitude: float, longitude: float) -> None:
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 360):
        raise OperatorError(
            f"{path}, line {line}: {latitude}, {longitude} is no place on the Earth: latitudes go from -90 to 90, "
            "longitudes from -180 to 180, in degrees"
        )


def _seconds(path: Path, line: int, cell: str) -> float:
    """Return Unix time in seconds."""
    try:
        number = float(cell)
        seconds = number / 1_000 if number >= _MILLISECONDS_FROM else number
    except ValueError:
        seconds = _dated(cell)
    if not (isfinite(seconds) and _EARLIEST_S <= seconds < _LATEST_S):
        raise OperatorError(
            f"{path}, line {line}: {cell[:60]!r} is no time: write it as 2026-11-26T22:05:00Z, or in seconds of Unix "
            "time, of the years 1970 to 2200"
        )
    return seconds


def _dated(cell: str) -> float:
    """Return Unix time in seconds, NaN where it is none."""
    try:
        moment = datetime.fromisoformat(cell.removesuffix(" UTC"))
        return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()
    except (ValueError, OverflowError):
        return float("nan")
