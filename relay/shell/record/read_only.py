"""One way of opening a database of the ship's to read it, whoever writes it meanwhile.

Rules: nothing is made and nothing is written, whatever letters the path has (SQLite's URIs, sqlite.org/uri.html, give
`#`, `?` and `%` a meaning of their own). `snapshot` reads all of it as one moment has it.
"""

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

WAIT_S = 60.0


def reading(path: Path, *, unchanging: bool = False) -> contextlib.closing[sqlite3.Connection]:
    """Return a context with a connection that only reads; sqlite3.Error where there is no such file.

    `unchanging`: owed that nobody writes it; then nothing is laid beside it either.
    """
    asked = "mode=ro&immutable=1" if unchanging else "mode=ro"
    uri = f"{path.absolute().as_uri()}?{asked}"
    return contextlib.closing(sqlite3.connect(uri, uri=True, timeout=WAIT_S, isolation_level=None))


@contextlib.contextmanager
def snapshot(path: Path, *, unchanging: bool = False) -> Iterator[sqlite3.Connection]:
    """Give a connection that sees the database as it is at this moment, whatever is committed meanwhile."""
    with reading(path, unchanging=unchanging) as database:
        database.execute("BEGIN")
        database.execute("SELECT count(*) FROM sqlite_schema").fetchone()  # from here on it is this moment's
        yield database


def last_row(database: sqlite3.Connection) -> int:
    """Return the number of a journal's last row, 0: it has none."""
    return int(database.execute("SELECT coalesce(max(seq), 0) FROM row").fetchone()[0])
