"""One audience's side of the door: grid, lag, begin and end of dives, annotations."""

import hmac
from dataclasses import replace
from itertools import pairwise

import mgrs

import ed25519_by_the_book
from dives import INVENTED_SITE, SECOND, SECRETS, dive_rows, message, plan, policy, rows, run, walk
from heads import masked
from relay.core.area import Area
from relay.core.decision import Hold, Say, Target, write_decision
from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.policy import Disclosed, DiveLimits
from relay.core.release import Kind
from relay.core.wire import encode


def test_dive_names_the_public_key_of_its_site_and_nothing_else_of_it() -> None:
    """What RFC 8032 makes of the site's signing seed (HMAC-SHA256, RFC 2104); never the seed, nor the site's key."""
    header = run(Pipeline(plan(), SECRETS), dive_rows(10))[0].record.body
    seed = hmac.digest(SECRETS.key, b"signing", "sha256")
    assert header["key"] == ed25519_by_the_book.public_key(seed).hex()
    assert not any(secret.hex() in str(header) for secret in (seed, SECRETS.key))


def test_records_leave_on_a_fixed_grid_whatever_arrives() -> None:
    """Send moments are the multiples of the tick, one tick record each, though input comes at odd moments."""
    journal = dive_rows(120)
    late = [replace(row, embargo_us=row.embargo_us + (row.seq % 7) * 90_000) for row in journal]
    due = run(Pipeline(plan(), SECRETS), late)
    ticks = [item.instant_us for item in due if item.record.kind is Kind.TICK]
    assert all(instant % (2 * SECOND) == 0 for instant in ticks)
    assert [b - a for a, b in pairwise(ticks)] == [2 * SECOND] * (len(ticks) - 1)


def test_lag_is_the_delay_and_a_secret_whole_number_of_ticks() -> None:
    """Each dive's lag lies between delay and delay plus extra, and follows from the secrets."""
    due = run(Pipeline(plan(), SECRETS), dive_rows(30))
    first = next(item for item in due if item.record.kind is Kind.DIVE)
    begun_us = 6 * SECOND  # the first tick at or after the first row at 5.137 s
    lag_us = first.instant_us - begun_us
    assert lag_us == 20 * SECOND + SECRETS.extra_ticks("public", 1, 5) * 2 * SECOND


def test_dives_are_numbered_from_one_and_sequences_from_zero() -> None:
    """Two dives an hour apart: numbers 1 and 2, each gapless from 0, begun by a DIVE and closed by an END."""
    journal = [*dive_rows(40), *dive_rows(40, start_s=3_600)]
    due = run(Pipeline(plan(), SECRETS), [replace(row, seq=at) for at, row in enumerate(journal, 1)])
    for dive in (1, 2):
        records = [item.record for item in due if item.record.dive == dive]
        assert [record.seq for record in records] == list(range(len(records)))
        assert (records[0].kind, records[-1].kind) == (Kind.DIVE, Kind.END)
    assert {item.record.dive for item in due} == {1, 2}


def test_dive_that_begins_by_depth_tells_nothing_of_the_deck() -> None:
    """Reports on deck begin no dive, and nothing leaves until the depth is passed."""
    deck = {"east": 0.0, "north": 0.0, "depth": 0.4, "altitude": 1_000.0, "heading": 1.0}
    quiet = rows((second * SECOND, message(deck, INVENTED_SITE)) for second in range(60))
    pipeline = Pipeline(plan(dive=DiveLimits(begin_depth_m=5.0, quiet_us=60 * SECOND)), SECRETS)
    assert run(pipeline, quiet, until_us=10**10) == []


