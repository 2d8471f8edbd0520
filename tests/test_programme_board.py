"""The programme on its way out: as late as all else, coarse, once, whatever comes later and whatever restarts."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from dives import INVENTED_SITE, SECOND, SECRETS, decided, dive_rows, in_order, owed, plan, policy, run, sent
from heads import but_for_heads
from relay.core.area import Area
from relay.core.channel import Due, anything
from relay.core.decision import Begin, Cut, Early, End, Hold, Programme, Resume
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.policy import Disclosed, DiveLimits, Plan
from relay.core.release import NO_DIVE, Kind
from relay.core.restart import Checkpoint
from relay.core.secrets import Secrets
from relay.core.wire import BLOCK
from relay.shell.record.checkpoint import read_checkpoint, write_checkpoint

MINUTE, HOUR = 60 * SECOND, 3_600 * SECOND
PUBLIC = policy("public")
TWO = plan(PUBLIC, policy("slow", delay_us=300 * SECOND, tick_us=15 * SECOND))
NEXT = Programme(pinned="The boiler is next.", schedule=("the bow", "the stern"), next_dive_in_s=3 * 3_600)
LAG_US = PUBLIC.delay_us + SECRETS.extra_ticks("public", 1, 5) * 2 * SECOND


def out_of(expedition: Plan, *parts: Sequence[Row]) -> list[Due]:
    """Return what leaves of a journal, to its end."""
    return run(Pipeline(expedition, SECRETS), in_order(*parts))


def told(due: list[Due], audience: str = "public") -> list[tuple[int, list[object]]]:
    """Return what leaves of the programme for an audience, with the moments (microseconds)."""
    items = [(item.instant_us, item.record) for item in due if item.record.kind is Kind.PROGRAMME]
    return [(instant_us, record.body) for instant_us, record in items if record.audience == audience]


def test_programme_leaves_between_dives_as_late_as_everything_else() -> None:
    """No dive at all: on the grid, the delay and the secret addition after it was decided; to each audience its own."""
    due = out_of(TWO, [decided(101 * SECOND, replace(NEXT, next_dive_in_s=None))])
    body = ["The boiler is next.", ["the bow", "the stern"], None, 1]
    assert told(due) == [(102 * SECOND + LAG_US, body)]
    press = [policy("press")]
    lag_us = PUBLIC.delay_us + SECRETS.extra_ticks("press", 1, 5) * 2 * SECOND
    assert told(out_of(plan(*press), [decided(101 * SECOND, NEXT)]), "press")[0][0] == 102 * SECOND + lag_us
    assert lag_us > PUBLIC.delay_us
    assert told(due, "slow")[0][0] >= 105 * SECOND + 300 * SECOND
    assert {item.record.kind for item in due} == {Kind.PROGRAMME}


def test_programme_has_a_sequence_of_its_own() -> None:
    """Dive number 0, its own numbers from 0 without a gap across dives; the dives' sequences don't know of it."""
    decisions = [decided(second * SECOND, replace(NEXT, pinned=f"no {second}")) for second in (2, 20, 21, 400)]
    with_, without = out_of(TWO, dive_rows(40), decisions), out_of(TWO, dive_rows(40))
    for audience in ("public", "slow"):
        mine = [item.record for item in with_ if item.record.audience == audience]
        posted = [record for record in mine if record.kind is Kind.PROGRAMME]
        assert [record.seq for record in posted] == list(range(len(posted)))
        assert {record.dive for record in posted} == {NO_DIVE}
    one, other = but_for_heads(sent(with_)), but_for_heads(sent(without))
    assert [item for item in one if item in other] == other


def test_countdown_goes_by_steps_to_soon() -> None:
    """From three hours: each step is a record, when it comes, with the same words."""
    due = told(out_of(plan(PUBLIC), [decided(2 * SECOND, NEXT)]))
    assert [body[2] for _, body in due] == [10_800, 7_200, 6_000, 4_800, 3_600, 2_400, 1_200, 0]
    assert all(body[:2] == ["The boiler is next.", ["the bow", "the stern"]] for _, body in due)
    gone_s = [(instant_us - due[0][0]) // SECOND for instant_us, _ in due]
    assert gone_s == [0, 1_802, 4_202, 5_402, 6_602, 7_802, 9_002, 10_202]


WIDE = plan(policy("public", delay_us=600 * SECOND, extra_us=600 * SECOND, tick_us=15 * SECOND))
DELAYED_US = 600 * SECOND


@given(st.binary(min_size=32, max_size=32))
@example(bytes(range(32)))
@settings(max_examples=6)
def test_steps_of_a_countdown_tell_no_secret_addition(key: bytes) -> None:
    """Told in a dive, counted down in the next, whose addition differs: the same distances, whatever the secrets."""
    secrets, soon = Secrets(key), replace(NEXT, next_dive_in_s=7_200)
    journal = in_order(dive_rows(900), [decided(300 * SECOND, soon)], dive_rows(60, start_s=30_000))
    extra_us = secrets.extra_ticks("public", 1, 40) * 15 * SECOND
    due = run(Pipeline(WIDE, secrets), journal)
    records = told(due)
    assert records[0][0] == 300 * SECOND + DELAYED_US + extra_us
    below_s = (6_600, 5_400, 4_200, 3_000, 1_800, 600)
    steps_s = [0, *(7_200 - below + 15 for below in below_s)]
    assert [(instant_us - records[0][0]) // SECOND for instant_us, _ in records] == steps_s
    assert [body[3] for _, body in records] == [2] * 7
    assert sum(item.record.kind is Kind.DIVE for item in due) == 2


def test_steps_of_a_programme_that_was_released_early_tell_no_secret_addition() -> None:
    """Early is what was received; its countdown goes on as late as may be, not as late as the dive is."""
    steps = [decided(300 * SECOND, NEXT), decided(330 * SECOND, Early(audience="public", upto_us=315 * SECOND))]
    records = told(out_of(WIDE, steps))
    assert records[0][0] == 330 * SECOND
    assert records[1][0] == (300 + 1_800 + 600 + 600 + 15) * SECOND


def test_hold_keeps_the_steps_in_that_had_not_left_when_it_was_taken() -> None:
    """Read again, too: those before it leave again, with their numbers; the one that was late stays in."""
    row, pipeline = replace(decided(2 * SECOND, NEXT), seq=1), Pipeline(plan(PUBLIC), SECRETS)
    pipeline.receive(row)
    pipeline.advance(6_000 * SECOND)
    step_us = pipeline.next_us()
    assert step_us is not None
    hold = pipeline.completed(Hold(), step_us + HOUR)
    assert isinstance(hold, Hold)
    again = Pipeline(plan(PUBLIC), SECRETS)
    again.halt(2, hold)
    had = again.receive(row) + again.advance(step_us + HOUR)
    assert [body[2] for _, body in told(had)] == [10_800, 7_200, 6_000, 4_800]
    taken = [replace(decided(step_us + HOUR, hold), seq=2), replace(decided(step_us + 2 * HOUR, Resume()), seq=3)]
    rest = run(again, taken)
    assert [body[2] for _, body in told(rest)] == [3_600, 2_400, 1_200, 0]
    assert told(rest)[0][0] == step_us + 2 * HOUR


def test_step_waits_behind_a_tick_that_may_not_leave() -> None:
    """What leaves keeps its order, however late: a programme that was kept in never comes after a step due later."""
    rows = [decided(2 * SECOND, NEXT), decided(300 * SECOND, replace(NEXT, pinned="The bow is next."))]
    rows = [replace(row, seq=at) for at, row in enumerate(rows, 1)]
    free = told(out_of(plan(PUBLIC), rows))
    pipeline = Pipeline(plan(PUBLIC), SECRETS)
    pipeline.channels[0].may_leave = (200 * SECOND).__ge__
    had = [item for row in rows for item in pipeline.receive(row)] + pipeline.advance(8 * HOUR)
    assert told(had) == free[:1]
    pipeline.channels[0].may_leave = anything
    assert [body for _, body in told(had + pipeline.advance(8 * HOUR))] == [body for _, body in free]


@given(st.integers(9_000, 12_599), st.integers(9_000, 12_599), st.integers(0, 2 * SECOND - 1))
@settings(max_examples=25)
def test_countdown_tells_nothing_that_its_first_step_did_not(one_s: int, other_s: int, later_us: int) -> None:
    """However long it was exactly, and when in the tick it was decided: what is told as three hours is told alike."""
    one = out_of(plan(PUBLIC), [decided(4 * SECOND, replace(NEXT, next_dive_in_s=one_s))])
    other = out_of(plan(PUBLIC), [decided(4 * SECOND - later_us, replace(NEXT, next_dive_in_s=other_s))])
    assert sent(one) == sent(other)


def test_countdown_is_over_when_the_dive_has_begun_for_the_audience() -> None:
    """The record names the dive it is for; after that begins, no step comes any more, nor a hint before it does."""
    due = out_of(plan(PUBLIC), [decided(2 * SECOND, NEXT)], dive_rows(40, start_s=1_000))
    begun_us = next(item.instant_us for item in due if item.record.kind is Kind.DIVE)
    assert [body[2:] for _, body in told(due)] == [[10_800, 1]]
    during = out_of(plan(PUBLIC), dive_rows(40), [decided(20 * SECOND, NEXT)])
    assert [body[3] for _, body in told(during)] == [2] * 8
    assert begun_us > 1_000 * SECOND + PUBLIC.delay_us


@given(
    now_us=st.integers(0, 4 * HOUR),
    tail=st.lists(
        st.tuples(
            st.integers(1, 60 * SECOND), st.sampled_from([NEXT, Programme(), Programme(pinned="x"), Begin(), End()])
        ),
        max_size=3,
    ),
    dives=st.booleans(),
)
@example(now_us=1_815 * SECOND, tail=[(SECOND, Begin())], dives=False)
@settings(max_examples=60)
def test_nothing_of_the_programme_depends_on_what_came_within_the_delay(
    now_us: int, tail: list[tuple[int, Programme | Begin | End]], dives: bool
) -> None:
    """Paired runs: alike up to a moment, one with anything after it; up to the delay the same leaves when it did."""
    before = [decided(SECOND, NEXT), decided(HOUR, Programme(pinned="half way", next_dive_in_s=5_400))]
    before = [row for row in before if row.embargo_us <= now_us]
    after = [decided(now_us + by_us, decision) for by_us, decision in tail]
    begun = dive_rows(20, start_s=now_us // SECOND + 1) if dives else []
    one, other = out_of(plan(PUBLIC), before), out_of(plan(PUBLIC), before, after, begun)
    upto_us = now_us + PUBLIC.delay_us
    assert [item for item in sent(one) if item[0] <= upto_us] == [item for item in sent(other) if item[0] <= upto_us]


def test_hold_keeps_the_programme_and_its_countdown_back() -> None:
    """Held, nothing of it leaves; resumed, it leaves at the next moment of the grid, in order."""
    held = [decided(1, Hold()), decided(2 * SECOND, NEXT), decided(2 * HOUR, Resume())]
    due = told(out_of(plan(PUBLIC), held))
    assert [body[2] for _, body in due][:4] == [10_800, 7_200, 6_000, 4_800]
    assert [instant_us for instant_us, _ in due][:4] == [2 * HOUR] * 4
    assert told(out_of(plan(PUBLIC), held[:2])) == []


def test_cut_programme_never_was() -> None:
    """Cut before it leaves, the one before stays in force, for the operator too."""
    rows_ = [decided(SECOND, Programme(pinned="first")), decided(9 * SECOND, NEXT),
             decided(12 * SECOND, Cut(from_us=8 * SECOND, to_us=10 * SECOND))]  # fmt: skip
    pipeline = Pipeline(plan(PUBLIC), SECRETS)
    due = run(pipeline, in_order(rows_))
    assert [body[0] for _, body in told(due)] == ["first"]
    assert pipeline.programme == (SECOND, Programme(pinned="first"))


def test_early_release_lets_a_programme_go() -> None:
    """What the operator releases early is that early, and only to that audience."""
    due = out_of(TWO, [decided(SECOND, NEXT), decided(3 * SECOND, Early(audience="public", upto_us=2 * SECOND))])
    assert told(due)[0][0] == 4 * SECOND
    assert told(due, "slow")[0][0] > 300 * SECOND


@pytest.mark.parametrize("text", ["at 14:30", "after sunset", "tomorrow", "38.6147 S, 21.9331 W", "at the Anvil Bank"])
def test_words_that_tell_a_place_or_a_time_leave_for_nobody_checked(text: str) -> None:
    """A row of the journal that nobody checked: kept from the checked audience, whole; another one gets it."""
    trusted = plan(PUBLIC, policy("trusted", check_text=False))
    for programme in (Programme(pinned=text), Programme(pinned="fine", schedule=("fine", text))):
        due = out_of(trusted, [decided(SECOND, programme)])
        assert told(due) == []
        assert [body[0] for _, body in told(due, "trusted")] == [programme.pinned]


def test_audience_without_annotations_is_told_no_programme() -> None:
    """Deny by default: `notes` names it; who was told one before that was taken away is told nothing with the next."""
    mute = policy("mute", fields=frozenset(Disclosed) - {Disclosed.NOTES})
    assert told(out_of(plan(mute), [decided(SECOND, NEXT)]), "mute") == []
    checkpoint = after(plan(policy("mute")), [decided(SECOND, Programme(pinned="once"))])
    again = Pipeline(plan(mute), SECRETS, checkpoint)
    journal = in_order([decided(SECOND, Programme(pinned="once")), decided(900 * SECOND, NEXT)])
    due = run(again, owed(again, journal))
    assert told(due, "mute") == [(due[0].instant_us, [None, [], None, 1])]


def test_programme_is_not_put_up_again_where_annotations_were_taken_away() -> None:
    """After a start without `notes` what was told before isn't in force, nor counted down."""
    checkpoint = after(plan(policy("mute")), [decided(SECOND, NEXT)])
    for fields, is_told in ((frozenset(Disclosed) - {Disclosed.NOTES}, False), (frozenset(Disclosed), True)):
        (channel,) = Pipeline(plan(policy("mute", fields=fields)), SECRETS, checkpoint).channels
        assert (channel.board.in_force is not None, channel.next_us() is not None) == (is_told, is_told)


