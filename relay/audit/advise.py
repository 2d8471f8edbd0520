"""The most detail that keeps a promise: a search of the lattice of settings that tries as few of them as it can.

Rules: whatever is at least as fine in every part as settings that broke the promise breaks it too, and isn't tried;
what is chosen has been audited at places that the search never saw, and what fails there counts as broken.
"""

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from math import inf

import numpy as np
from numpy.typing import NDArray

from relay.audit.attack import Progress, quiet
from relay.audit.calibration import judged
from relay.audit.chart import Mask
from relay.audit.settings import Settings, applied, detail, settings_of
from relay.audit.trial import PLENTY, SHARE, Kept, Left, Proving, calibrated, keeps, level_for, spare
from relay.core.policy import Policy

# The parts in the order in which they are made finer: first those that tell an outsider least.
PARTS = ("tick_s", "cell_m", "altitude", "relative", "depth_step_m", "descent_step_m", "radius_m", "legs")
_LOOKED_AT = 200


@dataclass(frozen=True, slots=True)
class Tried:
    """Settings with their detail, and how they fared: in the search, and audited (None: not)."""

    settings: Settings
    detail: float
    kept: Kept
    audited: Kept | None = None

    @property
    def enough(self) -> bool:
        """Whether they keep the promise, as far as was tried."""
        return self.kept.enough and (self.audited is None or self.audited.share >= SHARE)


@dataclass(slots=True)
class Search:
    """The settings of a lattice, most of which need no trial; `details` (settings,) rises with every part.

    `keep`: tries settings; `start` is tried first, if it is given. `whole` once nothing is left that could be
    better than the best.
    """

    settings: Sequence[Settings]
    details: NDArray[np.floating]
    keep: Callable[[Settings], Kept]
    most: int = 80
    progress: Progress = quiet
    start: Settings | None = None
    tried: dict[Settings, Tried] = field(default_factory=dict)
    best: Tried | None = None
    whole: bool = False
    _ranks: NDArray[np.floating] = field(init=False)
    _open: Mask = field(init=False)
    _at: dict[Settings, int] = field(init=False)

    def __post_init__(self) -> None:
        self._ranks = np.array([one.ranks for one in self.settings])
        self._open = np.ones(len(self.settings), dtype=bool)
        self._at = {one: at for at, one in enumerate(self.settings)}

    def run(self) -> Tried | None:
        """Return the most detailed settings that keep the promise; None when not even the coarsest do."""
        if self.best is None and not self._begin():
            return None
        while len(self.tried) < self.most:
            self._climb()
            left = self._better()
            if not left.any():
                self.whole = True
                break
            if len(self.tried) < self.most:
                self._try(self._coarsest(left))
        return self.best

    def reject(self, audited: Tried) -> None:
        """Count settings that were audited and failed as broken, and go back to the best of the others."""
        self._close(audited.settings)
        self.tried[audited.settings] = audited
        kept = [one for one in self.tried.values() if one.enough and self._open[self._at[one.settings]]]
        self.best, self.whole = max(kept, key=lambda one: one.detail, default=None), False

    def _begin(self) -> bool:
        """Try the settings to start with, then the coarsest, then whatever else is no finer than any others."""
        if self.start is not None and self.start not in self.tried and self._try(self.start):
            return True
        while self.best is None and self._open.any():
            self._try(self._coarsest(self._open))
        return self.best is not None

    def _climb(self) -> None:
        """Make one part after the other as fine as it can be."""
        for part in PARTS:
            row = self._finer(part)
            low = 0
            at = len(row) - 1  # the finest first: often a part tells nothing
            while low < len(row) and len(self.tried) < self.most:
                if self._try(row[at]):
                    low = at + 1
                else:
                    row = row[:at]
                at = (low + len(row)) // 2
                if at >= len(row):
                    break

    def _finer(self, part: str) -> list[Settings]:
        """Return the settings that differ from the best in one part and are finer, not known to fail, by detail."""
        assert self.best is not None
        best, better = self.best.settings, self._better()
        values = {getattr(one, part) for one in self.settings}
        others = {replace(best, **{part: value}) for value in values}
        if part == "relative":  # with absolute depth, the descent as it was told is gone, not finer
            others = {replace(one, descent_step_m=None) for one in others}
        return [
            one for at in np.flatnonzero(better) if (one := self.settings[int(at)]) in others and one.at_least(best)
        ]

    def _better(self) -> Mask:
        assert self.best is not None
        better: Mask = self._open & (self.details > self.best.detail + 1e-9)
        return better

    def _coarsest(self, among: Mask) -> Settings:
        """Return settings that many of the others are finer than: if they fail, so do those."""
        left = np.flatnonzero(among)
        looked = left[np.unique(np.linspace(0, len(left) - 1, _LOOKED_AT).astype(int))]
        above = [(self._ranks[left] >= self._ranks[at]).all(axis=1).sum() for at in looked]
        return self.settings[int(looked[int(np.argmax(above))])]

    def _try(self, settings: Settings) -> bool:
        at = self._at[settings]
        one = Tried(settings, float(self.details[at]), self.keep(settings))
        self.tried[settings] = one
        self.progress(f"trying settings: {len(self.tried)}", min(1.0, len(self.tried) / self.most))
        if not one.enough:
            self._close(settings)
        elif self.best is None or one.detail > self.best.detail:
            self.best = one
        return one.enough

    def _close(self, settings: Settings) -> None:
        self._open &= ~(self._ranks >= np.array(settings.ranks)).all(axis=1)


