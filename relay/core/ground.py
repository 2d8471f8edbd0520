"""Covered ground: each spot once, what was seen again, and how much of a plan is done; its outline kept bounded.

Rules: exact, for the ship alone; shapely does the areas (it brings numpy, so it is imported where it is used).
1. The plane is the azimuthal equidistant one about an origin. An area there is too great by d²/6R² at the distance d
   (R the Earth's radius): 1 in 25,000 at 100 km; what lies further than `FURTHEST_M` from the origin is refused.
2. Ground is seen again where another pass sees it.
3. Areas go by a grid of `GRID_M`: without one GEOS' unions lose ground now and then where outlines nearly touch.
4. Legs may come in any portions: what is covered is the same. Memory is bounded: an outline of more than `MOST_CORNERS`
   corners is drawn anew with fewer of them, and specks are left out; no edge moves by more than `loosened_m` in all.
"""

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from relay.core import given
from relay.core.errors import SurveyError
from relay.core.geodesy import Anchor, plane

FURTHEST_M = 100_000.0
LEAST_PLAN_M2 = 1.0
MOST_CORNERS = 20_000
LOOSEN_M, LOOSEST_M = 0.25, 64.0
GRID_M = 1e-5

Point = tuple[float, float]
Quad = tuple[Point, Point, Point, Point]
Placed = tuple[float, float, float]


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


class Ground:
    """What some strips have covered, about one origin. Strips add to it; `work` does the areas, and may be a thread.

    One `work` or `covered` at a time; strips may go on meanwhile.
    """

    def __init__(self, origin: given.Position, most_corners: int = MOST_CORNERS) -> None:
        self.origin = origin
        self._most = most_corners
        self._laid: deque[tuple[int, tuple[Quad, ...]]] = deque()
        self._begun = self._closed = 0
        self._covered, self._again = _Outline(most_corners), _Outline(most_corners)
        self._open: dict[int, _Outline] = {}
        self._tails: dict[object, list[tuple[int, tuple[Quad, ...]]]] = {}

    @classmethod
    def restored(cls, origin: given.Position, saved: Mapping[str, Any], most_corners: int = MOST_CORNERS) -> "Ground":
        """Return ground as `saved` gave it; SurveyError if that is none."""
        from shapely import from_wkb
        from shapely.errors import ShapelyError

        ground = cls(origin, most_corners)
        try:
            ground._covered.ground, ground._again.ground = map(_areas, from_wkb([saved["covered"], saved["again"]]))
            ground._covered.loosened_m, ground._covered.next_m = saved["loosened_m"], saved["next_m"]
            ground._closed = saved["passes"]
        except (ShapelyError, KeyError, TypeError) as error:
            raise SurveyError("what was saved of the covered ground can't be read") from error
        return ground

    def saved(self) -> dict[str, Any]:
        """Return what is covered as plain values; a pass under way is over in them."""
        from shapely import to_wkb

        covered, again = self._with(self._under_way())
        return {
            "covered": to_wkb(covered, hex=True),
            "again": to_wkb(again, hex=True),
            "passes": self._closed + len(self._open),
            "loosened_m": self.loosened_m,
            "next_m": self._covered.next_m,
        }

    @property
    def loosened_m(self) -> float:
        """How far an edge may have been moved at most (0.0: none was)."""
        return max(one.loosened_m for one in (self._covered, *self._open.values()))

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

    def show(self, strip: object, tail: list[tuple[int, tuple[Quad, ...]]]) -> None:
        """Let the last legs of a strip count as they look before the next: each to a pass, or to one of its own (0)."""
        self._tails[strip] = tail

    def work(self, most: int = 100_000) -> bool:
        """Join what was laid since the last time, so many legs at most; return whether there is more."""
        for one, laid in _by_pass(self._laid, most).items():
            self._grow(one, [quad for quads in laid for quad in quads])
            if () in laid and (strip := self._open.pop(one, None)) is not None:
                self._join(strip)
        return bool(self._laid)

    def covered(self, plan: Sequence[given.Position] | None = None, others: Sequence["Ground"] = ()) -> Coverage:
        """Return what is covered now; the plan's share counts what other grounds about the same origin have, too."""
        covered, again = self._with(self._under_way())
        area_m2 = float(covered.area)
        planned_m2 = percent = None
        if plan is not None:
            ring = ring_of(plan, self.origin)
            whole = _united([covered, *(ground.whole() for ground in others)])
            planned_m2 = float(ring.area)
            percent = 100.0 * float(whole.intersection(ring, grid_size=GRID_M).area) / planned_m2
        share = float(again.area) / area_m2 if area_m2 else 0.0
        passes = self._closed + len(self._open)
        return Coverage(self.origin, _pieces(covered), passes, area_m2, share, planned_m2, percent)

    def whole(self) -> Any:
        """Return the union of all passes."""
        return self._with(self._under_way())[0]

    def _grow(self, one: int, quads: list[Quad]) -> None:
        """Add to the ground of a pass."""
        if not quads:
            return
        strip = self._open.setdefault(one, _Outline(self._most))
        strip.put(_united([strip.ground, *_ground_of(quads)]))

    def _join(self, strip: "_Outline") -> None:
        """Join the ground of a pass that is over with that of all others."""
        self._covered.loosened_m = max(self._covered.loosened_m, strip.loosened_m)
        covered, again = self._with([strip.ground])
        self._again.put(again)
        self._covered.put(covered)
        self._closed += 1

    def _under_way(self) -> list[Any]:
        """Return the ground of each pass that isn't over, its last leg included."""
        passes = {one: [strip.ground] for one, strip in self._open.items()}
        fresh: list[Any] = []
        for one, quads in (leg for tail in list(self._tails.values()) for leg in tail):
            passes.get(one, fresh).extend(_ground_of(quads))
        return [_united(parts) for parts in (*passes.values(), *([one] for one in fresh))]

    def _with(self, strips: Iterable[Any]) -> tuple[Any, Any]:
        """Return the union of all passes, and that of what two or more have in common, with these passes, too."""
        covered, again = self._covered.ground, self._again.ground
        for strip in strips:
            seen = _areas(covered.intersection(strip, grid_size=GRID_M))
            again = _united([again, seen])
            covered = _united([covered, strip])
        return covered, again


