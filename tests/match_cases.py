"""Dives of a few shapes, and the published charts they are sought on: for the tests of the chart match."""

from functools import cache
from pathlib import Path

import numpy as np

from relay.audit.charts.chart import Chart
from relay.audit.charts.chart_files import read_chart
from relay.audit.matching.error_law import halved, learn
from relay.audit.matching.evidence import Soundings

STRAIT, SHELF = "chart-strait-multires", "chart-shelf-1min"


def shaped(kind: str) -> tuple[np.ndarray, np.ndarray]:
    """Return metres east and north of a dive: over a wreck, along a line, or over an area."""
    draw = np.random.default_rng(5)
    if kind == "wreck":
        east, north = draw.uniform(-150, 150, 8), draw.uniform(-100, 100, 8)
    elif kind == "line":
        east, north = np.linspace(0, 2_000, 12), draw.uniform(-50, 50, 12)
    else:
        side = np.linspace(-700, 700, 4)
        east, north = (grid.ravel() for grid in np.meshgrid(side, side))
    return east - east[0], north - north[0]


def dive(
    kind: str,
    *,
    step_m: float = 0.0,
    heights_m: tuple[float, float] = (0.0, 0.0),
    relative: bool = False,
    turned: bool = False,
) -> Soundings:
    """Return a dive that hasn't told a depth yet: `observed_over` gives it a seabed."""
    east, north = shaped(kind)
    one = np.ones(len(east))
    return Soundings(
        east, north, 0 * one, 0 * one, step_m * one, heights_m[0] * one, heights_m[1] * one, 0 * one, relative, turned
    )


@cache
def finest(data: Path) -> Chart:
    """Return the strait's finest grid: a third of a million nodes, read once."""
    return read_chart(data / STRAIT / "fine-160m.csv.gz")


@cache
def charts(data: Path, which: str) -> tuple[Chart, Chart]:
    """Return the true seabed and the chart to attack with, which has learnt how wrong it is.

    The strait's finest grid against its coarser ones; of the shelf's every second node against all.
    """
    draw = np.random.default_rng(3)
    if which == "shelf":
        whole = read_chart(data / SHELF / "grid.csv.gz")
        return whole, learn(halved(whole), draw)
    truth = finest(data)
    return truth, learn(read_chart(data / STRAIT / f"chart-{which}.csv.gz"), draw, truth)
