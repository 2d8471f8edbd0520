"""Numbers for followers: distance run, speed, time at the bottom, area covered, targets checked.

Rules (R7): computed from released records as a reader has them (`WireRecord`), never from exact values, so that a
number can't tell more than the records do. Positions are taken once in `SAMPLE_S` of dive time: a vehicle that
wavers at the edge of a cell runs no distance. Areas by shapely (the union of the
swath beside each stretch of track, so that a turn covers nothing of its own).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import dist
from typing import Any

from relay.core.release import Kind
from relay.core.wire import WireRecord

SAMPLE_S = 60.0
BREAK_S = 150.0
SPEED_OVER_S = 300.0

Point = tuple[float, float]


@dataclass(slots=True)
class _Run:
    """What is gathered of one vehicle: sampled track in unbroken pieces, and time at the bottom."""

    pieces: list[list[Point]] = field(default_factory=list)
    times_s: list[float] = field(default_factory=list)
    points: list[Point] = field(default_factory=list)
    bottom_s: float = 0.0
    knows_legs: bool = False

    def take(self, row: Sequence[Any], elapsed_s: float, tick_s: float) -> None:
        """Take one vehicle's part of a tick record."""
        east_m, north_m, leg = row[1], row[2], row[7]
        self.knows_legs = self.knows_legs or leg is not None
        self.bottom_s += tick_s if leg == "bottom" else 0.0
        if east_m is None or north_m is None or (self.times_s and elapsed_s - self.times_s[-1] < SAMPLE_S):
            return
        if not self.times_s or elapsed_s - self.times_s[-1] > BREAK_S:
            self.pieces.append([])
        self.pieces[-1].append((east_m, north_m))
        self.times_s.append(elapsed_s)
        self.points.append((east_m, north_m))


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
        self._targets: dict[str, str] = {}

    def take(self, record: WireRecord) -> None:
        """Take the next record of the dive."""
        if record.kind == Kind.TICK:
            for run, row in zip(self._runs, record.body, strict=True):
                run.take(row, record.elapsed_s, self._header["tick_s"])
        elif record.kind == Kind.TARGET:
            self._targets[record.body[1]] = record.body[2]

    def figures(self) -> Figures:
        """Return the numbers so far."""
        vehicles = tuple(_of(name, run) for name, run in zip(self._header["vehicles"], self._runs, strict=True))
        return Figures(vehicles, _area_m2(self._runs, self._header.get("swath_m")), dict(self._targets))


def figures(records: Iterable[WireRecord]) -> Figures:
    """Return the numbers of a dive's records so far, the first of which begins it."""
    ordered = iter(records)
    counting = Counting(next(ordered).body)
    for record in ordered:
        counting.take(record)
    return counting.figures()


def _of(name: str, run: _Run) -> VehicleFigures:
    moved = [dist(a, b) for piece in run.pieces for a, b in pairwise(piece)]
    return VehicleFigures(
        name, sum(moved) if run.points else None, _speed_mps(run), run.bottom_s if run.knows_legs else None
    )


def _speed_mps(run: _Run) -> float | None:
    """Return the speed over the last minutes of the last unbroken piece."""
    piece = run.pieces[-1] if run.pieces else []
    times = run.times_s[len(run.times_s) - len(piece) :]
    recent = [(at, point) for at, point in zip(times, piece, strict=True) if times[-1] - at <= SPEED_OVER_S]
    if len(recent) < 2:
        return None
    way = sum(dist(a[1], b[1]) for a, b in pairwise(recent))
    return way / (recent[-1][0] - recent[0][0])


def _area_m2(runs: list[_Run], swath_m: float | None) -> float | None:
    if swath_m is None:
        return None
    from shapely import LineString, union_all  # numpy comes with it: only where a swath is stated

    pairs = [pair for run in runs for piece in run.pieces for pair in pairwise(piece)]
    strips = [LineString(pair).buffer(swath_m / 2, cap_style="flat") for pair in pairs if pair[0] != pair[1]]
    return float(union_all(strips).area) if strips else 0.0
