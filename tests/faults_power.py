"""Power cuts: the scripted day is lived once under a shim that tells every call, and cut at many moments of it.

At each moment the disk is laid out as `disk_model.py` says a cut may leave it; the relay is started on that, as after a
reboot, sees the rest of the day, and `disk_checks.py` looks at what is left. What it had released or acknowledged
before the cut is owed, the same bytes; what wasn't synced isn't. Half of the days have a failed sync somewhere. Over
what each cut left in the end, and over each day, `invariants.py` looks at the rules.
"""

import errno
import json
import os
import random
import shutil
import time
from functools import partial
from pathlib import Path
from typing import Any

import msgpack

from disk_checks import wrong_after, wrong_by_the_rules
from disk_life import END_US, SECOND, SetTime, Told, day, lived, make_site, noted, opened
from disk_model import Disk, Loss
from failing_disk import SYNC, Call, FailingDisk, Share, in_shares, scratch, share_of, traced
from fault_outcome import Outcome

CUTS, CUTS_A_DAY = 2_000, 40
AFTER_US = 30 * SECOND
LOSSES = (Loss.ALL, Loss.SOME, Loss.SOME, Loss.SOME, Loss.NOTHING)


async def whole_day(path: Path, trace: Path, fails: int, told: Told) -> None:
    """Live through the day, all that is done to the disk told to `trace`; the sync of a number fails (0: none)."""
    disk = FailingDisk()
    out = os.open(trace, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    told.keep = disk.note
    disk.arm(SYNC, fails, 1, errno.EIO)
    disk.trace(out)
    life = await opened(path, SetTime(), told)
    await life.play(day(), END_US)
    await life.settle()
    await life.end()


async def rest_of_day(path: Path, since_us: int, told: Told) -> None:
    """Start on what a cut at a moment left, three seconds later and after a reboot, and see the day to its end."""
    at_us = since_us + 3 * SECOND
    life = await opened(path, SetTime("boot 1", at_us, at_us - 12 * SECOND), told)
    await life.play(day(), max(at_us, END_US) + AFTER_US)
    await life.settle()
    await life.end()


def cut(site: Path, calls: list[Call], at: int, loss: Loss, place: Path, chance: random.Random) -> list[str]:
    """Cut the power before a call, go on, and return what was wrong."""
    disk = Disk(site)
    for call in calls[:at]:
        disk.play(call)
    notes = [msgpack.unpackb(call.one) for call in calls[:at] if call.what == "N"]
    path, file = place / "site" / "EXPEDITION.toml", place / "notes"
    disk.left(loss, chance, path.parent)
    make_site(path.parent)
    file.write_bytes(b"".join(map(msgpack.packb, notes)))
    end = lived(partial(rest_of_day, path, moment(notes)), file, chance.randrange(1 << 30))
    told = noted(file)
    wrong = [*wrong_after(path, told, power_cut=True), *wrong_by_the_rules(place, told, power_cut=True)]
    return [*filter(None, [end]), *wrong]


def moment(notes: list[list[Any]]) -> int:
    """Return when the last note was made."""
    at = {"released": 5, "comes": 1, "closed": 1, "started": 1, "opening": 1, "accepted": 1, "answered": 1, "alarms": 1}
    return max((note[at[note[0]]] for note in notes if note[0] in at), default=0)


def one_day(share: Share, number: int, cuts: int, chance: random.Random) -> None:
    """Live through a day, cut it, and print what came of each cut, a JSON line."""
    place = scratch(share.folder / f"day-{number}")
    path, trace, disk = make_site(place / "site"), place / "trace", FailingDisk()
    disk.watch(path.parent)
    fails = chance.randint(1, 120) if number % 2 else 0
    end = lived(partial(whole_day, path, trace, fails), place / "notes", chance.randrange(1 << 30))
    calls = list(traced(trace.read_bytes()))
    notes = [*(msgpack.unpackb(call.one) for call in calls if call.what == "N"), *noted(place / "notes")]
    wrong = [*filter(None, [end]), *wrong_after(path, notes), *wrong_by_the_rules(place, notes)]
    print(json.dumps([f"day {number}, sync {fails} fails", wrong]), flush=True)
    for _ in range(cuts):
        at, loss = chance.randint(1, len(calls)), chance.choice(LOSSES)
        away = scratch(place / "cut")
        wrong = cut(path.parent, calls, at, loss, away, chance)
        told = f"cut before call {at} of {len(calls)}, {loss.name.lower()} lost, sync {fails} fails"
        print(json.dumps([told, wrong]), flush=True)
        shutil.rmtree(away)
    shutil.rmtree(place)


def serve(share: Share) -> None:
    """Cut this process's share of days."""
    for number in range(-(-share.count // CUTS_A_DAY)):
        if share.has(number):
            chance = random.Random(share.seed * 1_000 + number)
            one_day(share, number, min(CUTS_A_DAY, share.count - number * CUTS_A_DAY), chance)


def run(count: int, seed: int, folder: Path) -> Outcome:
    """Cut the power `count` times (0: two thousand times)."""
    begun_s, wrong, done, asked = time.monotonic(), [], 0, count or CUTS
    for fault, found in in_shares(Path(__file__), asked, seed, folder):
        done += fault.startswith("cut")
        wrong += [f"{fault}: {words}" for words in found]
    return Outcome("power cuts", done, asked, wrong, time.monotonic() - begun_s, done)


if __name__ == "__main__":
    serve(share_of())
