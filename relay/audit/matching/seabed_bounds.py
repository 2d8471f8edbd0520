"""What each tick of a released dive says of the seabed beneath the vehicle: between which depths it lies.

Rules: made of released rows alone, with what everybody knows of the code: how far a step can be off
(`quantise.SLACK`), where the words for the height change, when a leg begins and ends. A depth that passed into another
step has just crossed an edge: between ticks it changes no faster than `Speeds`, so every step that was told bounds
those before and after it, and the fine steps of a descent bound the coarse ones of the bottom.
"""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import pairwise, takewhile
from math import gcd, inf, isfinite
from typing import Any, NamedTuple

from relay.audit.attacks.attack import Dive
from relay.core.disclosure import NEAR_THE_BOTTOM_M, ON_THE_BOTTOM_M
from relay.core.policy import LegLimits
from relay.core.quantise import SLACK
from relay.core.release import Kind
from relay.core.wire import WireRecord

LIMITS = LegLimits()
ON, NEAR, MID_WATER = "on the bottom", "near the bottom", "mid-water"
ROW, MOST = 8, 1e9  # what a row holds at least, and what no number in it reaches
FINEST_M = 0.01  # steps are whole multiples of it
HALF_M = 0.5 + SLACK  # of a step: how far off what it shows can be
HAUL_S = 150.0  # to rise by `bottom_leave_m` faster than `Speeds.bottom_mps` takes less


class Row(NamedTuple):
    """What a tick told of one vehicle; its moment is seconds of dive time."""

    at_s: float
    place: tuple[float, float] | None
    depth_m: float | None
    word: str | None
    leg: str | None


@dataclass(frozen=True, slots=True)
class Speeds:
    """How fast a vehicle changes its depth, m/s: at the bottom, and elsewhere. Common practice, no source."""

    bottom_mps: float = 0.3
    elsewhere_mps: float = 1.0

    @classmethod
    def of(cls, rows: Sequence[Row], over_s: float = 120.0) -> "Speeds":
        """Return the speeds that a dive shows itself: a fifth above its fastest change of depth over two minutes."""
        told = [(row.at_s, row.depth_m) for row in rows if row.depth_m is not None and row.leg != "bottom"]
        fastest_mps, start = 0.0, 0
        for at_s, depth_m in told:
            while start + 1 < len(told) and at_s - told[start + 1][0] >= over_s:
                start += 1
            since_s = at_s - told[start][0]
            if since_s >= over_s:
                fastest_mps = max(fastest_mps, abs(depth_m - told[start][1]) / since_s)
        usual = cls()
        return cls(elsewhere_mps=min(1.5, max(usual.bottom_mps, 1.2 * fastest_mps))) if fastest_mps else usual


@dataclass(frozen=True, slots=True)
class Steps:
    """The steps of depth, metres: on the bottom, and elsewhere."""

    bottom_m: float
    elsewhere_m: float


@dataclass(slots=True)
class Bound:
    """Between which depths a vehicle was at a tick, and between which heights over the seabed, metres.

    `place`: metres east and north in the frame, off by up to `off_m` each way; None where it wasn't told.
    `most_height_m` is infinite where nothing bounds it.
    """

    at_s: float
    place: tuple[float, float] | None
    low_m: float
    high_m: float
    least_height_m: float
    most_height_m: float
    bottom: bool
    off_m: float = 0.0

    @property
    def shallowest_m(self) -> float:
        """The least depth that the seabed can have."""
        return self.low_m + self.least_height_m

    @property
    def deepest_m(self) -> float:
        """The greatest depth that the seabed can have; infinite where nothing bounds it."""
        return self.high_m + self.most_height_m


def rows_of(dive: Dive, vehicle: int) -> list[Row]:
    """Return the rows of one vehicle, by its number in the header, in which it was heard of.

    Where the leg isn't told, a relative depth says that it is at the bottom: elsewhere there is none.
    """
    rows, relative = [], dive.header.get("depth") == "relative"
    for record in dive.records:
        if not _keeps_to_the_format(record, vehicle):
            continue
        heard, east_m, north_m, depth_m, _, word, _, leg, *_ = record.body[vehicle]
        if heard == "reporting":
            place = None if east_m is None or north_m is None else (float(east_m), float(north_m))
            known = "bottom" if leg is None and relative and depth_m is not None else leg
            rows.append(Row(record.elapsed_s, place, depth_m, word, known))
    return rows


