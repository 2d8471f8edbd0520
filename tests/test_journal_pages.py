"""Which rows stand in which bytes: as SQLite's own account of its pages has it."""

import contextlib
import sqlite3
from pathlib import Path

import pytest

from flipped_bits import small_journal
from relay.shell.proofs.journal_pages import PAGE, Place, places_of, rows_between

ROWS = 3_000


@pytest.fixture(scope="module")
def journal(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A journal of 3,000 rows, with three that need pages of their own."""
    return small_journal(tmp_path_factory.mktemp("pages"), ROWS)


def test_pages_of_rows_are_those_that_sqlite_counts(journal: Path) -> None:
    """Every row once, with its minute, on the leaf pages that SQLite's table `dbstat` names, and on no other."""
    data = journal.read_bytes()
    starts = range(0, len(data), PAGE)
    found = {start: places_of(data[start : start + PAGE], start) for start in starts}
    places = sorted((place for places in found.values() for place in places), key=lambda place: place.row)
    assert places == [Place(seq, 100_000 * seq // 60_000_000) for seq in range(1, ROWS + 1)]
    with contextlib.closing(sqlite3.connect(journal)) as database:
        if not database.execute(
            "SELECT 1 FROM pragma_compile_options WHERE compile_options LIKE '%DBSTAT%'"
        ).fetchone():
            pytest.skip("this SQLite was built without its table dbstat")
        asked = "SELECT pgoffset, ncell FROM dbstat WHERE name = 'row' AND pagetype = 'leaf'"
        counted = dict(database.execute(asked).fetchall())
    assert counted == {start: len(places) for start, places in found.items() if places}


def test_rows_about_some_bytes_are_the_nearest_before_and_behind(journal: Path) -> None:
    """What they enclose is told of a damaged piece; at the begin and at the end there is none."""
    octets = journal.stat().st_size
    before, after = rows_between(journal, 1 << 16, (2 << 16) - 1)
    assert before is not None and after is not None
    data = journal.read_bytes()[1 << 16 : 2 << 16]
    inside = [place.row for at in range(0, 1 << 16, PAGE) for place in places_of(data[at : at + PAGE], at + (1 << 16))]
    assert (before.row + 1, after.row - 1) == (min(inside), max(inside))
    assert rows_between(journal, 0, 20_000)[0] is None
    assert rows_between(journal, octets - 20_000, octets - 1)[1] is None


def test_page_that_is_none_has_no_rows() -> None:
    """Noise, a page that is cut off, and pointers that lead out of it."""
    for page in (b"", b"\x0d", bytes(PAGE), b"\xff" * PAGE, b"\x0d" + b"\xff" * (PAGE - 1), b"\x0d\0\0\xff\xff\0\0\0"):
        assert places_of(page, PAGE) == []


@pytest.mark.parametrize(("told", "size"), [(b"\x10\x00", 4096), (b"\x00\x01", 65536), (b"\x13\x37", 4096)])
def test_page_size_is_the_headers_or_sqlites_own(tmp_path: Path, told: bytes, size: int) -> None:
    """A header that was damaged is no reason to say nothing."""
    leaf = b"\x0d\0\0\0\1\0\0\0\0\x10" + bytes(6) + b"\x05\x07\x04\x00\x09\x00\x00"
    data = bytearray(b"SQLite format 3\0" + told).ljust(size, b"\0") + leaf.ljust(size, b"\0")
    path = tmp_path / "journal.db"
    path.write_bytes(bytes(data))
    assert rows_between(path, 0, size - 1) == (None, Place(7, 0))
