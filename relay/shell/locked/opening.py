"""What whoever receives does: open an encrypted file, an export or a whole backup, into a place of their own.

Rules: nothing is written over; a file or a folder is there whole or not at all, and for its owner alone. Whoever knows
a line age1... can send anything: of a backup nothing is laid anywhere but below the folder that was named, nothing that
takes more room than it has in what was sent, and what it says of itself is read strictly before it has its place.
"""

import json
import os
import shutil
import tarfile
import tempfile
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from relay.core.errors import LockingError, OperatorError
from relay.shell.locked.backup import MANIFEST, VERSION
from relay.shell.locked.locking import Key, open_file
from relay.shell.record.whole_file import put_in_place
from relay.shell.released.printable import printable

_MANIFEST_BYTES = 1 << 20
_DEEPEST = 64
_FOLDERS = {"private", "released"}
_NOT_OURS = "{} is no backup of Offing's: {}. Nothing of it was kept; ask whoever is said to have sent it"


@dataclass(frozen=True, slots=True)
class Opened:
    """What was opened: a file (`rows` None), or a site, with the folders of it that lay elsewhere aboard."""

    place: Path
    expedition: Path | None = None
    rows: int | None = None
    elsewhere: tuple[str, ...] = ()


def open_locked(source: Path, place: Path, key: Key) -> Opened:
    """Open a file at a place that isn't there yet; LockingError or OperatorError says what stands in the way."""
    if place.exists() or place.is_symlink():
        raise OperatorError(f"{place} is there already, and nothing is written over: give another place")
    try:
        beside = tempfile.TemporaryDirectory(prefix=f".{place.name}.", dir=place.parent)
    except OSError as error:
        raise OperatorError(f"nothing can be written into {place.parent}: {error.strerror}") from error
    with beside as name:
        plain, folder = Path(name) / "plain", Path(name) / "folder"
        open_file(source, plain, key)
        manifest = _manifest(plain, source)
        try:
            if manifest is None:
                put_in_place(plain, place)
                return Opened(place)
            if _unpack(plain, folder, source) != manifest.files:
                raise LockingError(_NOT_OURS.format(source, "it has more or fewer files than it says"))
            if not (folder / manifest.expedition).is_file():
                raise LockingError(_NOT_OURS.format(source, "the expedition file isn't in it"))
            folder.rename(place)
        except OSError as error:
            raise OperatorError(f"{place} can't be written: {error.strerror}; nothing was kept of it") from error
    return Opened(place, place / manifest.expedition, manifest.rows, manifest.elsewhere)


@dataclass(frozen=True, slots=True)
class _Manifest:
    """What a backup says of itself."""

    expedition: str
    rows: int
    files: int
    elsewhere: tuple[str, ...]


def _manifest(plain: Path, source: Path) -> _Manifest | None:
    """Return what a backup says of itself; None if a file is none, LockingError if it says what no Offing does."""
    data = _first_member(plain)
    if data is None:
        return None
    try:
        told = json.loads(data)
    except (ValueError, RecursionError):
        told = None
    if isinstance(told, dict) and isinstance(told.get("version"), int) and told["version"] > VERSION:
        raise OperatorError("it is a backup of a newer Offing: open it with that one")
    manifest = _read_manifest(told)
    if manifest is None:
        raise LockingError(_NOT_OURS.format(source, "what it says of itself is none that an Offing writes"))
    return manifest


def _first_member(plain: Path) -> bytes | None:
    """Return the bytes of what a backup begins with."""
    try:
        with tarfile.open(plain, "r:") as archive:
            first = archive.next()
            if first is None or first.name != MANIFEST or first.size > _MANIFEST_BYTES or not _is_plain(first):
                return None
            file = archive.extractfile(first)
            return b"" if file is None else file.read()
    except (tarfile.TarError, ValueError, RecursionError):
        return None


def _read_manifest(told: object) -> _Manifest | None:
    if not isinstance(told, dict) or any(not _is_count(told.get(name)) for name in ("version", "rows", "files")):
        return None
    name, elsewhere = told.get("expedition"), told.get("elsewhere")
    if not isinstance(name, str) or not name.isprintable() or name in ("", ".", "..") or "/" in name:
        return None
    if not isinstance(elsewhere, list) or any(
        not isinstance(folder, str) or folder not in _FOLDERS for folder in elsewhere
    ):
        return None
    return _Manifest(name, told["rows"], told["files"], tuple(elsewhere))


def _is_count(value: object) -> bool:
    return type(value) is int and 0 <= value < 1 << 63


def _is_plain(member: tarfile.TarInfo) -> bool:
    """Whether a member is a file whose every byte is in the archive."""
    return member.type == tarfile.REGTYPE and not member.issparse() and member.size >= 0


def _unpack(plain: Path, folder: Path, source: Path) -> int:
    """Lay a backup's files below a folder, each on the disk before it counts; return how many."""
    folder.mkdir(mode=0o700)
    laid = -1  # what it says of itself is none of them
    try:
        with tarfile.open(plain, "r:") as archive:
            for member in archive:
                _lay(archive, member, folder, source)
                laid += 1
    except (tarfile.TarError, ValueError, RecursionError) as error:  # a name with a NUL, a size that is none
        raise LockingError(_NOT_OURS.format(source, f"it can't be unpacked ({printable(str(error))})")) from error
    return laid


def _lay(archive: tarfile.TarFile, member: tarfile.TarInfo, folder: Path, source: Path) -> None:
    parts = PurePosixPath(member.name).parts
    if not parts or ".." in parts or PurePosixPath(member.name).is_absolute():
        raise LockingError(_NOT_OURS.format(source, f"it would lay {member.name!r} somewhere else"))
    if not _is_plain(member) or len(parts) > _DEEPEST:
        raise LockingError(_NOT_OURS.format(source, f"{printable(member.name)[:200]} is no plain file"))
    path = folder.joinpath(*parts)
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    content = archive.extractfile(member)
    assert content is not None
    with content, os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        shutil.copyfileobj(content, file, 1 << 20)
        file.flush()
        os.fsync(file.fileno())
