"""What each sentence says, against captures, another library's reading of them, and hostile input."""

import json
from pathlib import Path
from typing import Any

import pytest

from nmea_sentences import decoder, raw_of, said, sentence
from relay.core.model import Accepted, Event, PassedOver, Rejected
from relay.core.nmea0183 import NmeaDecoder, Sounder, SounderSentence

VECTORS = json.loads((Path(__file__).parent / "vectors" / "nmea0183.json").read_text(encoding="utf-8"))["vectors"]
POSITION = "5012.7908,N,00806.8796,W"


def only(content: str, **configuration: Any) -> Event:
    """Return the one event of one sentence."""
    (event,) = decoder(**configuration).receive(sentence(content))
    return event


def values(content: str, **configuration: Any) -> dict[str, Any]:
    """Return what one accepted sentence says."""
    event = only(content, **configuration)
    assert isinstance(event, Accepted)
    return said(event.observation)


def outcome(event: Event) -> dict[str, Any]:
    """Return an event as the vectors write it."""
    length = {"bytes": len(event.raw)}
    if isinstance(event, Accepted):
        return length | {"accepted": event.kind, "observation": said(event.observation)}
    if isinstance(event, PassedOver):
        return length | {"passed over": event.kind, "why": event.why}
    return length | {"rejected": event.reason}


def vector_decoder(configuration: dict[str, Any]) -> NmeaDecoder:
    """Return the decoder a vector asks for."""
    sounder = configuration["sounder"]
    return NmeaDecoder(
        sounder=None if sounder is None else Sounder(sounder),
        sounder_sentence=SounderSentence(configuration["sounder_sentence"]),
        variation_deg=configuration["variation_deg"],
        limit=configuration["limit"],
    )


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["name"])
def test_vector_whole(vector: dict[str, Any]) -> None:
    """A vector in one piece gives its events."""
    data, whole = bytes.fromhex(vector["hex"]), vector_decoder(vector["configuration"])
    events = whole.receive(data) + whole.end()
    assert [outcome(event) for event in events] == vector["events"]
    assert raw_of(events) == data


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["name"])
def test_vector_byte_by_byte(vector: dict[str, Any]) -> None:
    """A vector byte by byte gives the same events, every byte accounted for at every moment, pending bounded."""
    data, slow = bytes.fromhex(vector["hex"]), vector_decoder(vector["configuration"])
    events: list[Event] = []
    for at in range(len(data)):
        events += slow.receive(data[at : at + 1])
        assert raw_of(events) + slow.pending == data[: at + 1]
        assert len(slow.pending) <= vector["configuration"]["limit"]
    events += slow.end()
    assert [outcome(event) for event in events] == vector["events"]


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["name"])
def test_vector_with_trailing_bytes(vector: dict[str, Any]) -> None:
    """The start of another sentence behind a vector stays pending; one that ends with its datagram is ended first."""
    data, followed = bytes.fromhex(vector["hex"]), vector_decoder(vector["configuration"])
    trailing = b"$GP"
    if vector["ends_with_datagram"]:
        events = followed.receive(data) + followed.end() + followed.receive(trailing)
    else:
        events = followed.receive(data + trailing)
    assert [outcome(event) for event in events] == vector["events"]
    assert followed.pending == trailing


@pytest.mark.parametrize("talker", ["GP", "GN", "II", "IN", "EC", "U0", "ZZ"])
def test_talker_does_not_matter(talker: str) -> None:
    """Any talker may say a heading."""
    assert values(talker + "HDT,274.07,T") == {"heading_deg": 274.07}


def test_positions_have_signs_and_decimals() -> None:
    """South and west are negative; minutes become decimals of a degree; they may have no decimals."""
    assert values("GPGLL,3330.0,S,07045.0,W,,A") == {"latitude_deg": -33.5, "longitude_deg": -70.75}
    assert values("GPGLL,3330,S,07045,E,,A") == {"latitude_deg": -33.5, "longitude_deg": 70.75}
    assert values("GPGLL,9000.0,N,18000.0,W,,A") == {"latitude_deg": 90.0, "longitude_deg": -180.0}


