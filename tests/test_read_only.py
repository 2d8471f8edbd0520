"""A database of the ship's is read as it is, whatever its folder is called, and nothing is made by reading."""

import sqlite3
from pathlib import Path

import pytest

from flipped_bits import small_journal
from relay.__main__ import main
from relay.shell.proofs.sums import read_sums
from relay.shell.record.journal import JournalFile, read_decisions, read_marks, read_minutes, read_rows
from relay.shell.record.read_only import last_row, reading, snapshot
from sealed_site import make_site

ODD = ("leg #3", "why?mode=rwc", "100%25 sure", "a&b=c;d", "Tiefe ü")


@pytest.mark.parametrize("name", ODD)
def test_folder_of_any_name_is_read(tmp_path: Path, name: str) -> None:
    """Rows, marks, minutes, decisions, sums; and nothing is made beside what is there."""
    path = small_journal(tmp_path / name, rows=5)
    before = {found.relative_to(tmp_path) for found in tmp_path.rglob("*")}
    assert [row.seq for row in read_rows(path)] == [1, 2, 3, 4, 5]
    assert read_marks(path) == {"clock last_us": "0"}
    assert (list(read_minutes(path)), read_decisions(path, 6, 5)) == ([], [])
    for unchanging in (False, True):
        with reading(path, unchanging=unchanging) as database:
            assert last_row(database) == 5
    sums = read_sums(path)
    assert sums is not None and sums.last_row == 5
    made = {found.relative_to(tmp_path) for found in tmp_path.rglob("*")} - before
    assert {found.name for found in made} <= {"journal.db-shm", "journal.db-wal"}


def test_whole_record_in_such_a_folder_is_verified(tmp_path: Path) -> None:
    """By the command; one that isn't whole isn't called good."""
    site = make_site(tmp_path / "leg #3?a=100%")
    assert main(["journal", "verify", str(site.folder)]) == 0
    with sqlite3.connect(site.journal) as database:
        database.execute("DELETE FROM row WHERE seq = 90")
    database.close()
    assert main(["journal", "verify", str(site.folder)]) == 2


def test_what_is_not_there_is_not_made(tmp_path: Path) -> None:
    """Nor can anything be written."""
    with pytest.raises(sqlite3.OperationalError, match="unable to open"):
        reading(tmp_path / "journal.db")
    assert list(tmp_path.iterdir()) == []
    with (
        reading(small_journal(tmp_path, rows=5)) as database,
        pytest.raises(sqlite3.OperationalError, match="readonly"),
    ):
        database.execute("DELETE FROM row")


def test_snapshot_doesnt_see_what_is_written_meanwhile(tmp_path: Path) -> None:
    """All that is asked of it is of one moment; the relay goes on writing."""
    path = small_journal(tmp_path, rows=5)
    file = JournalFile(tmp_path)
    with snapshot(path) as database:
        file.commit([], {"clock last_us": "7"})
        assert database.execute("SELECT value FROM mark").fetchone() == ("0",)
    file.close()
    assert read_marks(path) == {"clock last_us": "7"}
