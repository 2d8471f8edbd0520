"""The program that steps the clocks of a real relay, in short; a machine that slept; and the shim itself."""

import asyncio
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

import disk_life
import faults_clock
from disk_life import Life, SetTime, Told, make_site
from failing_disk import built
from faults_clock import KINDS, SECOND, Clocks, run, station, stopped
from left_behind import SAID
from peers import until
from relay.core.model import RowKind
from ship_process import ShipProcess


@pytest.fixture
def short_path() -> Iterator[Path]:
    """Give a folder with a short name: a socket's path has at most 107 octets (unix(7))."""
    with TemporaryDirectory(prefix="offing-") as folder:
        yield Path(folder)


@pytest.mark.slow
def test_stepping_clocks_break_no_rule(short_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The wall clock steps and the machine sleeps under a dive: all of it comes, once, in order and not early.

    Of four faults each is of another kind.
    """
    made: list[str] = []

    async def fault(
        kind: str, ship: ShipProcess, clocks: Clocks, chance: random.Random, taken: Callable[[], bool]
    ) -> None:
        made.append(kind)
        await right(kind, ship, clocks, chance, taken)

    right = faults_clock.fault
    monkeypatch.setattr(faults_clock, "fault", fault)
    outcome = run(2, 15, short_path, at_once=3)
    assert (outcome.tried, outcome.looked, outcome.wrong) == (4, 3, [])
    assert sorted(made) == sorted(KINDS)
    assert (short_path / SAID / "ship").stat().st_size


@pytest.mark.slow
async def test_whatever_comes_back_at_a_station_is_held_against_a_run(
    short_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A station that hears something: it is what the run leaves, and the rules say so."""

    async def hears(port: int, clocks: Clocks, sent: list[tuple[int, bytes]], came: bytearray) -> None:
        came += b"who is there?"
        await station(port, clocks, sent, came)

    monkeypatch.setattr(faults_clock, "station", hears)
    tried, wrong = await faults_clock.voyage(0, 3, short_path)
    assert tried == 0
    assert wrong == ["R6: 13 bytes came back at a station: b'who is there?'"]


async def test_clock_goes_back_with_no_report_on_its_way(short_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A relay that stood still has the last report in its journal, on the clock as it was, before that goes back."""

    async def held_up(
        kind: str, ship: ShipProcess, clocks: Clocks, chance: random.Random, taken: Callable[[], bool]
    ) -> None:
        assert ship.process is not None
        await stopped(ship)
        await until(lambda: not taken())  # a report is on its way
        making = asyncio.ensure_future(right("back", ship, clocks, chance, taken))
        await until(clocks.nothing_sent.locked)
        ship.process.send_signal(signal.SIGCONT)
        await making
        assert clocks.sleep_us == -SECOND

    right = faults_clock.fault
    monkeypatch.setattr(faults_clock, "fault", held_up)
    assert await faults_clock.voyage(1, 3, short_path) == (1, [])


async def test_station_hears_all_that_comes_back(tmp_path: Path) -> None:
    """What a relay says while reports come, and what it says behind the last one, before it closes."""

    async def talkative(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readline()
        writer.write(b"more")
        await reader.read()
        writer.write(b", please")
        writer.close()

    server = await asyncio.start_server(talkative, "127.0.0.1", 0)
    sent, came = list[tuple[int, bytes]](), bytearray()
    port = server.sockets[0].getsockname()[1]
    sending = asyncio.ensure_future(station(port, Clocks(tmp_path / "clocks"), sent, came))
    await until(lambda: came == b"more")
    sending.cancel()
    await asyncio.gather(sending, return_exceptions=True)
    server.close()
    assert sent and came == b"more, please"


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
