"""Lives of one ship's relay on a disk that fails, through a scripted day of two dives: what it was asked, what it told.

Real: `Ship` with her journal and its thread, her recordings, the guest book, the watch, the control socket and the
site's port. Set by the script: the machine's clocks, and what comes when. A life is a forked process that ends as the
caller wants; what it did is a list of notes, each a MessagePack object, which outlive it. What its process says,
its log above all, is beside them in `said/`, as `left_behind.py` has it.
"""

import asyncio
import json
import logging
import os
import random
import secrets
import signal
import sys
from collections.abc import Callable, Coroutine, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from traceback import format_exception
from typing import Any

import msgpack

from left_behind import SAID
from peers import until
from relay.core.errors import OperatorError
from relay.core.model import Row, RowKind
from relay.shell.plan.expedition import read_expedition
from relay.shell.released.outlet import Frame
from relay.shell.ship.running import new_site
from relay.shell.ship.ship import Ship
from relay.shell.shore.log_lines import log_to_stderr
from ship_process import free_port

SECOND = 1_000_000
END_US = 84 * SECOND
BEAT_US = 2 * SECOND
LONGEST_S = 240
DELAYS_US = {"public": 4 * SECOND, "families": 9 * SECOND}
TEXT = """
[expedition]
name = "The search for the Isoline Marr"
ship = "Harrow Tern"
[public]
listen = "127.0.0.1:{port}"
[dive]
begins = "report"
quiet_ends_after = "6 s"
[[vehicle]]
name = "Lantern"
[[vehicle]]
name = "Moth"
[[feed]]
name = "station"
format = "station-json"
from = "tcp-listen://127.0.0.1:{feed}"
[[audience]]
name = "public"
open = true
delay = "4 s"
extra = "0 s"
tick = "1 s"
fields = ["track", "depth", "altitude", "mode", "leg", "notes"]
cell = "5 m"
depth_step = "1 m"
track_legs = ["deck", "descent", "bottom", "ascent"]
[[audience]]
name = "families"
invited = true
delay = "9 s"
extra = "0 s"
tick = "3 s"
fields = ["depth", "mode", "leg", "notes"]
depth_step = "1 m"
"""


@dataclass
class SetTime:
    """The machine's clocks, as the script has them."""

    boot: str = "boot 0"
    true_us: int = 0
    since_us: int = -7_000_000

    def boot_id(self) -> str:
        return self.boot

    def boot_us(self) -> int:
        return self.true_us - self.since_us

    def wall_s(self) -> float:
        return 1.7e9 + self.true_us / 1e6


@dataclass(frozen=True, slots=True)
class Step:
    """Something that comes at a moment: bytes of the station, or a message of the operator."""

    at_us: int
    data: bytes
    decides: bool = False


def station(number: int, vehicle: str, depth_m: float) -> bytes:
    """Return a report whose annotation says which it is."""
    told = {"latitude_deg": -38.6 - number / 1e5, "longitude_deg": -21.9, "depth_m": depth_m, "altitude_m": 7.5}
    return json.dumps({"vehicle": vehicle, **told, "mode": "tethered", "note": f"n{number}"}).encode() + b"\n"


def _dive(begin_s: int, seconds: int) -> Iterator[Step]:
    for second in range(seconds):
        number, at_us = begin_s + second, (begin_s + second) * SECOND + 137_000
        yield Step(at_us, station(number, "Moth" if second % 4 == 3 else "Lantern", 3.0 + 2 * second))


def _operator() -> Iterator[Step]:
    for at_s, message in (
        (5, {"do": "invite", "audience": "families", "name": "Ines of the museum"}),
        (7, {"do": "hold"}),
        (10, {"do": "resume"}),
        (13, {"do": "hold", "audience": "families"}),
        (14, {"do": "say", "text": "The wheel lies free of sand"}),
        (17, {"do": "resume", "audience": "families"}),
        (50, {"do": "say", "text": "Second look at the wheel"}),
    ):
        yield Step(at_s * SECOND + 500_000, json.dumps({**message, "who": "Ada"}).encode(), True)


def day() -> list[Step]:
    """Return the script: two dives, twenty and eight reports, and what the operator says."""
    return sorted(chain(_dive(2, 20), _dive(45, 8), _operator()), key=lambda step: step.at_us)


@dataclass
class Told:
    """What a life did, note by note, to whoever keeps the notes."""

    keep: Callable[[bytes], None]
    durable: int = 0

    def note(self, kind: str, *values: Any) -> None:
        self.keep(msgpack.packb([kind, *values]))


class NotingShip(Ship):
    """The relay; what it hands on and what it gives out is noted as well."""

    told: Told
    time: SetTime

    def _durable(self, rows: list[Row]) -> None:
        self.told.durable = rows[-1].seq
        self.told.note("durable", rows[-1].seq)
        super()._durable(rows)

    def _onward(self, frame: Frame, ashore: bool = True) -> None:
        place = (frame.audience, frame.dive, frame.seq)
        moments = self.time.true_us, self.told.durable, self.now_us()
        self.told.note("released", *place, frame.data, *moments)
        super()._onward(frame, ashore)


def make_site(folder: Path) -> Path:
    """Write an expedition file into a folder and return it."""
    path = folder / "EXPEDITION.toml"
    path.write_text(TEXT.format(port=free_port(), feed=free_port()))
    return path


