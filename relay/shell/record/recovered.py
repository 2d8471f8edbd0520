"""The logs that vehicles brought back, kept beside the journal: their bytes, whose, who imported them and when.

Rules: a file of its own, which neither the relay nor a rehearsal opens: what is in it is no row of the journal and
can't become one, so nothing that is released can depend on it; and writing a large log never keeps the journal
waiting. A log is kept whole and durably or not at all (SQLite, one transaction, synchronous EXTRA); the same file is
kept once for a vehicle, whoever imports it at the same moment.
"""

import contextlib
import json
import os
import shutil
import sqlite3
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from hashlib import sha256
from pathlib import Path

from relay.core.errors import OperatorError
from relay.core.policy import SourcePlan
from relay.shell.record.read_only import WAIT_S, reading

NAME = "recovered.db"
LARGEST_BYTES = 1 << 29
KEEP_FREE_BYTES = 1 << 28
_SCHEMA = """
CREATE TABLE IF NOT EXISTS log (
    number INTEGER PRIMARY KEY, vehicle TEXT NOT NULL, name TEXT NOT NULL, sha256 TEXT NOT NULL,
    octets INTEGER NOT NULL, who TEXT NOT NULL, wall_s REAL NOT NULL, reading TEXT NOT NULL,
    first_s REAL NOT NULL, last_s REAL NOT NULL, data BLOB NOT NULL, UNIQUE (vehicle, sha256)) STRICT;
"""
_COLUMNS = "vehicle, name, sha256, octets, who, wall_s, reading, first_s, last_s, data"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecoveredLog:
    """A vehicle's own log as it was imported.

    `name`: its file's; `wall_s`: the ship's wall clock at the import; `source`: how it is read, and `date_s`: the day
    on which it begins, if it doesn't tell that; `first_s`, `last_s`: the vehicle's own times, Unix seconds.
    """

    vehicle: str
    name: str
    who: str
    wall_s: float
    source: SourcePlan
    date_s: float | None
    first_s: float
    last_s: float
    data: bytes

    @property
    def sha256(self) -> str:
        """The digest of its bytes."""
        return sha256(self.data).hexdigest()


def keep_log(private: Path, log: RecoveredLog) -> RecoveredLog | None:
    """Keep a log durably; return None, or the log that was there already with the same bytes for the same vehicle.

    OperatorError if the disk won't take it, or would be too full for the journal then: nothing is changed.
    """
    path = private / NAME
    _leave_room(private, len(log.data))
    try:
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
        with contextlib.closing(sqlite3.connect(path, isolation_level=None, timeout=WAIT_S)) as database:
            return _kept(database, log)
    except (OSError, sqlite3.Error) as error:
        raise OperatorError(
            f"{path} can't be written ({error}): nothing of {log.name} was kept. Make room on the disk, or see who "
            "else has the file open, and import it again."
        ) from error


def _leave_room(private: Path, octets: int) -> None:
    free = shutil.disk_usage(private).free
    if free < octets + KEEP_FREE_BYTES:
        raise OperatorError(
            f"the disk of {private} has {free >> 20} MiB left, and the log takes {octets >> 20}: the journal needs "
            f"{KEEP_FREE_BYTES >> 20} of them, or the release stops. Make room, and import it again; nothing was kept."
        )


def _kept(database: sqlite3.Connection, log: RecoveredLog) -> RecoveredLog | None:
    database.execute("PRAGMA synchronous=EXTRA")
    database.executescript(_SCHEMA)
    database.execute("BEGIN IMMEDIATE")
    try:
        known = next(_logs(database, "vehicle = ? AND sha256 = ?", (log.vehicle, log.sha256)), None)
        if known is None:
            database.execute(f"INSERT INTO log ({_COLUMNS}) VALUES ({', '.join('?' * 10)})", _values(log))
        database.execute("COMMIT")
    except sqlite3.Error:
        if database.in_transaction:
            database.execute("ROLLBACK")
        raise
    return known


def _values(log: RecoveredLog) -> tuple[object, ...]:
    reading = json.dumps({"source": asdict(log.source), "date_s": log.date_s})
    fixed = (log.vehicle, log.name, log.sha256, len(log.data), log.who, log.wall_s)
    return (*fixed, reading, log.first_s, log.last_s, log.data)


def recovered_logs(private: Path, vehicle: str | None = None) -> list[RecoveredLog]:
    """Return the logs of a vehicle (None: of all) as they were imported; OperatorError if they can't be read."""
    path = private / NAME
    if not path.exists() or not path.stat().st_size:
        return []
    where, values = ("1", ()) if vehicle is None else ("vehicle = ?", (vehicle,))
    try:
        with reading(path) as database:
            return list(_logs(database, where, values))
    except (sqlite3.Error, ValueError, TypeError, KeyError, RecursionError) as error:
        raise OperatorError(
            f"{path} can't be read ({error}): put back the copy that you keep, or move it away and import the logs "
            "again"
        ) from error


def _logs(database: sqlite3.Connection, where: str, values: tuple[str, ...]) -> Iterator[RecoveredLog]:
    for row in database.execute(f"SELECT {_COLUMNS} FROM log WHERE {where} ORDER BY number", values):
        vehicle, name, digest, octets, who, wall_s, reading, first_s, last_s, data = row
        if len(data) != octets or sha256(data).hexdigest() != digest:
            raise sqlite3.DatabaseError(f"the bytes of {name} are not those that were imported")
        how = json.loads(reading)
        yield RecoveredLog(
            vehicle=vehicle,
            name=name,
            who=who,
            wall_s=wall_s,
            source=SourcePlan(**how["source"]),
            date_s=how["date_s"],
            first_s=first_s,
            last_s=last_s,
            data=data,
        )
