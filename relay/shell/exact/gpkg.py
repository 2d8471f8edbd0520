"""Tables as a GeoPackage (OGC 12-128r17, version 1.3), written over SQLite row by row.

Rules: requirements of the standard are named beside what meets them. Rows are written as they come, so memory doesn't
grow with them. Units and meanings go into the Schema extension (F.9), where a GIS program finds them, besides the table
`data_dictionary`. Coordinates are doubles, as they are; axis order is longitude, latitude, as the standard has it.
"""

import contextlib
import sqlite3
import struct
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

from relay.shell.exact.exact_dives import ExactDives
from relay.shell.exact.inserting import insert_rows
from relay.shell.exact.shapes import Shape, ShapeKind
from relay.shell.exact.tables import Choice, Clock, Row, Table

# Requirement 2: "GPKG" in ASCII; 1.3.0 as the user version.
APPLICATION_ID, USER_VERSION = 0x47504B47, 10_300
WGS84 = 4326
GROUP = 2_000
_TYPES = {ShapeKind.POINT: "POINT", ShapeKind.LINES: "MULTILINESTRING", ShapeKind.AREAS: "MULTIPOLYGON"}
# 2.1.3: magic, version 0, flags: little endian, and no envelope for a point, [minx, maxx, miny, maxy] for others.
_POINT_HEAD = struct.pack("<2sBBi", b"GP", 0, 0b0001, WGS84)
_HEAD = struct.Struct("<2sBBi4d")
_ENVELOPED = 0b0011
_WGS84_WKT = (
    'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],'
    'AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0,AUTHORITY["EPSG","8901"]],UNIT["degree",0.0174532925199433,'
    'AUTHORITY["EPSG","9122"]],AUTHORITY["EPSG","4326"]]'
)
_SCHEMA_URL = "http://www.geopackage.org/spec130/#extension_schema"
# Annex C, tables 21 to 24 and 30, and for the Schema extension tables 41 and 43.
_SYSTEM = """
CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT NOT NULL, srs_id INTEGER PRIMARY KEY, organization TEXT NOT NULL,
    organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT);
CREATE TABLE gpkg_contents (table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE,
    description TEXT DEFAULT '', last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')),
    min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER,
    CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id));
CREATE TABLE gpkg_geometry_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL,
    geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL,
    CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name),
    CONSTRAINT uk_gc_table_name UNIQUE (table_name),
    CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name),
    CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id));
CREATE TABLE gpkg_extensions (table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL,
    definition TEXT NOT NULL, scope TEXT NOT NULL,
    CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name));
CREATE TABLE gpkg_data_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, name TEXT, title TEXT,
    description TEXT, mime_type TEXT, constraint_name TEXT,
    CONSTRAINT pk_gdc PRIMARY KEY (table_name, column_name),
    CONSTRAINT gdc_tn UNIQUE (table_name, name));
CREATE TABLE gpkg_data_column_constraints (constraint_name TEXT NOT NULL, constraint_type TEXT NOT NULL, value TEXT,
    min NUMERIC, min_is_inclusive BOOLEAN, max NUMERIC, max_is_inclusive BOOLEAN, description TEXT,
    CONSTRAINT gdcc_ntv UNIQUE (constraint_name, constraint_type, value));
"""


class _Extent:
    """The least and greatest coordinates of a table's shapes."""

    def __init__(self) -> None:
        self.bounds: tuple[float, float, float, float] | None = None

    def blob(self, shape: Shape | None) -> bytes | None:
        """Return a shape as a GeoPackage has it (2.1.3), and take it into the extent."""
        if shape is None:
            return None
        if shape.kind is ShapeKind.POINT:
            lon, lat = shape.parts[0]
            self._reach(lon, lon, lat, lat)
            return shape.wkb(_POINT_HEAD)
        bounds = shape.bounds
        self._reach(*bounds)
        return shape.wkb(_HEAD.pack(b"GP", 0, _ENVELOPED, WGS84, *bounds))

    def _reach(self, min_x: float, max_x: float, min_y: float, max_y: float) -> None:
        """Let the extent reach as far as a shape does."""
        known = self.bounds
        if known is None:
            self.bounds = min_x, max_x, min_y, max_y
        elif min_x < known[0] or max_x > known[1] or min_y < known[2] or max_y > known[3]:
            self.bounds = min(known[0], min_x), max(known[1], max_x), min(known[2], min_y), max(known[3], max_y)


