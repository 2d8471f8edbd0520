"""What `offing check` says beside the audiences: cautions, vehicles, feeds, area, zones and forbidden words."""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic
from geographiclib.polygonarea import PolygonArea

from expeditions import RIGHT, changed
from relay.shell.plan.expedition import parse_expedition
from relay.shell.plan.plain_cautions import cautions
from relay.shell.plan.plain_ground import (
    describe_desk,
    describe_feed,
    describe_ground,
    describe_programme,
    describe_survey,
    describe_vehicles,
)
from survey_settings import SQUARE, gear

PATH = Path("EXPEDITION.toml")
CAREFUL = RIGHT.replace(
    'track_legs = ["bottom"]', 'track_legs = ["bottom"]\nradius = "1500 m"\ntrack_start_after = "5 min"'
).replace('depth_step = "10 m"', 'depth_step = "50 m"\ndescent_step = "10 m"')
SEVERAL = (
    "public and family are all open: a stranger can choose any of them on the page (?audience=family). So the world is "
    "only as late as the quickest, family (20 min), and sees whatever one of them shows."
)
FIELDS, PRESET = 'fields = ["track", "depth", "heading", "mode", "notes"]\ncell = "25 m"\n', 'preset = "public"\n'
STEPS = 'depth_step = "50 m"\ndescent_step = "10 m"'
AREA = '[area]\nname = "{}"\ncentre = [-33.3, 22.4]\nradius = "40 km"\n\n'
LANTERN = '[[vehicle]]\nname = "Lantern"'
FAMILY = '[[audience]]\nname = "family"'
BOW = '[[zone]]\nname = "bow"\nradius = "100 m"\nmargin = "60 m"\ncentre = {}\n\n'


def told(old: str, new: str) -> list[str]:
    """Return the cautions on the careful file with one text replaced, which must be there once."""
    assert CAREFUL.count(old) == 1, old
    return cautions(parse_expedition(CAREFUL.replace(old, new), PATH))


def test_nothing_is_said_of_a_careful_file() -> None:
    """A caution for everybody is read by nobody; so no preset has one."""
    assert cautions(parse_expedition(CAREFUL, PATH)) == []
    whole = CAREFUL[CAREFUL.index('name = "public"') :]
    assert told(whole, 'name = "public"\npreset = "public"\nopen = true\n') == []
    assert told('name = "family"', 'name = "family"\npreset = "funders"') == []


@pytest.mark.parametrize(("old", "new", "caution"), [
    ('delay = "45 min"', 'delay = "1 s"', "public: 1 s is a short delay: whoever sees the ship, or her AIS"),
    ('delay = "45 min"', 'delay = "1199 s"', "public: 19 min 59 s is a short delay"),
    ('cell = "25 m"', 'cell = "1 m"', "public: positions to 1 m show every turn of the vehicle"),
    ('cell = "25 m"', 'cell = "9.9 m"', "public: positions to 9.9 m show every turn of the vehicle"),
    (STEPS, 'depth_step = "0.1 m"', "public: depth at the bottom in steps of 0.1 m lets a stranger look for the place"),
    (STEPS, 'depth_step = "49 m"\ndescent_step = "1 m"', "public: depth at the bottom in steps of 49 m lets a"),
    (STEPS, 'depth_step = "50 m"\ndescent_step = "4 m"', "public: depth in steps of 4 m on the way down tells to"),
    ('\ntrack_start_after = "5 min"', "", "public: the track begins where the vehicle touches down, below where t"),
    (FIELDS + STEPS, PRESET + 'depth_step = "10 m"', "public: depth at the bottom in steps of 10 m lets a st"),
    ('track_legs = ["bottom"]', 'track_legs = ["bottom", "ascent"]', "public: the track is shown away from the bottom"),
    ('extra = "10 min"', 'extra = "0 s"', "public: without a secret addition the delay is known to the second"),
    (LANTERN, AREA.format("bank").replace("40 km", "400 m") + LANTERN, "the declared area reaches 400 m only: it t"),
    ('sounder = "altitude"\n\n[[feed]]', '\n[[feed]]\nvehicle = "Moth"', "no feed tells depth or height of Lantern: s"),
    (FAMILY, FAMILY + '\nopen = true\nextra = "10 min"\ndepth_step = "50 m"', SEVERAL),
    (FAMILY, FAMILY + '\ntext = "unchecked"', "family: its annotations are not checked, so a position written in one"),
    (FAMILY, f'[text]\nforbidden = ["Skerry"]\n{FAMILY}\npreset = "heritage"',
     "family: its annotations are not checked, so your forbidden words can reach it."),
    ('\nradius = "1500 m"', "", "public: the shape of a long run can be looked for on charts: set a radius"),
    ("open = true\n", "", "no audience is open, so the public page shows nothing."),
    ('"The search for the Isoline Marr"', '"12 nm south of Quenby Head"', "followers read the name of the expedition"),
    (LANTERN, AREA.format("off Quenby Head") + LANTERN,
     'followers read the name of the declared area, "off Quenby Head"'),
    (LANTERN, AREA.format("bank") + BOW.format("[-33.66, 22.4]") + LANTERN,
     'zone "bow" reaches beyond the declared area: the edge of the area shows where it is.'),
])  # fmt: skip
def test_each_thing_to_think_twice_about_is_said_alone(old: str, new: str, caution: str) -> None:
    """One change, one caution."""
    (only,) = told(old, new)
    assert only.startswith(caution)


