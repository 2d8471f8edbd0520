"""A ship in a process that isn't one: the relay's own parts, driven by a list of events through true time.

Real: `Ship` (restoring, regrowing, taking rows, releasing, keeping clock and checkpoint), `Journal` without its thread,
`EmbargoClock`, `Pipeline`, the wire, `Outlet`, `Recorder`, `History`, `Subscriber`. Set by the events: the machine's
clocks, when the disk has taken a row, when the process is killed and started, when a follower dials and drops.

Not here: sockets, the loop, the writer's thread; the release is tried as the loop would, when due and after rows.
"""

import heapq
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import Enum, auto
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from relay.core.errors import OperatorError
from relay.core.history import History, Position
from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.policy import Plan
from relay.core.release import NO_DIVE
from relay.core.secrets import Secrets
from relay.core.subscriber import Ask, ReplayLimit, Subscriber, admit
from relay.shell.record.checkpoint import read_checkpoint
from relay.shell.record.journal import Journal, JournalFile, clock_of
from relay.shell.released.outlet import Frame, Outlet
from relay.shell.ship.ship import BEAT_S, Ship
from remembering_signer import RememberingSigner
from virtual_disk import MemoryJournal, MemoryPath

BEAT_US = round(BEAT_S * 1e6)
UNBOUNDED = ReplayLimit(10**9, 10**12)


class Machine:
    """The machine's clocks, and true time, which no part of the relay is told."""

    def __init__(self) -> None:
        self.true_us = 0
        self._wall_off_s = 1.7e9
        self._boots, self._since_us = 0, -987_654

    def boot_id(self) -> str:
        return f"boot {self._boots}"

    def boot_us(self) -> int:
        return self.true_us - self._since_us

    def wall_s(self) -> float:
        return self._wall_off_s + self.true_us / 1e6

    def step_wall(self, wall_s: float) -> None:
        """Set the wall clock, as a time server or a hand may."""
        self._wall_off_s = wall_s - self.true_us / 1e6

    def reboot(self) -> None:
        """Begin a new boot, its clock at a second."""
        self._boots += 1
        self._since_us = self.true_us - 1_000_000


@dataclass
class Disk:
    """What outlives a process: in memory, or below a folder."""

    folder: Path | None = None
    memory: MemoryJournal = field(default_factory=MemoryJournal)
    files: MemoryPath = field(default_factory=MemoryPath)

    def journal(self) -> Any:
        """Open the journal."""
        return self.memory if self.folder is None else JournalFile(self.folder / "private")

    @property
    def released(self) -> Any:
        """The folder of recordings."""
        return self.files if self.folder is None else self.folder / "released"


@dataclass
class Follower:
    """Someone ashore who follows one audience, and when each frame came."""

    audience: str
    position: Position | None
    dialled: bool = False
    got: list[tuple[int, bytes]] = field(default_factory=list)
    programme: int = -1
    subscriber: Subscriber | None = None

    def dial(self, history: History, true_us: int) -> None:
        """Ask for what follows the last frame held; a follower without any takes what comes from now on."""
        place = admit(Ask(self.audience, self.position), history, UNBOUNDED)
        assert isinstance(place, Subscriber)
        while frames := place.take(history, 16):
            self.got += ((true_us, frame) for frame in frames)
        self.position = max(self.position or place.position, place.position)
        self.subscriber = place
        if history.programme is not None:
            self.hear(history.programme.seq, history.programme.data, true_us)

    def hear(self, number: int, data: bytes, true_us: int) -> None:
        """Take the programme, unless it is held: a follower that is there looks at it all the time."""
        if self.subscriber is not None and number > self.programme:
            self.programme = number
            self.got.append((true_us, data))

    def take(self, frame: Frame, true_us: int) -> None:
        """Take a live frame, unless it isn't wanted."""
        if self.subscriber is not None and self.subscriber.wants(frame.dive, frame.seq):
            self.position = Position(frame.dive, frame.seq)
            self.got.append((true_us, frame.data))


class Public:
    """The public side of one process: histories, and the followers that are connected."""

    def __init__(self, plan: Plan, followers: list[Follower], machine: Machine) -> None:
        self.histories = {policy.audience: History(policy.audience) for policy in plan.policies}
        self._followers, self._machine = followers, machine

    def publish(self, frame: Frame) -> None:
        """Keep a frame and send it to who is there."""
        history, now_us = self.histories[frame.audience], self._machine.true_us
        keep = history.post if frame.dive == NO_DIVE else history.append
        keep(frame)
        for follower in self._followers:
            if follower.audience != frame.audience:
                continue
            if frame.dive == NO_DIVE:
                follower.hear(frame.seq, frame.data, now_us)
            else:
                follower.take(frame, now_us)

    def dial(self, follower: Follower) -> None:
        """Let a follower in."""
        follower.dial(self.histories[follower.audience], self._machine.true_us)


