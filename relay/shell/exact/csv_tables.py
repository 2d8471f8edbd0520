"""Tables as CSV (RFC 4180), a file each in one .zip, in UTF-8 with a header line.

Rules: numbers are written in full; a time is ISO 8601; yes and no are true and false; what isn't known is empty.
A point's coordinates are columns anyway; the shape of any other row stands in a last column as well-known text. A text
that a spreadsheet would take for a formula gets an apostrophe before it, and so does one that begins with one: taken
away, the text is what it was.
"""

import csv
from datetime import datetime
from pathlib import Path
from typing import Any

from relay.shell.exact.exact_dives import ExactDives
from relay.shell.exact.shapes import ShapeKind
from relay.shell.exact.tables import Choice, Table, Type
from relay.shell.exact.zipped import EVERY, TellTable, new_zip, text_in

SHAPE = "shape_wkt"
_CALCULATED = ("=", "+", "-", "@", "\t", "\r", "'")
_FLAGS = {None: "", True: "true", False: "false"}


def write_csv(
    path: Path, tables: tuple[Table, ...], dives: ExactDives, choice: Choice, made: datetime, told: TellTable
) -> dict[str, int]:
    """Write tables to a new .zip; return how many rows each has. `told` hears how far it is."""
    counts = {}
    with new_zip(path) as packed:
        for table in tables:
            with text_in(packed, f"{table.name}.csv", made) as file:
                counts[table.name] = _write(csv.writer(file), table, dives, choice, told)
    return counts


def _write(out: Any, table: Table, dives: ExactDives, choice: Choice, told: TellTable) -> int:
    drawn = table.mixed or table.shape not in (None, ShapeKind.POINT)
    out.writerow([column.name for column in table.columns] + [SHAPE] * drawn)
    flags = [at for at, column in enumerate(table.columns) if column.type is Type.BOOLEAN]
    texts = [at for at, column in enumerate(table.columns) if column.type is Type.TEXT]
    count = 0
    told(table.title, 0)
    for count, (shape, values) in enumerate(table.rows(dives, choice), 1):
        cells = list(values)
        for at in flags:
            cells[at] = _FLAGS[cells[at]]
        for at in texts:
            if cells[at] and cells[at][0] in _CALCULATED:
                cells[at] = f"'{cells[at]}"
        if drawn:
            cells.append("" if shape is None else shape.wkt())
        out.writerow(cells)
        if count % EVERY == 0:
            told(table.title, count)
    return count
