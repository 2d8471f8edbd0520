"""Rows are stored as Python's own sqlite3 stores them, whichever columns hold nothing."""

import sqlite3
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.shell.exact.inserting import insert_rows

VALUES = st.one_of(
    st.none(),
    st.none(),
    st.booleans(),
    st.integers(-(2**63), 2**63 - 1),
    st.floats(allow_nan=False),
    st.text(),
    st.binary(),
)
ROWS = st.integers(1, 6).flatmap(lambda width: st.lists(st.tuples(*[VALUES] * width), max_size=8))


def table(width: int) -> sqlite3.Connection:
    """Return a database with a table: a number that counts by itself, and columns of some types."""
    types = ["INTEGER", "TEXT", "DATETIME", "BOOLEAN", "REAL", "POINT"][:width]
    columns = ", ".join(f"column_{at} {kind}" for at, kind in enumerate(types))
    database = sqlite3.connect(":memory:")
    database.execute(f"CREATE TABLE told (fid INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, {columns})")
    return database


@given(ROWS)
def test_rows_are_stored_as_sqlite3_stores_them(rows: list[tuple[Any, ...]]) -> None:
    """The same values of the same types under the same numbers as by `executemany` with every value."""
    width = len(rows[0]) if rows else 1
    ours, theirs = table(width), table(width)
    insert_rows(ours, "told", [(None, *row) for row in rows])
    theirs.executemany(f"INSERT INTO told VALUES (NULL{', ?' * width})", rows)
    types = ", ".join(f"typeof(column_{at})" for at in range(width))
    asked = f"SELECT *, {types} FROM told ORDER BY fid"
    assert ours.execute(asked).fetchall() == theirs.execute(asked).fetchall()


def test_row_that_lacks_a_value_is_refused_and_nothing_is_stored() -> None:
    """Rows of different lengths are an error of the program's, not a row with its values moved along."""
    database = table(2)
    with pytest.raises(ValueError, match="shorter"):
        insert_rows(database, "told", [(None, 1, "a"), (None, 2)])
    assert database.execute("SELECT count(*) FROM told").fetchone() == (0,)
