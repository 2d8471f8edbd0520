"""A track to be drawn, in so many points at most however long it gets, each a report's own, and none far off.

Rules: exact, for the ship alone.
1. A line from point to point, each coordinate running evenly in time between them, passes every report taken at its
   own moment within `error_m` in each coordinate (east, north, depth).
2. There are never more than `most` points. When there would be, the tolerance is doubled and points that the new one
   allows are left out; as it doubles each time, all that was left out earlier adds up to less than it.
3. A point is one of the reports, never a mean. The newest report is always the last point.
4. Where nothing told a place for longer than `silence.py` takes for silence, the track breaks: the reports before and
   after it are points, and `broken` tells of the break. There are only so many; of more, the shortest are forgotten.
   How far apart in time points lie says nothing of that: a straight line needs two of them, however long it is.
5. `FixGate` comes before it: a fix that nothing under way could have reached since the last one is set aside, and
   believed only if the next one bears it out, so that one wild fix is neither drawn nor sounds an alarm.
Work: each report costs the same, whatever came before it; a doubling costs `most` steps, and there are only as many of
them as the track's extent has doublings of `begin_m`.
"""

from collections import deque
from collections.abc import Mapping
from math import hypot, inf
from typing import Any, Generic, NamedTuple, TypeVar

from relay.core.silence import GAPS, is_silence

FASTEST_MPS = 15.0  # a ship under way with the vehicle on deck: common practice, no source
NOISE_M = 50.0
US_PER_S = 1_000_000
Fix = TypeVar("Fix")


class TrackSpot(NamedTuple):
    """A report's moment (microseconds of the embargo clock) and metres east, north and below the surface."""

    at_us: int
    east_m: float
    north_m: float
    depth_m: float


class _Door:
    """From one point on: the slopes that keep every report since within the tolerance, one span each coordinate."""

    __slots__ = ("_high", "_low", "_start")

    def __init__(self, start: TrackSpot) -> None:
        self._start = start
        self._low, self._high = (-inf, -inf, -inf), (inf, inf, inf)

    def lets(self, spot: TrackSpot) -> bool:
        """Return whether a line from the start to this report passes all those since within the tolerance."""
        a, b, c = self._slopes(spot)
        low, high = self._low, self._high
        return low[0] <= a <= high[0] and low[1] <= b <= high[1] and low[2] <= c <= high[2]

    def narrow(self, spot: TrackSpot, tolerance_m: float) -> None:
        """Keep to what passes this report, too."""
        a, b, c = self._slopes(spot)
        low, high, span = self._low, self._high, tolerance_m / (spot.at_us - self._start.at_us)
        self._low = max(low[0], a - span), max(low[1], b - span), max(low[2], c - span)
        self._high = min(high[0], a + span), min(high[1], b + span), min(high[2], c + span)

    def _slopes(self, spot: TrackSpot) -> tuple[float, float, float]:
        at_us, east_m, north_m, depth_m = self._start
        since_us = spot.at_us - at_us
        return (
            (spot.east_m - east_m) / since_us,
            (spot.north_m - north_m) / since_us,
            (spot.depth_m - depth_m) / since_us,
        )


