"""Cells undone by the moments at which they change.

Rules: at a change the exact value was just past the edge of the cell it left, half a cell and the hysteresis' slack
from its middle; between changes a vehicle moves smoothly. So the smoothest course through the edges is the track, far
within a cell. On a grid that is tied to the Earth that is the place; in a secret frame it is a better track alone.

The course is the smoothing that Whittaker proposed ("On a new method of graduation", Proceedings of the Edinburgh
Mathematical Society 41, 1922; from memory): least squared second differences, and squared misses at the edges.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solveh_banded

from relay.audit.attacks.attack import Case, Finding, Progress, quiet
from relay.audit.attacks.earth_tied import Tied, earth_tied, step_of
from relay.audit.attacks.shown_track import ShownTrack, all_tracks, reference_m, stretches, tick_at
from relay.audit.attacks.spots import at_spot, within_a_cell
from relay.audit.charts.chart import Floats
from relay.core.quantise import SLACK

LEAST_CHANGES = 3
EDGE_SHARE = 0.02  # of a cell: how far from its edge a change may have been
TURN_MPS2 = 0.004  # how hard a vehicle turns or speeds up, averaged over its way; common practice, no source
LEFT_OUT = 24
ROUNDS = 8


@dataclass(frozen=True)
class Course:
    """A stretch of track within its cells: tick `begin` of the track and on, (ticks, 2) metres.

    `missed_m`: by how much changes are missed, in the median, by the course that is made without them. `surest`: the
    tick, from the stretch's begin, that lies best between changes; `first`, `last`: the outermost changes.
    """

    begin: int
    points: Floats
    missed_m: float
    changes: int
    surest: int
    first: int
    last: int


@dataclass(frozen=True)
class _Axis:
    """Told values of one axis (ticks,), the cell, the changes (each between a tick and the next) and their edges."""

    told_m: Floats
    cell_m: float
    slack: float
    change: NDArray[np.intp]
    edge_m: Floats
    curve: float

    def solve(self, keep: Floats) -> Floats:
        """Return the smoothest course (ticks,) through those edges that `keep` weighs, and within all cells."""
        course = self._through(keep, np.zeros(len(self.told_m)), self.told_m)
        reach_m = (0.5 + self.slack) * self.cell_m
        for _ in range(ROUNDS):
            bound = np.clip(course, self.told_m - reach_m, self.told_m + reach_m)
            outside = np.abs(course - bound) > 0.01 * self.cell_m
            if not outside.any():
                break
            course = self._through(keep, outside.astype(float), bound)
        return course

    def _through(self, keep: Floats, pulled: Floats, bound: Floats) -> Floats:
        """Solve the banded equations: second differences weighed by `curve`, edges at midpoints, pulls into cells."""
        count = len(self.told_m)
        band, right = np.zeros((3, count)), np.zeros(count)
        for shift, row in enumerate(((1.0, 4.0, 1.0), (-2.0, -2.0), (1.0,))):
            for place, value in enumerate(row):
                band[2 - shift, shift + place : count - 2 + shift + place] += self.curve * value
        at = self.change
        weight = keep / (EDGE_SHARE * self.cell_m) ** 2
        np.add.at(band[2], at, weight / 4)
        np.add.at(band[2], at + 1, weight / 4)
        np.add.at(band[1], at + 1, weight / 4)
        np.add.at(right, at, weight * self.edge_m / 2)
        np.add.at(right, at + 1, weight * self.edge_m / 2)
        pull = pulled / (EDGE_SHARE * self.cell_m) ** 2 + 1e-4 / self.cell_m**2
        band[2] += pull
        right += pull * bound
        solved: Floats = solveh_banded(band, right, check_finite=False)
        return solved

    def misses(self) -> Floats:
        """Return by how much the edges of some changes (evenly chosen) are missed when each is left out, metres."""
        missed = []
        for out in np.unique(np.linspace(0, len(self.change) - 1, LEFT_OUT).astype(int)):
            keep = np.ones(len(self.change))
            keep[out] = 0.0
            course, at = self.solve(keep), int(self.change[out])
            missed.append(abs((course[at] + course[at + 1]) / 2 - self.edge_m[out]))
        return np.array(missed)


def longest_course(track: ShownTrack, cell_m: Sequence[float], slack: float) -> Course | None:
    """Return the course within the cells (east, north, metres) of the stretch that changes them most often, if any."""
    curve = 1.0 / (TURN_MPS2 * track.tick_s**2) ** 2
    found = None
    for begin, end in stretches(track.placed):
        told = track.points[begin:end]
        axes = [_axis(told[:, axis], cell_m[axis], slack, curve) for axis in (0, 1)]
        count = [len(axis.change) for axis in axes]
        if end - begin >= 5 and min(count) >= LEAST_CHANGES and (found is None or sum(count) > found[0]):
            found = sum(count), begin, axes
    return None if found is None else _course(*found)


def _course(changes: int, begin: int, axes: Sequence[_Axis]) -> Course:
    missed = float(np.median(np.concatenate([axis.misses() for axis in axes])))
    points = np.column_stack([axis.solve(np.ones(len(axis.change))) for axis in axes])
    first = int(max(axis.change.min() for axis in axes))
    last = int(min(axis.change.max() for axis in axes))
    surest = int(np.clip((first + last) // 2, 0, len(points) - 1))
    return Course(begin, points, missed, changes, surest, first, last)


def _axis(told_m: Floats, cell_m: float, slack: float, curve: float) -> _Axis:
    step = np.diff(told_m)
    change = np.flatnonzero(np.abs(step) > 0.01 * cell_m)
    edge_m = told_m[change] + np.sign(step[change]) * (0.5 + slack) * cell_m
    beyond = np.abs(step[change]) > 1.5 * cell_m  # more than a cell in a tick: somewhere between the two
    edge_m = np.where(beyond, told_m[change] + step[change] / 2, edge_m)
    return _Axis(told_m, cell_m, slack, change, edge_m, curve)


@dataclass(frozen=True)
class CellEdges:
    """The attack."""

    name: str = "cell edges"

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return the track within its cells, and the place where the cells are those of a public grid."""
        within: list[tuple[float, str, float, int]] = []
        tracks = all_tracks(case)
        for at, track in enumerate(tracks):
            progress(self.name, at / len(tracks))
            tied = earth_tied(track, case.chart)
            cell_m = cells_of(track if tied is None else tied.track)
            best = None if cell_m is None else _likeliest(track if tied is None else tied.track, cell_m, tied)
            if best is None or cell_m is None:
                continue
            if tied is not None:
                return self._placed(case, tied, best, cell_m)
            within.append((best.missed_m, track.dive, max(cell_m), best.changes))
        if not within:
            why = "no place was told" if not tracks else f"no stretch of track changes its cells {LEAST_CHANGES} times"
            return Finding(self.name, f"Nothing to work on: {why}.", worked=False)
        return self._within_frame(*min(within))

    def _placed(self, case: Case, tied: Tied, found: Course, cell_m: tuple[float, float]) -> Finding:
        at = tick_at(tied.framed, reference_m(case)) - found.begin
        within = found.first <= at <= found.last
        place = tied.to_earth(*found.points[found.surest])
        start = tied.to_earth(*found.points[at]) if within else tied.reference_deg(case)
        spread_m = found.missed_m if within else max(cell_m) / np.sqrt(12)
        return Finding(
            self.name,
            f"The cells of {max(cell_m):.0f} m are those of a grid that everybody has: {tied.how}. The moments of "
            f"{found.changes} changes give the place to about {found.missed_m:.0f} m.",
            log_likelihood=at_spot(case.chart, *start, float(spread_m)),
            place=place,
            outright=within_a_cell(case.chart, found.missed_m),
            leaks=(f"cells tied to the Earth: {tied.how}",),
            facts={
                "cell_m": max(cell_m), "known_to_m": found.missed_m, "changes": float(found.changes),
                "place_at_s": float(tied.track.elapsed_s[found.begin + found.surest]),
            },
        )  # fmt: skip

    def _within_frame(self, missed_m: float, dive: str, cell_m: float, changes: int) -> Finding:
        return Finding(
            self.name,
            f"The moments at which cells change tell the track of {dive} to about {missed_m:.1f} m within its cells of "
            f"{cell_m:.0f} m, but only in a frame whose place and turn are secret: nothing of where on the Earth.",
            facts={"cell_m": cell_m, "known_to_m": missed_m, "changes": float(changes)},
        )


def cells_of(track: ShownTrack) -> tuple[float, float] | None:
    """Return the cells east and north, metres, of which the places are multiples; None where they are of none."""
    found = [step_of(values) for values in (track.east_m, track.north_m)]
    if found[0] is not None and found[1] is not None:
        return found[0], found[1]
    whole = track.cell_m is not None and track.placed.any() and _multiples(track.points[track.placed], track.cell_m)
    return (track.cell_m, track.cell_m) if whole and track.cell_m is not None else None


def _multiples(points: Floats, cell_m: float) -> bool:
    scaled = (points - points[0]) / cell_m
    return bool(np.abs(scaled - np.round(scaled)).max() < 0.02)


def _likeliest(track: ShownTrack, cell_m: tuple[float, float], tied: Tied | None) -> Course | None:
    """Return the longest course, with the relay's slack unless without it far less is missed; degrees have none.

    In the relay's own frame its own slack holds, so that nothing else is tried.
    """
    usual = 0.0 if tied is not None and tied.by_degrees else SLACK
    first = longest_course(track, cell_m, usual)
    other = None if tied is None else longest_course(track, cell_m, SLACK - usual)
    if first is None or other is None:
        return first or other
    return other if other.missed_m < first.missed_m / 2 else first
