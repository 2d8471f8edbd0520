"""A list of known wrecks against what was told: the one that a leaky build is at is found, a sound one's is not.

The list is invented. Probabilities are held against Bayes' rule worked out with scipy's normal distribution.
"""

import random
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from audited import apart, case_of, chart_about, journal, on_earth
from dives import INVENTED_SITE, plan, policy
from relay.audit.attacks.attack import Case, Dive, Wreck
from relay.audit.attacks.known_wrecks import DEPTH_ERROR, ON_THE_LIST, STANDS_M, KnownWrecks
from relay.audit.matching.posterior import Posterior
from relay.audit.matching.soundings_of import soundings_of
from relay.core.policy import Disclosed
from told_besides import noted, released, survey

DEPTH_M = 1_101.0  # of the seabed in `survey`


def listed(count: int = 30, seed: int = 2) -> tuple[Wreck, ...]:
    """Return the wreck of the dive, ninth of the list, and others about it, each at least 60 m deeper or shallower."""
    chance = random.Random(seed)
    others = []
    for at in range(count):
        east, north = (chance.choice((-1, 1)) * chance.uniform(900, 6_000) for _ in range(2))
        deep = DEPTH_M + chance.choice((-1, 1)) * chance.uniform(60, 300)
        others.append(Wreck(f"Sable Petrel {at}", *on_earth(east, north), deep, chance.uniform(30, 150)))
    return (*others[:8], Wreck("Isoline Keel", *INVENTED_SITE, DEPTH_M, 90.0), *others[8:])


def surveyed(**shown: object) -> Dive:
    """Return a survey under a policy."""
    return released(journal(survey(1_200), 4), plan(policy(**shown)))["public"]


def even_chart() -> object:
    """Return a chart whose depths are spread as widely as the list's."""
    chart = chart_about()
    slope = np.tile(np.linspace(800, 1_400, chart.shape[1]), (chart.shape[0], 1))
    return replace(chart, depth_m=slope)


def case(dive: Dive, wrecks: tuple[Wreck, ...]) -> Case:
    """Return the case of a dive and a list."""
    return case_of(dive, chart=even_chart(), wrecks=wrecks)  # type: ignore[arg-type]


def test_absolute_depth_tells_the_wreck_within_a_cell() -> None:
    """Positive control: a build with depth to 0.1 m is at the one wreck of the list that lies as deep."""
    tried = case(surveyed(depth_step_m=0.1), listed())
    finding = KnownWrecks().play(tried)
    assert finding.place is not None and apart(finding.place, INVENTED_SITE) < 50
    assert not finding.outright, "a fit is a guess"
    on_list = 1 - finding.facts["probability of none on the list"]
    assert finding.facts["probability of Isoline Keel"] > 0.9 * on_list
    assert finding.log_likelihood is not None
    best = Posterior.of(tried.chart, finding.log_likelihood).best
    assert tried.chart.index(*best) == tried.chart.index(*INVENTED_SITE)


def test_relative_depth_tells_no_wreck_from_another() -> None:
    """Counter-test: a release with depth relative to the bottom leaves every wreck of the list as probable."""
    wrecks = tuple(replace(wreck, length_m=None) for wreck in listed())
    finding = KnownWrecks().play(case(surveyed(depth_step_m=5.0, depth_relative=True), wrecks))
    shares = [
        share for name, share in finding.facts.items() if name.startswith("probability of ") and "none" not in name
    ]
    assert finding.place is None and finding.leaks == ()
    assert max(shares) == pytest.approx(min(shares)) == pytest.approx(ON_THE_LIST / len(wrecks))
    assert "hardly told apart" in finding.words


def test_depth_withheld_tells_no_wreck_from_another() -> None:
    """Counter-test: without any depth it is the same."""
    shown = frozenset(Disclosed) - {Disclosed.DEPTH}
    finding = KnownWrecks().play(case(surveyed(fields=shown), listed()))
    assert finding.place is None and finding.facts.get("probability of Isoline Keel", 0.0) < 0.1


def test_name_in_a_text_decides_and_is_a_leak() -> None:
    """Positive control: an annotation, or the expedition itself, that names a listed wreck gives it away."""
    wrecks = (*listed(), Wreck("Isoline Marr", *on_earth(3_000, 2_000)))
    finding = KnownWrecks().play(case(surveyed(depth_relative=True), wrecks))
    assert finding.place is not None and apart(finding.place, on_earth(3_000, 2_000)) < 50
    assert any("expedition names “Isoline Marr”" in leak for leak in finding.leaks)


def test_length_in_a_text_tells_wrecks_apart() -> None:
    """What is said of a hull's length is held against the list's."""
    wrecks = (Wreck("Long Petrel", *on_earth(2_000, 0), None, 150.0), Wreck("Short Petrel", *INVENTED_SITE, None, 90.0))
    finding = KnownWrecks().play(case(noted(["The hull is 92 m long", "bow"]), wrecks))
    assert finding.facts["probability of Short Petrel"] > 20 * finding.facts["probability of Long Petrel"]


def test_probabilities_are_bayes_rule() -> None:
    """With a list of two the probabilities are those of the normal distribution by scipy (scipy.stats.norm)."""
    near, far = (Wreck(name, *INVENTED_SITE, depth) for name, depth in (("Near", 1_095.0), ("Far", 1_060.0)))
    tried = case(surveyed(depth_step_m=1.0), (near, far))
    finding = KnownWrecks().play(tried)
    soundings = soundings_of(tried.dives)
    assert soundings is not None
    low = float(soundings.shallowest_m.min()) - STANDS_M - tried.tide_m[1]
    high = float(soundings.deepest_m[np.isfinite(soundings.deepest_m)].max()) - tried.tide_m[0]

    def fits(depth: float) -> float:
        spread = float(np.hypot(DEPTH_ERROR[0], DEPTH_ERROR[1] * depth))
        return float(norm.cdf(high, depth, spread) - norm.cdf(low, depth, spread))

    ratio = finding.facts["probability of Near"] / finding.facts["probability of Far"]
    assert ratio == pytest.approx(fits(1_095.0) / fits(1_060.0), rel=1e-9)


def test_wrecks_elsewhere_and_no_list_say_why() -> None:
    """A list that is none, lies off the chart or outside the declared area gives nothing to work on."""
    dive = surveyed()
    assert not KnownWrecks().play(case(dive, ())).worked
    assert not KnownWrecks().play(case(dive, (Wreck("Elsewhere", 10.0, 10.0),))).worked
    tried = case(dive, listed())
    nowhere = replace(tried, prior=np.zeros(tried.chart.shape, dtype=bool))
    assert "declared area" in KnownWrecks().play(nowhere).words