class KeptTrack:
    """The track of one vehicle, as its reports come, oldest first."""

    def __init__(self, most: int = 600, begin_m: float = 0.25) -> None:
        self._most, self._begin_m, self._tolerance_m = most, begin_m, begin_m
        self._points: list[TrackSpot] = []
        self._newest: TrackSpot | None = None
        self._door: _Door | None = None
        self._silences_us: dict[int, int] = {}  # by the moment at which each was over: how long it was
        self._gaps: deque[int] = deque(maxlen=GAPS)
        self.steps = 0

    @property
    def error_m(self) -> float:
        """How far off a report may be at most, in each coordinate."""
        return 2 * self._tolerance_m - self._begin_m

    @classmethod
    def restored(cls, saved: Mapping[str, Any], most: int = 600) -> "KeptTrack":
        """Return a track as `saved` gave it; ValueError or KeyError if that is none."""
        track = cls(most, saved["begin_m"])
        track._tolerance_m = saved["tolerance_m"]
        track._points = [TrackSpot(int(at_us), *map(float, metres)) for at_us, *metres in saved["points"]][-most:]
        if track._points:
            track._door = _Door(track._points[-1])
        track._silences_us = {int(over_us): int(long_us) for over_us, long_us in saved.get("silences", ())}
        track._gaps.extend(int(gap_us) for gap_us in saved.get("gaps", ()))
        return track

    def saved(self) -> dict[str, Any]:
        """Return the track as plain values."""
        return {
            "begin_m": self._begin_m,
            "tolerance_m": self._tolerance_m,
            "points": self.points(),
            "silences": list(self._silences_us.items()),
            "gaps": list(self._gaps),
        }

    def points(self) -> list[TrackSpot]:
        """Return the points, oldest first."""
        return self._points + ([] if self._newest is None else [self._newest])

    def broken(self) -> list[TrackSpot | None]:
        """Return the points, oldest first, with a None wherever a silence lies between two of them."""
        broken: list[TrackSpot | None] = []
        for point in self.points():
            broken += [None, point] if broken and point.at_us in self._silences_us else [point]
        return broken

    def take(self, spot: TrackSpot) -> None:
        """Take the next report; one that isn't newer than the last replaces nothing."""
        last = self._newest or (self._points[-1] if self._points else None)
        if last is not None and spot.at_us <= last.at_us:
            return
        if last is not None:
            self._listen(spot.at_us, spot.at_us - last.at_us)
        self._add(spot)
        while len(self._points) + 1 > self._most:
            self._thin()

    def _listen(self, at_us: int, gap_us: int) -> None:
        """Remember the silence that a report ends, if it was one."""
        if is_silence(gap_us, self._gaps):
            self._silences_us[at_us] = gap_us
            if len(self._silences_us) > self._most // 4:  # so that all their ends have room among the points
                del self._silences_us[min(self._silences_us, key=self._silences_us.__getitem__)]
        self._gaps.append(gap_us)

    def _add(self, spot: TrackSpot) -> None:
        self.steps += 1
        if self._door is None or spot.at_us in self._silences_us:
            if self._newest is not None:
                self._points.append(self._newest)
                self._newest = None
            self._points.append(spot)
            self._door = _Door(spot)
            return
        if not self._door.lets(spot):
            assert self._newest is not None
            self._points.append(self._newest)
            self._door = _Door(self._newest)
        self._door.narrow(spot, self._tolerance_m)
        self._newest = spot

    def _thin(self) -> None:
        """Double the tolerance and leave out what it allows."""
        self._tolerance_m *= 2
        points = self.points()
        self._points, self._newest, self._door = [], None, None
        for point in points:
            self._add(point)


class FixGate(Generic[Fix]):
    """Lets the fixes of one vehicle through that it can have reached (rule 4)."""

    def __init__(self) -> None:
        self._last: TrackSpot | None = None
        self._aside: tuple[TrackSpot, Fix] | None = None

    def take(self, spot: TrackSpot, fix: Fix) -> list[tuple[TrackSpot, Fix]]:
        """Take the next fix, and what goes with it.

        Return those that are believed now, oldest first: none, it, or the one aside and it.
        """
        if self._last is not None and spot.at_us <= self._last.at_us:
            return []
        if self._last is not None and _could_run(self._last, spot):
            believed = [(spot, fix)]
        elif self._aside is not None and _could_run(self._aside[0], spot):
            believed = [self._aside, (spot, fix)]
        else:
            self._aside = spot, fix
            return []
        self._last, self._aside = spot, None
        return believed


def _could_run(start: TrackSpot, end: TrackSpot) -> bool:
    since_s = (end.at_us - start.at_us) / US_PER_S
    far_m = hypot(end.east_m - start.east_m, end.north_m - start.north_m)
    return far_m <= FASTEST_MPS * since_s + NOISE_M
