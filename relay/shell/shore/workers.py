"""Several processes on one port: the first keeps the log and feeds workers, which serve followers.

Rules: to the shore it is a site like any other. A worker is fed from the histories kept here, each at its own pace, so
nothing is queued for it (R5); one that ends, or says nothing for `SILENCE_S`, is killed and another one started, which
opens the port only once it holds everything. The kernel spreads new connections over the workers (SO_REUSEPORT); a
socket that never listens keeps the port while none of them does. Limits count in each worker for itself.
"""

import asyncio
import contextlib
import logging
import os
import pickle
import socket
import ssl
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any

from relay.core.errors import OperatorError
from relay.core.history import NOTHING, History, Position, Published
from relay.shell.shore.shore_file import ShoreFile
from relay.shell.shore.worker import Setting
from relay.shell.shore.worker_talk import (
    ELSEWHERE,
    FAILED,
    FIGURES,
    FRAME,
    FULL,
    LEAVE,
    LISTING,
    SERVING,
    SETTING,
    Talk,
)
from relay.shell.site.attendance import Attendance
from relay.shell.site.gate import Tally
from relay.shell.site.guest_door import GuestDoor
from relay.shell.site.site import Figures

BATCH, BATCH_OCTETS = 64, 64 * 1024
BEGIN_S, SILENCE_S, LEAVE_S = 60.0, 15.0, 10.0
FIRST_WAIT_S, LONGEST_WAIT_S = 0.1, 5.0

log = logging.getLogger("offing.workers")


class Workers:
    """What a shore of several processes has as its site. `start`, then frames are published, then `close`."""

    def __init__(self, file: ShoreFile) -> None:
        self._file = file
        self.histories = {name: History(name) for name in file.audiences}
        self.guests = WorkersGuests(self._tell_all)
        self._kept: socket.socket | None = None
        self._seats = [Seat(self, number) for number in range(file.processes)]
        self._jobs: list[asyncio.Task[None]] = []

    def publish(self, frame: Published, among_many: bool = False) -> None:
        """Keep a frame and let workers have it; OutOfOrderError for one that doesn't follow."""
        history = self.histories.get(frame.audience)
        if history is None:
            return
        if frame.dive == 0:
            history.post(frame)
        else:
            history.append(frame)
        self._tell_all()

    def _tell_all(self) -> None:
        for seat in self._seats:
            seat.grown.set()

    def history(self, audience: str) -> History | None:
        """Return what an audience has been sent."""
        return self.histories.get(audience)

    async def start(self, host: str, port: int = 0, tls: ssl.SSLContext | None = None) -> None:
        """Take the port, start every worker, and return when each serves. `tls` is read by each worker itself."""
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        kept = socket.socket(family)
        kept.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        kept.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEPORT, 1)
        self._kept = kept
        try:
            kept.bind((host, port))
        except OSError:
            await self.close()
            raise
        self._jobs = [asyncio.create_task(seat.keep()) for seat in self._seats]
        waiting = asyncio.create_task(self._all_serve())
        await asyncio.wait([waiting, *self._jobs], return_when=asyncio.FIRST_COMPLETED)
        if not waiting.done():
            waiting.cancel()
            words = next((seat.words for seat in self._seats if seat.words), "it didn't say why")
            raise OperatorError(f"a process of this site can't serve: {words}")

    @property
    def jobs(self) -> list["asyncio.Future[None]"]:
        """What runs from `start` to `close`."""
        return list(self._jobs)

    async def _all_serve(self) -> None:
        for seat in self._seats:
            await seat.served.wait()

    @property
    def address(self) -> tuple[str, int]:
        """Host and port of all workers; only between `start` and `close`."""
        assert self._kept is not None
        host, port, *_ = self._kept.getsockname()
        return host, port

    @property
    def setting(self) -> Setting:
        """What a worker is told first."""
        return Setting(self._file, *self.address)

    def pids(self) -> list[int]:
        """Return which processes serve."""
        return [seat.pid for seat in self._seats if seat.pid is not None]

    def followers_beside(self, seat: "Seat") -> int:
        """Return how many follow what is open at the other workers; who is invited isn't counted for the public."""
        others = [other.figures.viewers for other in self._seats if other is not seat]
        return sum(viewers.get(name, 0) for viewers in others for name in self._file.open)

    def figures(self) -> Figures:
        """Return who is here now, in all workers, and what happened since each of them started."""
        viewers: Counter[str] = Counter(dict.fromkeys(self.histories, 0))
        for seat in self._seats:
            viewers.update(seat.figures.viewers)
        tallies = [seat.figures.tally for seat in self._seats]
        tally = Tally(**{field.name: sum(getattr(one, field.name) for one in tallies) for field in fields(Tally)})
        return Figures(sum(seat.figures.connections for seat in self._seats), dict(viewers), tally)

    async def close(self) -> None:
        """Let every worker tell its followers that it goes, and return when all have ended."""
        for job in self._jobs:
            job.cancel()
        if self._jobs:
            await asyncio.wait(self._jobs)
        for job in self._jobs:
            fault = None if job.cancelled() else job.exception()
            if fault is not None and not isinstance(fault, WorkerFailed):
                log.error("what keeps a worker has failed", exc_info=fault)
        self._jobs = []
        if self._kept is not None:
            self._kept.close()
            self._kept = None


