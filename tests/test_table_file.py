"""Tables that others made: every common form is read, what can't be is told with file, line and remedy."""

import gzip
from pathlib import Path

import pytest

from relay.core.errors import OperatorError
from relay.shell.audit import table_file
from relay.shell.audit.table_file import Table, read_table


def written(tmp_path: Path, data: str | bytes, name: str = "table.csv") -> Path:
    """Return a file with this in it."""
    path = tmp_path / name
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return path


FORMS = {
    "commas": b"Name,Lat (deg)\nA,1.5\n",
    "semicolons": b"name;LAT_DEG\r\nA;1.5\r\n",
    "tabs": b"name\tlat deg\nA\t1.5\n",
    "a mark of byte order": b"\xef\xbb\xbfname,latdeg\nA,1.5\n",
    "gzip": gzip.compress(b"name,latdeg\nA,1.5\n"),
    "comments and blank lines": b"# from somewhere\n\nname,latdeg\n\nA,1.5\n",
    "quotes": b'"name","lat deg"\n"A","1.5"\n',
}


@pytest.mark.parametrize("form", FORMS)
def test_table_is_read_in_each_common_form(form: str, tmp_path: Path) -> None:
    """The same two columns and one row, however they are written (RFC 4180 and what is about)."""
    table = read_table(written(tmp_path, FORMS[form]))
    assert ("name", "latdeg") == table.names
    assert [cells for _, cells in table.rows] == [("A", "1.5")]
    assert 1 == table.column(("latitude", "lat_deg"))


def test_number_of_the_line_is_that_of_the_file(tmp_path: Path) -> None:
    """What is told of a line can be found in an editor, after comments and quoted line breaks too."""
    table = read_table(written(tmp_path, '# c\nname,lat\n"two\nlines",x\nB,y\n'))
    assert [4, 5] == [line for line, _ in table.rows]
    with pytest.raises(OperatorError, match=r"line 5: 'y' in the column lat is no number"):
        table.number(5, "y", 1)


@pytest.mark.parametrize("cell", ["", "nan", "inf", "1,5", "12°"])
def test_cell_that_is_no_number_is_refused(cell: str, tmp_path: Path) -> None:
    """Neither text nor what isn't finite is taken."""
    table = Table(tmp_path / "t.csv", ("lat",), ((2, (cell,)),))
    with pytest.raises(OperatorError, match="line 2"):
        table.number(2, cell, 0)


FAULTS = {
    "empty": (b"", "is empty"),
    "header alone": (b"name,lat\n", "no lines below"),
    "not text": (b"name,lat\n\xff\xfe\n", "no text in UTF-8"),
    "a cell of an octet too many": (b'name,lat\n"' + b"a\n" * 70_000 + b'",1\n', r"line \d+: no line of a table"),
    "a line of an octet too many": (b"name,lat\nA,1\n" + b"a" * 100_001 + b",1\n", "line 3 is longer than"),
    "damaged gzip": (gzip.compress(b"name,lat\nA,1\n")[:10] + b"\xff" * 40, "can't be read"),
    "torn gzip": (gzip.compress(b"name,lat\nA,1\n" * 99)[:-12], "can't be read"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_file_that_is_no_table_is_told(fault: str, tmp_path: Path) -> None:
    """The file, and what is wrong with it."""
    data, words = FAULTS[fault]
    with pytest.raises(OperatorError, match=words) as raised:
        read_table(written(tmp_path, data))
    assert "table.csv" in str(raised.value)


def test_missing_file_and_missing_column_are_told(tmp_path: Path) -> None:
    """What there is, and what to call what is missing."""
    with pytest.raises(OperatorError, match="No such file"):
        read_table(tmp_path / "absent.csv")
    table = read_table(written(tmp_path, "a,b\n1,2\n"))
    with pytest.raises(OperatorError, match=r"no column of its latitudes\. It has a, b; call it lat"):
        table.needed("latitudes", ("lat", "latitude"))


def test_more_cells_than_a_table_may_have_are_refused_while_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As many as there may be are read; one more ends it, whatever little file they were packed in."""
    monkeypatch.setattr(table_file, "MOST_CELLS", 40)
    assert 20 == len(read_table(written(tmp_path, "a,b\n" + 20 * "1,2\n")).rows)
    with pytest.raises(OperatorError, match="more than 40 cells"):
        read_table(written(tmp_path, gzip.compress(b"a,b\n" + 21 * b"1,2\n")))