def test_programme_waits_while_a_vehicle_is_outside_the_declared_area() -> None:
    """The release has stopped: nothing of it leaves; resumed, it does once the vehicle is back or silent."""
    small = replace(plan(PUBLIC), area=Area("the invented bank", ((INVENTED_SITE[0] + 1, INVENTED_SITE[1]),), 100.0))
    rows_ = [decided(20 * SECOND, NEXT)]
    assert told(out_of(small, dive_rows(60), rows_)) == []
    resumed = told(out_of(small, dive_rows(60), rows_, [decided(600 * SECOND, Resume(outside=True))]))
    assert resumed[0][1][0] == "The boiler is next."


def test_programme_has_a_length_of_whole_blocks() -> None:
    """A length tells nothing that the content doesn't."""
    due = out_of(TWO, [decided(second * SECOND, Programme(pinned="x" * second)) for second in range(1, 90)])
    assert {len(frame) % BLOCK for _, _, frame in sent(due)} == {0}


def after(expedition: Plan, journal: Sequence[Row]) -> Checkpoint:
    """Return the checkpoint once everything of a journal but a countdown has left."""
    pipeline = Pipeline(expedition, SECRETS)
    for row in in_order(journal):
        pipeline.receive(row)
    pipeline.advance(800 * SECOND)
    checkpoint = pipeline.checkpoint()
    assert checkpoint is not None
    return checkpoint


