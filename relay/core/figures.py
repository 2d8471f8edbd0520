"""Numbers for followers: distance run, speed, time at the bottom, area covered, targets checked.

Rules (R7): computed from released records as a reader has them (`WireRecord`), never from exact values, so that a
number can't tell more than the records do. Positions are taken once in `SAMPLE_S` of dive time: a vehicle that
wavers at the edge of a cell runs no distance. Areas by shapely (the union of the
swath beside each stretch of track, so that a turn covers nothing of its own). Asking for the numbers costs the same
however long the dive is: what was counted isn't counted again.
"""

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import dist, inf
from typing import Any

from relay.core.release import Kind
from relay.core.wire import WireRecord

SAMPLE_S = 60.0
BREAK_S = 150.0
SPEED_OVER_S = 300.0
JOINED_AT_ONCE = 64

Point = tuple[float, float]


@dataclass(slots=True)
class _Run:
    """What is gathered of one vehicle: the samples of the last minutes, way run and time at the bottom."""

    recent: deque[tuple[float, Point]] = field(default_factory=deque)
    moved_m: float = 0.0
    bottom_s: float = 0.0
    knows_legs: bool = False

    def take(self, row: Sequence[Any], elapsed_s: float, tick_s: float) -> tuple[Point, Point] | None:
        """Take one vehicle's part of a tick record; return the stretch of track it adds, if it adds one."""
        east_m, north_m, leg = row[1], row[2], row[7]
        self.knows_legs = self.knows_legs or leg is not None
        self.bottom_s += tick_s if leg == "bottom" else 0.0
        since_s = elapsed_s - self.recent[-1][0] if self.recent else inf
        if east_m is None or north_m is None or since_s < SAMPLE_S:
            return None
        if since_s > BREAK_S:
            self.recent.clear()
        before = self.recent[-1][1] if self.recent else None
        self.recent.append((elapsed_s, (east_m, north_m)))
        while elapsed_s - self.recent[0][0] > SPEED_OVER_S:
            self.recent.popleft()
        if before is None:
            return None
        self.moved_m += dist(before, (east_m, north_m))
        return before, (east_m, north_m)


class _Ground:
    """The union of the strips beside stretches of track, joined a block at a time so that none is joined often."""

    def __init__(self, swath_m: float | None) -> None:
        self._swath_m = swath_m
        self._joined: Any = None
        self._loose: list[tuple[Point, Point]] = []
        self._area_m2: float | None = None if swath_m is None else 0.0

    def take(self, stretch: tuple[Point, Point]) -> None:
        """Take the next stretch of any vehicle's track."""
        if self._swath_m is None or stretch[0] == stretch[1]:
            return
        self._loose.append(stretch)
        self._area_m2 = None
        if len(self._loose) == JOINED_AT_ONCE:
            self._joined, self._loose = self._union(), []

    def area_m2(self) -> float | None:
        """Return the area of the union; None where no swath is stated."""
        if self._swath_m is not None and self._area_m2 is None:
            self._area_m2 = float(self._union().area)
        return self._area_m2

    def _union(self) -> Any:
        from shapely import LineString, union_all  # numpy comes with it: only where a swath is stated

        assert self._swath_m is not None
        strips = [LineString(pair).buffer(self._swath_m / 2, cap_style="flat") for pair in self._loose]
        return union_all(strips if self._joined is None else [self._joined, *strips])


@dataclass(frozen=True, slots=True)
class VehicleFigures:
    """Numbers of one vehicle; None where the records don't tell."""

    vehicle: str
    distance_m: float | None
    speed_mps: float | None
    bottom_s: float | None


@dataclass(frozen=True, slots=True)
class Figures:
    """Numbers of a dive so far: `area_m2` None where no swath is stated; targets by their last verdict."""

    vehicles: tuple[VehicleFigures, ...]
    area_m2: float | None
    targets: dict[str, str]

    @property
    def targets_checked(self) -> int:
        """How many targets have a verdict."""
        return sum(verdict != "unchecked" for verdict in self.targets.values())


class Counting:
    """The numbers of one dive as its records come."""

    def __init__(self, header: Mapping[str, Any]) -> None:
        self._header = header
        self._runs = [_Run() for _ in header["vehicles"]]
        self._ground = _Ground(header.get("swath_m"))
        self._targets: dict[str, str] = {}

    def take(self, record: WireRecord) -> None:
        """Take the next record of the dive."""
        if record.kind == Kind.TICK:
            for run, row in zip(self._runs, record.body, strict=True):
                stretch = run.take(row, record.elapsed_s, self._header["tick_s"])
                if stretch is not None:
                    self._ground.take(stretch)
        elif record.kind == Kind.TARGET:
            self._targets[record.body[1]] = record.body[2]

    def figures(self) -> Figures:
        """Return the numbers so far."""
        vehicles = tuple(_of(name, run) for name, run in zip(self._header["vehicles"], self._runs, strict=True))
        return Figures(vehicles, self._ground.area_m2(), dict(self._targets))


def figures(records: Iterable[WireRecord]) -> Figures:
    """Return the numbers of a dive's records so far, the first of which begins it."""
    ordered = iter(records)
    counting = Counting(next(ordered).body)
    for record in ordered:
        counting.take(record)
    return counting.figures()


def _of(name: str, run: _Run) -> VehicleFigures:
    moved_m = run.moved_m if run.recent else None
    return VehicleFigures(name, moved_m, _speed_mps(run), run.bottom_s if run.knows_legs else None)


def _speed_mps(run: _Run) -> float | None:
    """Return the speed over the last minutes of the last unbroken piece."""
    if len(run.recent) < 2:
        return None
    way_m = sum(dist(a[1], b[1]) for a, b in pairwise(run.recent))
    return way_m / (run.recent[-1][0] - run.recent[0][0])
