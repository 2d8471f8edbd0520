"""A policy tried at random places: what the outsider is left to search when the same dive is made there.

Rules: the places, the seabed and the dive's direction are the same for every policy, so that policies are compared and
not places; the area is that of the region which holds `level` of the outsider's belief. Where an area is made of many
cells it is measured on every second, third, ... of them by row and column, the true one among them: so a peak at the
truth is never missed, and counts for more than it is, which favours the outsider.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property

import numpy as np
from scipy.stats import binom

from relay.audit.attack import Dive
from relay.audit.chart import Chart, Floats, Mask
from relay.audit.evidence import Soundings
from relay.audit.journey import Journey
from relay.audit.posterior import Posterior
from relay.audit.sites import Site, random_site
from relay.audit.told import told_of
from relay.core.policy import Policy

SHARE = 0.95  # of the places at which a promise must be kept
SURE = 0.8
LEAST_COVERED, MOST_COVERED = 0.93, 0.97  # beyond these an area is no measure

Read = Callable[[Dive], Soundings | None]
Match = Callable[[Soundings, Mask], Floats]


@dataclass(frozen=True, slots=True)
class Left:
    """What the outsider is left with at a place: the area, km2, and how much of his belief lies in likelier cells.

    `rank` is 1 where the truth lies outside of every cell that he holds possible.
    """

    area_km2: float
    rank: float


@dataclass(frozen=True)
class Ground:
    """Where dives are tried, and with what the outsider looks for them.

    `where` (rows, columns of the chart): the declared area; `read`: what he makes of a recording; `match`: the log
    likelihood he lays on cells of the chart, -inf on others. `truth`: a finer chart that the seabed is taken from,
    where there is one.
    """

    chart: Chart
    where: Mask
    journey: Journey
    read: Read
    match: Match
    level: float = 0.95
    seed: int = 1
    truth: Chart | None = None
    _sites: dict[int, Site] = field(default_factory=dict)

    def site(self, number: int) -> Site:
        """Return the place of a number: always the same one."""
        if number not in self._sites:
            draw = np.random.default_rng([self.seed, number])
            self._sites[number] = random_site(*self._from(), self.chart, self.journey, draw)
        return self._sites[number]

    def _from(self) -> tuple[Chart, Mask]:
        if self.truth is None:
            return self.chart, self.where
        rows = [self.chart.index(float(at), float(self.chart.longitude_deg[0])) for at in self.truth.latitude_deg]
        columns = [self.chart.index(float(self.chart.latitude_deg[0]), float(at)) for at in self.truth.longitude_deg]
        inside = np.zeros(self.truth.shape, dtype=bool)
        for at, row in enumerate(rows):
            if row is not None:
                inside[at] = [column is not None and self.where[row[0], column[1]] for column in columns]
        return self.truth, inside

    def stride(self, area_km2: float, cells: int) -> int:
        """Return of how many cells, by row and by column, one is enough for an area to be made of so many."""
        cell_km2 = float(np.median(self.chart.cell_km2[self.where]))
        return max(1, int(np.sqrt(area_km2 / cell_km2 / cells)))

    def left(self, policy: Policy, number: int, stride: int = 1) -> Left:
        """Return what is left of the area when the dive is made at the place of a number."""
        site = self.site(number)
        soundings = self.read(told_of(policy, self.journey, site.seabed))
        first = (0.0, 0.0) if soundings is None else (float(soundings.east_m[0]), float(soundings.north_m[0]))
        cell = self.chart.index(*site.place(*first))
        where = self._thinned(cell, stride)
        logs = np.zeros(self.chart.shape) if soundings is None else self.match(soundings, where)
        try:
            posterior = Posterior.of(self.chart, logs, where)
        except ValueError:
            return Left(0.0, 1.0)
        inside = cell is not None and posterior.prior[cell]
        rank = float(posterior.rank[cell]) if inside and cell is not None else 1.0
        return Left(posterior.area_km2(self.level) * self._prior_km2 / posterior.prior_km2, rank)

    @cached_property
    def _prior_km2(self) -> float:
        return float(self.chart.cell_km2[self.where & self.chart.candidates].sum())

    def _thinned(self, cell: tuple[int, int] | None, stride: int) -> Mask:
        row, column = cell or (0, 0)
        where = np.zeros_like(self.where)
        some = slice(row % stride, None, stride), slice(column % stride, None, stride)
        where[some] = self.where[some]
        return where


@dataclass(frozen=True, slots=True)
class Kept:
    """How a policy fared: by place, `enough` if the promise is kept; `whole`: at every place asked for."""

    promise_km2: float
    left: tuple[Left, ...]
    short: int
    enough: bool
    whole: bool

    @property
    def fifth_km2(self) -> float:
        """The 5th percentile of what was left, km2; where the trial was broken off, a bound from above.

        Broken off, the places that fell short are those that would make up the lowest 5 %.
        """
        areas = np.sort([one.area_km2 for one in self.left])
        return float(np.quantile(areas, 1 - SHARE)) if self.whole else float(areas[self.short - 1])

    @property
    def share(self) -> float:
        """The share of the places at which the promise is kept."""
        return 1 - self.short / len(self.left)


def covered(left: Sequence[Left], level: float) -> float:
    """Return the share of places that lie in the region which holds `level` of the outsider's belief."""
    return float(np.mean([one.rank <= level for one in left]))


def level_of(left: Sequence[Left]) -> float:
    """Return the level whose region holds the truth at 95 % of places: 0.95 itself where that is near enough."""
    if LEAST_COVERED <= covered(left, SHARE) <= MOST_COVERED:
        return SHARE
    return float(np.quantile([one.rank for one in left], SHARE))


@cache
def spare(places: int, sure: float = SURE) -> int:
    """Return at how many places a policy may fall short, and be known to keep its promise at 95 % of all places.

    So few that a policy that keeps it at fewer would do as well with a probability of 1 - `sure` at most (binomial).
    Where even none would not make that sure, none may.
    """
    allowed = [short for short in range(places) if binom.cdf(short, places, 1 - SHARE) <= 1 - sure]
    return max(allowed, default=0)


def keeps(
    left: Callable[[int], Left], places: Sequence[int], promise_km2: float, allowed: int, *, to_the_end: bool = False
) -> Kept:
    """Try places in turn, until more than `allowed` fall short of the promise (or, `to_the_end`, all of them)."""
    found: list[Left] = []
    short = 0
    for one in _each(left, places):
        found.append(one)
        short += one.area_km2 < promise_km2
        if short > allowed and not to_the_end:
            break
    return Kept(promise_km2, tuple(found), short, short <= allowed, len(found) == len(places))


def _each(left: Callable[[int], Left], places: Sequence[int]) -> Iterator[Left]:
    return (left(number) for number in places)
