"""The expedition file: what is right is read whole, and every fault is told with its line and what to do."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from audit_settings import WRONG_BESIDE
from expeditions import RIGHT, WRONG_ADDRESSES, changed, line_with
from relay.core.area import Area, Zone, ZoneAction
from relay.core.errors import ExpeditionError
from relay.core.policy import Disclosed, Leg, Place, Policy
from relay.shell.plan.expedition import parse_expedition, read_expedition
from relay.shell.plan.expedition_form import PARTS as FORM
from relay.shell.plan.expedition_form import File, _Part, listen_address

PATH = Path("/somewhere/EXPEDITION.toml")


def test_expedition_is_read_whole() -> None:
    """Every part arrives in the unit of its name; defaults are the public ones of the design."""
    expedition = parse_expedition(RIGHT, PATH)
    public, family = expedition.plan.policies
    assert (public.delay_us, public.extra_us, public.tick_us) == (2_700_000_000, 600_000_000, 15_000_000)
    assert (public.cell_m, public.depth_step_m, public.heading_step_deg) == (25.0, 10.0, 22.5)
    assert public.fields == {Disclosed.TRACK, Disclosed.DEPTH, Disclosed.HEADING, Disclosed.MODE, Disclosed.NOTES}
    assert (family.fields, family.track_legs) == ({Disclosed.DEPTH, Disclosed.NOTES}, {Leg.BOTTOM})
    assert (family.delay_us, family.extra_us) == (1_200_000_000, 600_000_000)
    assert expedition.open_audiences == {"public"}
    assert expedition.plan.vehicles == ("Lantern", "Moth")
    assert [source.name for source in expedition.plan.sources] == ["position", "station"]
    assert expedition.private == PATH.resolve().parent / "private"
    assert expedition.plan.dive.begin_depth_m is None


def part(text: str) -> tuple[str, str]:
    """Return a change that puts another part before the vehicles."""
    return '[[vehicle]]\nname = "Lantern"', f'{text}\n\n[[vehicle]]\nname = "Lantern"'


def public(text: str) -> tuple[str, str]:
    """Return a change that adds to the public audience."""
    return 'track_legs = ["bottom"]', f'track_legs = ["bottom"]\n{text}'


def area(text: str) -> tuple[str, str]:
    """Return a change that adds a declared area."""
    return part(f'[area]\nname = "the invented bank"\n{text}')


def astray(centre: str) -> tuple[str, str]:
    """Return a change that adds an area about 33.25 south, 22.5 east, and a zone somewhere else."""
    shape = '[area]\nname = "the invented bank"\nradius = "40 km"\n'
    return part(f'{shape}centre = [-33.3, 22.4]\n\n[[zone]]\nname = "bow"\n{BOW}\ncentre = {centre}')


def standby(primary: str, more: str = "") -> tuple[str, str]:
    """Return a change that makes the second feed the standby for another, and perhaps adds a third one."""
    third = f'\n\n[[feed]]\nname = "third"\nformat = "station-json"\nfrom = "tcp-listen://127.0.0.1:4012"\n{more}'
    line = 'from = "tcp-listen://127.0.0.1:4010"'
    return line, f'{line}\nstandby_for = "{primary}"{third if more else ""}'


def zone(text: str) -> tuple[str, str]:
    """Return a change that adds a zone at a place, with what else is said of it."""
    return part(f'[[zone]]\nname = "bow"\ncentre = [1.0, 2.0]\n{text}')


CIRCLE = 'centre = [1.0, 2.0]\nradius = "5 km"'
BOW = 'radius = "50 m"\nmargin = "50 m"'
SHAPE, PLACE = "give either centre and radius, or corners", "write it as [latitude, longitude] in degrees"
MAVLINK = 'format = "mavlink"\nvehicle = "Moth"'
PARTS = [
    (*part(f"[area]\n{CIRCLE}"), "[area]", "area.name: is missing: add it"),
    (*area(""), "[area]", SHAPE),
    (*area("centre = [1.0, 2.0]"), "[area]", SHAPE),
    (*area('radius = "5 km"'), "[area]", SHAPE),
    (*area(f"{CIRCLE}\ncorners = [[1, 2], [1, 3], [2, 3]]"), "[area]", SHAPE),
    (*area('centre = [91.0, 2.0]\nradius = "5 km"'), "[91.0", "latitude is from -90 to 90"),
    (*area('centre = [1.0, -180.5]\nradius = "5 km"'), "-180.5", "longitude from -180 to 180"),
    (*area('centre = [nan, 2.0]\nradius = "5 km"'), "nan", "latitude is from -90 to 90"),
    (*area('centre = "1N 2E"\nradius = "5 km"'), "1N 2E", PLACE),
    (*area('center = [1.0, 2.0]\nradius = "5 km"'), "center", 'did you mean "centre"?'),
    (*area('centre = [1.0, 2.0]\nradius = "99 m"'), "99 m", "must be from 100 m to 2000000 m, not 99 m"),
    (*area('centre = [1.0, 2.0]\nradius = "5 miles"'), "5 miles", "is not a length"),
    (*area("corners = [[1, 2], [1, 3]]"), "corners", "give at least 3"),
    (*area("corners = [[1, 2], [1, 3], [2]]"), "corners", f"area.corners.3: [2] is not a position; {PLACE}"),
    (*area("corners = [[1, 2], [1, 3], [true, 3]]"), "corners", "area.corners.3: [True, 3] is not a position"),
    (*zone('radius = "50 m"'), "[[zone]]", 'zone "bow": margin: is missing: add by how much'),
    (*part(f'[[zone]]\nname = "bow"\n{BOW}'), "[[zone]]", 'zone "bow": centre: is missing: add centre = [latitude'),
    (*zone('radius = "50 m"\nmargin = "24 m"'), "[[zone]]", 'at least half the radius, margin = "25 m"'),
    (*zone('radius = "0.5 m"\nmargin = "50 m"'), "0.5 m", "must be from 1 m to 100000 m"),
    (*zone(f'{BOW}\naction = "hide"'), "hide", "one of 'withhold' or 'freeze'"),
    (*zone(f'{BOW}\n[[zone]]\nname = "bow"\ncentre = [1.5, 2.0]\n{BOW}'), None, "zone 2: name: 'bow' is there twice"),
    (*part('[text]\nforbidden = "Isoline"'), "forbidden", "must be a list: write it in brackets"),
    (*part('[text]\nforbidden = ["Marr", ""]'), "forbidden", "text.forbidden.2: is empty"),
    (*part('[text]\nforbiden = ["Marr"]'), "forbiden", 'did you mean "forbidden"?'),
    (*public('place = "near"'), "near", "one of 'local', 'area' or 'exact'"),
    (*public('place = "exact"'), "exact", 'take open = true away, or set place = "local"'),
    (*public('place = "area"'), "area", "add [area] with its name and shape"),
    (*public('place = "area"'), "area", 'no track and no heading: write fields = ["depth", "mode", "notes"], or set'),
    (*public('text = "unchecked"'), "unchecked", 'take text = "unchecked" away'),
    (*public('text = "off"'), "off", "one of 'checked' or 'unchecked'"),
    (*public('radius = "5 m"'), "radius", "must be from 10 m to 20000 m, not 5 m"),
    (*public('radius = "49 m"'), "radius", "smaller than two cells of 25 m: make it larger, or the cells smaller"),
    (*public('radius = "90 m"\ntrack_start = "90 m"'), "track_start", "beyond radius: make track_start smaller"),
    (*public('track_start = "101 km"'), "track_start", "must be from 0 m to 100000 m, not 101000 m"),
    (*public('track_start_after = "soon"'), "soon", "is not a duration"),
    (*public('track_start_after = "25 h"'), "25 h", "must be from 0 h to 24 h"),
    (*public('depth = "deep"'), "deep", "one of 'absolute' or 'relative'"),
    (*public('descent_step = "11 m"'), "descent_step", "make it at most depth_step"),
    (*public('descent_step = "0.05 m"'), "0.05 m", "must be from 0.1 m to 5000 m"),
    (*public('depth = "relative"\ndescent_step = "5 m"'), "descent_step", "take descent_step away"),
    (*public('tilt_step = "0.5 deg"'), "0.5 deg", "must be from 1 deg to 90 deg"),
    (*public('stale_after = "0 s"'), "stale_after", "must be from 1 s to 3600 s"),
    (*public('preset = "press"'), "press", "one of 'public', 'funders' or 'heritage'"),
    (*public("track = true"), "track = true", "no such key"),
    ('track_legs = ["bottom"]', "track_legs = []", "track_legs = []", "or name a leg"),
    ('delay = "45 min"', 'delay = "0 s"', 'delay = "0 s"', 'set delay = "45 min"'),
    ('extra = "10 min"', 'extra = "14 s"', 'extra = "14 s"', "make it at least one tick, or 0 s"),
    ('extra = "10 min"', 'extra = "25 h"', "25 h", "must be from 0 h to 24 h"),
    ('heading_step = "22.5 deg"', 'heading_step = "0.5 deg"', "0.5 deg", "must be from 1 deg to 180 deg"),
    ('quiet_ends_after = "10 min"', 'quiet_ends_after = "0 s"', '"0 s"', "must be from 1 s to 86400 s"),
    ('quiet_ends_after = "10 min"', 'surfaced_ends_after = "2 d"', '"2 d"', "is not a duration"),
    ('quiet_ends_after = "10 min"', 'begin_depth = "0 m"', '"0 m"', "must be from 1 m to 1000 m"),
    ('ship = "Harrow Tern"', 'ship = " Harrow Tern"', "ship = ", "no blank before or after it"),
    ('ship = "Harrow Tern"', f'ship = "{"T" * 81}"', "TTT", "at most 80 characters"),
    ('ship = "Harrow Tern"', 'ship = "Harrow Tern"\nwreck = ""', "wreck", "write at least 1 character"),
    ('ship = "Harrow Tern"', 'ship = "Harrow Tern"\nswath = "0 m"', "swath", "must be from 1 m to 10000 m"),
    ('private = "private"', "private = 5", "private = 5", "must be text: write it in quotes"),
    ('private = "private"', 'private = "released/private"', "released/private", "give them folders apart"),
    ('private = "private"', 'private = "x/../released"', "x/../released", "give them folders apart"),
    ('released = "released"', 'released = "private/out"', 'private = "private"', "give them folders apart"),
    ('sounder = "altitude"', 'sounder_sentence = "DPX"', "DPX", "one of 'DPT' or 'DBT'"),
    ('sounder = "altitude"', "variation_deg = 180.5", "180.5", "must be at most 180"),
    ('sounder = "altitude"', 'variation_deg = "west"', "west", "must be a number"),
    ('format = "station-json"', 'format = "mavlink"', 'above name = "station"', 'add vehicle = "..."'),
    ('format = "station-json"', f"{MAVLINK}\nsystem = 0", "system = 0", "must be at least 1"),
    ('format = "station-json"', f"{MAVLINK}\ncomponent = 256", "component", "must be at most 255"),
    ('format = "station-json"', f'{MAVLINK}\ndepth_from = "sonar"', "sonar", "one of 'relative_alt' or 'pressure'"),
    ('format = "station-json"', f"{MAVLINK}\nsystem = 1.5", "system = 1.5", "must be a whole number"),
    ('name = "position"', 'name = "Position"', "Position", "small letters, digits and hyphens"),
    ('name = "station"', 'name = "position"', None, "feed 2: name: 'position' is there twice"),
    (
        'from = "tcp-listen://127.0.0.1:4010"',
        "",
        'above name = "station"',
        'feed "station": from: is missing: add where its bytes come from',
    ),
    (*standby("bow"), "standby_for", "'bow' is not another [[feed]] of this file; one of position"),
    (*standby("station"), "standby_for", "'station' is not another [[feed]] of this file"),
    (*standby("position", 'standby_for = "station"'), 'standby_for = "station"', "'station' is itself a standby: name"),
    (*standby("position", 'standby_for = "position"'), None, "'position' has two standbys: give each feed one"),
    (*standby('position"\nvehicle = "Moth'), 'standby_for = "position"', "'position' is about 'Lantern', not 'Moth'"),
    ('format = "station-json"', 'format = "station-json"\nof = "boat"', "boat", "ship"),
    (*part('[stations]\ncontradict = "0.5 m"'), "contradict", "must be from 1 m to 10000 m"),
    ('listen = "127.0.0.1:0"', 'address = "dive.example"', "dive.example", 'write it as "https://dive.example/"'),
    ('ship = "Harrow Tern"', 'ship = "Harrow Tern"\nlanguage = "fr"', "fr", "one of 'en' or 'de'"),
    ('[[audience]]\nname = "family"', "[family]", "[family]", "no such key; known here: expedition, storage"),
    (*area('centre = [-38, 61, -21, 93]\nradius = "5 km"'), "-38, 61", "has decimal commas; write it as [latitude"),
    (*area('centre = [179.5, -33.5]\nradius = "5 km"'), "179.5", "is the longitude first?"),
    (*area('centre = [1.0, 2.0]\nradius = "5 seamiles"'), "5 seamiles", "nm, NM; nm are nautical miles)"),
    (*astray("[22.5, -33.25]"), "centre = [22.5", "are latitude and longitude the wrong way round?"),
    (
        *astray("[-33.25, -22.5]"),
        "centre = [-33.25, -2",
        "should the longitude have the other sign (west is negative)?",
    ),
    (*astray("[33.25, 22.5]"), "centre = [33.25", "should the latitude have the other sign (south is negative)?"),
    (*astray("[33.25, -22.5]"), "centre = [33.25", "should both have the other sign"),
    (*astray("[-33.25, 24.5]"), "centre = [-33.25", "where nothing is shown: correct its centre, or that of"),
    (
        *part('[text]\nforbidden = ["Isoline"]'),
        'name = "The search',
        "holds one of your forbidden words, and followers",
    ),
    (
        'ship = "Harrow Tern"',
        'ship = "Harrow Tern 12 30.5 S 045 15.2 E"',
        "ship =",
        "followers read this name. “12 30.5",
    ),
    (*public('forbidden = ["Marr"]'), "forbidden", "no such key here; it belongs under [text]"),
    ('format = "station-json"', 'format = "station-json"\nswath = "1 km"', "swath", "it belongs under [expedition]"),
    ('"tcp-listen://127.0.0.1:4010"', '"udp://0.0.0.0:10110"', '"udp://0.0.0.0:10110"', "would share one port, 10110"),
    (
        'listen = "127.0.0.1:0"',
        'listen = "0.0.0.0:4010"',
        '"tcp-listen://127.0.0.1:4010"',
        "4010 is the port of the follow",
    ),
    ("[public]", "[publik]", "[publik]", 'did you mean "public"?'),
    ("[dive]", "[[dive]]", "[[dive]]", "write [dive] with single brackets"),
]


WRONG = [
    ('name = "Lantern"\n\n[[vehicle]]', 'name = "Lantern"\n\n[[vehicles]]', "[[vehicles]]", 'did you mean "vehicle"?'),
    ('delay = "45 min"', 'delay = "45 mins"', "45 mins", 'write it as "45 min"'),
    ('delay = "45 min"', "delay = 45", "delay = 45", "45 is not a duration"),
    ('delay = "45 min"', 'delay = "-45 min"', "-45 min", "is not a duration"),
    ('delay = "45 min"', 'dealy = "45 min"', "dealy", 'did you mean "delay"?'),
    ('delay = "45 min"', 'delay = "40 days"', "40 days", "is not a duration"),
    ('delay = "45 min"', 'delay = "800 h"', "800 h", "must be from 0 h to 720 h"),
    ('extra = "10 min"', 'extra = "10"', 'extra = "10"', "is not a duration"),
    ('tick = "15 s"', 'tick = "0 s"', 'tick = "0 s"', "must be from 1 s to 600 s"),
    ('tick = "15 s"', 'tick = "1500 ms"', "1500 ms", "must be whole seconds"),
    ('"track", "depth", "heading"', '"track", "deepth"', "fields = ", "'deepth' is not known; one of 'track'"),
    ('fields = ["depth", "notes"]', "fields = []", "fields = []", "give at least 1"),
    ('fields = ["depth", "notes"]', "", 'above name = "family"', 'fields: is missing: add preset = "public"'),
    ('cell = "25 m"', 'cell = "25"', 'cell = "25"', "is not a length"),
    ('cell = "25 m"', 'cell = "0 m"', 'cell = "0 m"', "must be from 1 m to 100000 m"),
    ('depth_step = "10 m"', 'depth_step = "10 deg"', "10 deg", "is not a length"),
    ('heading_step = "22.5 deg"', 'heading_step = "22.5 m"', "22.5 m", "is not an angle"),
    ('track_legs = ["bottom"]', 'track_legs = ["seabed"]', "seabed", "'seabed' is not known"),
    ('name = "family"', 'name = "public"', None, "'public' is there twice"),
    ('name = "family"', 'name = "The Family"', "The Family", "small letters, digits and hyphens"),
    ('name = "Moth"', 'name = "Lantern"', None, "'Lantern' is there twice"),
    ('vehicle = "Lantern"', 'vehicle = "Lanterna"', "Lanterna", "is not a [[vehicle]] of this file"),
    ('vehicle = "Lantern"\n', "", 'above name = "position"', "doesn't name its vehicle"),
    ('sounder = "altitude"', 'sounder = "bottom"', 'sounder = "bottom"', "one of 'depth' or 'altitude'"),
    ('format = "nmea0183"', 'format = "nmea2000"', "nmea2000", "is not known"),
    (
        'format = "station-json"',
        'format = "station-json"\nsounder = "depth"',
        'above name = "station"',
        "sounder goes with nmea0183 alone",
    ),
    ('"udp://127.0.0.1:10110"', '"udp://127.0.0.1"', "udp://127.0.0.1", "port"),
    ('"udp://127.0.0.1:10110"', '"udq://127.0.0.1:1"', "udq", "udp"),
    ('listen = "127.0.0.1:0"', 'listen = "8080"', 'listen = "8080"', "is not HOST:PORT"),
    ('listen = "127.0.0.1:0"', 'listen = "127.0.0.1:99999"', "99999", "is not HOST:PORT"),
    ('begins = "report"', 'begins = "noon"', "noon", "one of 'report' or 'depth'"),
    ('ship = "Harrow Tern"', "", "[expedition]", "ship: is missing"),
    ('ship = "Harrow Tern"', 'ship = ""', 'ship = ""', "write at least 1 character"),
    ("open = true", 'open = "perhaps"', "perhaps", "must be true or false, without quotes"),
    ("open = true", 'invited = "true"', 'invited = "true"', "must be true or false, without quotes"),
    *PARTS,
    *WRONG_ADDRESSES,
    *WRONG_BESIDE,
]


@pytest.mark.parametrize(
    ("old", "new", "part", "message"), WRONG, ids=[f"{at}-{row[3][:24]}" for at, row in enumerate(WRONG)]
)
def test_expedition_fault_is_told_with_line_and_remedy(old: str, new: str, part: str | None, message: str) -> None:
    """Each wrong file is refused, with the line of the fault and what to do."""
    text = changed(old, new)
    with pytest.raises(ExpeditionError) as caught:
        parse_expedition(text, PATH)
    words = str(caught.value)
    assert message in words
    if part is not None:
        line = line_with(text, part.removeprefix("above ")) - part.startswith("above ")
        assert f"line {line}:" in words


def test_expedition_tells_all_faults_at_once() -> None:
    """Two faults, two lines: nobody mends one to be told of the next."""
    text = changed('cell = "25 m"', 'cell = "x"').replace('tick = "15 s"', 'tick = "y"')
    with pytest.raises(ExpeditionError) as caught:
        parse_expedition(text, PATH)
    assert len(str(caught.value).splitlines()) == 2
    with pytest.raises(ExpeditionError, match=r"^[^\n]*or 'heritage'; did you mean \"funders\"\?$"):
        parse_expedition(changed('fields = ["depth", "notes"]', 'preset = "funder"'), PATH)


@pytest.mark.parametrize(("text", "line", "remedy"), [
    ("[expedition]\nname = \n", 2, "text is written in quotes"),
    ('[expedition]\nname = "The search\nship = "Harrow Tern"\n', 2, "a quote is opened on this line and not closed"),
    ('[expedition]\nname = "The search', 2, "a quote is opened and not closed"),
    ("[expedition]\nname = 'The search", 2, "a quote is opened and not closed"),
    ('[expedition]\nname = "a"\nname = "b"\n', 3, "name is there already, on line 2: keep one of them"),
    ('[expedition]\nname = "a"\n[expedition]\n', 3, "[expedition] is there already, on line 1: keep one of them"),
    ("[[audience]]\ndelay = 45 min\n", 2, 'text is written in quotes, as in delay = "45 min"'),
    ("[[audience]]\ndelay\n", 2, "a key needs its value behind it: key = value"),
    ('[text]\nforbidden = ["Marr"\n', 2, "a bracket [ is opened and not closed"),
    ('[text]\nforbidden = ["M\x07"]\n', 2, "a character stands here that no text editor shows"),
    ('[audience]\nname = "a"\n[[audience]]\nname = "b"\n', 1, "write [[audience]] with double brackets"),
    ('[feed]\nname = "a"\n[feed]\nname = "b"\n', 1, "write [[feed]] with double brackets"),
    ("[area]\ncentre = [41 36 S, 12 18 W]\n", 2, "a position is not written like this; write it as [latitude, longit"),
    ('[area\nname = "a"\n', 1, "the name of a table needs its closing bracket"),
    ('[[feed]\nname = "a"\n', 1, "the name of a table needs both closing brackets"),
    ("[text]\nforbidden = [\u201cMarr\u201d]\n", 2, "quotes are straight"),
    ("[text]\n= 3\n", 2, "a line is a key = value, a [table], or a # remark"),
])  # fmt: skip
def test_text_that_is_not_toml_is_told_by_line_and_remedy(text: str, line: int, remedy: str) -> None:
    """The line comes first, as for every fault; the parser's own words stand behind ours."""
    with pytest.raises(ExpeditionError, match=f"line {line}: .* \\(not TOML: ") as caught:
        parse_expedition(text, PATH)
    assert remedy in str(caught.value)


