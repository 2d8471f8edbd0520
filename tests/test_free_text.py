"""What annotations give away: found in a build that reads none, absent from what Offing really releases.

Positions are written by the libraries of `canary_spellings` (utm, mgrs, openlocationcode, pygeohash, maidenhead).
"""

import random
from dataclasses import replace
from itertools import islice

import pytest

from audited import apart, case_of
from canary_spellings import whole_positions
from dive_talk import dive_talk
from dives import INVENTED_SITE
from relay.audit.attacks.free_text import FreeText
from relay.audit.matching.posterior import Posterior
from told_besides import noted, unchecked

WRITTEN = {what: texts[0] for what, texts in whole_positions(INVENTED_SITE).items()}


@pytest.mark.parametrize("what", WRITTEN)
def test_leaky_build_is_broken_in_every_notation(what: str) -> None:
    """Positive control: where annotations go unread, the attack finds the place that one tells as finely as it does."""
    finding = FreeText().play(case_of(noted(["bow in sight", WRITTEN[what], "a bottle"], unchecked())))
    assert finding.outright and finding.leaks and finding.place is not None
    assert apart(finding.place, INVENTED_SITE) < 50 + 1.5 * finding.facts["place_within_m"]


def test_leaky_build_is_broken_within_a_cell() -> None:
    """Positive control: the posterior of a position in an annotation is about the place, and its best cell the one."""
    case = case_of(noted([f"anchor at {INVENTED_SITE[0]:.4f}, {INVENTED_SITE[1]:.4f}"], unchecked()))
    finding = FreeText().play(case)
    assert finding.log_likelihood is not None and finding.place is not None
    assert apart(finding.place, INVENTED_SITE) < 50
    posterior = Posterior.of(case.chart, finding.log_likelihood)
    assert case.chart.index(*posterior.best) == case.chart.index(*INVENTED_SITE)


def test_what_offing_releases_tells_no_place() -> None:
    """Counter-test: of the same annotations the release keeps back those that tell, and the others tell nothing."""
    finding = FreeText().play(case_of(noted(["bow in sight", *WRITTEN.values(), "a bottle"])))
    assert finding.worked and finding.leaks == () and finding.place is None and finding.log_likelihood is None
    assert finding.facts["texts_that_tell_a_place"] == 0


def test_ordinary_talk_tells_no_place() -> None:
    """Counter-test: four hundred sentences of dive talk, released unread, are no position."""
    finding = FreeText().play(case_of(noted(islice(dive_talk(random.Random(4), 8), 400), unchecked())))
    assert finding.place is None and finding.facts["texts"] > 300


def test_times_and_tides_are_told_as_what_they_are() -> None:
    """When it was is no place, and is said all the same, since beside a ship's track it becomes one."""
    finding = FreeText().play(case_of(noted(["sunrise, and at the bottom", "high water at 14:30"])))
    assert finding.log_likelihood is None and finding.leaks == ()
    assert finding.facts["texts_that_tell_when"] >= 2 and "sunrise" in finding.words


def test_name_of_the_declared_area_is_admitted() -> None:
    """What the operator declares in public is no leak; another named place in the expedition's name is one."""
    dive = noted(["bow in sight"])
    admitted = replace(dive, header={**dive.header, "area": "Strait of Tamsin"})
    assert FreeText().play(case_of(admitted)).leaks == ()
    told = replace(dive, header={**dive.header, "area": "Strait of Tamsin", "expedition": "Search off Cape Tamsin"})
    assert any("Cape Tamsin" in leak for leak in FreeText().play(case_of(told)).leaks)


def test_without_texts_it_says_why() -> None:
    """A case with nothing written has nothing to work on."""
    finding = FreeText().play(case_of())
    assert not finding.worked and "annotations" in finding.words
