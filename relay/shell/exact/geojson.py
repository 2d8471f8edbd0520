"""Tables as GeoJSON (RFC 7946), a FeatureCollection each in one .zip, a Feature a line.

Rules: coordinates are WGS84, longitude before latitude, as doubles in full (RFC 7946, 4); what has no place is a
Feature without a geometry (3.2); columns are its properties, null where something isn't known.
"""

from datetime import datetime
from pathlib import Path
from typing import Any, TextIO

import msgspec

from relay.shell.exact.exact_dives import ExactDives
from relay.shell.exact.shapes import GEOJSON, Shape
from relay.shell.exact.tables import Choice, Table, Type
from relay.shell.exact.zipped import EVERY, TellTable, new_zip, text_in

_encode = msgspec.json.Encoder().encode


def write_geojson(
    path: Path, tables: tuple[Table, ...], dives: ExactDives, choice: Choice, made: datetime, told: TellTable
) -> dict[str, int]:
    """Write tables to a new .zip; return how many rows each has. `told` hears how far it is."""
    counts = {}
    with new_zip(path) as packed:
        for table in tables:
            with text_in(packed, f"{table.name}.geojson", made) as file:
                counts[table.name] = _write(file, table, dives, choice, told)
    return counts


def _write(file: TextIO, table: Table, dives: ExactDives, choice: Choice, told: TellTable) -> int:
    names = [column.name for column in table.columns]
    flags = [at for at, column in enumerate(table.columns) if column.type is Type.BOOLEAN]
    head = {"type": "FeatureCollection", "name": table.name, "description": table.meaning}
    file.write(_encode(head).decode()[:-1] + ',"features":[')
    count = 0
    told(table.title, 0)
    for count, (shape, row) in enumerate(table.rows(dives, choice), 1):
        values = list(row)
        for at in flags:
            values[at] = None if values[at] is None else bool(values[at])
        feature = {"type": "Feature", "geometry": _geometry(shape), "properties": dict(zip(names, values, strict=True))}
        file.write(("\n" if count == 1 else ",\n") + _encode(feature).decode())
        if count % EVERY == 0:
            told(table.title, count)
    file.write("\n]}\n")
    return count


def _geometry(shape: Shape | None) -> dict[str, Any] | None:
    return None if shape is None else {"type": GEOJSON[shape.kind], "coordinates": shape.coordinates()}
