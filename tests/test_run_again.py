"""Purity: live, step by step as the disk allows, and again from the journal, the same bytes leave at the same moments.

Live is `receive` of rows that are on the disk and `advance` in between, as far as a ship may go; again is the rows
alone. Restarts are tried at every kind of moment, one after another, as kills of a ship make them.
"""

import random
from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass, replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from dives import (
    INVENTED_SITE,
    SECOND,
    SECRETS,
    decided,
    dive_rows,
    in_order,
    message,
    owed,
    plan,
    policy,
    rows,
    run,
    sent,
)
from heads import short_minutes
from relay.core.area import Area, ZoneAction
from relay.core.decision import (
    Approve,
    Back,
    Begin,
    Cut,
    Decision,
    Dismiss,
    Early,
    End,
    Expect,
    HideZone,
    Hold,
    LiftZone,
    Resume,
    Say,
    SetLeg,
    Target,
)
from relay.core.errors import RegrownError
from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.policy import DiveLimits, Leg, Plan
from relay.core.release import Kind
from relay.core.restart import Checkpoint, Standing
from relay.core.sighting import SeenFrom, Sighted
from relay.core.target_position import RangeIs
from remembering_evidence import draw_once, low_trees

Sent = list[tuple[int, str, bytes]]


@pytest.fixture(scope="module", autouse=True)
def _starts_close_together() -> Iterator[None]:
    """Let restarts begin at nearly any row, where a ship has one in hundreds: so each journal here has many.

    And let the exact record have minutes that are short, so that restarts fall into them and heads are over many.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("relay.core.pipeline._APART_ROWS", 1)
        short_minutes(patch)
        draw_once(patch)
        low_trees(patch, 10)
        yield


PLANS = {
    "by report": plan(policy("public"), policy("slow", delay_us=50 * SECOND, tick_us=5 * SECOND),
                      dive=DiveLimits(quiet_us=12 * SECOND)),
    "by depth, one a dive ahead": plan(
        policy("exact", delay_us=0, extra_us=0, tick_us=SECOND), policy("public", delay_us=90 * SECOND),
        dive=DiveLimits(begin_depth_m=5.0, quiet_us=12 * SECOND, surfaced_us=6 * SECOND)),
    "in an area": replace(
        plan(policy("public", stale_us=4 * SECOND), policy("slow", delay_us=45 * SECOND, tick_us=3 * SECOND),
             dive=DiveLimits(begin_depth_m=5.0, quiet_us=12 * SECOND)),
        area=Area("the invented bank", (INVENTED_SITE,), 14.0)),
}  # fmt: skip


def two_dives() -> list[Row]:
    """Return two dives with reports from the deck before, between and after them, every third line torn."""
    deck = {"east": 4.0, "north": -7.0, "depth": 0.2, "altitude": 1_000.0, "heading": 90.0}
    lines = [dive_rows(30, start_s=12), dive_rows(25, seed=4, start_s=80)]
    seconds = (*range(2, 12), *range(60, 80, 2), 110)
    idle = rows((second * SECOND + 400_000, message(deck, INVENTED_SITE)) for second in seconds)
    whole = in_order(*lines, idle)
    out, carried = [], b""
    for row in whole:
        cut = len(row.data) * (2 if row.seq % 3 == 0 else 3) // 3
        out.append(replace(row, data=carried + row.data[:cut]))
        carried = row.data[cut:]
    return [*out, replace(whole[-1], embargo_us=112 * SECOND, data=carried + b"\n")]


INPUT = two_dives()
MOMENTS = st.integers(0, 130 * SECOND) | st.integers(0, 65).map(lambda at: at * 2 * SECOND)
NAMES = st.none() | st.sampled_from(["public", "slow", "exact"])
DECISIONS: st.SearchStrategy[Decision] = st.one_of(
    st.builds(Hold, audience=NAMES),
    st.builds(Resume, audience=NAMES),
    st.builds(Resume),
    st.tuples(MOMENTS, st.integers(1, 40 * SECOND)).map(lambda pair: Cut(from_us=pair[0], to_us=sum(pair))),
    st.builds(Early, audience=st.sampled_from(["public", "slow"]), upto_us=MOMENTS),
    st.builds(SetLeg, vehicle=st.just("Lantern"), leg=st.none() | st.sampled_from(Leg)),
    st.just(Say(text="said")),
    st.just(Target(name="No. 4", verdict="rock")),
    st.just(Begin()),
    st.just(End()),
)
SEES = Sighted(
    bearing_deg=-12.0, range_m=35.0, range_is=RangeIs.HORIZONTAL, bearing_sigma_deg=2.0, range_sigma_m=1.0,
    heading_sigma_deg=1.0, place_sigma_m=5.0, seen_from=SeenFrom(*INVENTED_SITE, 40.0),
)  # fmt: skip
ZONES = st.builds(
    HideZone, name=st.sampled_from(["the bow", "the hold"]), centre=st.just(INVENTED_SITE), radius_m=st.floats(1, 9),
    margin_m=st.just(5.0), action=st.sampled_from(ZoneAction),
)  # fmt: skip
OF_THE_DESK: st.SearchStrategy[Decision] = st.one_of(
    ZONES, ZONES, st.builds(LiftZone, name=st.sampled_from(["the bow", "the hold"])),
    st.just(Say(text="said later", wait=True)), st.just(Approve(say=1)), st.just(Dismiss(say=1)),
    st.just(Target(name="No. 4", verdict="of interest", vehicle="Lantern", sighting=SEES)),
    st.just(Expect(vehicle="Moth", return_in_s=30, return_grace_s=5)), st.just(Back(vehicle="Moth")), DECISIONS,
)  # fmt: skip
STEPS = st.lists(st.tuples(MOMENTS, DECISIONS), max_size=8)
JOURNALS = STEPS.map(lambda steps: in_order(INPUT, [decided(moment, decision) for moment, decision in steps]))
HORIZON_US = 400 * SECOND


def of_the_desk(steps: list[tuple[int, Decision]]) -> list[Row]:
    """Return the input with decisions; who approves or dismisses means the last say that waited before."""
    waits, out = 1, []
    for row in in_order(INPUT, [decided(moment, decision) for moment, decision in steps]):
        waits = row.seq if b'"wait": true' in row.data else waits
        out.append(replace(row, data=row.data.replace(b'"say": 1}', b'"say": %d}' % waits)))
    return out


DESKS = st.lists(st.tuples(MOMENTS, OF_THE_DESK), max_size=10).map(of_the_desk)


def again(expedition: Plan, journal: list[Row]) -> Sent:
    """Return what the rows alone give."""
    return sent(run(Pipeline(expedition, SECRETS), journal, HORIZON_US))


def acts_us(rest: list[Row]) -> int:
    """Return the moment of the first decision that acts at once, among rows that are not on the disk yet."""
    words = (b'"hold"', b'"resume"', b'"cut"', b'"early"', b'"zone"')
    decisions = (row for row in rest if row.kind is RowKind.DECISION)
    return next((row.embargo_us for row in decisions if any(word in row.data for word in words)), HORIZON_US)


@dataclass
class Clock:
    """Where a run stands, and how it goes on: by chance, never further than it may."""

    chance: random.Random
    now_us: int = 0

    def steps(self, upto_us: int) -> Iterator[int]:
        """Yield moments up to one, in steps of chance, which may fall on ticks, and perhaps not at all."""
        while self.now_us < upto_us and self.chance.random() < 0.7:
            self.now_us = min(upto_us, self.now_us + self.chance.choice((1, 333_333, SECOND, 2 * SECOND, 11 * SECOND)))
            if self.chance.random() < 0.5:
                self.now_us = min(upto_us, -(-self.now_us // SECOND) * SECOND)
            yield self.now_us


def live(expedition: Plan, journal: list[Row], seed: int) -> Sent:
    """Return what leaves of a running ship: the disk is up to 15 s behind, the clock goes on as far as it may."""
    pipeline, clock, out = Pipeline(expedition, SECRETS), Clock(random.Random(seed)), []
    for at, row in enumerate(journal):
        for moment_us in clock.steps(min(row.embargo_us + 15 * SECOND, acts_us(journal[at:]) - 1)):
            out += pipeline.advance(moment_us, row.embargo_us)
        out += pipeline.receive(row)
    for moment_us in clock.steps(HORIZON_US):
        out += pipeline.advance(moment_us)
    return sent(out + pipeline.advance(HORIZON_US))


def at_a_cut_beside_the_end() -> list[Row]:
    """Return the input with decisions on the very ticks of begin and end, two of one moment among them."""
    moments: list[tuple[int, Decision]] = [
        (30 * SECOND, Hold()), (30 * SECOND, Resume()), (36 * SECOND, End()), (36 * SECOND, Begin()),
        (40 * SECOND, Cut(from_us=34 * SECOND, to_us=36 * SECOND)),
        (40 * SECOND, Early(audience="public", upto_us=40 * SECOND)), (40 * SECOND, Say(text="said")),
    ]  # fmt: skip
    return in_order(INPUT, [decided(moment, decision) for moment, decision in moments])


@settings(max_examples=60)
@given(st.sampled_from(sorted(PLANS)), JOURNALS | DESKS, st.integers(0, 10**6))
@example("by report", at_a_cut_beside_the_end(), 1)
def test_live_and_again_are_the_same_whatever_the_steps(name: str, journal: list[Row], seed: int) -> None:
    """To each audience the same, for any decisions at any moments and any way in which the clock and the disk go on."""
    one, other = live(PLANS[name], journal, seed), again(PLANS[name], journal)
    for policy_ in PLANS[name].policies:
        assert [item for item in one if item[1] == policy_.audience] == [
            item for item in other if item[1] == policy_.audience
        ]
    assert sorted(one) == sorted(other)


def remember(pipeline: Pipeline, past: list[Row], most: int) -> None:
    """Tell a restart of the last decisions before it, and of those that still count, as a ship does."""
    taken = [row for row in past if row.kind is RowKind.DECISION]
    wanted = {row.seq for row in taken[max(0, len(taken) - most) :]}.union(pipeline.kept_rows)
    for row in taken:
        if row.seq in wanted:
            pipeline.remember(row)


def known_to(pipeline: Pipeline) -> tuple[object, ...]:
    """Return what the desk knows, but the list of decisions."""
    desk = pipeline.desk
    return dict(desk.waiting), dict(desk.targets), dict(desk.expected), pipeline.zones


def killed_often(expedition: Plan, journal: list[Row], seed: int) -> Sent:
    """Return what leaves of a ship that is killed and started again by chance, each time from its newest checkpoint.

    What a restart grows again has to be what had left, to the byte and the microsecond; it is taken out here.
    """
    chance = random.Random(seed)
    pipeline, clock, out = Pipeline(expedition, SECRETS), Clock(chance), []
    kept: Checkpoint | None = None
    left_before = 0
    for at, row in enumerate([*journal, None]):
        for moment_us in clock.steps(HORIZON_US if row is None else row.embargo_us - 1):
            out += sent(pipeline.advance(moment_us))
            if chance.random() < 0.5 and (checkpoint := pipeline.checkpoint()) is not None:
                kept, left_before = checkpoint, len(out)
            if chance.random() < 0.1:
                known = known_to(pipeline)
                pipeline = Pipeline(expedition, SECRETS, kept)
                first, sealed_from = (
                    bisect_left(journal, seq, key=lambda item: item.seq)
                    for seq in (pipeline.first_row, pipeline.record_row)
                )
                remember(pipeline, journal[:first], chance.choice((0, 3, 200)))
                grown = [due for past in journal[sealed_from:at] for due in pipeline.receive(past)]
                assert sent(grown + pipeline.advance(moment_us)) == out[left_before:]
                assert known_to(pipeline) == known
        if row is not None:
            out += sent(pipeline.receive(row))
            if chance.random() < 0.3 and (checkpoint := pipeline.checkpoint()) is not None:
                kept, left_before = checkpoint, len(out)
    return out + sent(pipeline.advance(HORIZON_US))


@settings(max_examples=60)
@given(st.sampled_from(sorted(PLANS)), JOURNALS | DESKS, st.integers(0, 10**6))
@example("by report", at_a_cut_beside_the_end(), 1)
def test_killed_again_and_again_the_log_grows_as_if_it_had_never_been(name: str, journal: list[Row], seed: int) -> None:
    """From any checkpoint, with decisions before and after it: what was sent grows again, and the rest follows.

    So does what the desk knows: what waits, targets, what is expected, the zones in force.
    """
    assert killed_often(PLANS[name], journal, seed) == again(PLANS[name], journal)


def test_restart_keeps_the_moment_of_a_resume_whose_hold_it_does_not_read_again() -> None:
    """What fell due while it was held leaves after a restart when it would have left without one, not sooner."""
    expedition = plan(policy("public", extra_us=0))
    journal = in_order([decided(SECOND, Hold()), decided(40 * SECOND + 500_000, Resume())], dive_rows(30, start_s=5))
    pipeline = Pipeline(expedition, SECRETS)
    for row in journal:
        assert pipeline.receive(row) == []
    checkpoint = pipeline.checkpoint()
    assert checkpoint is not None
    assert checkpoint.row == 2
    grown = again_from(expedition, journal, checkpoint)
    assert grown == again(expedition, journal)
    assert grown[0][0] == 42 * SECOND


def again_from(expedition: Plan, journal: list[Row], checkpoint: Checkpoint) -> Sent:
    """Return what a restart gives."""
    pipeline = Pipeline(expedition, SECRETS, checkpoint)
    return sent(run(pipeline, owed(pipeline, journal), HORIZON_US))


def test_input_of_the_two_properties_has_all_that_matters() -> None:
    """Two dives are released to each audience, lines are torn, and in the third plan the vehicle leaves the area."""
    assert sum(not row.data.endswith(b"\n") for row in INPUT) > 10
    for name in ("by report", "by depth, one a dive ahead"):
        due = run(Pipeline(PLANS[name], SECRETS), INPUT)
        for audience in PLANS[name].policies:
            assert {item.record.dive for item in due if item.record.audience == audience.audience} == {1, 2}
    pipeline = Pipeline(PLANS["in an area"], SECRETS)
    run(pipeline, INPUT)
    assert [channel.outside for channel in pipeline.channels] == ["Lantern", "Lantern"]


def test_restart_that_is_not_told_of_what_still_counts_releases_nothing() -> None:
    """A zone that hides isn't forgotten by mistake: without its row nothing is read, and nothing leaves (R4)."""
    expedition = plan(policy("public", extra_us=0))
    zone = HideZone(name="the hold", centre=INVENTED_SITE, radius_m=9, margin_m=5, action=ZoneAction.WITHHOLD)
    journal = in_order([decided(SECOND, zone)], dive_rows(30, start_s=5))
    pipeline = Pipeline(expedition, SECRETS)
    run(pipeline, journal, HORIZON_US)
    checkpoint = pipeline.checkpoint()
    assert checkpoint is not None
    assert (checkpoint.row > 1, checkpoint.desk) == (True, (1,))
    pipeline = Pipeline(expedition, SECRETS, checkpoint)
    for row in owed(pipeline, journal):
        assert pipeline.receive(row) == []
    late = replace(journal[-1], seq=checkpoint.row)
    for forgotten in (lambda: pipeline.receive(late), lambda: pipeline.advance(HORIZON_US)):
        with pytest.raises(RegrownError, match="weren't told again"):
            forgotten()
    pipeline.remember(journal[0])
    assert pipeline.advance(HORIZON_US) == []
    assert [item.zone.name for item in pipeline.zones] == ["the hold"]