@pytest.mark.parametrize(("old", "new"), [
    ('delay = "45 min"', 'delay = "20 min"'),
    ('cell = "25 m"', 'cell = "10 m"'),
    (STEPS, 'depth_step = "50 m"\ndescent_step = "5 m"'),
    (STEPS, 'depth_step = "50 m"'),
    (STEPS, 'depth_step = "1 m"\ndepth = "relative"'),
    ('track_start_after = "5 min"', 'track_start = "1 m"'),
    (LANTERN, AREA.format("Gulf of Quenby") + LANTERN),
    ('delay = "20 min"', 'delay = "1 s"\ncell = "1 m"\ndepth_step = "0.1 m"'),
])  # fmt: skip
def test_nothing_is_said_at_the_limits_nor_of_those_who_are_trusted(old: str, new: str) -> None:
    """What is just enough is enough; a closed audience's policy is between the operator and whom he trusts."""
    assert told(old, new) == []


GROUND = changed('[[vehicle]]\nname = "Lantern"', AREA.format("bank") + BOW.format("[-33.3, 22.4]")
                 + '[text]\nforbidden = ["Skerry", "Quenby"]\n\n[[vehicle]]\nname = "Lantern"')  # fmt: skip


def test_feeds_vehicles_and_names_are_told_in_plain_words() -> None:
    """Whose a feed is, from where, what its sounder means; which names are told."""
    expedition = parse_expedition(GROUND, PATH)
    first, second = (
        describe_feed(source, feed.url) for source, feed in zip(expedition.plan.sources, expedition.feeds, strict=True)
    )
    assert first == (
        "Feed position: nmea0183 for Lantern from udp://127.0.0.1:10110 (any program on this "
        "machine that sends to port 10110 is believed); its sounder (DPT sentences) tells the vehicle's height above "
        "the seabed."
    )
    assert second == (
        "Feed station: station-json for whichever vehicle each record names from tcp-listen://127.0.0.1:4010 (any "
        "program on this machine that connects to port 4010 is believed)."
    )
    assert describe_vehicles(expedition.plan) == (
        "Vehicles: Lantern and Moth. Whoever is shown a dive is told the names of the expedition, its vehicles and the "
        "declared area; the ship's the relay itself tells nobody."
    )


def test_area_zones_and_words_are_told_in_plain_words() -> None:
    """What stops, hides and is forbidden, each by name, and what goes on all the same."""
    expedition = parse_expedition(GROUND, PATH)
    area, reach, zone, words = describe_ground(expedition.plan)
    assert area.startswith(
        'Declared area: "bank", all within 40 km of 33.3° S 22.4° E (the other way round it would be 22.4° N 33.3° W). '
    )
    assert reach.startswith(
        "Nobody is shown a track in metres, or a heading, while a vehicle is more than 20 km from the first position"
    )
    assert zone.endswith(
        "In it no track and no heading is shown, and what is worked out from the track knows only of the rest; depth, "
        "annotations and all else go on. What is said there is marked nowhere on the drawing. That a hole is there "
        "can be seen. What this zone is called the relay tells nobody; an annotation may, unless that name stands "
        "under [text] forbidden."
    )
    named = replace(expedition.plan, forbidden_words=("Bow",))
    assert describe_ground(named)[2].endswith("What this zone is called the relay tells nobody.")
    trusted = GROUND.replace('delay = "20 min"\nfields = ["depth", "notes"]', 'preset = "heritage"')
    assert describe_ground(parse_expedition(trusted, PATH).plan)[2].endswith("From family it hides nothing.")
    frozen = GROUND.replace('margin = "60 m"', 'margin = "60 m"\naction = "freeze"')
    still = describe_ground(parse_expedition(frozen, PATH).plan)[2]
    assert "In it the track stands still and no heading" in still
    assert "What is said there is marked where the track stands still on the drawing." in still
    assert zone.startswith('Zone "bow": the hole in the track is 160 to 220 m in radius (the zone and once to t')
    assert words == "Forbidden words: Skerry, Quenby."


