"""Zones told from the desk: they hide at once, only remove, and are lifted as late as everything else."""

import math
from dataclasses import replace
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from dives import INVENTED_SITE, SECOND, SECRETS, decided, dive_rows, in_order, plan, policy, run, sent, walk
from heads import but_for_heads
from relay.core.area import ZoneAction
from relay.core.channel import Due
from relay.core.decision import Cut, Decision, HideZone, Hold, LiftZone, Resume
from relay.core.geodesy import SiteFrame
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.policy import Place, Plan
from relay.core.release import Kind

Position = tuple[float, float]
CELL_M, TURN_DEG = 1.0, 22.5
TWO = plan(
    policy("public", extra_us=0, cell_m=CELL_M),
    policy("slow", delay_us=70 * SECOND, extra_us=0, tick_us=5 * SECOND, cell_m=CELL_M),
)
DELAY_US = {item.audience: item.delay_us for item in TWO.policies}
SECONDS = 120
START_S = 5
JOURNAL = dive_rows(SECONDS, start_s=START_S)
WALK = walk(SECONDS)


def beside(site: Position, east_m: float, north_m: float) -> Position:
    """Return a place so far from the site (geographiclib's direct geodesic)."""
    azimuth = math.degrees(math.atan2(east_m, north_m))
    there = Geodesic.WGS84.Direct(*site, azimuth, math.hypot(east_m, north_m))
    return there["lat2"], there["lon2"]


def at_step(second: int, site: Position = INVENTED_SITE) -> Position:
    """Return where the vehicle is in a second of the dive."""
    return beside(site, WALK[second]["east"], WALK[second]["north"])


def zone(centre: Position, radius_m: float = 12.0, name: str = "the hold", freeze: bool = False) -> HideZone:
    """Return the decision to hide a small zone with the least margin."""
    action = ZoneAction.FREEZE if freeze else ZoneAction.WITHHOLD
    return HideZone(name=name, centre=centre, radius_m=radius_m, margin_m=radius_m / 2, action=action)


def out_of(expedition: Plan, *decisions: tuple[int, Decision], journal: list[Row] = JOURNAL) -> list[Due]:
    """Return what leaves of a journal with decisions, to its end."""
    taken = [decided(moment_us, decision) for moment_us, decision in decisions]
    return run(Pipeline(expedition, SECRETS), in_order(journal, taken))


def ticks(due: list[Due], audience: str) -> dict[int, list[Any]]:
    """Return Lantern's row of each tick an audience had, by its moment of input."""
    mine = [item for item in due if item.record.audience == audience and item.record.kind is Kind.TICK]
    return {item.instant_us - DELAY_US[audience]: item.record.body[0] for item in mine}


ALL = out_of(TWO)


def test_zone_hides_at_once_in_all_that_has_not_left() -> None:
    """What left before it is as it was; from its microsecond on nothing of the zone leaves, however old the input."""
    told_us = 60 * SECOND
    due = out_of(TWO, (told_us, zone(at_step(70), 4.0)))
    assert [item for item in sent(due) if item[0] < told_us] == [item for item in sent(ALL) if item[0] < told_us]
    for audience in DELAY_US:
        left = {at: row for at, row in ticks(due, audience).items() if at + DELAY_US[audience] >= told_us}
        hidden = [at for at in left if _apart_m(at, at_step(70)) <= 4.0]
        far = [at for at in left if _apart_m(at, at_step(70)) > 4.0 + 3 * 2.0 + CELL_M]
        assert len(hidden) > 2
        assert len(far) > 3
        assert all(ticks(ALL, audience)[at][1] is not None for at in hidden)
        assert all(left[at][1] is None and left[at][4] is None for at in hidden)
        assert all(left[at][1:3] == ticks(ALL, audience)[at][1:3] for at in far)


