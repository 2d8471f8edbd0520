"""The tide in told depths: amplitude and high water as they were made, and none where steps are coarse.

The tide is made by numpy's cosine; the fit is held against scipy's general least squares.
"""

import math

import numpy as np
import pytest
from scipy.optimize import least_squares

from audited import journal
from dives import SECRETS, plan, policy, run
from relay.audit.attacks.attack import Dive
from relay.audit.attacks.tide import M2_S, tide_of
from relay.core.pipeline import Pipeline
from relay.core.wire import WireRecord
from told_besides import taken

HOURS = 9.0
AMPLITUDE_M, HIGH_S = 1.4, 2.5 * 3_600


def rested(every_s: int = 20, hours: float = HOURS, amplitude_m: float = AMPLITUDE_M) -> list[dict[str, float]]:
    """Return a vehicle that rests at three places on the seabed in turn while the tide goes by."""
    out = []
    for at_s in np.arange(0, hours * 3_600, every_s):
        rest = int(at_s // 1_800) % 3
        level = (1_098.0, 1_101.5, 1_094.2)[rest]
        deep = level + amplitude_m * math.cos(2 * math.pi * (at_s - HIGH_S) / M2_S)
        out.append({"east": 40.0 * rest, "north": 0.0, "depth": deep, "altitude": 0.8, "heading": 10.0})
    return out


def dive(step_m: float, **shape: float) -> Dive:
    """Return the recording of a resting vehicle with depth in steps."""
    shown = plan(policy(depth_step_m=step_m, tick_us=20_000_000))
    steps = rested(**shape)  # type: ignore[arg-type]
    return taken(run(Pipeline(shown, SECRETS), journal(steps, 20)))["public"]


def test_fine_depth_tells_the_tide() -> None:
    """A build with depth to 0.1 m tells amplitude and time of high water, level by level."""
    tide = tide_of(dive(0.1))
    assert tide is not None and tide.is_there
    assert tide.amplitude_m == pytest.approx(AMPLITUDE_M, abs=0.05)
    off_s = (tide.high_water_s - HIGH_S + M2_S / 2) % M2_S - M2_S / 2
    assert abs(off_s) < 600


def test_fit_is_that_of_general_least_squares() -> None:
    """Amplitude and phase are those that scipy finds with levels and tide all free (scipy.optimize.least_squares)."""
    told = dive(0.1)
    rows = [(record.elapsed_s, record.body[0]) for record in told.records if record.kind == 1 and record.body[0][5]]
    time_s, depth_m = np.array([at for at, _ in rows], dtype=float), np.array([row[3] for _, row in rows], dtype=float)
    cells = {cell: at for at, cell in enumerate(dict.fromkeys((row[1], row[2]) for _, row in rows))}
    which = np.array([cells[row[1], row[2]] for _, row in rows])
    phase = 2 * np.pi * time_s / M2_S

    def left(free: np.ndarray) -> np.ndarray:
        return free[2:][which] + free[0] * np.cos(phase) + free[1] * np.sin(phase) - depth_m

    by_scipy = least_squares(left, np.concatenate([[0.0, 0.0], np.full(len(cells), depth_m.mean())])).x
    tide = tide_of(told)
    assert tide is not None and tide.amplitude_m == pytest.approx(math.hypot(*by_scipy[:2]), abs=1e-6)


@pytest.mark.parametrize("step_m", [10.0, 50.0])
def test_coarse_depth_shows_no_tide(step_m: float) -> None:
    """Counter-test: in the steps that Offing releases by its presets nothing is told apart from no tide at all."""
    tide = tide_of(dive(step_m))
    assert tide is None or not tide.is_there


def test_still_water_shows_no_tide() -> None:
    """Where depth is fine and there is no tide, none is found."""
    tide = tide_of(dive(0.1, amplitude_m=0.0))
    assert tide is None or not tide.is_there


def test_short_rest_says_nothing() -> None:
    """Less than three hours are too short for half a day's wave."""
    assert tide_of(dive(0.1, hours=2.0)) is None


def test_odd_records_raise_nothing() -> None:
    """Rows that are too short or no lists are passed over."""
    odd = tuple(WireRecord(1, at, 1, at * 3_600.0, body, b"") for at, body in enumerate([[[]], 7, [[1]], [None]]))
    assert tide_of(Dive("odd", {"vehicles": ["Lantern"], "audience": "public"}, odd)) is None
