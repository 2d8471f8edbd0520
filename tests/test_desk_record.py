"""What the desk knows of the decisions taken, and which rows a restart has to be told of."""

import random
from collections.abc import Iterable
from dataclasses import replace

import pytest

from dives import SECOND
from relay.core.area import ZoneAction
from relay.core.decision import (
    Approve,
    Back,
    Decision,
    Dismiss,
    Expect,
    HideZone,
    Hold,
    LiftZone,
    Say,
    Target,
)
from relay.core.desk_record import TAKEN_LIMIT, TARGETS_LIMIT, WAITING_LIMIT, DeskRecord, Taken
from relay.core.find import Find
from relay.core.sighting import SeenFrom
from test_sighting import SEES

PLACED = replace(SEES, seen_from=SeenFrom(-38.6, -21.9, 40.0))
WAITS = Say(text="silt", wait=True, vehicle="Lantern", audiences=("public",))
SEEN = Target(name="a", verdict="rock", vehicle="Moth", sighting=PLACED)
FIND = Find(name="a", what="a ship's bell")
EXPECT = Expect(vehicle="Moth", return_in_s=60, return_grace_s=5, report_every_s=7, report_grace_s=30)


def taken(row: int, decision: Decision) -> Taken:
    """Return a decision taken in a row, a second after the one before."""
    return Taken(row, row * SECOND, 1.7e9 + row, "Ines", decision)


def record(decisions: Iterable[Decision | Taken]) -> DeskRecord:
    """Return a record of decisions from row 1 on."""
    out = DeskRecord()
    for row, decision in enumerate(decisions, 1):
        out.take(decision if isinstance(decision, Taken) else taken(row, decision))
    return out


def zone(name: str) -> HideZone:
    """Return the decision to hide a zone."""
    return HideZone(name=name, centre=(-38.6, -21.9), radius_m=50, margin_m=25, action=ZoneAction.FREEZE)


def test_say_that_waits_is_there_until_somebody_approves_or_dismisses_it() -> None:
    """With who said it, when, and for whom; approving it gives it back once, dismissing it never."""
    desk = record([WAITS, WAITS, Say(text="told at once"), Approve(say=3)])
    assert [(held.row, held.at_us, held.who) for held in desk.waiting.values()] == [
        (1, SECOND, "Ines"),
        (2, 2 * SECOND, "Ines"),
    ]
    assert (desk.waiting[1].text, desk.waiting[1].vehicle, desk.waiting[1].audiences) == (
        "silt",
        "Lantern",
        ("public",),
    )
    assert desk.take(taken(5, Approve(say=1))) == WAITS
    assert desk.take(taken(6, Approve(say=1))) is None
    assert desk.take(taken(7, Dismiss(say=2))) is None
    assert desk.take(taken(8, Approve(say=2))) is None
    assert desk.waiting == {}


def test_target_changes_its_verdict_and_keeps_its_place_until_it_is_seen_again() -> None:
    """Its last verdict counts with its row; a vehicle that isn't named anew stays; only a sighting moves it."""
    desk = record([Target(name="a", verdict="unchecked", vehicle="Moth")])
    assert (desk.targets["a"].position, desk.targets["a"].vehicle) == (None, "Moth")
    desk.take(taken(2, Target(name="a", verdict="rock", vehicle="Lantern", sighting=PLACED)))
    there = desk.targets["a"].position
    assert there is not None
    desk.take(taken(3, Target(name="a", verdict="of interest")))
    known = desk.targets["a"]
    assert (known.verdict, known.row, known.at_us, known.vehicle, known.position) == (
        "of interest", 3, 3 * SECOND, "Lantern", there
    )  # fmt: skip
    desk.take(taken(4, Target(name="a", verdict="rock", vehicle="Lantern", sighting=replace(PLACED, range_m=50.0))))
    assert desk.targets["a"].position not in (None, there)
    desk.take(taken(5, Target(name="a", verdict="rock", vehicle="Lantern", sighting=SEES)))
    assert desk.targets["a"].position is not None


def test_vehicle_is_expected_from_the_moment_of_the_decision() -> None:
    """Moments of the embargo clock; back is when somebody said so, and what is agreed anew begins anew."""
    desk = record([Back(vehicle="Moth"), EXPECT, Back(vehicle="Moth")])
    agreed = desk.expected["Moth"]
    assert (agreed.expectation, agreed.row, agreed.back_us) == (EXPECT.expectation(2 * SECOND), 2, 3 * SECOND)
    assert (agreed.expectation.begun_us, agreed.expectation.return_us) == (2 * SECOND, 62 * SECOND)
    desk.take(taken(4, EXPECT))
    assert (desk.expected["Moth"].expectation.begun_us, desk.expected["Moth"].back_us) == (4 * SECOND, None)


