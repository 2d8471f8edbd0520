"""The area left by what has left: of the declared area, shrinking with what is told, worked out once."""

from collections.abc import Sequence

import numpy as np
import pytest

from relay.audit.attacks.attack import Dive
from relay.audit.charts.chart import Chart, Floats, Mask
from relay.audit.matching.evidence import Soundings
from relay.audit.residual import Residual, chart_match
from relay.core.area import Area
from relay.core.errors import OperatorError
from relay.core.wire import WireRecord

HEADER = {
    "audience": "public", "vehicles": ["Lantern"], "tick_s": 15, "cell_m": 25, "depth_step_m": 10, "depth": "absolute",
    "fields": ["track", "depth", "altitude", "leg"], "place": "local", "heading_step_deg": None,
}  # fmt: skip


def chart(deepest_m: float = 400.0) -> Chart:
    """Return an invented slope, 60 x 80 cells of about 110 m, from 100 m down to `deepest_m` in the east."""
    east = np.linspace(100.0, deepest_m, 80)
    return Chart("slope", -41.05 + 0.001 * np.arange(60), 17.0 + 0.0013 * np.arange(80), np.tile(east, (60, 1)),
                 np.full((60, 80), 3.0))  # fmt: skip


def dive(*depths_m: float) -> Dive:
    """Return what was released of a vehicle that sits on the seabed, 50 m further east at each tick."""
    rows = [
        ["reporting", 50.0 * at, 0.0, depth_m, None, "on the bottom", None, "bottom", None, None]
        for at, depth_m in enumerate(depths_m)
    ]
    records = [WireRecord(1, 0, 0, 0, HEADER, b"")]
    records += [WireRecord(1, at, 1, 15 * at, [row], b"") for at, row in enumerate(rows, 1)]
    return Dive("dive 1", HEADER, tuple(records))


def test_nothing_told_leaves_the_declared_area() -> None:
    """Without a sounding all of the declared area's water is left, and no more."""
    here, area = chart(), Area("bank", ((-41.02, 17.05),), 2_000.0)
    residual = Residual(here, area, 0.95)
    assert residual.area_km2([]) == residual.most_km2
    assert residual.most_km2 == pytest.approx(np.pi * 4.0, rel=0.02)


def test_depth_that_is_told_leaves_the_cells_of_that_depth() -> None:
    """On a plain slope a depth of 250 m leaves a strip about that contour."""
    here = chart()
    residual = Residual(here, None, 0.95)
    left_km2 = residual.area_km2([dive(250.0)])
    per_cell = residual.most_km2 / 80
    strip = 10.0 / (300.0 / 79) * per_cell  # a step of 10 m is this wide on the slope
    assert strip < left_km2 < 8 * strip
    assert residual.area_km2([dive(250.0, 250.0, 250.0, 250.0, 250.0)]) <= 1.1 * left_km2


def test_same_soundings_are_matched_once() -> None:
    """What adds nothing costs nothing: the match is asked once for the same soundings."""
    asked = []

    def counted(chart: Chart, soundings: Sequence[Soundings], turns: int, where: Mask) -> Floats:
        asked.append([len(part) for part in soundings])
        return chart_match(chart, soundings, turns, where)

    residual = Residual(chart(), None, 0.95, match=counted)
    first = residual.area_km2([dive(250.0)])
    assert residual.area_km2([dive(250.0)]) == first
    assert asked == [[1]]


def test_area_off_the_chart_is_an_error() -> None:
    """A declared area of which the chart tells nothing is told, not taken for nothing left or everything."""
    with pytest.raises(OperatorError, match="give one that covers it"):
        Residual(chart(), Area("elsewhere", ((12.0, 40.0),), 5_000.0), 0.95)


def test_match_that_says_nothing_is_an_error() -> None:
    """Where no cell agrees with the dive no area is told: the relay then keeps in what it can't judge."""
    nowhere = Residual(chart(), None, 0.95, match=lambda chart, *_: np.full(chart.shape, -np.inf))
    with pytest.raises(OperatorError, match="says nothing"):
        nowhere.area_km2([dive(250.0)])
