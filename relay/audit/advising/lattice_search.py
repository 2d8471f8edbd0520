"""The search of a lattice of settings: what to try next, when a trial takes long and most settings need none.

Rules: whatever is at least as fine in every part as settings that broke the promise breaks it too, and isn't tried.
What leaves which area is guessed from all trials, each step of a part taking away its own share of it, and what was
never tried is taken to cost nothing: the search asks for much, is soon refused (trials that fail are short) and learns.
What an audit found it to be too hopeful by, it asks for beyond the promise from then on.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from relay.audit.advising.settings import Settings
from relay.audit.advising.trial import Kept
from relay.audit.attacks.attack import Progress, quiet
from relay.audit.charts.chart import Floats, Mask

_LOOKED_AT, _EVEN, _LEAST = 200, 0.1, 1e-4
MOST_ASKED = 2.0


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
        return self.kept.enough and (self.audited is None or self.audited.enough)


@dataclass(slots=True)
class Search:
    """The settings of a lattice, most of which need no trial; `details` (settings,) rises with every part.

    `keep`: tries settings, at `places` of which `allowed` may fall short; `starts` are tried first. `most`: how many
    settings may be tried, counted by places: one that failed at four of forty is a tenth. `asked`: how many times the
    promise settings must leave. `worth`: by how many points something must be better than the best to be tried; `whole`
    once nothing is left that could be.
    """

    settings: Sequence[Settings]
    details: NDArray[np.floating]
    keep: Callable[[Settings], Kept]
    most: float = 80
    progress: Progress = quiet
    starts: Sequence[Settings] = ()
    places: int = 1
    allowed: int = 0
    tried: dict[Settings, Tried] = field(default_factory=dict)
    best: Tried | None = None
    whole: bool = False
    worth: float = 1e-9
    asked: float = 1.0
    spent: float = 0.0
    _ranks: NDArray[np.floating] = field(init=False)
    _steps: Floats = field(init=False)
    _open: Mask = field(init=False)
    _at: dict[Settings, int] = field(init=False)

    def __post_init__(self) -> None:
        self._ranks = np.array([one.ranks for one in self.settings])
        self._steps = _steps_of(self._ranks)
        self._open = np.ones(len(self.settings), dtype=bool)
        self._at = {one: at for at, one in enumerate(self.settings)}

    def run(self, most: float | None = None) -> Tried | None:
        """Return the most detailed settings that keep the promise; None when not even the coarsest do.

        `most`: of the trials that the search has, so many may be spent by now.
        """
        self._begin()
        limit = self.most if most is None else min(most, self.most)
        while self.best is not None and self.spent < limit:
            left = self._better()
            if not left.any():
                self.whole = True
                break
            self._try(self._next(left))
        return self.best

    def reject(self, audited: Tried) -> None:
        """Count settings that failed their audit as broken, ask for more, and go back to the best of the others."""
        assert audited.audited is not None
        found_km2 = max(audited.audited.sure_km2, _LEAST)
        hopeful = self.room(audited.kept, self.allowed) * audited.audited.promise_km2 / found_km2
        self.asked = float(np.clip(hopeful, self.asked, MOST_ASKED))
        self.tried[audited.settings] = audited
        self.best, self.whole = None, False
        for one in self.tried.values():
            self._weigh(one)

    def surest(self) -> Tried | None:
        """Return what leaves most of all that was tried, keeps the promise and shows more than what is started with.

        None if there is none, or only such as are as fine as what failed an audit.
        """
        known = max((self.tried[one].detail for one in self.starts if one in self.tried), default=-np.inf)
        failed = [one.settings for one in self.tried.values() if one.audited is not None and not one.audited.enough]
        more = [
            one
            for one in self.tried.values()
            if one.enough and one.detail > known and not any(map(one.settings.at_least, failed))
        ]
        return max(more, key=lambda one: self.room(one.kept, self.allowed), default=None)

    @staticmethod
    def room(kept: Kept, allowed: int) -> float:
        """Return how many times the promise settings leave, but for so many places; a bound where they broke it."""
        areas = np.sort([one.area_km2 for one in kept.left])
        return float(areas[min(allowed, len(areas) - 1)] / kept.promise_km2)

    def _begin(self) -> None:
        """Try the settings to start with; if none will do the coarsest, and whatever else is no finer than others."""
        for start in self.starts:
            if start not in self.tried and self._open[self._at[start]]:
                self._try(start)
        while self.best is None and self._open.any():
            self._try(self._coarsest(self._open))

    def _better(self) -> Mask:
        assert self.best is not None
        better: Mask = self._open & (self.details > self.best.detail + self.worth)
        return better

    def _next(self, left: Mask) -> Settings:
        """Return the most detailed that are thought to do; if none are, those that most others are finer than."""
        likely = np.flatnonzero(left & (self._guessed() >= np.log(self.asked)))
        if not len(likely):
            return self._coarsest(left)
        return self.settings[int(likely[np.argmax(self.details[likely])])]

    def _guessed(self) -> Floats:
        """Return the logarithm of how many times the promise each of the settings (settings,) is thought to leave.

        Each step finer takes off no less than nothing; where trials don't tell two steps apart, they share (least
        squares that keep the steps small).
        """
        at = [self._at[one] for one in self.tried]
        told = np.log([max(self.room(one.kept, self.allowed), _LEAST) for one in self.tried.values()])
        count = self._steps.shape[1]
        table = np.block([[np.ones((len(at), 1)), -self._steps[at]], [np.zeros((count, 1)), _EVEN * np.eye(count)]])
        found, _ = nnls(table, np.concatenate([told - np.log(_LEAST), np.zeros(count)]))
        guessed: Floats = found[0] + np.log(_LEAST) - self._steps @ found[1:]
        return guessed

    def _coarsest(self, among: Mask) -> Settings:
        """Return settings that many of the others are finer than: if they fail, so do those."""
        left = np.flatnonzero(among)
        looked = left[np.unique(np.linspace(0, len(left) - 1, _LOOKED_AT).astype(int))]
        above = [(self._ranks[left] >= self._ranks[at]).all(axis=1).sum() for at in looked]
        return self.settings[int(looked[int(np.argmax(above))])]

    def _try(self, settings: Settings) -> None:
        one = Tried(settings, float(self.details[self._at[settings]]), self.keep(settings))
        self.tried[settings] = one
        self.spent += len(one.kept.left) / self.places
        self.progress(f"trying settings: {len(self.tried)}", self.spent / max(self.spent, self.most))
        self._weigh(one)

    def _weigh(self, one: Tried) -> None:
        """Take settings that were tried for the best, or close them and all that is as fine."""
        if not one.enough or self.room(one.kept, self.allowed) < self.asked:
            self._open &= ~(self._ranks >= np.array(one.settings.ranks)).all(axis=1)
        elif self.best is None or one.detail > self.best.detail:
            self.best = one


def _steps_of(ranks: Floats) -> Floats:
    """Return which steps each of the settings has taken (settings, steps), in every part from the coarsest on."""
    columns = [part >= rank for part in ranks.T for rank in np.unique(part)[1:]]
    return np.array(columns, dtype=float).reshape(len(columns), len(ranks)).T
