"""The most detail that keeps a promise, on a real chart: more than a preset shows, and what can't be promised.

Chart: `chart-strait-multires` of the published data (its README names the sources).
"""

from dataclasses import replace
from pathlib import Path

import numpy as np

from advise_ground import LATTICE, ground_on, part_of_chart
from relay.audit.advising.advise import Advice, Effort, Hardest, Known, _audited, advise, audit, hardest
from relay.audit.advising.lattice_search import Search, Tried
from relay.audit.advising.settings import THROUGH_THE_WATER, Lattice, applied, detail, settings_of
from relay.audit.advising.trial import Kept, Left, Proving
from relay.shell.plan.expedition import preset_policy

PUBLIC, FUNDERS = (preset_policy(name, "public") for name in ("public", "funders"))
SETTINGS = LATTICE.settings_for(PUBLIC)
DETAILS = np.array([detail(applied(one, PUBLIC)) for one in SETTINGS])


def _kept(area_km2: float, promise_km2: float) -> Kept:
    enough = area_km2 >= promise_km2
    return Kept(promise_km2, (Left(area_km2, 0.5),), int(not enough), enough, enough)


def test_search_tries_the_places_that_leave_least_by_hand() -> None:
    """Of all places that policies made by hand were tried at, those that leave least by all of them come first."""
    effort = Effort(places=2)
    areas = (5, 1, 9, 2, 8, 7), (50, 30, 90, 10, 80, 70)
    known = [Known("", 1.0, Kept(1.0, tuple(Left(area, 0.5) for area in row), 0, True, True)) for row in areas]
    assert sorted(hardest(known, effort)) == [1, 3]
    assert set(effort.looked_at).isdisjoint(effort.fresh_places(0))
    assert set(effort.fresh_places(0)).isdisjoint(effort.fresh_places(1))


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
    asked = audit(ground, PUBLIC, 100.0, effort.fresh_places(0), None).sure_km2 if promise_km2 is None else promise_km2
    return advise(ground, PUBLIC, asked, SETTINGS, effort), ground


def test_advice_shows_more_than_the_preset_at_its_promise(shared_data: Path) -> None:
    """There are settings with more detail than the public preset's that keep what it keeps, at third places too.

    On a part of the strait's chart; the bench does it on both charts (`make bench ARGS="--only advise"`). Of 20 places
    a policy that keeps its promise at 95 % of all of them keeps it at 17 or more with 98 % (binomial).
    """
    effort = Effort(places=10, fresh=20, most=8, audits=2, cells=8)
    advice, ground = _advised(shared_data, "strait", None, effort)
    assert advice.choice is not None
    assert advice.choice.detail > detail(PUBLIC) + 1
    settings = applied(advice.choice.settings, PUBLIC)
    assert audit(ground, settings, advice.promise_km2, effort.unseen, None).share >= 17 / 20


def test_advice_falls_back_on_what_was_made_by_hand(shared_data: Path) -> None:
    """A search that is given no time still advises settings made by hand that keep the promise, audited like any."""
    effort = Effort(places=7, fresh=14, most=0, audits=1, cells=8)
    advice, _ = _advised(shared_data, "strait", None, effort)
    assert advice.choice is not None and advice.choice.audited is not None
    assert advice.choice.detail >= detail(PUBLIC) and advice.choice.audited.enough
    assert len(advice.choice.audited.left) == effort.fresh


def test_last_audit_is_of_what_stood_farthest_from_the_promise(shared_data: Path) -> None:
    """Where what was found best fails its audits, what leaves more and still shows more than the preset is advised."""
    ground, own = ground_on(part_of_chart(shared_data, "strait"), seed=3), settings_of(PUBLIC)
    more = replace(own, tick_s=5, cell_m=10.0, depth_step_m=100.0, legs=THROUGH_THE_WATER, radius_m=None)
    sure, best = replace(more, descent_step_m=None), replace(more, depth_step_m=1.0, descent_step_m=None)
    # As a search would have it that was misled by its few places.
    hoped = {own: 44.0, sure: 120.0, best: 42.0}
    settings = sorted(hoped, key=lambda one: detail(applied(one, PUBLIC)))
    details = np.array([detail(applied(one, PUBLIC)) for one in settings])
    search = Search(settings, details, lambda one: _kept(hoped[one], 40.0), starts=[own])
    search._try(sure)
    effort = Effort(places=7, fresh=14, most=9, audits=1, cells=8)
    choice = _audited(ground, PUBLIC, 40.0, search, effort)
    failed = search.tried[best].audited
    assert failed is not None and not failed.enough
    assert choice is not None and choice.settings == sure and choice.detail > detail(PUBLIC)
    assert choice.audited is not None and choice.audited.enough and len(choice.audited.left) == effort.fresh


def test_promise_beyond_the_area_is_told_the_largest(shared_data: Path) -> None:
    """More than the area has can't be left: the advice is the largest promise, that of a track without depth."""
    advice, whole = _advised(shared_data, "strait", 1e6, Effort(places=7, fresh=20, most=4, cells=10))
    area_km2 = whole.chart.cell_km2[whole.where].sum()
    assert advice.choice is None
    assert 0.9 * area_km2 < advice.largest_km2 <= area_km2


def test_own_settings_are_among_those_tried() -> None:
    """The policy as it is can be the advice, wherever its values lie between the lattice's."""
    odd = replace(PUBLIC, depth_step_m=33.0, cell_m=17.0)
    assert any(one.depth_step_m == 33.0 and one.cell_m == 17.0 for one in Lattice().settings_for(odd))
    assert Tried(SETTINGS[0], 1.0, _kept(5.0, 1.0)).enough