@dataclass(frozen=True, slots=True)
class Known:
    """A policy somebody made by hand: its name, its detail, and how it fares."""

    name: str
    detail: float
    kept: Kept


@dataclass(frozen=True, slots=True)
class Advice:
    """What was found for a policy: the choice (None: nothing keeps the promise), and all that was tried, by detail.

    `largest_km2`: the largest promise that the coarsest settings keep. `whole`: no settings are left untried that could
    be better. `promise_km2`: what was asked for. `known`: policies made by hand, for comparison.
    """

    policy: Policy
    promise_km2: float
    choice: Tried | None
    tried: tuple[Tried, ...]
    known: tuple[Known, ...]
    largest_km2: float
    whole: bool


@dataclass(frozen=True, slots=True)
class Effort:
    """How much is tried: places in the search, fresh ones to audit the choice, settings at most, audits at most.

    `cells`: of how many cells at least an area as large as the promise is made, in the search; the audit takes all.
    """

    places: int = 40
    fresh: int = 200
    most: int = 80
    audits: int = 5
    cells: int = 24


def advise(
    ground: Proving,
    policy: Policy,
    promise_km2: float,
    settings: Sequence[Settings],
    effort: Effort | None = None,
    by_hand: Mapping[str, Policy] | None = None,
    progress: Progress = quiet,
) -> Advice:
    """Return the most detailed of `settings` with which `policy` keeps the promise over the places of `ground`.

    Policies made `by_hand` (the policy itself, if there are none) are tried first: by them the level is set.
    """
    effort, by_hand = effort or Effort(), by_hand or {"as it is": policy}
    ground, known = _by_hand(ground, by_hand, promise_km2, effort, progress)
    search = _search(ground, policy, promise_km2, settings, effort, progress)
    choice = _audited(ground, policy, promise_km2, search, effort)
    return Advice(
        policy=policy,
        promise_km2=promise_km2,
        choice=choice,
        tried=tuple(sorted(search.tried.values(), key=lambda one: one.detail)),
        known=known,
        largest_km2=promise_km2 if choice else _largest_km2(ground, policy, promise_km2, settings, effort),
        whole=search.whole,
    )


def _by_hand(
    ground: Proving, policies: Mapping[str, Policy], promise_km2: float, effort: Effort, progress: Progress
) -> tuple[Proving, tuple[Known, ...]]:
    """Return how policies made by hand fare, and the ground with the level that their trials show."""
    known = []
    for at, (name, policy) in enumerate(policies.items()):
        progress("trying policies made by hand", at / len(policies))
        kept = audit(ground, policy, promise_km2, range(effort.places), effort.cells)
        known.append(Known(name, detail(policy), kept))
    level = level_for(np.concatenate([one.kept.calibration.scores for one in known if one.kept.calibration]))
    return replace(ground, level=level), tuple(known)


