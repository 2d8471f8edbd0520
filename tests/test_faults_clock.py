"""The program that steps the clocks of a real relay, in short; a machine that slept; and the shim itself."""

import asyncio
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

import disk_life
from disk_life import Life, SetTime, Told, make_site
from failing_disk import built
from faults_clock import SECOND, Clocks, run
from peers import until
from relay.core.model import RowKind


@pytest.fixture
def short_path() -> Iterator[Path]:
    """Give a folder with a short name: a socket's path has at most 107 octets (unix(7))."""
    with TemporaryDirectory(prefix="offing-") as folder:
        yield Path(folder)


@pytest.mark.slow
def test_stepping_clocks_break_no_rule(short_path: Path) -> None:
    """The wall clock steps and the machine sleeps under a dive: all of it comes, once, in order and not early."""
    outcome = run(2, 3, short_path)
    assert (outcome.tried, outcome.wrong) == (2, [])


def test_shim_sets_two_clocks_and_no_other(tmp_path: Path) -> None:
    """A process that is started with it reads what was added; CLOCK_MONOTONIC stays the machine's."""
    clocks = Clocks(tmp_path / "clocks")
    clocks.set(-3_600 * SECOND, 600 * SECOND)
    read = "import time; print(*(time.clock_gettime(c) for c in (0, time.CLOCK_BOOTTIME, time.CLOCK_MONOTONIC)))"
    ours = {**os.environ, "LD_PRELOAD": str(built(tmp_path, "clock_shim")), "OFFING_TEST_CLOCKS": str(clocks.path)}
    which = (time.CLOCK_REALTIME, time.CLOCK_BOOTTIME, time.CLOCK_MONOTONIC)
    before = [time.clock_gettime(clock) for clock in which]
    told = subprocess.run([sys.executable, "-c", read], env=ours, capture_output=True, text=True, check=True).stdout
    after = [time.clock_gettime(clock) for clock in which]
    added = (-3_600.0, 600.0, 0.0)
    for least, most, found, more in zip(before, after, map(float, told.split()), added, strict=True):
        assert least + more <= found <= most + more


async def test_machine_that_slept_releases_soon_after(short_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """What fell due during a sleep leaves at the next beat, though waits are counted on a clock that stood still.

    CLOCK_BOOTTIME goes on while a machine is suspended and CLOCK_MONOTONIC doesn't: clock_gettime(2).
    """
    text = disk_life.TEXT.replace('delay = "4 s"', 'delay = "40 min"').replace('delay = "9 s"', 'delay = "40 min"')
    monkeypatch.setattr(disk_life, "TEXT", text)
    notes: list[bytes] = []
    clock = SetTime()
    life = Life(make_site(short_path), clock, Told(notes.append))
    await life.begin()
    serving = asyncio.ensure_future(life.ship.serve())
    assert life.ship._journal is not None
    life.ship._journal.append("station", RowKind.STREAM, disk_life.station(1, "Lantern", 4.0))
    await life.ship._journal.settled()
    await until(lambda: not life.ship._wake.is_set())  # it has taken the row, and waits for 40 minutes
    clock.true_us += 3_000 * SECOND
    async with asyncio.timeout(60):
        await until(lambda: any(b"released" in note for note in notes))
    serving.cancel()
    await asyncio.gather(serving, return_exceptions=True)
    await life.end()
