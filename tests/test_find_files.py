"""Photographs and drawings of finds, kept by their digest beside the journal."""

import os
import shutil
import stat
import subprocess
from pathlib import Path

import pytest

from relay.core.errors import OperatorError
from relay.core.find import FILE_NAME_LIMIT
from relay.shell.finds import find_files
from relay.shell.finds.find_files import FOLDER, keep_file, kept_path


def test_file_is_kept_as_it_is_under_the_digest_that_coreutils_tell(tmp_path: Path) -> None:
    """Byte for byte, for the owner alone, told by name and size; SHA-256 by `sha256sum` (GNU coreutils)."""
    path = tmp_path / "IMG 0031.JPG"
    path.write_bytes(b"\xff\xd8" + os.urandom(3 << 20))
    reference = keep_file(tmp_path, path)
    told = subprocess.run(["sha256sum", path], capture_output=True, text=True, check=True).stdout.split()[0]
    assert (reference.name, reference.sha256, reference.octets) == ("IMG 0031.JPG", told, path.stat().st_size)
    kept = kept_path(tmp_path, reference)
    assert kept == tmp_path / "finds" / f"{told}.jpg"
    assert kept.read_bytes() == path.read_bytes()
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert stat.S_IMODE(kept.parent.stat().st_mode) == 0o700
    assert list(kept.parent.iterdir()) == [kept]


def test_same_file_is_kept_once_and_a_damaged_copy_is_mended(tmp_path: Path) -> None:
    """Under whatever name it comes again; where the copy isn't what its name says, it is written anew."""
    first, second = tmp_path / "a.jpg", tmp_path / "b.jpg"
    for path in (first, second):
        path.write_bytes(b"the same")
    reference = keep_file(tmp_path, first)
    kept = kept_path(tmp_path, reference)
    before = kept.stat().st_ino
    again = keep_file(tmp_path, second)
    assert (again.sha256, again.name, kept.stat().st_ino) == (reference.sha256, "b.jpg", before)
    kept.write_bytes(b"the sane")
    keep_file(tmp_path, first)
    assert kept.read_bytes() == b"the same"
    kept.unlink()
    kept.symlink_to(second)
    keep_file(tmp_path, first)
    assert not kept.is_symlink() and kept.read_bytes() == b"the same"


@pytest.mark.parametrize(("name", "ending"), [("a.tar.GZ", ".gz"), ("a", ""), ("a.j p", ""), (".jpg", "")])
def test_ending_tells_a_program_what_it_is_and_nothing_else(name: str, ending: str, tmp_path: Path) -> None:
    """Small letters and figures alone; any other ending isn't taken over."""
    (tmp_path / name).write_bytes(b"x")
    assert kept_path(tmp_path, keep_file(tmp_path, tmp_path / name)).suffix == ending


def test_file_that_cannot_be_kept_is_named_and_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Missing, empty, a folder, a pipe's end, a name beyond the limit, too large, or a disk too full."""
    empty, long_ = tmp_path / "empty.jpg", tmp_path / ("x" * 251 + ".jpg")
    empty.touch()
    pipe = tmp_path / "pipe.jpg"
    os.mkfifo(pipe)  # nobody writes it: it isn't waited for
    long_.write_bytes(b"x")
    assert len(long_.name) == FILE_NAME_LIMIT
    assert keep_file(tmp_path, long_).octets == 1
    shutil.rmtree(tmp_path / FOLDER)
    for path, why in (
        (tmp_path / "none.jpg", "No such file"),
        (empty, "octets of empty.jpg is the size of the file in bytes, more than none"),
        (tmp_path, "is not a file"),
        (pipe, "pipe.jpg is not a file"),
        (Path("/dev/null"), "/dev/null is not a file"),
    ):
        with pytest.raises(OperatorError, match=why):
            keep_file(tmp_path, path)
    monkeypatch.setattr(find_files, "FILE_LIMIT", 0)
    with pytest.raises(OperatorError, match="at most 0 are kept"):
        keep_file(tmp_path, long_)
    monkeypatch.undo()
    monkeypatch.setattr(find_files, "KEEP_FREE_BYTES", shutil.disk_usage(tmp_path).total)
    with pytest.raises(OperatorError, match="or the release stops"):
        keep_file(tmp_path, long_)
    assert not (tmp_path / FOLDER).exists()


def test_disk_that_fails_midway_leaves_no_half_of_a_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What can't be made durable isn't there, and the message says that nothing was recorded."""

    def fails(_: int) -> None:
        raise OSError(28, "No space left on device")

    path = tmp_path / "a.jpg"
    path.write_bytes(b"x" * 100)
    monkeypatch.setattr(os, "fsync", fails)
    with pytest.raises(OperatorError, match=r"No space left on device\): nothing was recorded"):
        keep_file(tmp_path, path)
    assert list((tmp_path / FOLDER).iterdir()) == []