def _search(
    ground: Proving,
    policy: Policy,
    promise_km2: float,
    settings: Sequence[Settings],
    effort: Effort,
    progress: Progress,
) -> Search:
    """Return a search of the settings, which tries first the places at which others fell short."""
    hardest, allowed = Hardest(range(effort.places)), spare(effort.places)
    strides, plenty_km2 = ground.strides(promise_km2, effort.cells), PLENTY * promise_km2

    def keep(one: Settings) -> Kept:
        tried = applied(one, policy)
        kept = keeps(lambda at: ground.left(tried, at, strides, plenty_km2), hardest.order, promise_km2, allowed)
        hardest.learn(kept)
        return kept

    details = np.array([detail(applied(one, policy)) for one in settings])
    return Search(settings, details, keep, effort.most, progress, settings_of(policy))


def _audited(ground: Proving, policy: Policy, promise_km2: float, search: Search, effort: Effort) -> Tried | None:
    """Return the best settings of a search that keep the promise at fresh places, too; None when none do."""
    for turn in range(effort.audits):
        found = search.run()
        if found is None:
            return None
        search.progress("auditing the choice at fresh places", 0.0)
        first = effort.places + turn * effort.fresh
        fresh = range(first, first + effort.fresh)
        kept = audit(ground, applied(found.settings, policy), promise_km2, fresh, None, search.progress)
        found = replace(found, audited=kept)
        if found.enough:
            search.tried[found.settings] = found
            return found
        search.reject(found)
    return None


THREADS = 2


def audit(
    ground: Proving,
    policy: Policy,
    promise_km2: float,
    places: Sequence[int],
    cells: int | None = 48,
    progress: Progress = quiet,
) -> Kept:
    """Return how a policy fares at all of some places, calibrated there, or on the known seabed where there is one.

    `cells`: as in `Effort`; None: on every cell, as it must be where the result is to count.
    """
    strides = (1,) if cells is None else ground.strides(promise_km2, cells)
    plenty_km2 = inf if cells is None else PLENTY * promise_km2
    tries = len(places) * (1 if ground.known is None else 2)
    done: list[object] = []

    def left(number: int) -> Left:
        done.append(found := ground.left(policy, number, strides, plenty_km2))
        progress("trying the policy at random places", len(done) / tries)
        return found

    def rank(number: int) -> float:
        known = ground.known
        assert known is not None
        stride = 1 if cells is None else known.stride(promise_km2, cells)
        done.append(found := known.rank(policy, number, stride))
        progress("trying the policy on the known seabed", len(done) / tries)
        return found

    with ThreadPoolExecutor(THREADS) as pool:
        found = list(pool.map(left, places))
        ranks = None if ground.known is None else np.array(list(pool.map(rank, places)))
    if ranks is None:
        found, calibration = calibrated(found)
    else:
        calibration = judged(ranks)
        found = [one.at(calibration.level) for one in found]
    short = sum(one.area_km2 < promise_km2 for one in found)
    return Kept(promise_km2, tuple(found), short, short <= spare(len(found)), True, calibration)


def _largest_km2(
    ground: Proving, policy: Policy, promise_km2: float, settings: Sequence[Settings], effort: Effort
) -> float:
    """Return the 5th percentile that the coarsest settings leave, km2."""
    return audit(ground, applied(settings[0], policy), promise_km2, range(effort.places), effort.cells).fifth_km2


class Hardest:
    """The places in the order in which they are tried: first those at which others fell short."""

    def __init__(self, places: Sequence[int]) -> None:
        self._short = dict.fromkeys(places, 0)
        self.order: list[int] = list(places)

    def learn(self, kept: Kept) -> None:
        """Take note of where settings fell short."""
        for number, left in zip(self.order, kept.left, strict=False):
            self._short[number] += left.area_km2 < kept.promise_km2
        self.order = sorted(self.order, key=lambda number: -self._short[number])
