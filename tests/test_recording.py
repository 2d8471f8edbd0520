"""Recordings on disk: appended, closed, grown again after a restart, and never told differently."""

import errno
import os
from pathlib import Path

import pytest

from dives import INVENTED_SITE, SECRETS, SIGNER, dive_rows, plan, run, sealed
from heads import masked_recording
from relay.core.errors import RecordingError, RegrownError
from relay.core.pipeline import Pipeline
from relay.core.release import Kind
from relay.core.seal import Signer
from relay.shell.released.outlet import Frame, Outlet
from relay.shell.released.recording import SECTOR, Recorder, load_recording, recording_path

DUE = run(Pipeline(plan(), SECRETS), dive_rows(40))
FRAMES = [sealed(item.record) for item in DUE]


def written(path: Path, frames: list[bytes], close: bool) -> Path:
    """Write a recording of these frames."""
    recorder = Recorder(path)
    for frame in frames:
        recorder.add(frame)
    if close:
        recorder.close()
    return path


def test_recording_is_the_frames_and_a_footer(tmp_path: Path) -> None:
    """Open, it is the frames joined; closed, it reads back complete."""
    path = written(tmp_path / "open.recording", FRAMES[:5], False)
    assert path.read_bytes() == b"".join(FRAMES[:5])
    closed = load_recording(written(tmp_path / "closed.recording", FRAMES, True))
    assert closed.closed
    assert [record.data for record in closed.records] == FRAMES


def test_recording_grown_again_after_any_tear_is_the_same_file(tmp_path: Path) -> None:
    """Cut at every 61st byte and grown again, open or closed, the file ends byte for byte as if never torn."""
    whole = written(tmp_path / "whole.recording", FRAMES, True).read_bytes()
    path = tmp_path / "torn.recording"
    for cut in range(0, len(whole) + 1, 61):
        path.write_bytes(whole[:cut])
        recorder = Recorder(path)
        for frame in FRAMES:
            recorder.add(frame)
        recorder.close()
        assert not recorder.owes
        assert path.read_bytes() == whole


def test_recording_torn_in_a_record_that_is_not_due_yet_is_cut(tmp_path: Path) -> None:
    """Half a record beyond what the journal has grown was told to nobody: the next one is written over it."""
    path = tmp_path / "torn.recording"
    path.write_bytes(b"".join(FRAMES[:4]) + FRAMES[4][:50])
    recorder = Recorder(path)
    for frame in FRAMES[:4]:
        recorder.add(frame)
    assert not recorder.owes
    recorder.add(FRAMES[4])
    assert path.read_bytes() == b"".join(FRAMES[:5])


def test_recording_that_told_something_else_stops_the_release(tmp_path: Path) -> None:
    """A differing byte is never overwritten, nor is a whole record."""
    path = tmp_path / "told.recording"
    path.write_bytes(b"".join(FRAMES[:3]))
    with pytest.raises(RegrownError, match="differs at byte"):
        written(path, [FRAMES[0], FRAMES[2]], False)
    assert path.read_bytes() == b"".join(FRAMES[:3])
    recorder = Recorder(path)
    recorder.add(FRAMES[0])
    with pytest.raises(RegrownError, match="differs at byte"):
        recorder.close()
    assert path.read_bytes() == b"".join(FRAMES[:3])


def test_recording_owes_what_it_told_before_a_restart(tmp_path: Path) -> None:
    """Whole records that are not grown again yet are owed, by the open recording and by one of a later dive."""
    for count, tail in ((3, b""), (2, FRAMES[2][:70])):
        folder = tmp_path / str(count)
        path = recording_path(folder, "public", 1)
        path.parent.mkdir(parents=True)
        path.write_bytes(b"".join(FRAMES[:count]) + tail)
        outlet = Outlet(folder, SIGNER, lambda frame: None)
        owed = [outlet.owes("public", 1)]
        for item in DUE[:count]:
            outlet.release(item)
            owed.append(outlet.owes("public", 1))
        assert owed == [True] * count + [False]