def test_one_table_where_several_may_be_is_told_by_its_brackets() -> None:
    """`[audience]` for `[[audience]]` is the commonest slip of all."""
    text = changed(*part("[audience]")).replace("[[audience]]", "[other]")
    with pytest.raises(ExpeditionError, match=r"audience: there may be several: write \[\[audience\]\] with double"):
        parse_expedition(text.partition("[other]")[0], PATH)


def test_expedition_that_is_not_there(tmp_path: Path) -> None:
    """A missing file is named."""
    with pytest.raises(ExpeditionError, match="can't be read"):
        read_expedition(tmp_path / "none.toml")


def test_listen_address_takes_ipv6_in_brackets() -> None:
    """RFC 3986 writes IPv6 hosts in brackets."""
    assert listen_address("[::1]:80") == ("::1", 80)


def test_every_key_of_the_form_has_a_wrong_file() -> None:
    """No key goes without a test of what is told when it is wrong."""
    wrong = "\n".join(f"{old}\n{new}" for old, new, *_ in WRONG)
    parts = {part.__name__: part for part in _Part.__subclasses__() if part is not File}
    keys = {field.alias or name for part in parts.values() for name, field in part.model_fields.items()}
    assert set(parts.values()) == set(FORM.values())
    assert {key for key in keys if not re.search(rf"^\W*{key}\W", wrong, re.MULTILINE)} == set()


