"""What `offing check` says of an audience, held to what the audience is sent: nothing is hidden in words alone."""

import itertools
import math
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from dives import INVENTED_SITE, SECOND, SECRETS, message, rows, run, walk
from expeditions import changed
from relay.core.area import Area, Zone, ZoneAction
from relay.core.channel import Due
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.policy import Disclosed, DiveLimits, Leg, Place, Plan, Policy
from relay.core.release import Kind, seconds
from relay.shell.plan.expedition import parse_expedition
from relay.shell.plan.plain_words import describe_audience

# What the words of "Never shown" stand for: places in a vehicle's row of a tick, or a kind of record.
COLUMNS = {
    "the track": (1, 2),
    "depth": (3,),
    "heading": (4,),
    "height above the seabed": (5,),
    "whether the vehicle is tethered or autonomous": (6,),
    "the leg of the dive (deck, descent, bottom, ascent)": (7,),
    "pitch": (8,),
    "roll": (9,),
    "latitude": (10,),
    "longitude": (11,),
}
PLACE_TOLD = "at 38 36.88 S 021 55.98 W now"


@cache
def preset(name: str) -> Plan:
    """Return the plan of an audience that says nothing but its preset, quick enough for a test."""
    text = changed('delay = "20 min"\nfields = ["depth", "notes"]', f'preset = "{name}"')
    plan = parse_expedition(text, Path("EXPEDITION.toml")).plan
    return replace(plan, policies=(plan.policies[1],), dive=DiveLimits(quiet_us=600 * SECOND))


def whole_dive() -> list[Row]:
    """Return a dive of 45 minutes, down, along the seabed and up, every value told every five seconds."""
    journal = []
    for at, step in enumerate(walk(540)):
        values = {**step, "east": step["east"] * 5, "north": step["north"] * 5, "depth": depth_at(at)}
        line = message({**values, "altitude": max(2.0, 203.0 - depth_at(at))}, INVENTED_SITE, note=NOTES.get(at))
        tilts = b'{"pitch_deg": %.1f, "roll_deg": %.1f, ' % (at % 30 - 15.0, at % 40 - 20.0)
        journal.append((at * 5 * SECOND + 400_000, tilts + line[1:]))
    return rows(journal)


def depth_at(report: int) -> float:
    """Return the depth that a report of the dive tells, metres: a seabed that falls off slowly, at about 200 m."""
    return max(0.0, min(185.0 + 0.06 * report, 4.0 * report, 4.0 * (530 - report)))


NOTES = {300: "silt over the plates", 310: PLACE_TOLD}
DIVE = whole_dive()


def released(plan: Plan) -> list[Due]:
    """Return what the one audience of a plan is sent of the dive."""
    return run(Pipeline(plan, SECRETS), [replace(row, source=plan.sources[-1].name) for row in DIVE])


def said(plan: Plan) -> str:
    """Return what is said of the one audience of a plan, in one line."""
    return " ".join(describe_audience(plan.policies[0], frozenset(), plan).split())


def row_of(item: Due) -> list[object]:
    """Return what a tick tells of the vehicle that dives."""
    row: list[object] = item.record.body[0]
    return row


def check_words(plan: Plan) -> None:
    """Hold every sentence on an audience to what it was sent."""
    words, due = said(plan), released(plan)
    ticks = [row_of(item) for item in due if item.record.kind is Kind.TICK]
    assert any(row[0] == "reporting" for row in ticks)
    assert not [item for item in due if "Harrow Tern" in str(item.record.body)]  # `describe_vehicles` says so
    check_hidden(words, due, ticks)
    check_when(plan.policies[0], words, due)
    check_steps(words, ticks)
    check_depths(plan.policies[0], words, due)
    check_bounds(plan.policies[0], words, ticks)
    check_notes(words, due)


