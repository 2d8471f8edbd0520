"""Files that are there whole or not at all: never over another unasked, on disks with and without links."""

import errno
import os
import signal
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from relay.core.errors import OperatorError
from relay.shell.record.whole_file import PUBLIC_MODE, left_behind, make_folder, new_file, path_beside


@pytest.fixture(params=[True, False], ids=["links", "no links"])
def folder(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a folder on a disk that has links, or has none as a FAT file system's (link(2): EPERM)."""

    def refuse(*_: object) -> None:
        raise PermissionError(errno.EPERM, os.strerror(errno.EPERM))

    if not request.param:
        monkeypatch.setattr(Path, "hardlink_to", refuse)
    return tmp_path


@pytest.fixture
def mask() -> Iterator[None]:
    """Let the process's mask be 022."""
    before = os.umask(0o022)
    yield
    os.umask(before)


@pytest.mark.parametrize(("mode", "then"), [({}, 0o600), ({"mode": PUBLIC_MODE}, 0o644)])
def test_file_is_there_at_the_end_with_its_mode(folder: Path, mask: None, mode: dict[str, int], then: int) -> None:
    """While it's written it has no name of its own; then its bytes, its mode, and nothing is beside it."""
    with new_file(folder / "made", **mode) as file:
        file.write(b"whole")
        assert left_behind(folder) == list(folder.iterdir()) and len(left_behind(folder)) == 1
    assert [(path.name, path.read_bytes()) for path in folder.iterdir()] == [("made", b"whole")]
    assert stat.S_IMODE((folder / "made").stat().st_mode) == then


def test_nothing_is_written_over_unasked(folder: Path) -> None:
    """A file, a folder, a link to nowhere, and a file that came while this one was written all stay."""
    (folder / "file").write_bytes(b"mine")
    (folder / "folder").mkdir()
    (folder / "link").symlink_to(folder / "nowhere")
    for name in ("file", "folder", "link"):
        with pytest.raises(OperatorError, match="is there already"), new_file(folder / name) as out:
            out.write(b"theirs")
    with pytest.raises(OperatorError, match="nothing was kept"), new_file(folder / "late"):
        (folder / "late").write_bytes(b"mine")
    assert (folder / "late").read_bytes() == (folder / "file").read_bytes() == b"mine"
    assert sorted(path.name for path in folder.iterdir()) == ["file", "folder", "late", "link"]


def test_over_a_file_it_takes_the_mode_of_the_new_one(folder: Path, mask: None) -> None:
    """What others could read is theirs no more; a link is replaced, and what it led to stays."""
    (folder / "open").write_bytes(b"old")
    (folder / "open").chmod(0o644)
    (folder / "link").symlink_to(folder / "open")
    for name in ("link", "open"):
        with new_file(folder / name, over=True) as out:
            out.write(b"new")
            assert (folder / "open").read_bytes() == b"old"
        assert (folder / name).read_bytes() == b"new" and not (folder / name).is_symlink()
        assert stat.S_IMODE((folder / name).stat().st_mode) == 0o600


@pytest.mark.parametrize("over", [False, True])
def test_whatever_breaks_the_writing_leaves_what_was_there(folder: Path, over: bool) -> None:
    """A fault of the writer's, a stop from the keyboard, and a folder that isn't there leave no beginning of a file."""
    if over:
        (folder / "made").write_bytes(b"old")
    for fault in (ValueError("mine"), KeyboardInterrupt()):
        with pytest.raises(type(fault)):
            _broken(folder / "made", over, fault)
    with pytest.raises(OperatorError, match="can't be written"), new_file(folder / "none" / "made", over=over):
        pass
    with pytest.raises(OperatorError, match="can't be written"), new_file(folder / ("long" * 80), over=over):
        pass
    assert [path.read_bytes() for path in folder.iterdir()] == [b"old"] * over


def _broken(target: Path, over: bool, fault: BaseException) -> None:
    with new_file(target, over=over) as out:
        out.write(bytes(1 << 20))
        raise fault


def test_a_long_name_has_room(folder: Path) -> None:
    """A name as long as a file system takes (255 bytes: NAME_MAX of Linux, limits.h) is no longer while written."""
    name = "é" * 127
    with new_file(folder / name) as out:
        out.write(b"x")
    assert (folder / name).read_bytes() == b"x"


def test_what_opens_by_name_is_given_a_path(folder: Path) -> None:
    """A writer that takes a path gets one, and the file it wrote gets the name."""
    with path_beside(folder / "made") as beside:
        beside.write_bytes(b"whole")
    assert [(path.name, path.read_bytes()) for path in folder.iterdir()] == [("made", b"whole")]


def test_what_a_killed_command_leaves_is_found(tmp_path: Path) -> None:
    """A process killed in the middle leaves one file that is told, for its owner alone, and none with the name."""
    script = (
        "import os, signal, sys; from pathlib import Path\n"
        "from relay.shell.record.whole_file import new_file\n"
        "with new_file(Path(sys.argv[1])) as out: out.write(b'x'); out.flush(); os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    done = subprocess.run([sys.executable, "-c", script, str(tmp_path / "made")], check=False)
    assert done.returncode == -signal.SIGKILL
    (left,) = tmp_path.iterdir()
    assert left_behind(tmp_path) == [left] and stat.S_IMODE(left.stat().st_mode) == 0o600


def test_folder_is_made_with_its_name_on_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each folder that is made is synced into the one above it (fsync(2)), also at a second try."""
    synced: list[Path] = []
    monkeypatch.setattr("relay.shell.record.whole_file.sync", synced.append)
    make_folder(tmp_path / "a" / "b", 0o700)
    assert synced == [tmp_path, tmp_path / "a"]
    assert (tmp_path / "a" / "b").stat().st_mode & 0o777 == 0o700
    make_folder(tmp_path / "a" / "b", 0o700)
    assert synced[2:] == [tmp_path / "a"]
