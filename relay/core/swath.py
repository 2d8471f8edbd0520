"""The ground that side-scan sonar has covered: each spot once, what was seen again, and how much of a plan is done.

Rules: exact, for the ship alone; shapely does the areas (it brings numpy, so it is imported where it is used).
1. The plane is the azimuthal equidistant one about an origin. An area there is too great by d²/6R² at the distance d
   (R the Earth's radius): 1 in 25,000 at 100 km; what lies further than `FURTHEST_M` from the origin is refused.
2. Between two positions that make a leg (`survey`) the swath is what lies between the lines across the vehicle at both:
   half the width to either side, square to its heading (a crabbing vehicle needs it). Where no heading is known it is
   square to the course: halfway between the two legs' where they bend by `JOIN_DEG` at most, else each leg ends
   square to itself. So ends are flat, and gaps stay uncovered.
3. The strip below the vehicle, `nadir_gap_m` wide in all, isn't covered until another pass sees it.
4. A pass ends where the heading has turned by more than `PASS_TURN_DEG` from that at its begin, and where legs break; a
   leg that turns by more than that in itself covers nothing, because nobody knows how it turned. Ground is seen again
   where another pass sees it; a vehicle that yaws sees nothing again. Give only the lines, without the turns between
   them, if what was recorded in turns isn't used.
5. `Ground` takes legs as they come, in bounded memory: an outline of more than `MOST_CORNERS` corners is drawn anew
   with fewer, `loosened_m` off at most; nothing else is lost, however the legs are handed in.
"""

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from math import atan2, cos, radians, remainder, sin, tau
from typing import Any

from relay.core import given
from relay.core.errors import SurveyError
from relay.core.geodesy import Anchor, plane
from relay.core.survey import Leg, LegRule, TrackPoint, legs_of

FURTHEST_M = 100_000.0
WIDEST_M = 20_000.0
LEAST_PLAN_M2 = 1.0
PASS_TURN_DEG = 60.0
JOIN_DEG = 30.0

MOST_CORNERS = 20_000
LOOSEN_M = 0.25

Point = tuple[float, float]
Quad = tuple[Point, Point, Point, Point]
Placed = tuple[float, float, float]


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
class Piece:
    """A connected piece of covered ground: its outline and the holes in it, closed rings of metres east and north."""

    outline: tuple[Point, ...]
    holes: tuple[tuple[Point, ...], ...]


@dataclass(frozen=True, slots=True)
class Coverage:
    """What was covered.

    Areas in square metres; `again_share` is the part of the covered area that two passes or more have seen (0 to 1);
    `planned_m2` and `planned_percent` are None without a plan; `origin` is what the pieces' metres are about.
    """

    origin: given.Position
    pieces: tuple[Piece, ...]
    passes: int
    area_m2: float
    again_share: float
    planned_m2: float | None
    planned_percent: float | None


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


def check_plan(plan: Sequence[given.Position]) -> None:
    """Raise SurveyError if these corners are no ring, or reach too far from the first one."""
    _ring(plan, plan[0])


class Ground:
    """What some strips have covered, about one origin. Strips add to it; `work` does the areas, and may be a thread.

    One `work` or `covered` at a time; strips may go on meanwhile.
    """

    def __init__(self, origin: given.Position, most_corners: int = MOST_CORNERS) -> None:
        from shapely import Polygon

        self.origin = origin
        self.loosened_m, self._next_m = 0.0, LOOSEN_M
        self._most = most_corners
        self._laid: deque[tuple[int, tuple[Quad, ...]]] = deque()
        self._begun = self._closed = 0
        self._covered: Any = Polygon()
        self._again: Any = Polygon()
        self._open: dict[int, Any] = {}

    @property
    def waiting(self) -> int:
        """How many legs wait for `work`."""
        return len(self._laid)

    def begin(self) -> int:
        """Return the number of a new pass."""
        self._begun += 1
        return self._begun

    def lay(self, one: int, quads: tuple[Quad, ...]) -> None:
        """Add to a pass what a leg of it has seen; without any the pass is over."""
        self._laid.append((one, quads))

    def work(self, most: int = 100_000) -> bool:
        """Join what was laid since the last time, so many legs at most; return whether there is more."""
        for one, laid in _by_pass(self._laid, most).items():
            self._grow(one, [quad for quads in laid for quad in quads])
            if () in laid and (strip := self._open.pop(one, None)) is not None:
                self._join(strip)
        return bool(self._laid)

    def covered(self, plan: Sequence[given.Position] | None = None, others: Sequence["Ground"] = ()) -> Coverage:
        """Return what is covered now; the plan's share counts what other grounds about the same origin have, too."""
        from shapely import union_all

        covered, again = self._covered, self._again
        for strip in self._open.values():
            again = union_all([again, covered.intersection(strip)])
            covered = covered.union(strip)
        area_m2 = float(covered.area)
        planned_m2 = percent = None
        if plan is not None:
            ring = _ring(plan, self.origin)
            whole = union_all([covered, *(ground.whole() for ground in others)])
            planned_m2 = float(ring.area)
            percent = 100.0 * float(whole.intersection(ring).area) / planned_m2
        share = float(again.area) / area_m2 if area_m2 else 0.0
        passes = self._closed + len(self._open)
        return Coverage(self.origin, _pieces(covered), passes, area_m2, share, planned_m2, percent)

    def whole(self) -> Any:
        """Return the union of all passes."""
        from shapely import union_all

        return union_all([self._covered, *self._open.values()])

    def _grow(self, one: int, quads: list[Quad]) -> None:
        """Add to the ground of a pass."""
        from shapely import make_valid, polygons, union_all

        if not quads:
            return
        # Where the vehicle turns sharply the lines cross, and what is between them is two triangles.
        laid = make_valid(polygons(quads), method="structure", keep_collapsed=False)
        before = [self._open[one]] if one in self._open else []
        self._open[one] = self._loose(union_all([*before, *laid]))

    def _join(self, strip: Any) -> None:
        """Join the ground of a pass that is over with that of all others."""
        from shapely import union_all

        self._again = self._loose(union_all([self._again, self._covered.intersection(strip)]))
        self._covered = self._loose(self._covered.union(strip))
        self._closed += 1

    def _loose(self, ground: Any) -> Any:
        """Return ground with no more corners than are kept: each time twice as loose, so that errors don't add up."""
        from shapely import get_num_coordinates, polygons, union_all

        while get_num_coordinates(ground) > self._most:
            by_m, self._next_m = self._next_m, 2 * self._next_m
            self.loosened_m += by_m
            pieces = _pieces(ground.simplify(by_m))
            ground = union_all([_without_specks(polygons(piece.outline), piece.holes, by_m**2) for piece in pieces])
        return ground