@pytest.mark.parametrize(
    "content",
    [
        f"GPGGA,130711,{POSITION},0,,,,,,,,",
        f"GPGGA,130711,{POSITION},,,,,,,,,",
        "GPGGA,130711,,,,,1,,,,,,,,",
        "GPGGA,130711,,N,,W,1,,,,,,,,",
        f"GPGLL,{POSITION},130711,V",
        f"GPGLL,{POSITION},130711,V,N",
        f"GPGLL,{POSITION},130711,A,N",
        f"GPGLL,{POSITION},130711,,",
        f"GPRMC,130711,V,{POSITION},5.2,77.3,,,,N",
        f"GPRMC,130711,A,{POSITION},5.2,77.3,,,,N",
        "GPRMC,130711,A,,,,,,,,,,A",
    ],
)
def test_no_fix_gives_no_position_but_the_time(content: str) -> None:
    """Quality 0, status V, mode N or an empty position leave the time alone to be used."""
    assert values(content) == {"time_of_day_s": 13 * 3600 + 7 * 60 + 11}


@pytest.mark.parametrize(
    "content",
    [
        "GPGGA,,,,,,0,,,,M,,M,,",
        "GPGLL,,,,,,V,N",
        "GPRMC,,V,,,,,,,,,,N",
        "GPVTG,,T,,M,,N,,K,N",
        f"GPGLL,{POSITION},,V",
        "GPVTG,220.86,T,,M,2.550,N,4.724,K,N",
    ],
)
def test_no_fix_and_nothing_else_is_passed_over(content: str) -> None:
    """A receiver without a fix is heard, not rejected."""
    event = only(content)
    assert isinstance(event, PassedOver)
    assert (event.kind, event.why) == (content[2:5], "no fix")


def test_date_and_time_make_the_clock() -> None:
    """RMC and ZDA give Unix seconds (checked with `date -u -d`), or the time of day where the date is empty."""
    assert values(f"GPRMC,235959.5,A,{POSITION},,,280224,,,A")["clock_s"] == 1709164799.5
    assert values("GPZDA,160012.71,11,03,2004,-1,00") == {"clock_s": 1079020812.71}
    assert values("GPZDA,235960,31,12,2016,00,00") == {"clock_s": 1483228800.0}
    assert values("GPZDA,160012,,,,,") == {"time_of_day_s": 57612.0}


@pytest.mark.parametrize(
    ("content", "variation_deg", "heading_deg"),
    [
        ("HCHDG,100.0,2.0,E,3.0,E", None, 105.0),
        ("HCHDG,100.0,2.0,W,3.0,E", None, 101.0),
        ("HCHDG,100.0,,,3.0,W", 50.0, 97.0),
        ("HCHDG,100.0,2.0,E,,", 10.0, 112.0),
        ("HCHDG,1.0,2.0,W,3.0,W", None, 356.0),
        ("HCHDG,359.0,,,2.0,E", None, 1.0),
        ("HCHDG,360.0,,,0.0,E", None, 0.0),
        ("HCHDG,0.0,,,0.00000000000000001,W", None, 0.0),
        ("HCHDM,350.0,M", 15.0, 5.0),
        ("HCHDM,10.0,M", -15.0, 355.0),
        ("HCHDT,360.0,T", None, 0.0),
        ("HCHDT,360,T", 15.0, 0.0),
        ("VWVHW,,T,350.0,M,,N,,K", 15.0, 5.0),
        ("VWVHW,12.0,T,350.0,M,,N,,K", 15.0, 12.0),
    ],
)
def test_heading_is_made_true(content: str, variation_deg: float | None, heading_deg: float) -> None:
    """True is sensor plus deviation plus variation, east positive; the sentence's own variation goes first."""
    assert values(content, variation_deg=variation_deg) == {"heading_deg": heading_deg}


@pytest.mark.parametrize("content", ["HCHDG,100.0,2.0,E,,", "HCHDM,350.0,M", "VWVHW,,T,350.0,M,,N,,K"])
def test_magnetic_heading_without_variation_is_passed_over(content: str) -> None:
    """No variation is guessed."""
    assert only(content) == PassedOver(sentence(content), content[2:5], "magnetic heading without variation")


def test_speeds_are_metres_per_second() -> None:
    """A knot is 1,852 m an hour; water speed may be astern, and stands without a heading."""
    assert values("GPVTG,360.0,T,,M,36.0,N,,K") == {"course_deg": 0.0, "speed_mps": pytest.approx(18.52)}
    assert values("VWVHW,,T,350.0,M,-3.6,N,,K") == {"water_speed_mps": pytest.approx(-1.852)}


