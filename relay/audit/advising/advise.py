"""The most detail that keeps a promise: settings made by hand, a search of the lattice around them, and an audit.

Rules: what is chosen has been audited at places that the search never saw, and what fails there counts as broken. It
shows no less than settings made by hand that pass an audit. The search tries the places at which policies made by hand
leave least.
"""

from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from math import inf

import numpy as np

from relay.audit.advising.lattice_search import Search, Tried
from relay.audit.advising.settings import Settings, applied, detail, settings_of
from relay.audit.advising.trial import PLENTY, Kept, Left, Proving, calibrated, keeps, level_for, spare
from relay.audit.attacks.attack import Progress, quiet
from relay.audit.matching.calibration import judged
from relay.core.policy import Policy

SPREAD = 3


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
    be better by what is `worth` a trial. `promise_km2`: what was asked for. `known`: policies made by hand, to compare
    with.
    """

    policy: Policy
    promise_km2: float
    choice: Tried | None
    tried: tuple[Tried, ...]
    known: tuple[Known, ...]
    largest_km2: float
    whole: bool
    worth: float


@dataclass(frozen=True, slots=True)
class Effort:
    """How much is tried: places in the search, fresh ones to audit the choice, settings at most, audits at most.

    After so many audits that failed there is one more, of the surest.
    The places of the search are the hardest of `SPREAD` times as many. `cells`: of how many cells at least an area as
    large as the promise is made, in the search; the audit takes all. `worth`: how many points of detail are worth a
    trial.
    """

    places: int = 40
    fresh: int = 200
    most: int = 80
    audits: int = 5
    cells: int = 24
    worth: float = 0.5

    @property
    def looked_at(self) -> range:
        """The places at which policies made by hand are tried, and of which the search takes the hardest."""
        return range(SPREAD * self.places)

    def fresh_places(self, audit: int) -> range:
        """Return the places of an audit (from 0), which no search and no other audit has seen."""
        first = len(self.looked_at) + audit * self.fresh
        return range(first, first + self.fresh)

    @property
    def unseen(self) -> range:
        """Fresh places that no audit ever sees, for whoever looks what an advice is worth."""
        return self.fresh_places(self.audits + 1)


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

    Policies made `by_hand` (the policy itself, if there are none) are tried first: by them the level is set, their
    settings are where the search starts, and what it returns to.
    """
    effort, by_hand = effort or Effort(), by_hand or {"as it is": policy}
    ground, known = _by_hand(ground, by_hand, promise_km2, effort, progress)
    starts = _starts(policy, by_hand.values(), settings)
    search = _search(ground, policy, promise_km2, settings, starts, hardest(known, effort), effort, progress)
    choice = _audited(ground, policy, promise_km2, search, effort)
    choice = _no_less_than(choice, ground, policy, promise_km2, search, effort)
    return Advice(
        policy=policy,
        promise_km2=promise_km2,
        choice=choice,
        tried=tuple(sorted(search.tried.values(), key=lambda one: one.detail)),
        known=known,
        largest_km2=promise_km2 if choice else _largest_km2(ground, policy, promise_km2, settings, effort),
        whole=search.whole,
        worth=effort.worth,
    )


def _by_hand(
    ground: Proving, policies: Mapping[str, Policy], promise_km2: float, effort: Effort, progress: Progress
) -> tuple[Proving, tuple[Known, ...]]:
    """Return how policies made by hand fare, and the ground with the level that their trials show."""
    known = []
    for at, (name, policy) in enumerate(policies.items()):
        progress("trying policies made by hand", at / len(policies))
        kept = audit(ground, policy, promise_km2, effort.looked_at, effort.cells)
        known.append(Known(name, detail(policy), kept))
    level = level_for(np.concatenate([one.kept.calibration.scores for one in known if one.kept.calibration]))
    return replace(ground, level=level), tuple(known)


