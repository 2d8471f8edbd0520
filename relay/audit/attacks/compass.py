"""Headings against the courses that a vehicle made good: the difference of a compass from true north.

Rules: the heading and the track are told in one turned frame, so their difference is free of the turn. A course is
taken over straight runs alone (`RUN_CELLS` cells and more, headings together); a side current pushes one way on one
course and the other way on the opposite one, so runs on many courses are asked for, and the mean over courses is taken.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import sqrt

import numpy as np

from relay.audit.attacks.attack import Dive
from relay.audit.attacks.shown_track import ShownTrack, tracks_of
from relay.audit.charts.chart import Floats

RUN_CELLS = 4.0
LEAST_RUNS = 12
SECTORS = 8
LEAST_SECTORS = 5
CRAB_DEG = 1.5  # what a vehicle's own mounting and way of going leave; common practice, no source
_STRAIGHT = 0.97


@dataclass(frozen=True)
class Compass:
    """The mean of heading less course over all courses, and its standard error, degrees."""

    off_deg: float
    error_deg: float


def compass_of(dives: Sequence[Dive]) -> Compass | None:
    """Return how headings differ from courses; None where there are too few straight runs, or on too few courses."""
    runs = np.array([run for dive in dives for track in tracks_of(dive) for run in _runs(track)])
    if len(runs) < LEAST_RUNS:
        return None
    course, off = runs[:, 0], np.exp(1j * np.radians(runs[:, 1]))
    sector = (np.degrees(course) % 360 // (360 / SECTORS)).astype(int)
    held = np.unique(sector)
    # Sectors weigh alike, so that many runs on one course don't bring its current in.
    means = np.array([off[sector == which].mean() for which in held])
    total = means.mean()
    if len(held) < LEAST_SECTORS or abs(total) < 0.7:
        return None
    off_deg = float(np.degrees(np.angle(total)))
    spread_deg = float(np.degrees(np.angle(means / total)).std())
    return Compass(off_deg, float(np.hypot(spread_deg / sqrt(len(held)), CRAB_DEG)))


def _runs(track: ShownTrack) -> Iterator[tuple[float, float]]:
    """Yield the course (radians) of each straight run and by how much the heading differs from it (degrees)."""
    known = track.placed & np.isfinite(track.heading_deg)
    points, heading = track.points[known], np.exp(1j * np.radians(track.heading_deg[known]))
    moments = track.elapsed_s[known]
    long_m = RUN_CELLS * (track.cell_m or 1.0)
    start = 0
    for end in range(1, len(points)):
        if moments[end] - moments[end - 1] > 3 * track.tick_s:
            start = end
            continue
        mean = _mean(heading[start : end + 1])
        if abs(mean) < _STRAIGHT:
            start = end
        elif (along := points[end] - points[start]) @ along >= long_m**2:
            course = float(np.arctan2(along[0], along[1]))
            yield course, float(np.degrees(np.angle(mean / np.exp(1j * course))))
            start = end


def _mean(headings: Floats) -> complex:
    return complex(np.mean(headings))
