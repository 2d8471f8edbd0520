"""Whether the audit's region holds the truth as often as it says, and the level at which it does.

Rules: the same dive is played at random places over a seabed finer than the attacked chart; what counts is the share of
the posterior that is more probable than the true place. The level is the one that holds 95 of 100 such places (split
conformal prediction, Vovk and others; from memory), and it is tried on places that had no part in choosing it. What
can't be calibrated is given no number.
"""

from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from math import ceil, inf
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from relay.audit.attacks.attack import Progress, quiet
from relay.audit.charts.chart import Chart, Floats, Mask
from relay.audit.matching.error_law import halved, learn
from relay.audit.matching.evidence import Soundings
from relay.audit.matching.filled import at_places
from relay.audit.matching.match import Errors, Ground, Match, from_first, parts_of, reach_m

GOAL, LEAST, MOST = 0.95, 0.93, 0.97
FITS, MISLED = 0.99, 0.985
CELLS = 4_000
DRAWS = 400


@dataclass(frozen=True)
class Calibration:
    """The posterior mass that holds the truth as often as `GOAL`, and how often it did where it was tried.

    `scores` (trials,): at each true place the mass of the cells more probable than its own; `why`: why there is no
    calibration, or nothing. `fit`: the log likelihood that the best cell reached at 99 of 100 places; a dive whose best
    cell stays below it was hardly made on this chart.
    """

    level: float
    covered: float
    scores: Floats
    why: str = ""
    fit: float = -inf

    @property
    def trials(self) -> int:
        """How many places it was tried at."""
        return len(self.scores)

    @property
    def half(self) -> float:
        """The level that holds the truth at half of the places: how little an outsider needs as often as not."""
        return float(np.median(self.scores)) if len(self.scores) else 1.0

    @property
    def misled(self) -> bool:
        """Whether the level is so high that the outsider is often sure of a wrong place: his area says little then."""
        return self.level > MISLED

    @property
    def holds(self) -> bool:
        """Whether a region of this level may be told: the truth lay inside at 93 to 97 places of 100."""
        return not self.why and LEAST <= self.covered <= MOST


def calibrate(
    chart: Chart,
    told: Soundings | Sequence[Soundings],
    truth: Chart,
    draw: np.random.Generator,
    *,
    trials: int = 200,
    turns: int = 72,
    errors: Errors | None = None,
    where: Mask | None = None,
    cells: int = CELLS,
    progress: Progress = quiet,
    threads: int = 2,
) -> Calibration:
    """Play what was told at random places of `truth`, attack each with `chart`, and return the calibration.

    `where`: the cells of `chart` in which a dive may be. Each posterior is taken over its true cell and `cells` others,
    drawn anew, which stand for all.
    """
    chance = Trials(chart, told, truth, turns, errors or Errors(), where, cells)
    scores, best = [], []
    with ThreadPoolExecutor(threads) as pool:
        for at, scored in enumerate(pool.map(chance.score, chance.places(trials, draw), draw.spawn(trials)), 1):
            scores.append(scored.rank)
            best.append(scored.best)
            progress("trying the audit at places known", at / trials)
    if len(scores) < trials:
        why = f"of {trials} random places of {truth.name} the dive fits in {len(scores)} alone"
        return Calibration(1.0, 0.0, np.array(scores), why)
    return replace(judged(np.array(scores)), fit=float(np.quantile(best, 1 - FITS)))


def grounds(chart: Chart, draw: np.random.Generator, finer: Chart | None = None) -> tuple[Chart, Chart, Chart]:
    """Return the chart to attack with, and for the calibration a chart to attack with and the seabed it is tried over.

    With a finer chart that is the seabed; without one the chart itself is, attacked with every second node of it. All
    attacked ones have learnt how wrong they are. ValueError when the charts have no water in common.
    """
    if finer is not None:
        attacked = learn(chart, draw, finer)
        return attacked, attacked, finer
    return learn(chart, draw), learn(halved(chart), draw), chart


def judged(scores: Floats) -> Calibration:
    """Return the calibration of scores (trials,): its level, and the share of each half within the other's level."""
    halves = scores[::2], scores[1::2]
    inside = [halves[at] <= level_of(halves[1 - at]) for at in (0, 1)]
    covered = float(np.concatenate(inside).mean())
    calibration = Calibration(level_of(scores), covered, scores)
    if calibration.holds:
        return calibration
    share = f"{covered:.1%} of {len(scores)} places known"
    return replace(calibration, why=f"the region held the truth at {share}, where 93 to 97 % are asked")


def level_of(scores: Floats) -> float:
    """Return the level that holds `GOAL` of places like these, one more among them."""
    ordered = np.sort(scores)
    at = min(ceil((len(ordered) + 1) * GOAL), len(ordered)) - 1
    return float(ordered[at])


