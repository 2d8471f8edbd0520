"""Recordings against each other: what two of them tell together that none tells alone.

Places are compared on the Earth by geographiclib.
"""

from dataclasses import replace

import numpy as np
import pytest

from audited import apart, case_of, journal
from dives import INVENTED_SITE, plan, policy
from relay.audit.attacks.attack import Dive
from relay.audit.attacks.differencing import Differencing
from relay.audit.matching.posterior import Posterior
from relay.core.policy import Place, Plan
from relay.core.track import Track
from relay.core.wire import WireRecord
from told_besides import beyond_the_row, in_cells_of, named, released, survey

STEP_DEG = 0.008  # some 890 m by 700 m: what lists of sensitive records call generalised
SECOND = 1_000_000


def two(**family: object) -> Plan:
    """Return the plan of two audiences of one dive."""
    return plan(policy(tick_us=4 * SECOND, cell_m=25.0), policy("family", **{"tick_us": 6 * SECOND, **family}))


def both(shown: Plan, seconds: int = 3_000, leg_s: int = 400) -> tuple[Dive, Dive]:
    """Return what both audiences got of a survey."""
    got = released(journal(survey(seconds, leg_s=leg_s), 4), shown)
    return got["public"], got["family"]


def test_coarse_positions_for_one_audience_place_the_track_of_another(monkeypatch: pytest.MonkeyPatch) -> None:
    """Positive control: cells of 0.008 degrees for one and a place-less track for another lie within 50 m together."""
    beyond_the_row(monkeypatch, in_cells_of(STEP_DEG), "family")
    public, family = both(two(place=Place.AREA), 7_500, 1_500)
    case = case_of(public, family)
    finding = Differencing().play(case)
    assert finding.outright and finding.place is not None and apart(finding.place, INVENTED_SITE) < 50
    assert any("fixes the frame of all" in leak for leak in finding.leaks)
    assert finding.log_likelihood is not None
    best = Posterior.of(case.chart, finding.log_likelihood).best
    assert np.max(np.abs(np.subtract(case.chart.index(*best), case.chart.index(*INVENTED_SITE)))) <= 1
    alone = Differencing().play(case_of(family))
    assert alone.place is None or apart(alone.place, INVENTED_SITE) > 100, "alone it is a cell"


def test_exact_recording_of_a_trusted_audience_places_the_publics() -> None:
    """Positive control: who gets hold of an exact recording has the frame, and so every other dive of the site."""
    public, family = both(two(place=Place.EXACT, cell_m=1.0), 1_000)
    finding = Differencing().play(case_of(public, family))
    assert finding.outright and finding.place is not None and apart(finding.place, INVENTED_SITE) < 50


def test_what_offing_releases_tells_no_place() -> None:
    """Counter-test: two sound audiences share a frame that lies nowhere; what they have together is said in metres."""
    public, family = both(two(cell_m=10.0))
    finding = Differencing().play(case_of(public, family))
    assert finding.worked and finding.leaks == () and finding.place is None and finding.log_likelihood is None
    assert finding.facts["cells_together_m"] <= 15.0
    assert "same dive of Lantern" in finding.words


def test_track_that_one_audience_is_not_shown_is_counted() -> None:
    """What a policy withholds from the public and shows another is the public's for whoever has both."""
    _, family = both(two())
    late = released(journal(survey(3_000), 4), plan(policy(tick_us=4 * SECOND, track_start_us=1_000 * SECOND)))[
        "public"
    ]
    finding = Differencing().play(case_of(late, family))
    missing = sum(record.body[0][1] is None for record in late.records if record.kind == 1)
    assert missing > 200
    assert finding.facts["ticks_withheld_from_one_alone"] == pytest.approx(missing / 3, rel=0.1)
    assert "family shows" in finding.words


def test_live_page_that_told_more_than_the_recording_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """Positive control: a build whose live page shows what its recording withholds is caught, record by record."""
    closed = released(journal(survey(400), 4))["public"]
    show = Track.show

    def unhidden(self: Track, east_m: float, north_m: float, *rest: object) -> object:
        return show(self, east_m + 30.0, north_m, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(Track, "show", unhidden)
    live = named(released(journal(survey(400), 4))["public"], "live", live=True)
    finding = Differencing().play(case_of(live, closed))
    assert any("live and in the recording" in leak for leak in finding.leaks)


def test_live_and_recording_of_a_sound_release_are_the_same() -> None:
    """Counter-test: what was followed live, whole or in part, is what the recording holds."""
    closed = released(journal(survey(400), 4))["public"]
    part = replace(closed, name="live", live=True, records=closed.records[:40])
    for live in (part, replace(closed, live=True)):
        finding = Differencing().play(case_of(live, closed))
        assert finding.leaks == () and finding.place is None
    longer = replace(closed, live=True, name="live")
    shorter = replace(closed, records=closed.records[:-5])
    assert any("taken back" in leak for leak in Differencing().play(case_of(longer, shorter)).leaks)


def test_dive_released_twice_under_different_policies_is_found() -> None:
    """Positive control: a dive is told once; an earlier release that differs is named."""
    first, again = (
        named(released(journal(survey(400), 4), plan(policy(cell_m=cell_m)))["public"], name)
        for name, cell_m in (("first", 10.0), ("again", 25.0))
    )
    finding = Differencing().play(case_of(first, again))
    assert any("in two releases" in leak for leak in finding.leaks)


def test_zone_hidden_from_one_audience_alone_shows_in_the_other() -> None:
    """A hole in one track that another fills is counted tick by tick."""
    public, family = both(two())
    holed = []  # the operator's zones are for all audiences, so the hole is made by hand
    for record in public.records:
        body = record.body
        if record.kind == 1 and 200 <= record.elapsed_s < 600:
            body = [[row[0], None, None, *row[3:]] for row in body]
        holed.append(record._replace(body=body))
    finding = Differencing().play(case_of(replace(public, records=tuple(holed)), family))
    assert finding.facts["ticks_withheld_from_one_alone"] == pytest.approx(400 / 12, abs=2)


def test_one_recording_or_different_dives_say_why() -> None:
    """With nothing to hold a recording against, that is said."""
    public, _ = both(two(), 400)
    other = released(journal(survey(400, leg_s=90), 4), plan(policy("family", tick_us=6 * SECOND)))["family"]
    assert "Only one" in Differencing().play(case_of(public)).words
    far = replace(other, records=tuple(_moved(record) for record in other.records))
    assert "No two recordings" in Differencing().play(case_of(public, far)).words
    assert not Differencing().play(case_of()).worked


def _moved(record: WireRecord) -> WireRecord:
    if record.kind != 1:
        return record
    body = [[row[0], *(None if at is None else at + 5_000 for at in row[1:3]), *row[3:]] for row in record.body]
    return record._replace(body=body)
