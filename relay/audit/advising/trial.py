"""A policy tried at random places: what the outsider is left to search when the same dive is made there.

Rules: the places, the seabed and the dive's direction are the same for every policy, so that policies are compared and
not places; the area is that of the region which holds `level` of the outsider's belief. A search may measure an
area that is made of many cells on every second, third, ... of them by row and column, the true one among them; what is
three times the promise on few cells isn't measured closer. Where little is left that is measured too large (a peak
beside the true cell is missed), so that an audit that counts lays the dive on every cell. How often the truth lay in
the region is tried on a known seabed where there is one. Where heights aren't told, an outsider who knows that such a
vehicle works low is asked as well, and the lesser area counts.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property
from math import inf

import numpy as np
from scipy.stats import binom

from relay.audit.advising.journey import Journey
from relay.audit.advising.sites import Site, random_site
from relay.audit.advising.told import told_of
from relay.audit.attacks.attack import Dive
from relay.audit.charts.chart import Chart, Floats, Mask
from relay.audit.matching import match
from relay.audit.matching.calibration import LEAST, MOST, Calibration, judged, level_of
from relay.audit.matching.evidence import Soundings
from relay.audit.matching.posterior import Posterior
from relay.core.policy import Disclosed, LegLimits, Policy

SHARE = 0.95  # of the places at which a promise must be kept
SURE = 0.8
LADDER = (0.5, 0.7, 0.8, 0.85, 0.9, 0.93, 0.95, 0.97, 0.98, 0.99, 0.995, 0.999, 1.0)
FEW_CELLS, PLENTY = 4, 3.0
LOW_M = 10.0  # a vehicle at work keeps within it of the seabed: common practice, no source
LIMITS = LegLimits()

Read = Callable[[Dive], Soundings | None]
Match = Callable[[Soundings, Mask], Floats]


def matcher(chart: Chart, where: Mask, reach_m: float, turns: int = 72) -> Match:
    """Return the chart match on cells of `where`, for dives whose soundings lie within `reach_m` of their first.

    The chart is made ready once for all that it is asked.
    """
    ground = match.Ground.of(chart, reach_m, where)
    order = np.full(chart.shape, -1)
    order[ground.where()] = np.arange(len(ground.cells))

    def logs(soundings: Soundings, cells: Mask) -> Floats:
        if match.reach_m(soundings) > reach_m:
            return match.log_likelihood(chart, soundings, turns=turns, where=cells & where, threads=1)
        chosen = order[cells & (order >= 0)]
        grid = np.full(chart.shape, -np.inf)
        part = ground.of_cells(chosen)
        grid[part.where()] = match.Match(part, soundings, turns, match.Errors()).logs()
        return grid

    return logs


@dataclass(frozen=True, slots=True)
class Left:
    """What the outsider is left with at a place: the area, km2, and how much of his belief lies in likelier cells.

    `rank` is 1 where the truth lies outside of every cell that he holds possible. `areas_km2`: those of the regions
    that hold as much as LADDER says.
    """

    area_km2: float
    rank: float
    areas_km2: tuple[float, ...] = ()

    def at(self, level: float) -> "Left":
        """Return the same with the area of the region that holds `level` of the belief."""
        return replace(self, area_km2=float(np.interp(level, LADDER, self.areas_km2))) if self.areas_km2 else self

    def beside(self, other: "Left") -> "Left":
        """Return the same with the lesser areas of two readings of a dive; one that no cell agrees with is left out."""
        if not other.areas_km2 or not self.areas_km2:
            return self
        return replace(self, areas_km2=tuple(map(min, self.areas_km2, other.areas_km2)))


@dataclass(frozen=True)
class Proving:
    """Where dives are tried, and with what the outsider looks for them.

    `where` (rows, columns of the chart): the declared area; `read`: what he makes of a recording; `match`: the log
    likelihood he lays on cells of the chart, -inf on others. `truth`: a finer chart that the seabed is taken from,
    where there is one; without, it is the chart with errors drawn by its own law. `legs`: where a leg begins and ends.
    `known`: the same on a known seabed, on which levels are found.
    """

    chart: Chart
    where: Mask
    journey: Journey
    read: Read
    match: Match
    level: float = 0.95
    seed: int = 1
    truth: Chart | None = None
    legs: LegLimits = LIMITS
    known: "Proving | None" = None
    _sites: dict[int, Site] = field(default_factory=dict)

    def site(self, number: int) -> Site:
        """Return the place of a number: always the same one."""
        if number not in self._sites:
            draw = np.random.default_rng([self.seed, number])
            self._sites[number] = random_site(*self._from, self.chart, self.journey, draw)
        return self._sites[number]

    @cached_property
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

    def strides(self, promise_km2: float, cells: int) -> tuple[int, ...]:
        """Return the strides at which areas are measured to tell whether they are as large as a promise."""
        return self.stride(promise_km2, FEW_CELLS), self.stride(promise_km2, cells)

    def stride(self, area_km2: float, cells: int) -> int:
        """Return of how many cells, by row and by column, one is enough for an area to be made of so many."""
        cell_km2 = float(np.median(self.chart.cell_km2[self.where]))
        return max(1, int(np.sqrt(area_km2 / cell_km2 / cells)))

    def left(self, policy: Policy, number: int, strides: Sequence[int] = (1,), plenty_km2: float = inf) -> Left:
        """Return what is left of the area when the dive is made at the place of a number.

        Measured at each stride in turn, until it is `plenty_km2` or more: what is plenty need not be known closely.
        """
        site = self.site(number)
        soundings = self._told(policy, site)
        low = working_low(soundings) if soundings is not None and Disclosed.ALTITUDE not in policy.fields else None
        found = Left(0.0, 1.0)
        for stride in strides:
            found = self._left(site, soundings, stride)
            if low is not None:
                found = found.beside(self._left(site, low, stride)).at(self.level)
            if found.area_km2 >= plenty_km2:
                break
        return found

    def rank(self, policy: Policy, number: int, stride: int = 1) -> float:
        """Return how much of the outsider's belief lies in likelier cells than the true one, at a place of a number."""
        site = self.site(number)
        return self._left(site, self._told(policy, site), stride).rank

    def _told(self, policy: Policy, site: Site) -> Soundings | None:
        return self.read(told_of(policy, self.journey, site.seabed, self.legs))

    def _left(self, site: Site, soundings: Soundings | None, stride: int) -> Left:
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
        areas_km2 = _areas_km2(posterior) * self._prior_km2 / posterior.prior_km2
        return Left(0.0, rank, tuple(areas_km2.tolist())).at(self.level)

    @cached_property
    def _prior_km2(self) -> float:
        return float(self.chart.cell_km2[self.where & self.chart.candidates].sum())

    def _thinned(self, cell: tuple[int, int] | None, stride: int) -> Mask:
        row, column = cell or (0, 0)
        where = np.zeros_like(self.where)
        some = slice(row % stride, None, stride), slice(column % stride, None, stride)
        where[some] = self.where[some]
        return where