def write_gpkg(
    path: Path,
    tables: tuple[Table, ...],
    dives: ExactDives,
    choice: Choice,
    made: datetime,
    told: Callable[[str, int], None],
) -> dict[str, int]:
    """Write tables to a new file; return how many rows each has. `made`: when; `told` hears how far it is."""
    counts, when = {}, Clock()(made.timestamp()) or ""
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as database:
        database.execute("PRAGMA page_size=4096")
        database.execute("PRAGMA journal_mode=OFF")
        database.execute("PRAGMA synchronous=OFF")
        database.execute(f"PRAGMA application_id={APPLICATION_ID}")
        database.execute(f"PRAGMA user_version={USER_VERSION}")
        database.executescript(_SYSTEM)
        database.execute("BEGIN")
        _system_rows(database)
        for table in tables:
            counts[table.name] = _write(database, table, dives, choice, when, told)
        database.execute("COMMIT")
    return counts


def _system_rows(database: sqlite3.Connection) -> None:
    """Write the reference systems (requirement 11) and say that the Schema extension is used (requirement 141)."""
    systems = [
        ("WGS 84 geodetic", WGS84, "EPSG", 4326, _WGS84_WKT, "longitude/latitude coordinates in decimal degrees"),
        ("Undefined Cartesian SRS", -1, "NONE", -1, "undefined", "undefined Cartesian coordinate reference system"),
        ("Undefined geographic SRS", 0, "NONE", 0, "undefined", "undefined geographic coordinate reference system"),
    ]
    database.executemany("INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?)", systems)
    names = ("gpkg_data_columns", "gpkg_data_column_constraints")
    uses = [(name, None, "gpkg_schema", _SCHEMA_URL, "read-write") for name in names]
    database.executemany("INSERT INTO gpkg_extensions VALUES (?, ?, ?, ?, ?)", uses)


def _write(
    database: sqlite3.Connection,
    table: Table,
    dives: ExactDives,
    choice: Choice,
    made: str,
    told: Callable[[str, int], None],
) -> int:
    """Write a table and what the system tables tell of it; return how many rows it has."""
    columns = [f'"{column.name}" {column.type}' for column in table.columns]
    shaped = [f"geom {_type_of(table)}"] if table.shape is not None else []
    defined = ", ".join(["fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL", *shaped, *columns])
    database.execute(f'CREATE TABLE "{table.name}" ({defined})')
    extent, count = _Extent(), 0
    told(table.title, 0)
    for group in _groups(table.rows(dives, choice)):
        values = [_values(table, extent, row) for row in group]
        insert_rows(database, table.name, values)
        count += len(group)
        told(table.title, count)
    bounds = extent.bounds
    box = (None,) * 4 if bounds is None else (bounds[0], bounds[2], bounds[1], bounds[3])
    kind, system = ("features", WGS84) if table.shape is not None else ("attributes", None)
    known = (table.name, kind, table.title, table.meaning, made, *box, system)
    database.execute("INSERT INTO gpkg_contents VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", known)
    if table.shape is not None:
        shape = (table.name, "geom", _type_of(table), WGS84, 0, 0)
        database.execute("INSERT INTO gpkg_geometry_columns VALUES (?, ?, ?, ?, ?, ?)", shape)
    meanings = [
        (table.name, column.name, column.name, _title(column.name, column.unit), column.meaning, None, None)
        for column in table.columns
    ]
    database.executemany("INSERT INTO gpkg_data_columns VALUES (?, ?, ?, ?, ?, ?, ?)", meanings)
    return count


def _type_of(table: Table) -> str:
    return "GEOMETRY" if table.mixed or table.shape is None else _TYPES[table.shape]


def _title(name: str, unit: str) -> str:
    return f"{name} ({unit})" if unit else name


def _values(table: Table, extent: _Extent, row: Row) -> tuple[Any, ...]:
    shape, values = row
    return (None, *values) if table.shape is None else (None, extent.blob(shape), *values)


def _groups(rows: Iterator[Row]) -> Iterator[list[Row]]:
    group = list[Row]()
    for row in rows:
        group.append(row)
        if len(group) >= GROUP:
            yield group
            group = []
    if group:
        yield group
