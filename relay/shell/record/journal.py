"""The exact, private, durable record: every byte with its moment of receipt, before anything reads it.

Rules (R5): a row is handed on only after it is on the disk (SQLite, WAL, synchronous FULL; one writer thread,
group commit); when the disk is full or gone, rows wait, nothing is handed on, and nothing is released (R4). Input
on its way to the disk delays no release, or the moments of release would tell that there is input now (R2).
One writer, ever: a lock beside the file keeps a second relay out. Closed cleanly, the file has its sums beside it
(`record.sums`), and none while it is open.
"""

import asyncio
import contextlib
import fcntl
import os
import queue
import sqlite3
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from relay.core.errors import JournalError, OperatorError
from relay.core.model import Row, RowKind
from relay.shell.proofs.sums import forget_sums, write_sums
from relay.shell.record.clock import ClockMark, EmbargoClock, TimeSource
from relay.shell.record.read_only import reading
from relay.shell.record.whole_file import make_folder, sync

NAME = "journal.db"
LAST = "clock last_us"
LAST_SEQ = (1 << 63) - 1
STALLED_US = 6_000_000
ACTING = 1_000
_SCHEMA = """
CREATE TABLE IF NOT EXISTS row (
    seq INTEGER PRIMARY KEY, embargo_us INTEGER NOT NULL, wall_s REAL NOT NULL,
    source TEXT NOT NULL, kind TEXT NOT NULL, data BLOB NOT NULL) STRICT;
CREATE INDEX IF NOT EXISTS decision ON row (seq) WHERE kind = 'decision';
CREATE TABLE IF NOT EXISTS mark (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS minute (
    minute INTEGER PRIMARY KEY, last_seq INTEGER NOT NULL, root BLOB NOT NULL) STRICT, WITHOUT ROWID;
"""


class Minute(NamedTuple):
    """What the journal's rows of one minute came to: the last row by its end, and the root of its tree (32 bytes)."""

    minute: int
    last_seq: int
    root: bytes


class JournalFile:
    """The SQLite file of one site: rows, and a few marks by name (clock, fingerprint, checkpoint)."""

    def __init__(self, folder: Path) -> None:
        """Open or make the journal in `folder` (mode 0700); OperatorError if another relay has it or the disk won't."""
        self.path, self._whole = folder / NAME, False
        with contextlib.ExitStack() as undo, _in_words(folder):
            make_folder(folder, 0o700)
            self._lock = _lock(folder / "journal.lock")
            undo.callback(os.close, self._lock)
            os.close(os.open(self.path, os.O_RDWR | os.O_CREAT, 0o600))
            forget_sums(self.path)
            self._db = sqlite3.connect(self.path, isolation_level=None, check_same_thread=False)
            undo.callback(self._db.close)
            self._db.executescript("PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;" + _SCHEMA)
            # SQLite takes no notice where the name of its -wal couldn't be synced: a power cut would take rows with it.
            sync(folder)
            undo.pop_all()

    def marks(self) -> dict[str, str]:
        """Return all marks."""
        return marks_in(self._db)

    def last(self) -> tuple[int, int]:
        """Return the last row's number and embargo moment, zeros when there is none."""
        found = self._db.execute("SELECT seq, embargo_us FROM row ORDER BY seq DESC LIMIT 1").fetchone()
        return found or (0, 0)

    def rows(self, first: int = 1) -> Iterator[Row]:
        """Yield the rows from number `first` on."""
        yield from _rows(self._db, first)

    def decisions(self, before: int, most: int, also: Iterable[int] = ()) -> list[Row]:
        """Return the last `most` decisions before a row, and those of the rows `also`, in their order."""
        return _decisions(self._db, before, most, also)

    def decisions_from(self, first: int) -> list[Row]:
        """Return the decisions from row `first` on."""
        return _decisions_from(self._db, first)

    def commit(self, rows: list[Row], marks: Mapping[str, str]) -> None:
        """Write rows and marks durably, all or none; sqlite3.Error if the disk will not take them."""
        values = [(row.seq, row.embargo_us, row.wall_s, row.source, str(row.kind), row.data) for row in rows]
        with self._db:  # commits at its end; whatever breaks rolls back, or the next write would be within this one
            self._db.execute("BEGIN IMMEDIATE")
            self._db.executemany("INSERT INTO row VALUES (?, ?, ?, ?, ?, ?)", values)
            self._db.executemany("INSERT OR REPLACE INTO mark VALUES (?, ?)", list(marks.items()))

    def keep_minutes(self, minutes: Iterable[Minute]) -> None:
        """Write what whole minutes came to, durably; one that is there stays as it is. sqlite3.Error as `commit`."""
        with self._db:
            self._db.execute("BEGIN IMMEDIATE")
            self._db.executemany("INSERT OR IGNORE INTO minute VALUES (?, ?, ?)", minutes)

    def close(self) -> None:
        """Close the file, with its sums if all of it is in the one file and the disk takes them; let others have it."""
        with contextlib.suppress(sqlite3.Error):
            # (0, ...): nobody who reads it at this moment keeps a part of it in another file
            self._whole = self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0] == 0
        self._db.close()
        if self._whole:
            with contextlib.suppress(OSError, sqlite3.Error):
                write_sums(self.path)
        os.close(self._lock)