def check_hidden(words: str, due: list[Due], ticks: list[list[object]]) -> None:
    """Hold what is said to be shown never, or in the words of annotations alone, to the records."""
    hidden = re.findall(r"(?:Never shown|Not shown, unless the words [a-z ]*): (.*?)\. ", words)
    assert hidden
    names = re.sub("; but [^)]* so tells it|a finer .*", "", ", ".join(hidden))
    if "annotations and targets" in names:
        assert not [item for item in due if item.record.kind in (Kind.NOTE, Kind.TARGET)]
    for name, columns in COLUMNS.items():
        for column in columns if name in names else ():
            assert {row[column] for row in ticks if len(row) > column} <= {None}, name
    if "and so tells it" not in words:
        given_away = any("only " in said for said in re.findall(r"(?:Track|Heading|Depth): ([^.]*)", words))
        assert not given_away or "the leg of the dive" not in names


def check_when(policy: Policy, words: str, due: list[Due]) -> None:
    """Hold delay and tick to the moments at which records left."""
    opening = due[0]
    assert opening.record.kind is Kind.DIVE
    lag_us = opening.instant_us - policy.tick_us  # the first report, at 0.4 s, is in the first tick
    assert policy.delay_us <= lag_us <= policy.delay_us + policy.extra_us
    assert f"a record every {seconds(policy.tick_us)} s," in words
    instants = [item.instant_us for item in due if item.record.kind is Kind.TICK]
    assert {after - before for before, after in itertools.pairwise(instants)} == {policy.tick_us}


def check_steps(words: str, ticks: list[list[object]]) -> None:
    """Hold what is said of coarseness, legs, bounds and heading to the rows."""
    if track := re.search(
        r"Track: (.*?), in steps of ([\d.]+) m \(each is told until the vehicle is [\d.]+ m from it either "
        r"way\), moved and",
        words,
    ):
        shown = [row for row in ticks if row[1] is not None]
        assert shown
        cells = [value for row in shown for value in row[1:3] if isinstance(value, int | float)]
        assert len(cells) == 2 * len(shown)
        assert {value % float(track[2]) for value in cells} == {0}
        if track[1] == "only at the bottom":
            assert {row[7] for row in shown} <= {"bottom", None}
    else:
        assert "Track: latitude and longitude as they were received" in words or {row[1] for row in ticks} == {None}
    if "only while the track is shown" in words or "turned as that drawing is, and only where that is" in words:
        assert {row[1] is not None for row in ticks if row[4] is not None} <= {True}
    if "Depth: only at the bottom" in words:
        assert {row[7] for row in ticks if row[3] is not None} <= {"bottom", None}