def _keeps_to_the_format(record: WireRecord, vehicle: int) -> bool:
    """Return whether a record is a tick with a row of that vehicle: what else there is, the leak scan tells."""
    body = record.body
    if record.kind != Kind.TICK or not _number(record.elapsed_s) or not isinstance(body, list) or vehicle >= len(body):
        return False
    row = body[vehicle]
    if not isinstance(row, list) or len(row) < ROW:
        return False
    numbers, words = row[1:4], (row[5], row[7])
    return all(value is None or _number(value) for value in numbers) and all(
        word is None or isinstance(word, str) for word in words
    )


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < MOST


def steps_of(dives: Sequence[Dive]) -> Steps | None:
    """Return the steps that dives under one policy tell depth in; None where none is told.

    The header names that of the bottom. The other is the greatest common divisor of the depths told elsewhere: it can
    come out too coarse, never too fine.
    """
    step = dives[0].header.get("depth_step_m") if dives else None
    if not step:
        return None
    told = [
        round(row.depth_m / FINEST_M)
        for dive in dives
        for vehicle in range(len(dive.header["vehicles"]))
        for row in _surely_elsewhere(rows_of(dive, vehicle))
        if row.depth_m is not None
    ]
    common = reduce(gcd, told, 0) * FINEST_M
    return Steps(float(step), common or float(step))


def _surely_elsewhere(rows: Sequence[Row]) -> list[Row]:
    """Return the rows off the bottom; where legs aren't told, those before half of the greatest depth was reached."""
    if any(row.leg is not None for row in rows):
        return [row for row in rows if row.leg != "bottom"]
    deepest_m = max((row.depth_m for row in rows if row.depth_m is not None), default=0.0)
    return list(takewhile(lambda row: row.depth_m is None or row.depth_m < deepest_m / 2, rows))


def bounds_of(dive: Dive, vehicle: int, steps: Steps, speeds: Speeds | None = None) -> list[Bound]:
    """Return the bounds of one vehicle at each tick that told its depth, in the order of time.

    `speeds` None: as the dive shows them.
    """
    heard = rows_of(dive, vehicle)
    rows = [row for row in heard if row.depth_m is not None]
    heights = [span for row, span in zip(heard, _heights(heard, dive.header), strict=True) if row.depth_m is not None]
    place_off_m = HALF_M * float(dive.header.get("cell_m") or 0.0)
    spans = [_depths(row, before, steps) for before, row in zip([None, *rows], rows, strict=False)]
    if rows and dive.header.get("depth") == "relative":
        spans[0] = (0.0, 0.0)  # depths count from this one
    bounds = [
        Bound(row.at_s, row.place, *span, *height, row.leg == "bottom", place_off_m)
        for row, span, height in zip(rows, spans, heights, strict=True)
    ]
    speeds = Speeds.of(rows) if speeds is None else speeds
    hauls = [row.at_s for row in heard if row.leg != "bottom"]
    _narrow(bounds, speeds, hauls)
    _narrow(bounds[::-1], speeds, hauls)
    _limit_ascents(bounds, speeds, words="altitude" in dive.header["fields"])
    return bounds


def _depths(row: Row, before: Row | None, steps: Steps) -> tuple[float, float]:
    """Return between which depths a row was: its step with the slack, or, where it has just changed, past the edge."""
    assert row.depth_m is not None
    step_m = _step(row, steps)
    same = before is not None and (row.leg is None) == (before.leg is None) and row.leg is not None
    same = same and (row.leg == "bottom") == (before is not None and before.leg == "bottom")
    if not same or before is None or before.depth_m is None or before.depth_m == row.depth_m:
        return row.depth_m - HALF_M * step_m, row.depth_m + HALF_M * step_m
    low_m, high_m = row.depth_m - step_m / 2, row.depth_m + step_m / 2
    if row.depth_m > before.depth_m:
        return max(low_m, before.depth_m + HALF_M * step_m), high_m
    return low_m, min(high_m, before.depth_m - HALF_M * step_m)