def test_survey_is_told_in_plain_words() -> None:
    """What each vehicle carries, the planned area to compare with a chart, and that followers see none of it."""
    silent = parse_expedition(RIGHT, PATH)
    assert describe_survey(silent.plan.vehicles, silent.survey) == []
    carried = gear('tether = "1000 m"\nswath = "1000 m"\nnadir_gap = "50 m"')
    text = changed(*carried).replace("[dive]", f"[survey]\n{SQUARE}\n\n[dive]")
    text = text.replace('name = "Moth"', 'name = "Moth"\nswath = "400 m"')
    expedition = parse_expedition(text, PATH)
    lantern, moth, area, alone = describe_survey(expedition.plan.vehicles, expedition.survey)
    assert lantern == (
        "Lantern hangs on a tether of 1 km (an alarm sounds from 90 % of it on, measured straight from the ship) and "
        "sees 1 km of seabed from side to side, but for 50 m below it."
    )
    assert moth == "Moth sees 400 m of seabed from side to side."
    ring = PolygonArea(Geodesic.WGS84)
    for place in expedition.survey.corners or ():
        ring.AddPoint(*place)
    km2 = abs(ring.Compute(False, True)[2]) / 1e6
    assert area == (
        "The survey's planned area: the polygon 30° S 22° W, 30° S 21.9° W, 30.1° S 21.9° W, 30.1° S 22° W "
        f"({km2:.3g} km²)."
    )
    assert alone == "Tether, swath and planned area are for the ship alone: followers see none of it."


def test_feeds_that_anybody_reaches_and_what_is_missing_are_told() -> None:
    """A port open to the network, a sounder without a meaning, no area: each said where it is read."""
    wide = changed("udp://127.0.0.1:10110", "udp://0.0.0.0:10110")
    first_source = parse_expedition(wide, PATH).plan.sources[0]
    feed = parse_expedition(wide, PATH).feeds[0]
    assert "(anyone on the network who sends to port 10110 is believed)" in describe_feed(first_source, feed.url)
    silent = parse_expedition(changed('sounder = "altitude"\n', ""), PATH)
    assert "its sounder is ignored, so no height or depth comes from it" in describe_feed(
        silent.plan.sources[0], silent.feeds[0].url
    )
    assert describe_ground(silent.plan)[0].startswith("Declared area: none, so nothing stops the release")


def test_check_prints_the_cautions_last(tmp_path: Path) -> None:
    """The command itself, as a process: in order, and yet cautioned, with code 0."""
    path = tmp_path / "e.toml"
    path.write_text(RIGHT.replace('delay = "45 min"', 'delay = "1 s"'), encoding="utf-8")
    command = [sys.executable, "-m", "relay", "check", str(path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[1])
    assert "The expedition file can be used." in done.stdout
    assert "think twice about this:\nCAUTION: " in done.stdout
    cautions_ = [line for line in done.stdout.splitlines() if line.startswith("CAUTION: ")]
    assert len(cautions_) > 1
    assert cautions_ == done.stdout.splitlines()[-len(cautions_) :]


def test_programme_is_said_with_whom_it_is_told_to_and_where_questions_go() -> None:
    """Who is told, how coarse, what it can still tell; a place for questions only where the file names one."""
    plan = parse_expedition(RIGHT, PATH).plan
    said = describe_programme(plan, "")
    assert said.startswith("Programme (pinned message, schedule, next dive): told to public and family. It is as late")
    assert said.endswith(
        "Followers are shown no place for questions ([public] questions_to); nothing they write reaches the ship."
    )
    asked = describe_programme(plan, "https://questions.example/")
    assert "a link to https://questions.example/: somebody ashore answers there" in asked


@pytest.mark.parametrize(
    ("listen", "words"),
    [
        (("127.0.0.1", 8090), "The desk is at 127.0.0.1:8090, on this machine alone: whoever"),
        (("::1", 8090), "The desk is at [::1]:8090, on this machine alone: whoever"),
        (
            ("192.168.7.2", 8090),
            "192.168.7.2:8090, from the network that this address belongs to, where its",
        ),
    ],
)
def test_check_says_where_the_desk_is_and_for_whom(listen: tuple[str, int], words: str) -> None:
    """Elsewhere than on the relay's machine the token crosses a network unencrypted, and the file's author is told."""
    assert words in describe_desk(listen)
