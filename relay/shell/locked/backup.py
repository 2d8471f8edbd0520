"""A backup of a ship's site, consistent while the relay runs, and encrypted to those who may open it.

Rules: it writes nothing that the relay reads and takes no lock that it needs; nothing of it is ever plain on another
disk than the private folder's. In this order, so that the copy could be a ship that was switched off at one moment:
how long each recording is, and the rest of what was released; the journal as one moment has it (SQLite's own backup,
from a reader); everything else of the private folder, which decisions in the journal may name. So whatever the copy
says was released, its journal grows again; and what the journal names is there.
"""

import contextlib
import io
import json
import shutil
import sqlite3
import stat
import tarfile
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from relay.core.errors import OperatorError
from relay.shell.locked.locking import ENDING, encrypt_stream, recipients_of
from relay.shell.plan.expedition import Expedition
from relay.shell.proofs.sums import NAME as SUMS
from relay.shell.proofs.sums import write_sums
from relay.shell.record.exact_place import check_exact_place
from relay.shell.record.journal import NAME as JOURNAL
from relay.shell.record.read_only import last_row, reading, snapshot
from relay.shell.record.recovered import KEEP_FREE_BYTES
from relay.shell.record.recovered import NAME as RECOVERED
from relay.shell.record.secrets_file import LOCKED
from relay.shell.record.whole_file import IN_THE_MAKING, left_behind

MANIFEST = "offing-backup.json"
VERSION = 1
_BESIDE = ".backup-"
_PAGES = 2_000
_NOT_KEPT = {f"{name}{more}" for name in (JOURNAL, RECOVERED) for more in ("-wal", "-shm", "-journal")} | {
    JOURNAL,
    SUMS,
    "journal.lock",
}
_LEFT_OUT = (IN_THE_MAKING, _BESIDE)  # what commands write, and take away again
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Part:
    """A file of the backup: its name there, and its first `octets` bytes of a file, or bytes that were read."""

    name: str
    octets: int
    path: Path | None = None
    data: bytes = b""


@dataclass(frozen=True, slots=True)
class BackedUp:
    """What a backup holds: journal rows, files, bytes, and the folders that lay elsewhere aboard."""

    rows: int
    files: int
    octets: int
    elsewhere: tuple[str, ...]


def back_up(expedition: Expedition, target: Path, recipients: Sequence[str], progress: Progress) -> BackedUp:
    """Write a backup as a new file encrypted to recipients; `progress(done, all)` in bytes.

    OperatorError says what stands in the way: nobody to encrypt it to, no room, nothing there; then nothing is left.
    """
    recipients_of(recipients)
    check_exact_place(target, expedition, encrypted=True)
    private = expedition.private
    if not (private / JOURNAL).exists():
        raise OperatorError(f"{private} has no journal yet, so there is nothing to back up: start the relay once")
    _leave_room(private, target)
    with tempfile.TemporaryDirectory(prefix=_BESIDE, dir=private) as beside:
        parts, rows = _parts(expedition, Path(beside))
        octets = sum(part.octets for part in parts)
        done = BackedUp(rows, len(parts), octets, _elsewhere(expedition))
        manifest = _manifest(expedition, done)
        encrypt_stream(lambda out: _write(out, [manifest, *parts], octets, progress), target, recipients)
    return done


def copies_left(private: Path) -> list[Path]:
    """Return what commands that were killed left in a private folder: plain copies, to be removed by hand."""
    return sorted([*private.glob(f"{_BESIDE}*"), *left_behind(private)])


def copy_database(source: Path, target: Path) -> None:
    """Copy a SQLite database as one moment has it, whoever writes it meanwhile; OperatorError if that fails."""
    try:
        with snapshot(source) as database, contextlib.closing(sqlite3.connect(target)) as writing:
            database.backup(writing, pages=_PAGES, sleep=0.0)
    except sqlite3.Error as error:
        raise OperatorError(f"{source} can't be copied: {error}. Nothing was written; try again") from error


def _parts(expedition: Expedition, beside: Path) -> tuple[list[Part], int]:
    """Return the files of the backup, in the order of the rules, and the journal's rows."""
    private, folder = expedition.private, _name_of(expedition, expedition.private, "private")
    released = list(_released(expedition))
    copy_database(private / JOURNAL, beside / JOURNAL)
    write_sums(beside / JOURNAL)
    copies = [_copied(beside / name, f"{folder}/{name}") for name in (JOURNAL, SUMS)]
    rest = list(_rest(private, folder, beside))
    return [_read(expedition.path, expedition.path.name), *copies, *rest, *released], _last_row(beside / JOURNAL)


def _released(expedition: Expedition) -> Iterator[Part]:
    """Yield what was released: recordings only ever grow, so their first bytes stay; the rest is small, and read."""
    folder = _name_of(expedition, expedition.released, "released")
    for path in _files(expedition.released, (".",)):  # nothing that is told has such a name
        name = f"{folder}/{path.relative_to(expedition.released).as_posix()}"
        with contextlib.suppress(FileNotFoundError):
            yield _copied(path, name) if path.suffix == ".recording" else _read(path, name)


