"""Clocks that step and a machine that sleeps: a real ship's relay under `clock_shim.c`, a station and a follower.

Four sorts of fault, by chance: the wall clock set forwards or back by hours; the machine asleep for seconds to a
minute (the process stopped, CLOCK_BOOTTIME and the wall clock further when it goes on, as clock_gettime(2) has it); the
same with the wall clock set back meanwhile; and CLOCK_BOOTTIME back by a second, which no kernel does. After each the
follower must get on. One voyage has all faults, one upon the other; then each of as many voyages has one of its own:
`invariants.py` looks at the rules once a voyage has ended, all moments on the clocks as the relay had them. Voyages
mostly wait: some may be under way at once, each with clocks of its own.
"""

import asyncio
import json
import mmap
import random
import shutil
import signal
import struct
import time
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path

import msgpack

from failing_disk import built
from fault_outcome import Outcome
from invariants import check
from left_behind import RECEIPTS, SAID, SENT, WRITTEN, boot_us, note
from peers import until
from relay.shell.record.journal import read_rows
from ship_process import Follower, ShipProcess, dialled, free_port, ship_process
from what_ran import Ran

FAULTS = 40
KINDS = ("wall", "sleep", "sleep, wall back", "back")
SECOND = 1_000_000
HOUR = 3_600 * SECOND
QUIET_US = 600 * SECOND
NOTE = 2
PATIENCE_S = 120


class Clocks:
    """What is added to the machine's clocks, in microseconds: in a file that the relay has mapped.

    `nothing_sent`: who holds it keeps the station from sending.
    """

    def __init__(self, path: Path) -> None:
        path.write_bytes(bytes(16))
        with path.open("r+b") as file:
            self._shared = mmap.mmap(file.fileno(), 16)
        self.path, self.wall_us, self.sleep_us, self._high_us = path, 0, 0, 0
        self.nothing_sent = asyncio.Lock()

    def set(self, wall_us: int, sleep_us: int) -> None:
        """Add so much from now on."""
        self._high_us = self.high_us()
        self.wall_us, self.sleep_us = wall_us, sleep_us
        self._shared[:] = struct.pack("=qq", wall_us * 1_000, sleep_us * 1_000)

    def boot_us(self) -> int:
        """Return CLOCK_BOOTTIME as the relay has it."""
        return boot_us() + self.sleep_us

    def high_us(self) -> int:
        """Return the furthest that the relay's clock has come: what left before it was set back comes after that."""
        return max(self._high_us, self.boot_us())


class Noted(list[bytes]):
    """Frames, each with the moment at which it came."""

    def __init__(self, clocks: Clocks) -> None:
        super().__init__()
        self._clocks, self.came, self._notes = clocks, list[tuple[int, bytes]](), 0

    def append(self, frame: bytes) -> None:
        self.came.append((self._clocks.high_us(), frame))
        self._notes += msgpack.unpackb(frame)[2] == NOTE
        super().append(frame)

    def notes(self) -> int:
        """Return how many annotations came."""
        return self._notes


async def station(port: int, clocks: Clocks, sent: list[tuple[int, bytes]], came: bytearray) -> None:
    """Send numbered reports over one connection, twenty a second, until cancelled, and note when.

    `came` gets all that comes back, up to the moment at which the relay, told that no more will be sent, lets go.
    """
    reader, writer = await dialled(port)
    hearing = asyncio.ensure_future(_hear(reader, came))
    with closing(writer):
        try:
            while True:
                async with clocks.nothing_sent:
                    sent.append((clocks.boot_us(), _report(len(sent))))
                    writer.write(sent[-1][1])
                    await writer.drain()
                await asyncio.sleep(0.05)
        finally:
            writer.write_eof()
            async with asyncio.timeout(PATIENCE_S):
                await hearing


def _report(number: int) -> bytes:
    told = {
        "latitude_deg": -38.6 - number / 1e6,
        "longitude_deg": -21.9,
        "depth_m": number / 50,
        "note": f"n{number}",
    }
    return json.dumps(told).encode() + b"\n"


async def _hear(reader: asyncio.StreamReader, came: bytearray) -> None:
    with suppress(ConnectionResetError):
        while part := await reader.read(65_536):
            came += part


async def stopped(ship: ShipProcess) -> None:
    """Stop the relay's process, as a machine that falls asleep does; proc(5): its state is T."""
    assert ship.process is not None
    ship.process.send_signal(signal.SIGSTOP)
    status = Path(f"/proc/{ship.process.pid}/stat")
    await until(lambda: status.read_text().rpartition(")")[2].split()[0] == "T")


