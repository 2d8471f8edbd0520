"""Whether a decision of the desk makes sense at a site: taken with what it does, or refused with what is right."""

from dataclasses import replace

import pytest

from dives import INVENTED_SITE, SECOND, SECRETS, decided, dive_rows, in_order, plan, policy
from relay.core.area import Area, ZoneAction
from relay.core.decision import (
    Approve,
    Back,
    Decision,
    Dismiss,
    Expect,
    HideZone,
    Hold,
    LiftZone,
    Resume,
    Say,
    Target,
    read_decision,
    write_decision,
)
from relay.core.desk_record import TARGETS_LIMIT, WAITING_LIMIT
from relay.core.errors import OperatorError
from relay.core.find import Find
from relay.core.pipeline import Pipeline
from relay.core.policy import Place, Plan
from relay.core.ranges import NOTE_LIMIT
from relay.core.sighting import FRESH_US
from relay.shell.desk.desk_sense import ZONES_LIMIT
from relay.shell.desk.standing import check_decision
from relay.shell.desk.tell_words import say_taken
from test_sighting import SEES

NOW_US = 60 * SECOND
PLAN = replace(
    plan(policy("public"), policy("heritage", place=Place.EXACT, check_text=False)), forbidden_words=("Quenby",)
)
ZONE = HideZone(name="the hold", centre=INVENTED_SITE, radius_m=50, margin_m=25, action=ZoneAction.WITHHOLD)
WAITS = Say(text="silt", wait=True)
SEEN = Target(name="the bell", verdict="rock", vehicle="Lantern", sighting=SEES)


def site(*decisions: Decision, dives: bool = True, plan_: Plan = PLAN) -> Pipeline:
    """Return a site, in a dive or not, that took decisions a moment ago."""
    pipeline = Pipeline(plan_, SECRETS)
    taken = [decided(NOW_US - 1_000 + at, decision) for at, decision in enumerate(decisions)]
    for row in in_order(dive_rows(50) if dives else [], taken):
        pipeline.receive(row)
    return pipeline


def answer(decision: Decision, pipeline: Pipeline, now_us: int = NOW_US) -> dict[str, object]:
    """Return what is answered to a decision, completed as the ship does."""
    return check_decision(pipeline.completed(decision, now_us), pipeline, now_us)


def refuses(decision: Decision, pipeline: Pipeline, why: str, now_us: int = NOW_US) -> None:
    """Assert that a decision is refused, and why."""
    with pytest.raises(OperatorError, match=why):
        answer(decision, pipeline, now_us)


def test_find_is_recorded_once_as_found_and_superseded_by_its_row() -> None:
    """At any time, dive or not; a name that is taken, a row that isn't current and an unknown vehicle are refused."""
    find = Find(name="the bell", what="a ship's bell", vehicle="Lantern")
    taken = {"taken": "find", "as_found": True, "supersedes": None, "place": None, "photographs": 0, "drawings": 0}
    assert answer(find, site(dives=False)) == answer(find, site()) == taken
    recorded = site(find)
    (known,) = recorded.finds
    refuses(find, recorded, f"recorded as found in row {known.current.row}, and nothing overwrites that")
    again = replace(find, what="a handbell", supersedes=known.current.row)
    assert answer(again, recorded) == {**taken, "as_found": False, "supersedes": known.current.row}
    refuses(replace(again, supersedes=known.current.row + 1), recorded, "is not what is known now of the find")
    refuses(replace(find, name="a jar", vehicle="Gannet"), recorded, "'Gannet' is not a vehicle")
    refuses(Find(name="a jar"), recorded, 'say what the find "a jar" is')


def test_find_takes_the_place_of_a_target_when_it_is_recorded() -> None:
    """Whatever is said of the target later, the find's record stays as it was; a target without a place is refused."""
    marked = site(SEEN, Target(name="the wheel", verdict="rock"))
    known = marked.targets["the bell"].position
    assert known is not None
    find = Find(name="bell", what="a ship's bell", target="the bell")
    told = answer(find, marked)["place"]
    assert told == {
        "latitude_deg": known.latitude_deg, "longitude_deg": known.longitude_deg,
        "radius_95_m": known.spread.radius_95_m, "target": "the bell",
    }  # fmt: skip
    refuses(replace(find, target="the wheel"), marked, 'where the target "the wheel" lies isn.t known; .*: "the bell"')
    whole = marked.completed(find, NOW_US)
    assert isinstance(whole, Find)
    assert read_decision(write_decision(whole, "Ines")) == whole
    again = replace(SEEN, sighting=replace(SEES, range_m=50.0, seen_from=None))
    for number, decision in enumerate((whole, again)):
        marked.receive(replace(decided(NOW_US + number, decision), seq=900 + number))
    (kept,) = marked.finds
    assert kept.current.find.place == whole.place
    assert whole.place is not None and whole.place.latitude_deg != marked.targets["the bell"].position.latitude_deg