def test_recording_on_a_full_disk_catches_up_when_there_is_room(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A write that fails is told, and the next that works writes everything since."""
    path = tmp_path / "full.recording"
    recorder = Recorder(path)
    recorder.add(FRAMES[0])
    path.parent.chmod(0o700)

    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(Path, "open", full)
        recorder.add(FRAMES[1])
    assert recorder.fault == "full.recording can't be written: No space left on device"
    recorder.add(FRAMES[2])
    assert recorder.fault is None
    assert path.read_bytes() == b"".join(FRAMES[:3])


def test_signatures_tell_nothing_that_the_records_do_not(tmp_path: Path) -> None:
    """The same dive elsewhere on Earth, later, by another outlet: every byte of every file, the signatures' too.

    But for the heads and what is signed with them.
    """
    written = []
    for at, site in enumerate((INVENTED_SITE, (12.5, 141.25))):
        outlet = Outlet(tmp_path / str(at), Signer(SECRETS.signing_seed), lambda frame: None)
        for item in run(Pipeline(plan(), SECRETS), dive_rows(40, site, start_s=5 + 3_600 * at)):
            outlet.release(item)
        written.append(recording_path(tmp_path / str(at), "public", 1).read_bytes())
    assert len(written[0]) > 40 * 64
    assert masked_recording(written[0]) == masked_recording(written[1])


def test_load_recording_names_the_file_and_the_fault(tmp_path: Path) -> None:
    """A file that isn't there and one that isn't a recording."""
    with pytest.raises(RecordingError, match=r"none\.recording: No such file"):
        load_recording(tmp_path / "none.recording")
    (tmp_path / "text.recording").write_bytes(b"hello")
    with pytest.raises(RecordingError, match=r"text\.recording: not a record"):
        load_recording(tmp_path / "text.recording")


def test_outlet_writes_each_audiences_dives_and_hands_every_frame_on_once(tmp_path: Path) -> None:
    """What goes onward is what is on disk, in order."""
    frames: list[Frame] = []
    outlet = Outlet(tmp_path, SIGNER, frames.append)
    for item in DUE:
        outlet.release(item)
    assert [frame.data for frame in frames] == FRAMES
    assert [frame.closes for frame in frames] == [False] * (len(FRAMES) - 1) + [True]
    recording = load_recording(recording_path(tmp_path, "public", 1))
    assert [record.data for record in recording.records] == FRAMES
    assert outlet.faults == []


def lost_sectors(whole: bytes, sectors: set[int], length: int) -> bytes:
    """Return a file of a length in which some sectors were never written: they are zeros."""
    out = bytearray(whole[:length])
    for sector in sectors:
        out[sector * SECTOR : (sector + 1) * SECTOR] = bytes(len(out[sector * SECTOR : (sector + 1) * SECTOR]))
    return bytes(out)


@pytest.mark.parametrize("closes", [False, True])
def test_recording_with_zeros_of_a_power_cut_is_grown_again(tmp_path: Path, closes: bool) -> None:
    """Sectors that a cut lost, and a length without its bytes, were told as the journal has them: they are mended.

    What a system may leave of bytes that weren't synced: fsync(2); sectors of 512 octets: common practice, no source.
    """
    whole = written(tmp_path / "whole.recording", FRAMES, True).read_bytes()
    path = tmp_path / "cut.recording"
    for sectors, length in (({1}, 3 * SECTOR), ({0}, 700), ({0, 1, 2}, 2_000), ({3, 5}, len(whole)), ({0}, len(whole))):
        path.write_bytes(lost_sectors(whole, sectors, length))
        recorder = Recorder(path)
        for frame in FRAMES:
            recorder.add(frame)
        if closes:
            recorder.close()
        assert path.read_bytes().startswith(whole if closes else b"".join(FRAMES))
        assert not closes or path.read_bytes() == whole
        assert recorder.fault is None


def test_recording_with_zeros_owes_what_its_length_told(tmp_path: Path) -> None:
    """A length was only reached by records that were due: up to it they are owed, and no further."""
    path = tmp_path / "cut.recording"
    path.write_bytes(b"".join(FRAMES[:2]) + bytes(len(FRAMES[2])))
    recorder = Recorder(path)
    for frame in FRAMES[:2]:
        recorder.add(frame)
    assert recorder.owes
    recorder.add(FRAMES[2])
    assert not recorder.owes
    assert path.read_bytes() == b"".join(FRAMES[:3])


def test_recording_with_other_bytes_than_zeros_is_never_mended(tmp_path: Path) -> None:
    """Zeros that don't go on to the end of a sector or of the file are no loss: the release stops."""
    whole = bytearray(b"".join(FRAMES[:9]))
    of_second = range(len(FRAMES[0]), len(FRAMES[0]) + len(FRAMES[1]))
    at = next(at for at in of_second if whole[at] and any(whole[at + 1 : (at // SECTOR + 1) * SECTOR]))
    whole[at] = 0
    path = tmp_path / "altered.recording"
    path.write_bytes(whole)
    recorder = Recorder(path)
    recorder.add(FRAMES[0])
    with pytest.raises(RegrownError, match="differs at byte"):
        recorder.add(FRAMES[1])
    assert path.read_bytes() == bytes(whole)


def test_end_that_the_disk_refused_is_written_when_it_takes_it(tmp_path: Path) -> None:
    """A dive's end is written at a later `retry`, whether or not the next dive began (R5)."""
    outlet = Outlet(tmp_path, SIGNER, lambda frame: None)
    due = run(Pipeline(plan(), SECRETS), [*dive_rows(20), *dive_rows(20, start_s=120, seed=2)])
    begins = [at for at, item in enumerate(due) if item.record.kind is Kind.DIVE]
    assert len(begins) == 2
    (tmp_path / "public").touch()  # no folder can be made there
    for item in due[: begins[1] + 1]:
        outlet.release(item)
    outlet.retry()
    assert len(outlet.faults) == 2
    (tmp_path / "public").unlink()
    outlet.retry()
    assert outlet.faults == []
    assert load_recording(recording_path(tmp_path, "public", 1)).closed
    for item in due[begins[1] + 1 :]:
        outlet.release(item)
    assert load_recording(recording_path(tmp_path, "public", 2)).closed


def test_recording_is_kept_with_the_names_that_lead_to_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """At a dive's end its folder, the one about it and the one about that are synced (fsync(2))."""
    synced: list[Path] = []
    monkeypatch.setattr("relay.shell.released.recording.sync_folder", synced.append)
    path = recording_path(tmp_path / "released", "public", 1)
    written(path, FRAMES, False)
    assert synced == []
    written(path, FRAMES, True)
    assert synced == [tmp_path / "released" / "public", tmp_path / "released", tmp_path]


def test_what_a_failed_sync_let_go_of_is_written_anew_at_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that fails a sync may have dropped bytes that reads still show: the next try writes all anew (fsync(2)).

    So does a relay that was started anew meanwhile. The test takes a sector away, as the kernel would.
    """
    path = tmp_path / "failed.recording"
    whole = written(tmp_path / "whole.recording", FRAMES, True).read_bytes()

    def fails(descriptor: int) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    with monkeypatch.context() as failing:
        failing.setattr(os, "fsync", fails)
        recorder = Recorder(path)
        for frame in FRAMES:
            recorder.add(frame)
        recorder.close()
    assert recorder.fault == "failed.recording can't be written: Input/output error"
    path.write_bytes(lost_sectors(whole, {1}, len(whole)))
    recorder.retry()
    assert (recorder.fault, path.read_bytes()) == (None, whole)
    again = Recorder(path)
    for frame in FRAMES:
        again.add(frame)
    path.write_bytes(lost_sectors(whole, {1}, len(whole)))
    again.close()
    assert path.read_bytes() == whole


@pytest.mark.parametrize("number", [errno.EIO, errno.ESTALE, errno.EACCES])
@pytest.mark.parametrize("asked", ["exists", "read_bytes"])
def test_recording_that_the_disk_does_not_give_is_told_with_its_file(
    asked: str, number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a dive begins, or what was told before a restart is looked for: which file, why, what to do; it stays."""
    path = recording_path(tmp_path, "public", 1)
    path.parent.mkdir(parents=True)
    path.write_bytes(b"".join(FRAMES[:3]))
    plain, left = getattr(Path, asked), []

    def fails(which: Path) -> object:
        if which == path:
            raise OSError(number, os.strerror(number), str(which))
        return plain(which)

    outlet = Outlet(tmp_path, SIGNER, left.append)
    words = rf"{path} can't be read: {os.strerror(number)}: .* start the relay again"
    with monkeypatch.context() as patched:
        patched.setattr(Path, asked, fails)
        with pytest.raises(RecordingError, match=words):
            outlet.owes("public", 1)
        with pytest.raises(RecordingError, match=words):
            outlet.release(DUE[0])
    assert left == []
    assert path.read_bytes() == b"".join(FRAMES[:3])
    assert outlet.owes("public", 1)
