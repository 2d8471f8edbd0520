"""The programme on disk: the last that was told, never another under its number, never a part of one."""

import errno
import os
from pathlib import Path
from typing import Any

import pytest

from disk_order import NAMED, order_of
from relay.core.errors import RecordingError, RegrownError
from relay.core.release import ProgrammeLog
from relay.core.wire import encode
from relay.shell.released.programme_file import NAME, ProgrammeFile, read_programme
from released import dive
from virtual_disk import MemoryPath


def frame(number: int, pinned: str = "The boiler is next.") -> bytes:
    """Return a programme's frame."""
    return encode(ProgrammeLog("public").programme(number, pinned, [], None, 1))


@pytest.mark.parametrize("folder", [Path, MemoryPath])
def test_last_one_is_kept_and_read_again(folder: Any, tmp_path: Path) -> None:
    """On the real disk and on its twin in memory alike."""
    below = tmp_path if folder is Path else MemoryPath()
    file = ProgrammeFile(below, "public")
    assert (read_programme(below / "public" / NAME), file.owes) == (None, False)
    for number in (0, 1):
        file.put(number, frame(number))
    kept = read_programme(below / "public" / NAME)
    assert kept is not None
    assert (kept.seq, kept.data) == (1, frame(1))


def test_after_a_restart_the_same_is_owed_and_nothing_older_replaces_it(tmp_path: Path) -> None:
    """Until what was told last has grown again, more is owed; what comes before it leaves the file alone."""
    ProgrammeFile(tmp_path, "public").put(5, frame(5))
    file = ProgrammeFile(tmp_path, "public")
    file.put(4, frame(4, "earlier"))
    assert file.owes
    file.put(5, frame(5))
    assert not file.owes
    assert (tmp_path / "public" / NAME).read_bytes() == frame(5)


def test_another_under_the_same_number_stops_the_release(tmp_path: Path) -> None:
    """What was told can't be told differently."""
    ProgrammeFile(tmp_path, "public").put(5, frame(5))
    with pytest.raises(RegrownError):
        ProgrammeFile(tmp_path, "public").put(5, frame(5, "something else"))


@pytest.mark.parametrize("number", [errno.EIO, errno.ESTALE])
def test_programme_that_the_disk_does_not_give_is_not_told_differently(
    number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was told isn't known meanwhile: nothing is written over it, and the words name file and reason."""
    ProgrammeFile(tmp_path, "public").put(5, frame(5))
    path, plain = tmp_path / "public" / NAME, Path.read_bytes

    def fails(which: Path) -> bytes:
        if which == path:
            raise OSError(number, os.strerror(number))
        return plain(which)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "read_bytes", fails)
        with pytest.raises(RecordingError, match=f"{NAME} can't be read: {os.strerror(number)}"):
            ProgrammeFile(tmp_path, "public").put(4, frame(4, "earlier"))
    assert path.read_bytes() == frame(5)


@pytest.mark.parametrize("content", [b"", b"\x96\x00", frame(0)[:-3], dive(1, 0)[0].data])
def test_damaged_file_is_told_and_written_anew(content: bytes, tmp_path: Path) -> None:
    """A reader is told so; the relay owes nothing for it and goes on."""
    path = tmp_path / "public" / NAME
    path.parent.mkdir()
    path.write_bytes(content)
    with pytest.raises(RecordingError):
        read_programme(path)
    file = ProgrammeFile(tmp_path, "public")
    assert not file.owes
    file.put(0, frame(0))
    assert path.read_bytes() == frame(0)


def test_names_are_on_the_disk_before_it_counts_as_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A power cut leaves the file and its folder: the file, then its name, then the folders above it (fsync(2))."""
    order = order_of(monkeypatch)
    ProgrammeFile(tmp_path, "public").put(0, frame(0))
    public = tmp_path / "public"
    inodes = [path.stat().st_ino for path in (public / NAME, public, tmp_path, tmp_path.parent)]
    assert order == [inodes[0], NAMED, *inodes[1:]]


def test_full_disk_is_a_fault_until_the_next_one_is_written(tmp_path: Path) -> None:
    """The fault says so; the next record tries again."""
    blocked = tmp_path / "public"
    blocked.write_bytes(b"")
    file = ProgrammeFile(tmp_path / "elsewhere", "public")
    (tmp_path / "elsewhere").write_bytes(b"")
    file.put(0, frame(0))
    assert file.fault is not None
    (tmp_path / "elsewhere").unlink()
    file.put(1, frame(1))
    assert file.fault is None
