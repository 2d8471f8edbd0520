"""What each tick of a released dive says of the seabed beneath the vehicle: between which depths it lies.

Rules: made of released rows alone, with what everybody knows of the code: how far a step can be off
(`quantise.SLACK`), where the words for the height change, when a leg begins and ends. A depth that passed into another
step has just crossed an edge: between ticks it changes no faster than `Speeds`, so every step that was told bounds
those before and after it, and the fine steps of a descent bound the coarse ones of the bottom.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import pairwise
from math import gcd, inf, isfinite
from typing import Any, NamedTuple

from relay.audit.attack import Dive
from relay.core.disclosure import NEAR_THE_BOTTOM_M, ON_THE_BOTTOM_M
from relay.core.policy import LegLimits
from relay.core.quantise import SLACK
from relay.core.release import Kind

LIMITS = LegLimits()
ON, NEAR, MID_WATER = "on the bottom", "near the bottom", "mid-water"
FINEST_M = 0.01  # steps are whole multiples of it
HALF_M = 0.5 + SLACK  # of a step: how far off what it shows can be


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

    `place`: metres east and north in the frame, None where it wasn't told. `most_height_m` is infinite where nothing
    bounds it.
    """

    at_s: float
    place: tuple[float, float] | None
    low_m: float
    high_m: float
    least_height_m: float
    most_height_m: float
    bottom: bool

    @property
    def shallowest_m(self) -> float:
        """The least depth that the seabed can have."""
        return self.low_m + self.least_height_m

    @property
    def deepest_m(self) -> float:
        """The greatest depth that the seabed can have; infinite where nothing bounds it."""
        return self.high_m + self.most_height_m


def rows_of(dive: Dive, vehicle: int) -> list[Row]:
    """Return the rows of one vehicle, by its number in the header, in which it was heard of."""
    rows = []
    for record in dive.records:
        if record.kind != Kind.TICK or vehicle >= len(record.body):
            continue
        heard, east_m, north_m, depth_m, _, word, _, leg, *_ = record.body[vehicle]
        if heard == "reporting":
            place = None if east_m is None or north_m is None else (float(east_m), float(north_m))
            rows.append(Row(record.elapsed_s, place, depth_m, word, leg))
    return rows


def steps_of(dives: Sequence[Dive]) -> Steps | None:
    """Return the steps that dives under one policy tell depth in; None where none is told.

    The header names that of the bottom. The other is the greatest common divisor of the depths told elsewhere: it can
    come out too coarse, never too fine.
    """
    step = dives[0].header.get("depth_step_m") if dives else None
    if not step:
        return None
    elsewhere = [
        round(row.depth_m / FINEST_M)
        for dive in dives
        for vehicle in range(len(dive.header["vehicles"]))
        for row in rows_of(dive, vehicle)
        if row.depth_m is not None and row.leg != "bottom"
    ]
    common = reduce(gcd, elsewhere, 0) * FINEST_M
    return Steps(float(step), min(common, float(step)) if common else float(step))


def bounds_of(dive: Dive, vehicle: int, steps: Steps, speeds: Speeds | None = None) -> list[Bound]:
    """Return the bounds of one vehicle at each tick that told its depth, in the order of time.

    `speeds` None: as the dive shows them.
    """
    relative = dive.header.get("depth") == "relative"
    rows = [row for row in rows_of(dive, vehicle) if row.depth_m is not None]
    heights = _heights(rows, dive.header)
    bounds = []
    for at, (row, (least_m, most_m)) in enumerate(zip(rows, heights, strict=True)):
        assert row.depth_m is not None
        off_m = HALF_M * _step(row, steps)
        if relative and at == 0:
            off_m = 0.0  # depths count from this one
        bottom = row.leg == "bottom"
        bounds.append(Bound(row.at_s, row.place, row.depth_m - off_m, row.depth_m + off_m, least_m, most_m, bottom))
    speeds = Speeds.of(rows) if speeds is None else speeds
    _narrow(bounds, speeds)
    _narrow(bounds[::-1], speeds)
    _limit_ascents(bounds, speeds, words="altitude" in dive.header["fields"])
    return bounds


def _step(row: Row, steps: Steps) -> float:
    """Return the step a row's depth is in; where the leg isn't told, the coarse one if it can be."""
    if row.leg == "bottom":
        return steps.bottom_m
    if row.leg is None and row.depth_m is not None and _whole(row.depth_m / steps.bottom_m):
        return steps.bottom_m
    return steps.elsewhere_m


def _whole(value: float) -> bool:
    return abs(value - round(value)) < 1e-6


def _narrow(bounds: Sequence[Bound], speeds: Speeds) -> None:
    """Keep each depth within reach of the one before it; where that can't be, it stays as it was told."""
    for before, now in pairwise(bounds):
        fast_mps = speeds.bottom_mps if before.bottom and now.bottom else speeds.elsewhere_mps
        reach_m = fast_mps * abs(now.at_s - before.at_s)
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
    words, legs = "altitude" in header["fields"], "leg" in header["fields"]
    deepest_m = max((row.depth_m for row in rows if row.depth_m is not None), default=0.0)
    heights: list[tuple[float, float]] = []
    before: Row | None = None
    for row in rows:
        arrived = row.leg == "bottom" and (before is None or before.leg != "bottom")
        if words:
            heights.append(_by_word(row, before.word if before else None))
        elif legs:
            most_m = LIMITS.bottom_enter_m if arrived else LIMITS.bottom_leave_m
            heights.append((0.0, most_m if row.leg == "bottom" else inf))
        else:  # nothing says that it is at the bottom: that it works there where it is deepest is the outsider's guess
            deep = row.depth_m is not None and row.depth_m >= deepest_m - LIMITS.bottom_leave_m
            heights.append((0.0, LIMITS.bottom_leave_m if deep else inf))
        before = row
    return heights


def _by_word(row: Row, held: str | None) -> tuple[float, float]:
    """Return the heights that a word stands for, with the slack of one that is held."""
    on_m = ON_THE_BOTTOM_M * (1 + SLACK if held == ON else 1)
    near_m = NEAR_THE_BOTTOM_M * (1 + SLACK if held == NEAR else 1)
    if row.word == ON:
        return 0.0, on_m
    if row.word == NEAR:
        return on_m, near_m
    if row.word == MID_WATER:
        return near_m, LIMITS.bottom_leave_m if row.leg == "bottom" else inf
    return 0.0, inf