async def fault(kind: str, ship: ShipProcess, clocks: Clocks, chance: random.Random, taken: Callable[[], bool]) -> None:
    """Make a fault of a kind. `taken`: whether the journal holds all that was sent.

    A report on its way as CLOCK_BOOTTIME goes back would be sent by another clock than it is read by, and its two
    moments couldn't be held against each other: so none is. What waits for its release is as much as ever.
    """
    assert ship.process is not None
    wall_us, sleep_us = clocks.wall_us, clocks.sleep_us
    if kind == "wall":
        clocks.set(chance.choice((-1, 1)) * chance.randint(HOUR, 40 * HOUR), sleep_us)
    elif kind == "back":
        async with clocks.nothing_sent:
            await until(taken)
            clocks.set(wall_us, sleep_us - SECOND)
    else:
        await stopped(ship)
        slept_us = chance.randint(SECOND, 60 * SECOND)
        clocks.set(wall_us + slept_us if kind == "sleep" else wall_us - 3 * HOUR, sleep_us + slept_us)
        ship.process.send_signal(signal.SIGCONT)


def _holds(journal: Path, sent: list[tuple[int, bytes]]) -> bool:
    whole = b"".join(row.data for row in read_rows(journal) if row.source == "input")
    return whole.endswith(sent[-1][1])


async def voyage(count: int, seed: int, folder: Path) -> tuple[int, list[str]]:
    """Let a dive be relayed through so many faults, to its end; return how many there were, and what was wrong."""
    chance, clocks, wrong, tried = random.Random(seed), Clocks(folder / "clocks"), list[str](), 0
    site, port, got = folder / "site", free_port(), Noted(clocks)
    sent, came = list[tuple[int, bytes]](), bytearray()
    site.mkdir()
    source = {"feed_format": "station-json", "source": f"tcp-listen://127.0.0.1:{port}", "delay": "2 s"}
    ours = ("env", f"LD_PRELOAD={built(folder, 'clock_shim')}", f"OFFING_TEST_CLOCKS={clocks.path}")
    async with ship_process(site, quiet=f"{QUIET_US // SECOND} s", prefix=ours, **source) as ship:
        follower = Follower(ship.port, frames=got)
        following = asyncio.ensure_future(follower.follow())
        sending = asyncio.ensure_future(station(port, clocks, sent, came))
        await until(lambda: got.notes() > 3)
        for number in range(count):
            kind = chance.choice(KINDS)
            async with asyncio.timeout(PATIENCE_S):
                await fault(kind, ship, clocks, chance, lambda: _holds(site / "private" / "journal.db", sent))
            upto = len(sent)
            async with asyncio.timeout(PATIENCE_S):
                await until(lambda upto=upto: got.notes() > upto)  # type: ignore[misc]
            tried += 1
            if any("stopped" in line for line in ship.words):
                wrong.append(f"fault {number} ({kind}): {ship.words}")
        sending.cancel()
        await asyncio.gather(sending, return_exceptions=True)
        taken = len(sent)
        async with asyncio.timeout(PATIENCE_S):
            await until(lambda: got.notes() >= taken)
        clocks.set(clocks.wall_us, clocks.sleep_us + QUIET_US + 20 * SECOND)
        await asyncio.wait_for(following, PATIENCE_S)
    note(folder / SENT / "input.msgpack", sent)
    note(folder / RECEIPTS / "follower-1.msgpack", got.came)
    ship.leave_words(folder / SAID)
    Ran(("follower-1",), ("input",)).write(folder)
    (folder / WRITTEN).write_bytes(came)
    return tried, wrong + await asyncio.to_thread(check, folder)


async def voyages(count: int, seed: int, folder: Path, at_once: int) -> tuple[int, list[str]]:
    """Make all voyages, so many at once; return how many faults there were, and what was wrong."""
    room = asyncio.Semaphore(at_once)

    async def with_all() -> tuple[int, list[str]]:
        async with room:
            return await voyage(count, seed, folder)

    async def with_one(number: int) -> tuple[int, list[str]]:
        async with room:
            (alone := folder / f"alone-{number}").mkdir()
            tried, found = await voyage(1, seed * 1_000 + number, alone)
            if not found:
                shutil.rmtree(alone)
            return tried, [f"voyage {number} of one fault: {words}" for words in found]

    async with asyncio.TaskGroup() as group:
        made = [group.create_task(with_all()), *(group.create_task(with_one(number)) for number in range(count))]
    outcomes = [one.result() for one in made]
    return sum(tried for tried, _ in outcomes), [words for _, wrong in outcomes for words in wrong]


def run(count: int, seed: int, folder: Path, at_once: int = 1) -> Outcome:
    """Step the clocks `count` times (0: forty) in one voyage, and once in each of as many."""
    begun_s, count = time.monotonic(), count or FAULTS
    tried, wrong = asyncio.run(voyages(count, seed, folder, at_once))
    return Outcome("clocks", tried, 2 * count, wrong, time.monotonic() - begun_s, 1 + count)
