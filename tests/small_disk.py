"""A real small disk, really full and really read-only, under a real ship's relay: `python tests/small_disk.py FOLDER`.

It mounts a tmpfs of a few MiB in a mount namespace of its own (unshare(1), mount(8); it needs root and ends with the
process). There a file takes all the room that there is while a station sends; then it goes, and all must be there. Then
the relay is killed, the disk made read-only (`mount -o remount,ro`), and the relay must refuse to start, in words; made
writable again, it goes on. `invariants.py` looks at what is left. What was wrong is printed, a line each.
"""

import asyncio
import contextlib
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from faults_clock import Clocks, Noted, station
from invariants import check
from left_behind import RECEIPTS, SAID, SENT, WRITTEN, note
from peers import until
from ship_process import Follower, ShipProcess, free_port, ship_process
from what_ran import Ran

SIZE = "6m"
PATIENCE_S = 120


def possible() -> str:
    """Return why it can't be done here, "" if it can."""
    if os.geteuid() != 0 or shutil.which("unshare") is None:
        return "a mount namespace needs root and unshare(1)"
    tried = subprocess.run(
        ["unshare", "--mount", "mount", "-t", "tmpfs", "tmpfs", "/mnt"], capture_output=True, check=False
    )
    return "" if tried.returncode == 0 else f"no mount here: {tried.stderr.decode().strip()}"


def in_a_namespace(folder: Path) -> list[str]:
    """Run this file in a mount namespace and return what was wrong."""
    command = ["unshare", "--mount", sys.executable, __file__, str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return done.stdout.splitlines() + (
        [f"it ended with {done.returncode}: {done.stderr[-2_000:]}"] * bool(done.returncode)
    )


def mount(*how: str) -> None:
    """Call mount(8)."""
    subprocess.run(["mount", *how], check=True)


async def soon(condition: Callable[[], bool]) -> None:
    """Wait for something that must come."""
    async with asyncio.timeout(PATIENCE_S):
        await until(condition)


def filled(path: Path) -> None:
    """Write a file until the disk takes no more."""
    with path.open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while file.write(bytes(4096)):
            pass


async def full(ship: ShipProcess, site: Path, got: Noted, sent: list[tuple[int, bytes]]) -> list[str]:
    """Fill the disk and empty it again; return what was wrong."""
    filled(site / "filler")
    await soon(lambda: any("can't be written: database or disk is full" in line for line in ship.words))
    upto, before = len(sent), got.notes()
    await soon(lambda: len(sent) > upto + 40)
    wrong = [] if got.notes() <= upto else [f"{got.notes() - before} annotations left while the disk was full"]
    (site / "filler").unlink()
    taken = len(sent)
    await soon(lambda: got.notes() > taken)
    return wrong


async def read_only(ship: ShipProcess, site: Path) -> list[str]:
    """Kill the relay, start it on a read-only disk and on a good one; return what was wrong."""
    await ship.stop(signal.SIGKILL)
    mount("-o", "remount,ro", str(site))
    command = [sys.executable, "-m", "relay", "ship", str(ship.expedition)]
    process = await asyncio.create_subprocess_exec(*command, stdout=-1, stderr=-1)
    _, words = await asyncio.wait_for(process.communicate(), PATIENCE_S)
    mount("-o", "remount,rw", str(site))
    ship.words += words.decode().splitlines(keepends=True)
    await ship.start()
    if process.returncode != 2 or b"Read-only file system" not in words or b"Traceback" in words:
        return [f"on a read-only disk it ended with {process.returncode}: {words.decode()[-400:]!r}"]
    return []


async def voyage(folder: Path) -> list[str]:
    """Relay part of a dive through both, and return what was wrong."""
    site, port, sent, came = folder / "site", free_port(), list[tuple[int, bytes]](), bytearray()
    site.mkdir()
    mount("-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", str(site))
    clocks, source = Clocks(folder / "clocks"), f"tcp-listen://127.0.0.1:{port}"
    got = Noted(clocks)
    async with ship_process(site, feed_format="station-json", source=source, delay="2 s", quiet="10 min") as ship:
        following = asyncio.create_task(Follower(ship.port, frames=got).follow())
        sending = asyncio.ensure_future(station(port, clocks, sent, came))
        await soon(lambda: got.notes() > 3)
        wrong = await full(ship, site, got, sent)
        sending.cancel()
        await asyncio.gather(sending, return_exceptions=True)
        taken = len(sent)
        await soon(lambda: got.notes() >= taken)
        wrong += await read_only(ship, site)
        sending = asyncio.ensure_future(station(port, clocks, sent, came))
        stopped_us = clocks.boot_us()
        await soon(lambda: got.notes() > taken + 5)
        sending.cancel()
        following.cancel()
        await asyncio.gather(sending, following, return_exceptions=True)
    note(folder / SENT / "input.msgpack", sent)
    note(folder / RECEIPTS / "follower-left-1.msgpack", got.came)
    ship.leave_words(folder / SAID)
    Ran(("follower-left-1",), ("input",), stopped_us=stopped_us).write(folder)
    (folder / WRITTEN).write_bytes(came)
    return wrong + check(folder)


if __name__ == "__main__":
    print("\n".join(asyncio.run(voyage(Path(sys.argv[1]).resolve()))), end="")
