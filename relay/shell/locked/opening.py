"""What whoever receives does: open an encrypted file, an export or a whole backup, into a place of their own.

Rules: nothing is written over; a file or a folder is there whole or not at all, and for its owner alone. Of a backup
nothing is laid anywhere but below the folder that was named, whatever names are in it.
"""

import json
import os
import shutil
import tarfile
import tempfile
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from relay.core.errors import LockingError, OperatorError
from relay.shell.locked.backup import MANIFEST, VERSION
from relay.shell.locked.locking import Key, open_file

_MANIFEST_BYTES = 1 << 20


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
        manifest = _manifest(plain)
        try:
            if manifest is None:
                plain.rename(place)
                return Opened(place)
            _unpack(plain, folder, source)
            folder.rename(place)
        except OSError as error:
            raise OperatorError(f"{place} can't be written: {error.strerror}; nothing was kept of it") from error
    return Opened(place, place / manifest["expedition"], manifest["rows"], tuple(manifest["elsewhere"]))


def _manifest(plain: Path) -> dict[str, Any] | None:
    """Return what a backup says of itself; None if a file is none."""
    try:
        with tarfile.open(plain, "r:") as archive:
            first = archive.next()
            if first is None or first.name != MANIFEST or first.size > _MANIFEST_BYTES:
                return None
            file = archive.extractfile(first)
            told: dict[str, Any] = json.loads(b"" if file is None else file.read())
    except (tarfile.TarError, ValueError):
        return None
    if told.get("version") != VERSION:
        raise OperatorError("it is a backup of a newer Offing: open it with that one")
    return told


def _unpack(plain: Path, folder: Path, source: Path) -> None:
    """Lay a backup's files below a folder, each on the disk before it counts."""
    folder.mkdir(mode=0o700)
    try:
        with tarfile.open(plain, "r:") as archive:
            for member in archive:
                _lay(archive, member, folder, source)
    except tarfile.TarError as error:
        raise LockingError(f"{source} is no backup that can be unpacked ({error})") from error


def _lay(archive: tarfile.TarFile, member: tarfile.TarInfo, folder: Path, source: Path) -> None:
    parts = PurePosixPath(member.name).parts
    if not member.isreg() or not parts or ".." in parts or PurePosixPath(member.name).is_absolute():
        raise LockingError(f"{source} is no backup of Offing's: it would lay {member.name!r} somewhere else")
    path = folder.joinpath(*parts)
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    content = archive.extractfile(member)
    assert content is not None
    with content, os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        shutil.copyfileobj(content, file, 1 << 20)
        file.flush()
        os.fsync(file.fileno())