def test_silence_within_a_dive_is_a_record_that_says_so() -> None:
    """During a gap the ticks go on and say "no report"."""
    journal = [row for row in dive_rows(120) if not 40 <= row.embargo_us // SECOND <= 90]
    due = run(Pipeline(plan(policy(stale_us=10 * SECOND)), SECRETS), journal)
    heard = [item.record.body[0][0] for item in due if item.record.kind is Kind.TICK]
    assert "no report" in heard
    assert heard.index("no report") < len(heard) - 31
    assert "reporting" in heard[heard.index("no report") :]


def test_annotations_leave_with_the_tick_after_them_and_only_if_named() -> None:
    """A note follows the tick record of its tick; a policy without notes has none of them."""
    due = run(Pipeline(plan(), SECRETS), dive_rows(50))
    notes = [item.record for item in due if item.record.kind is Kind.NOTE]
    assert [(record.body, record.elapsed_us) for record in notes] == [
        ([0, "note 9"], 10 * SECOND),
        ([0, "note 34"], 34 * SECOND),
    ]
    silent = policy(fields=frozenset(Disclosed) - {Disclosed.NOTES})
    assert not [item for item in run(Pipeline(plan(silent), SECRETS), dive_rows(60)) if item.record.kind is Kind.NOTE]


def test_audiences_have_their_own_delay_tick_and_fields() -> None:
    """Two audiences of one dive: each gets its own grid and nothing of the other's."""
    slow = policy("slow", delay_us=300 * SECOND, tick_us=15 * SECOND, fields=frozenset({Disclosed.DEPTH}))
    due = run(Pipeline(plan(policy("quick"), slow), SECRETS), dive_rows(90))
    by = {name: [item for item in due if item.record.audience == name] for name in ("quick", "slow")}
    assert by["slow"][0].instant_us >= 300 * SECOND
    assert by["quick"][0].instant_us < 60 * SECOND
    ticks = [item.record.body[0] for item in by["slow"] if item.record.kind is Kind.TICK]
    assert all(row[1:3] == [None, None] and row[4:] == [None] * 6 for row in ticks)
    assert [item.instant_us for item in due] == sorted(item.instant_us for item in due)


def test_anchor_is_not_used_before_the_audience_may_know_it() -> None:
    """A slow audience shows no place in ticks before the anchor's confirmation, as it would alone."""
    first, *others = [message(step, INVENTED_SITE) for step in walk(30)]
    journal = rows([(SECOND, first), *((SECOND * (20 + at), data) for at, data in enumerate(others))])
    slow = policy("slow", delay_us=120 * SECOND)
    alone = list(run(Pipeline(plan(slow), SECRETS), journal))
    beside = [
        item for item in run(Pipeline(plan(slow, policy("quick")), SECRETS), journal) if item.record.audience == "slow"
    ]
    assert [(i.instant_us, i.record.body) for i in alone] == [(i.instant_us, i.record.body) for i in beside]
    ticks = [item.record.body[0][1] for item in alone if item.record.kind is Kind.TICK]
    assert ticks[0] is None
    assert any(east is not None for east in ticks)


def test_what_is_decided_for_another_audience_moves_nothing_here() -> None:
    """A slow audience gets the bytes it would get alone, whether a quick one of another tick is held or not."""
    journal = dive_rows(60)
    hold = Row(0, 6 * SECOND, 6.0, "desk", RowKind.DECISION, write_decision(Hold(audience="quick"), "a test"))
    slow, quick = policy("slow", delay_us=120 * SECOND, tick_us=5 * SECOND, cell_m=0.1), policy("quick")
    by_depth = DiveLimits(begin_depth_m=30.0, quiet_us=60 * SECOND)
    outs = []
    for policies, pieces in (([slow], journal), ([quick, slow], journal), ([quick, slow], [hold, *journal])):
        numbered = [replace(row, seq=at) for at, row in enumerate(pieces, 1)]
        due = run(Pipeline(plan(*policies, dive=by_depth), SECRETS), numbered)
        outs.append([(item.instant_us, masked(encode(item.record))) for item in due if item.record.audience == "slow"])
    assert len(outs[0]) > 20
    assert outs[0] == outs[1] == outs[2]


def test_annotations_that_tell_a_place_never_leave() -> None:
    """Of a station's notes and the desk's, those with a place in them are kept back, and the others leave as they are.

    The grid reference is of the library `mgrs`.
    """
    told = ["at 38 36.88 S 021 55.98 W now", "38.61472S, 21.93306W", mgrs.MGRS().toMGRS(*INVENTED_SITE)]
    said = ["an anchor, upright", *told, "silt is settling"]
    steps = walk(40)
    journal = rows([
        *((second * SECOND, message(steps[second], INVENTED_SITE, note=note)) for second, note in enumerate(said, 3)),
        *((second * SECOND, message(steps[second], INVENTED_SITE)) for second in range(10, 40)),
    ])  # fmt: skip
    desk = [
        Row(100 + at, 45 * SECOND, 0.0, "desk", RowKind.DECISION, write_decision(decision, "a test"))
        for at, decision in enumerate([*(Say(text=text) for text in said), Target(name=told[0], verdict="rock")])
    ]
    due = run(Pipeline(plan(), SECRETS), [*journal, *desk])
    notes = [item.record.body[1] for item in due if item.record.kind in (Kind.NOTE, Kind.TARGET)]
    assert notes == ["an anchor, upright", "silt is settling"] * 2


def test_audiences_number_their_dives_and_records_apart() -> None:
    """Each audience counts from 1 and from 0 with no gap, whatever another gets and when: a gap would tell of it."""
    journal = [*dive_rows(40), *dive_rows(40, start_s=300)]
    quick, slow = policy("quick", tick_us=SECOND), policy("slow", delay_us=90 * SECOND)
    policies = (quick, slow, policy("late", delay_us=400 * SECOND))
    due = run(Pipeline(plan(*policies), SECRETS), [replace(row, seq=at) for at, row in enumerate(journal, 1)])
    for audience in ("quick", "slow", "late"):
        for dive in (1, 2):
            numbers = [i.record.seq for i in due if (i.record.audience, i.record.dive) == (audience, dive)]
            assert numbers == list(range(len(numbers)))
            assert len(numbers) > 40


def test_secret_addition_is_in_the_lag_of_every_dive() -> None:
    """Dive by dive the lag is the delay and the addition that the secrets draw for it, and those differ."""
    starts_s = (6, 306, 606, 906)
    journal = [row for start_s in starts_s for row in dive_rows(20, start_s=start_s - 1)]
    due = run(Pipeline(plan(), SECRETS), [replace(row, seq=at) for at, row in enumerate(journal, 1)])
    left_us = [item.instant_us for item in due if item.record.kind is Kind.DIVE]
    added = [(left - start_s * SECOND) // SECOND - 20 for left, start_s in zip(left_us, starts_s, strict=True)]
    assert added == [2 * SECRETS.extra_ticks("public", dive, 5) for dive in range(1, 5)]
    assert len(set(added)) == 4


def test_outside_the_declared_area_nothing_leaves_until_resumed() -> None:
    """The last record is of the last tick inside, nothing tells why, and what was outside is never shown (R4)."""
    steps = [{"east": 100.0 * at, "north": 0.0, "depth": 50.0, "altitude": 90.0, "heading": 90.0} for at in range(40)]
    journal = rows((at * SECOND, message(step, INVENTED_SITE)) for at, step in enumerate(steps))
    bounded = replace(plan(), area=Area("the invented bank", (INVENTED_SITE,), 2_050.0))
    pipeline, free = Pipeline(bounded, SECRETS), run(Pipeline(plan(), SECRETS), journal)
    due = run(pipeline, journal)
    assert [item.record.body for item in due[1:]] == [item.record.body for item in free[1 : len(due)]]
    assert [item.record.elapsed_us for item in due][-1] == 20 * SECOND
    assert (pipeline.channels[0].outside, pipeline.next_us()) == ("Lantern", None)
