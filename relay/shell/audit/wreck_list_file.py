"""A public list of wrecks: a table of names and places, with depths and lengths where it has them.

Rules: depth positive down; a cell that is empty stays unknown; a line without a place is refused, for a wreck that is
left out could be the one.
"""

from pathlib import Path

from relay.audit.attacks.attack import Wreck
from relay.core.errors import OperatorError
from relay.shell.audit.ship_track_file import LATITUDES, LONGITUDES
from relay.shell.audit.table_file import Table, read_table

NAMES = "name", "wreck", "wreck_name", "title", "id"
DEPTHS = "depth_m", "depth", "water_depth_m", "water_depth"
LENGTHS = "length_m", "length", "length_overall_m", "loa"


def read_wreck_list(path: Path) -> tuple[Wreck, ...]:
    """Read a list of wrecks; OperatorError says which line is wrong, or which column is missing."""
    table = read_table(path)
    at_name, at_lat = table.needed("names", NAMES), table.needed("latitudes", LATITUDES)
    at_lon = table.needed("longitudes", LONGITUDES)
    at_depth, at_length = table.column(DEPTHS), table.column(LENGTHS)
    wrecks = []
    for at, (line, name) in enumerate(table.cells(at_name)):
        latitude, longitude = _number(table, at, at_lat), _number(table, at, at_lon)
        if latitude is None or longitude is None or not (-90 <= latitude <= 90 and -180 <= longitude <= 360):
            raise OperatorError(
                f"{path}, line {line}: no place on the Earth: write latitude and longitude in degrees, with a point"
            )
        depth_m, length_m = _number(table, at, at_depth), _number(table, at, at_length)
        if min(depth_m or 0.0, length_m or 0.0) < 0:
            raise OperatorError(f"{path}, line {line}: depths and lengths are positive, in metres")
        wrecks.append(Wreck(name or f"line {line}", latitude, longitude, depth_m, length_m))
    return tuple(wrecks)


def _number(table: Table, at: int, column: int | None) -> float | None:
    """Return the number in a line's cell, None where it is empty."""
    if column is None:
        return None
    line, cells = table.rows[at]
    cell = cells[column].strip() if column < len(cells) else ""
    return table.number(line, cell, column) if cell else None
