"""Reports put aside on the disk in the order of their own time, so that memory stays bounded however long a journal is.

Rules: a file in the private folder (0600) that goes when it is closed, and that nobody else opens; a row holds one
report, all of it. It never takes the room that the journal needs: OperatorError before the disk is that full.
"""

import contextlib
import shutil
import sqlite3
from collections.abc import Iterator
from itertools import groupby
from operator import itemgetter
from pathlib import Path
from typing import Any, NamedTuple, TypeVar

import msgspec

from relay.core.errors import OperatorError
from relay.core.exact_record import at_ms
from relay.core.own_time import Report
from relay.shell.exact.exact_values import Heard, observed_values, packed, unpacked
from relay.shell.exact.inserting import insert_rows
from relay.shell.record.recovered import KEEP_FREE_BYTES
from relay.shell.record.whole_file import scratch_file

GROUP = 5_000


class Stored(NamedTuple):
    """The columns of a stored report.

    `told`: its values, packed (`told_by`). `counting` isn't None where it was told later that the report counts.
    """

    vehicle: int
    instant_ms: int
    number: int
    t_s: float
    own: int
    log: int | None
    row: int | None
    embargo_us: int | None
    wall_s: float | None
    feed: int | None
    counts: int
    frame: bytes | None
    told: bytes
    counting: int | None


Raw = tuple[Any, ...]
_COLUMNS = Stored._fields[:-1]
_TOLD = _COLUMNS.index("told")
_Item = TypeVar("_Item")
_SCHEMA = f"""
CREATE TABLE report ({", ".join(_COLUMNS)}, PRIMARY KEY (vehicle, instant_ms, number)) WITHOUT ROWID;
CREATE INDEX logged ON report (frame) WHERE log IS NOT NULL AND frame IS NOT NULL;
CREATE TABLE counting (number INTEGER PRIMARY KEY);
CREATE TABLE receipt (number INTEGER PRIMARY KEY, row, wall_s);
CREATE TABLE item (kind TEXT, number INTEGER, data BLOB, PRIMARY KEY (kind, number)) WITHOUT ROWID;
"""


_ASKED = (
    f"SELECT {', '.join('report.' + name for name in _COLUMNS)}, counting.number FROM report "
    "LEFT JOIN counting ON counting.number = report.number WHERE vehicle = ?"
)


