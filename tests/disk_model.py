"""What a disk may hold behind a power cut: a trace of `disk_shim.c` played up to a moment, and what wasn't synced lost.

Rules, each what POSIX lets a system do (fsync(2), and the "Notes" of its Linux manual page):
1. Bytes of a file are certain once a sync of it succeeded after they were written. Before that each sector, of 512 or
   4096 octets, is on the disk as it was at some moment since, and the length as well: where a length is and its bytes
   aren't, there are zeros.
2. A name in a folder (made, linked, renamed, taken away) is certain once the folder was synced. Before that the changes
   of one folder come in their order and end anywhere.
3. After a sync that failed, the bytes it was to write may be on the disk or not, and no later sync makes them certain:
   the kernel has let go of them. Writing them again and syncing does.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum, auto
from pathlib import Path
from random import Random

from failing_disk import Call

SECTORS = (512, 4096)


class Loss(Enum):
    """How much of what is uncertain a cut takes: everything, nothing (as a kill), or some of it by chance."""

    ALL = auto()
    NOTHING = auto()
    SOME = auto()


class Certain(Enum):
    """How a change stands."""

    YES = auto()
    NOT_YET = auto()
    NEVER = auto()


@dataclass(slots=True)
class Change:
    """Bytes at an offset, or (None) a length."""

    at: int
    data: bytes | None
    certain: Certain = Certain.NOT_YET


@dataclass(slots=True)
class File:
    """What is certain of a file, and the changes since, in their order."""

    base: bytearray = field(default_factory=bytearray)
    changes: list[Change] = field(default_factory=list)

    def synced(self, certain: Certain) -> None:
        """Let a sync have come to something."""
        for change in self.changes:
            if change.certain is Certain.NOT_YET:
                change.certain = certain
        while self.changes and self.changes[0].certain is Certain.YES:
            _apply(self.base, self.changes.pop(0))

    def left(self, loss: Loss, chance: Random) -> bytes:
        """Return what a cut may leave."""
        out = bytearray(self.base)
        if loss is Loss.SOME:
            return self._some(chance)
        for change in self.changes:
            if change.certain is Certain.YES or loss is Loss.NOTHING:
                _apply(out, change)
        return bytes(out)

    def _some(self, chance: Random) -> bytes:
        """Return each sector as it was at a moment of its own, with what is certain of it; so the length."""
        sector, whole, versions = chance.choice(SECTORS), bytearray(self.base), [bytes(self.base)]
        for change in self.changes:
            _apply(whole, change)
            versions.append(bytes(whole))
        longest = max(map(len, versions))
        out = bytearray(longest)
        for at in range(0, longest, sector):
            moment = chance.randint(0, len(self.changes))
            part = bytearray(versions[moment][at : at + sector].ljust(sector, b"\0"))
            for change in self.changes[moment:]:
                if change.certain is Certain.YES and change.data is not None:
                    _overlay(part, at, change.at, change.data)
            out[at : at + sector] = part
        certain = [at for at, change in enumerate(self.changes, 1) if change.certain is Certain.YES]
        return bytes(out[: len(versions[chance.randint(max(certain, default=0), len(self.changes))])])


def _overlay(part: bytearray, start: int, at: int, data: bytes) -> None:
    """Put what falls into a sector that begins at `start` there."""
    first, last = max(at, start), min(at + len(data), start + len(part))
    if first < last:
        part[first - start : last - start] = data[first - at : last - at]


def _apply(data: bytearray, change: Change) -> None:
    if change.data is None:
        del data[change.at :]
        data.extend(bytes(max(0, change.at - len(data))))
        return
    data.extend(bytes(max(0, change.at - len(data))))
    data[change.at : change.at + len(change.data)] = change.data


@dataclass(slots=True)
class Folder:
    """Names that are certain, and changes of names since: to what a name leads then, or None."""

    base: dict[str, File | str] = field(default_factory=dict)
    changes: list[dict[str, "File | str | None"]] = field(default_factory=list)
    now: dict[str, File | str] = field(default_factory=dict)

    def change(self, names: dict[str, File | str | None]) -> None:
        """Let names lead elsewhere, all at once."""
        self.changes.append(names)
        _lead(self.now, names)

    def synced(self) -> None:
        """Make all of it certain."""
        self.base, self.changes = dict(self.now), []

    def left(self, loss: Loss, chance: Random) -> dict[str, File | str]:
        """Return the names that a cut may leave."""
        count = {Loss.ALL: 0, Loss.NOTHING: len(self.changes)}.get(loss, chance.randint(0, len(self.changes)))
        out = dict(self.base)
        for names in self.changes[:count]:
            _lead(out, names)
        return out


def _lead(names: dict[str, File | str], changes: dict[str, File | str | None]) -> None:
    for name, to in changes.items():
        if to is None:
            names.pop(name, None)
        else:
            names[name] = to


class Disk:
    """All that lies below `root`, which itself is certain and empty at first."""

    def __init__(self, root: Path) -> None:
        self._root = root
        self._folders = {str(root): Folder()}
        self._files: dict[int, File] = {}
        self._calls: dict[str, Callable[[Call], None]] = {
            "O": self._open, "W": self._write, "T": self._cut, "S": self._sync, "X": self._sync_failed,
            "R": self._rename, "L": self._link, "U": self._unlink, "M": self._make,
        }  # fmt: skip

    def play(self, call: Call) -> None:
        """Let a call have been made."""
        if call.what in self._calls:
            self._calls[call.what](call)

    def _place(self, path: bytes) -> tuple[Folder, str]:
        folder, _, name = path.decode().rpartition("/")
        return self._folders[folder], name

    def _open(self, call: Call) -> None:
        path = call.one.decode()
        if path in self._folders:
            return
        if call.number == 1:
            folder, name = self._place(call.one)
            self._files[call.inode] = File()
            folder.change({name: self._files[call.inode]})
        elif call.inode not in self._files:  # a file that was there before the trace
            self._files[call.inode] = File()
        elif call.number == 2:
            self._files[call.inode].changes.append(Change(0, None))

    def _write(self, call: Call) -> None:
        self._files[call.inode].changes.append(Change(call.number, call.one))

    def _cut(self, call: Call) -> None:
        self._files[call.inode].changes.append(Change(call.number, None))

    def _sync(self, call: Call) -> None:
        if call.one.decode() in self._folders:
            self._folders[call.one.decode()].synced()
        else:
            self._files[call.inode].synced(Certain.YES)

    def _sync_failed(self, call: Call) -> None:
        if call.one.decode() not in self._folders:
            self._files[call.inode].synced(Certain.NEVER)

    def _rename(self, call: Call) -> None:
        (folder, name), (there, target) = self._place(call.one), self._place(call.two)
        assert folder is there, "the relay renames within a folder"
        folder.change({target: folder.now[name], name: None})

    def _link(self, call: Call) -> None:
        (folder, name), (there, target) = self._place(call.one), self._place(call.two)
        there.change({target: folder.now[name]})

    def _unlink(self, call: Call) -> None:
        folder, name = self._place(call.one)
        folder.change({name: None})

    def _make(self, call: Call) -> None:
        folder, name = self._place(call.one)
        self._folders[call.one.decode()] = Folder()
        folder.change({name: call.one.decode()})

    def left(self, loss: Loss, chance: Random, to: Path) -> None:
        """Lay what a cut may leave into a folder that is there."""
        self._lay(self._folders[str(self._root)], loss, chance, to)

    def _lay(self, folder: Folder, loss: Loss, chance: Random, to: Path) -> None:
        for name, leads in sorted(folder.left(loss, chance).items()):
            if isinstance(leads, str):
                (to / name).mkdir(mode=0o700)
                self._lay(self._folders[leads], loss, chance, to / name)
            else:
                (to / name).write_bytes(leads.left(loss, chance))
                (to / name).chmod(0o600)
