"""The most detail that keeps a promise: the search finds what trying everything finds, on a real chart too.

Chart: `chart-strait-multires` of the published data (its README names the sources). Outside reference: an exhaustive
search of the same lattice.
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from advise_ground import LATTICE, ground_on, part_of_chart
from relay.audit.advise import Advice, Effort, Hardest, Search, Tried, advise, audit
from relay.audit.settings import Lattice, Settings, applied, detail
from relay.audit.trial import Kept, Left, Proving
from relay.shell.expedition import preset_policy

PUBLIC, FUNDERS = (preset_policy(name, "public") for name in ("public", "funders"))
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


def test_hardest_places_are_tried_first() -> None:
    """Where settings fell short the next ones are tried first, so that what fails fails soon."""
    hardest = Hardest(range(5))
    hardest.learn(Kept(10.0, tuple(Left(area, 0.5) for area in (20, 5, 20, 1)), 2, False, False))
    assert hardest.order == [1, 3, 0, 2, 4]


def _advised(shared_data: Path, chart: str, promise_km2: float | None, effort: Effort) -> tuple[Advice, Proving]:
    """Return the advice for the public preset, and where: at what the preset keeps there, unless a promise is given.

    The preset's is measured at the fresh places of the advice's audit, on every cell as that is.
    """
    ground = ground_on(part_of_chart(shared_data, chart))
    fresh = range(effort.places, effort.places + effort.fresh)
    asked = audit(ground, PUBLIC, 100.0, fresh, None).sure_km2 if promise_km2 is None else promise_km2
    return advise(ground, PUBLIC, asked, SETTINGS, effort), ground


def test_advice_shows_more_than_the_preset_at_its_promise(shared_data: Path) -> None:
    """There are settings with more detail than the public preset's that keep what it keeps, at third places too.

    On a part of the strait's chart; the bench does it on both charts (`make bench ARGS="--only advise"`). Of 20 places
    a policy that keeps its promise at 95 % of all of them keeps it at 17 or more with 98 % (binomial).
    """
    effort = Effort(places=20, fresh=20, most=8, audits=2, cells=8)
    advice, ground = _advised(shared_data, "strait", None, effort)
    assert advice.choice is not None
    assert advice.choice.detail > detail(PUBLIC) + 1
    third = range(effort.places + effort.audits * effort.fresh, effort.places + (effort.audits + 1) * effort.fresh)
    assert audit(ground, applied(advice.choice.settings, PUBLIC), advice.promise_km2, third, None).share >= 17 / 20


def test_promise_beyond_the_area_is_told_the_largest(shared_data: Path) -> None:
    """More than the area has can't be left: the advice is the largest promise, that of a track without depth."""
    advice, whole = _advised(shared_data, "strait", 1e6, Effort(places=20, fresh=20, most=4, cells=10))
    area_km2 = whole.chart.cell_km2[whole.where].sum()
    assert advice.choice is None
    assert 0.9 * area_km2 < advice.largest_km2 <= area_km2


def test_own_settings_are_among_those_tried() -> None:
    """The policy as it is can be the advice, wherever its values lie between the lattice's."""
    odd = replace(PUBLIC, depth_step_m=33.0, cell_m=17.0)
    assert any(one.depth_step_m == 33.0 and one.cell_m == 17.0 for one in Lattice().settings_for(odd))
    assert Tried(SETTINGS[0], 1.0, _kept(5.0, 1.0)).enough