def working_low(soundings: Soundings) -> Soundings:
    """Return what a dive tells to somebody who takes the vehicle to work within `LOW_M` of the seabed.

    A sounding of the haul, beyond the height at which the bottom is left, stays as it is.
    """
    bounded = np.isfinite(soundings.deepest_m) & (soundings.most_height_m <= LIMITS.bottom_leave_m)
    lower = bounded & (soundings.least_height_m < LOW_M)
    over_m = np.where(lower, np.maximum(soundings.most_height_m - LOW_M, 0.0), 0.0)
    return replace(
        soundings,
        deepest_m=np.maximum(soundings.deepest_m - over_m, soundings.shallowest_m),
        most_height_m=soundings.most_height_m - over_m,
    )


def _areas_km2(posterior: Posterior) -> Floats:
    """Return the areas of the smallest regions that hold as much as LADDER says."""
    cell_km2 = posterior.chart.cell_km2[posterior.prior]
    mass = posterior.mass[posterior.prior]
    order = np.argsort(-(mass / cell_km2), kind="stable")
    held = np.cumsum(mass[order])
    needed = np.minimum(np.searchsorted(held, np.array(LADDER) * held[-1]), len(held) - 1)
    areas: Floats = np.cumsum(cell_km2[order])[needed]
    return areas


@dataclass(frozen=True, slots=True)
class Kept:
    """How a policy fared: by place, `enough` if the promise is kept; `whole`: at every place asked for.

    `calibration`: of the areas, where the policy was audited.
    """

    promise_km2: float
    left: tuple[Left, ...]
    short: int
    enough: bool
    whole: bool
    calibration: Calibration | None = None

    @property
    def fifth_km2(self) -> float:
        """The 5th percentile of what was left, km2; where the trial was broken off, a bound from above.

        Broken off, the places that fell short are those that would make up the lowest 5 %.
        """
        areas = np.sort([one.area_km2 for one in self.left])
        return float(np.quantile(areas, 1 - SHARE)) if self.whole else float(areas[self.short - 1])

    @property
    def sure_km2(self) -> float:
        """The largest promise that this trial, made to the end, shows to be kept: all but `spare` places leave it."""
        return float(np.sort([one.area_km2 for one in self.left])[spare(len(self.left))])

    @property
    def share(self) -> float:
        """The share of the places at which the promise is kept."""
        return 1 - self.short / len(self.left)


def calibrated(left: Sequence[Left]) -> tuple[list[Left], Calibration]:
    """Return what is left at a level that holds the truth as often as it should, and how often it did.

    Each half of the places is measured at the level that the other half shows.
    """
    ranks = np.array([one.rank for one in left])
    levels = level_of(ranks[1::2]), level_of(ranks[::2])
    return [one.at(levels[at % 2]) for at, one in enumerate(left)], judged(ranks)


def level_for(ranks: Floats) -> float:
    """Return the level whose region holds the truth at 95 % of places: 0.95 itself where that is near enough."""
    return SHARE if LEAST <= float(np.mean(ranks <= SHARE)) <= MOST else level_of(ranks)


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
