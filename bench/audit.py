"""What the chart match costs by size of chart and of dive: time on two cores, and the most memory.

Each case runs in a process of its own, held to two cores; beside it a floor in the same process: the charted depth
under each sounding alone, at every cell and turn. The seabed is drawn, rough at all lengths as real ones are.
"""

import json
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from time import perf_counter, process_time
from typing import Any

import numpy as np

from relay.audit.charts.chart import Chart, Floats
from relay.audit.charts.chart_grid import chart_of_grid
from relay.audit.matching.evidence import Soundings
from relay.audit.matching.match import CHUNK, Ground, log_likelihood, reach_m, turns_for

ROOT = Path(__file__).resolve().parents[1]
CORES, TURNS, SEED = 2, 72, 7
SPACING_M, REACH_M = 150.0, 1_000.0
MOST_S, MOST_MIB = 60.0, 2_048.0
NODES = (10_000, 50_000, 100_000, 200_000)
SOUNDINGS = (6, 24, 48)  # an audit takes as many as 48, of relative depths 24
MOST_RELATIVE = 24
KINDS = "values", "bands", "relative bands"


@dataclass(frozen=True, slots=True)
class Cost:
    """A dive of so many soundings of a kind laid on a chart of so many nodes.

    `match_s` and `floor_s` by the clock, `match_cpu_s` and `floor_cpu_s` of processor: on two idle cores the clock
    takes half of these, where other work goes on much more.
    """

    kind: str
    nodes: int
    soundings: int
    turns: int
    match_s: float
    match_cpu_s: float
    floor_s: float
    floor_cpu_s: float
    most_mib: float


def audit_costs(nodes: tuple[int, ...] = NODES, soundings: tuple[int, ...] = SOUNDINGS) -> Iterator[Cost]:
    """Measure each size of chart, size of dive and kind of dive."""
    for size in nodes:
        for count in soundings:
            for kind in KINDS if count <= MOST_RELATIVE else KINDS[:2]:
                yield _apart(kind, size, count)


def _apart(kind: str, nodes: int, soundings: int) -> Cost:
    """Measure one case in a process of its own."""
    case = json.dumps([kind, nodes, soundings])
    threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")  # the match's own threads are counted
    done = subprocess.run(
        [sys.executable, __file__, case],
        env=os.environ | threads | {"PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        text=True,
        check=True,
    )
    return Cost(**json.loads(done.stdout))


def measured(kind: str, nodes: int, soundings: int) -> Cost:
    """Measure one case in this process."""
    os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:CORES])
    draw = np.random.default_rng(SEED)
    chart = drawn_chart(nodes, draw)
    dive = drawn_dive(kind, soundings, chart, draw)
    empty_mib = _most_mib()
    match = _timed(lambda: log_likelihood(chart, dive, turns=TURNS, threads=CORES))
    most_mib = _most_mib()
    assert empty_mib <= most_mib
    floor = _timed(lambda: _looked_up(chart, dive))
    return Cost(kind, int(chart.candidates.sum()), soundings, turns_for(dive, chart, TURNS), *match, *floor, most_mib)


def drawn_chart(nodes: int, draw: np.random.Generator) -> Chart:
    """Return a chart of about so many nodes: noise whose amplitude falls with the square of the wave number."""
    size = round(nodes**0.5)
    wave = np.hypot(*np.meshgrid(np.fft.fftfreq(size), np.fft.fftfreq(size)))
    wave[0, 0] = np.inf
    field = np.fft.ifft2(np.fft.fft2(draw.normal(size=(size, size))) / wave**2).real
    step_deg = SPACING_M / 111_195 * np.arange(size)
    depth_m = 120 + 40 * field / field.std()
    return chart_of_grid("drawn", 0.0 + step_deg, -40.0 + step_deg, -np.maximum(depth_m, 4.0))


def drawn_dive(kind: str, soundings: int, chart: Chart, draw: np.random.Generator) -> Soundings:
    """Return what a dive of `REACH_M` about the middle of a chart would tell: values, or bands of 10 m."""
    bearing, away = draw.uniform(0, 2 * np.pi, soundings), REACH_M * np.sqrt(np.linspace(0, 1, soundings))
    east_m, north_m = away * np.cos(bearing), away * np.sin(bearing)
    middle = chart.shape[0] // 2, chart.shape[1] // 2
    row, column = (middle[at] + np.round(metres / SPACING_M).astype(int) for at, metres in ((0, north_m), (1, east_m)))
    none = np.zeros(soundings)
    step_m, height_m = (none, none) if kind == "values" else (none + 10.0, none + 15.0)
    dive = Soundings(
        east_m, north_m, none, none, step_m, none, height_m, none, relative=kind == "relative bands", turned=True
    )
    return dive.observed_over(chart.depth_m[row, column], draw)


def _looked_up(chart: Chart, dive: Soundings) -> None:
    """Look up the depth under each sounding, at every cell and turn, in as many threads."""
    ground = Ground.of(chart, reach_m(dive))
    edges = [*range(0, len(ground.cells), CHUNK), len(ground.cells)]

    def of_part(part: slice) -> None:
        for turn in range(turns_for(dive, chart, TURNS)):
            angle = 2 * np.pi * turn / TURNS
            ground.under(*_turned(dive, angle), part)

    with ThreadPoolExecutor(CORES) as pool:
        list(pool.map(of_part, (slice(*ends) for ends in pairwise(edges))))


def _turned(dive: Soundings, angle: float) -> tuple[Floats, Floats]:
    cosine, sine = np.cos(angle), np.sin(angle)
    return dive.east_m * cosine + dive.north_m * sine, dive.north_m * cosine - dive.east_m * sine


def _timed(work: Callable[[], Any]) -> tuple[float, float]:
    """Return how long work took, by the clock and of processor, seconds."""
    began, used = perf_counter(), process_time()
    work()
    return perf_counter() - began, process_time() - used


def _most_mib() -> float:
    """Return the most memory this process has held (VmHWM of proc(5): of this program alone, not of who began it)."""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) / 1_024 for line in lines if line.startswith("VmHWM:"))


if __name__ == "__main__":
    cost = measured(*json.loads(sys.argv[1]))
    print(json.dumps({name: getattr(cost, name) for name in Cost.__slots__}))
