"""What a shore reads at its start counts as held once it is durable: after a sync that failed, and on a bad disk."""

import errno
import os
from pathlib import Path

import pytest

from logs_ashore import FIRST, SECOND, TOLD, frames_of, held, opened, take
from relay.core.errors import NoRoomError, ShoreError
from relay.core.wire import Recording, footer, read_recording
from relay.shell.released.recording import sync_folder
from relay.shell.shore.shore_logs import ShoreLogs
from shores import SIGNER


@pytest.mark.parametrize("closed", [True, False])
def test_what_a_failed_sync_let_go_of_is_written_anew_at_the_next_start(
    closed: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A shore killed after a sync failed leaves bytes that reads show and the disk may never have had (fsync(2)).

    The test takes them away behind the read, as a power cut would: they count as held, so they must be there again, and
    synced, and the names that lead to them. A dive whose footer was written and one that goes on are alike.
    """
    frames = FIRST if closed else FIRST[:3]
    path = tmp_path / "held" / "public" / "dive-001.recording"

    def fails(descriptor: int) -> None:
        if path.exists():
            raise OSError(errno.EIO, os.strerror(errno.EIO))

    with opened(tmp_path / "held") as logs, monkeypatch.context() as failing:
        failing.setattr(os, "fsync", fails)
        with pytest.raises(NoRoomError):
            logs.write("public", frames)
    whole = path.read_bytes()
    synced: dict[Path, bytes] = {}

    def dropped(data: bytes) -> Recording:
        path.write_bytes(bytes(len(data)))
        return read_recording(data)

    def sync(descriptor: int) -> None:
        there = Path(f"/proc/self/fd/{descriptor}").readlink()  # proc(5)
        synced[there] = there.read_bytes() if there.is_file() else b""

    monkeypatch.setattr("relay.shell.shore.shore_logs.read_recording", dropped)
    monkeypatch.setattr(os, "fsync", sync)
    with opened(tmp_path / "held") as logs:
        assert (logs.set_aside, frames_of(logs)) == ([], frames)
        assert path.read_bytes() == whole
        assert synced == {path: whole, path.parent: b"", tmp_path / "held": b"", tmp_path: b""}
        assert take(logs, FIRST) == FIRST[len(frames) :]


def test_name_of_a_programme_is_synced_at_the_next_start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where its folder's sync failed the programme wasn't held: the shore that holds it next has synced the name."""

    def fails(folder: Path) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    with opened(tmp_path) as logs, monkeypatch.context() as failing:
        failing.setattr("relay.shell.shore.shore_logs.sync_folder", fails)
        with pytest.raises(NoRoomError):
            logs.write("public", TOLD)
    synced: list[Path] = []
    monkeypatch.setattr("relay.shell.shore.shore_logs.sync_folder", synced.append)
    with opened(tmp_path) as logs:
        assert held(logs)["public"].programme == 1
    assert synced == [tmp_path / "public", tmp_path, tmp_path.parent]


@pytest.mark.parametrize("error", [errno.EIO, errno.ENOSPC, errno.EROFS])
def test_shore_does_not_start_on_what_the_disk_does_not_take_again(
    error: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Told in words, with the file; the folder is let go of and nothing is lost: with a good disk all of it is held."""
    with opened(tmp_path) as logs:
        take(logs, FIRST + SECOND)
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}

    def fails(descriptor: int) -> None:
        if Path(f"/proc/self/fd/{descriptor}").readlink().name == "dive-002.recording":  # proc(5)
            raise OSError(error, os.strerror(error))

    logs = ShoreLogs(tmp_path, ["public", "funders"], SIGNER.key)
    with monkeypatch.context() as failing:
        failing.setattr(os, "fsync", fails)
        with pytest.raises(ShoreError) as told:
            logs.open()
    path = tmp_path / "public" / "dive-002.recording"
    assert str(told.value) == f"{path} can't be kept for certain ({os.strerror(error)}): see to its disk"
    assert before == {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    with opened(tmp_path) as logs:
        assert (logs.set_aside, frames_of(logs)) == ([], FIRST + SECOND)


def test_shore_starts_below_a_folder_that_it_may_not_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its own folder was made for it there, and that name is for whoever made it to sync."""

    def sync(folder: Path) -> None:
        if folder == tmp_path:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        sync_folder(folder)

    monkeypatch.setattr("relay.shell.shore.shore_logs.sync_folder", sync)
    with opened(tmp_path / "held") as logs:
        assert take(logs, FIRST) == FIRST


def test_dive_whose_end_came_without_its_footer_gets_it_at_the_next_start(tmp_path: Path) -> None:
    """Cut off between the two, the recording is made whole; a torn tail goes."""
    path = tmp_path / "public" / "dive-001.recording"
    path.parent.mkdir()
    for rest in (b"", footer(FIRST)[:20]):
        path.write_bytes(b"".join(FIRST) + rest)
        with opened(tmp_path) as logs:
            assert frames_of(logs) == FIRST
        assert path.read_bytes() == b"".join(FIRST) + footer(FIRST)
