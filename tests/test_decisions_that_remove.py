"""Hold, resume, cut and early release: they act at once, on one audience or on all, and never show more than was so."""

from dataclasses import replace

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from dives import SECOND, SECRETS, decided, dive_rows, in_order, plan, policy, run, sent
from heads import but_for_heads, masked
from relay.core.channel import Due
from relay.core.decision import Cut, Early, Hold, Resume, Say
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.policy import Plan
from relay.core.release import Kind
from relay.core.wire import encode

TICK = 2 * SECOND
DELAY = 20 * SECOND
TWO = plan(policy("public", extra_us=0), policy("slow", delay_us=70 * SECOND, extra_us=0, tick_us=5 * SECOND))
TICK_US = {"public": TICK, "slow": 5 * SECOND}
LAG_US = {"public": DELAY, "slow": 70 * SECOND}


def out_of(expedition: Plan, *parts: list[Row]) -> list[Due]:
    """Return what leaves of a journal, to its end."""
    return run(Pipeline(expedition, SECRETS), in_order(*parts))


def to(audience: str, due: list[Due]) -> list[tuple[int, bytes]]:
    """Return what one audience gets, and when, but for the heads: those are over every row, decisions and cuts too."""
    return [(item.instant_us, masked(encode(item.record))) for item in due if item.record.audience == audience]


def told(due: list[Due]) -> list[tuple[int, str, bytes]]:
    """Return what everybody gets, and when, but for the heads."""
    return but_for_heads(sent(due))


def reach_us(due: list[Due], upto_us: int) -> int:
    """Return the dive time of the last record that the public had by a moment."""
    had = [item.record for item in due if item.record.audience == "public" and item.instant_us <= upto_us]
    return had[-1].elapsed_us