def test_faults_of_an_audience_are_all_told_each_at_its_key() -> None:
    """What can't be kept together is told at once, at the keys' lines, or the audience's where a preset has them."""
    text = changed(*public('place = "exact"\ntext = "unchecked"\ndescent_step = "20 m"'))
    with pytest.raises(ExpeditionError) as caught:
        parse_expedition(text, PATH)
    lines = [int(re.findall(r"line (\d+):", line)[0]) for line in str(caught.value).splitlines()]
    assert lines == [line_with(text, key) for key in ("place =", "text =", "descent_step =")]
    text = changed('name = "family"', 'name = "family"\nopen = true\npreset = "heritage"')
    with pytest.raises(
        ExpeditionError, match=f'line {line_with(text, "preset =") - 1}: audience "family": open: preset "heritage"'
    ):
        parse_expedition(text, PATH)


def policy_of(*lines: str) -> Policy:
    """Return the policy of an audience with these lines alone."""
    text = changed('delay = "20 min"\nfields = ["depth", "notes"]', "\n".join(lines))
    return parse_expedition(text, PATH).plan.policies[1]


ALL, BOTTOM = frozenset(Disclosed), frozenset({Leg.BOTTOM})
SPOKEN = ALL - {Disclosed.STILLS}  # what can be seen in a picture is checked by nobody
MINUTE, SECOND = 60_000_000, 1_000_000


