"""The programme of one audience on disk: the last record that it was told, as it was sent.

Rules: after a restart the journal grows the same records again, and one that disagrees with what was told stops the
release (`RegrownError`); what was told last is never replaced by what was told before it.
"""

import os
from pathlib import Path

from relay.core.errors import RecordingError, RegrownError
from relay.core.release import NO_DIVE, Kind
from relay.core.wire import WireRecord, decode
from relay.shell.released.recording import sync_names

NAME = "programme.record"


def read_programme(path: Path) -> WireRecord | None:
    """Return the record in a file, None where there is no file; RecordingError if it isn't one of a programme."""
    try:
        record = decode(path.read_bytes())
    except FileNotFoundError:
        return None
    except OSError as error:
        raise RecordingError(f"{path} can't be read: {error.strerror}") from error
    except RecordingError as error:
        raise RecordingError(f"{path}: {error}") from error
    if (record.dive, record.kind) != (NO_DIVE, Kind.PROGRAMME):
        raise RecordingError(f"{path} holds no programme")
    return record


class ProgrammeFile:
    """The file of an audience below the released folder.

    When the disk takes no more, `fault` says so, and the next record, or `retry`, tries again.
    """

    def __init__(self, folder: Path, audience: str) -> None:
        self._path = folder / audience / NAME
        self._before = self._read()
        self._last, self._frame = -1, b""
        self.fault: str | None = None

    def _read(self) -> WireRecord | None:
        """Return what was told; nothing where the file was damaged: it is then written anew.

        RecordingError where the disk doesn't give it: whoever went on could tell differently what was told.
        """
        try:
            return read_programme(self._path)
        except RecordingError as error:
            if isinstance(error.__cause__, OSError):
                raise
            return None

    @property
    def owes(self) -> bool:
        """Whether more was told, before a restart, than has been grown again."""
        return self._before is not None and self._last < self._before.seq

    def put(self, number: int, frame: bytes) -> None:
        """Keep the next record; RegrownError if another was told under its number."""
        before = self._before
        if before is not None and number == before.seq and frame != before.data:
            raise RegrownError(f"{self._path} differs from what the journal grows")
        self._last = number
        if before is not None and number <= before.seq:
            return
        self._frame = frame
        self._write()

    def retry(self) -> None:
        """Write the record that the disk didn't take, if there is one."""
        if self.fault is not None:
            self._write()

    def _write(self) -> None:
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            _put(self._path, self._frame)
            sync_names(self._path.parent)
        except OSError as error:
            self.fault = f"{NAME} can't be written: {error.strerror}"
        else:
            self.fault = None


def _put(path: Path, content: bytes) -> None:
    """Replace a file at once: a kill or a power cut leaves the one before or this one, never a part."""
    beside = path.with_name(f".{path.name}.new")
    with beside.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)