class ExactStore:
    """The reports, and other things by their kind, of one reading of the journal."""

    def __init__(self, path: Path, database: sqlite3.Connection) -> None:
        """`exact_store` makes one."""
        self._path, self._database = path, database
        self._reports: list[tuple[Any, ...]] = []
        self._counting: list[tuple[int]] = []
        self._items: list[tuple[str, int, bytes]] = []
        self._receipts: dict[int, tuple[int, float]] = {}
        self.reports = 0

    def add_live(self, vehicle: int, report: Heard, row: tuple[int, int, float], feed: int, counts: bool) -> int:
        """Put a live report aside, with its journal row, moment and wall clock; return its number."""
        self.reports += 1
        t_s, own, _, frame, values, *_ = report
        self._add((vehicle, at_ms(t_s), self.reports, t_s, int(own), None, *row, feed, int(counts), frame, values))
        return self.reports

    def add_logged(self, vehicle: int, report: Report, log: int) -> None:
        """Put a report of a recovered log aside."""
        self.reports += 1
        t_s, none = report.t_s, (None, None, None, None)
        told = packed(observed_values(report.observation))
        self._add((vehicle, at_ms(t_s), self.reports, t_s, report.own, log, *none, True, report.frame, told))

    def count(self, number: int) -> None:
        """Say that a report of a mirrored station counts."""
        self._counting.append((number,))

    def keep_receipt(self, number: int, row: int, wall_s: float) -> None:
        """Remember by which row, and when by the ship's wall clock, a report came that may count only later."""
        self._receipts[number] = row, wall_s
        if len(self._receipts) >= GROUP:
            self.flush()

    def receipt(self, number: int) -> tuple[int, float]:
        """Return the row and the wall clock of a report whose receipt was kept."""
        waiting = self._receipts.get(number)
        return waiting or self.ask("SELECT row, wall_s FROM receipt WHERE number = ?", (number,))[0]

    def add_item(self, kind: str, number: int, value: object) -> None:
        """Put a value aside (a dataclass of plain fields)."""
        self._items.append((kind, number, msgspec.msgpack.encode(value)))
        if len(self._items) >= GROUP:
            self.flush()

    def items(self, kind: str, shape: type[_Item]) -> Iterator[_Item]:
        """Yield the values of a kind by their numbers."""
        decoder = msgspec.msgpack.Decoder(shape)
        asked = self._database.execute("SELECT data FROM item WHERE kind = ? ORDER BY number", (kind,))
        yield from (decoder.decode(data) for (data,) in asked)

    def instants(self, vehicle: int, first_ms: int | None = None, last_ms: int | None = None) -> Iterator[list[Raw]]:
        """Yield the reports of a vehicle, those of one instant together, in the order of the vehicle's time.

        Each has the columns of `Stored`.
        """
        where, values = _ASKED, [vehicle]
        for sign, bound in ((">=", first_ms), ("<=", last_ms)):
            if bound is not None:
                where, values = f"{where} AND instant_ms {sign} ?", [*values, bound]
        rows = self._database.execute(f"{where} ORDER BY vehicle, instant_ms, report.number", values)
        for _, group in groupby(rows, itemgetter(1)):
            yield list(group)

    def in_a_log(self, frame: bytes) -> bool:
        """Return whether a recovered log has this frame."""
        asked = "SELECT 1 FROM report WHERE frame = ? AND log IS NOT NULL AND frame IS NOT NULL LIMIT 1"
        return self._database.execute(asked, (frame,)).fetchone() is not None

    def ask(self, asked: str, values: tuple[object, ...] = ()) -> list[tuple[Any, ...]]:
        """Return what a question of a few rows is answered."""
        return self._database.execute(asked, values).fetchall()

    def flush(self) -> None:
        """Write what is waiting; OperatorError if that would take the room that the journal needs."""
        leave_room(self._path.parent)
        insert_rows(self._database, "report", self._reports)
        self._database.executemany("INSERT OR IGNORE INTO counting VALUES (?)", self._counting)
        self._database.executemany("INSERT OR REPLACE INTO item VALUES (?, ?, ?)", self._items)
        receipts = [(number, *receipt) for number, receipt in self._receipts.items()]
        self._database.executemany("INSERT INTO receipt VALUES (?, ?, ?)", receipts)
        self._reports, self._counting, self._items, self._receipts = [], [], [], {}

    def _add(self, values: tuple[Any, ...]) -> None:
        self._reports.append(values)
        if len(self._reports) >= GROUP:
            self.flush()


def told_by(raw: Raw) -> tuple[Any, ...]:
    """Return the values of `OBSERVED` that a stored report told."""
    return unpacked(raw[_TOLD])


def leave_room(private: Path) -> None:
    """Raise OperatorError where the disk has only the room left that the journal needs."""
    if shutil.disk_usage(private).free < KEEP_FREE_BYTES:
        raise OperatorError(
            f"the disk of {private} has less than {KEEP_FREE_BYTES >> 20} MiB left, which the journal needs: nothing "
            "was written. Make room, and try again."
        )


@contextlib.contextmanager
def exact_store(private: Path) -> Iterator[ExactStore]:
    """Make a store in the private folder, and take it away afterwards; OperatorError if the disk won't have it."""
    try:
        with scratch_file(private) as path, contextlib.closing(sqlite3.connect(path, isolation_level=None)) as database:
            path.unlink()  # it stays as long as it is open: of a command that is killed nothing exact is left
            for pragma in ("journal_mode=OFF", "synchronous=OFF", "locking_mode=EXCLUSIVE", "cache_size=-32768"):
                database.execute(f"PRAGMA {pragma}")
            database.execute("PRAGMA temp_store=MEMORY")
            database.executescript(_SCHEMA)
            database.execute("BEGIN")
            yield ExactStore(path, database)
    except (OSError, sqlite3.OperationalError) as error:
        raise OperatorError(
            f"{private} can't take what is put aside while the record is read ({error}): make room there, and try again"
        ) from error