def hardest(known: Sequence[Known], effort: Effort) -> list[int]:
    """Return the places at which policies made by hand leave least, each as compared with its other places."""
    areas_km2 = np.array([[left.area_km2 for left in one.kept.left] for one in known])
    order = areas_km2.argsort(axis=1).argsort(axis=1).sum(axis=0)
    return [effort.looked_at[at] for at in np.argsort(order, kind="stable")[: effort.places]]


def _starts(policy: Policy, by_hand: Iterable[Policy], settings: Sequence[Settings]) -> list[Settings]:
    """Return the settings made by hand that can stand in the policy, the most detailed first."""
    there = set(settings)
    made = {one for hand in (policy, *by_hand) if (one := settings_of(hand)) in there}
    return sorted(made, key=lambda one: -detail(applied(one, policy)))


def _search(
    ground: Proving,
    policy: Policy,
    promise_km2: float,
    settings: Sequence[Settings],
    starts: Sequence[Settings],
    places: Sequence[int],
    effort: Effort,
    progress: Progress,
) -> Search:
    """Return a search of the settings, which tries first the places at which others fell short.

    As many places may fall short as if all that were looked at were tried: the others leave more.
    """
    order, allowed = Hardest(places), spare(len(effort.looked_at))
    strides, plenty_km2 = ground.strides(promise_km2, effort.cells), PLENTY * promise_km2

    def keep(one: Settings) -> Kept:
        tried = applied(one, policy)
        kept = keeps(lambda at: ground.left(tried, at, strides, plenty_km2), order.order, promise_km2, allowed)
        order.learn(kept)
        return kept

    details = np.array([detail(applied(one, policy)) for one in settings])
    return Search(settings, details, keep, effort.most, progress, starts, len(places), allowed, worth=effort.worth)


def _audited(ground: Proving, policy: Policy, promise_km2: float, search: Search, effort: Effort) -> Tried | None:
    """Return the best settings of a search that keep the promise at fresh places, too; None when none do.

    Half of the trials are put by for the search after audits that failed. What a search finds best stands close to the
    promise, and may fail every audit; so the last one is of what stood farthest from it and still shows more than what
    was made by hand.
    """
    for turn in range(effort.audits):
        found = search.run(effort.most * (effort.audits + turn) / (2 * effort.audits - 1))
        if found is None:
            return None
        found = _at_fresh_places(found, ground, policy, promise_km2, effort.fresh_places(turn), search)
        if found.enough:
            return found
        search.reject(found)
    surest = search.surest()
    if surest is None:
        return None
    surest = _at_fresh_places(surest, ground, policy, promise_km2, effort.fresh_places(effort.audits), search)
    return surest if surest.enough else None


def _no_less_than(
    choice: Tried | None, ground: Proving, policy: Policy, promise_km2: float, search: Search, effort: Effort
) -> Tried | None:
    """Return the choice, or settings made by hand that show more and keep the promise at fresh places.

    They weren't chosen by any trial, so every place is fresh to them.
    """
    for start in search.starts:
        made = search.tried.get(start)
        if made is None or (choice is not None and made.detail <= choice.detail) or made.audited is not None:
            continue
        found = _at_fresh_places(made, ground, policy, promise_km2, effort.fresh_places(0), search)
        if found.audited is not None and found.audited.enough:
            found = replace(found, kept=found.audited)
            search.tried[start] = found
            return found
    return choice


def _at_fresh_places(
    found: Tried, ground: Proving, policy: Policy, promise_km2: float, places: range, search: Search
) -> Tried:
    """Return settings audited, and keep them so among those that were tried."""
    search.progress("auditing the choice at fresh places", 0.0)
    kept = audit(ground, applied(found.settings, policy), promise_km2, places, None, search.progress)
    search.tried[found.settings] = audited = replace(found, audited=kept)
    return audited


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
    return audit(ground, applied(settings[0], policy), promise_km2, effort.looked_at, effort.cells).fifth_km2


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
