"""A file that is there whole or not at all: the one way in which commands write what they make.

Rules: it's written beside its place under a name that tells what it is, gets its mode at once (0600 unless it's
public), and is on the disk before it has its own name. Nothing is written over unless that is asked for: a link gives
the name, which fails where something is; a disk without links (a stick) is looked at first. What a killed command
leaves begins with `IN_THE_MAKING`: no backup takes it, and it's told.
"""

import contextlib
import os
import secrets
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from relay.core.errors import OperatorError

IN_THE_MAKING = ".being-written-"
PRIVATE_MODE = 0o600
PUBLIC_MODE = 0o666  # less what the umask takes


@contextlib.contextmanager
def new_file(target: Path, *, over: bool = False, mode: int = PRIVATE_MODE) -> Iterator[BinaryIO]:
    """Give a file to write that becomes `target` at the end, durably; on any fault nothing, and what was there stays.

    `over`: in place of what is there. OperatorError if something is, or the disk takes nothing.
    """
    with path_beside(target, over=over, mode=mode) as beside, beside.open("wb") as file:
        yield file


@contextlib.contextmanager
def path_beside(target: Path, *, over: bool = False, mode: int = PRIVATE_MODE) -> Iterator[Path]:
    """Give the path of an empty file to write, for what opens files by name: else as `new_file`."""
    try:
        if not over and _is_there(target):
            raise OperatorError(f"{target} is there already, and nothing is written over: give another name")
        with scratch_file(target.parent, mode) as beside:
            yield beside
            put_in_place(beside, target, over=over)
    except OSError as error:
        raise OperatorError(f"{target} can't be written: {error.strerror or error}; nothing was kept of it") from error


@contextlib.contextmanager
def scratch_file(folder: Path, mode: int = PRIVATE_MODE) -> Iterator[Path]:
    """Make an empty file in a folder for a while; OSError if it can't be made."""
    path = folder / f"{IN_THE_MAKING}{secrets.token_hex(8)}"
    os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode))
    try:
        yield path
    finally:
        path.unlink(missing_ok=True)


def put_in_place(beside: Path, target: Path, *, over: bool = False) -> None:
    """Give a file on the same disk its name once its bytes are on the disk; FileExistsError unless `over`."""
    sync(beside)
    if over:
        beside.replace(target)
    else:
        _name(beside, target)
    sync(target.parent)


def _name(beside: Path, target: Path) -> None:
    try:
        target.hardlink_to(beside)  # it fails where something is, which a rename does not
    except FileExistsError:
        raise
    except OSError:  # a disk without links, as a stick has
        if _is_there(target):
            raise
        beside.rename(target)


def sync(path: Path) -> None:
    """Wait until a file or folder is on the disk."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def make_folder(folder: Path, mode: int = 0o777) -> None:
    """Make a folder, and those above it, where there are none; its name is on the disk then. OSError if it isn't."""
    if not folder.parent.is_dir():
        make_folder(folder.parent)
    folder.mkdir(mode, exist_ok=True)
    sync(folder.parent)


def open_regular(path: Path) -> BinaryIO:
    """Open a file to read; OperatorError if it is none: a pipe isn't waited for. OSError if it can't be opened."""
    descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise OperatorError(f"{path} is not a file")
    return os.fdopen(descriptor, "rb")


def left_behind(folder: Path) -> list[Path]:
    """Return what commands that were killed left in a folder, or are writing: in plain, to be removed by hand."""
    return sorted(folder.glob(f"{IN_THE_MAKING}*"))


def _is_there(path: Path) -> bool:
    return path.exists() or path.is_symlink()
