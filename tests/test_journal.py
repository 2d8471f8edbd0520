"""The exact record: durable before handed on, one writer, nothing lost when the disk is full."""

import asyncio
import contextlib
import errno
import os
import sqlite3
import stat
import threading
from collections.abc import AsyncIterator, Callable, Iterable, Mapping
from pathlib import Path

import pytest

import peers
from relay.core.errors import OperatorError
from relay.core.model import Row, RowKind
from relay.shell.record.clock import EmbargoClock
from relay.shell.record.journal import (
    LAST,
    STALLED_US,
    Journal,
    JournalFile,
    Minute,
    clock_of,
    read_minutes,
    read_rows,
)
from test_clock import SetTime


@contextlib.asynccontextmanager
async def open_journal(file: JournalFile, time: SetTime, **limits: int) -> AsyncIterator[tuple[Journal, list[Row]]]:
    """Yield a running journal and the rows it hands on."""
    journal, handed = Journal(file, EmbargoClock(time), **limits), []
    journal.on_durable = handed.extend
    try:
        yield journal, handed
    finally:
        await journal.close()


async def until(condition: Callable[[], bool]) -> None:
    """Wait until a condition holds, leaving the interpreter to the writer's thread, which sets no event of ours."""
    async with asyncio.timeout(peers.PATIENCE_S):
        await peers.until(condition)


async def test_journal_hands_on_rows_in_order_after_they_are_on_the_disk(tmp_path: Path) -> None:
    """What is handed on can be read from the file by another connection, in the same order, with the stamps."""
    file, time = JournalFile(tmp_path / "private"), SetTime()
    async with open_journal(file, time) as (journal, handed):
        for number in range(500):
            time.us += 1_000
            assert journal.append("station", RowKind.STREAM, b"line %d\n" % number)
        await until(lambda: len(handed) == 500)
        assert list(read_rows(file.path)) == handed
        assert [row.seq for row in handed] == list(range(1, 501))
        assert [row.embargo_us for row in handed] == [1_000 * at for at in range(1, 501)]
    file.close()


async def test_journal_settles_when_what_was_appended_is_on_the_disk_and_not_before(tmp_path: Path) -> None:
    """Whoever waits is told after the rows were handed on, not at those before; with nothing waiting at once."""
    file, time = FullDisk(tmp_path / "private"), SetTime()
    async with open_journal(file, time) as (journal, handed):
        await journal.settled()
        journal.append("station", RowKind.STREAM, b"a")
        await journal.settled()
        assert [row.data for row in handed] == [b"a"]
        file.full = True
        journal.append("desk", RowKind.DECISION, b"b")
        one, other = (asyncio.ensure_future(journal.settled()) for _ in range(2))
        other.cancel()
        await until(lambda: journal.fault is not None)
        assert not one.done()
        file.full = False
        await one
        assert [row.data for row in handed] == [b"a", b"b"]
    file.close()


class CutAtMinutes(JournalFile):
    """A journal whose machine loses its power when it would note a minute."""

    proven = ""

    def keep_minutes(self, minutes: Iterable[Minute]) -> None:
        """Remember what of the clock is on the disk by then."""
        self.proven = self.marks().get(LAST, "")
        super().keep_minutes(minutes)


async def test_minute_is_noted_after_the_clock_that_proves_its_end(tmp_path: Path) -> None:
    """Behind a power cut no row may count as received in a minute that is noted as over: the clock is on disk first."""
    file, time = CutAtMinutes(tmp_path / "private"), SetTime()
    async with open_journal(file, time) as (journal, handed):
        time.us += 60_000_007
        journal.keep_minutes([(0, 0, bytes(32))])
        journal.append("station", RowKind.WHOLE, b"x")
        await until(lambda: len(handed) == 1)
        assert list(read_minutes(file.path)) == [Minute(0, 0, bytes(32))]
        assert file.proven == "60000007"
    file.close()


async def test_journal_watermark_is_before_anything_still_waiting(tmp_path: Path) -> None:
    """While a row waits for the disk the watermark lies before it; when none waits, before anything yet to come."""
    file, time = JournalFile(tmp_path / "private"), SetTime()
    async with open_journal(file, time) as (journal, handed):
        time.us += 5_000_000
        journal.append("station", RowKind.STREAM, b"x")
        time.us += 1_000_000
        assert journal.watermark_us() == 5_000_000 - 1
        await until(lambda: len(handed) == 1)
        mark = journal.watermark_us()
        journal.append("station", RowKind.STREAM, b"y")
        await until(lambda: len(handed) == 2)
        assert handed[1].embargo_us > mark
    file.close()


