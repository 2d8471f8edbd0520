"""Tables that others made, as CSV: a header line, columns found by their names in common spellings.

Rules: `,`, `;` or a tab between cells, as the header has it; .gz is unpacked; names count without case, spaces and
signs; what can't be read is told with the file, the line and what to write; nothing is left out silently. More than
`MOST_CELLS` are refused while they are read.
"""

import csv
import gzip
import io
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from math import isfinite
from pathlib import Path

from relay.core.errors import OperatorError

LARGEST_BYTES = 500_000_000
MOST_CELLS, LONGEST_LINE = 20_000_000, 100_000
_SEPARATORS = ",;\t"


@dataclass(frozen=True, slots=True)
class Table:
    """A table read: `names` of the columns, plain; `rows`: the number of the line and its cells."""

    path: Path
    names: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]

    def column(self, spellings: Sequence[str]) -> int | None:
        """Return where the column is that has one of these names, the first that fits; None if there is none."""
        return next((self.names.index(name) for name in map(plain_name, spellings) if name in self.names), None)

    def needed(self, what: str, spellings: Sequence[str]) -> int:
        """Return the same; OperatorError says which columns there are, and what to call the one that is missing."""
        found = self.column(spellings)
        if found is None:
            raise OperatorError(
                f"{self.path}: no column of its {what}. It has {', '.join(self.names)}; call it {spellings[0]}."
            )
        return found

    def cells(self, column: int) -> Iterator[tuple[int, str]]:
        """Yield the cells of a column with the numbers of their lines, empty where a line is too short."""
        for line, cells in self.rows:
            yield line, cells[column].strip() if column < len(cells) else ""

    def number(self, line: int, cell: str, column: int) -> float:
        """Return a cell's number; OperatorError says where it is none."""
        try:
            value = float(cell)
        except ValueError:
            value = float("nan")
        if not isfinite(value):
            raise OperatorError(
                f"{self.path}, line {line}: {cell!r} in the column {self.names[column]} is no number: write it with a "
                "point, such as -38.61472, or leave the line out"
            )
        return value


def plain_name(name: str) -> str:
    """Return a column's name in small letters and digits alone."""
    return "".join(letter for letter in name.lower() if letter.isalnum())


def read_table(path: Path) -> Table:
    """Read a table; OperatorError where the file can't be read, has no header or no rows."""
    try:
        return _read(path, _lines(path, io.TextIOWrapper(io.BytesIO(_content(path)), encoding="utf-8-sig")))
    except UnicodeDecodeError as error:
        raise OperatorError(f"{path} is no text in UTF-8: give a CSV file") from error


def _read(path: Path, lines: Iterator[str]) -> Table:
    above, header = next(
        ((at, line) for at, line in enumerate(lines) if line.strip() and not line.startswith("#")), (0, "")
    )
    if not header:
        raise OperatorError(f"{path} is empty: give a CSV file with a header line")
    reader = csv.reader(chain([header], lines), delimiter=max(_SEPARATORS, key=header.count))
    rows, count = list[tuple[int, tuple[str, ...]]](), 0
    try:
        names = tuple(plain_name(name) for name in next(reader))
        for cells in reader:
            count += len(cells)
            if count > MOST_CELLS:
                raise OperatorError(f"{path} has more than {MOST_CELLS:,} cells: keep the days of the dives")
            if any(cell.strip() for cell in cells):
                rows.append((above + reader.line_num, tuple(cells)))
    except csv.Error as error:
        raise OperatorError(
            f"{path}, line {above + reader.line_num}: no line of a table ({error}): write it anew, or leave it out"
        ) from error
    if not rows:
        raise OperatorError(f"{path} has a header and no lines below it: there is nothing to work on")
    return Table(path, names, tuple(rows))


def _lines(path: Path, text: io.TextIOWrapper) -> Iterator[str]:
    """Yield the lines of a text; OperatorError at one so long that it is none of a table."""
    for at, line in enumerate(iter(lambda: text.readline(LONGEST_LINE + 1), ""), start=1):
        if len(line) > LONGEST_LINE:
            raise OperatorError(f"{path}, line {at} is longer than {LONGEST_LINE:,} characters: give a table")
        yield line


def _content(path: Path) -> bytes:
    try:
        data = path.read_bytes()
        if data[:2] == b"\x1f\x8b":
            with gzip.open(path) as file:
                data = file.read(LARGEST_BYTES + 1)
        if len(data) > LARGEST_BYTES:
            raise OperatorError(f"{path} is larger than {LARGEST_BYTES // 1_000_000} MB: keep the days of the dives")
        return data
    except (OSError, EOFError, zlib.error) as error:
        why = getattr(error, "strerror", None) or str(error)
        raise OperatorError(f"{path} can't be read: {why}") from error
