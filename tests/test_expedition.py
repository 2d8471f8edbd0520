"""The expedition file: what is right is read whole, and every fault is told with its line and what to do."""

from pathlib import Path

import pytest

from expeditions import RIGHT, changed, line_with
from relay.core.errors import ExpeditionError
from relay.core.policy import Disclosed, Leg
from relay.shell.expedition import parse_expedition, read_expedition
from relay.shell.expedition_form import listen_address
from relay.shell.plain_words import describe_audience, describe_feed

PATH = Path("/somewhere/EXPEDITION.toml")


def test_expedition_is_read_whole() -> None:
    """Every part arrives in the unit of its name; defaults are the public ones of the design."""
    expedition = parse_expedition(RIGHT, PATH)
    public, family = expedition.plan.policies
    assert (public.delay_us, public.extra_us, public.tick_us) == (2_700_000_000, 600_000_000, 15_000_000)
    assert (public.cell_m, public.depth_step_m, public.heading_step_deg) == (25.0, 10.0, 22.5)
    assert public.fields == {Disclosed.TRACK, Disclosed.DEPTH, Disclosed.HEADING, Disclosed.MODE, Disclosed.NOTES}
    assert family.fields == {Disclosed.DEPTH, Disclosed.NOTES}
    assert (family.delay_us, family.extra_us) == (1_200_000_000, 600_000_000)
    assert family.track_legs == {Leg.BOTTOM}
    assert expedition.open_audiences == {"public"}
    assert expedition.plan.vehicles == ("Lantern", "Moth")
    assert [source.name for source in expedition.plan.sources] == ["position", "station"]
    assert expedition.private == PATH.resolve().parent / "private"
    assert expedition.plan.dive.begin_depth_m is None


WRONG = [
    ('name = "Lantern"\n\n[[vehicle]]', 'name = "Lantern"\n\n[[vehicles]]', "[[vehicles]]", 'did you mean "vehicle"?'),
    ('delay = "45 min"', 'delay = "45 mins"', "45 mins", 'write it as "45 min"'),
    ('delay = "45 min"', "delay = 45", "delay = 45", "45 is not a duration"),
    ('delay = "45 min"', 'delay = "-45 min"', "-45 min", "is not a duration"),
    ('delay = "45 min"', 'dealy = "45 min"', "dealy", 'did you mean "delay"?'),
    ('delay = "45 min"', 'delay = "40 days"', "40 days", "is not a duration"),
    ('delay = "45 min"', 'delay = "800 h"', "800 h", "must be from 0 days to 30 days"),
    ('extra = "10 min"', 'extra = "10"', 'extra = "10"', "is not a duration"),
    ('tick = "15 s"', 'tick = "0 s"', 'tick = "0 s"', "must be from 1 s to 600 s"),
    ('tick = "15 s"', 'tick = "1500 ms"', "1500 ms", "must be whole seconds"),
    ('"track", "depth", "heading"', '"track", "deepth"', "fields = ", "'deepth' is not known; one of 'track'"),
    ('fields = ["depth", "notes"]', "fields = []", "fields = []", "at least 1 item"),
    ('fields = ["depth", "notes"]', "", 'above name = "family"', "fields: is missing: add it"),
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
    ('ship = "Harrow Tern"', 'ship = ""', 'ship = ""', "at least 1 character"),
    ("open = true", 'open = "perhaps"', "perhaps", "valid boolean"),
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


def test_expedition_that_is_not_toml_or_not_there(tmp_path: Path) -> None:
    """A syntax error has line and column from the parser; a missing file is named."""
    with pytest.raises(ExpeditionError, match=r"not TOML: .*line 2"):
        parse_expedition("[expedition]\nname = \n", PATH)
    with pytest.raises(ExpeditionError, match="can't be read"):
        read_expedition(tmp_path / "none.toml")


def test_listen_address_takes_ipv6_in_brackets() -> None:
    """RFC 3986 writes IPv6 hosts in brackets."""
    assert listen_address("[::1]:80") == ("::1", 80)


def test_check_says_in_plain_words_who_sees_what_and_how_late() -> None:
    """The paragraph names door, delay, coarseness and what is never shown."""
    expedition = parse_expedition(RIGHT, PATH)
    public = describe_audience(expedition.plan.policies[0], True, expedition.plan)
    for part in ("anyone who has the address", "45 min after it happened", "up to 10 min", "every 15 s",
                 "nearest 25 m, at the bottom", "Depth: to the nearest 10 m", "steps of 22.5°",
                 "Annotations", "latitude, longitude"):  # fmt: skip
        assert part in public
    family = describe_audience(expedition.plan.policies[1], False, expedition.plan)
    assert "nobody on the public page" in family
    assert "Track:" not in family
    assert "Never shown: the track, height above the seabed, heading" in family
    feed = describe_feed(expedition.plan.sources[0], "udp://127.0.0.1:10110")
    assert feed.endswith("its sounder (DPT) gives the vehicle's altitude.")