def check_depths(policy: Policy, words: str, due: list[Due]) -> None:
    """Hold what is said of depth, where it is absolute, to what each report told: in which steps, and how far off."""
    said_of = re.search(
        r"Depth: in steps of ([\d.]+) m \(each is told until the true depth is ([\d.]+) m from it\)"
        r"(?:.*?and of ([\d.]+) m on the way down and up)?",
        words,
    )
    if said_of is None:
        return
    step, off, elsewhere = float(said_of[1]), float(said_of[2]), float(said_of[3] or said_of[1])
    begun_us = -(-400_000 // policy.tick_us) * policy.tick_us
    seen = set()
    for item in due:
        if item.record.kind is not Kind.TICK or (row := row_of(item))[3] is None:
            continue
        report = (item.record.elapsed_us + begun_us - 400_000) // (5 * SECOND)
        told, at_bottom = float(str(row[3])), row[7] in ("bottom", None)
        here, most = (step, off) if at_bottom else (elsewhere, off * elsewhere / step)
        if row[7] is not None or step == elsewhere:
            assert min(told % here, here - told % here) < 1e-6
        assert abs(told - depth_at(report)) <= most + 0.06
        seen.add((at_bottom, told))
    assert len(seen) > 1


def check_bounds(policy: Policy, words: str, ticks: list[list[object]]) -> None:
    """Hold what is said of the track's start and end to where and when the bottom was reached."""
    legs = [row[7] for row in ticks]
    shown = [at for at, row in enumerate(ticks) if row[1] is not None or row[4] is not None]
    start = re.search(r"begins once the vehicle has been at the bottom for (\d+) min and has moved ([\d.]+) m", words)
    if start and shown and "bottom" in legs:
        assert (shown[0] - legs.index("bottom")) * policy.tick_us >= int(start[1]) * 60 * SECOND
    if shown and (radius := re.search(r"Nothing of it is shown while the vehicle is more than ([\d.]+) m from", words)):
        places = [ticks[at][1:3] for at in shown if ticks[at][1] is not None]
        assert all(math.dist(one, places[0]) <= 2 * float(radius[1]) for one in places)


def check_notes(words: str, due: list[Due]) -> None:
    """Hold what is said of annotations to those that left."""
    notes = [item.record.body[1] for item in due if item.record.kind is Kind.NOTE]
    if "Annotations and targets (finds that you have named): not checked for this audience" in words:
        assert notes == list(NOTES.values())
    elif (
        "Annotations and targets (finds that you have named): all but those in which the check finds a position"
        in words
    ):
        assert notes == [text for text in NOTES.values() if text != PLACE_TOLD]
    else:
        assert notes == []


@pytest.mark.parametrize("name", ["public", "funders", "heritage"])
def test_words_on_a_preset_are_kept_by_what_is_sent(name: str) -> None:
    """Nothing that is said to be hidden, late or coarse is less so in the released records of a whole dive."""
    plan = preset(name)
    check_words(plan)
    words = said(plan)
    assert ("THE EXACT POSITION" in words) == (name == "heritage")
    assert ("latitude, longitude, which way is north, the date, the time of day or a finer" in words) == (
        name != "heritage"
    )
    assert "Who: nobody on the page. As it falls due, what is released to it is written to recordings, a f" in words


FIELDS = [frozenset({field}) for field in Disclosed] + [frozenset(Disclosed) - {field} for field in Disclosed]


@pytest.mark.parametrize("fields", FIELDS, ids=lambda fields: "-".join(sorted(fields)))
def test_words_are_kept_whatever_fields_are_named(fields: frozenset[Disclosed]) -> None:
    """Each field alone, and all but each: what is not named is said to be hidden, and is."""
    plan = preset("public")
    check_words(replace(plan, policies=(replace(plan.policies[0], fields=fields),)))


@pytest.mark.parametrize("changes", [
    {"depth_relative": True, "descent_step_m": None},
    {"track_legs": frozenset(Leg), "track_start_m": 0.0, "track_start_us": 0, "radius_m": None},
    {"track_legs": frozenset({Leg.DESCENT, Leg.ASCENT}), "track_start_m": 0.0, "track_start_us": 0, "radius_m": None},
    {"place": Place.AREA, "fields": frozenset(Disclosed) - {Disclosed.TRACK, Disclosed.HEADING}},
    {"place": Place.EXACT, "check_text": False},
    {"check_text": False},
    {"cell_m": 100.0, "radius_m": 400.0, "track_start_m": 0.0, "extra_us": 0},
])  # fmt: skip
def test_words_are_kept_whatever_the_policy(changes: dict[str, object]) -> None:
    """Relative depth, other legs, the area alone, exact places, unchecked words, larger cells."""
    plan = replace(preset("public"), area=Area("the invented bank", (INVENTED_SITE,), 50_000.0))
    check_words(replace(plan, policies=(replace(plan.policies[0], **changes),)))  # type: ignore[arg-type]


def test_heading_without_a_track_is_said_to_be_shown() -> None:
    """Where the track is not named its heading still is, on the same legs: the words must not tie it to the track."""
    plan = preset("public")
    alone = replace(plan, policies=(replace(plan.policies[0], fields=frozenset({Disclosed.HEADING, Disclosed.LEG})),))
    assert any(row_of(item)[4] is not None for item in released(alone) if item.record.kind is Kind.TICK)
    words = said(alone)
    assert "Heading: in steps of 22.5°, turned by a secret, only at the bottom, though no track is shown." in words
    assert "It begins once the vehicle has been at the bottom for 10 min and has moved 100 m from" in words


def test_words_name_the_declared_area_and_what_is_forbidden() -> None:
    """The area's name, and that forbidden words are looked for, are in the paragraph."""
    area = Area("the invented bank", (INVENTED_SITE,), 50_000.0)
    words = said(replace(preset("public"), area=area, forbidden_words=("a", "b")))
    assert 'the declared area, "the invented bank"; the relay itself tells nothing closer' in words
    assert "a distance or bearing from a named place or a forbidden word." in words
    assert "or a distance or bearing from a named place." in said(preset("public"))
    assert (
        "Dates, times, depths and compass directions by themselves are not looked for: they go out, and a single"
        in words
    )
    assert "which way is north, the date, the time of day or a finer depth or heading. Clocks: " in words


def test_words_on_zones_say_what_happens_in_them() -> None:
    """How many zones hide the track and how many hold it still, in good grammar, by name."""
    galley = Zone(name="galley", latitude_deg=1.0, longitude_deg=2.0, radius_m=50.0, margin_m=50.0,
                  action=ZoneAction.WITHHOLD)  # fmt: skip
    frozen = [replace(galley, name=name, action=ZoneAction.FREEZE) for name in ("bow", "stern")]
    one = said(replace(preset("public"), zones=(galley,), forbidden_words=("a",)))
    assert 'It is not shown in the zone "galley"; where a zone ends is blurred by a secret.' in one
    both = said(replace(preset("public"), zones=(galley, *frozen)))
    assert (
        'It is not shown in the zone "galley" and stands still on the page in the zones "bow" and "stern"; where'
        in both
    )
    exact = said(replace(preset("heritage"), zones=(galley,)))
    assert "The zones hide nothing from this audience." in exact
    assert "blurred" not in exact
    for plan in (replace(preset(name), zones=(galley, *frozen)) for name in ("public", "funders", "heritage")):
        assert not any(name in str(item.record.body) for item in released(plan) for name in ("galley", "stern"))


def test_words_on_unchecked_annotations_promise_nothing_of_the_place() -> None:
    """Whoever may write anything may write a position: neither "nothing closer" nor "never" is said of it."""
    area = Area("the invented bank", (INVENTED_SITE,), 50_000.0)
    plan = replace(preset("public"), area=area)
    fields = frozenset({Disclosed.DEPTH, Disclosed.NOTES})
    free = replace(plan.policies[0], place=Place.AREA, fields=fields, check_text=False)
    words = said(replace(plan, policies=(free,)))
    assert "but WHATEVER IS WRITTEN IN AN ANNOTATION IS SHOWN, a position, too." in words
    assert "nothing closer" not in words
    assert (
        "Not shown, unless the words of an annotation tell it: height above the seabed, heading, latitude, longitude, "
        "which way is north, the date, the time of day or a finer depth. Clocks:" in words
    )
    assert PLACE_TOLD in {item.record.body[1] for item in released(replace(plan, policies=(free,)))
                          if item.record.kind is Kind.NOTE}  # fmt: skip


def test_words_say_what_a_policy_does_without_what_it_does_not() -> None:
    """No secret frame without a track or heading, no distance of 0 m, no two steps of depth that are one."""
    plan = preset("public")
    policy = replace(plan.policies[0], fields=frozenset({Disclosed.DEPTH}), descent_step_m=50.0)
    words = said(replace(plan, policies=(policy,)))
    assert "secret so" not in words
    assert "Depth: in steps of 50 m (each is told until the true depth is 37.5 m from it). " in words
    late = replace(plan.policies[0], track_start_m=0.0, extra_us=0)
    assert "It begins once the vehicle has been at the bottom for 10 min." in said(replace(plan, policies=(late,)))
    assert "How late: in the recording 45 min after it happened." in said(replace(plan, policies=(late,)))
    near = replace(plan.policies[0], track_start_us=0)
    assert "It begins once the vehicle has moved 100 m from where it touched down." in said(
        replace(plan, policies=(near,))
    )
    assert "How late: in the recording between 45 min and 55 min after it happened; how much exactly is secret" in said(
        plan
    )
    assert "How late: not at all: in the recording as it happens." in said(preset("heritage"))
    assert (
        "turned as that drawing is, and only where that is; with the positions the true one can be worked out."
        in said(preset("heritage"))
    )
    assert "turned by the same secret as the track, only while" in said(plan)
    assert "THIS UNDOES THAT SECRET for every audience and every dive of the site" in said(preset("heritage"))
    assert "a finer" not in said(replace(plan, policies=(replace(late, fields=frozenset({Disclosed.NOTES})),)))


def test_words_say_that_the_secret_is_one_for_all_and_who_could_undo_it() -> None:
    """What two audiences are shown lies one over the other, as near as their cells are; an exact one is named."""
    plan = preset("public")
    finer = replace(plan.policies[0], audience="guests", cell_m=10.0)
    exact = replace(preset("heritage").policies[0], audience="wardens")
    both = replace(plan, policies=(plan.policies[0], finer, exact))
    at: dict[str, dict[int, tuple[float, float]]] = {"family": {}, "guests": {}}
    for item in released(both):
        if item.record.kind is Kind.TICK and item.record.audience in at and (row := row_of(item))[1] is not None:
            at[item.record.audience][item.record.elapsed_us] = float(str(row[1])), float(str(row[2]))
    shared = at["family"].keys() & at["guests"].keys()
    assert len(shared) > 20
    # Each is off by half a step and a quarter at most, on either axis: 18.75 m and 7.5 m.
    apart = [abs(at["family"][us][axis] - at["guests"][us][axis]) for us in shared for axis in (0, 1)]
    assert max(apart) <= 26.25
    words = said(both)
    told = (
        "That secret is one for all audiences and all dives of the site: what they are shown can be laid one over the"
    )
    assert f"{told} other, and a recording of wardens in the wrong hands puts all of that on a chart." in words
    assert f"{told} other. Distance" in said(plan)


def test_words_on_an_open_audience_say_who_gets_in() -> None:
    """The door is the one thing that the policy itself does not hold."""
    plan = preset("public")
    name = plan.policies[0].audience
    words = describe_audience(plan.policies[0], frozenset({name}), plan)
    assert "Who: anyone who reaches the page, while a dive is shown there and ever after.\n" in words
    assert "How often: an update every 15 s, even when there is nothing new." in words
    assert (
        "Clocks: though the relay tells no time of day, who watches live can tell from a clock when something" in words
    )
    guests = replace(plan.policies[0], audience="guests")
    both = replace(plan, policies=(*plan.policies, guests))
    words = describe_audience(guests, frozenset({name, "guests"}), both)
    assert f"can choose {name} there as well: what is shown there earlier or finer, this one" in words
    assert "can choose" not in describe_audience(guests, frozenset({"guests"}), both)


def test_words_say_that_what_is_shown_on_one_leg_gives_the_leg_away() -> None:
    """A leg that is said to be never shown, while a track is shown at the bottom alone, is told by the track."""
    plan = preset("public")
    at_bottom = replace(plan.policies[0], fields=frozenset({Disclosed.TRACK}))
    shown = [row_of(item) for item in released(plan) if item.record.kind is Kind.TICK]
    assert {row[7] for row in shown if row[1] is not None} == {"bottom"}
    told = "ascent; but {} is shown only at the bottom, and so tells it)"
    assert told.format("the track") in said(replace(plan, policies=(at_bottom,)))
    deep = replace(at_bottom, fields=frozenset({Disclosed.DEPTH}), depth_relative=True, descent_step_m=None)
    assert told.format("depth") in said(replace(plan, policies=(deep,)))
    whole = replace(at_bottom, track_legs=frozenset(Leg))
    assert "and so tells it" not in said(replace(plan, policies=(whole,)))
