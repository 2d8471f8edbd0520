"""Annotations, targets, legs, begin and end by hand: they wait out the embargo, and do what they say at their tick."""

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dives import INVENTED_SITE, SECOND, SECRETS, decided, dive_rows, in_order, message, plan, policy, rows, run, sent
from heads import but_for_heads
from relay.core.channel import Due
from relay.core.decision import Begin, Decision, End, Hold, Say, SetLeg, Target
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.policy import Disclosed, DiveLimits, Leg, Plan
from relay.core.release import Kind

PUBLIC = policy("public", extra_us=0)
TWO = plan(PUBLIC, policy("funders", extra_us=0, delay_us=10 * SECOND))
BY_DEPTH = plan(PUBLIC, dive=DiveLimits(begin_depth_m=5.0, quiet_us=60 * SECOND, surfaced_us=10 * SECOND))
JOURNAL = dive_rows(40)


def out_of(expedition: Plan, *parts: Sequence[Row]) -> list[Due]:
    """Return what leaves of a journal, to its end."""
    return run(Pipeline(expedition, SECRETS), in_order(*parts))


def told(due: list[Due], audience: str = "public") -> list[tuple[int, object]]:
    """Return the annotations and targets of an audience, with their dive time in seconds."""
    items = [item.record for item in due if item.record.audience == audience]
    return [(item.elapsed_us // SECOND, item.body) for item in items if item.kind in (Kind.NOTE, Kind.TARGET)]


def kinds(due: list[Due]) -> list[tuple[int, str, int]]:
    """Return dive, kind and tick (seconds on the embargo clock) of all but the records that come with ticks."""
    lag_us = PUBLIC.delay_us
    records = [(item.record, item.instant_us) for item in due if item.record.kind not in (Kind.TICK, Kind.HEAD)]
    return [(record.dive, record.kind.name, (instant_us - lag_us) // SECOND) for record, instant_us in records]


@pytest.mark.parametrize(("said_us", "tick_s"), [(20 * SECOND, 20), (20 * SECOND + 1, 22), (22 * SECOND - 1, 22)])
def test_annotation_leaves_with_the_tick_that_it_was_said_by(said_us: int, tick_s: int) -> None:
    """Said at the very microsecond of a tick it is in that tick, said one later in the next; late like any input."""
    due = out_of(TWO, JOURNAL, [decided(said_us, Say(text="a lantern, upright"))])
    note = next(item for item in due if item.record.body == [None, "a lantern, upright"])
    assert (note.record.audience, note.instant_us) == ("funders", (tick_s + 10) * SECOND)
    assert (tick_s - 6, [None, "a lantern, upright"]) in told(due)


def test_annotation_is_for_whom_it_names_or_for_all_that_get_annotations() -> None:
    """Nobody else gets it, and who gets no annotations gets none."""
    mute = policy("mute", fields=frozenset(Disclosed) - {Disclosed.NOTES})
    three = plan(*TWO.policies, mute)
    said = [
        decided(16 * SECOND, Say(text="for the funders", audiences=("funders",))),
        decided(17 * SECOND, Say(text="for two", audiences=("funders", "public"), vehicle="Moth")),
        decided(18 * SECOND, Say(text="for all")),
        decided(18 * SECOND, Say(text="for the mute", audiences=("mute",))),
    ]
    due = out_of(three, JOURNAL, said)
    desk = {name: [body for _, body in told(due, name) if "for" in str(body)] for name in ("public", "funders", "mute")}
    assert desk["funders"] == [[None, "for the funders"], [1, "for two"], [None, "for all"]]
    assert desk["public"] == [[1, "for two"], [None, "for all"]]
    assert desk["mute"] == []


def test_target_leaves_with_its_verdict_and_whose_it_is() -> None:
    """A target is a record of its own kind; a new verdict is a new record."""
    found = [
        decided(16 * SECOND, Target(name="No. 4", verdict="unchecked", vehicle="Lantern")),
        decided(30 * SECOND, Target(name="No. 4", verdict="of interest")),
    ]
    due = out_of(TWO, JOURNAL, found)
    targets = [item.record.body for item in due if item.record.kind is Kind.TARGET and item.record.audience == "public"]
    assert targets == [[0, "No. 4", "unchecked"], [None, "No. 4", "of interest"]]


def legs(due: list[Due]) -> list[list[str]]:
    """Return the legs of all vehicles, tick by tick."""
    return [[row[7] for row in item.record.body] for item in due if item.record.kind is Kind.TICK]


def test_leg_by_hand_holds_for_its_vehicle_until_it_is_automatic_again() -> None:
    """From its tick on the leg is the one that was set, whatever depth says; "automatic" judges on from there."""
    both = in_order(JOURNAL, [replace(row, data=row.data.replace(b"Lantern", b"Moth")) for row in JOURNAL])
    plain = legs(out_of(plan(PUBLIC), both))
    steps = [
        decided(20 * SECOND, SetLeg(vehicle="Moth", leg=Leg.BOTTOM)),
        decided(30 * SECOND + 1, SetLeg(vehicle="Moth", leg=None)),
    ]
    by_hand = legs(out_of(plan(PUBLIC), both, steps))
    assert [row[0] for row in by_hand] == [row[0] for row in plain]
    assert plain[2:19] == [["descent", "descent"]] * 17  # ticks at 10 to 42 s
    assert [row[1] for row in by_hand[2:19]] == ["descent"] * 5 + ["bottom"] * 6 + ["ascent"] * 6
    assert len(plain) == len(by_hand)


def test_leg_by_hand_opens_and_closes_the_track() -> None:
    """A policy that shows the bottom alone shows the track from the tick of "bottom" to that of "ascent"."""
    bottom = plan(replace(PUBLIC, track_legs=frozenset({Leg.BOTTOM})))
    steps = [decided(s * SECOND, SetLeg(vehicle="Lantern", leg=leg)) for s, leg in ((20, Leg.BOTTOM), (30, Leg.ASCENT))]
    due = out_of(bottom, JOURNAL, steps)
    placed = [item.record.body[0][1] is not None for item in due if item.record.kind is Kind.TICK]
    assert placed[:17] == [False] * 7 + [True] * 5 + [False] * 5


def test_leg_by_hand_is_forgotten_with_its_dive() -> None:
    """The next dive is judged anew."""
    again = dive_rows(20, start_s=130)
    due = out_of(plan(PUBLIC), JOURNAL, again, [decided(20 * SECOND, SetLeg(vehicle="Lantern", leg=Leg.ASCENT))])
    assert legs([item for item in due if item.record.dive == 2]) == legs(out_of(plan(PUBLIC), again))


def test_begin_by_hand_begins_before_the_depth_does_and_waits_for_reports() -> None:
    """A dive begun on a silent deck is one that goes on; without a report it is over when it has been quiet."""
    late = dive_rows(30, start_s=40)
    due = out_of(BY_DEPTH, [decided(20 * SECOND, Begin())], late)
    assert kinds(due)[0] == (1, "DIVE", 20)
    ticks = [item.record.body[0][0] for item in due if item.record.kind is Kind.TICK]
    assert ticks[:11] == ["no report"] * 11
    assert "reporting" in ticks
    assert {item.record.dive for item in due} == {1}
    assert kinds(out_of(BY_DEPTH, [decided(20 * SECOND, Begin())])) == [(1, "DIVE", 20), (1, "END", 80)]


DECK = [{"east": 0.0, "north": 0.0, "depth": 0.5, "altitude": 900.0, "heading": 5.0}] * 30


def test_begun_on_deck_it_does_not_end_before_it_was_down() -> None:
    """Waiting on deck is no surfacing: that counts from the first time below the depth that begins a dive."""
    waiting = rows(((10 + at) * SECOND, message(step, INVENTED_SITE)) for at, step in enumerate(DECK))
    down = dive_rows(20, start_s=40)
    back = rows(((60 + at) * SECOND, message(step, INVENTED_SITE)) for at, step in enumerate(DECK))
    due = out_of(BY_DEPTH, [decided(10 * SECOND, Begin())], waiting, down, back)
    assert [entry for entry in kinds(due) if entry[1] != "NOTE"] == [(1, "DIVE", 10), (1, "END", 70)]


def test_begin_while_a_dive_is_under_way_changes_nothing() -> None:
    """It is begun already."""
    due = out_of(TWO, JOURNAL, [decided(20 * SECOND, Begin())])
    assert but_for_heads(sent(due)) == but_for_heads(sent(out_of(TWO, JOURNAL)))


def reports(depths_m: Sequence[float], start_s: int) -> list[Row]:
    """Return the rows of a vehicle at depths, one a second, at half seconds."""
    step = {"east": 0.0, "north": 0.0, "altitude": 900.0, "heading": 5.0}
    pairs = [((start_s + at) * SECOND + 500_000, {**step, "depth": depth}) for at, depth in enumerate(depths_m)]
    return rows((moment_us, message(values, INVENTED_SITE)) for moment_us, values in pairs)


@pytest.mark.parametrize("expedition", [plan(PUBLIC), BY_DEPTH], ids=["by report", "by depth"])
def test_end_by_hand_is_the_end_though_the_vehicle_is_still_down(expedition: Plan) -> None:
    """The dive ends at its tick, and no other begins while the vehicle goes on reporting from below."""
    due = out_of(expedition, reports([50.0] * 120, 10), [decided(40 * SECOND, End())])
    assert kinds(due) == [(1, "DIVE", 12), (1, "END", 40)]


def test_after_an_end_by_hand_the_next_dive_begins_by_itself_once_the_vehicle_was_up() -> None:
    """Up for as long as ends a dive, then down: that is the next one. A moment near the surface is not enough."""
    bounce = reports([50.0] * 20 + [1.0] * 5 + [50.0] * 20, 10)
    end = [decided(20 * SECOND, End())]
    assert kinds(out_of(BY_DEPTH, bounce, end)) == [(1, "DIVE", 12), (1, "END", 20)]
    again = reports([50.0] * 20 + [1.0] * 20 + [50.0] * 20, 10)
    assert kinds(out_of(BY_DEPTH, again, end))[:3] == [(1, "DIVE", 12), (1, "END", 20), (2, "DIVE", 52)]


def test_after_an_end_by_hand_the_next_dive_begins_by_itself_once_it_was_quiet() -> None:
    """Quiet for as long as ends a dive, then a report: that is the next one; a second less is not enough."""
    end = [decided(20 * SECOND, End())]
    short = out_of(plan(PUBLIC), reports([50.0] * 20, 10), reports([50.0] * 5, 84), end)
    assert kinds(short) == [(1, "DIVE", 12), (1, "END", 20)]
    due = out_of(plan(PUBLIC), reports([50.0] * 20, 10), reports([50.0] * 5, 90), end)
    assert kinds(due)[:3] == [(1, "DIVE", 12), (1, "END", 20), (2, "DIVE", 92)]


@pytest.mark.parametrize("apart_us", [1, 900_000, 12 * SECOND])
def test_end_and_begin_make_two_dives_of_one(apart_us: int) -> None:
    """However close together they are given; the second begins at the tick after the first ended at the earliest."""
    steps = [decided(20 * SECOND + 1, End()), decided(20 * SECOND + 1 + apart_us, Begin())]
    due = out_of(plan(PUBLIC), reports([50.0] * 60, 10), steps)
    begun_s = max(24, -(-(20 * SECOND + 1 + apart_us) // (2 * SECOND)) * 2)
    assert kinds(due)[:3] == [(1, "DIVE", 12), (1, "END", 22), (2, "DIVE", begun_s)]
    for dive in (1, 2):
        numbers = [item.record.seq for item in due if item.record.dive == dive]
        assert numbers == list(range(len(numbers)))


def test_nothing_said_or_reported_after_the_end_is_in_the_dive_that_ended() -> None:
    """What follows the end within its tick is not told: it is of no dive."""
    steps = [
        decided(20 * SECOND + 1, Say(text="going up")),
        decided(20 * SECOND + 2, End()),
        decided(20 * SECOND + 3, Say(text="not for followers")),
    ]
    depths = [50.0] * 10 + [500.0] * 30  # deeper from 20.5 s on
    due = out_of(plan(PUBLIC), reports(depths, 10), steps)
    assert told(due) == [(10, [None, "going up"])]
    assert {item.record.body[0][3] for item in due if item.record.kind is Kind.TICK} == {50}


def test_begin_and_end_of_one_moment_are_a_dive_of_one_tick() -> None:
    """Taken in the order in which they came."""
    due = out_of(BY_DEPTH, [decided(20 * SECOND, Begin()), decided(20 * SECOND, End())])
    assert [item.record.kind for item in due] == [Kind.DIVE, Kind.TICK, Kind.HEAD, Kind.END]


TOLD: list[Decision] = [
    Say(text="early?"), Target(name="early?", verdict="rock"), SetLeg(vehicle="Lantern", leg=Leg.ASCENT),
    Begin(), End(), Hold(audience="funders"),
]  # fmt: skip


@settings(max_examples=30)
@given(
    st.integers(8, 60),
    st.lists(st.tuples(st.sampled_from(TOLD), st.integers(1, 40 * SECOND)), min_size=1, max_size=6),
)
def test_decisions_that_tell_are_not_noticed_before_the_delay_is_over(
    after_s: int, steps: list[tuple[Decision, int]]
) -> None:
    """R2 for the desk: whatever is said or set after a moment, followers see the same until a delay after it."""
    after_us = after_s * SECOND
    decisions = [decided(after_us + later_us, decision) for decision, later_us in steps]
    horizon_us = after_us + PUBLIC.delay_us
    runs = [out_of(TWO, JOURNAL, extra) for extra in ([], decisions)]
    seen = [[item for item in sent(due) if item[0] <= horizon_us and item[1] == "public"] for due in runs]
    assert seen[0] == seen[1]
    assert seen[0]
