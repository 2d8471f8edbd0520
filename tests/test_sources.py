"""The decoder of each feed, by its format."""

import random
import re
from itertools import product

import pytest

from decoder_checks import read_vectors
from relay.core.errors import ExpeditionError
from relay.core.model import Accepted
from relay.core.policy import SourcePlan
from relay.core.sources import FORMATS, decoder_for

LIMITS = (1_023, 1_024, 1_025, 65_535, 65_536, 65_537)
_ENDS = re.compile(rb"[\n\x8a\x33]")
FIRST = {
    "nmea0183": b"$SDDPT,5.3,0.4,*79\r\n",
    "station-json": b'{"vehicle": "Lantern", "depth_m": 5.3}\n',
    "station-msgpack": b"\x82\xa7vehicle\xa7Lantern\xa7depth_m\xcb\x40\x15\x33\x33\x33\x33\x33\x33",
    "mavlink": bytes.fromhex("fd020000c301017d00008813958a"),
}


@pytest.mark.parametrize("name", FORMATS)
def test_each_format_reads_its_own_and_makes_nothing_of_the_others(name: str) -> None:
    """A frame of the format is no rejected one, and a frame of any other format is never accepted."""
    for other, frame in FIRST.items():
        decoder = decoder_for(
            SourcePlan(name="x", format=name, vehicle="Lantern", sounder="altitude" if "n" in name else None)
        )
        events = decoder.receive(frame) + decoder.end()
        if other == name:
            assert [type(event).__name__ for event in events] in (["Accepted"], ["PassedOver"])
        else:
            assert not any(isinstance(event, Accepted) for event in events)


def test_sounder_means_what_the_plan_says_and_nothing_by_itself() -> None:
    """The same sentence is an altitude, a depth, or passed over."""
    told = []
    for sounder in ("altitude", "depth", None):
        decoder = decoder_for(SourcePlan(name="x", format="nmea0183", vehicle="Lantern", sounder=sounder))
        (event,) = decoder.receive(FIRST["nmea0183"])
        seen = event.observation if isinstance(event, Accepted) else None
        told.append((seen.altitude_m, seen.depth_m) if seen else None)
    assert told == [(5.3, None), (None, pytest.approx(5.7)), None]


def pieces(name: str) -> list[bytes]:
    """Return byte strings of every vector of every format, and junk longer than any limit."""
    files = ("nmea0183.json", "mavlink.json", "station_message.json")
    vectors = [param.values[0] for file in files for param in read_vectors(file)]
    junk = [b"x" * 1_023, b"x" * 1_024, b"x" * 65_536, b"\n", b"\r\n", b"\xfd", b"\xdf"]
    return [bytes.fromhex(vector["hex"]) for vector in vectors] + junk + [FIRST[name]] * 60


@pytest.mark.parametrize("name", FORMATS)
def test_decoder_at_rest_needs_no_past(name: str) -> None:
    """Whenever a decoder is at rest, a fresh one reads what follows into the same events: there a restart may begin."""
    chance, stock = random.Random(name), pieces(name)
    plan, rests = SourcePlan(name="x", format=name, vehicle="Lantern"), 0
    streams = [b"".join(chance.choice(stock) for _ in range(12)) + FIRST[name] * 2 for _ in range(80)]
    cases = [(stream, [match.end() for match in _ENDS.finditer(stream)] + [len(stream) // 3]) for stream in streams]
    for byte, length, tail in product((b"x", b"\xc1"), LIMITS, (b"", b"yz\r\n")):
        start = FIRST[name] + byte * length
        cases.append((start + tail + FIRST[name], [len(start)]))
    for stream, ends in cases:
        at = chance.choice(ends)
        decoder = decoder_for(plan)
        decoder.receive(stream[:at])
        if decoder.at_rest:
            rests += 1
            assert decoder.receive(stream[at:]) == decoder_for(plan).receive(stream[at:])
    assert rests > 15


def test_unknown_format_is_refused_with_those_there_are() -> None:
    """The message names the feed and the formats."""
    with pytest.raises(ExpeditionError, match="feed x: unknown format 'nmea2000'; one of nmea0183, mavlink"):
        decoder_for(SourcePlan(name="x", format="nmea2000"))
