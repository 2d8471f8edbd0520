"""What the desk knows of the decisions taken: says that wait, targets, finds, what is expected, who took what.

Rules: exact and private; nothing here is input to anything that is released, but a say that somebody approves. A
function of the decisions in the order of their rows: told again, it is the same. Bounded: at a limit what is new is
not kept here (it stays in the journal), and the desk refuses it before.
"""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass

from relay.core.decision import (
    Approve,
    Back,
    Decision,
    Dismiss,
    Expect,
    HideZone,
    LiftZone,
    Say,
    Target,
)
from relay.core.find import Find
from relay.core.finds import Finds, target_place
from relay.core.overdue import Expectation
from relay.core.sighting import place_of
from relay.core.target_position import Target as Placed

TAKEN_LIMIT, WAITING_LIMIT, TARGETS_LIMIT = 200, 100, 2_000
Key = tuple[str, str | int]


@dataclass(frozen=True, slots=True)
class Taken:
    """A decision as the journal has it: its row, its moment on the embargo clock, the ship's time, and who took it."""

    row: int
    at_us: int
    wall_s: float
    who: str
    decision: Decision


@dataclass(frozen=True, slots=True)
class Waiting:
    """A say that waits for somebody to approve it."""

    row: int
    at_us: int
    who: str
    say: Say

    @property
    def text(self) -> str:
        """What it says."""
        return self.say.text

    @property
    def vehicle(self) -> str | None:
        """The vehicle that it is about."""
        return self.say.vehicle

    @property
    def audiences(self) -> tuple[str, ...]:
        """Whom it is for; empty: all that get annotations."""
        return self.say.audiences


@dataclass(frozen=True, slots=True)
class Known:
    """A target: its last verdict (when, by which row), and where it lies, if a sighting told that."""

    verdict: str
    at_us: int
    row: int
    vehicle: str | None
    position: Placed | None


@dataclass(frozen=True, slots=True)
class Expected:
    """What was agreed about a vehicle's dive, and when somebody said that it is back."""

    expectation: Expectation
    row: int
    back_us: int | None = None


class DeskRecord:
    """The decisions of a site, as the desk shows them."""

    def __init__(self) -> None:
        self.waiting: dict[int, Waiting] = {}
        self.targets: dict[str, Known] = {}
        self.finds = Finds()
        self.expected: dict[str, Expected] = {}
        self.taken: deque[Taken] = deque(maxlen=TAKEN_LIMIT)
        self._rows: list[tuple[int, tuple[Key, ...], tuple[Key, ...]]] = []

    def take(self, told: Taken) -> Say | None:
        """Take the next decision; return the say that it approves."""
        decision, begun, ended = told.decision, tuple[Key, ...](), tuple[Key, ...]()
        approved: Say | None = None
        self.taken.append(told)
        if isinstance(decision, Say) and decision.wait:
            self._wait(told, decision)
            begun = (("say", told.row),)
        elif isinstance(decision, Approve | Dismiss):
            over = self.waiting.pop(decision.say, None)
            approved = over.say if over is not None and isinstance(decision, Approve) else None
            ended = (("say", decision.say),)
        elif isinstance(decision, Target):
            self._know(told, decision)
            begun = (("verdict", decision.name),)
            begun += (("sighting", decision.name),) if decision.sighting is not None else ()
        elif isinstance(decision, Find):
            begun = self._find(told, decision)
        elif isinstance(decision, Expect | Back):
            begun, ended = self._await(told, decision)
        elif isinstance(decision, HideZone):
            begun = ((f"zone {decision.name}", told.row),)
        elif isinstance(decision, LiftZone):
            ended = self._zone_keys(decision.name)
        if begun or ended:
            self._rows.append((told.row, begun, ended))
        return approved

    def kept(self, before: int) -> tuple[int, ...]:
        """Return the rows before one of which a restart that begins there has to be told: they still count."""
        over = [entry for entry in self._rows if entry[0] < before]
        counting: dict[Key, int] = {}
        for row, begun, ended in over:
            for key in ended:
                counting.pop(key, None)
            counting.update(dict.fromkeys(begun, row))
        live = set(counting.values())
        still = [(row, tuple(key for key in begun if counting.get(key) == row), ()) for row, begun, _ in over]
        self._rows = [entry for entry in still if entry[0] in live] + self._rows[len(over) :]
        return tuple(sorted(live))

    def _wait(self, told: Taken, say: Say) -> None:
        if len(self.waiting) < WAITING_LIMIT:
            self.waiting[told.row] = Waiting(told.row, told.at_us, told.who, say)

    def _know(self, told: Taken, target: Target) -> None:
        """Keep the verdict on a target, and its position where this tells one; else where it was."""
        before = self.targets.get(target.name)
        if before is None and len(self.targets) >= TARGETS_LIMIT:
            return
        position = None if before is None else before.position
        if target.sighting is not None and target.sighting.seen_from is not None:
            position = place_of(target.sighting, target.sighting.seen_from)
        vehicle = target.vehicle if target.vehicle is not None or before is None else before.vehicle
        self.targets[target.name] = Known(target.verdict, told.at_us, told.row, vehicle, position)

    def completed_find(self, find: Find) -> Find:
        """Return a record of a find with the place of the target that it names, and what it takes over."""
        placed = {name: known for name, known in self.targets.items() if known.position is not None}
        places = {
            name: target_place(name, known.row, known.position) for name, known in placed.items() if known.position
        }
        return self.finds.completed(find, places)

    def _find(self, told: Taken, find: Find) -> tuple[Key, ...]:
        """Keep a record of a find; every one counts for ever."""
        kept = self.finds.take(told.row, told.at_us, told.wall_s, told.who, find)
        return () if kept is None else (("find", told.row),)

    def _await(self, told: Taken, decision: Expect | Back) -> tuple[tuple[Key, ...], tuple[Key, ...]]:
        name = decision.vehicle
        if isinstance(decision, Expect):
            self.expected[name] = Expected(decision.expectation(told.at_us), told.row)
            return (("expect", name),), (("back", name),)
        if name in self.expected:
            agreed = self.expected[name]
            self.expected[name] = Expected(agreed.expectation, agreed.row, told.at_us)
        return (("back", name),), ()

    def _zone_keys(self, name: str) -> tuple[Key, ...]:
        return tuple(key for key in self._begun() if key[0] == f"zone {name}")

    def _begun(self) -> Iterable[Key]:
        return (key for _, begun, _ in self._rows for key in begun)
