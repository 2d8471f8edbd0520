"""The photographs and drawings of finds, put into the .zip of an export beside the tables that name them.

Rules: a file is called by its SHA-256, which the tables tell beside its own name; its bytes are checked against it on
the way. A copy that is missing or isn't what the record tells is left out and said, and the rest is handed over.
"""

import zipfile
from collections.abc import Iterable
from hashlib import sha256
from pathlib import Path

from relay.core.find import FileReference
from relay.shell.exact.exact_dives import ExactDives
from relay.shell.exact.exact_store import leave_room
from relay.shell.exact.tables import Choice
from relay.shell.exact.telling import Telling
from relay.shell.exact.told_tables import chosen_finds
from relay.shell.finds.find_files import kept_path

FOLDER = "files"
_PIECE = 1 << 20


def files_of(dives: ExactDives, choice: Choice) -> list[FileReference]:
    """Return the files of the finds that are chosen, each once."""
    files = dict[str, FileReference]()
    for record in chosen_finds(dives, choice):
        drawn = (drawing.file for drawing in record.find.drawings or ())
        for file in (*(record.find.photographs or ()), *drawn):
            if file is not None:
                files.setdefault(file.sha256, file)
    return list(files.values())


def add_files(path: Path, private: Path, files: Iterable[FileReference], tell: Telling) -> int:
    """Add files to a .zip; return how many there are. OperatorError if the disk would be too full for the journal."""
    count = 0
    with zipfile.ZipFile(path, "a", zipfile.ZIP_STORED) as packed:
        for file in files:
            tell("adding files", count)
            kept = kept_path(private, file)
            if not _is_whole(kept, file):
                tell(f"{file.name} isn't there as it was recorded ({kept}): left out", count)
                continue
            leave_room(private)
            packed.write(kept, f"{FOLDER}/{kept.name}")
            count += 1
    return count


def _is_whole(path: Path, file: FileReference) -> bool:
    if path.is_symlink() or not path.is_file():
        return False
    digest = sha256()
    with path.open("rb") as kept:
        while piece := kept.read(_PIECE):
            digest.update(piece)
    return digest.hexdigest() == file.sha256