def _step(row: Row, steps: Steps) -> float:
    """Return the step a row's depth is in; where the leg isn't told, the coarser of those it can be."""
    assert row.depth_m is not None
    if row.leg is not None:
        return steps.bottom_m if row.leg == "bottom" else steps.elsewhere_m
    return max([step for step in (steps.bottom_m, steps.elsewhere_m) if _whole(row.depth_m / step)], default=0.0)


def _whole(value: float) -> bool:
    return abs(value - round(value)) < 1e-6


def _narrow(bounds: Sequence[Bound], speeds: Speeds, hauls: Sequence[float]) -> None:
    """Keep each depth within reach of the one before it; where that can't be, it stays as it was told.

    Within `HAUL_S` of a moment off the bottom (`hauls`, ascending) a vehicle may still, or already, sink or rise.
    """
    for before, now in pairwise(bounds):
        at = bisect_left(hauls, now.at_s)
        calm = all(abs(now.at_s - haul_s) > HAUL_S for haul_s in hauls[max(0, at - 1) : at + 1])
        reach_m = (speeds.bottom_mps if calm else speeds.elsewhere_mps) * abs(now.at_s - before.at_s)
        low_m, high_m = max(now.low_m, before.low_m - reach_m), min(now.high_m, before.high_m + reach_m)
        if low_m <= high_m:
            now.low_m, now.high_m = low_m, high_m


def _limit_ascents(bounds: Sequence[Bound], speeds: Speeds, *, words: bool) -> None:
    """Bound the height at the tick at which the bottom was left: a tick before it was within the limit of the leg."""
    for before, now in pairwise(bounds):
        high = now.least_height_m > 0 or not words
        if before.bottom and not now.bottom and isfinite(before.most_height_m) and high:
            climbed_m = speeds.elsewhere_mps * (now.at_s - before.at_s)
            now.most_height_m = min(now.most_height_m, LIMITS.bottom_leave_m + climbed_m)


def _heights(rows: Sequence[Row], header: Mapping[str, Any]) -> list[tuple[float, float]]:
    """Return the least and the most height over the seabed at each row, metres."""
    words = "altitude" in header["fields"]
    legs = "leg" in header["fields"] or header.get("depth") == "relative"
    deepest_m = max((row.depth_m for row in rows if row.depth_m is not None), default=0.0)
    heights: list[tuple[float, float]] = []
    before: Row | None = None
    for row in rows:
        if before is not None and row.at_s - before.at_s > 1.01 * header["tick_s"]:
            before = None  # ticks between in which it wasn't heard of: what they held is unknown
        if words:
            heights.append(_by_word(row, before))
        elif legs:
            arrived = row.leg == "bottom" and before is not None and before.leg != "bottom"
            most_m = LIMITS.bottom_enter_m if arrived else LIMITS.bottom_leave_m
            heights.append((0.0, most_m if row.leg == "bottom" else inf))
        else:  # nothing says that it is at the bottom: that it works there where it is deepest is the outsider's guess
            deep = row.depth_m is not None and row.depth_m >= deepest_m - LIMITS.bottom_leave_m
            heights.append((0.0, LIMITS.bottom_leave_m if deep else inf))
        before = row
    return heights


def _by_word(row: Row, before: Row | None) -> tuple[float, float]:
    """Return the heights that a word stands for, with the slack of one that is, or may have been, held."""
    held = None if before is None else before.word
    on_m = [ON_THE_BOTTOM_M * (1 + SLACK if may else 1) for may in (held == ON, before is None or held == ON)]
    near_m = [NEAR_THE_BOTTOM_M * (1 + SLACK if may else 1) for may in (held == NEAR, before is None or held == NEAR)]
    if row.word == ON:
        return 0.0, on_m[1]
    if row.word == NEAR:
        return on_m[0], near_m[1]
    if row.word == MID_WATER:
        return near_m[0], LIMITS.bottom_leave_m if row.leg == "bottom" else inf
    return 0.0, inf
