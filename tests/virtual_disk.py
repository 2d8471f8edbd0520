"""A disk in memory: twins of the journal's file and of the folder of recordings, for runs by the thousand.

Each passes the same checks as the real thing (`test_virtual_disk.py`), and what is kept survives whoever opened it.
"""

import io
import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping

from relay.core.model import Row, RowKind
from relay.shell.record.journal import Minute

_SOME_FILE = os.memfd_create("recordings")  # what an fsync of memory is done to


class MemoryJournal:
    """What `JournalFile` keeps, in memory."""

    def __init__(self) -> None:
        self._rows: list[Row] = []
        self._marks: dict[str, str] = {}
        self.minutes: dict[int, Minute] = {}

    def marks(self) -> dict[str, str]:
        return dict(self._marks)

    def last(self) -> tuple[int, int]:
        return (self._rows[-1].seq, self._rows[-1].embargo_us) if self._rows else (0, 0)

    def rows(self, first: int = 1) -> Iterator[Row]:
        yield from (row for row in self._rows if row.seq >= first)

    def decisions(self, before: int, most: int, also: Iterable[int] = ()) -> list[Row]:
        taken = [row.seq for row in self._rows if row.kind is RowKind.DECISION and row.seq < before]
        wanted = set(taken[max(0, len(taken) - most) :]).union(also)
        return [row for row in self._rows if row.seq in wanted]

    def decisions_from(self, first: int) -> list[Row]:
        return [row for row in self.rows(first) if row.kind is RowKind.DECISION]

    def commit(self, rows: list[Row], marks: Mapping[str, str]) -> None:
        seqs = [row.seq for row in rows]
        if seqs != list(range(self.last()[0] + 1, self.last()[0] + 1 + len(seqs))):
            raise sqlite3.IntegrityError("a row is there already, or one is missing")
        self._rows += rows
        self._marks.update(marks)

    def keep_minutes(self, minutes: Iterable[Minute]) -> None:
        for minute in minutes:
            self.minutes.setdefault(minute.minute, minute)

    def close(self) -> None:
        """Let go: nothing is open."""


class _File(io.BytesIO):
    """An open file of a `MemoryPath`; what is written is there when it is closed."""

    def __init__(self, path: "MemoryPath", data: bytes) -> None:
        super().__init__(data)
        self._path = path

    def fileno(self) -> int:
        return _SOME_FILE

    def close(self) -> None:
        if not self.closed:
            self._path.files[self._path.parts] = self.getvalue()
        super().close()


class MemoryPath:
    """The part of `pathlib.Path` that recordings are written and read with."""

    def __init__(self, files: dict[tuple[str, ...], bytes] | None = None, parts: tuple[str, ...] = ()) -> None:
        self.files = {} if files is None else files
        self.parts = parts

    def __truediv__(self, name: str) -> "MemoryPath":
        return MemoryPath(self.files, (*self.parts, name))

    def __lt__(self, other: "MemoryPath") -> bool:
        return self.parts < other.parts

    def __str__(self) -> str:
        return "/".join(self.parts)

    def __fspath__(self) -> str:
        return f"/proc/self/fd/{_SOME_FILE}"

    @property
    def name(self) -> str:
        return self.parts[-1]

    @property
    def parent(self) -> "MemoryPath":
        return MemoryPath(self.files, self.parts[:-1])

    def exists(self) -> bool:
        return self.parts in self.files

    def mkdir(self, parents: bool = False, exist_ok: bool = False) -> None:
        """Make the folder: it is there as soon as a file is in it."""

    def glob(self, pattern: str) -> Iterator["MemoryPath"]:
        before, after = pattern.split("*")
        for parts in list(self.files):
            if parts[:-1] == self.parts and parts[-1].startswith(before) and parts[-1].endswith(after):
                yield MemoryPath(self.files, parts)

    def read_bytes(self) -> bytes:
        if not self.exists():
            raise FileNotFoundError(2, "No such file or directory", str(self))
        return self.files[self.parts]

    def with_name(self, name: str) -> "MemoryPath":
        return MemoryPath(self.files, (*self.parts[:-1], name))

    def replace(self, target: "MemoryPath") -> None:
        self.files[target.parts] = self.files.pop(self.parts)

    def open(self, mode: str) -> _File:
        return _File(self, b"" if mode.startswith("w") else self.read_bytes())