def _rest(private: Path, folder: str, beside: Path) -> Iterator[Part]:
    """Yield what else lies in the private folder: the site's database as one moment has it, all else byte for byte."""
    for path in _files(private):
        inside = path.relative_to(private)
        name, at_top = f"{folder}/{inside.as_posix()}", len(inside.parts) == 1
        if at_top and (path.name in _NOT_KEPT or (path.suffix == ENDING and path.name != LOCKED)):
            continue  # an export or a backup that was put here isn't backed up again
        with contextlib.suppress(FileNotFoundError):
            if at_top and path.name == RECOVERED and path.stat().st_size:
                copy = beside / RECOVERED
                copy_database(path, copy)
                yield _copied(copy, name)
            else:
                yield _copied(path, name)


def _files(folder: Path, left_out: tuple[str, ...] = _LEFT_OUT) -> Iterator[Path]:
    """Yield the regular files below a folder but those that a command of ours is making."""
    for path in sorted(folder.rglob("*")):
        if any(part.startswith(left_out) for part in path.relative_to(folder).parts):
            continue
        with contextlib.suppress(FileNotFoundError):
            if stat.S_ISREG(path.lstat().st_mode):
                yield path


def _copied(path: Path, name: str) -> Part:
    return Part(name, path.stat().st_size, path)


def _read(path: Path, name: str) -> Part:
    data = path.read_bytes()
    return Part(name, len(data), None, data)


def _name_of(expedition: Expedition, folder: Path, otherwise: str) -> str:
    """Return how a folder is called in the backup: as below the expedition file, or by a name of its own."""
    home = expedition.path.resolve().parent
    return folder.relative_to(home).as_posix() if _is_below(folder, home) else otherwise


def _is_below(folder: Path, home: Path) -> bool:
    return folder.is_relative_to(home) and folder != home


def _elsewhere(expedition: Expedition) -> tuple[str, ...]:
    home = expedition.path.resolve().parent
    folders = {"private": expedition.private, "released": expedition.released}
    return tuple(name for name, folder in folders.items() if not _is_below(folder, home))


def _manifest(expedition: Expedition, done: BackedUp) -> Part:
    told = {
        "offing": "a backup of a ship's site: exact and private",
        "version": VERSION,
        "expedition": expedition.path.name,
        "private": _name_of(expedition, expedition.private, "private"),
        "elsewhere": list(done.elsewhere),
        "rows": done.rows,
        "files": done.files,
    }
    data = json.dumps(told, indent=1, ensure_ascii=False).encode()
    return Part(MANIFEST, len(data), None, data)


def _write(out: BinaryIO, parts: Sequence[Part], octets: int, progress: Progress) -> None:
    counter = _Counter(octets, progress)
    with tarfile.open(fileobj=out, mode="w|", format=tarfile.PAX_FORMAT) as archive:
        for part in parts:
            info = tarfile.TarInfo(part.name)
            info.size, info.mode = part.octets, 0o600
            with _opened(part) as file:
                archive.addfile(info, _Counted(file, part, counter))


def _opened(part: Part) -> BinaryIO:
    if part.path is None:
        return io.BytesIO(part.data)
    try:
        return part.path.open("rb")
    except OSError as error:
        raise OperatorError(f"{part.path} can't be read: {error.strerror}. Nothing was written; try again") from error


class _Counter:
    """Tells how much of a backup is written."""

    def __init__(self, octets: int, progress: Progress) -> None:
        self._done, self._octets, self._progress = 0, octets, progress

    def add(self, octets: int) -> None:
        """Count bytes that were read."""
        self._done += octets
        self._progress(min(self._done, self._octets), self._octets)


class _Counted(io.RawIOBase):
    """The first bytes of a part's file, counted as they are read."""

    def __init__(self, file: BinaryIO, part: Part, counter: _Counter) -> None:
        super().__init__()
        self._file, self._part, self._counter = file, part, counter

    def read(self, size: int = -1) -> bytes:
        """Read on; OperatorError where the file has become shorter than it was."""
        data = self._file.read(size)
        if len(data) < size:  # no more is ever asked for than the file had
            raise OperatorError(f"{self._part.path} became shorter while it was read: nothing was written; try again")
        self._counter.add(len(data))
        return data


def _last_row(journal: Path) -> int:
    with reading(journal, unchanging=True) as database:
        return last_row(database)


def _leave_room(private: Path, target: Path) -> None:
    """Refuse to fill the disk that the relay writes: with the copies, and the backup itself if it is to lie there."""
    databases = sum(path.stat().st_size for path in private.glob("*.db*"))
    whole = sum(path.stat().st_size for path in _files(private))
    same = target.parent.exists() and target.parent.stat().st_dev == private.stat().st_dev
    needed, free = databases + (databases + whole if same else 0), shutil.disk_usage(private).free
    if free < needed + KEEP_FREE_BYTES:
        raise OperatorError(
            f"the disk of {private} has {free >> 20} MiB left, and a backup takes {-(-needed >> 20)} there for a "
            f"while: the journal needs {KEEP_FREE_BYTES >> 20} of them, or the release stops. Make room, or let --out "
            "be on another disk; nothing was written."
        )
