"""Release logs on the shore's disk: FOLDER/AUDIENCE/dive-NNN.recording, and the last programme beside them.

Rules (R5): only what the ship signed for that audience is written, each record once and in order; what is held is never
told differently; a record counts as held when it is durable. At the start everything is checked again: a torn tail is
cut, and so are zeros that a power cut left for it, once a copy is set aside; a file that isn't as the ship signed it is
set aside with what came after it, to be fetched from the ship again.
What is read then may be there in memory alone, for a shore that was killed may have had a sync fail: the kernel takes
such bytes for written, and no later sync puts them on the disk (fsync(2), notes). So every recording is written again,
in its place, and synced before it counts as held. The names of files and folders are synced again, which is all that
can be done for them. Where the disk refuses that the shore doesn't start, and says why.
"""

import contextlib
import fcntl
import os
import re
from collections.abc import Iterable, Sequence
from itertools import count, groupby
from pathlib import Path

from relay.core.errors import NoRoomError, OffingError, RecordingError, ShoreError
from relay.core.history import NOTHING, History, Position, Received, is_next, received
from relay.core.release import FORMAT, NO_DIVE, VERSION, Kind
from relay.core.seal import is_sealed
from relay.core.wire import Recording, WireRecord, decode, footer, objects, read_recording, whole_octets
from relay.shell.released.programme_file import NAME as PROGRAMME
from relay.shell.released.programme_file import read_programme
from relay.shell.released.recording import SECTOR, recording_path, sync_folder

ASIDE = ".set-aside"
BEGUN = "dives.begun"  # a number a line, written before a dive's first record: a file that is lost later is noticed
_NUMBERED = re.compile(r"dive-([0-9]{3,9})\.recording", re.ASCII)