JOURNAL = in_order(
    [decided(2 * SECOND, NEXT)],
    dive_rows(30, start_s=90),
    [decided(100 * SECOND, Programme(pinned="again soon", next_dive_in_s=2_400)), decided(500 * SECOND, Programme())],
    [decided(700 * SECOND, Programme(schedule=("the last",), next_dive_in_s=1_200))],
)
RESTARTS = [*range(0, 1_200, 60), *range(1_207, 3_600, 400)]


@pytest.mark.parametrize("at_s", RESTARTS)
def test_restart_tells_the_same_programme_and_none_twice(at_s: int) -> None:
    """A kill at any moment: from the checkpoint kept last, what was told is in force again, and the rest follows."""
    expedition = replace(TWO, dive=DiveLimits(quiet_us=12 * SECOND))
    whole = sent(out_of(expedition, JOURNAL))
    pipeline, before, text = Pipeline(expedition, SECRETS), [], None
    rows_ = [row for row in JOURNAL if row.embargo_us <= at_s * SECOND]
    moments = sorted({*(row.embargo_us for row in rows_), *range(0, at_s * SECOND + 1, 2 * SECOND)})
    for moment_us in moments:
        for row in (row for row in rows_ if row.embargo_us == moment_us):
            before += pipeline.receive(row)
        before += pipeline.advance(moment_us)
        if (checkpoint := pipeline.checkpoint()) is not None:
            text = write_checkpoint(checkpoint, expedition)
    kept = read_checkpoint(text, expedition)
    again = Pipeline(expedition, SECRETS, kept)
    force = [record for channel in again.channels if (record := channel.board.in_force) is not None]
    follows = sent(run(again, owed(again, JOURNAL)))
    had = sent(before)
    assert [*had, *[item for item in follows if item not in had]] == whole
    for record in force:
        mine = [item.record for item in before if item.record.audience == record.audience]
        assert record in [each for each in mine if each.kind is Kind.PROGRAMME]
    for audience in ("public", "slow"):
        numbers = [each.seq for each in force if each.audience == audience]
        numbers += [item.record.seq for item in run(Pipeline(expedition, SECRETS, kept), owed(again, JOURNAL))
                    if item.record.audience == audience and item.record.kind is Kind.PROGRAMME]  # fmt: skip
        assert all(later == earlier + 1 for earlier, later in pairwise(numbers))
    assert again.programme is not None