@pytest.mark.parametrize(
    ("preset", "promised"),
    [
        ("public", Policy(
            audience="family", delay_us=45 * MINUTE, extra_us=10 * MINUTE, tick_us=15 * SECOND, fields=SPOKEN,
            cell_m=25.0, depth_step_m=50.0, descent_step_m=10.0, track_legs=BOTTOM, track_start_m=100.0,
            track_start_us=10 * MINUTE, radius_m=1_500.0)),
        ("funders", Policy(
            audience="family", delay_us=20 * MINUTE, extra_us=5 * MINUTE, tick_us=5 * SECOND, fields=SPOKEN,
            cell_m=10.0, depth_step_m=10.0, track_legs=BOTTOM, track_start_m=50.0,
            track_start_us=5 * MINUTE, radius_m=2_000.0)),
        ("heritage", Policy(
            audience="family", delay_us=0, extra_us=0, tick_us=SECOND, fields=ALL, cell_m=1.0, depth_step_m=0.1,
            heading_step_deg=1.0, tilt_step_deg=1.0, place=Place.EXACT, check_text=False)),
    ],
)  # fmt: skip
def test_preset_gives_the_policy_that_it_promises(preset: str, promised: Policy) -> None:
    """The whole policy, field by field, and nothing open that wasn't said to be."""
    assert policy_of(f'preset = "{preset}"') == promised


