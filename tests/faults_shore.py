"""A shore's release logs and its list of guests on a bad disk: each call fails in its turn, or power goes before it.

Run by `run_faults.py`; by itself this file is one of the processes in which the shim is preloaded. A day ashore is two
dives, programmes and two lists of guests, in parts as a link brings them; a part that isn't taken comes again, as from
the ship. What was taken counts as held: after each fault, and after a start behind each cut, all of it must be there,
and the day goes on to an end at which every file is what the ship signed.
"""

import asyncio
import errno
import json
import random
import time
from collections.abc import Callable
from pathlib import Path

from disk_model import Disk, Loss
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
    traced,
)
from fault_outcome import Outcome
from faults_disk import NAMES, Fault
from guests_of import ADA, BOB, EVE
from relay.core.errors import NoRoomError
from relay.core.guests import Guest, Listing, write_listing
from relay.core.wire import footer
from relay.shell.released.programme_file import NAME as PROGRAMME
from relay.shell.released.recording import recording_path
from relay.shell.shore.shore_guests import LISTING, ShoreGuests
from relay.shell.shore.shore_logs import ShoreLogs
from relay.shell.site.attendance import Attendance
from relay.shell.site.guest_door import GuestDoor
from released import dive, programme
from shores import SIGNER, sealed

TRIES = 3
AUDIENCES = ("public", "funders")
FIRST, SECOND = sealed(dive(1, 4)), sealed(dive(2, 3))
FUNDERS = sealed(dive(1, 2, audience="funders"))
SOON, NOW = sealed([programme(0, "Soon."), programme(1, "Now.")])
PARTS = (
    ("public", [*FIRST[:2], SOON]),
    ("funders", FUNDERS),
    ("public", FIRST[2:]),
    ("public", SECOND[:3]),
    ("public", [*SECOND[3:], NOW]),
)
WHOLE = {("public", 1): FIRST, ("public", 2): SECOND, ("funders", 1): FUNDERS}
LOSSES = (Loss.ALL, Loss.NOTHING, Loss.SOME, Loss.SOME)


def _listing(number: int, *guests: Guest) -> bytes:
    return write_listing(Listing(number, {guest.id: guest for guest in guests}), SIGNER)


LISTS = (_listing(1, ADA, BOB), _listing(2, ADA, EVE))


