"""Full disks and disks that lie: every write, and every sync, of a scripted day fails in its turn.

Run by `run_faults.py`; by itself this file is one of the processes in which the shim is preloaded. A fault is a kind
(ROOM, SYNC or SHORT), the number of the call, and the error. The sorts: a disk that is full for one call (ENOSPC), one
that is full from a call on for eight seconds of the day, a sync that fails (EIO), alone or with those of eight seconds,
and half a write, whose rest goes or finds the disk full for as long. After each the relay closes, is
started on the same files without a fault, and `disk_checks.py` looks at all that is left, and `invariants.py`.
A disk that turned read-only (EROFS) is as one that is full. Last comes a real small disk.
"""

import errno
import json
import os
import random
import time
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from disk_checks import wrong_after, wrong_by_the_rules
from disk_life import END_US, SECOND, SetTime, Told, day, lived, make_site, noted, opened
from failing_disk import (
    FOR_EVER,
    ROOM,
    SHORT,
    SYNC,
    TO_TRY,
    FailingDisk,
    Share,
    counted_shares,
    in_shares,
    scratch,
    share_of,
)
from fault_outcome import Outcome
from small_disk import in_a_namespace, possible

FULL_US = 8 * SECOND
NAMES = {ROOM: "write", SYNC: "sync", SHORT: "half of write"}


@dataclass(frozen=True, slots=True)
class Fault:
    """Which call fails, and how; `lasts`: so do those after it, until the disk has room again."""

    kind: int
    number: int
    error: int
    lasts: bool = False

    def __str__(self) -> str:
        how = "and those of 8 s after it" if self.lasts else "alone"
        return f"{NAMES[self.kind]} {self.number} {how}: {os.strerror(self.error) if self.error else 'the rest goes'}"


def faults(rooms: int, syncs: int, halves: int) -> list[Fault]:
    """Return every fault of a day with so many writes, syncs, and writes that can be done by half."""
    once = [Fault(ROOM, number, errno.ENOSPC) for number in range(1, rooms + 1)]
    full = [Fault(ROOM, number, errno.ENOSPC, lasts=True) for number in range(1, rooms + 1)]
    full += [Fault(ROOM, number, errno.EROFS, lasts=True) for number in range(2, rooms + 1, 9)]
    unsynced = [Fault(SYNC, number, errno.EIO, lasts) for number in range(1, syncs + 1) for lasts in (False, True)]
    half = [Fault(SHORT, number, 0) for number in range(1, halves + 1, 2)]
    half += [Fault(SHORT, number, errno.ENOSPC, lasts=True) for number in range(2, halves + 1, 2)]
    return once + full + unsynced + half


class Mender:
    """Ends a fault: when the relay refuses to start, or eight seconds of the day after its first call failed."""

    def __init__(self, disk: FailingDisk, fault: Fault) -> None:
        self._disk, self._fault = disk, fault
        self._since_us: int | None = None

    def begin(self) -> None:
        """Let the disk fail from now on."""
        self._disk.arm(self._fault.kind, self._fault.number, FOR_EVER if self._fault.lasts else 1, self._fault.error)

    def turn(self, now_us: int) -> None:
        """Look at the time."""
        if self._fault.lasts and self._disk.calls(self._fault.kind) >= self._fault.number:
            self._since_us = self._since_us or now_us
            if now_us >= self._since_us + FULL_US:
                self.end()

    def end(self) -> None:
        """Let the disk be good."""
        for kind in NAMES:
            self._disk.arm(kind, 0, 0, 0)


async def first_life(path: Path, mender: Mender, told: Told) -> None:
    """Live through the day with a fault, and close."""
    mender.begin()
    life = await opened(path, SetTime(), told, mender.end)
    await life.play(day(), END_US - 12 * SECOND, mender.turn)
    mender.end()
    await life.settle()
    await life.play([], END_US)
    await life.end()


async def last_life(path: Path, told: Told) -> None:
    """Start once more on what is left, as after a reboot, and close."""
    life = await opened(path, SetTime("boot 1", END_US, END_US - 9), told)
    await life.play([], END_US + 20 * SECOND)
    await life.end()


def tried(folder: Path, disk: FailingDisk, fault: Fault, seed: int) -> list[str]:
    """Live twice, and return what was wrong."""
    path, notes = make_site(folder / "site"), folder / "notes"
    disk.watch(path.parent)
    lives = partial(first_life, path, Mender(disk, fault)), partial(last_life, path)
    ends = [lived(life, notes, seed + at) for at, life in enumerate(lives)]
    told = noted(notes)
    return [*filter(None, ends), *wrong_after(path, told), *wrong_by_the_rules(folder, told)]


def counted(folder: Path, disk: FailingDisk) -> list[int]:
    """Return how many writes, syncs, and writes of more than an octet a day without a fault has."""
    path, counts = make_site(folder / "site"), folder / "counts"
    disk.watch(path.parent)

    async def live(told: Told) -> None:
        for kind in (SYNC, SHORT):
            disk.arm(kind, FOR_EVER, 1, 0)
        await first_life(path, Mender(disk, Fault(ROOM, FOR_EVER, 0)), told)
        counts.write_text(json.dumps([disk.calls(kind) for kind in (ROOM, SYNC, SHORT)]))

    assert not lived(live, folder / "notes", 1)
    return list(json.loads(counts.read_text()))


def chosen(folder: Path, disk: FailingDisk, share: Share) -> list[tuple[int, Fault]]:
    """Return this process's share of the faults: `count` of all there are (0: all), by chance."""
    every = faults(*counted(scratch(folder / "count"), disk))
    random.Random(share.seed).shuffle(every)
    return [pair for pair in enumerate(every[: share.count or None]) if share.has(pair[0])]


def serve(share: Share) -> None:
    """Try a share of the faults and print how many they are and what came of each, a JSON line."""
    disk = FailingDisk()
    mine = chosen(share.folder, disk, share)
    print(json.dumps([f"{len(mine)}{TO_TRY}", []]), flush=True)
    for at, fault in mine:
        place = scratch(share.folder / f"fault-{at}")
        print(json.dumps([str(fault), tried(place, disk, fault, share.seed)]), flush=True)
        share.clear(place)


def run(count: int, seed: int, folder: Path) -> Outcome:
    """Try `count` faults (0: all)."""
    begun_s = time.monotonic()
    wrong, done, asked = counted_shares(in_shares(Path(__file__), count, seed, folder))
    looked = done
    if why_not := possible():
        print(f"no real small disk: {why_not}", flush=True)
    else:
        (small := folder / "small").mkdir()
        done, asked, looked = done + 2, asked + 2, looked + 1
        wrong += [f"a small disk: {words}" for words in in_a_namespace(small)]
    return Outcome("full disk and failing syncs", done, asked, wrong, time.monotonic() - begun_s, looked)


if __name__ == "__main__":
    serve(share_of())
