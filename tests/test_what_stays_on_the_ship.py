"""Decisions and feeds for the desk alone: with and without them the same bytes leave at the same moments.

Paired runs of the pipeline, and of a ship that is killed and started again with its journal, checkpoint and followers.
"""

from collections.abc import Callable, Iterable
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dives import INVENTED_SITE, SECOND, SECRETS, decided, dive_rows, in_order, message, plan, policy, rows, run, sent
from heads import but_for_heads, masked, masked_recording
from relay.core.decision import (
    Approve,
    Back,
    Begin,
    Decision,
    Dismiss,
    Early,
    End,
    Expect,
    Hold,
    Invite,
    Resume,
    Say,
    Target,
    Unaudited,
    Uninvite,
    read_decision,
    word_for,
    write_decision,
)
from relay.core.find import Find, FindPlace
from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.policy import DiveLimits, SourcePlan
from relay.core.sighting import Sighted
from relay.core.target_position import RangeIs
from virtual_ship import AT_ONCE, Disk, Do, Event, Follower, Voyage

SLOW = policy("slow", delay_us=70 * SECOND, tick_us=5 * SECOND)
BRIDGE = SourcePlan(name="bridge", format="station-json", of_ship=True)
PLAN = replace(
    plan(policy("public"), SLOW, dive=DiveLimits(quiet_us=30 * SECOND)),
    sources=(SourcePlan(name="station", format="station-json"), BRIDGE),
)
SEES = Sighted(
    bearing_deg=-12.0, range_m=35.0, range_is=RangeIs.HORIZONTAL, bearing_sigma_deg=2.0, range_sigma_m=1.0,
    heading_sigma_deg=1.0, place_sigma_m=5.0,
)  # fmt: skip
TOLD: list[tuple[int, Decision]] = [
    (20, Say(text="the bow", vehicle="Lantern")), (25, Target(name="the bell", verdict="unchecked", vehicle="Lantern")),
    (30, Hold(audience="public")), (33, Resume()), (40, Early(audience="slow", upto_us=38 * SECOND)), (44, End()),
    (60, Begin()), (65, Target(name="the bell", verdict="of interest", vehicle="Lantern")),
]  # fmt: skip
INPUT = in_order(dive_rows(50), dive_rows(40, start_s=58, seed=3))
TELLING = in_order(INPUT, [decided(second * SECOND, decision) for second, decision in TOLD])

FOUND = FindPlace(latitude_deg=-38.61472, longitude_deg=-21.93306, radius_95_m=4.5)
PRIVATE: st.SearchStrategy[Decision] = st.one_of(
    st.builds(Say, text=st.sampled_from(["wait", "38 36.9 S 021 55.9 W"]), wait=st.just(True)),
    st.builds(Dismiss, say=st.integers(1, 150)),
    st.builds(
        Expect, vehicle=st.sampled_from(["Lantern", "Moth"]), return_in_s=st.floats(1, 60), return_grace_s=st.just(1.0),
        report_every_s=st.none() | st.just(5.0), report_grace_s=st.just(2.0),
    ),
    st.builds(Back, vehicle=st.sampled_from(["Lantern", "Moth"])),
    st.builds(Invite, guest=st.just("0000ada0"), audience=st.sampled_from(["public", "slow"]), invited=st.just("Ada")),
    st.builds(Uninvite, guest=st.just("0000ada0"), invited=st.just("Ada")),
    st.builds(
        Find, name=st.sampled_from(["the bell", "the wheel"]), what=st.just("38 36.9 S"), place=st.just(FOUND),
        depth_m=st.floats(0, 900), vehicle=st.none() | st.just("Lantern"), supersedes=st.none() | st.integers(1, 150),
    ),
    st.builds(Unaudited, audience=st.sampled_from(["public", "slow"]), reason=st.just("38 36.9 S 021 55.9 W")),
)  # fmt: skip
MOMENTS = st.integers(0, 200 * SECOND) | st.integers(0, 100).map(lambda at: at * 2 * SECOND)


def outcome(journal: Iterable[Row]) -> list[tuple[int, str, bytes]]:
    """Return all that leaves of a journal, and when, but for the heads, which are over every row."""
    return but_for_heads(sent(run(Pipeline(PLAN, SECRETS), journal)))


ALL = outcome(TELLING)