@pytest.mark.parametrize(
    ("content", "sounder", "observed"),
    [
        ("SDDPT,5.3,0.4,", Sounder.DEPTH, {"depth_m": 5.7}),
        ("SDDPT,5.3,-0.4,", Sounder.DEPTH, {"depth_m": 5.3}),
        ("SDDPT,5.3,", Sounder.DEPTH, {"depth_m": 5.3}),
        ("SDDPT,5.3,0.4,", Sounder.ALTITUDE, {"altitude_m": 5.3}),
        ("SDDPT,5.3,-0.4,", Sounder.ALTITUDE, {"altitude_m": 5.3}),
        ("SDDBT,17.7,f,5.4,M,2.9,F", Sounder.DEPTH, {"depth_m": 5.4}),
        ("SDDBT,17.7,f,5.4,M,2.9,F", Sounder.ALTITUDE, {"altitude_m": 5.4}),
    ],
)
def test_sounder_says_what_it_is_assigned_to(content: str, sounder: Sounder, observed: dict[str, float]) -> None:
    """Depth takes an offset to the waterline into account, altitude none; DBT has none."""
    read = SounderSentence(content[2:5])
    assert values(content, sounder=sounder, sounder_sentence=read) == observed
    other = SounderSentence.DBT if read is SounderSentence.DPT else SounderSentence.DPT
    assert only(content, sounder=sounder, sounder_sentence=other) == PassedOver(
        sentence(content), read, "not the sounder sentence"
    )
    assert only(content, sounder=None, sounder_sentence=read) == PassedOver(
        sentence(content), read, "sounder not assigned"
    )


@pytest.mark.parametrize(
    ("quadruples", "observed"),
    [
        ("A,1.5,D,PTCH", {"pitch_deg": 1.5}),
        ("A,1.5,D,Pitch,A,-2.5,D,ROLL", {"pitch_deg": 1.5, "roll_deg": -2.5}),
        ("C,,C,AIRTEMP,A,-2.5,D,roll,P,1.01,B,BARO", {"roll_deg": -2.5}),
        ("A,,D,PTCH,A,-2.5,D,ROLL", {"roll_deg": -2.5}),
        ("A,1.5,D,PTCH,A,2.5,D,PITCH", {"pitch_deg": 1.5}),
        ("A,1.5,D,PTCH,", {"pitch_deg": 1.5}),
    ],
)
def test_transducers_named_pitch_and_roll_are_read(quadruples: str, observed: dict[str, float]) -> None:
    """Angular transducers in degrees are found by name among the others; empty ones are skipped."""
    assert values("YXXDR," + quadruples) == observed


@pytest.mark.parametrize("quadruples", ["A,,D,PTCH", "A,1.5,R,PTCH", "N,1.5,D,ROLL", "A,1.5,D,RUDDER", ",,,"])
def test_other_transducers_are_passed_over(quadruples: str) -> None:
    """Another unit, type or name is not pitch or roll."""
    assert only("YXXDR," + quadruples) == PassedOver(sentence("YXXDR," + quadruples), "XDR", "no pitch or roll")


@pytest.mark.parametrize(
    ("line", "kind", "why"),
    [
        (sentence("PFEC,AIcmd,0,35,A"), "proprietary", "proprietary sentence"),
        (sentence("P"), "proprietary", "proprietary sentence"),
        (sentence("SDMTW,17.9,C"), "MTW", "sentence not used"),
        (sentence("GPHWBIAS,11.2"), "other", "address is not talker and formatter"),
        (sentence("gpgga,1"), "other", "address is not talker and formatter"),
        (sentence(""), "other", "address is not talker and formatter"),
        (sentence("AIVDM,1,1,,B,15N4cJ`005Jrek0H@9n`DW5608EP,0", "!"), "VDM", "encapsulated sentence"),
        (sentence("GPHDT,274.07,T", "!"), "HDT", "encapsulated sentence"),
        (sentence("HEROT,1.0,V"), "ROT", "rate of turn not valid"),
        (sentence("HEHDT,,T"), "HDT", "empty fields"),
        (sentence("SDDPT,,0.4,"), "DPT", "empty fields"),
        (sentence("GPZDA,,,,,,"), "ZDA", "empty fields"),
    ],
)
def test_unused_sentences_are_counted_by_kind(line: bytes, kind: str, why: str) -> None:
    """A good sentence that tells nothing here is passed over with a kind and a why."""
    assert decoder().receive(line) == [PassedOver(line, kind, why)]


WORDS = ("nan", "NaN", "inf", "-inf", "1e1", "1_0", " 1", "0x1", "--1", "1.1.1", ".", "+")


