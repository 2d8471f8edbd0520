"""Recordings on disk: a release log saved as a file, appended as records leave, closed with a footer.

Rules: a recording holds the very frames that were sent and nothing else; after a restart the journal grows
the same frames again, and a file that disagrees with them stops the release (`RegrownError`): what was told
can't be told differently. A tail that is no whole record was never sent; the next record is written over it. Zeros up
to the end of a sector or of the file are what a power cut leaves of bytes that it took: they told nothing else. A dive
counts as kept once its recording and the names of its folders are on the disk. Bytes of a sync that failed may be lost
although reads still show them and the next sync succeeds (fsync(2), notes), and this relay can't know what failed for
one that was killed before it. So at a dive's end the whole recording is written anew, then synced. The names of its
folders can't be written anew: they are synced again.
"""

import os
from pathlib import Path

from relay.core.errors import RecordingError, RegrownError
from relay.core.recording_form import check_form
from relay.core.verification import check_signed
from relay.core.wire import Recording, footer, read_recording, whole_octets

SECTOR = 512


def recording_path(folder: Path, audience: str, dive: int) -> Path:
    """Return where the recording of a dive for an audience lies below the released folder."""
    return folder / audience / f"dive-{dive:03d}.recording"


def load_recording(path: Path) -> Recording:
    """Read a recording from disk; RecordingError says what is wrong with which file."""
    try:
        return read_recording(path.read_bytes())
    except OSError as error:
        raise RecordingError(f"{path}: {error.strerror}") from error
    except RecordingError as error:
        raise RecordingError(f"{path}: {error}") from error


def load_signed(path: Path) -> Recording:
    """Read a recording that somebody handed on; RecordingError, too, where a record isn't as it was signed.

    An unsigned one (`Recording.signed`) is read: it is for the caller to say so.
    """
    recording = load_recording(path)
    try:
        check_signed(recording)
    except RecordingError as error:
        raise RecordingError(f"{path}: {error}") from error
    return recording


def load_told(path: Path) -> Recording:
    """Read a recording that somebody handed on, for a command that works with what it tells.

    As `load_signed`; RecordingError, too, where it tells something in another form than a relay does.
    """
    recording = load_signed(path)
    check_told(path, recording)
    return recording


def check_told(path: Path, recording: Recording) -> None:
    """Raise RecordingError where what was read from a file isn't told in the form that a relay writes."""
    try:
        check_form(recording)
    except RecordingError as error:
        raise RecordingError(f"{path}: {error}. Take the original") from error


def told(path: Path) -> bytes:
    """Return what a recording told for certain: its whole records, without a torn tail; nothing where there is none.

    RecordingError where the disk doesn't give it.
    """
    data = _there(path)
    return data[: whole_octets(data)]


def _there(path: Path) -> bytes:
    """Return what a file holds, nothing where there is none; RecordingError where the disk doesn't give it.

    Whoever went on then could tell differently what was told: nothing is sent until it has been read.
    """
    try:
        return path.read_bytes() if path.exists() else b""
    except OSError as error:
        raise RecordingError(
            f"{path} can't be read: {error.strerror}: see to its disk, then start the relay again"
        ) from error


class Recorder:
    """The open recording of one dive for one audience; RecordingError where what it told before can't be read.

    When the disk takes no more, `fault` says so, the frames stay in memory, and the next one, or `retry`, tries again.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self.frames: list[bytes] = []
        self.fault: str | None = None
        self._written, self._unwritten, self._ends = 0, b"", False
        self._there = _there(path)
        self._told = whole_octets(self._there)

    def add(self, frame: bytes) -> None:
        """Take the next frame; RegrownError if the file already told something else at this place."""
        self.frames.append(frame)
        self._write(frame)

    def close(self) -> None:
        """Write the footer and make the file durable."""
        self._ends = True
        self._write(footer(self.frames))

    def retry(self) -> None:
        """Write what the disk didn't take, if there is any."""
        if self.fault is not None:
            self._put()

    @property
    def owes(self) -> bool:
        """Whether the file told more, before a restart, than has been grown again."""
        return self._written + len(self._unwritten) < self._told

    def _write(self, data: bytes) -> None:
        """Append bytes; over what was there before a restart, compare instead."""
        at = self._written + len(self._unwritten)
        there = self._there[at : min(at + len(data), self._told)]
        if not data.startswith(there) and not self._lost(at, data[: len(there)]):
            raise RegrownError(f"{self._path} differs at byte {at} from what the journal grows")
        self._unwritten += data
        if there == data and self._unwritten == data and not self._ends:
            self._written, self._unwritten = at + len(data), b""
        else:
            self._put()

    def _lost(self, at: int, data: bytes) -> bool:
        """Return whether the file differs from bytes at a place only by zeros that a power cut left."""
        place, end = at, at + len(data)
        while place < end:
            upto = min(len(self._there), (place // SECTOR + 1) * SECTOR)
            grown = data[place - at : upto - at]
            pairs = zip(grown, self._there[place:upto], strict=False)
            differs = next((at for at, (one, other) in enumerate(pairs, place) if one != other), upto)
            if any(self._there[differs:upto]):
                return False
            place = upto
        return True

    def _put(self) -> None:
        """Write what isn't written yet; at the end all of it anew, and make it durable."""
        place, data = self._written, self._unwritten
        if self._ends:
            place, data = 0, b"".join(self.frames) + footer(self.frames)
        upto = place + len(data)
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            with self._path.open("r+b" if self._path.exists() else "w+b") as file:
                file.seek(place)
                file.write(data)
                if upto >= self._told:
                    file.truncate()
                file.flush()
                if self._ends:
                    os.fsync(file.fileno())
            if self._ends:
                self._sync_names()
        except OSError as error:
            self.fault = f"{self._path.name} can't be written: {error.strerror}"
        else:
            self.fault = None
            self._written, self._unwritten = upto, b""

    def _sync_names(self) -> None:
        """Make durable that the file has its name, its folder its own, and the one about them all."""
        sync_names(self._path.parent)


def sync_names(audience: Path) -> None:
    """Make durable the names in an audience's folder, its own, and that of the folder about them all."""
    for folder in (audience, audience.parent, audience.parent.parent):
        sync_folder(folder)


def sync_folder(folder: Path) -> None:
    """Wait until the names in a folder are on the disk."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