class SteppedJournal(Journal):
    """The journal, its writer's turns taken by hand; the disk takes rows in their order, as long as each may take."""

    taken = 0

    def _begin(self) -> None:
        """Start no thread."""

    @property
    def put(self) -> int:
        """How many items were ever queued."""
        return self.taken + self._queue.qsize()

    def commit(self, upto: int) -> list[Row]:
        """Let the disk take the items up to number `upto`, and hand nothing on: what a kill between the two leaves."""
        self._group = upto - self.taken
        if self._group <= 0:
            return []
        self.taken = upto
        rows = self._write_group()
        assert rows is not None
        return rows

    def turn(self, upto: int) -> bool:
        """Let the disk take the items up to number `upto` and hand them on; return whether rows were among them."""
        rows = self.commit(upto)
        if rows:
            self._durable(rows)
        return bool(rows)


class VirtualShip(Ship):
    """A life of the relay: from its start to the kill."""

    def __init__(self, plan: Plan, secrets: Secrets, disk: Disk, machine: Machine, public: Public) -> None:
        self.expedition: Any = SimpleNamespace(plan=plan, released=disk.released)
        self.desk: Any = SimpleNamespace(**dict.fromkeys(("took", "sent", "alarms", "beat"), lambda *_: []), marks={})
        self.site, self.promises = public, self.desk  # type: ignore[assignment]
        self._file = disk.journal()
        marks = self._file.marks()
        self._fingerprint, self.stopped, self.uplink = "of the test", None, None
        self._clock = clock_of(self._file, machine)
        self.pipeline = Pipeline(plan, secrets, read_checkpoint(marks.get("checkpoint"), plan))
        self._outlet = Outlet(disk.released, RememberingSigner(secrets.signing_seed), self._onward)
        self._wake = self.inviting = SimpleNamespace(set=lambda: None, fault=None)  # type: ignore[assignment]
        self._restore()
        self.journal = SteppedJournal(self._file, self._clock)
        self._go_on(self.journal)

    def next_true_us(self, machine: Machine) -> int | None:
        """Return the true moment at which the relay would next wake to release, or None."""
        due_us = None if self.stopped else self.pipeline.next_us()
        if due_us is None:
            return None
        return machine.true_us + due_us + 1 - self._clock.counted_us()

    def release(self) -> None:
        """Release what is due."""
        self._release_due()

    def beat(self) -> None:
        """Keep clock and checkpoint."""
        self._keep()

    def power_off(self) -> None:
        """Let go of the files, as the kernel does for a killed process."""
        self._file.close()


class Do(Enum):
    """What happens at a moment."""

    INPUT = auto()
    DECIDE = auto()
    KILL = auto()
    KILL_AFTER_COMMIT = auto()
    POWER_CUT = auto()
    START = auto()
    REBOOT = auto()
    BLINK = auto()
    WALL = auto()
    DIAL = auto()
    DROP = auto()
    DISK = auto()
    PART = auto()
    BEAT = auto()


@dataclass(frozen=True, slots=True)
class Event:
    """Something at a moment of true time, microseconds.

    `value`: the bytes of INPUT; for DECIDE a function from the embargo moments now and at PART to a decision;
    the wall clock for WALL, a follower's number for DIAL and DROP, how long a BLINK is. `latency_us`: how long the
    disk takes for the row; at the latest a beat takes it along. AT_ONCE: at once, and all before it.
    """

    at_us: int
    do: Do
    value: Any = None
    latency_us: int = 0
    source: str = "station"