class FullDisk(JournalFile):
    """A journal whose disk is full while `full` is set: the real class with one failing step."""

    full = False

    def commit(self, rows: list[Row], marks: Mapping[str, str]) -> None:
        """Refuse as SQLite does on a full disk."""
        if self.full:
            raise sqlite3.OperationalError("database or disk is full")
        super().commit(rows, marks)


async def test_journal_on_a_full_disk_keeps_rows_and_hands_on_nothing(tmp_path: Path) -> None:
    """While the disk is full nothing is handed on and the watermark stands; with room again all rows come, once."""
    file, time = FullDisk(tmp_path / "private"), SetTime()
    async with open_journal(file, time) as (journal, handed):
        file.full = True
        for number in range(20):
            time.us += 1_000
            journal.append("station", RowKind.WHOLE, b"%d" % number)
        await until(lambda: journal.fault is not None)
        assert "disk is full" in (journal.fault or "")
        time.us += 60_000_000
        assert handed == []
        assert journal.watermark_us() == 999
        file.full = False
        await until(lambda: len(handed) == 20)
        assert [row.data for row in handed] == [b"%d" % number for number in range(20)]
        assert journal.fault is None
    file.close()


async def test_journal_refuses_at_its_limit_and_says_when_there_is_room(tmp_path: Path) -> None:
    """At the bound `append` says no and loses nothing it had taken; `room` wakes when half is written."""
    file, time = FullDisk(tmp_path / "private"), SetTime()
    async with open_journal(file, time, limit=4) as (journal, handed):
        file.full = True
        taken = [journal.append("station", RowKind.STREAM, b"%d" % number) for number in range(6)]
        assert taken == [True] * 4 + [False] * 2
        room = asyncio.ensure_future(journal.room())
        await until(lambda: journal.fault is not None)
        assert not room.done()
        file.full = False
        await room
        await until(lambda: len(handed) == 4)
        assert journal.append("station", RowKind.STREAM, b"again")
    file.close()


async def test_journal_goes_on_where_it_was(tmp_path: Path) -> None:
    """A second start goes on with the next number and, in the same boot, the same clock."""
    folder, time = tmp_path / "private", SetTime()
    file = JournalFile(folder)
    async with open_journal(file, time) as (journal, handed):
        time.us += 3_000_000
        journal.append("station", RowKind.STREAM, b"one")
        await until(lambda: len(handed) == 1)
    file.close()
    time.us += 7_000_000
    file = JournalFile(folder)
    assert clock_of(file, time).now_us() == 10_000_000
    rebooted = SetTime(boot="second boot", us=5)
    assert clock_of(file, rebooted).now_us() == 3_000_000
    async with open_journal(file, time) as (journal, handed):
        journal.append("station", RowKind.STREAM, b"two")
        await until(lambda: len(handed) == 1)
        assert handed[0].seq == 2
    file.close()


async def test_journal_beats_keep_proven_time_across_a_reboot(tmp_path: Path) -> None:
    """With no rows at all, the last beat is what a reboot goes on from."""
    file, time = JournalFile(tmp_path / "private"), SetTime()
    async with open_journal(file, time) as (journal, _):
        time.us += 8_000_000
        journal.beat()
        await until(lambda: file.marks().get("clock last_us") == "8000000")
    assert clock_of(file, SetTime(boot="second boot")).now_us() == 8_000_000
    file.close()


async def test_journal_after_a_reboot_counts_on_from_the_beat_whatever_rows_came_after_it(tmp_path: Path) -> None:
    """When what is held back leaves doesn't tell how long before a power cut the last input came (R2)."""
    file, time = JournalFile(tmp_path / "private"), SetTime()
    async with open_journal(file, time) as (journal, handed):
        time.us += 8_000_000
        journal.beat()
        await until(lambda: file.marks().get("clock last_us") == "8000000")
        time.us += 1_500_000
        journal.append("station", RowKind.STREAM, b"x")
        await until(lambda: len(handed) == 1)
    rebooted = SetTime(boot="second boot")
    clock = clock_of(file, rebooted)
    assert (clock.now_us(), clock.counted_us()) == (9_500_000, 8_000_000)
    rebooted.us += 1_600_000
    assert clock.now_us() == clock.counted_us() == 9_600_000
    file.close()


