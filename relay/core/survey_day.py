"""What each vehicle's side-scan sonar has covered, from reports as they come: line kilometres, area, share of the plan.

Rules: exact, for the ship alone; the arithmetic is that of `survey` and `swath`.
1. A position counts for the line where it lies `RULE.step_m` from the last one that did, so that neither noise nor a
   vehicle that stays where it is makes kilometres.
2. What isn't a line of the survey doesn't count: a vehicle less than `SURFACE_M` deep, and a leg that goes down or up
   by more than `STEEP` of its length (a descent, an ascent). A vehicle that never tells its depth counts everywhere.
3. `take` costs the same whatever came before it. `work` does the areas and may run in a thread; one at a time. It and
   `saved` count what is in a `Due`, all of one moment, whatever is taken meanwhile.
4. Memory is bounded: a line keeps sums, covered ground an outline (see `Ground`), and who calls `work` whenever
   `waiting` reaches some number bounds the rest.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from relay.core import given
from relay.core.errors import SurveyError
from relay.core.geodesy import distance_m
from relay.core.ground import Coverage, Ground, ring_of
from relay.core.survey import Leg, LegRule, Line, TrackPoint
from relay.core.survey_plan import SurveyPlan
from relay.core.swath import Strip, Swath

RULE = LegRule(step_m=10.0)
SURFACE_M = 3.0
STEEP = 0.5  # about 27 degrees: common practice, no source


@dataclass(slots=True)
class Surveyed:
    """What one vehicle has done: metres of line, legs too far from the origin to be counted, and what it covered.

    The plan's share in `covered` counts the ground of all vehicles together.
    """

    line_m: float = 0.0
    too_far: int = 0
    covered: Coverage | None = None


@dataclass(frozen=True, slots=True)
class Due:
    """What the survey has at one moment: positions taken, metres of line, and each ground with the legs that wait."""

    taken: int
    lines_m: tuple[float, ...]
    grounds: dict[int, tuple[Ground, int]]


class SurveyDay:
    """The survey of all vehicles of an expedition, by their places in its file."""

    def __init__(self, plan: SurveyPlan, vehicles: Sequence[str]) -> None:
        self._plan, self._vehicles = plan, vehicles
        self._lines = [Line(RULE) for _ in vehicles]
        self._grounds: dict[int, Ground] = {}
        self._strips: dict[int, Strip] = {}
        self._origin = plan.corners[0] if plan.corners else None
        self._last: list[TrackPoint | None] = [None for _ in vehicles]
        self._taken = self._worked = 0
        self.done = [Surveyed() for _ in vehicles]

    @property
    def waiting(self) -> int:
        """How many legs wait for `work`."""
        return sum(ground.waiting for ground in self._grounds.values())

    def take(self, vehicle: int, point: TrackPoint) -> None:
        """Take the next position of a vehicle; SurveyError if it is older than the last."""
        if point.depth_m is not None and point.depth_m < SURFACE_M:
            return
        self._last[vehicle] = point
        self._taken += 1
        leg = self._lines[vehicle].take(point)
        if leg is None or _is_steep(leg):
            return
        done = self.done[vehicle]
        done.line_m += leg.length_m
        swath = self._plan.of(vehicle).swath
        if swath is not None:
            self._lay(vehicle, swath, leg)

    def show(self) -> None:
        """Let `work` count up to the last position of each vehicle, though its next leg may change that again."""
        for vehicle, strip in self._strips.items():
            try:
                strip.show(self._begun(vehicle))
            except SurveyError:
                strip.show()  # too far from the origin, as its leg will be

    def _begun(self, vehicle: int) -> Leg | None:
        """Return the leg that a vehicle has begun, if it has."""
        kept, last = self._lines[vehicle].kept, self._last[vehicle]
        if kept is None or last is None or last.at_us <= kept.at_us or last.place == kept.place:
            return None
        leg = Leg(kept, last, distance_m(kept.place, last.place))
        return None if leg.length_m > RULE.step_m or _is_steep(leg) else leg

    def due(self) -> Due:
        """Return what is to be worked out by now; in the thread that takes positions."""
        grounds = {at: (ground, ground.waiting) for at, ground in self._grounds.items()}
        return Due(self._taken, tuple(done.line_m for done in self.done), grounds)

    def work(self, due: Due | None = None) -> bool:
        """Work out what was covered when `due` was taken (None: now); return whether there was anything new."""
        due = due or self.due()
        if due.taken <= self._worked:
            return False
        self._worked = due.taken
        for ground, legs in due.grounds.values():
            ground.work(legs)
        for vehicle, (ground, _) in due.grounds.items():
            others = [other for other, _ in due.grounds.values() if other is not ground]
            self.done[vehicle].covered = ground.covered(self._plan.corners, others)
        return True

    def saved(self, due: Due | None = None) -> dict[str, Any]:
        """Return what is known as plain values, by the vehicles' names; not while `work` is running.

        With `due`, what `work` was last given: what was known when it was taken.
        """
        due = due or self.due()
        grounds = {at: ground for at, (ground, _) in due.grounds.items()}
        done = {
            name: {"line_m": line_m, "ground": grounds[at].saved() if at in grounds else None}
            for at, (name, line_m) in enumerate(zip(self._vehicles, due.lines_m, strict=True))
        }
        return {"origin": self._origin, "vehicles": done}

    def restore(self, saved: Mapping[str, Any]) -> None:
        """Go on from what `saved` gave, before anything is taken.

        SurveyError, and nothing restored, if it can't be read, or the plan now lies too far from what was covered.
        """
        try:
            lines_m = {name: float(one["line_m"]) for name, one in saved["vehicles"].items()}
            origin = None if saved["origin"] is None else given.position("origin's", *saved["origin"])
            kept = {name: one["ground"] for name, one in saved["vehicles"].items() if one["ground"] is not None}
        except (AttributeError, KeyError, TypeError, ValueError) as error:
            raise SurveyError("what was saved of the survey can't be read") from error
        if origin is not None and kept:
            self._restore_grounds(origin, kept)
        for name, done in zip(self._vehicles, self.done, strict=True):
            done.line_m = lines_m.get(name, 0.0)
        self._taken += 1
        self.work()

    def _restore_grounds(self, origin: given.Position, kept: Mapping[str, Any]) -> None:
        if self._plan.corners is not None:
            ring_of(self._plan.corners, origin)
        pairs = [(at, kept[name]) for at, name in enumerate(self._vehicles) if name in kept]
        self._grounds = {at: Ground.restored(origin, one) for at, one in pairs}
        self._origin = origin

    def _lay(self, vehicle: int, swath: Swath, leg: Leg) -> None:
        if self._origin is None:
            self._origin = leg.start.place
        ground = self._grounds.setdefault(vehicle, Ground(self._origin))
        strip = self._strips.setdefault(vehicle, Strip(ground, swath))
        try:
            strip.take(leg)
        except SurveyError:
            self.done[vehicle].too_far += 1


def _is_steep(leg: Leg) -> bool:
    """Return whether a leg goes down or up rather than along."""
    before, after = leg.start.depth_m, leg.end.depth_m
    return before is not None and after is not None and abs(after - before) > STEEP * leg.length_m
