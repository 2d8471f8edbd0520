"""The tide in what was told of depth: a vehicle that rests on the seabed rises and falls with the water above it.

Rules: depth is measured from the surface, so at one place on the seabed it changes by the tide alone. Each cell (or,
without places, each rest) has a level of its own, so no chart is needed; one constituent, the principal lunar
semidiurnal M2 (period from memory: 12.4206012 h), is fitted to all of them together by least squares. What is told in
steps is off evenly within a step, and a step that holds on tells less than many readings: counted once for each.
"""

from dataclasses import dataclass
from math import atan2, hypot, inf, pi, sqrt

import numpy as np

from relay.audit.attacks.attack import Dive
from relay.audit.charts.chart import Floats
from relay.core.quantise import SLACK
from relay.core.release import Kind

M2_S = 12.4206012 * 3_600
LEAST_SPAN_S = 3 * 3_600.0
ON_THE_BOTTOM = "on the bottom"


@dataclass(frozen=True)
class Tide:
    """A tide as a dive tells it: half the range in metres and its standard error, and dive time of a high water."""

    amplitude_m: float
    error_m: float
    high_water_s: float
    span_s: float

    @property
    def is_there(self) -> bool:
        """Whether it is more than the steps of depth could feign."""
        return self.amplitude_m > 3 * self.error_m


def tide_of(dive: Dive) -> Tide | None:
    """Return the tide that a dive tells; None where no vehicle rests long enough on the seabed with its depth told."""
    found = [_tide(*readings) for vehicle in range(_vehicles(dive)) if (readings := _rests(dive, vehicle)) is not None]
    return min((tide for tide in found if tide is not None), key=lambda tide: tide.error_m, default=None)


def _vehicles(dive: Dive) -> int:
    names = dive.header.get("vehicles")
    return len(names) if isinstance(names, list) else 0


def _rests(dive: Dive, vehicle: int) -> tuple[Floats, Floats, list[object]] | None:
    """Return dive times, depths and to which level each reading belongs, of ticks on the bottom."""
    times, depths, levels = list[float](), list[float](), list[object]()
    rest = 0
    for record in dive.records:
        if record.kind != Kind.TICK or not isinstance(record.body, list) or vehicle >= len(record.body):
            continue
        row = record.body[vehicle]
        if not isinstance(row, list) or len(row) < 6 or row[5] != ON_THE_BOTTOM or not isinstance(row[3], int | float):
            rest += 1
            continue
        times.append(float(record.elapsed_s))
        depths.append(float(row[3]))
        levels.append((row[1], row[2]) if row[1] is not None else rest)
    if not times or times[-1] - times[0] < LEAST_SPAN_S:
        return None
    return np.array(times), np.array(depths), levels


def _tide(time_s: Floats, depth_m: Floats, levels: list[object]) -> Tide | None:
    names = {level: at for at, level in enumerate(dict.fromkeys(levels))}
    which = np.array([names[level] for level in levels])
    if len(names) > 500 or len(time_s) < 3 * len(names):
        return None
    phase = 2 * pi * time_s / M2_S
    # The levels by their means, so that only the two parts of the tide are solved for.
    parts = np.column_stack([np.cos(phase), np.sin(phase)])
    count = np.bincount(which)
    centred = np.column_stack([column - (np.bincount(which, column) / count)[which] for column in (*parts.T, depth_m)])
    normal = centred[:, :2].T @ centred[:, :2]
    if np.linalg.cond(normal) > 1e6:
        return None
    cosine, sine = np.linalg.solve(normal, centred[:, :2].T @ centred[:, 2])
    left_m = centred[:, 2] - centred[:, :2] @ (cosine, sine)
    # Independent readings: no more than one for each change of what is told, and one in ten minutes.
    changes = max(1, int(np.count_nonzero(np.diff(depth_m))))
    span_s = float(time_s[-1] - time_s[0])
    independent = max(2.0, min(changes, span_s / 600))
    step_m = _step(depth_m)
    spread_m = hypot(float(left_m.std()), (1 + 2 * SLACK) * step_m / sqrt(12))
    shrunk = float(np.linalg.eigvalsh(normal / len(time_s))[0])  # how well the span tells both parts apart
    error_m = spread_m / sqrt(independent * shrunk) if shrunk > 0 else inf
    high_s = (atan2(sine, cosine) / (2 * pi) * M2_S) % M2_S
    return Tide(hypot(cosine, sine), error_m, high_s, span_s)


def _step(depth_m: Floats) -> float:
    steps = np.diff(np.unique(np.round(depth_m, 4)))
    return float(steps.min()) if len(steps) else 10.0