def up(moment_us: int, tick_us: int) -> int:
    """Return the next moment of a grid."""
    return -(-moment_us // tick_us) * tick_us


JOURNAL = dive_rows(60)
ALL = out_of(TWO, JOURNAL)


def test_hold_stops_one_audience_at_once_and_no_other() -> None:
    """From the very microsecond of the hold nothing leaves for that audience; the other gets what it would have got."""
    held_us = 40 * SECOND
    due = out_of(TWO, JOURNAL, [decided(held_us, Hold(audience="public"))])
    assert to("public", due) == [item for item in to("public", ALL) if item[0] < held_us]
    assert to("slow", due) == to("slow", ALL)
    assert len(to("public", due)) > 5
    later = out_of(TWO, JOURNAL, [decided(held_us + 1, Hold(audience="public"))])
    assert to("public", later) == [item for item in to("public", ALL) if item[0] <= held_us]


def test_hold_on_all_stops_all() -> None:
    """A hold that names nobody is for everybody."""
    due = out_of(TWO, JOURNAL, [decided(90 * SECOND, Hold())])
    assert told(due) == [item for item in told(ALL) if item[0] < 90 * SECOND]
    assert {audience for _, audience, _ in told(due)} == {"public", "slow"}


def left_us(moment_us: int, holds: list[tuple[int, int]], tick_us: int) -> int:
    """Return when a record due at a moment leaves, held in [from, to) by each of `holds`: worked out apart."""
    for from_us, to_us in holds:
        if from_us <= moment_us < to_us:
            moment_us = up(to_us, tick_us)
    return moment_us


PAUSES = st.lists(st.integers(0, 200 * SECOND) | st.integers(0, 100).map(lambda at: at * TICK), min_size=2, max_size=8)


@settings(max_examples=40)
@given(PAUSES.map(lambda moments: sorted(set(moments))))
@example([30 * SECOND, 34 * SECOND, 34 * SECOND + 1, 36 * SECOND])
@example([26 * SECOND, 26 * SECOND + 1])
def test_resume_releases_what_fell_due_at_the_next_moment_of_the_grid(moments: list[int]) -> None:
    """However often it is held, no byte changes; what fell due meanwhile leaves at the grid's moment after it."""
    holds = list(zip(moments[::2], moments[1::2], strict=False))
    steps = [row for from_us, to_us in holds for row in (decided(from_us, Hold()), decided(to_us, Resume()))]
    due = out_of(TWO, JOURNAL, steps)
    for audience, tick_us in TICK_US.items():
        expected = [(left_us(instant, holds, tick_us), frame) for instant, frame in to(audience, ALL)]
        assert expected == to(audience, due)


def test_resume_without_a_hold_changes_nothing() -> None:
    """To go on while going on is no news."""
    assert told(out_of(TWO, JOURNAL, [decided(at * 7 * SECOND + at, Resume()) for at in range(20)])) == told(ALL)


# Two dives, annotations of the station and of the desk: what cuts are tried on.
SAID = [decided(at * SECOND, Say(text=f"said at {at}")) for at in (4, 12, 30, 41, 130, 151)]
LONG = in_order(dive_rows(40), dive_rows(30, seed=4, start_s=130), SAID)
WHOLE = out_of(TWO, LONG)


def reached_us(audience: str, before_us: int) -> int:
    """Return up to which input an audience had been released to before a moment: read off what it was sent."""
    edge_us = -1
    begun_us = 0
    for item in WHOLE:
        if item.record.audience == audience and item.instant_us < before_us:
            begun_us = item.instant_us - LAG_US[audience] if item.record.kind is Kind.DIVE else begun_us
            edge_us = begun_us + item.record.elapsed_us
    return edge_us


def check_cut(from_us: int, to_us: int, cut_at_us: int) -> None:
    """Hold each audience to a run in which what it had not been sent yet of the interval had never come."""
    due = out_of(TWO, LONG, [decided(cut_at_us, Cut(from_us=from_us, to_us=to_us))])
    for audience in TICK_US:
        first_us = max(from_us, reached_us(audience, cut_at_us) + 1)
        rest = [row for row in LONG if not first_us <= row.embargo_us < min(to_us, cut_at_us)]
        assert to(audience, due) == to(audience, out_of(TWO, rest))


MOMENTS = st.integers(0, 240 * SECOND)
ON_A_TICK = st.integers(0, 120).map(lambda at: at * TICK)


@settings(max_examples=25)
@given(MOMENTS | ON_A_TICK, st.integers(1, 200 * SECOND), MOMENTS | ON_A_TICK)
@example(0, 47 * SECOND, 20 * SECOND)  # the first reports of the first dive, before anybody had them
@example(0, 120 * SECOND, 20 * SECOND)  # the first dive as far as it has come
@example(0, 120 * SECOND, 140 * SECOND)  # all of the first dive, of which one audience has had all
@example(120 * SECOND, 100 * SECOND, 145 * SECOND)  # the second dive's beginning
@example(14 * SECOND + 136_999, 2, 30 * SECOND)  # a single report, and the note in it
def test_cut_is_as_if_it_had_never_come_for_whoever_has_not_had_it(from_us: int, length_us: int, at_us: int) -> None:
    """Bytes and moments after a cut are those of a journal without the part of it that had not been released."""
    check_cut(from_us, from_us + length_us, at_us)


def test_cut_before_release_leaves_no_trace_at_all() -> None:
    """A whole dive cut in time has never been: no record, no number used up, for anybody."""
    journal = in_order(dive_rows(15), dive_rows(40, seed=4, start_s=200))
    due = out_of(TWO, journal, [decided(21 * SECOND, Cut(from_us=0, to_us=21 * SECOND))])
    assert told(due) == told(out_of(TWO, dive_rows(40, seed=4, start_s=200)))
    assert {item.record.dive for item in due} == {1}


def test_cut_after_release_changes_nothing_that_was_sent_or_is_to_come() -> None:
    """What is out is out: a cut of it alone moves no byte."""
    had_us = reached_us("slow", 100 * SECOND)
    assert had_us > 20 * SECOND
    assert reached_us("public", 100 * SECOND) > had_us
    due = out_of(TWO, LONG, [decided(100 * SECOND, Cut(from_us=0, to_us=had_us + 1))])
    assert told(due) == told(WHOLE)


def test_cut_reaches_nothing_that_comes_after_it() -> None:
    """However far into the future a cut was written, what comes from its moment on stays: it would have gone unseen."""
    last = decided(100 * SECOND, Say(text="before the cut, in the same microsecond"))
    due = out_of(TWO, LONG, [last, decided(100 * SECOND, Cut(from_us=90 * SECOND, to_us=10**12))])
    assert told(due) == told(out_of(TWO, LONG, [last]))


def test_cut_of_an_annotation_takes_it_alone_and_the_report_after_it_stays() -> None:
    """Half-open: the first microsecond is cut, the last isn't."""
    due = out_of(TWO, LONG, [decided(31 * SECOND, Cut(from_us=30 * SECOND, to_us=30 * SECOND + 137_000))])
    notes = [item.record.body[1] for item in due if item.record.kind is Kind.NOTE and item.record.audience == "public"]
    assert "said at 30" not in notes
    assert {"said at 12", "said at 41", "note 34"} <= set(notes)
    ticks = [item.record.body for item in due if item.record.kind is Kind.TICK]
    assert ticks == [item.record.body for item in WHOLE if item.record.kind is Kind.TICK]


def test_early_releases_what_is_held_back_at_once_and_the_rest_in_its_time() -> None:
    """What was received up to the moment named leaves at the grid's next moment; later input as late as ever."""
    asked_us, upto_us = 41 * SECOND + 5, 36 * SECOND
    due = out_of(TWO, JOURNAL, [decided(asked_us, Early(audience="public", upto_us=upto_us))])
    expected = []
    for instant_us, frame in to("public", ALL):
        early = instant_us - DELAY <= upto_us and instant_us > up(asked_us, TICK)
        expected.append((up(asked_us, TICK) if early else instant_us, frame))
    assert to("public", due) == expected
    assert to("slow", due) == to("slow", ALL)
    moved = [frame for (before, frame), (after, _) in zip(to("public", ALL), expected, strict=True) if before != after]
    assert len(moved) >= 7


@pytest.mark.parametrize(("upto_us", "ticks"), [(36 * SECOND, 36), (36 * SECOND - 1, 34), (10**15, 40)])
def test_early_reaches_no_further_than_was_said_nor_than_now(upto_us: int, ticks: int) -> None:
    """A tick goes early only if all of it was received by the moment named: never a microsecond more (R2)."""
    asked_us = 41 * SECOND
    due = out_of(TWO, JOURNAL, [decided(asked_us, Early(audience="public", upto_us=upto_us))])
    assert reach_us(due, 42 * SECOND) == ticks * SECOND - 6 * SECOND  # the dive's first tick is at 6 s


def test_hold_is_stronger_than_early() -> None:
    """While it is held nothing leaves, early or not; after the resume what was released early goes at once."""
    steps = [
        decided(30 * SECOND, Hold(audience="public")),
        decided(41 * SECOND, Early(audience="public", upto_us=41 * SECOND)),
        decided(44 * SECOND, Resume(audience="public")),
    ]
    due = out_of(TWO, JOURNAL, steps)
    instants = [instant for instant, _ in to("public", due)]
    assert not [instant for instant in instants if 30 * SECOND <= instant < 44 * SECOND]
    assert reach_us(due, 44 * SECOND) == 34 * SECOND
    assert [frame for _, frame in to("public", due)] == [frame for _, frame in to("public", ALL)]


@settings(max_examples=25)
@given(st.integers(25, 70), st.integers(0, 17 * SECOND), st.lists(st.sampled_from(JOURNAL), max_size=20))
def test_early_tells_nothing_of_what_came_after_its_moment(asked_s: int, back_us: int, tail: list[Row]) -> None:
    """R2 after an early release: runs alike up to the moment named are alike to followers until a delay after it."""
    asked_us = asked_s * SECOND
    upto_us = asked_us - back_us
    early = decided(asked_us, Early(audience="public", upto_us=upto_us))
    head = [row for row in JOURNAL if row.embargo_us <= upto_us]
    other = [replace(row, embargo_us=upto_us + 1 + at) for at, row in enumerate(tail)]
    runs = [out_of(TWO, rows, [early]) for rows in (JOURNAL, [*head, *other])]
    seen = [[item for item in sent(due) if item[1] == "public" and item[0] <= upto_us + DELAY] for due in runs]
    assert seen[0] == seen[1]
    assert seen[0]
