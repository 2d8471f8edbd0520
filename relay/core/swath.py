"""The ground that side-scan sonar sees from the legs of a line: strips square to the vehicle, pass by pass.

Rules: exact, for the ship alone; the plane and the areas are those of `ground`.
1. Between two positions that make a leg (`survey`) the swath is what lies between the lines across the vehicle at both:
   half the width to either side, square to its heading (a crabbing vehicle needs it). Where no heading is known it is
   square to the course: halfway between the two legs' where they bend by `JOIN_DEG` at most, else each leg ends
   square to itself. So ends are flat, and gaps stay uncovered.
2. The strip below the vehicle, `nadir_gap_m` wide in all, isn't covered until another pass sees it.
3. A pass ends where the heading has turned by more than `PASS_TURN_DEG` from that at its begin, and where legs break; a
   leg that turns by more than that in itself covers nothing, because nobody knows how it turned. A vehicle that yaws
   sees nothing again. Give only the lines, without the turns between them, if what was recorded in turns isn't used.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, radians, remainder, sin, tau

from relay.core import given
from relay.core.errors import SurveyError
from relay.core.ground import Coverage, Ground, Placed, Point, Quad, placed, ring_of
from relay.core.survey import Leg, LegRule, TrackPoint, legs_of

WIDEST_M = 20_000.0
PASS_TURN_DEG = 60.0
JOIN_DEG = 30.0


@dataclass(frozen=True, slots=True)
class Swath:
    """The width of a side-scan swath from edge to edge, and of the gap below the vehicle in it, metres."""

    width_m: float
    nadir_gap_m: float = 0.0

    def __post_init__(self) -> None:
        """Refuse, by a SurveyError, what is no width, and a gap that leaves nothing."""
        given.positive("width_m", self.width_m, WIDEST_M)
        if given.number("nadir_gap_m", self.nadir_gap_m, 0.0) >= self.width_m:
            raise SurveyError(f"nadir_gap_m ({self.nadir_gap_m:g}) leaves nothing of width_m ({self.width_m:g})")


@dataclass(frozen=True, slots=True)
class Swept:
    """The track of one vehicle, oldest position first, and the swath it carried."""

    track: Sequence[TrackPoint]
    swath: Swath


@dataclass(frozen=True, slots=True)
class _Across:
    """A position in the plane with the direction of its bow there, radians from the plane's north."""

    east_m: float
    north_m: float
    bow: float

    def at(self, starboard_m: float) -> Point:
        """Return the point that lies so far to starboard of it (to port if negative)."""
        return self.east_m + starboard_m * cos(self.bow), self.north_m - starboard_m * sin(self.bow)


def coverage(
    swept: Sequence[Swept],
    plan: Sequence[given.Position] | None = None,
    origin: given.Position | None = None,
    rule: LegRule | None = None,
) -> Coverage:
    """Return what the swaths of some vehicles have covered, and of a plan, a ring of three corners or more.

    Places are (latitude_deg, longitude_deg); `origin` defaults to the plan's first corner, else to the first position.
    Costs up to 0.3 ms a position: thin a dense track by the rule's `every_s`. Raises SurveyError for a track without
    positions or out of order, a place further than `FURTHEST_M` from the origin, and a ring that is none.
    """
    if not swept or not all(one.track for one in swept):
        raise SurveyError("a track is empty: give at least one position for each swath")
    about = given.position("origin's", *(origin or (plan[0] if plan else swept[0].track[0].place)))
    ground = Ground(about)
    for one in swept:
        strip = Strip(ground, one.swath)
        for leg in legs_of(one.track, rule):
            strip.take(leg)
        strip.end()
    ground.work()
    return ground.covered(plan)


def planned_m2(plan: Sequence[given.Position]) -> float:
    """Return the area of a planned ring; SurveyError if it is no ring, or reaches too far from its first corner."""
    return float(ring_of(plan, plan[0]).area)