def test_last_decisions_are_kept_with_who_took_them() -> None:
    """Every kind, oldest first, at most so many."""
    desk = record([Hold()] * (TAKEN_LIMIT + 1))
    assert [item.row for item in desk.taken] == list(range(2, TAKEN_LIMIT + 2))
    assert desk.taken[-1] == taken(TAKEN_LIMIT + 1, Hold())


@pytest.mark.parametrize("over", [0, 1])
def test_record_is_bounded(over: int) -> None:
    """At the limit what is new is not kept, what is known still changes."""
    desk = record([WAITS] * (WAITING_LIMIT + over))
    assert len(desk.waiting) == WAITING_LIMIT
    desk = record(Target(name=f"{at}", verdict="rock") for at in range(TARGETS_LIMIT + over))
    assert len(desk.targets) == TARGETS_LIMIT
    desk.take(taken(9_999, Target(name="3", verdict="of interest")))
    assert desk.targets["3"].verdict == "of interest"


@pytest.mark.parametrize(
    ("decisions", "before", "kept"),
    [
        ([WAITS, Hold(), Say(text="at once")], 9, (1,)),
        ([WAITS, Approve(say=1)], 9, ()),
        ([WAITS, Approve(say=1)], 2, (1,)),
        ([WAITS, WAITS, Dismiss(say=2)], 9, (1,)),
        (
            [Target(name="a", verdict="rock", vehicle="Moth", sighting=PLACED), Target(name="a", verdict="unchecked")],
            9,
            (1, 2),
        ),
        ([Target(name="a", verdict="rock"), Target(name="a", verdict="unchecked")], 9, (2,)),
        ([EXPECT, EXPECT, Back(vehicle="Moth")], 9, (2, 3)),
        ([EXPECT, Back(vehicle="Moth"), EXPECT], 9, (3,)),
        ([zone("a"), zone("b"), LiftZone(name="a")], 9, (2,)),
        ([zone("a"), LiftZone(name="a"), zone("a")], 9, (3,)),
        ([zone("a"), LiftZone(name="a")], 2, (1,)),
        ([WAITS, zone("a")], 1, ()),
        ([FIND, Hold(), replace(FIND, what="an anchor", supersedes=1)], 9, (1, 3)),
        ([FIND, replace(FIND, what="an anchor", supersedes=1)], 2, (1,)),
    ],
)
def test_rows_that_still_count_are_kept_for_a_restart(
    decisions: list[Decision], before: int, kept: tuple[int, ...]
) -> None:
    """What was overtaken, approved, dismissed or lifted before the row isn't; asked again, the same."""
    desk = record(decisions)
    assert desk.kept(before) == kept == desk.kept(before)


def test_kept_rows_and_those_that_follow_tell_all_again() -> None:
    """At any row of any decisions, however often it was asked on the way, as a ship asks every two seconds."""
    chance = random.Random(3)
    for _ in range(300):
        whole = [taken(row, _any(chance, row)) for row in range(1, 40)]
        desk, before = DeskRecord(), 1
        for told in whole:
            desk.take(told)
            if chance.random() < 0.3:
                before = chance.randint(before, told.row + 1)
                kept = desk.kept(before)
        again = record([told for told in whole if told.row in kept or told.row >= before])
        assert (again.waiting, again.targets, again.expected) == (desk.waiting, desk.targets, desk.expected)
        assert list(again.finds) == list(desk.finds)
        assert set(again.kept(40)) <= {told.row for told in whole}


def _any(chance: random.Random, row: int) -> Decision:
    name = chance.choice("ab")
    return chance.choice([
        WAITS, Approve(say=chance.randint(1, row)), Dismiss(say=chance.randint(1, row)), EXPECT, Back(vehicle="Moth"),
        Target(name=name, verdict="rock"), Target(name=name, verdict="rock", vehicle="Moth", sighting=PLACED),
        zone(name), LiftZone(name=name), Hold(), Find(name=name, what="iron"), Find(name=name, depth_m=float(row)),
    ])  # fmt: skip