@pytest.mark.parametrize("preset", ["public", "funders", "heritage"])
def test_what_an_audience_says_itself_wins_over_its_preset(preset: str) -> None:
    """One key changed is one field of the policy changed, and the rest stays the preset's."""
    plain = policy_of(f'preset = "{preset}"')
    assert policy_of(f'preset = "{preset}"', 'stale_after = "7 s"') == replace(plain, stale_us=7 * SECOND)
    assert policy_of(f'preset = "{preset}"', 'fields = ["depth"]').fields == {Disclosed.DEPTH}
    assert policy_of(f'preset = "{preset}"', 'delay = "3 h"', 'place = "local"') == replace(
        plain, delay_us=180 * MINUTE, place=Place.LOCAL
    )


def test_relative_depth_goes_with_every_preset() -> None:
    """A preset's finer descent gives way: nobody could take away what only a preset says."""
    for preset in ("public", "funders", "heritage"):
        shown = policy_of(f'preset = "{preset}"', 'depth = "relative"')
        assert (shown.depth_relative, shown.descent_step_m) == (True, None)


def test_area_zones_and_words_arrive_in_the_plan() -> None:
    """A circle, a polygon, a zone, forbidden words and the names of the scene are read as they were written."""
    corners = "[[10, 179], [10, -179], [12.5, 180]]"
    polygon = parse_expedition(changed(*area(f"corners = {corners}")), PATH).plan
    assert polygon.area == Area("the invented bank", ((10.0, 179.0), (10.0, -179.0), (12.5, 180.0)))
    assert parse_expedition(changed(*area(CIRCLE)), PATH).plan.area == Area("the invented bank", ((1.0, 2.0),), 5_000.0)
    words = f'[text]\nforbidden = ["Skerry"]\n\n[[zone]]\nname = "bow"\ncentre = [1.0, 2.0]\n{BOW}\naction = "freeze"'
    text = changed(*part(words)).replace('ship = "Harrow Tern"', 'ship = "Harrow Tern"\nwreck = "Isoline Marr"')
    plan = parse_expedition(text, PATH).plan
    assert plan.zones == (
        Zone(name="bow", latitude_deg=1.0, longitude_deg=2.0, radius_m=50.0, margin_m=50.0, action=ZoneAction.FREEZE),
    )
    assert plan.forbidden_words == ("Skerry",)
    assert plan.scene_names == ("Harrow Tern", "Lantern", "Moth", "Isoline Marr")