def test_restart_that_reads_too_late_for_the_exact_record_releases_nothing() -> None:
    """Without the rows that its log goes on with, a head would leave them out: nothing leaves until they are read."""
    expedition = plan(policy("public", extra_us=0), dive=DiveLimits(quiet_us=12 * SECOND))
    journal = in_order(dive_rows(30, start_s=70))
    pipeline = Pipeline(expedition, SECRETS)
    run(pipeline, journal, HORIZON_US)
    checkpoint = pipeline.checkpoint()
    assert checkpoint is not None
    for kept in (checkpoint, replace(checkpoint, record=None)):
        again_ = Pipeline(expedition, SECRETS, kept)
        assert again_.record_row < again_.first_row == len(journal) + 1
        for row in owed(again_, journal):
            with pytest.raises(RegrownError, match="weren't read again"):
                again_.advance(HORIZON_US)
            again_.receive(row)
        assert again_.advance(HORIZON_US) == []
        assert again_.record.head(90) == pipeline.record.head(90)


def test_audience_that_is_new_after_a_restart_is_shown_nothing_of_a_zone() -> None:
    """Also where every other audience has had its lifting, as long as what came before that is still to be told."""
    zone = HideZone(name="the hold", centre=INVENTED_SITE, radius_m=900, margin_m=500, action=ZoneAction.WITHHOLD)
    steps = [decided(SECOND, zone), decided(30 * SECOND, LiftZone(name="the hold"))]
    journal = in_order(dive_rows(20), steps)
    pipeline = Pipeline(plan(policy("public", extra_us=0, delay_us=0)), SECRETS)
    for row in journal:
        pipeline.receive(row)
    pipeline.advance(90 * SECOND)
    checkpoint = pipeline.checkpoint()
    assert checkpoint is not None
    assert pipeline.zones == ()
    both = plan(policy("public", extra_us=0, delay_us=0), policy("new", extra_us=0))
    grown = replace(checkpoint, row=1, standings=(*checkpoint.standings, Standing()), desk=(), record=None)
    due = run(Pipeline(both, SECRETS, grown), journal, HORIZON_US)
    mine = [item for item in due if item.record.audience == "new" and item.record.kind is Kind.TICK]
    ticks = [item.record.body[0] for item in mine if item.instant_us - 20 * SECOND < 30 * SECOND]
    assert len(ticks) > 5
    assert any(item.record.body[0][1] is not None for item in mine)
    assert all(row[1] is None for row in ticks)
