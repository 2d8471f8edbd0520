"""A photograph or a drawing of a find on its way into the private folder, where it is kept by its digest.

Rules: the bytes are copied as they are, durably and whole or not at all, mode 0600; nothing is decoded. A copy is never
removed by the relay, also where the record it was for is refused: another record may name it. The name that a record
tells is the file's own, without the folders it lies in.
"""

import os
import re
import shutil
from hashlib import sha256
from pathlib import Path
from typing import BinaryIO

from relay.core.errors import OperatorError
from relay.core.find import FileReference, read_file
from relay.shell.record.whole_file import open_regular, put_in_place, scratch_file

FOLDER = "finds"
FILE_LIMIT = 1 << 30
KEEP_FREE_BYTES = 1 << 28
_PIECE = 1 << 20
_ENDING = re.compile(r"\.[a-z0-9]{1,8}")


def keep_file(private: Path, path: Path) -> FileReference:
    """Keep a copy of a file on the disk below `private` and return how a record tells of it.

    OperatorError if it can't be read or kept, or is none that a record can tell of: nothing is changed then.
    """
    name = path.name
    try:
        with open_regular(path) as file:
            octets = os.fstat(file.fileno()).st_size
            read_file({"name": name, "sha256": "0" * 64, "octets": octets})
            _check_size(path, octets)
            _leave_room(private, path, octets)
            return _keep(private, name, file)
    except OSError as error:
        raise OperatorError(
            f"{path} can't be kept in {private / FOLDER} ({error.strerror}): nothing was recorded. Check the file and "
            "the disk, and record the find again"
        ) from error


def kept_path(private: Path, reference: FileReference) -> Path:
    """Return where the copy of a file is kept."""
    return private / FOLDER / f"{reference.sha256}{_ending(reference.name)}"


def _check_size(path: Path, octets: int) -> None:
    if octets > FILE_LIMIT:
        raise OperatorError(
            f"{path} has {octets >> 20} MiB, and at most {FILE_LIMIT >> 20} are kept: give a smaller copy, and keep "
            "the original yourself"
        )


def _leave_room(private: Path, path: Path, octets: int) -> None:
    free = shutil.disk_usage(private).free
    if free < octets + KEEP_FREE_BYTES:
        raise OperatorError(
            f"the disk of {private} has {free >> 20} MiB left, and {path} takes {octets >> 20}: the journal needs "
            f"{KEEP_FREE_BYTES >> 20} of them, or the release stops. Make room, and record the find again"
        )


def _keep(private: Path, name: str, file: BinaryIO) -> FileReference:
    folder = private / FOLDER
    folder.mkdir(mode=0o700, exist_ok=True)
    with scratch_file(folder) as beside:
        reference = _copied(beside, name, file)
        path = kept_path(private, reference)
        if not _is_there(path, reference):
            put_in_place(beside, path, over=True)
    return reference


def _copied(beside: Path, name: str, file: BinaryIO) -> FileReference:
    digest, octets = sha256(), 0
    with beside.open("wb") as out:
        while piece := file.read(_PIECE):
            octets += len(piece)
            digest.update(piece)
            out.write(piece)
    return read_file({"name": name, "sha256": digest.hexdigest(), "octets": octets})


def _is_there(path: Path, reference: FileReference) -> bool:
    """Whether a copy is there already, whole, as a file of its own: a link is none, for what it leads to may change."""
    if path.is_symlink() or not path.is_file():
        return False
    with path.open("rb") as file:
        digest = sha256()
        while piece := file.read(_PIECE):
            digest.update(piece)
    return digest.hexdigest() == reference.sha256


def _ending(name: str) -> str:
    ending = Path(name).suffix.lower()
    return ending if _ENDING.fullmatch(ending) else ""