class WorkersGuests(GuestDoor):
    """Whom workers let in: the newest list of guests that the ship signed is handed on to each of them."""

    def __init__(self, newer: Callable[[], None]) -> None:
        super().__init__(Attendance(0))
        self._newer = newer
        self.latest: bytes | None = None

    def listing(self, data: bytes) -> bool:
        """Take a listing; False for one that is older than the one in force. InvitationError if it isn't the ship's."""
        if not super().listing(data):
            return False
        self.latest = data
        self._newer()
        return True

    def count(self, guest_id: str, opens: int, last_day: str | None) -> None:
        """Count how often a guest has come to a worker since it last told."""
        seen = self.seen.get(guest_id)
        if seen is not None:
            seen.opens += opens
            seen.last_day = max(filter(None, (seen.last_day, last_day)), default=None)


class WorkerFailed(Exception):
    """A worker can't serve, and would not if it were started again."""


@dataclass(slots=True)
class _Fed:
    """How far a worker was told an audience's log."""

    position: Position = NOTHING
    programme: int = -1


class Seat:
    """The place of one worker: whoever sits there is replaced when it ends."""

    def __init__(self, workers: Workers, number: int) -> None:
        self._workers, self._number = workers, number
        self.grown, self.served = asyncio.Event(), asyncio.Event()
        self.words = ""
        self.pid: int | None = None
        self.figures = _nobody()

    async def keep(self) -> None:
        """Start a worker, and another whenever it has ended. WorkerFailed if the first one can't serve."""
        wait_s = FIRST_WAIT_S
        while True:
            served = await self._sat()
            if not self.served.is_set():
                raise WorkerFailed(self.words)
            log.error("worker %d has ended: another one is started", self._number)
            wait_s = FIRST_WAIT_S if served else min(2 * wait_s, LONGEST_WAIT_S)
            await asyncio.sleep(wait_s)

    async def _sat(self) -> bool:
        """Run one worker to its end; return whether it ever served. One that the machine doesn't start has ended."""
        try:
            return await self._once()
        except OSError as error:  # out of memory, processes or open files: that passes
            self.words = f"it can't be started: {os.strerror(error.errno or 0)}"
            log.error("worker %d: %s", self._number, self.words)
            return False

    async def _once(self) -> bool:
        ours, theirs = socket.socketpair()
        try:
            with theirs:
                number = theirs.fileno()
                command = (sys.executable, "-m", "relay.shell.shore.worker", str(number))
                process = await asyncio.create_subprocess_exec(*command, pass_fds=[number], env=_environment())
            self.pid = process.pid
            talk = await Talk.over(ours)
        except BaseException:
            ours.close()
            raise
        serving = asyncio.Event()
        jobs = [asyncio.create_task(self._hear(talk, serving)), asyncio.create_task(self._feed(talk))]
        try:
            await asyncio.wait(jobs, return_when=asyncio.FIRST_COMPLETED)
        finally:
            await self._let_go(process, talk, jobs)
        return serving.is_set()

    async def _let_go(self, process: asyncio.subprocess.Process, talk: Talk, jobs: list["asyncio.Task[None]"]) -> None:
        """End a worker: by a word where it still listens, by force where it doesn't go."""
        for job in jobs:
            job.cancel()
        await asyncio.wait(jobs)
        faults = [job.exception() for job in jobs if not job.cancelled()]
        hung = any(isinstance(fault, TimeoutError) for fault in faults)
        for fault in faults:
            if fault is not None and not isinstance(fault, OSError):  # a TimeoutError is one
                log.error("the talk with worker %d has failed", self._number, exc_info=fault)
        with contextlib.suppress(OSError, TimeoutError):
            async with asyncio.timeout(0 if hung else LEAVE_S):
                await talk.say(LEAVE)
                await process.wait()
        if process.returncode is None:
            process.kill()
            await process.wait()
        talk.close()
        self.pid, self.figures = None, _nobody()
        self.words = self.words or f"it ended with {process.returncode}"

    async def _hear(self, talk: Talk, serving: asyncio.Event) -> None:
        heard, opened = talk.heard(), Counter[str]()
        while True:
            async with asyncio.timeout(SILENCE_S if serving.is_set() else BEGIN_S):
                message = await anext(heard, None)
            if message is None:
                return
            word, *rest = message
            if word == SERVING:
                serving.set()
                self.served.set()
            elif word == FAILED:
                self.words = str(rest[0])
            elif word == FIGURES:
                connections, viewers, tally, guests = rest
                self.figures = Figures(connections, viewers, Tally(**tally))
                for guest_id, (opens, last_day) in guests.items():
                    self._workers.guests.count(guest_id, opens - opened[guest_id], last_day)
                    opened[guest_id] = opens

    async def _feed(self, talk: Talk) -> None:
        await talk.say(SETTING, pickle.dumps(self._workers.setting))
        fed = {name: _Fed() for name in self._workers.histories}
        listing = await self._list(talk, None)
        await self._tell(talk, fed)
        await talk.say(FULL)
        while True:
            self.grown.clear()
            listing = await self._list(talk, listing)
            await self._tell(talk, fed)
            await talk.say(ELSEWHERE, self._workers.followers_beside(self))
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(LONGEST_WAIT_S):
                    await self.grown.wait()

    async def _list(self, talk: Talk, told: bytes | None) -> bytes | None:
        """Tell a worker who is invited, if that isn't what it was told; return what it knows."""
        latest = self._workers.guests.latest
        if latest is not None and latest is not told:
            await talk.say(LISTING, latest)
        return latest

    async def _tell(self, talk: Talk, fed: dict[str, _Fed]) -> None:
        """Tell a worker what it lacks."""
        for audience, history in self._workers.histories.items():
            held, told = fed[audience], history.programme
            if told is not None and told.seq > held.programme:
                held.programme = told.seq
                await talk.say(FRAME, audience, told.data, False)
            while True:
                frames, reached = history.after(held.position, BATCH, BATCH_OCTETS)
                if not frames:
                    break
                for frame in frames:
                    await talk.say(FRAME, audience, frame, len(frames) > 1)
                held.position = reached


def _nobody() -> Figures:
    return Figures(0, {}, Tally())


def _environment() -> dict[str, Any]:
    """Return the environment of a worker: it finds the program where this one did."""
    return {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