def read_rows(path: Path, first: int = 1, last: int = LAST_SEQ) -> Iterator[Row]:
    """Yield the rows of a journal that nobody need have open, read-only, from number `first` to `last`, both in."""
    with reading(path) as database:
        yield from _rows(database, first, last)


def read_decisions(path: Path, before: int, most: int, also: Iterable[int] = ()) -> list[Row]:
    """Return the decisions that `JournalFile.decisions` would, read-only, whoever has the journal open."""
    with reading(path) as database:
        return _decisions(database, before, most, also)


def read_decisions_from(path: Path, first: int) -> list[Row]:
    """Return the decisions that `JournalFile.decisions_from` would, read-only."""
    with reading(path) as database:
        return _decisions_from(database, first)


def read_marks(path: Path) -> dict[str, str]:
    """Return the marks of a journal, read-only, whoever has it open; none where there is no journal."""
    if not path.exists():
        return {}
    with reading(path) as database:
        return marks_in(database)


def read_minutes(path: Path) -> Iterator[Minute]:
    """Yield what whole minutes came to, in their order, read-only; nothing in a journal from before there were any."""
    with reading(path) as database:
        yield from minutes_in(database)


def marks_in(database: sqlite3.Connection) -> dict[str, str]:
    """Return all marks of a journal that is open."""
    return dict(database.execute("SELECT name, value FROM mark"))


def minutes_in(database: sqlite3.Connection) -> Iterator[Minute]:
    """Yield as `read_minutes` those of a journal that is open."""
    if database.execute("SELECT 1 FROM sqlite_schema WHERE name = 'minute'").fetchone() is not None:
        for minute, last_seq, root in database.execute("SELECT minute, last_seq, root FROM minute ORDER BY minute"):
            yield Minute(minute, last_seq, root)


def _rows(database: sqlite3.Connection, first: int, last: int = LAST_SEQ) -> Iterator[Row]:
    for values in database.execute("SELECT * FROM row WHERE seq BETWEEN ? AND ? ORDER BY seq", (first, last)):
        yield _row(values)


def _decisions_from(database: sqlite3.Connection, first: int) -> list[Row]:
    asked = "SELECT * FROM row WHERE kind = 'decision' AND seq >= ? ORDER BY seq"
    return [_row(values) for values in database.execute(asked, (first,))]


def _decisions(database: sqlite3.Connection, before: int, most: int, also: Iterable[int]) -> list[Row]:
    asked = "SELECT seq FROM row WHERE kind = 'decision' AND seq < ? ORDER BY seq DESC LIMIT ?"
    wanted = {seq for (seq,) in database.execute(asked, (before, most))}.union(also)
    found = (database.execute("SELECT * FROM row WHERE seq = ?", (seq,)).fetchone() for seq in sorted(wanted))
    return [_row(values) for values in found if values is not None]


def _row(values: tuple[Any, ...]) -> Row:
    return Row(values[0], values[1], values[2], values[3], RowKind(values[4]), values[5])