def bridge(seconds: Iterable[float], depth_m: float = 0.0, note: str | None = None) -> list[Row]:
    """Return what the ship's own feed tells: a way past the site, deep or not, with words."""
    steps = [{"east": 9.0 * at, "north": -200.0, "depth": depth_m, "altitude": 3.0, "heading": 90.0} for at in seconds]
    lines = [message(step, INVENTED_SITE, note=note).replace(b'"Lantern"', b'"Harrow Tern"') for step in steps]
    moments = [round(second * 1e6) for second in seconds]
    return [replace(row, source="bridge") for row in rows(zip(moments, lines, strict=True))]


@settings(max_examples=60)
@given(st.lists(st.tuples(MOMENTS, PRIVATE), min_size=1, max_size=8))
def test_what_waits_or_is_expected_changes_no_byte(steps: list[tuple[int, Decision]]) -> None:
    """Says that wait, expectations, returns, invitations, finds, at any moments: nobody ashore can tell."""
    assert outcome(in_order(TELLING, [decided(moment, decision) for moment, decision in steps])) == ALL


def test_expected_vehicle_comes_back_unseen() -> None:
    """In the middle of a dive, overdue or not: it goes on."""
    expect = Expect(vehicle="Lantern", return_in_s=10, return_grace_s=1)
    steps = [decided(8 * SECOND, expect), decided(26 * SECOND, Back(vehicle="Lantern"))]
    assert outcome(in_order(TELLING, steps)) == ALL


@pytest.mark.parametrize("name", ["the bell", "the wheel"])
def test_sighting_changes_no_byte(name: str) -> None:
    """A target with a sighting is released as it would be without: its name and verdict alone."""
    plain = Target(name=name, verdict="rock", vehicle="Lantern")
    moments = (12 * SECOND, 29 * SECOND + 7, 80 * SECOND)
    one, other = (
        outcome(in_order(TELLING, [decided(moment, target) for moment in moments]))
        for target in (plain, replace(plain, sighting=SEES))
    )
    assert one == other
    assert one != ALL


@settings(max_examples=25)
@given(
    st.lists(st.floats(0, 210), min_size=1, max_size=30), st.sampled_from([0.0, 900.0]), st.none() | st.just("hello")
)
def test_ships_own_feed_changes_no_byte(seconds: list[float], depth_m: float, note: str | None) -> None:
    """Wherever and however deep it says the ship is, and whatever it notes: no dive begins, nothing is told."""
    assert outcome(in_order(TELLING, bridge(sorted(seconds), depth_m, note))) == ALL


def test_ships_own_feed_is_known_to_the_desk_and_to_nothing_that_releases() -> None:
    """It has a state of its own; a report that names a vehicle is rejected there, and counted."""
    pipeline = Pipeline(PLAN, SECRETS)
    named = replace(dive_rows(1)[0], source="bridge", embargo_us=3 * SECOND)
    for row in in_order(bridge([1, 2]), [named]):
        pipeline.receive(row)
    assert pipeline.ship.states[0].heard_us == 2 * SECOND
    assert pipeline.ship.states[0].last("heading_deg") is not None
    assert pipeline.now.heard_us() is None
    assert list(pipeline.embargo.waiting()) == []
    assert pipeline.tallies["bridge"].rejected == {"a vehicle's report on the ship's feed": 1}
    assert pipeline.tallies["bridge"].accepted.total() == 2


@pytest.mark.parametrize(
    ("said_s", "waits_us", "is_again"), [(9, 1, False), (20, 15 * SECOND, True), (30, 30 * SECOND + 7, False)]
)
def test_approved_say_leaves_as_if_it_had_been_said_then(said_s: int, waits_us: int, is_again: bool) -> None:
    """Its embargo begins at the approval (R2), and a second approval or dismissal of the same says nothing."""
    words = Say(text="a lantern, upright", vehicle="Lantern", audiences=("public",))
    at_us = said_s * SECOND + waits_us
    plain = in_order(TELLING, [decided(at_us, words)])
    said = [decided(said_s * SECOND, replace(words, wait=True))]
    row = waiting_row(in_order(TELLING, said))
    approval = [decided(at_us, Approve(say=row)), *([decided(at_us + 5, Approve(say=row))] if is_again else [])]
    assert outcome(in_order(TELLING, said, approval)) == outcome(plain)