class _Outline:
    """Ground with a bounded number of corners.

    What is too much is loosened, each time twice as much as the last, so that what was moved before adds less than
    that; by no more than `LOOSEST_M`, for then so many corners are what there is.
    """

    def __init__(self, most: int) -> None:
        from shapely import Polygon

        self.ground: Any = Polygon()
        self.loosened_m = 0.0
        self.next_m = LOOSEN_M
        self._most = most

    def put(self, ground: Any) -> None:
        """Let it be this ground from now on."""
        from shapely import get_num_coordinates, polygons

        while get_num_coordinates(ground) > self._most and self.next_m <= LOOSEST_M:
            by_m, self.next_m = self.next_m, 2 * self.next_m
            self.loosened_m += by_m
            pieces = _pieces(ground.simplify(by_m))
            kept = [_without_specks(polygons(piece.outline), piece.holes, by_m**2) for piece in pieces]
            ground = _united(kept)
        self.ground = ground


def rings_of(covered: Coverage, most: int = 600) -> list[tuple[Point, ...]]:
    """Return the outlines and holes of covered ground for a drawing, closed rings with so many points at most in all.

    Metres about its origin. Filled by the even-odd rule they are the ground, as loose as so few points need.
    """
    from shapely import polygons

    rings = [ring for piece in covered.pieces for ring in (piece.outline, *piece.holes)]
    by_m = LOOSEN_M
    while sum(map(len, rings)) > most:
        loose = [polygons(ring).simplify(by_m) for ring in rings]
        rings = [tuple(one.exterior.coords) for one in loose if one.area >= by_m**2]
        by_m *= 2
    return rings


def _without_specks(outline: Any, holes: Sequence[Sequence[Point]], least_m2: float) -> Any:
    """Return a piece of ground without holes smaller than this; nothing if it is smaller itself."""
    from shapely import Polygon

    if outline.area < least_m2:
        return Polygon()
    return Polygon(outline.exterior, [hole for hole in holes if Polygon(hole).area >= least_m2])


def _united(grounds: Iterable[Any]) -> Any:
    """Return the union of grounds."""
    from shapely import union_all

    return _areas(union_all(list(grounds), grid_size=GRID_M))


def _areas(ground: Any) -> Any:
    """Return the areas of what may hold lines and points, too, where outlines touch: GEOS takes no such mixture."""
    from shapely import MultiPolygon, get_parts

    if ground.geom_type in ("Polygon", "MultiPolygon"):
        return ground
    return MultiPolygon([part for part in get_parts(ground) if part.geom_type == "Polygon"])


def _ground_of(quads: Sequence[Quad]) -> list[Any]:
    """Return the ground of quads; where the vehicle turns sharply their lines cross: then it is two triangles."""
    from shapely import make_valid, polygons

    return list(make_valid(polygons(quads), method="structure", keep_collapsed=False)) if quads else []


def _by_pass(laid: deque[tuple[int, tuple[Quad, ...]]], most: int) -> dict[int, list[tuple[Quad, ...]]]:
    """Take at most so many legs; return what each pass has of them."""
    passes: dict[int, list[tuple[Quad, ...]]] = {}
    for _ in range(min(most, len(laid))):
        one, quads = laid.popleft()
        passes.setdefault(one, []).append(quads)
    return passes


def placed(whose: str, place: given.Position, origin: given.Position) -> Placed:
    """Return metres east and north of a place, and what to add to a true heading there to have it in the plane."""
    if place == origin:
        return 0.0, 0.0, 0.0
    east_m, north_m, turn_deg, distance_m = plane(*place, Anchor(*origin, 0))
    if distance_m > FURTHEST_M:
        # Which place it is isn't said: messages may end in a log, exact positions mustn't.
        raise SurveyError(f"{whose} lies {distance_m:.0f} m from the origin: take one within {FURTHEST_M:.0f} m of all")
    return east_m, north_m, turn_deg


def ring_of(plan: Sequence[given.Position], origin: given.Position) -> Any:
    """Return a plan as a polygon in the plane, its edges straight there."""
    from shapely import Polygon

    corners = [
        placed(whose, given.position(f"{whose}:", *place), origin)[:2]
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