class Scored(NamedTuple):
    """What came of one true place: the mass more probable than it, and the best cell's log likelihood."""

    rank: float
    best: float


@dataclass(frozen=True)
class Place:
    """A true place: degrees, the turn of the frame (radians), and the seabed (metres) under each part's soundings."""

    latitude_deg: float
    longitude_deg: float
    turn: float
    seabed_m: tuple[Floats, ...]


class Trials:
    """One dive, to be played at places of a known seabed and sought on a chart."""

    def __init__(
        self,
        chart: Chart,
        told: Soundings | Sequence[Soundings],
        truth: Chart,
        turns: int,
        errors: Errors,
        where: Mask | None,
        cells: int,
    ) -> None:
        self._parts, self._truth = parts_of(told), truth
        self._turns, self._errors, self._cells = turns, errors, cells
        self._ground = Ground.of(chart, reach_m(told), where)
        self._order = np.full(chart.shape, -1)
        self._order[self._ground.where()] = np.arange(len(self._ground.cells))

    def places(self, trials: int, draw: np.random.Generator) -> Iterator[Place]:
        """Yield `trials` random places at which the dive fits in the water and the chart may be searched.

        Fewer, when `DRAWS` times as many attempts find no more.
        """
        rows, columns = np.nonzero(np.isfinite(self._truth.depth_m))
        found = 0
        for _ in range(DRAWS * trials):
            at = int(draw.integers(len(rows)))
            place = self._place(int(rows[at]), int(columns[at]), draw)
            if place is None:
                continue
            yield place
            found += 1
            if found == trials:
                return

    def _place(self, row: int, column: int, draw: np.random.Generator) -> Place | None:
        truth = self._truth
        latitude = float(truth.latitude_deg[row] + truth.step_deg[0] * draw.uniform(-0.5, 0.5))
        longitude = float(truth.longitude_deg[column] + truth.step_deg[1] * draw.uniform(-0.5, 0.5))
        cell = self._ground.chart.index(latitude, longitude)
        if cell is None or self._order[cell] < 0:
            return None
        turn = draw.uniform(0, 2 * np.pi) if self._parts[0].turned else 0.0
        north_m, east_m = (float(metres[row]) for metres in truth.metres_per_degree)
        seabed_m = []
        for part in self._parts:
            east, north = from_first(self._parts, part)
            seabed_m.append(
                at_places(
                    truth,
                    latitude + (north * np.cos(turn) - east * np.sin(turn)) / north_m,
                    longitude + (east * np.cos(turn) + north * np.sin(turn)) / east_m,
                )
            )
        return (
            Place(latitude, longitude, turn, tuple(seabed_m)) if np.isfinite(np.concatenate(seabed_m)).all() else None
        )

    def observed(self, place: Place, draw: np.random.Generator) -> tuple[Soundings, ...]:
        """Return what the dive would have told at a place: with a tide for all, and an error for each sounding."""
        errors, bias_m = self._errors, draw.normal(0, self._errors.common_m)
        return tuple(
            part.observed_over(
                seabed_m + (0.0 if part.relative else bias_m) + draw.normal(0, errors.sounding_m, len(seabed_m)), draw
            )
            for part, seabed_m in zip(self._parts, place.seabed_m, strict=True)
        )

    def score(self, place: Place, draw: np.random.Generator) -> Scored:
        """Return the share of the posterior more probable than the true cell, with a random part of its own."""
        told = self.observed(place, draw)
        cell = self._ground.chart.index(place.latitude_deg, place.longitude_deg)
        assert cell is not None
        count = len(self._ground.cells)
        others = draw.choice(count - 1, min(self._cells, count - 1), replace=False)
        true = int(self._order[cell])
        chosen = np.concatenate([[true], np.sort(others + (others >= true))])
        logs = Match(self._ground.of_cells(chosen), told, self._turns, self._errors).logs()
        for_all = np.r_[1.0, np.full(len(others), (count - 1) / max(1, len(others)))]
        return Scored(_rank(logs, self._area_of(chosen) * for_all, draw), float(logs.max()))

    def _area_of(self, chosen: NDArray[np.int64]) -> Floats:
        """Return the area of chosen cells, as parts of the largest."""
        areas = self._ground.chart.cell_km2[self._ground.row[chosen], 0]
        part: Floats = areas / areas.max()
        return part


def _rank(logs: Floats, weights: Floats, draw: np.random.Generator) -> float:
    """Return the mass of what is more probable than the first, and a random part of what is as probable."""
    mass = np.exp(logs - logs.max()) * weights
    mass /= mass.sum()
    before, tied = mass[logs > logs[0]].sum(), mass[logs == logs[0]].sum()
    return float(before + draw.uniform() * tied)