def _apart_m(at_us: int, centre: Position) -> float:
    """Return how far the vehicle is from a place at a tick, by its last report (geographiclib)."""
    second = min((at_us - 137_000) // SECOND - START_S, SECONDS - 1)
    apart: float = Geodesic.WGS84.Inverse(*at_step(second), *centre)["s12"]
    return apart


ZONES = st.builds(
    lambda second, aside, radius, freeze: zone(beside(at_step(second), aside, -aside), radius, f"no. {second}", freeze),
    st.integers(0, SECONDS - 1), st.floats(-20, 20), st.floats(1, 60), st.booleans(),
)  # fmt: skip
TOLD = st.lists(
    st.tuples(st.integers(0, 220 * SECOND), ZONES), min_size=1, max_size=3, unique_by=lambda told: told[1].name
)


@settings(max_examples=40)
@given(TOLD)
def test_zone_only_ever_removes(told: list[tuple[int, HideZone]]) -> None:
    """Paired runs: the same records at the same moments, each value as it was, gone, or a place shown before.

    Where a heading is shown again its rounding begins anew, as with any leg that isn't shown: at most one step off.
    """
    due = out_of(TWO, *told)
    assert [(item.instant_us, item.record.audience, item.record.kind, item.record.seq) for item in due] == [
        (item.instant_us, item.record.audience, item.record.kind, item.record.seq) for item in ALL
    ]
    for audience in DELAY_US:
        had: set[tuple[Any, Any]] = {(None, None)}
        for at, row in ticks(due, audience).items():
            plain = ticks(ALL, audience)[at]
            assert row[:1] + row[3:4] + row[5:] == plain[:1] + plain[3:4] + plain[5:]
            assert row[4] is None or (row[4] - plain[4]) % 360 in (0, TURN_DEG, 360 - TURN_DEG)
            assert (row[1], row[2]) in had | {(plain[1], plain[2])}
            had.add((plain[1], plain[2]))
    others = [but_for_heads(sent([item])) for item in due if item.record.kind is not Kind.TICK]
    assert others == [but_for_heads(sent([item])) for item in ALL if item.record.kind is not Kind.TICK]


def test_lifted_zone_still_hides_what_was_received_before() -> None:
    """R2: only input that came after the decision is shown again, and that as late as everything else."""
    told_us, lifted_us = 10 * SECOND, 80 * SECOND + 1
    due = out_of(TWO, (told_us, zone(at_step(70), 200.0)), (lifted_us, LiftZone(name="the hold")))
    for audience, tick_us in (("public", 2 * SECOND), ("slow", 5 * SECOND)):
        shown = [at for at, row in ticks(due, audience).items() if row[1] is not None]
        assert shown[0] == -(-lifted_us // tick_us) * tick_us
        assert all(ticks(due, audience)[at][1:3] == ticks(ALL, audience)[at][1:3] for at in shown)
        assert shown == [at for at, row in ticks(ALL, audience).items() if row[1] is not None and at >= shown[0]]


@settings(max_examples=25)
@given(st.integers(30, 140), st.integers(0, SECONDS - 1), st.integers(1, 120))
def test_lifting_changes_nothing_before_its_delay_has_passed(second: int, where: int, radius_m: int) -> None:
    """R2 as paired runs: alike up to a moment, one lifts the zone then: the same bytes until each delay has passed."""
    hide = (20 * SECOND, zone(at_step(where), radius_m))
    lifted_us = second * SECOND
    one, other = out_of(TWO, hide), out_of(TWO, hide, (lifted_us, LiftZone(name="the hold")))
    for audience, delay_us in DELAY_US.items():
        early = [
            [item for item in sent(due) if item[1] == audience and item[0] < lifted_us + delay_us]
            for due in (one, other)
        ]
        assert early[0] == early[1]


def test_zone_told_again_is_not_lifted_by_what_was_told_before() -> None:
    """Lifted and hidden again under the same name before the first audience has had either: it stays hidden."""
    again = ((70 * SECOND, LiftZone(name="the hold")), (71 * SECOND, zone(at_step(70), 200.0)))
    due = out_of(TWO, (10 * SECOND, zone(at_step(70), 200.0)), *again)
    for audience in DELAY_US:
        shown = [at for at, row in ticks(due, audience).items() if row[1] is not None]
        assert shown == []


def test_lifting_that_is_cut_lifts_nothing() -> None:
    """A cut removes what was told in its interval from whoever hasn't had it; the other audience sees again."""
    steps = (
        (10 * SECOND, zone(at_step(70), 200.0)), (30 * SECOND, LiftZone(name="the hold")),
        (60 * SECOND, Cut(from_us=29 * SECOND, to_us=31 * SECOND)),
    )  # fmt: skip
    due = out_of(TWO, *steps)
    assert any(row[1] is not None for row in ticks(due, "public").values())
    assert all(row[1] is None for row in ticks(due, "slow").values())


def test_freezing_zone_laid_where_the_vehicle_is_shown_tells_no_cell_in_it() -> None:
    """What was held before it was laid lies in it: withheld, not frozen, for whoever sees the vehicle there by then."""
    hidden = zone(at_step(60), 12.0, freeze=True)
    told_us = START_S * SECOND + 60 * SECOND + DELAY_US["public"]
    pipeline = Pipeline(TWO, SECRETS)
    due = run(pipeline, in_order(JOURNAL, [decided(told_us, hidden)]))
    (disc,) = pipeline.channels[0].hiding.discs(SiteFrame(pipeline.channels[0].standing.anchor, SECRETS))
    before = [row for at, row in ticks(due, "public").items() if at + DELAY_US["public"] < told_us]
    after = [row for at, row in ticks(due, "public").items() if at + DELAY_US["public"] >= told_us]
    assert any(disc.covers(row[1], row[2]) for row in before if row[1] is not None)
    assert not any(disc.covers(row[1], row[2]) for row in after if row[1] is not None)
    assert after[0][1] is None


def test_zone_holds_through_a_hold_and_what_it_kept() -> None:
    """What fell due while it was held is hidden, too, when it leaves."""
    steps = ((40 * SECOND, Hold()), (110 * SECOND, zone(at_step(40), 300.0)), (120 * SECOND, Resume()))
    due = out_of(TWO, *steps)
    rows = [item.record.body[0] for item in due if item.record.kind is Kind.TICK and item.instant_us >= 40 * SECOND]
    assert len(rows) > 20
    assert all(row[1] is None for row in rows)


@pytest.mark.parametrize("site", [(12.0, 180.0), (-71.5, -179.9999), (84.0, 25.0)])
def test_zone_of_the_desk_places_nothing(site: Position) -> None:
    """R3: the same dive and zone elsewhere (geographiclib), across the antimeridian or near a pole: the same bytes."""
    here, there = (
        but_for_heads(sent(out_of(TWO, (50 * SECOND, zone(at_step(70, place))), journal=dive_rows(SECONDS, place))))
        for place in (INVENTED_SITE, site)
    )
    assert here == there
    assert here != but_for_heads(sent(ALL))


def test_zones_in_force_are_told_with_whom_they_hide_from() -> None:
    """The file's and the desk's, until the last audience has had its lifting; exact places are nobody's zone."""
    of_file = zone(at_step(3), name="the bow").zone
    pipeline = Pipeline(replace(TWO, zones=(of_file,)), SECRETS)
    steps = [decided(20 * SECOND, zone(at_step(70))), decided(30 * SECOND, LiftZone(name="the hold"))]
    seen = []
    for row in in_order(JOURNAL, steps):
        pipeline.receive(row)
        seen.append([(item.zone.name, item.of, item.audiences) for item in pipeline.zones])
    run(pipeline, [])
    seen.append([(item.zone.name, item.of, item.audiences) for item in pipeline.zones])
    bow, both = ("the bow", "file", ("public", "slow")), ("the hold", "desk", ("public", "slow"))
    assert [told for at, told in enumerate(seen) if at == 0 or told != seen[at - 1]] == [
        [bow], [bow, both], [bow, ("the hold", "desk", ("slow",))], [bow]
    ]  # fmt: skip


def test_zone_is_not_for_those_who_are_told_the_exact_place() -> None:
    """As with the zones of the file: whoever may know the place sees all of it."""
    exact = plan(policy("public", place=Place.EXACT, check_text=False))
    with_ = out_of(exact, (10 * SECOND, zone(at_step(70), 300.0)))
    assert but_for_heads(sent(with_)) == but_for_heads(sent(out_of(exact)))
