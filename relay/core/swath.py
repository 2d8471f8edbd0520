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
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
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

Point = tuple[float, float]
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
    covered, again, passes = _joined(
        strip for one in swept for strip in _passes(legs_of(one.track, rule), one.swath, about)
    )
    area_m2 = float(covered.area)
    planned_m2 = percent = None
    if plan is not None:
        ring = _ring(plan, about)
        planned_m2 = float(ring.area)
        percent = 100.0 * float(covered.intersection(ring).area) / planned_m2
    share = float(again.area) / area_m2 if area_m2 else 0.0
    return Coverage(about, _pieces(covered), passes, area_m2, share, planned_m2, percent)


def check_plan(plan: Sequence[given.Position]) -> None:
    """Raise SurveyError if these corners are no ring, or reach too far from the first one."""
    _ring(plan, plan[0])


def _joined(strips: Iterable[Any]) -> tuple[Any, Any, int]:
    """Return the union of all passes, the union of what two or more have in common, and how many there are."""
    from shapely import Polygon, union_all

    covered = again = Polygon()
    passes = 0
    for strip in strips:
        again = union_all([again, covered.intersection(strip)])
        covered = covered.union(strip)
        passes += 1
    return covered, again, passes


def _passes(legs: list[Leg], swath: Swath, origin: given.Position) -> Iterator[Any]:
    """Yield the ground of each pass."""
    from shapely import make_valid, polygons, union_all

    sides = [(-swath.width_m / 2, -swath.nadir_gap_m / 2), (swath.nadir_gap_m / 2, swath.width_m / 2)]
    if swath.nadir_gap_m == 0.0:
        sides = [(-swath.width_m / 2, swath.width_m / 2)]
    for run in _runs(legs):
        for one in _straight(_ends(run, origin)):
            quads = [
                [before.at(inner), before.at(outer), after.at(outer), after.at(inner)]
                for before, after in one
                for inner, outer in sides
            ]
            # Where the vehicle turns sharply the lines cross, and what is between them is two triangles.
            yield union_all(make_valid(polygons(quads), method="structure", keep_collapsed=False))


def _runs(legs: list[Leg]) -> Iterator[list[TrackPoint]]:
    """Yield the positions of each run of legs that join."""
    run: list[TrackPoint] = []
    for leg in legs:
        if run and run[-1] is not leg.start:
            yield run
            run = []
        run += [leg.end] if run else [leg.start, leg.end]
    if run:
        yield run


def _ends(run: list[TrackPoint], origin: given.Position) -> Iterator[tuple[_Across, _Across]]:
    """Yield the lines across the vehicle at both ends of each leg of a run, in the plane."""
    placed = [_placed("a position of the track", point.place, origin) for point in run]
    courses = [_course(before, after) for before, after in pairwise(placed)]
    bows = [
        None if point.heading_deg is None else radians(point.heading_deg + turn_deg)
        for point, (_, _, turn_deg) in zip(run, placed, strict=True)
    ]
    for at, course in enumerate(courses):
        start = _bow(bows[at], course, courses[at - 1] if at else None)
        end = _bow(bows[at + 1], course, courses[at + 1] if at + 1 < len(courses) else None)
        if start is not None and end is not None:
            yield _Across(*placed[at][:2], start), _Across(*placed[at + 1][:2], end)


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


def _straight(ends: Iterable[tuple[_Across, _Across]]) -> Iterator[list[tuple[_Across, _Across]]]:
    """Yield the passes of a run, leaving out legs that turn too far in themselves."""
    most, one = radians(PASS_TURN_DEG), list[tuple[_Across, _Across]]()
    for start, end in ends:
        if one and max(abs(_turn(one[0][0].bow, line.bow)) for line in (start, end)) > most:
            yield one
            one = []
        if abs(_turn(start.bow, end.bow)) <= most:
            one.append((start, end))
    if one:
        yield one


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
