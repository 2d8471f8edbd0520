"""Run a command with next to nothing: as nobody, and with everything read-only but one folder.

As a program (root): `small_room.py FOLDER COMMAND ...`. It takes a mount namespace of its own, makes all of it
read-only but the folder, gives up groups, user and capabilities for good, and becomes the command. Where the
interpreter or the checkout lies in a folder that others can't enter, an empty one is laid over that, in this namespace
alone, in which they stand again. Numbers are those of linux/mount.h, linux/sched.h and linux/prctl.h.
"""

import ctypes
import os
import stat
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
NOBODY = 65534
_CLONE_NEWNS, _PR_SET_NO_NEW_PRIVS = 0x20000, 38
_MS_BIND, _MS_REC, _MS_PRIVATE = 0x1000, 0x4000, 0x40000
_MOUNT_SETATTR, _AT_FDCWD, _AT_RECURSIVE, _RDONLY = 442, -100, 0x8000, 1  # the call has this number on every machine
_libc = ctypes.CDLL(None, use_errno=True)


def main(folder: Path, command: list[str]) -> None:
    """Shut the room, and become the command."""
    _shut(folder)
    os.chdir(folder)
    os.setgroups([])
    os.setresgid(NOBODY, NOBODY, NOBODY)
    os.setresuid(NOBODY, NOBODY, NOBODY)
    _call("prctl", _PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0)
    os.execvp(command[0], command)


def _shut(folder: Path) -> None:
    """Take a namespace in which nothing but the folder can be written."""
    _call("unshare", _CLONE_NEWNS)
    _mount(None, Path("/"), None, _MS_REC | _MS_PRIVATE)
    _lay_open([Path(sys.base_prefix), Path(sys.prefix), ROOT, folder])
    _mount(str(folder), folder, None, _MS_BIND)
    _read_only(Path("/"), True, _AT_RECURSIVE)
    _read_only(folder, False, 0)


def _lay_open(needed: list[Path]) -> None:
    """Let everybody enter the folders on the way to what is needed."""
    closed = {outermost for path in needed if (outermost := _outermost_closed(path)) is not None}
    held = {path: os.open(path, os.O_PATH) for path in needed if _outermost_closed(path) is not None}
    for folder in closed:
        _mount("none", folder, "tmpfs", 0, b"mode=755")
    for path, descriptor in sorted(held.items()):
        if not path.exists():
            path.mkdir(parents=True)
            _mount(f"/proc/self/fd/{descriptor}", path, None, _MS_BIND)
        os.close(descriptor)


def _outermost_closed(path: Path) -> Path | None:
    """Return the first folder on the way to a path that others can't enter."""
    return next((folder for folder in reversed(path.parents) if not folder.stat().st_mode & stat.S_IXOTH), None)


def _mount(source: str | None, target: Path, kind: str | None, flags: int, data: bytes | None = None) -> None:
    words = [None if word is None else word.encode() for word in (source, str(target), kind)]
    _call("mount", *words, ctypes.c_ulong(flags), data)


def _read_only(target: Path, shut: bool, flags: int) -> None:
    """Set or clear the mark of read-only on a mount (mount_setattr(2): set, clear, propagation, user namespace)."""
    attributes = (ctypes.c_uint64 * 4)(_RDONLY * shut, _RDONLY * (not shut), 0, 0)
    size = ctypes.c_size_t(ctypes.sizeof(attributes))
    _call("syscall", ctypes.c_long(_MOUNT_SETATTR), _AT_FDCWD, bytes(target), flags, ctypes.byref(attributes), size)


def _call(name: str, *arguments: object) -> None:
    if _libc[name](*arguments) != 0:
        raise OSError(ctypes.get_errno(), f"{name}: {os.strerror(ctypes.get_errno())}")


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve(), sys.argv[2:])
