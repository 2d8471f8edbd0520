"""The sums of a closed journal: there when it was closed cleanly, gone while it is open, and any flipped bit found."""

import asyncio
import sqlite3
import stat
from pathlib import Path
from random import Random

import pytest

from flipped_bits import flip, small_journal
from relay.core.errors import OperatorError
from relay.core.model import Row, RowKind
from relay.shell.proofs.sums import BLOCK, NAME, Span, damaged, read_sums, sum_up, write_sums
from relay.shell.record.clock import EmbargoClock
from relay.shell.record.journal import Journal, JournalFile
from test_clock import SetTime


def test_journal_that_was_closed_has_sums_and_an_open_one_has_none(tmp_path: Path) -> None:
    """They are the file's, read by the owner alone; the next relay empties them before it touches the file."""
    path = small_journal(tmp_path)
    sums = read_sums(path)
    assert sums == sum_up(path)
    assert sums is not None
    assert (sums.octets, sums.last_row) == (path.stat().st_size, 3_000)
    assert len(sums.blocks) == -(-path.stat().st_size // BLOCK) > 3
    assert stat.S_IMODE(path.with_name(NAME).stat().st_mode) == 0o600
    assert list(damaged(path, sums)) == []
    file = JournalFile(tmp_path)
    assert read_sums(path) is None
    file.close()
    assert read_sums(path) == sum_up(path)


def test_journal_of_a_relay_that_was_killed_has_no_sums(tmp_path: Path) -> None:
    """Not those of the time before, which would call what came since damaged."""
    path = small_journal(tmp_path)
    file = JournalFile(tmp_path)
    file.commit([], {"clock last_us": "1"})
    file._db.close()
    assert read_sums(path) is None


def test_reader_that_stays_keeps_a_false_sum_from_being_written(tmp_path: Path) -> None:
    """While another connection reads an older state, not all of the journal is in its one file."""
    path = small_journal(tmp_path)
    file = JournalFile(tmp_path)
    reader = sqlite3.connect(path)
    reader.execute("BEGIN")
    assert reader.execute("SELECT count(*) FROM row").fetchone() == (3_000,)
    file.commit([Row(3_001, 1 << 40, 0.0, "station", RowKind.STREAM, b"x")], {})
    file._db.execute("PRAGMA busy_timeout=0")
    file.close()
    assert read_sums(path) is None
    reader.close()


def test_flipped_bit_anywhere_is_found_in_its_block(tmp_path: Path) -> None:
    """Whether SQLite reads the byte or not."""
    path = small_journal(tmp_path)
    sums, good, random = read_sums(path), path.read_bytes(), Random(8)
    assert sums is not None
    for bit in [0, 8 * len(good) - 1, *(random.randrange(8 * len(good)) for _ in range(40))]:
        path.write_bytes(flip(good, bit))
        first = bit // 8 // BLOCK * BLOCK
        assert list(damaged(path, sums)) == [Span(first, min(first + BLOCK, len(good)) - 1)]


def test_length_and_runs_are_told_as_spans(tmp_path: Path) -> None:
    """Cut off, longer, and two blocks side by side."""
    path = small_journal(tmp_path)
    sums, good = read_sums(path), path.read_bytes()
    assert sums is not None
    path.write_bytes(good[:-5_000])
    assert list(damaged(path, sums))[-1] == Span(len(good) - 5_000, len(good) - 1)
    path.write_bytes(good + b"more")
    assert [span.last for span in damaged(path, sums)] == [len(good) + 3]
    path.write_bytes(flip(flip(good, 8 * BLOCK), 16 * BLOCK))
    assert list(damaged(path, sums)) == [Span(BLOCK, 3 * BLOCK - 1)]


def test_flipped_bit_in_the_sums_themselves_is_found_and_told(tmp_path: Path) -> None:
    """Every bit of them; with the journal as it was, the byte is named. Cut off anywhere, too."""
    path = small_journal(tmp_path)
    sums = path.with_name(NAME)
    good, random = sums.read_bytes(), Random(9)
    for bit in [0, 8 * len(good) - 1, *(random.randrange(8 * len(good)) for _ in range(60))]:
        sums.write_bytes(flip(good, bit))
        with pytest.raises(OperatorError, match=f"journal.sums was altered or cut off, at byte {bit // 8}$"):
            read_sums(path)
    for upto in (1, 22, 40, len(good) - 1):
        sums.write_bytes(good[:upto])
        with pytest.raises(OperatorError, match=f"at byte {upto}$"):
            read_sums(path)


async def test_relay_that_ends_leaves_its_journal_with_sums(tmp_path: Path) -> None:
    """What the writer thread had waiting is in them."""
    file = JournalFile(tmp_path / "private")
    journal = Journal(file, EmbargoClock(SetTime()))
    assert all(journal.append("station", RowKind.STREAM, b"x") for _ in range(10))
    await journal.close()
    await asyncio.sleep(0)
    file.close()
    sums = read_sums(file.path)
    assert sums is not None
    assert sums.last_row == 10


def test_disk_that_takes_no_sums_costs_nothing_else(tmp_path: Path) -> None:
    """The journal is closed all the same, and its lock is free."""
    path = small_journal(tmp_path)
    file = JournalFile(tmp_path)
    (tmp_path / "journal.sums.new").mkdir()
    file.close()
    assert read_sums(path) is None
    JournalFile(tmp_path).close()


def test_sums_of_a_copy_are_written_beside_it(tmp_path: Path) -> None:
    """A back-up brings its own."""
    path = small_journal(tmp_path / "a")
    (tmp_path / "b").mkdir()
    copy = tmp_path / "b" / path.name
    copy.write_bytes(path.read_bytes())
    write_sums(copy)
    assert read_sums(copy) == read_sums(path)
