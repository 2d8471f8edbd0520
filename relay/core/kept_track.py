"""A track to be drawn, in so many points at most however long it gets, each a report's own, and none far off.

Rules: exact, for the ship alone.
1. A line from point to point, each coordinate running evenly in time between them, passes every report taken at its
   own moment within `error_m` in each coordinate (east, north, depth).
2. There are never more than `most` points. When there would be, the tolerance is doubled and points that the new one
   allows are left out; as it doubles each time, all that was left out earlier adds up to less than it.
3. A point is one of the reports, never a mean. The newest report is always the last point.
Work: each report costs the same, whatever came before it; a doubling costs `most` steps, and there are only as many of
them as the track's extent has doublings of `begin_m`.
"""

from dataclasses import dataclass
from math import inf
from typing import NamedTuple


class TrackSpot(NamedTuple):
    """A report's moment (microseconds of the embargo clock) and metres east, north and below the surface."""

    at_us: int
    east_m: float
    north_m: float
    depth_m: float


@dataclass(slots=True)
class _Door:
    """From one point on: the slopes that keep every report since within the tolerance, one span each coordinate."""

    start: TrackSpot
    low: list[float]
    high: list[float]

    @classmethod
    def at(cls, start: TrackSpot) -> "_Door":
        return cls(start, [-inf] * 3, [inf] * 3)

    def lets(self, spot: TrackSpot) -> bool:
        """Return whether a line from the start to this report passes all those since within the tolerance."""
        return all(self.low[at] <= slope <= self.high[at] for at, slope in enumerate(self._slopes(spot)))

    def narrow(self, spot: TrackSpot, tolerance_m: float) -> None:
        """Keep to what passes this report, too."""
        span = tolerance_m / (spot.at_us - self.start.at_us)
        for at, slope in enumerate(self._slopes(spot)):
            self.low[at] = max(self.low[at], slope - span)
            self.high[at] = min(self.high[at], slope + span)

    def _slopes(self, spot: TrackSpot) -> tuple[float, float, float]:
        since = spot.at_us - self.start.at_us
        return tuple((spot[at] - self.start[at]) / since for at in (1, 2, 3))  # type: ignore[return-value]


class KeptTrack:
    """The track of one vehicle, as its reports come, oldest first."""

    def __init__(self, most: int = 600, begin_m: float = 0.25) -> None:
        self._most, self._begin_m, self._tolerance_m = most, begin_m, begin_m
        self._points: list[TrackSpot] = []
        self._newest: TrackSpot | None = None
        self._door: _Door | None = None
        self.steps = 0

    @property
    def error_m(self) -> float:
        """How far off a report may be at most, in each coordinate."""
        return 2 * self._tolerance_m - self._begin_m

    def points(self) -> list[TrackSpot]:
        """Return the points, oldest first."""
        return self._points + ([] if self._newest is None else [self._newest])

    def take(self, spot: TrackSpot) -> None:
        """Take the next report; one that isn't newer than the last replaces nothing."""
        last = self._newest or (self._points[-1] if self._points else None)
        if last is not None and spot.at_us <= last.at_us:
            return
        self._add(spot)
        while len(self._points) + 1 > self._most:
            self._thin()

    def _add(self, spot: TrackSpot) -> None:
        self.steps += 1
        if self._door is None:
            self._points.append(spot)
            self._door = _Door.at(spot)
            return
        if not self._door.lets(spot):
            assert self._newest is not None
            self._points.append(self._newest)
            self._door = _Door.at(self._newest)
        self._door.narrow(spot, self._tolerance_m)
        self._newest = spot

    def _thin(self) -> None:
        """Double the tolerance and leave out what it allows."""
        self._tolerance_m *= 2
        points = self.points()
        self._points, self._newest, self._door = [], None, None
        for point in points:
            self._add(point)
