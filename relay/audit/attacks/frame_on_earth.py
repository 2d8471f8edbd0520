"""A frame laid on the Earth by coarse positions that were told of the same ticks.

Rules: each tick says that a point of the frame lies within a cell on the Earth; for a turn of the frame, every tick
leaves a rectangle for where its origin can be, and all of them their intersection. Turns are tried at even steps, with
the slack that half a step makes at the track's ends. What is left over all turns is weighed by its area.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, radians
from typing import NamedTuple

import numpy as np

from relay.audit.attacks.earth_tied import Tied
from relay.audit.attacks.shown_track import ShownTrack
from relay.audit.charts.chart import Chart, Floats
from relay.core.quantise import SLACK

TURNS = 720
EXACT_M = 1.0  # a step finer than this is none


class Row(NamedTuple):
    """Which ticks of a frame's track (ticks,) lie in which cells: their middles in degrees, half widths in metres."""

    ticks: np.ndarray
    latitude_deg: Floats
    longitude_deg: Floats
    half_m: Floats


@dataclass(frozen=True)
class Bounds:
    """Cells on the Earth that one track was told in: (ticks,) degrees, NaN where none; half widths east and north."""

    latitude_deg: Floats
    longitude_deg: Floats
    half_m: Floats

    def of(self, ticks: np.ndarray, told: np.ndarray, off_m: float = 0.0) -> Row | None:
        """Return the bounds of the ticks `ticks` of a track that are the ticks `told` of this one, to `off_m`."""
        known = np.isfinite(self.latitude_deg[told]) if len(told) else np.array([], dtype=bool)
        if not known.any():
            return None
        return Row(ticks[known], self.latitude_deg[told][known], self.longitude_deg[told][known], self.half_m + off_m)


def bounds_of_told(tied: Tied) -> Bounds:
    """Return the cells that a track tied to the Earth was told in, their size by the steps between its values."""
    points = tied.track.points
    known = np.isfinite(points).all(axis=1)
    latitude, longitude = np.full(len(points), np.nan), np.full(len(points), np.nan)
    distinct, which = np.unique(points[known], axis=0, return_inverse=True)
    earth = np.array([tied.to_earth(float(east), float(north)) for east, north in distinct])
    latitude[known], longitude[known] = earth[which.ravel()].T
    north, east = _metres_per_degree(float(earth[0][0]))
    finest = east * _decimals(tied.track.more, 1), north * _decimals(tied.track.more, 0)
    half = [_step(points[known, axis], finest[axis]) / 2 for axis in (0, 1)]
    return Bounds(latitude, longitude, np.array(half))


def laid(rows: Sequence[Row], track: ShownTrack) -> tuple[tuple[float, float], float] | None:
    """Return where on the Earth the first place shown of a track lies, degrees, and to within how many metres."""
    rows = [_shown(row, track) for row in rows]
    rows = [row for row in rows if len(row.ticks)]
    if not rows:
        return None
    origin = float(rows[0].latitude_deg[0]), float(rows[0].longitude_deg[0])
    north, east = _metres_per_degree(origin[0])
    ticks = np.concatenate([row.ticks for row in rows])
    centre = np.concatenate(
        [
            np.column_stack([(row.longitude_deg - origin[1] + 180) % 360 - 180, row.latitude_deg - origin[0]])
            for row in rows
        ]
    ) * (east, north)
    half = np.concatenate([np.repeat(row.half_m[None, :], len(row.ticks), axis=0) for row in rows])
    first = track.points[track.placed][0]
    found = _left(track.points[ticks] - first, centre, half, (0.5 + SLACK) * (track.cell_m or EXACT_M))
    place = origin[0] + found[1] / north, (origin[1] + found[0] / east + 180) % 360 - 180
    return place, found[2]


def smallest(every: Sequence[Bounds]) -> tuple[tuple[float, float], float]:
    """Return the first place of the track that was told in the finest cells, and to within how many metres."""
    finest = min(every, key=lambda bounds: float(bounds.half_m.max()))
    at = int(np.argmax(np.isfinite(finest.latitude_deg)))
    place = float(finest.latitude_deg[at]), float(finest.longitude_deg[at])
    return place, max(EXACT_M, hypot(*finest.half_m))


def _shown(row: Row, track: ShownTrack) -> Row:
    shown = track.placed[row.ticks]
    return Row(row.ticks[shown], row.latitude_deg[shown], row.longitude_deg[shown], row.half_m)


def _left(points: Floats, centre: Floats, half: Floats, cell_m: float) -> tuple[float, float, float]:
    """Return east and north (metres) of the first point, and how far off it may be, of what all bounds leave."""
    turn_slack = float(np.hypot(*points.T).max(initial=0.0)) * radians(360 / TURNS) / 2
    spots, boxes = np.empty((TURNS, 2)), np.empty((TURNS, 2))
    for number in range(TURNS):
        turn = radians(360 / TURNS * number)
        cosine, sine = np.cos(turn), np.sin(turn)
        turned = points @ np.array([[cosine, sine], [-sine, cosine]])
        reach = half + cell_m * (abs(cosine) + abs(sine)) + turn_slack
        low, high = (centre - reach - turned).max(axis=0), (centre + reach - turned).min(axis=0)
        spots[number], boxes[number] = (low + high) / 2, high - low
    narrow = boxes.min(axis=1)
    if narrow.max() <= 0:  # values that hold on beyond their step: the turn that they contradict least
        number = int(np.argmax(narrow))
        return float(spots[number, 0]), float(spots[number, 1]), float(hypot(*half[0]) - narrow[number])
    weight = np.where(narrow > 0, boxes.prod(axis=1), 0.0)
    middle = np.average(spots, axis=0, weights=weight)
    inside = narrow > 0
    off = np.hypot(*(spots[inside] - middle).T) ** 2 + (boxes[inside] ** 2).sum(axis=1) / 12
    return float(middle[0]), float(middle[1]), float(np.sqrt(np.average(off, weights=weight[inside])))


def _step(values: Floats, finest_m: float) -> float:
    """Return the step between the values of an axis, metres; of a single value what its last decimal stands for."""
    distinct = np.unique(np.round(values, 2))
    steps = np.diff(distinct)
    if not len(steps):
        return max(EXACT_M, finest_m)
    step = float(steps.min())
    return max(step, EXACT_M)


def _decimals(more: Floats, column: int) -> float:
    """Return what the last decimal of a column of degrees stands for; 0 where there is no such column."""
    if more.shape[1] <= column:
        return 0.0
    values = more[:, column][np.isfinite(more[:, column])][:50]
    places = [len(f"{value:.9f}".rstrip("0").partition(".")[2]) for value in values]
    return 10.0 ** -max(places) if places else 0.0


def _metres_per_degree(latitude_deg: float) -> tuple[float, float]:
    around = np.array([latitude_deg - 1e-3, latitude_deg, latitude_deg + 1e-3])
    north, east = Chart("", around, around, np.zeros((3, 3)), np.zeros((3, 3))).metres_per_degree
    return float(north[1]), float(east[1])
