"""Released records on their way out: encoded and signed once, recorded, handed on.

One outlet for the ship and for a rehearsal, so that both write the same files.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from relay.core.channel import Due
from relay.core.release import Kind, ReleasedRecord
from relay.core.seal import Signer
from relay.core.wire import encode
from relay.shell.released.programme_file import ProgrammeFile
from relay.shell.released.recording import Recorder, recording_path, told


@dataclass(frozen=True, slots=True)
class Frame:
    """A released record as bytes, and when it left on the embargo clock (microseconds)."""

    audience: str
    dive: int
    seq: int
    closes: bool
    instant_us: int
    data: bytes


class Outlet:
    """Signs every frame for its audience, writes the recordings below `folder` and hands the frames to `onward`."""

    def __init__(self, folder: Path, signer: Signer, onward: Callable[[Frame], None]) -> None:
        self._folder, self._signer, self._onward = folder, signer, onward
        self._open: dict[str, Recorder] = {}
        self._unkept: list[Recorder] = []
        self._dives: dict[str, int] = {}
        self._programmes: dict[str, ProgrammeFile] = {}
        self._follows: dict[Path, bool] = {}

    @property
    def faults(self) -> list[str]:
        """What is wrong with recordings at the moment, in words: while there is anything, not all of it is kept."""
        faults = [file.fault for file in self._files()]
        return [fault for fault in faults if fault]

    def retry(self) -> None:
        """Try again to write what the disk didn't take, that of dives that are over as well."""
        for file in self._files():
            file.retry()
        self._unkept = [recorder for recorder in self._unkept if recorder.fault]

    def _files(self) -> Iterator[Recorder | ProgrammeFile]:
        yield from self._unkept
        yield from self._open.values()
        yield from self._programmes.values()

    def release(self, due: Due) -> None:
        """Send one record on its way; RegrownError if what was kept already tells it differently."""
        record = due.record
        if record.kind is Kind.PROGRAMME:
            self._post(record, due.instant_us)
            return
        frame = self._frame(record, due.instant_us)
        if record.kind is Kind.DIVE:
            if (before := self._open.get(record.audience)) is not None and before.fault:
                self._unkept.append(before)
            self._open[record.audience] = Recorder(recording_path(self._folder, record.audience, record.dive))
            self._dives[record.audience] = record.dive
        recorder = self._open[record.audience]
        recorder.add(frame.data)
        if frame.closes:
            recorder.close()
        self._onward(frame)

    def _post(self, record: ReleasedRecord, instant_us: int) -> None:
        frame = self._frame(record, instant_us)
        self._programme(record.audience).put(record.seq, frame.data)
        self._onward(frame)

    def _frame(self, record: ReleasedRecord, instant_us: int) -> Frame:
        data = self._signer.seal(record.audience, encode(record))
        return Frame(record.audience, record.dive, record.seq, record.kind is Kind.END, instant_us, data)

    def _programme(self, audience: str) -> ProgrammeFile:
        if audience not in self._programmes:
            self._programmes[audience] = ProgrammeFile(self._folder, audience)
        return self._programmes[audience]

    def owes(self, audience: str, next_dive: int, of_programmes: bool = True) -> bool:
        """Return whether an audience was told more, before a restart, than has been released to it again.

        Cheap enough to be asked for every row: a file that isn't open yet is read once, for nobody else writes it.
        `next_dive`: the one under way or the one that is next. `of_programmes`: False where it is told none any more.
        """
        recorder = self._open.get(audience)
        if (of_programmes and self._programme(audience).owes) or (recorder is not None and recorder.owes):
            return True
        follows = recording_path(self._folder, audience, max(next_dive, self._dives.get(audience, 0) + 1))
        if follows not in self._follows:
            self._follows[follows] = told(follows) != b""
        return self._follows[follows]
