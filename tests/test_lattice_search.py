"""The search of a lattice: it finds what trying everything finds, by a fraction of the trials, and starts by hand.

Outside reference: an exhaustive search of the same lattice.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from advise_ground import LATTICE
from relay.audit.advising.lattice_search import MOST_ASKED, Search
from relay.audit.advising.settings import Settings, applied, detail, settings_of
from relay.audit.advising.trial import Kept, Left
from relay.shell.plan.expedition import preset_policy

PUBLIC = preset_policy("public", "public")
SETTINGS = LATTICE.settings_for(PUBLIC)
DETAILS = np.array([detail(applied(one, PUBLIC)) for one in SETTINGS])


def _kept(area_km2: float, promise_km2: float) -> Kept:
    enough = area_km2 >= promise_km2
    return Kept(promise_km2, (Left(area_km2, 0.5),), int(not enough), enough, enough)


def _leaving(weights: tuple[float, ...]) -> Callable[[Settings], float]:
    """Return a made-up outsider: the area falls with each part's fineness, by weights."""

    def left(one: Settings) -> float:
        tick, cell, bottom, absolute, through, words, legs, reach = one.ranks
        depth = 0.0 if np.isinf(bottom) else 1 / (1 - bottom / 50)
        descent = 0.0 if np.isinf(through) else 1 / (1 - through / 50)
        parts = (
            1 / (1 - tick),
            1 / (1 - cell / 10),
            depth,
            depth * absolute,
            descent,
            words * depth,
            legs / 4,
            reach / 2e4,
        )
        return float(1_000 * np.exp(-np.dot(weights, parts)))

    return left


@pytest.mark.parametrize("seed", range(6))
def test_search_finds_what_trying_everything_finds(seed: int) -> None:
    """For made-up outsiders the search ends with the most detail that any of the settings has, and tries a fraction."""
    draw = np.random.default_rng(seed)
    left = _leaving(tuple(draw.exponential(2.0, 8)))
    areas = np.array([left(one) for one in SETTINGS])
    promise_km2 = float(np.quantile(areas, draw.uniform(0.3, 0.95)))
    expected = DETAILS[areas >= promise_km2].max()
    search = Search(SETTINGS, DETAILS, lambda one: _kept(left(one), promise_km2), most=10_000)
    found = search.run()
    assert found is not None and search.whole
    assert found.detail == pytest.approx(expected)
    assert len(search.tried) < len(SETTINGS) / 10


def test_search_that_is_cut_short_says_so() -> None:
    """With few settings to try it gives the best that it met, which keeps the promise, and isn't called whole."""
    left = _leaving((1.0,) * 8)
    search = Search(SETTINGS, DETAILS, lambda one: _kept(left(one), 200.0), most=6)
    found = search.run()
    assert found is not None and left(found.settings) >= 200 and not search.whole
    assert len(search.tried) == 6


def test_search_without_anything_that_keeps_the_promise() -> None:
    """Where even the coarsest settings break it, one trial is enough to know."""
    search = Search(SETTINGS, DETAILS, lambda one: _kept(5.0, 200.0))
    assert search.run() is None
    assert list(search.tried) == [SETTINGS[0]]


def test_rejected_choice_is_not_chosen_again() -> None:
    """What failed its audit counts as broken, with all that is finer; the search goes on with the rest."""
    left = _leaving((0.5,) * 8)
    search = Search(SETTINGS, DETAILS, lambda one: _kept(left(one), 300.0), most=10_000)
    first = search.run()
    assert first is not None
    search.reject(replace(first, audited=_kept(1.0, 300.0)))
    second = search.run()
    assert second is not None and second.detail <= first.detail
    assert not second.settings.at_least(first.settings)
    assert search.tried[first.settings].enough is False


def test_search_by_short_trials_has_many() -> None:
    """A trial that was broken off counts by its places: trials that fail soon cost a search little."""
    left = _leaving((1.0,) * 8)

    def keep(one: Settings) -> Kept:
        area_km2 = left(one)
        enough = area_km2 >= 200.0
        count = 40 if enough else 2
        return Kept(200.0, (Left(area_km2, 0.5),) * count, 0 if enough else count, enough, enough)

    search = Search(SETTINGS, DETAILS, keep, most=10, places=40, allowed=1)
    search.run()
    assert sum(len(one.kept.left) for one in search.tried.values()) <= 11 * 40
    assert len(search.tried) > 2 * 10 or search.whole


def test_search_starts_by_hand() -> None:
    """Settings made by hand are tried first; whatever the search ends with shows no less than one that keeps it."""
    own = settings_of(PUBLIC)
    left = _leaving((0.7,) * 8)
    search = Search(SETTINGS, DETAILS, lambda one: _kept(left(one), left(own)), most=5, starts=[own])
    found = search.run()
    assert next(iter(search.tried)) == own
    assert found is not None and found.detail >= detail(PUBLIC)


def test_audit_that_failed_makes_the_search_ask_for_more() -> None:
    """Settings that left half in the audit of what they left in the search are followed by some that leave twice it."""
    left = _leaving((0.5,) * 8)
    search = Search(SETTINGS, DETAILS, lambda one: _kept(left(one), 300.0), most=10_000)
    first = search.run()
    assert first is not None
    room = search.room(first.kept, 0)
    search.reject(replace(first, audited=_kept(300.0 * room / 1.5, 300.0 * room)))
    second = search.run()
    assert search.asked == pytest.approx(1.5 * room) or search.asked == MOST_ASKED
    assert second is not None and left(second.settings) >= search.asked * 300.0 and search.whole


def test_search_tries_nothing_that_is_hardly_better() -> None:
    """After the first that keeps the promise nothing less than half a point above the best is tried."""
    left = _leaving((0.7,) * 8)
    areas = np.array([left(one) for one in SETTINGS])
    search = Search(SETTINGS, DETAILS, lambda one: _kept(left(one), 300.0), most=10_000, worth=0.5)
    found = search.run()
    assert found is not None and search.whole
    assert found.detail > DETAILS[areas >= 300.0].max() - 0.5 - 1e-9
    best = None
    for one in search.tried.values():
        assert best is None or one.detail > best + 0.5
        best = one.detail if one.enough else best


def test_surest_leaves_most_of_what_shows_more_than_the_start() -> None:
    """Neither what shows less than settings made by hand, nor what broke the promise, nor what is as fine as that."""
    own = settings_of(PUBLIC)
    left = _leaving((0.7,) * 8)
    search = Search(SETTINGS, DETAILS, lambda one: _kept(left(one), 0.8 * left(own)), most=40, starts=[own])
    assert search.surest() is None
    found = search.run()
    assert found is not None and found.detail > detail(PUBLIC)
    surest = search.surest()
    assert surest is not None and surest.enough
    others = [one for one in search.tried.values() if one.enough and one.detail > detail(PUBLIC)]
    assert surest.kept.left[0].area_km2 == max(one.kept.left[0].area_km2 for one in others)
    search.reject(replace(surest, audited=_kept(1.0, 0.8 * left(own))))
    second = search.surest()
    assert second is None or not second.settings.at_least(surest.settings)