def waiting_row(journal: list[Row]) -> int:
    """Return the row of the say that waits; what is taken later doesn't change it."""
    return next(row.seq for row in journal if b'"wait": true' in row.data)


def test_dismissed_say_is_never_told_even_if_it_is_approved_afterwards() -> None:
    """Whoever dismisses has the last word; the row stays in the journal."""
    steps = [decided(20 * SECOND, Say(text="silt", wait=True))]
    row = waiting_row(in_order(TELLING, steps))
    over = [decided(22 * SECOND, Dismiss(say=row)), decided(23 * SECOND, Approve(say=row))]
    assert outcome(in_order(TELLING, steps, over)) == ALL


Sent = tuple[list[list[tuple[int, bytes]]], dict[tuple[str, ...], list[bytes]]]


def voyage(private: Callable[[Voyage], list[Event]] | None = None, sighting: Sighted | None = None) -> Sent:
    """Return what followers got, and when, and the recordings, of a ship that is killed and started three times.

    But for the heads.
    """
    followers = [Follower(audience.audience, None) for audience in PLAN.policies]
    out = Voyage(PLAN, SECRETS, followers, Disk())
    out.plan_for(Event(0, Do.DIAL, at) for at in range(len(followers)))
    for second, do in (
        (0, Do.START),
        (47, Do.KILL),
        (48, Do.START),
        (230, Do.KILL),
        (231, Do.START),
        (290, Do.POWER_CUT),
    ):
        out.plan_for([Event(second * SECOND, do)])
    out.plan_for([Event(291 * SECOND, Do.REBOOT)])
    for row in [*TELLING, *dive_rows(30, start_s=240, seed=5)]:
        if row.kind is RowKind.DECISION:
            decision = read_decision(row.data)
            if isinstance(decision, Target):
                decision = replace(decision, sighting=sighting)
            out.plan_for([decide(row.embargo_us / 1e6, decision)])
        else:
            out.plan_for([Event(row.embargo_us, Do.INPUT, row.data, AT_ONCE)])
    if private is not None:
        out.plan_for(private(out))
    out.play(420 * SECOND)
    assert out.refused == 0
    assert out.ship is not None
    assert out.ship.stopped is None
    if private is not None:
        assert out.ship.pipeline.expected["Moth"].back_us is None
        assert [waiting.text for waiting in out.ship.pipeline.waiting.values()] == ["later perhaps"]
        assert out.ship.pipeline.targets["the bell"].position is not None
        words = [word_for(item.decision) for item in out.ship.pipeline.taken]
        assert words == "expect say say target hold resume early end back begin target expect say dismiss".split()
    got = [[(instant_us, masked(frame)) for instant_us, frame in follower.got] for follower in followers]
    return got, {name: masked_recording(data) for name, data in out.disk.files.files.items()}


def decide(second: float, decision: Decision) -> Event:
    """Return the event of a decision, on the disk at once."""
    return Event(round(second * 1e6), Do.DECIDE, lambda *_: write_decision(decision, "x"), AT_ONCE)


def test_ship_that_is_killed_and_started_sends_the_same_with_and_without_all_of_it() -> None:
    """Live, regrown with a dive under way, after a power cut, and recorded: the same bytes at the same moments."""
    plain = voyage()
    assert all(len(got) > 20 for got in plain[0])
    assert voyage(all_of_it, SEES) == plain


def all_of_it(out: Voyage) -> list[Event]:
    """Return everything that is for the desk alone, all along a voyage."""

    def dismissal(*_: int) -> bytes:
        assert out.ship is not None
        waiting = out.ship.pipeline.waiting.values()
        return write_decision(Dismiss(say=next(held.row for held in waiting if held.text == "or never")), "x")

    return [
        *(Event(row.embargo_us, Do.INPUT, row.data, AT_ONCE, "bridge") for row in bridge([1, 15, 46.9, 90, 229, 292])),
        decide(1.3, Expect(vehicle="Lantern", return_in_s=30, return_grace_s=1, report_every_s=4)),
        decide(14.2, Say(text="later perhaps", wait=True)), decide(46.2, Back(vehicle="Lantern")),
        decide(70.1, Expect(vehicle="Moth", return_in_s=300, return_grace_s=60)),
        decide(244.1, Say(text="or never", wait=True)), Event(289 * SECOND, Do.DECIDE, dismissal, AT_ONCE),
    ]  # fmt: skip