class Strip:
    """What one vehicle's swath sees, as its legs come, oldest first; remembers one leg."""

    def __init__(self, ground: Ground, swath: Swath) -> None:
        self._ground = ground
        half, gap = swath.width_m / 2, swath.nadir_gap_m / 2
        self._sides = [(-half, half)] if gap == 0.0 else [(-half, -gap), (gap, half)]
        self._last: _Laid | None = None
        self._before: float | None = None
        self._pass: tuple[int, float] | None = None

    def take(self, leg: Leg) -> None:
        """Take the next leg; one that doesn't begin where the last ended begins a new run."""
        if self._last is not None and self._last.leg.end != leg.start:
            self.end()
        laid = self._placed(leg)
        if self._last is not None:
            self._lay(self._last, laid.course)
            self._before = self._last.course
        self._last = laid

    def end(self) -> None:
        """End the run: what comes next doesn't join it. What is shown stays until `show`: `work` may be under way."""
        if self._last is not None:
            self._lay(self._last, None)
        self._last = self._before = None
        self._close()

    def show(self, begun: Leg | None = None) -> None:
        """Let what isn't laid yet count in the ground: the last leg, and one that has only begun."""
        tail, before, after = [], self._before, None
        if begun is not None and self._last is not None and self._last.leg.end == begun.start:
            after = self._placed(begun)
        if self._last is not None:
            tail.append(self._shown(self._last, before, None if after is None else after.course))
            before = self._last.course
        if after is not None:
            tail.append(self._shown(after, before, None))
        self._ground.show(self, tail)

    def _shown(self, laid: "_Laid", before: float | None, after: float | None) -> tuple[int, tuple[Quad, ...]]:
        """Return the pass that a leg would belong to (0 for a new one), and what it would have seen."""
        bows = _bows(laid, before, after)
        if bows is None or abs(_turn(*bows)) > radians(PASS_TURN_DEG):
            return 0, ()
        return 0 if self._pass is None or self._turned(bows) else self._pass[0], self._quads(laid, bows)

    def _placed(self, leg: Leg) -> "_Laid":
        origin = self._ground.origin
        start, end = (placed("a position of the track", point.place, origin) for point in (leg.start, leg.end))
        return _Laid(leg, start, end, _course(start, end))

    def _lay(self, laid: "_Laid", after: float | None) -> None:
        """Lay the swath of a leg, now that the course after it is known."""
        bows = _bows(laid, self._before, after)
        if bows is None:
            return
        if self._turned(bows):
            self._close()
        if abs(_turn(*bows)) > radians(PASS_TURN_DEG):
            return
        if self._pass is None:
            self._pass = self._ground.begin(), bows[0]
        self._ground.lay(self._pass[0], self._quads(laid, bows))

    def _turned(self, bows: tuple[float, float]) -> bool:
        """Return whether the heading has turned so far since the pass began that it is over."""
        if self._pass is None:
            return False
        return max(abs(_turn(self._pass[1], bow)) for bow in bows) > radians(PASS_TURN_DEG)

    def _quads(self, laid: "_Laid", bows: tuple[float, float]) -> tuple[Quad, ...]:
        one, other = _Across(*laid.start[:2], bows[0]), _Across(*laid.end[:2], bows[1])
        return tuple((one.at(near), one.at(far), other.at(far), other.at(near)) for near, far in self._sides)

    def _close(self) -> None:
        if self._pass is not None:
            self._ground.lay(self._pass[0], ())
        self._pass = None


@dataclass(frozen=True, slots=True)
class _Laid:
    """A leg in the plane, and its course there."""

    leg: Leg
    start: Placed
    end: Placed
    course: float | None

    def bow(self, point: TrackPoint, placed: Placed) -> float | None:
        """Return the direction of the bow at one of its ends in the plane, None where it isn't known."""
        return None if point.heading_deg is None else radians(point.heading_deg + placed[2])


def _bows(laid: _Laid, before: float | None, after: float | None) -> tuple[float, float] | None:
    """Return the bow's directions at both ends of a leg between the courses before and after; None if nothing moved."""
    start = _bow(laid.bow(laid.leg.start, laid.start), laid.course, before)
    end = _bow(laid.bow(laid.leg.end, laid.end), laid.course, after)
    return None if start is None or end is None else (start, end)


def _bow(known: float | None, course: float | None, beside: float | None) -> float | None:
    """Return the bow's direction at the end of a leg: the known one, else the course's, else None (nothing moved)."""
    if known is not None or course is None or beside is None:
        return course if known is None else known
    bend = _turn(course, beside)
    return course + bend / 2 if abs(bend) <= radians(JOIN_DEG) else course


def _turn(before: float, after: float) -> float:
    """Return the angle from one direction to another, radians, from -pi to pi."""
    return remainder(after - before, tau)


def _course(before: Placed, after: Placed) -> float | None:
    """Return the direction from one place to the next, radians from the plane's north; None if they are one."""
    east_m, north_m = after[0] - before[0], after[1] - before[1]
    return atan2(east_m, north_m) if east_m or north_m else None