class Life:
    """One life of a relay: `begin`, `play` part of the day, `end`; or it is cut off anywhere."""

    def __init__(self, path: Path, time: SetTime, told: Told) -> None:
        expedition = read_expedition(path)
        self.time, self.told = time, told
        told.note("opening", time.true_us)
        self.ship = NotingShip.__new__(NotingShip)
        self.ship.told, self.ship.time = told, time
        try:
            self.ship.__init__(expedition, time, new_site(expedition))  # type: ignore[misc]
        except OperatorError:
            if hasattr(self.ship, "_file"):  # what the end of its process would let go of
                self.ship._file.close()
            raise
        # A ship's file is folded into the journal every thousand pages: here the script would end before that.
        self.ship._file._db.execute("PRAGMA wal_autocheckpoint=12")
        self._beaten_us = time.true_us

    async def begin(self) -> None:
        """Start."""
        await self.ship.start()
        self.told.note("started", self.time.true_us, self.ship.stopped, self.ship.now_us())

    async def play(self, steps: list[Step], until_us: int, turn: Callable[[int], None] = lambda us: None) -> None:
        """Let the day go on up to a moment; `turn` is called with each."""
        for step in steps:
            if self.time.true_us < step.at_us <= until_us:
                await self._on(step.at_us - 1, turn)
                self.time.true_us = step.at_us
                await self._take(step)
        await self._on(until_us, turn)

    async def _on(self, until_us: int, turn: Callable[[int], None]) -> None:
        """Let time pass in half seconds, as the relay would wake."""
        while self.time.true_us < until_us:
            self.time.true_us = min(until_us, self.time.true_us + SECOND // 2)
            turn(self.time.true_us)
            await self._wake()

    async def _take(self, step: Step) -> None:
        self.told.note("comes", self.time.true_us)
        if step.decides:
            answer = await self.ship.deciding.take(step.data, within_s=0.05 if self._fault else 5.0)
            self.told.note("answered", self.time.true_us, step.data, json.dumps(answer))
        else:
            journal = self.ship._journal
            assert journal is not None
            self.told.note("accepted", self.time.true_us, journal.rows + 1, step.data, self.ship.now_us())
            assert journal.append("station", RowKind.STREAM, step.data), "a day has fewer rows than may wait"
        await self._wake()

    @property
    def _fault(self) -> str | None:
        return self.ship.journal_facts()[1]

    async def _wake(self) -> None:
        """Let the journal take what it has, or fail to; then release what is due, and beat."""
        journal = self.ship._journal
        assert journal is not None
        await until(lambda: journal.unread_us is None or self._fault is not None)
        if (fault := untold(lambda: self._fault, self.ship.alarms)) is not None:
            self.told.note("silent", fault)
        self.ship._release_due()
        if self.time.true_us - self._beaten_us >= BEAT_US:
            self._beaten_us = self.time.true_us
            self.ship._keep()
            self.ship.promises.beat()
            await self.ship.desk._memory.watch.catch_up(keep=True)
            if self.ship.alarms():
                self.told.note("alarms", self.time.true_us, self.ship.alarms())

    async def settle(self) -> None:
        """Wait, in real time, until the journal has all that it was given, and release what that lets out."""
        assert self.ship._journal is not None
        async with asyncio.timeout(60):
            await self.ship._journal.settled()
        await self._wake()

    async def end(self) -> None:
        """Close, as on SIGTERM."""
        await self.ship.close()
        self.told.note("closed", self.time.true_us, self.ship.stopped)


def untold(fault: Callable[[], str | None], alarms: Callable[[], Sequence[str]]) -> str | None:
    """Return the journal's fault where the desk isn't told it; None: there is none, or it was over meanwhile.

    The script's seconds pass faster than the machine's: a write that the machine did in a moment may have lasted long
    by the script, and end between a look at the fault and one at the alarms.
    """
    before = fault()
    return before if before is not None and before not in alarms() and fault() is not None else None


async def opened(path: Path, time: SetTime, told: Told, mend: Callable[[], None] = lambda: None) -> Life:
    """Start a relay; where it refuses in words, note them, mend the disk and start it again."""
    for _ in range(2):
        life = None
        try:
            life = Life(path, time, told)
            await life.begin()
        except OperatorError as error:
            told.note("refused", time.true_us, str(error))
            mend()
            if life is not None:
                await life.ship.close()
        else:
            return life
    raise RuntimeError("it refused to start on a good disk")


def lived(life: Callable[[Told], Coroutine[Any, Any, None]], notes: Path, seed: int) -> str:
    """Run a life in a forked process, its secrets drawn from a seed; return how it ended, "" if well."""
    child = os.fork()
    if child:
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        return f"a life ended with {status}" if status < 0 else ""
    with notes.open("ab", buffering=0) as out:
        try:
            signal.alarm(LONGEST_S)
            chance = random.Random(seed)
            secrets.token_bytes = lambda count=32: chance.randbytes(count)
            _say_into(notes.parent / SAID / "lives")
            asyncio.run(life(Told(out.write)))
        except BaseException as error:  # whatever it is, the parent hears of it
            out.write(msgpack.packb(["crashed", repr(error), "".join(format_exception(error))[-2_500:]]))
        finally:
            os._exit(0)


def _say_into(path: Path) -> None:
    """Let this process log as the command does, and all that it says go to the end of a file."""
    path.parent.mkdir(exist_ok=True)
    os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), 2)
    sys.stderr = os.fdopen(2, "w", buffering=1, closefd=False)
    logging.getLogger().handlers.clear()  # of the process that was forked
    log_to_stderr()


def noted(path: Path) -> list[list[Any]]:
    """Return the notes in a file."""
    if not path.exists():
        return []
    unpacker = msgpack.Unpacker(strict_map_key=False)
    unpacker.feed(path.read_bytes())
    return list(unpacker)