class AudienceLog:
    """What one audience was sent. `key`: the ship's, in whose name alone anything is kept."""

    def __init__(self, folder: Path, audience: str, key: bytes) -> None:
        self.audience = audience
        self._folder, self._key = folder, key
        self.history = History(audience)

    def load(self) -> list[str]:
        """Read what is there and make it durable; return in words what had to be set aside.

        ShoreError, OSError: the disk doesn't take it, so that nothing of it may count as held.
        """
        words: list[str] = []
        paths = self._numbered()
        begun = self._read_begun()
        for at, (number, path) in enumerate(paths):
            due = range(paths[0][0], number) if begun is None else begun
            if why := self._missing_before(number, due) or self._load_dive(number, path, words):
                words.append(f"{path} is set aside: {why}; it is fetched from the ship again")
                for _, later in paths[at:]:
                    _set_aside(later)
                break
        if begun is None and self.history.dives:  # of before such a list, or lost: from now on a loss is noticed
            with contextlib.suppress(OSError):
                self._write_begun()
        words += self._load_programme()
        self._make_durable()
        return words

    def _make_durable(self) -> None:
        """Write every recording again, and sync it and the names beside it; ShoreError says of which that failed."""
        path = self._folder / self.audience
        try:
            for dive in self.history.dives:
                path = recording_path(self._folder, self.audience, dive.number)
                _write(path, 0, b"".join(dive.frames) + (footer(dive.frames) if dive.closed else b""))
            path = self._folder / self.audience
            if path.is_dir():
                sync_folder(path)
        except OSError as error:
            raise ShoreError(f"{path} can't be kept for certain ({error.strerror}): see to its disk") from error

    def _read_begun(self) -> list[int] | None:
        """Return the numbers of all dives that were ever begun here; None where that isn't known."""
        try:
            text = (self._folder / self.audience / BEGUN).read_text(encoding="ascii")
            return [int(line) for line in text.splitlines()]
        except (FileNotFoundError, ValueError):
            return None

    def _write_begun(self, *more: int) -> None:
        numbers = [*(dive.number for dive in self.history.dives), *more]
        replace_file(self._folder / self.audience / BEGUN, "".join(f"{number}\n" for number in numbers).encode())

    def _missing_before(self, number: int, due: Iterable[int]) -> str | None:
        """Return in words that something of what was held before a dive isn't here any more; None if all of it is."""
        dives = self.history.dives
        held = {dive.number for dive in dives}
        if all(each in held for each in due if each < number) and (not dives or dives[-1].closed):
            return None
        return (
            f"what comes between dive {dives[-1].number} and it is missing" if dives else "what came first is missing"
        )

    def _numbered(self) -> list[tuple[int, Path]]:
        folder = self._folder / self.audience
        paths = list(folder.iterdir()) if folder.is_dir() else []
        found = ((int(match[1]), path) for path in paths if (match := _NUMBERED.fullmatch(path.name)))
        return sorted(each for each in found if each[1] == recording_path(self._folder, self.audience, each[0]))

    def _load_dive(self, number: int, path: Path, words: list[str]) -> str | None:
        """Take the dive in a file; return what is wrong with it, and take nothing then. `words`: of what was mended."""
        data = path.read_bytes()
        why = self._take_file(number, path, data)
        held = data if why is None else self._before_zeros(data)
        if not 0 < len(held) < len(data):
            return why
        aside = _name_aside(path)
        try:
            replace_file(aside, data)
            _put(path, len(held), b"")
        except OSError:
            return why
        words.append(f"{path} has zeros that a power cut left: a copy is set aside, and what came before them is held")
        return self._take_file(number, path, held)

    def _before_zeros(self, data: bytes) -> bytes:
        """Return the signed records that come first, where a sector of what follows is zeros; all of it if none is.

        A power cut may leave a file with the length of what was being written, and without its bytes.
        """
        held = 0
        with contextlib.suppress(OffingError):
            for _, start, end in objects(data):
                self._check_seal(decode(data[start:end]))
                held = end
        starts = [held, *range((held // SECTOR + 1) * SECTOR, len(data), SECTOR)]
        upto = [*starts[1:], len(data)]
        torn = any(not any(data[one:other]) for one, other in zip(starts, upto, strict=True) if one < other)
        return data[:held] if torn else data

    def _take_file(self, number: int, path: Path, data: bytes) -> str | None:
        if not whole_octets(data):
            return None  # cut off within its first record: nothing of it was ever held
        try:
            recording = read_recording(data)
            if recording.records[0].dive != number:
                return f"it holds dive {recording.records[0].dive}"
            for record in recording.records:
                self._check_seal(record)
            return self._take_loaded(recording)
        except OffingError as error:
            return str(error)
        except (ValueError, ArithmeticError, LookupError, TypeError, AssertionError) as error:
            return f"it can't be read ({type(error).__name__})"  # whatever lies there, the shore starts

    def _take_loaded(self, recording: Recording) -> str | None:
        records = recording.records
        ends = [at for at, record in enumerate(records) if record.kind == Kind.END]
        if ends not in ([], [len(records) - 1]) or (recording.closed and not ends):
            return "its end isn't where a dive ends"
        self.keep(records)
        return None

    def _load_programme(self) -> list[str]:
        path = self._folder / self.audience / PROGRAMME
        try:
            record = read_programme(path)
            if record is None:
                return []
            self._check_seal(record)
        except OffingError as error:
            _set_aside(path)
            return [f"{path} is set aside: {error}; it is fetched from the ship again"]
        self.history.post(received(self.audience, record.data))
        return []

    def _check_seal(self, record: WireRecord) -> None:
        if not is_sealed(self._key, self.audience, record.data):
            raise ShoreError(f"record {record.seq} of {_of(record.dive)} isn't signed by this ship for {self.audience}")

    def new(self, frames: Iterable[bytes]) -> list[WireRecord]:
        """Return which of these aren't held yet, each signed and in order; ShoreError says which is wrong, and how."""
        fresh: list[WireRecord] = []
        for frame in frames:
            try:
                record = decode(frame)
                self._check_seal(record)
            except RecordingError as error:
                raise ShoreError(f"{self.audience}: {error}") from error
            if self._is_new(record, fresh):
                fresh.append(record)
        return fresh

    def _is_new(self, record: WireRecord, fresh: Sequence[WireRecord]) -> bool:
        if record.dive == NO_DIVE:
            return self._is_new_programme(record, fresh)
        latest = next((earlier for earlier in reversed(fresh) if earlier.dive != NO_DIVE), None)
        if latest is None:
            if (record.dive, record.seq) <= self.history.head:
                self._check_same(record)
                return False
            latest = self._newest()
        _check_follows(record, latest)
        return True

    def _newest(self) -> WireRecord | None:
        dives = self.history.dives
        return decode(dives[-1].frames[-1]) if dives else None

    def _check_same(self, record: WireRecord) -> None:
        dive = self.history.dive(record.dive)
        if dive is None or not 0 <= record.seq < len(dive.frames) or dive.frames[record.seq] != record.data:
            raise ShoreError(
                f"record {record.seq} of dive {record.dive} for {self.audience} differs from the one that this shore "
                "holds and has published: it is never told differently"
            )

    def _is_new_programme(self, record: WireRecord, fresh: Sequence[WireRecord]) -> bool:
        told = [self.history.programme, *(earlier for earlier in fresh if earlier.dive == NO_DIVE)]
        newest = next((earlier for earlier in reversed(told) if earlier is not None), None)
        if record.kind != Kind.PROGRAMME:
            raise ShoreError(f"a record of kind {record.kind} for {self.audience} that is of no dive")
        if newest is not None and record.seq == newest.seq and record.data != newest.data:
            raise ShoreError(f"programme {record.seq} for {self.audience} differs from the one that this shore holds")
        return newest is None or record.seq > newest.seq

    def write(self, fresh: Sequence[WireRecord]) -> None:
        """Make records durable; OSError where the disk doesn't take them, and they count as not held.

        What a failed write left is written over by the next one, for the same records come again.
        """
        of_dives = [record for record in fresh if record.dive != NO_DIVE]
        begun: list[int] = []
        for number, group in groupby(of_dives, key=lambda record: record.dive):
            self._write_dive(number, list(group), begun)
            begun += [] if self.history.dive(number) else [number]
        programmes = [record for record in fresh if record.dive == NO_DIVE]
        if programmes:
            replace_file(self._folder / self.audience / PROGRAMME, programmes[-1].data)

    def _write_dive(self, number: int, records: list[WireRecord], earlier: Sequence[int]) -> None:
        dive = self.history.dive(number)
        before = [] if dive is None else dive.frames
        if dive is None:
            self._write_begun(*earlier, number)
        data = b"".join(record.data for record in records)
        if records[-1].kind == Kind.END:
            data += footer([*before, *(record.data for record in records)])
        _put(recording_path(self._folder, self.audience, number), sum(map(len, before)), data)

    def keep(self, fresh: Iterable[WireRecord]) -> list[Received]:
        """Count durable records as held, and return them as they are published."""
        kept = [Received(self.audience, record.dive, record.seq, record.data) for record in fresh]
        for frame in kept:
            if frame.dive == NO_DIVE:
                self.history.post(frame)
            else:
                self.history.append(frame)
        return kept


def _of(dive: int) -> str:
    return "the programme" if dive == NO_DIVE else f"dive {dive}"


def _check_follows(record: WireRecord, latest: WireRecord | None) -> None:
    """Refuse a record that doesn't come next."""
    begins = latest is None or latest.kind == Kind.END
    if not is_next(record, NOTHING if latest is None else Position(latest.dive, latest.seq), begins):
        due = "the beginning of the next dive" if begins or latest is None else f"{latest.seq + 1} of {latest.dive}"
        raise ShoreError(f"record {record.seq} of {_of(record.dive)} where {due} was due")
    if record.kind == Kind.DIVE:
        body = record.body if isinstance(record.body, dict) else {}
        if body.get("format") != FORMAT or body.get("version") != VERSION:
            raise ShoreError(
                f"the ship sends records of version {body.get('version')}, this shore knows {VERSION}: bring both to "
                "the same release of Offing"
            )


class ShoreLogs:
    """The release logs of one shore below `folder`, which it holds alone."""

    def __init__(self, folder: Path, audiences: Iterable[str], key: bytes) -> None:
        self.folder = folder
        self._logs = {name: AudienceLog(folder, name, key) for name in audiences}
        self._lock: int | None = None
        self.set_aside: list[str] = []

    def open(self) -> None:
        """Read and check everything; `set_aside` says what wasn't right. ShoreError, OSError: it can't be had."""
        self.folder.mkdir(parents=True, exist_ok=True)
        self._lock = os.open(self.folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            self.close()
            raise ShoreError("it is another shore's, which runs: give each its own folder") from None
        try:
            self.set_aside = [words for log in self._logs.values() for words in log.load()]
            self._sync_names()
        except (OSError, ShoreError):
            self.close()
            raise

    def _sync_names(self) -> None:
        """Make durable that the audiences' folders have their names, and the one about them its own."""
        sync_folder(self.folder)
        with contextlib.suppress(PermissionError):  # whoever keeps this one to himself made ours in it
            sync_folder(self.folder.parent)

    def close(self) -> None:
        """Let go of the folder."""
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None

    def histories(self) -> dict[str, History]:
        """Return what is held, by audience."""
        return {name: log.history for name, log in self._logs.items()}

    def write(self, audience: str, frames: Sequence[bytes]) -> list[WireRecord]:
        """Check frames and make durable what is new of them: that is returned. ShoreError: nothing new is held."""
        log = self._logs.get(audience)
        if log is None:
            known = ", ".join(self._logs)
            raise ShoreError(f"this shore takes no audience {audience!r}: its file names {known} in open and invited")
        fresh = log.new(frames)
        try:
            log.write(fresh)
        except OSError as error:
            raise NoRoomError(f"the shore's disk doesn't take what came: {error.strerror}") from error
        return fresh

    def keep(self, audience: str, fresh: Sequence[WireRecord]) -> list[Received]:
        """Count as held what `write` made durable, and return it as it is published."""
        return self._logs[audience].keep(fresh)


def _put(path: Path, at: int, data: bytes) -> None:
    """Write `data` at an offset, with nothing behind it, and make it durable; at 0 the names that lead there, too."""
    path.parent.mkdir(parents=True, exist_ok=True)
    _write(path, at, data)
    if at == 0:
        sync_folder(path.parent)
        sync_folder(path.parent.parent)


def _write(path: Path, at: int, data: bytes) -> None:
    """Write `data` at an offset, with nothing behind it, and wait until it is on the disk."""
    with path.open("r+b" if path.exists() else "w+b") as file:
        file.seek(at)
        file.write(data)
        file.truncate()
        file.flush()
        os.fsync(file.fileno())


def replace_file(path: Path, content: bytes) -> None:
    """Replace a file at once and durably: a kill or a power cut leaves the one before or this one, never a part."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_name(f".{path.name}.new")
    with beside.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)
    sync_folder(path.parent)


def _set_aside(path: Path) -> None:
    """Keep a file beside, under a name that none has: what was set aside before may be the only copy there is."""
    path.replace(_name_aside(path))


def _name_aside(path: Path) -> Path:
    names = (path.with_name(f"{path.name}{ASIDE}{number or ''}") for number in count())
    return next(name for name in names if not name.exists())