class Voyage:
    """One run of a ship through a list of events."""

    def __init__(self, plan: Plan, secrets: Secrets, followers: list[Follower], disk: Disk) -> None:
        self.plan, self.followers, self.disk = plan, followers, disk
        self.machine = Machine()
        self.ship: VirtualShip | None = None
        self.public = Public(plan, [], self.machine)
        self.refused = 0
        self.parted_us: int | None = None
        self._parting = False
        self._secrets = secrets
        self._life = 0
        self._beaten_us = self._written_us = -1
        self._coming: list[tuple[int, int, int | None, Event]] = []
        self._order = 0

    def plan_for(self, events: Iterable[Event]) -> None:
        """Let these events come."""
        for event in events:
            self._push(event, None)

    def _push(self, event: Event, life: int | None) -> None:
        self._order += 1
        heapq.heappush(self._coming, (event.at_us, self._order, life, event))

    def play(self, until_us: int) -> None:
        """Let true time pass up to and including `until_us`."""
        while self._coming and self._coming[0][0] <= until_us:
            at_us, _, life, event = heapq.heappop(self._coming)
            if life is None or life == self._life:
                self._wake(at_us)
                self.machine.true_us = max(self.machine.true_us, at_us)
                self._do(event)
        self._wake(until_us)
        self.machine.true_us = until_us

    def _wake(self, until_us: int) -> None:
        """Let the relay wake for what falls due up to `until_us`."""
        while self.ship is not None and (wake_us := self.ship.next_true_us(self.machine)) is not None:
            if wake_us > until_us:
                return
            self.machine.true_us = max(self.machine.true_us, wake_us)
            before_us = self.ship.pipeline.next_us()
            self.ship.release()
            if self.ship.stopped or self.ship.pipeline.next_us() == before_us:
                return  # something waits for the disk

    def _do(self, event: Event) -> None:
        if event.do is Do.WALL:
            self.machine.step_wall(event.value)
        elif event.do is Do.PART:
            self._parting = True
            self._part()
        elif event.do in (Do.DIAL, Do.DROP):
            self._follow(self.followers[event.value], event.do is Do.DIAL)
        elif event.do in (Do.START, Do.REBOOT):
            if event.do is Do.REBOOT:
                self.machine.reboot()
            self._start()
        elif self.ship is not None:
            self._do_up(self.ship, event)

    def _do_up(self, ship: VirtualShip, event: Event) -> None:
        """Do what needs a living process."""
        if event.do is Do.INPUT:
            assert ship.journal.append(event.source, RowKind.STREAM, event.value)
            self._wait_for_disk(ship, event)
        elif event.do is Do.DECIDE:
            self._decide(ship, event)
        elif event.do is Do.DISK:
            if ship.journal.turn(event.value):
                ship.release()
        elif event.do is Do.BEAT:
            self._beat(ship)
        elif event.do is Do.BLINK:
            self._blink(ship, event.value)
        elif event.do is Do.POWER_CUT and self.machine.true_us <= self._beaten_us:
            self._push(Event(self._beaten_us + 1, Do.POWER_CUT), None)
        else:
            self._kill(ship, event.do is Do.KILL_AFTER_COMMIT)

    def _decide(self, ship: VirtualShip, event: Event) -> None:
        try:
            ship.decide(event.value(ship._clock.now_us(), self.parted_us or 0), "a test")
        except OperatorError:
            self.refused += 1
        else:
            self._wait_for_disk(ship, event)

    def _wait_for_disk(self, ship: VirtualShip, event: Event) -> None:
        """Let the disk take a row after its time, and after the row before it."""
        if event.latency_us == AT_ONCE:
            self._written_us = event.at_us
        self._written_us = max(self._written_us, event.at_us + event.latency_us)
        self._push(Event(self._written_us, Do.DISK, ship.journal.put), self._life)

    def _part(self) -> None:
        """Keep the embargo moment of the parting; while nothing runs, that of the next start."""
        if self._parting and self.ship is not None:
            self.parted_us, self._parting = self.ship._clock.now_us(), False

    def _follow(self, follower: Follower, dials: bool) -> None:
        follower.dialled, follower.subscriber = dials, None
        if dials and self.ship is not None:
            self.public.dial(follower)

    def _start(self) -> None:
        assert self.ship is None
        self._life += 1
        self._written_us = self.machine.true_us
        self.public = Public(self.plan, self.followers, self.machine)
        self.ship = VirtualShip(self.plan, self._secrets, self.disk, self.machine, self.public)
        self._part()
        for follower in self.followers:
            if follower.dialled:
                self.public.dial(follower)
        self.ship.release()
        self._beat(self.ship)

    def _beat(self, ship: VirtualShip) -> None:
        ship.beat()
        self._beaten_us = self.machine.true_us + BEAT_TAKES_US
        self._push(Event(self._beaten_us, Do.DISK, ship.journal.put), self._life)
        self._push(Event(self.machine.true_us + BEAT_US, Do.BEAT), self._life)

    def _kill(self, ship: VirtualShip, commits: bool) -> None:
        if commits:
            ship.journal.commit(ship.journal.put)
        ship.power_off()
        self.ship = None
        self._life += 1
        for follower in self.followers:
            follower.subscriber = None

    def _blink(self, ship: VirtualShip, lasts_us: int) -> None:
        """Kill the process and start it again, if nobody outside can tell: nothing due, nobody dialling meanwhile.

        Nor a power cut later: how much time a boot proves depends on when the process before it was started. And what
        came before the parting must be on the disk, or one run alone would lose it.
        """
        back_us = self.machine.true_us + lasts_us
        due_us = ship.next_true_us(self.machine)
        dialling = any(at_us <= back_us and event.do in OUTSIDE for at_us, _, _, event in self._coming)
        known = ship._file.marks().get("clock boot_id") == self.machine.boot_id()
        cut_later = any(event.do is Do.POWER_CUT for _, _, _, event in self._coming)
        losing = any(row.embargo_us <= (self.parted_us or 0) for row in ship.journal._waiting)
        if known and not losing and not dialling and not cut_later and (due_us is None or due_us > back_us):
            self._kill(ship, False)
            self._push(Event(back_us, Do.START), None)


OUTSIDE = (Do.DIAL, Do.DROP, Do.START, Do.REBOOT, Do.KILL, Do.KILL_AFTER_COMMIT, Do.POWER_CUT, Do.BLINK)
BEAT_TAKES_US = 3_000
AT_ONCE = -1