@pytest.mark.parametrize("word", WORDS)
@pytest.mark.parametrize(
    "content",
    [
        f"GPRMC,130711,A,{POSITION},@,77.3,160906,,,A",
        f"GPRMC,130711,A,{POSITION},5.2,@,160906,,,A",
        f"GPRMC,130711,A,{POSITION},5.2,77.3,@,,,A",
        "GPRMC,130711,A,@,N,00806.8796,W,,,160906,,,A",
        "GPGGA,130711,5012.7908,N,@,W,1,,,,,,,,",
        "GPGGA,@,,,,,1,,,,,,,,",
        "GPGGA,130711,,,,,@,,,,,,,,",
        "GPGLL,@,N,00806.8796,W,130711,A",
        "GPVTG,@,T,,M,2.5,N,,K,A",
        "GPVTG,1.0,T,,M,@,N,,K,A",
        "VWVHW,@,T,,M,1.0,N,,K",
        "VWVHW,1.0,T,,M,@,N,,K",
        "VWVHW,,T,@,M,,N,,K",
        "HEHDT,@,T",
        "HCHDG,@,,,1.0,E",
        "HCHDG,1.0,@,E,1.0,E",
        "HCHDG,1.0,,,@,E",
        "HCHDM,@,M",
        "HEROT,@,A",
        "SDDPT,@,0.0,",
        "SDDPT,1.0,@,",
        "YXXDR,A,@,D,PTCH",
        "YXXDR,A,1.0,D,PTCH,A,@,D,ROLL",
        "GPZDA,@,11,03,2004,00,00",
        "GPZDA,160012,@,03,2004,00,00",
        "GPZDA,160012,11,@,2004,00,00",
        "GPZDA,160012,11,03,@,00,00",
    ],
)
def test_what_is_no_number_is_rejected(content: str, word: str) -> None:
    """Words, exponents and blanks that a float would take are no numbers of a sentence."""
    assert isinstance(only(content.replace("@", word), variation_deg=1.0), Rejected)


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        ("GPGLL,9200.0,N,00806.8796,W,,A", "latitude_deg out of range"),
        ("GPGLL,9000.01,N,00806.8796,W,,A", "latitude_deg out of range"),
        ("GPGLL,5012.7908,N,18100.0,W,,A", "longitude_deg out of range"),
        ("GPGLL,5012.7908,N,18000.01,E,,A", "longitude_deg out of range"),
        ("GPGLL,5060.0,N,00806.8796,W,,A", "latitude has 60 minutes or more"),
        ("GPGLL,5012.7908,N,00899.9,W,,A", "longitude has 60 minutes or more"),
        ("GPGLL,5012.7908,Q,00806.8796,W,,A", "latitude is neither N nor S"),
        ("GPGLL,5012.7908,E,00806.8796,W,,A", "latitude is neither N nor S"),
        ("GPGLL,5012.7908,,00806.8796,W,,A", "latitude is neither N nor S"),
        ("GPGLL,5012.7908,N,00806.8796,Q,,A", "longitude is neither E nor W"),
        ("GPGLL,5012.7908,N,00806.8796,EW,,A", "longitude is neither E nor W"),
        ("GPGLL,5012.7908,N,,,,A", "longitude is malformed"),
        ("GPGLL,,,00806.8796,W,,A", "latitude is malformed"),
        ("GPGLL,-012.7908,N,00806.8796,W,,A", "latitude is malformed"),
        ("GPGLL,512.7908,N,00806.8796,W,,A", "latitude is malformed"),
        ("GPGLL,5012.7908,N,806.8796,W,,A", "longitude is malformed"),
        ("GPGLL,5012.7908,N,00806.8796,W,240000,A", "GLL time out of range"),
        ("GPGLL,5012.7908,N,00806.8796,W,126000,A", "GLL time out of range"),
        ("GPGLL,5012.7908,N,00806.8796,W,125960,A", "GLL time out of range"),
        ("GPGLL,5012.7908,N,00806.8796,W,235961,A", "GLL time out of range"),
        ("GPGLL,5012.7908,N,00806.8796,W,1307,A", "GLL time is malformed"),
        ("GPGLL,5012.7908,N,00806.8796,W,130711,X", "GLL status is neither A nor V"),
        ("GPGGA,130711,5012.7908,N,00806.8796,W,9,,,,,,,,", "GGA quality out of range"),
        (f"GPRMC,130711,A,{POSITION},-0.1,,160906,,,A", "speed_mps out of range"),
        (f"GPRMC,130711,A,{POSITION},98,,160906,,,A", "speed_mps out of range"),
        (f"GPRMC,130711,A,{POSITION},,360.1,160906,,,A", "course_deg out of range"),
        (f"GPRMC,130711,A,{POSITION},,-1,160906,,,A", "course_deg out of range"),
        (f"GPRMC,130711,A,{POSITION},,,290223,,,A", "RMC date is malformed"),
        (f"GPRMC,130711,A,{POSITION},,,311369,,,A", "RMC date is malformed"),
        (f"GPRMC,130711,A,{POSITION},,,11117,,,A", "RMC date is malformed"),
        (f"GPRMC,130711,A,{POSITION},,,010169,,,A", "clock_s out of range"),
        ("GPZDA,160012,30,02,2024,00,00", "ZDA date is malformed"),
        ("GPZDA,160012,11,,2004,00,00", "ZDA date is malformed"),
        ("GPZDA,160012,31,12,1969,00,00", "clock_s out of range"),
        ("GPZDA,160012,01,01,2101,00,00", "clock_s out of range"),
        ("HEHDT,360.01,T", "heading_deg out of range"),
        ("HEHDT,-0.01,T", "heading_deg out of range"),
        ("HEHDT," + "9" * 400 + ",T", "heading_deg is not a finite number"),
        ("HEHDT,10.0,M", "HDT headingT is not in T"),
        ("HCHDM,10.0,T", "HDM headingM is not in M"),
        ("HCHDM,361,M", "heading_deg out of range"),
        ("HCHDG,361,,,1.0,E", "heading_deg out of range"),
        ("HCHDG,10.0,-1.0,E,1.0,E", "HDG deviation out of range"),
        ("HCHDG,10.0,,,181.0,E", "HDG variation out of range"),
        ("HCHDG,10.0,1.0,,1.0,E", "HDG deviation is neither E nor W"),
        ("HCHDG,10.0,,,1.0,N", "HDG variation is neither E nor W"),
        ("GPVTG,10.0,M,,,2.5,N,,K", "VTG cogt is not in T"),
        ("GPVTG,10.0,T,,,2.5,K,,K", "VTG sogn is not in N"),
        ("HEROT,10800.1,A", "rate_of_turn_deg_min out of range"),
        ("HEROT,1.0,X", "ROT status is neither A nor V"),
        ("SDDPT,12000.1,0.0,", "depth_m out of range"),
        ("SDDPT,11999.0,1.5,", "depth_m out of range"),
        ("SDDPT,-10.1,0.0,", "depth_m out of range"),
        ("YXXDR,A,90.1,D,PTCH", "pitch_deg out of range"),
        ("YXXDR,A,-180.1,D,ROLL", "roll_deg out of range"),
        ("YXXDR,A,1.0,D,PTCH,A,2.0", "truncated sentence"),
        ("GPGGA,130711,5012.7908,N,00806.8796,W", "truncated sentence"),
        ("GPGLL,5012.7908,N,00806.8796,W", "truncated sentence"),
        ("GPVTG,360.0,348.7,000.0,000.0", "truncated sentence"),
        ("GPGGA", "truncated sentence"),
        ("GPGGA,130711,5012.7908,N,00806.8796,W,1,x,,,,,,,", "malformed field"),
    ],
)
def test_what_cannot_be_is_rejected(content: str, reason: str) -> None:
    """An impossible field rejects its sentence, with a reason that names no value."""
    assert only(content) == Rejected(sentence(content), reason)


