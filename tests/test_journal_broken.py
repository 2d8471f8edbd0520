"""What breaks the journal's writes, and isn't the disk's: nothing is lost or written twice, and it is told."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import NoReturn

import pytest

from relay.core.model import Row, RowKind
from relay.shell.record.journal import LAST, JournalFile, Minute, read_minutes, read_rows
from test_clock import SetTime
from test_journal import open_journal, until


class OutOfMemory(JournalFile):
    """A journal whose memory ends within each transaction while `spent` is set: the rows are in, the marks aren't."""

    spent = False

    def commit(self, rows: list[Row], marks: Mapping[str, str]) -> None:
        """Write with marks that can't be listed: Python raises MemoryError where SQLite says SQLITE_NOMEM."""
        super().commit(rows, SpentMarks(marks) if self.spent else marks)


class SpentMarks(dict[str, str]):
    """Marks for which there is no memory."""

    def items(self) -> NoReturn:
        """Fail, in words that nobody may read."""
        raise MemoryError("at -30.1 -22.2")


async def test_journal_without_memory_keeps_rows_and_goes_on_trying(tmp_path: Path) -> None:
    """Want of memory is told by its kind alone; nothing of the broken write stays, and all rows come next, once."""
    file, time = OutOfMemory(tmp_path / "private"), SetTime()
    async with open_journal(file, time) as (journal, handed):
        file.spent = True
        for number in range(20):
            journal.append("station", RowKind.WHOLE, b"%d" % number)
        await until(lambda: journal.fault is not None)
        assert journal.fault == "the journal can't be written: MemoryError"
        assert (handed, list(read_rows(file.path))) == ([], [])
        file.spent = False
        await until(lambda: len(handed) == 20)
        assert [row.data for row in handed] == [b"%d" % number for number in range(20)]
        assert list(read_rows(file.path)) == handed
        assert journal.fault is None
    file.close()


def test_journal_leaves_no_transaction_begun_whatever_breaks_a_write(tmp_path: Path) -> None:
    """Rows or minutes that end in an error of any kind are out again at once, and the next write is whole."""
    file = OutOfMemory(tmp_path / "private")
    try:
        row, minute = Row(1, 0, 0.0, "station", RowKind.WHOLE, b"x"), Minute(0, 1, bytes(32))

        def minutes() -> Iterator[Minute]:
            yield minute
            raise MemoryError

        file.spent = True
        with pytest.raises(MemoryError):
            file.commit([row], {})
        with pytest.raises(MemoryError):
            file.keep_minutes(minutes())
        assert (list(file.rows()), list(read_minutes(file.path))) == ([], [])
        file.spent = False
        file.commit([row], {"a": "b"})
        file.keep_minutes([minute])
        assert (list(read_rows(file.path)), list(read_minutes(file.path))) == ([row], [minute])
        assert file.marks()["a"] == "b"
    finally:
        file.close()


async def test_journal_says_that_its_writer_broke(tmp_path: Path) -> None:
    """A writer that breaks outside its commits takes nothing more: that is a fault that stays, without its words."""
    file, time = JournalFile(tmp_path / "private"), SetTime()
    async with open_journal(file, time) as (journal, handed):
        journal.mark({LAST: "at -30.1 -22.2"})
        journal.append("station", RowKind.WHOLE, b"x")
        told = "the journal takes nothing more: its writer broke (ValueError). Start Offing again"
        await until(lambda: journal.fault == told)
        journal.append("station", RowKind.WHOLE, b"y")
        assert (journal.fault, handed, journal.unread_us) == (told, [], 0)
        time.us += 60_000_000
        assert journal.release_us() == -1
    file.close()
