"""Many rows into a table of SQLite, in their order.

Rule: what is stored is the same as if each value were handed over. Python's sqlite3 takes longer for a None than for a
number, for it asks what that might be adapted to: columns with nothing in any of the rows aren't handed over.
"""

import sqlite3
from collections.abc import Sequence
from typing import Any


def insert_rows(database: sqlite3.Connection, table: str, rows: Sequence[tuple[Any, ...]]) -> None:
    """Insert rows, each with all the columns of the table; sqlite3.Error as `executemany` raises it."""
    if not rows:
        return
    columns = list(zip(*rows, strict=True))
    told = [column.count(None) < len(rows) for column in columns]
    marks = ", ".join("?" if there else "NULL" for there in told)
    kept = zip(*(column for column, there in zip(columns, told, strict=True) if there), strict=True)
    database.executemany(f'INSERT INTO "{table}" VALUES ({marks})', kept if any(told) else ((),) * len(rows))
