"""The dive that a policy is tried on: where a vehicle goes over the seabed and how high above it, wherever on Earth.

Rules: metres and seconds from where and when it reaches the bottom, in a frame of its own; the way down and up is
straight. Without a dive of the operator's own it is an invented one, with everything in it that gives a place away:
lines over a wreck, and a long way to another target.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import ceil, cos, hypot, pi, sin
from typing import Any

import numpy as np

from relay.audit.charts.chart import Floats
from relay.core.policy import Leg
from relay.core.wire import WireRecord

HEIGHT_BY_WORD_M = {"on the bottom": 1.0, "near the bottom": 4.0, "mid-water": 25.0}
USUAL_HEIGHT_M = 3.0  # a vehicle at work close over the seabed: common practice, no source
SPEED_MPS = 0.4  # of the invented dive, that of a tethered vehicle at survey: common practice, no source
_TICK_KIND = 1


@dataclass(frozen=True)
class Journey:
    """A vehicle's way over the seabed: all arrays (samples,), by time, the first at the place of landing.

    `t_s`: seconds since landing; `east_m`, `north_m`: from there; `height_m`: above the seabed.
    """

    name: str
    t_s: Floats
    east_m: Floats
    north_m: Floats
    height_m: Floats

    @property
    def reach_m(self) -> float:
        """How far from the landing it goes, metres."""
        return float(np.hypot(self.east_m, self.north_m).max())

    def at(self, t_s: Floats) -> tuple[Floats, Floats, Floats]:
        """Return east, north and height, metres, at moments (seconds since landing)."""
        east, north, height = (np.interp(t_s, self.t_s, part) for part in (self.east_m, self.north_m, self.height_m))
        return east, north, height


def invented_journey() -> Journey:
    """Return six lines of 300 m over 200 m of width, then 2 km to another target: three hours at the bottom."""
    corners: list[tuple[float, float]] = [(0.0, 0.0), (120.0, 60.0)]
    for line in range(6):
        ends = (120.0, 420.0) if line % 2 == 0 else (420.0, 120.0)
        corners += [(ends[0], 60.0 + 40.0 * line), (ends[1], 60.0 + 40.0 * line)]
    bearing = 0.35 * pi
    for _ in range(4):
        bearing += 0.08 * pi
        corners.append((corners[-1][0] + 500.0 * sin(bearing), corners[-1][1] + 500.0 * cos(bearing)))
    return _along(corners)


def _along(corners: Sequence[tuple[float, float]]) -> Journey:
    """Return a way along straight lines at the usual speed, two to six metres over the seabed."""
    run_m = np.concatenate([[0.0], np.cumsum([hypot(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(corners)])])
    t_s = np.arange(0.0, ceil(run_m[-1] / SPEED_MPS))
    east, north = (np.interp(t_s * SPEED_MPS, run_m, [corner[axis] for corner in corners]) for axis in (0, 1))
    return Journey("an invented dive", t_s, east, north, 4.0 - 2.0 * np.cos(2 * pi * t_s / 1_200.0))


def journey_of(name: str, header: Mapping[str, Any], records: Sequence[WireRecord], vehicle: int = 0) -> Journey:
    """Return the way that a recording shows of a vehicle (its number in the header), at the bottom alone.

    ValueError when it shows a track at the bottom at fewer than two moments.
    """
    shown = []
    for record in records:
        if record.kind != _TICK_KIND or vehicle >= len(record.body):
            continue
        _, east, north, _, _, word, _, leg, *_ = record.body[vehicle]
        at_work = leg in (Leg.BOTTOM, None)
        if east is not None and at_work:
            shown.append((record.elapsed_s, east, north, HEIGHT_BY_WORD_M.get(word or "", USUAL_HEIGHT_M)))
    if len(shown) < 2:
        named = list(header.get("vehicles", []))
        who = named[vehicle] if vehicle < len(named) else f"vehicle {vehicle + 1}"
        raise ValueError(f"{name} shows no track of {who} at the bottom: give a recording that does")
    t_s, east_m, north_m, height_m = np.array(shown, dtype=float).T
    return Journey(name, t_s - t_s[0], east_m - east_m[0], north_m - north_m[0], height_m)


def turned(east_m: Floats, north_m: Floats, turn_rad: float) -> tuple[Floats, Floats]:
    """Return places turned clockwise about the origin by an angle."""
    return east_m * cos(turn_rad) + north_m * sin(turn_rad), north_m * cos(turn_rad) - east_m * sin(turn_rad)
