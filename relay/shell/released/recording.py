"""Recordings on disk: a release log saved as a file, appended as records leave, closed with a footer.

Rules: a recording holds the very frames that were sent and nothing else; after a restart the journal grows
the same frames again, and a file that disagrees with them stops the release (`RegrownError`): what was told
can't be told differently. A tail that is no whole record was never sent; the next record is written over it.
"""

import os
from pathlib import Path

from relay.core.errors import RecordingError, RegrownError
from relay.core.record_form import check_form
from relay.core.verification import check_signed
from relay.core.wire import Recording, footer, read_recording, whole_octets


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


def load_formed(path: Path) -> Recording:
    """Read one that something is made of, as `load_signed`; RecordingError, too, for a value that is none of one."""
    recording = load_signed(path)
    try:
        check_form(recording)
    except RecordingError as error:
        raise RecordingError(f"{path}: {error}") from error
    return recording


def told(path: Path) -> bytes:
    """Return what a recording told for certain: its whole records, without a torn tail; nothing where there is none."""
    data = path.read_bytes() if path.exists() else b""
    return data[: whole_octets(data)]


class Recorder:
    """The open recording of one dive for one audience.

    When the disk takes no more, `fault` says so, the frames stay in memory, and the next one tries again.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self.frames: list[bytes] = []
        self.fault: str | None = None
        self._written, self._unwritten = 0, b""
        path.parent.mkdir(parents=True, exist_ok=True)
        self._before = told(path)

    def add(self, frame: bytes) -> None:
        """Take the next frame; RegrownError if the file already told something else at this place."""
        self.frames.append(frame)
        self._write(frame)

    def close(self) -> None:
        """Write the footer and make the file durable."""
        self._write(footer(self.frames), durable=True)

    @property
    def owes(self) -> bool:
        """Whether the file told more, before a restart, than has been grown again."""
        return self._written + len(self._unwritten) < len(self._before)

    def _write(self, data: bytes, durable: bool = False) -> None:
        """Append bytes; over what was there before a restart, compare instead."""
        at = self._written + len(self._unwritten)
        there = self._before[at : at + len(data)]
        if not data.startswith(there):
            raise RegrownError(f"{self._path} differs at byte {at} from what the journal grows")
        self._unwritten += data
        if there == data:
            self._written, self._unwritten = at + len(data), b""
            return
        try:
            _put(self._path, self._written, self._unwritten, durable)
        except OSError as error:
            self.fault = f"{self._path.name} can't be written: {error.strerror}"
        else:
            self.fault = None
            self._written, self._unwritten = at + len(data), b""


def _put(path: Path, at: int, data: bytes, durable: bool) -> None:
    with path.open("r+b" if path.exists() else "w+b") as file:
        file.seek(at)
        file.write(data)
        file.truncate()
        file.flush()
        if durable:
            os.fsync(file.fileno())