def test_resume_that_has_not_seen_the_newest_hold_is_refused() -> None:
    """One that comes after a hold it didn't know of undoes nothing; who says nothing of it (a terminal) is taken."""
    held = site(Hold(), Hold(audience="public"))
    newest, before = (each.held_row for each in held.channels)
    assert before == newest - 1
    for stale in (Resume(seen=before), Resume(audience="public", seen=before), Resume(seen=0)):
        refuses(stale, held, "^public(, heritage)? w(as|ere) held again since: look, then resume again$")
    for fresh in (Resume(seen=newest), Resume(audience="public", seen=newest), Resume()):
        assert answer(fresh, held) == {"taken": "resume"}
    assert answer(Resume(audience="heritage", seen=before), held) == {"taken": "resume"}
    assert answer(Resume(seen=0), site()) == {"taken": "resume"}


def test_resume_that_has_not_seen_a_hold_on_its_way_to_the_disk_is_refused() -> None:
    """A hold acts before it is on the disk, and counts from then on; so does one of a journal that is read again."""
    held = site(Hold())
    (seen,) = {each.held_row for each in held.channels}
    again = held.completed(Hold(audience="heritage"), NOW_US)
    assert isinstance(again, Hold)
    held.halt(seen + 9, again)
    refuses(Resume(seen=seen), held, "^heritage was held again since")
    assert answer(Resume(audience="public", seen=seen), held) == {"taken": "resume"}
    assert answer(Resume(seen=seen + 9), held) == {"taken": "resume"}


def test_resume_of_all_says_who_stays_stopped_outside_the_declared_area() -> None:
    """It resumes the others and names the vehicle; where it would resume nobody it is refused with what to say."""
    away = Area("the invented bank", ((INVENTED_SITE[0] + 1, INVENTED_SITE[1]),), 100.0)
    late = policy("late", delay_us=600 * SECOND)
    stopped = site(plan_=replace(plan(policy("public"), late), area=away))
    stopped.advance(NOW_US)
    assert [each.outside for each in stopped.channels] == ["Lantern", None]
    refuses(Resume(), stopped, "to public stopped, as Lantern was outside .*: name the audience, or say that you mean")
    for meant in (Resume(audience="public"), Resume(outside=True), Resume(audience="late")):
        assert answer(meant, stopped) == {"taken": "resume"}
    stopped.receive(replace(decided(NOW_US, Hold()), seq=99))
    said = answer(Resume(), stopped)
    assert said == {"taken": "resume", "stays_stopped": {"public": "Lantern"}}
    words = say_taken({"do": "resume", "audience": None}, said, None)
    assert words.endswith(
        "NOT to public: Lantern was outside the declared area. `resume public` resumes it all the same."
    )


def test_say_may_wait_before_the_dive_and_is_approved_in_one() -> None:
    """It is lost only where it would be told with no dive under way; its row is the one that waits."""
    assert answer(WAITS, site(dives=False)) == {"taken": "say"}
    before, within = site(WAITS, dives=False), site(WAITS)
    refuses(Approve(say=1), before, "no dive is under way now")
    row = next(iter(within.waiting))
    assert answer(Approve(say=row), within) == {"taken": "approve"}
    assert answer(Dismiss(say=row), within) == answer(Dismiss(say=1), before) == {"taken": "dismiss"}
    for decision in (Approve(say=row + 1), Dismiss(say=row + 1)):
        refuses(decision, within, f"row {row + 1} doesn't wait for approval \\(any more\\?\\); waiting: {row}$")
    refuses(Approve(say=4), site(), "waiting: nothing")


def test_words_are_checked_when_they_are_said_and_when_they_are_approved() -> None:
    """A place is refused at once; one that only a word forbidden since tells, at the approval."""
    refuses(Say(text="12 34.5 N 012 34.5 W", wait=True), site(), "please rewrite")
    refuses(Say(text="off Quenby", wait=True), site(), "please rewrite")
    since = site(Say(text="off Quenby", wait=True))
    refuses(Approve(say=next(iter(since.waiting))), since, "please rewrite")


def test_one_say_more_than_can_wait_is_refused() -> None:
    """The last that has room is taken, one more is not."""
    assert answer(WAITS, site(*[WAITS] * (WAITING_LIMIT - 1))) == {"taken": "say"}
    refuses(WAITS, site(*[WAITS] * WAITING_LIMIT), f"{WAITING_LIMIT} annotations wait for approval")


def test_target_is_answered_with_its_place() -> None:
    """For the operator alone, with how well it is known; without a sighting there is none."""
    told = answer(SEEN, site())
    place = told["place"]
    assert isinstance(place, dict)
    assert place.keys() == {"latitude_deg", "longitude_deg", "radius_95_m", "first_order"}
    assert place["latitude_deg"] == pytest.approx(INVENTED_SITE[0], abs=0.001)
    assert answer(replace(SEEN, sighting=None), site()) == {"taken": "target"}