async def test_journal_lets_input_on_its_way_to_the_disk_delay_no_release(tmp_path: Path) -> None:
    """Input that waits is told of and the release goes on; a decision that acts at once stops it until it is there."""
    file, time = FullDisk(tmp_path / "private"), SetTime()
    async with open_journal(file, time) as (journal, handed):
        file.full = True
        time.us += 1_000_000
        assert (journal.release_us(), journal.unread_us) == (999_999, None)
        journal.append("station", RowKind.STREAM, b"x")
        time.us += 3_000_000
        assert (journal.release_us(), journal.unread_us) == (3_999_999, 1_000_000)
        journal.append("desk", RowKind.DECISION, b"{}", acts=True)
        time.us += 1_000_000
        assert (journal.release_us(), journal.unread_us) == (3_999_999, 1_000_000)
        file.full = False
        await until(lambda: len(handed) == 2)
        assert (journal.release_us(), journal.unread_us) == (4_999_999, None)
    file.close()


async def test_journal_that_the_disk_takes_no_beat_of_stops_the_release(tmp_path: Path) -> None:
    """Six seconds without a beat on the disk: nothing later than the oldest that waits is released (R4)."""
    file, time = FullDisk(tmp_path / "private"), SetTime()
    async with open_journal(file, time) as (journal, _):
        file.full = True
        journal.append("station", RowKind.STREAM, b"x")
        time.us += STALLED_US
        journal.beat()
        assert journal.release_us() == STALLED_US - 1
        time.us += 1
        assert journal.release_us() == -1
        file.full = False
        await until(lambda: journal.release_us() == STALLED_US)
    file.close()


def test_journal_is_for_one_relay_and_for_its_owner_alone(tmp_path: Path) -> None:
    """A second relay is told to stop; folder and file can't be read by others."""
    file = JournalFile(tmp_path / "private")
    with pytest.raises(OperatorError, match="another Offing has the journal"):
        JournalFile(tmp_path / "private")
    assert stat.S_IMODE((tmp_path / "private").stat().st_mode) == 0o700
    assert stat.S_IMODE(file.path.stat().st_mode) == 0o600
    file.close()
    JournalFile(tmp_path / "private").close()


async def test_write_that_never_ends_is_a_fault_of_the_journal(tmp_path: Path) -> None:
    """A dying disk says nothing: past so many seconds of one write that is told, in words that stay; then no more."""
    file, time = HangingDisk(tmp_path / "private"), SetTime()
    async with open_journal(file, time) as (journal, handed):
        time.us += 60_000_000
        assert journal.fault is None  # nothing is being written, however long ago the last write was
        file.goes_on.clear()
        journal.append("station", RowKind.STREAM, b"x")
        await until(file.writes.is_set)
        time.us += STALLED_US
        assert journal.fault is None
        time.us += 1
        fault = journal.fault
        assert fault == "the journal takes nothing: a write has lasted longer than 6 s"
        time.us += 60_000_000
        assert journal.fault == fault
        file.goes_on.set()
        await until(lambda: len(handed) == 1)
        assert journal.fault is None
    file.close()


class HangingDisk(JournalFile):
    """A journal whose writes end when they are let."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.writes, self.goes_on = threading.Event(), threading.Event()
        self.goes_on.set()

    def commit(self, rows: list[Row], marks: Mapping[str, str]) -> None:
        """Wait, then write."""
        self.writes.set()
        self.goes_on.wait()
        super().commit(rows, marks)


def test_journal_that_the_disk_does_not_give_is_told_in_words_and_let_go(tmp_path: Path) -> None:
    """A folder that can't be made, and a file that is no journal: the operator is told, and the lock is free again."""
    (tmp_path / "file").touch()
    with pytest.raises(OperatorError, match=r"the journal in .*file/private can't be opened \(File exists\)"):
        JournalFile(tmp_path / "file" / "private")
    folder = tmp_path / "private"
    JournalFile(folder).close()
    good = (folder / "journal.db").read_bytes()
    (folder / "journal.db").write_bytes(b"no journal at all, but a text of more than a hundred octets. " * 3)
    with pytest.raises(OperatorError, match=r"can't be opened \(file is not a database\)"):
        JournalFile(folder)
    (folder / "journal.db").write_bytes(good)
    JournalFile(folder).close()


def test_journal_is_opened_once_the_name_of_its_log_is_on_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The folder is synced after SQLite has made its -wal (fsync(2)), each time; if it can't be, that is told."""
    synced: list[list[str]] = []

    def sync(folder: Path) -> None:
        synced.append(sorted(path.name for path in folder.iterdir()))

    monkeypatch.setattr("relay.shell.record.journal.sync", sync)
    for _ in range(2):
        JournalFile(tmp_path / "private").close()
    assert [names.count("journal.db-wal") for names in synced] == [1, 1]

    def fails(folder: Path) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr("relay.shell.record.journal.sync", fails)
    with pytest.raises(OperatorError, match="can't be opened \\(Input/output error\\): see to its disk"):
        JournalFile(tmp_path / "private")
    monkeypatch.undo()
    JournalFile(tmp_path / "private").close()