@contextlib.contextmanager
def _in_words(folder: Path) -> Iterator[None]:
    """Say what the disk has against a journal in `folder`: it is full, read-only, failing, or the file is none."""
    try:
        yield
    except (OSError, sqlite3.Error) as error:
        what = error.strerror if isinstance(error, OSError) and error.strerror else error
        raise JournalError(
            f"the journal in {folder} can't be opened ({what}): see to its disk, and start again"
        ) from error


def _lock(path: Path) -> int:
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        os.close(descriptor)
        raise OperatorError(
            f"another Offing has the journal in {path.parent} open. Stop it first, or give this site a private "
            "folder of its own."
        ) from error
    return descriptor


def clock_of(file: JournalFile, source: TimeSource) -> EmbargoClock:
    """Return the embargo clock that goes on from what the journal proves: beats, or rows where it has no beat."""
    marks, row_us = file.marks(), file.last()[1]
    mark = ClockMark(marks["clock boot_id"], int(marks["clock offset_us"])) if "clock boot_id" in marks else None
    return EmbargoClock(source, mark, int(marks.get(LAST, row_us)), row_us)


class Journal:
    """The journal of a running relay: `append` on the loop's thread, a writer thread, rows back when durable."""

    def __init__(self, file: JournalFile, clock: EmbargoClock, *, limit: int = 100_000, group: int = 2_000) -> None:
        """`limit` bounds the rows waiting for the disk (at it `append` refuses), `group` the rows per commit."""
        self._file, self._clock = file, clock
        self._limit, self._group = limit, group
        self._next_seq = file.last()[0] + 1
        self._waiting: deque[Row] = deque()
        self._acting: deque[Row] = deque()
        self._settling: deque[tuple[int, asyncio.Future[None]]] = deque()
        self._proven_us = clock.counted_us()
        self._queue: queue.SimpleQueue[Row | None] = queue.SimpleQueue()
        self._marks: dict[str, str] = {}
        self._minutes: list[Minute] = []
        self._marks_lock = threading.Lock()
        self._room = asyncio.Event()
        self._room.set()
        self.on_durable: Callable[[list[Row]], None] = lambda rows: None
        self._fault: str | None = None
        self._broken_by: str | None = None
        self._writing_us: int | None = None
        self.mark({"clock boot_id": clock.mark.boot_id, "clock offset_us": str(clock.mark.offset_us)})
        self._closing = threading.Event()
        self._begin()

    def _begin(self) -> None:
        """Start the writer thread."""
        self._loop = asyncio.get_running_loop()
        self._thread = threading.Thread(target=self._write, name="journal")
        self._thread.start()

    def append(self, source: str, kind: RowKind, data: bytes, *, acts: bool = False) -> bool:
        """Stamp bytes with their moment of receipt and queue them for the disk; False when there is no room.

        `acts`: it bears on what is released now, as a hold does, so nothing more is until it is on the disk; there is
        room for `ACTING` such rows when there is none for others.
        """
        if len(self._waiting) >= self._limit + (ACTING if acts else 0):
            self._room.clear()
            return False
        row = Row(self._next_seq, self._clock.now_us(), self._clock.wall_s(), source, kind, data)
        self._next_seq += 1
        self._waiting.append(row)
        if acts:
            self._acting.append(row)
        self._queue.put(row)
        return True

    async def room(self) -> None:
        """Wait until `append` would take a row again."""
        await self._room.wait()

    async def settled(self) -> None:
        """Wait until everything appended so far is on the disk and has been handed on."""
        if self._waiting:
            settled = self._loop.create_future()
            self._settling.append((self._waiting[-1].seq, settled))
            await settled

    def mark(self, marks: Mapping[str, str]) -> None:
        """Let these marks go to the disk with the next commit."""
        with self._marks_lock:
            self._marks.update(marks)

    def keep_minutes(self, minutes: Iterable[tuple[int, int, bytes]]) -> None:
        """Let what whole minutes came to go to the disk before the next commit's rows and marks.

        With the clock before them: behind a power cut no row may come that counts as of a minute noted as over.
        """
        with self._marks_lock:
            self._minutes += [Minute(*minute) for minute in minutes]
            if self._minutes:
                self._marks[LAST] = str(self._clock.counted_us())

    def beat(self) -> None:
        """Commit the marks and the clock whether rows come or not, so that a reboot loses little provable time."""
        self.mark({LAST: str(self._clock.counted_us())})
        self._queue.put(None)

    @property
    def fault(self) -> str | None:
        """What is wrong with the journal: what the disk said, or that it says nothing, as one that dies may."""
        if self._broken_by is not None:
            return f"the journal takes nothing more: its writer broke ({self._broken_by}). Start Offing again"
        writing_us = self._writing_us
        if writing_us is not None and self._clock.counted_us() - writing_us > STALLED_US:
            return f"the journal takes nothing: a write has lasted longer than {STALLED_US // 1_000_000} s"
        return self._fault

    @property
    def rows(self) -> int:
        """How many rows it has, those that are still on their way to the disk included."""
        return self._next_seq - 1

    def watermark_us(self) -> int:
        """Return the moment up to which everything received is on the disk and has been handed on."""
        return (self._waiting[0].embargo_us if self._waiting else self._clock.now_us()) - 1

    def release_us(self) -> int:
        """Return the moment up to which may be released what needs none of the input that is still `unread_us`.

        That is now; before a decision that acts at once and isn't on the disk yet; and the watermark, once the disk
        has taken no beat for `STALLED_US` (beats come whether there is input or not).
        """
        if self._clock.counted_us() - self._proven_us > STALLED_US:
            return self.watermark_us()
        return (self._acting[0].embargo_us if self._acting else self._clock.now_us()) - 1

    @property
    def unread_us(self) -> int | None:
        """The moment of the oldest row that is on its way to the disk, None if there is none."""
        return self._waiting[0].embargo_us if self._waiting else None

    async def close(self) -> None:
        """Write what is waiting, if the disk takes it, and end the writer."""
        self._closing.set()
        self._queue.put(None)
        await asyncio.to_thread(self._thread.join)

    def _write(self) -> None:
        """Take rows in groups and commit each group, in the writer thread, until closed and empty."""
        try:
            while not (self._closing.is_set() and self._queue.empty()):
                rows = self._write_group()
                if rows is None:
                    return
                if rows:
                    self._loop.call_soon_threadsafe(self._durable, rows)
        except BaseException as error:  # going on could leave rows out; its words may hold a position
            self._broken_by = type(error).__name__

    def _write_group(self) -> list[Row] | None:
        """Commit the next group, waiting for one, and return its rows; None if the relay is closed before that."""
        rows = self._take()
        with self._marks_lock:
            marks, self._marks = self._marks, {}
            minutes, self._minutes = self._minutes, []
        if not self._committed(rows, marks, minutes):
            return None
        self._proven_us = int(marks.get(LAST, self._proven_us))
        return rows

    def _take(self) -> list[Row]:
        """Return the next group: waits for one item, then takes what is there. None only wakes the thread."""
        items = [self._queue.get()]
        while len(items) < self._group and not self._queue.empty():
            items.append(self._queue.get())
        return [row for row in items if row is not None]

    def _committed(self, rows: list[Row], marks: dict[str, str], minutes: list[Minute]) -> bool:
        """Commit until the disk takes it; False if the relay is being closed before that."""
        while True:
            try:
                self._writing_us = self._clock.read_us()
                if minutes:
                    self._file.commit([], {LAST: marks[LAST]})
                    self._file.keep_minutes(minutes)
                self._file.commit(rows, marks)
            except Exception as error:  # SQLite's own want of memory is no sqlite3.Error; words may hold a position
                said = error if isinstance(error, sqlite3.Error) else type(error).__name__
                self._fault = f"the journal can't be written: {said}"
                if self._closing.wait(0.5):
                    return False
            else:
                self._fault = None
                return True
            finally:
                self._writing_us = None

    def _durable(self, rows: list[Row]) -> None:
        for row in rows:
            self._waiting.popleft()
            if self._acting and self._acting[0] is row:
                self._acting.popleft()
        if len(self._waiting) < self._limit // 2:
            self._room.set()
        self.on_durable(rows)
        while self._settling and self._settling[0][0] <= rows[-1].seq:
            _, settled = self._settling.popleft()
            if not settled.done():
                settled.set_result(None)