async def day_ashore(folder: Path, held: Callable[[int], None], mend: Callable[[], None] = lambda: None) -> None:
    """Take the day's parts, telling `held` how many are, and end it; `mend` ends a fault that lasts."""
    door = GuestDoor(Attendance(0))
    door.trust(SIGNER.key)
    logs, guests = ShoreLogs(folder, AUDIENCES, SIGNER.key), ShoreGuests(door, folder)
    try:
        logs.open()
    except OSError:
        mend()
        logs.open()
    await guests.start()
    try:
        for number, (audience, frames) in enumerate(PARTS, 1):
            if number in (2, 4):
                guests.take(LISTS[number // 2 - 1])
                await asyncio.sleep(0)
            _take(logs, audience, frames, mend)
            held(number)
    finally:
        mend()
        await guests.close()
        logs.close()


def _take(logs: ShoreLogs, audience: str, frames: list[bytes], mend: Callable[[], None]) -> None:
    for tried in range(TRIES + 1):
        if tried == TRIES:
            mend()
        try:
            logs.keep(audience, logs.write(audience, frames))
        except NoRoomError:
            continue
        return
    raise AssertionError("a good disk takes nothing")


def missing(folder: Path, held: int, *, power_cut: bool = False) -> list[str]:
    """Return what a start doesn't find of the parts that were held, or finds otherwise."""
    logs = ShoreLogs(folder, AUDIENCES, SIGNER.key)
    logs.open()
    logs.close()
    there = {frame for history in logs.histories().values() for one in history.dives for frame in one.frames}
    programmes = {SOON, NOW}
    owed = [frame for _, frames in PARTS[:held] for frame in frames if frame not in programmes]
    wrong = [] if power_cut else [f"set aside: {words}" for words in logs.set_aside]
    wrong += [f"{sum(frame not in there for frame in owed)} records that were held are lost"] * (not there >= {*owed})
    told = logs.histories()["public"].programme
    if held and (told is None or (held == len(PARTS) and told.data != NOW)):
        wrong.append("a programme that was held is lost")
    return wrong


def unlike(folder: Path) -> list[str]:
    """Return which files aren't what the ship signed, once the day is over."""
    files = {recording_path(folder, *dive): b"".join(frames) + footer(frames) for dive, frames in WHOLE.items()}
    files |= {folder / "public" / PROGRAMME: NOW, folder / LISTING: LISTS[-1]}
    return [f"{path.name} isn't what the ship signed" for path, data in files.items() if path.read_bytes() != data]


def faults(disk: FailingDisk, folder: Path) -> list[Fault]:
    """Return every fault of the day, after a day without one."""
    disk.watch(folder)
    for kind in NAMES:
        disk.arm(kind, FOR_EVER, 1, 0)
    asyncio.run(day_ashore(folder, lambda _: None))
    assert unlike(folder) == []
    every = []
    for kind, errors in ((ROOM, (errno.ENOSPC,)), (SYNC, (errno.EIO,)), (SHORT, (0, errno.ENOSPC))):
        for number in range(1, disk.calls(kind) + 1):
            every += [Fault(kind, number, error, lasts) for error in errors for lasts in (False, True)]
    return every


def tried(disk: FailingDisk, folder: Path, fault: Fault) -> list[str]:
    """Live through a day with a fault, start again, and return what was wrong."""
    disk.watch(folder)

    def mend() -> None:
        for kind in NAMES:
            disk.arm(kind, 0, 0, 0)

    disk.arm(fault.kind, fault.number, FOR_EVER if fault.lasts else 1, fault.error)
    asyncio.run(day_ashore(folder, lambda _: None, mend))
    return [*missing(folder, len(PARTS)), *unlike(folder)]


def cuts(disk: FailingDisk, place: Path, unsynced: int, chance: random.Random) -> list[tuple[str, list[str]]]:
    """Cut the power before each call of a day in which the sync of a number fails; return what was wrong after each."""
    folder, trace, out = place / "site", place / "trace", list[tuple[str, list[str]]]()
    disk.watch(folder)
    with trace.open("wb", buffering=0) as file:
        disk.arm(SYNC, unsynced, 1, errno.EIO)
        disk.trace(file.fileno())
        asyncio.run(day_ashore(folder, lambda number: disk.note(bytes([number]))))
        disk.trace(-1)
    disk.arm(SYNC, 0, 0, 0)
    calls = list(traced(trace.read_bytes()))
    out.append((f"{len(calls)}{TO_TRY}", []))
    for at in range(1, len(calls) + 1):
        there, loss = Disk(folder), chance.choice(LOSSES)
        for call in calls[:at]:
            there.play(call)
        held = max((call.one[0] for call in calls[:at] if call.what == "N"), default=0)
        (left := place / f"cut-{at}").mkdir()
        there.left(loss, chance, left)
        wrong = missing(left, held, power_cut=True)
        asyncio.run(day_ashore(left, lambda _: None))
        told = f"cut before call {at} of {len(calls)}, {loss.name.lower()} lost, sync {unsynced} fails"
        out.append((told, wrong + unlike(left)))
    return out


def serve(share: Share) -> None:
    """Try a share of the faults and cuts; print how many they are, and what came of each, a JSON line."""
    disk, chance = FailingDisk(), random.Random(share.seed * 1_000 + share.number)
    every = faults(disk, scratch(share.folder / "count") / "site")
    syncs = max(fault.number for fault in every if fault.kind == SYNC)
    random.Random(share.seed).shuffle(every)
    mine = [(at, fault) for at, fault in enumerate(every[: share.count or None]) if share.has(at)]
    print(json.dumps([f"{len(mine)}{TO_TRY}", []]), flush=True)
    for at, fault in mine:
        place = scratch(share.folder / f"fault-{at}")
        print(json.dumps([f"ashore, {fault}", tried(disk, place / "site", fault)]), flush=True)
        share.clear(place)
    for unsynced in range(syncs + 1 if not share.count else 2):
        if share.has(unsynced):
            place = scratch(share.folder / f"cuts-{unsynced}")
            for told, wrong in cuts(disk, place, unsynced, chance):
                print(json.dumps([told if told.endswith(TO_TRY) else f"ashore, {told}", wrong]), flush=True)
            share.clear(place)


def run(count: int, seed: int, folder: Path) -> Outcome:
    """Try `count` faults (0: all), and cut the power at every call of two days (0: of a day for each failing sync)."""
    begun_s = time.monotonic()
    wrong, done, asked = counted_shares(in_shares(Path(__file__), count, seed, folder))
    return Outcome("a shore's disk", done, asked, wrong, time.monotonic() - begun_s)


if __name__ == "__main__":
    serve(share_of())
