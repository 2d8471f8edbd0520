"""Three attacks on what was released, by an outsider who has the records, the code, and a point everybody knows.

Each takes the track of one vehicle as the records have it and returns a point in metres east and north. Whoever
believes the frame to be laid about the known point, north up, has a place on the Earth then (`on_earth`).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy
from geographiclib.geodesic import Geodesic

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Seen:
    """What a tick record tells of a vehicle: dive time, and where it is in the published frame (None: withheld)."""

    elapsed_s: float
    at: Point | None


def track_of(records: Sequence[Sequence[Any]], vehicle: int = 0) -> list[Seen]:
    """Return the track in released records (as a MessagePack reader has them)."""
    rows = [(record[3], record[4][vehicle]) for record in records if record[2] == 1]
    reported = [(elapsed_s, row) for elapsed_s, row in rows if row[0] == "reporting"]
    return [Seen(elapsed_s, None if row[1] is None else (row[1], row[2])) for elapsed_s, row in reported]


def on_earth(known: Point, east_m: float, north_m: float) -> Point:
    """Return latitude and longitude of a point of a plane about `known` (latitude, longitude), north up."""
    azimuth_deg = math.degrees(math.atan2(east_m, north_m))
    there = Geodesic.WGS84.Direct(*known, azimuth_deg, math.hypot(east_m, north_m))
    return there["lat2"], there["lon2"]


def snap_attack(track: Sequence[Seen], cell_m: float, slack: float, when_s: float) -> Point:
    """Return where a vehicle that runs straight was at a moment, from the moments at which its cells change.

    At a change the exact value was just past the edge of the cell it left: half a cell and the slack of the
    hysteresis from that cell's centre. Two least-squares lines through those values give the whole run. An axis on
    which the cell changed less than twice is one that hardly moved: the mean of its cells.
    """
    east, north = (_crossings(track, axis, cell_m, slack) for axis in (0, 1))
    means = averaging_attack(track)
    return (
        _line_through(east, when_s) if len(east) > 1 else means[0],
        _line_through(north, when_s) if len(north) > 1 else means[1],
    )


def _crossings(track: Sequence[Seen], axis: int, cell_m: float, slack: float) -> list[tuple[float, float]]:
    """Return (moment, exact value) of each change of cell on an axis; the change fell between two ticks."""
    found = []
    for before, after in pairwise(track):
        if before.at is None or after.at is None or before.at[axis] == after.at[axis]:
            continue
        ahead = 1 if after.at[axis] > before.at[axis] else -1
        edge_m = before.at[axis] + ahead * (0.5 + slack) * cell_m
        found.append(((before.elapsed_s + after.elapsed_s) / 2, edge_m))
    return found


def _line_through(points: list[tuple[float, float]], when: float) -> float:
    times, values = zip(*points, strict=True)
    slope, start = numpy.polyfit(times, values, 1)
    return float(slope * when + start)


def averaging_attack(track: Sequence[Seen]) -> Point:
    """Return where a vehicle that hovers is: the mean of everything released of it."""
    shown = [seen.at for seen in track if seen.at is not None]
    east, north = zip(*shown, strict=True)
    return sum(east) / len(shown), sum(north) / len(shown)


def circle_attack(track: Sequence[Seen]) -> tuple[Point, float]:
    """Return centre and radius of the circle through the last cells before, and the first behind, each hole of a track.

    The fit is Kåsa's linear least squares ("A circle fitting procedure and its error analysis", IEEE Transactions
    on Instrumentation and Measurement 25, 1976; from memory).
    """
    begun = next(at for at, seen in enumerate(track) if seen.at is not None)
    edge = [
        shown.at
        for before, after in pairwise(track[begun:])
        if (before.at is None) != (after.at is None)
        for shown in (before, after)
        if shown.at is not None
    ]
    east, north = (numpy.array(values) for values in zip(*edge, strict=True))
    columns = numpy.column_stack([2 * east, 2 * north, numpy.ones(len(edge))])
    solved, *_ = numpy.linalg.lstsq(columns, east**2 + north**2, rcond=None)
    return (float(solved[0]), float(solved[1])), float(math.sqrt(solved[2] + solved[0] ** 2 + solved[1] ** 2))