def _without_specks(outline: Any, holes: Sequence[Sequence[Point]], least_m2: float) -> Any:
    """Return a piece of ground without holes smaller than this; nothing if it is smaller itself."""
    from shapely import Polygon

    if outline.area < least_m2:
        return Polygon()
    return Polygon(outline.exterior, [hole for hole in holes if Polygon(hole).area >= least_m2])


def _by_pass(laid: "deque[tuple[int, tuple[Quad, ...]]]", most: int) -> dict[int, list[tuple[Quad, ...]]]:
    """Take at most so many legs; return what each pass has of them."""
    passes: dict[int, list[tuple[Quad, ...]]] = {}
    for _ in range(min(most, len(laid))):
        one, quads = laid.popleft()
        passes.setdefault(one, []).append(quads)
    return passes


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
        ends = [_placed("a position of the track", point.place, self._ground.origin) for point in (leg.start, leg.end)]
        laid = _Laid(leg, ends[0], ends[1], _course(*ends))
        if self._last is not None:
            self._lay(self._last, laid.course)
            self._before = self._last.course
        self._last = laid

    def end(self) -> None:
        """End the run: what comes next doesn't join it."""
        if self._last is not None:
            self._lay(self._last, None)
        self._last = self._before = None
        self._close()

    def _lay(self, laid: "_Laid", after: float | None) -> None:
        """Lay the swath of a leg, now that the course after it is known."""
        start = _bow(laid.bow(laid.leg.start, laid.start), laid.course, self._before)
        end = _bow(laid.bow(laid.leg.end, laid.end), laid.course, after)
        if start is None or end is None:
            return
        most = radians(PASS_TURN_DEG)
        if self._pass is not None and max(abs(_turn(self._pass[1], bow)) for bow in (start, end)) > most:
            self._close()
        if abs(_turn(start, end)) > most:
            return
        if self._pass is None:
            self._pass = self._ground.begin(), start
        one, other = _Across(*laid.start[:2], start), _Across(*laid.end[:2], end)
        quads = tuple((one.at(near), one.at(far), other.at(far), other.at(near)) for near, far in self._sides)
        self._ground.lay(self._pass[0], quads)

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


def _bow(known: float | None, course: float | None, beside: float | None) -> float | None:
    """Return the bow's direction at the end of a leg: the known one, else the course's, else None (nothing moved)."""
    if known is not None or course is None or beside is None:
        return course if known is None else known
    bend = _turn(course, beside)
    return course + bend / 2 if abs(bend) <= radians(JOIN_DEG) else course


def _turn(before: float, after: float) -> float:
    """Return the angle from one direction to another, radians, from -pi to pi."""
    return remainder(after - before, tau)


def _placed(whose: str, place: given.Position, origin: given.Position) -> Placed:
    """Return metres east and north of a place, and what to add to a true heading there to have it in the plane."""
    if place == origin:
        return 0.0, 0.0, 0.0
    east_m, north_m, turn_deg, distance_m = plane(*place, Anchor(*origin, 0))
    if distance_m > FURTHEST_M:
        # Which place it is isn't said: messages may end in a log, exact positions mustn't.
        raise SurveyError(f"{whose} lies {distance_m:.0f} m from the origin: take one within {FURTHEST_M:.0f} m of all")
    return east_m, north_m, turn_deg


def _course(before: Placed, after: Placed) -> float | None:
    """Return the direction from one place to the next, radians from the plane's north; None if they are one."""
    east_m, north_m = after[0] - before[0], after[1] - before[1]
    return atan2(east_m, north_m) if east_m or north_m else None


def _ring(plan: Sequence[given.Position], origin: given.Position) -> Any:
    """Return a plan as a polygon in the plane, its edges straight there."""
    from shapely import Polygon

    corners = [
        _placed(whose, given.position(f"{whose}:", *place), origin)[:2]
        for whose, place in ((f"plan's corner {at}", place) for at, place in enumerate(plan, 1))
    ]
    if len(set(corners)) < 3:
        raise SurveyError(f"the plan has {len(set(corners))} different corners: give at least 3")
    ring = Polygon(corners)
    if ring.convex_hull.area < LEAST_PLAN_M2:
        raise SurveyError("the plan is no ring, it encloses nothing: give corners that don't lie in one line")
    if not ring.is_valid:
        raise SurveyError("the plan is no ring, it crosses itself: give its corners in their order round it")
    return ring


def _pieces(ground: Any) -> tuple[Piece, ...]:
    from shapely import get_parts

    return tuple(
        Piece(tuple(part.exterior.coords), tuple(tuple(hole.coords) for hole in part.interiors))
        for part in get_parts(ground)
        if part.geom_type == "Polygon" and not part.is_empty
    )
