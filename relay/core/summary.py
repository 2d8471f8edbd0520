"""What a dive comes to, for a list of dives and the first words of a page: from released records alone (R7).

Rules: the same records give the same summary, however often it was asked for on the way; of a track no more than
`MOST_POINTS` are kept, so that a picture of a long dive costs no more than one of a short dive.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import dist
from typing import Any

from relay.core.errors import RecordingError
from relay.core.figures import Counting, Figures
from relay.core.release import Kind
from relay.core.wire import WireRecord

Point = tuple[float, float]
MOST_POINTS = 4_000


@dataclass(frozen=True, slots=True)
class VehicleNow:
    """What the last record says of one vehicle; None where it doesn't."""

    name: str
    heard: bool
    depth_m: float | None = None
    altitude: str | None = None
    mode: str | None = None
    leg: str | None = None


@dataclass(frozen=True, slots=True)
class Summary:
    """One dive so far.

    `tracks`: of each vehicle, the unbroken pieces of its track in metres of the frame, thinned where it is long.
    """

    dive: int
    closed: bool
    header: dict[str, Any]
    length_s: float
    deepest_m: float | None
    vehicles: tuple[VehicleNow, ...]
    tracks: tuple[tuple[tuple[Point, ...], ...], ...]
    note: str | None
    figures: Figures

    @property
    def bottom_s(self) -> float:
        """Time at the bottom of all vehicles together."""
        return sum(vehicle.bottom_s or 0.0 for vehicle in self.figures.vehicles)

    @property
    def distance_m(self) -> float:
        """Way of all vehicles together."""
        return sum(vehicle.distance_m or 0.0 for vehicle in self.figures.vehicles)


class Gathering:
    """What a dive comes to, as its records come: nothing is read twice, however long the dive."""

    def __init__(self, first: WireRecord) -> None:
        """`first` begins the dive; RecordingError if it is no such record."""
        if first.kind != Kind.DIVE or not isinstance(first.body, dict):
            raise RecordingError("the first record of a dive doesn't begin it")
        self._first = first
        self._names: list[str] = first.body["vehicles"]
        self._counting = Counting(first.body)
        self._tracks = [_Track() for _ in self._names]
        self._now = [VehicleNow(name, heard=False) for name in self._names]
        self._deepest_m: float | None = None
        self._length_s = 0.0
        self._note: str | None = None
        self._closed = False

    def take(self, record: WireRecord) -> None:
        """Take the next record."""
        self._length_s = record.elapsed_s
        self._counting.take(record)
        if record.kind == Kind.TICK:
            for at, row in enumerate(record.body):
                self._take_row(at, row)
        elif record.kind in (Kind.NOTE, Kind.STILL):
            self._note = record.body[1]
        elif record.kind == Kind.END:
            self._closed = True

    def _take_row(self, at: int, row: Sequence[Any]) -> None:
        name = self._names[at]
        heard = row[0] == "reporting"
        self._now[at] = VehicleNow(name, True, row[3], row[5], row[6], row[7]) if heard else VehicleNow(name, False)
        self._tracks[at].take(row[1], row[2])
        if row[3] is not None and (self._deepest_m is None or row[3] > self._deepest_m):
            self._deepest_m = row[3]

    def summary(self) -> Summary:
        """Return what the dive comes to so far."""
        return Summary(
            dive=self._first.dive,
            closed=self._closed,
            header=self._first.body,
            length_s=self._length_s,
            deepest_m=self._deepest_m,
            vehicles=tuple(self._now),
            tracks=tuple(tuple(map(tuple, track.pieces)) for track in self._tracks),
            note=self._note,
            figures=self._counting.figures(),
        )


class _Track:
    """A track's pieces: where no position was shown it breaks, and a cell held is one point.

    Each time there are too many points those nearer to each other than a distance go, and the distance is doubled: a
    piece keeps its ends, and pieces that lie nearer than that become one.
    """

    def __init__(self) -> None:
        self.pieces: list[list[Point]] = []
        self._broken = True
        self._count = 0
        self._apart_m = 0.0

    def take(self, east_m: float | None, north_m: float | None) -> None:
        """Take the position of the next tick, or none."""
        if east_m is None or north_m is None:
            self._broken = True
            return
        self._add((east_m, north_m))
        if self._count > MOST_POINTS:
            self._thin()

    def _add(self, point: Point) -> None:
        if self._broken and not (self.pieces and self._is_near(self.pieces[-1][-1], point)):
            self.pieces.append([])
        self._broken = False
        piece = self.pieces[-1]
        if piece and piece[-1] == point:
            return
        if len(piece) > 1 and self._is_near(piece[-2], piece[-1]):
            piece[-1] = point
            return
        piece.append(point)
        self._count += 1

    def _is_near(self, one: Point, other: Point) -> bool:
        return dist(one, other) < self._apart_m

    def _thin(self) -> None:
        while self._count > MOST_POINTS * 3 // 4:
            self._apart_m = 2 * self._apart_m or 1.0
            before, self.pieces, self._count = self.pieces, [], 0
            for piece in before:
                self._broken = True
                for point in piece:
                    self._add(point)
                self._broken = False


def summary(records: Sequence[WireRecord]) -> Summary:
    """Return what a dive's records so far come to; the first of them begins it."""
    gathering = Gathering(records[0])
    for record in records[1:]:
        gathering.take(record)
    return gathering.summary()