def test_altitude_below_the_bottom_is_rejected() -> None:
    """An altitude is never negative."""
    assert only("SDDPT,-0.1,0.0,", sounder=Sounder.ALTITUDE) == Rejected(
        sentence("SDDPT,-0.1,0.0,"), "altitude_m out of range"
    )


def test_values_at_the_edge_of_their_range_are_taken() -> None:
    """The limits of the ranges themselves are possible."""
    assert values("SDDPT,12000,0.0,") == {"depth_m": 12000.0}
    assert values("SDDPT,-10.0,0.0,") == {"depth_m": -10.0}
    assert values("YXXDR,A,-90,D,PTCH,A,180.0,D,ROLL") == {"pitch_deg": -90.0, "roll_deg": 180.0}
    assert values("HEROT,-10800,A") == {"rate_of_turn_deg_min": -10800.0}


def test_minus_zero_is_zero() -> None:
    """The sign of a zero tells nothing and is not passed on."""
    assert str(values("GPGLL,0000.0,S,00000.0,W,,A")) == "{'latitude_deg': 0.0, 'longitude_deg': 0.0}"
    assert str(values("HEHDT,-0.0,T")) == "{'heading_deg': 0.0}"


@pytest.mark.parametrize("variation_deg", [180.1, -180.1, float("nan"), float("inf")])
def test_decoder_refuses_an_impossible_variation(variation_deg: float) -> None:
    """A variation beyond half a turn is a fault of the configuration."""
    with pytest.raises(ValueError, match="variation_deg"):
        decoder(variation_deg=variation_deg)