def test_target_that_cannot_be_placed_is_refused() -> None:
    """A vehicle that wasn't heard of late, or never, sees nothing; what the sender says of its place doesn't count."""
    last_us = 54 * SECOND + 137_000
    assert "place" in answer(SEEN, site(), last_us + FRESH_US)
    refuses(SEEN, site(), "Lantern has told no position and heading within 30 s", last_us + FRESH_US + 1)
    refuses(replace(SEEN, vehicle="Moth"), site(), "Moth has told no position")
    refuses(replace(SEEN, vehicle="Tern"), site(), "'Tern' is not a vehicle; one of Lantern, Moth")


def test_one_target_more_than_there_is_room_for_is_refused() -> None:
    """A name that is known may always have another verdict."""
    full = site(*(Target(name=f"no. {at}", verdict="rock") for at in range(TARGETS_LIMIT)))
    refuses(Target(name="one more", verdict="rock"), full, f"there are {TARGETS_LIMIT} targets")
    assert answer(Target(name="no. 3", verdict="of interest"), full) == {"taken": "target"}


def test_zone_is_answered_with_whom_it_hides_from() -> None:
    """And with those who are told the exact place all the same; between dives, too."""
    expected = {"taken": "zone", "hidden_from": ["public"], "exact_to": ["heritage"]}
    assert answer(ZONE, site()) == answer(ZONE, site(dives=False)) == expected


def test_zone_that_cannot_be_is_refused() -> None:
    """A name of the file's or in force, too many, or one that lies where nothing is shown."""
    of_file = replace(PLAN, zones=(replace(ZONE, name="the bow").zone,))
    refuses(replace(ZONE, name="the bow"), site(plan_=of_file), '"the bow" is of the expedition file')
    refuses(ZONE, site(ZONE), '"the hold" still hides from public, heritage: choose another name')
    refuses(ZONE, site(ZONE, LiftZone(name="the hold")), "still hides from public, heritage")
    many = [replace(ZONE, name=f"no. {at}") for at in range(ZONES_LIMIT)]
    assert answer(ZONE, site(*many[1:]))["taken"] == "zone"
    refuses(ZONE, site(*many), f"there are {ZONES_LIMIT} zones of the desk")
    far = replace(PLAN, area=Area("the invented bank", ((10.0, 10.0),), 5_000.0))
    refuses(ZONE, site(plan_=far, dives=False), 'outside the declared area, "the invented bank"')


def test_text_that_is_too_long_is_refused_unread() -> None:
    """At the limit it is read, one past it isn't: reading takes the loop's time."""
    pipeline = site()
    assert pipeline.check_text("a" * NOTE_LIMIT) == []
    for check in (pipeline.check_text, pipeline.check_programme):
        with pytest.raises(OperatorError, match="longer than 500 characters"):
            check("a" * (NOTE_LIMIT + 1))


def test_zone_told_again_under_its_name_keeps_its_margin() -> None:
    """The secret direction goes by the name: two margins under one name would give two points of one line."""
    lifted = site(dives=False)
    for at, decision in enumerate((ZONE, LiftZone(name="the hold")), 1):
        lifted.receive(replace(decided(at * SECOND, decision), seq=at))
    lifted.advance(3_600 * SECOND)
    assert lifted.zones == ()
    assert answer(ZONE, lifted)["taken"] == "zone"
    refuses(replace(ZONE, margin_m=30), lifted, "told before with a margin of 25 m: .* Choose another name, or that")
    assert answer(replace(ZONE, name="the bow", margin_m=30), lifted)["taken"] == "zone"


def test_only_zones_of_the_desk_are_lifted() -> None:
    """It says for whom; one of the file, or one that isn't in force, is refused with those that are."""
    assert answer(LiftZone(name="the hold"), site(ZONE)) == {"taken": "unzone", "lifted_for": ["heritage", "public"]}
    of_file = replace(PLAN, zones=(replace(ZONE, name="the bow").zone,))
    refuses(LiftZone(name="the bow"), site(ZONE, plan_=of_file), '"the bow" is a zone of the expedition file')
    refuses(LiftZone(name="the mast"), site(ZONE), '"the mast" is no zone of the desk in force; those are: "the hold"')
    refuses(LiftZone(name="the mast"), site(), "there is none")


def test_vehicle_is_back_once_and_only_if_it_was_expected() -> None:
    """Whoever isn't awaited can't come back, and nobody comes back twice."""
    expect = Expect(vehicle="Moth", return_in_s=60, return_grace_s=5)
    assert answer(expect, site(dives=False)) == {"taken": "expect"}
    assert answer(Back(vehicle="Moth"), site(expect)) == {"taken": "back"}
    refuses(Back(vehicle="Moth"), site(), "nothing was agreed about Moth")
    refuses(Back(vehicle="Moth"), site(expect, Back(vehicle="Moth")), "Moth is back already")
    refuses(replace(expect, vehicle="Tern"), site(), "'Tern' is not a vehicle")
