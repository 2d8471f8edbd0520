"""Six published captures and 100,000 damaged sentences through the NMEA 0183 decoder."""

import csv
import json
import re
from collections import Counter
from datetime import datetime
from decimal import Decimal
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from nmea_sentences import MODELS, NASTY, decoder, random_line, raw_of, said, sentence
from relay.core.model import Accepted, Event, PassedOver, Rejected
from relay.core.nmea0183 import NmeaDecoder, Sounder, SounderSentence
from relay.core.nmea_framing import Framer
from relay.core.ranges import RANGES

# Accepted and passed over by kind, DPT read as depth and no variation known. Counted with grep on the files, as in
# `grep -c '^$..GGA,[^,]*,[0-9]'`: a kind that is not used is passed over, and so is one whose fields are empty.
ACCEPTED = {
    "ais-transponder-heading": dict.fromkeys(("GGA", "GLL", "HDT", "RMC", "ROT", "VTG", "ZDA"), 12),
    "autopilot-attitude": {"ROT": 7, "XDR": 15},
    "fishfinder-river": {"DPT": 33, "GGA": 8, "GLL": 8, "RMC": 17, "VTG": 8, "ZDA": 8},
    "plotter-lake": {"DPT": 149, "GGA": 138, "GLL": 147, "HDG": 1457, "RMC": 146, "VHW": 150, "VTG": 148, "ZDA": 154},
    "satellite-compass": {"GGA": 21, "HDT": 4, "VTG": 21, "ZDA": 108},
    "sounder-position": {"GLL": 122},
}
PASSED_OVER = {
    "ais-transponder-heading": {"DTM": 12, "proprietary": 12},
    "autopilot-attitude": {"HDM": 7},
    "fishfinder-river": {"MTW": 16},
    "plotter-lake": {
        "AAM": 147,
        "APB": 147,
        "BOD": 149,
        "DBT": 148,
        "GLC": 146,
        "GSA": 144,
        "GSV": 436,
        "MTW": 149,
        "MWD": 150,
        "MWV": 300,
        "RMB": 147,
        "VLW": 150,
        "XDR": 148,
        "XTE": 149,
    },
    "satellite-compass": {"GGA": 194, "HDT": 211, "VTG": 194},
    "sounder-position": {"DBT": 122},
}
SENTENCES = {
    "ais-transponder-heading": 108,
    "autopilot-attitude": 29,
    "fishfinder-river": 98,
    "plotter-lake": 4999,
    "satellite-compass": 753,
    "sounder-position": 244,
}
captures = pytest.mark.parametrize("name", SENTENCES)


def capture(shared_data: Path, name: str) -> bytes:
    """Return the bytes of one capture."""
    return (shared_data / "nmea-captures" / f"{name}.nmea").read_bytes()


def read(data: bytes) -> list[Event]:
    """Return the events of a whole stream."""
    whole = decoder()
    return whole.receive(data) + whole.end()


@captures
def test_capture_is_counted_in_full(shared_data: Path, name: str) -> None:
    """Accepted and passed over are all the sentences of the file, kind by kind; nothing is rejected."""
    data = capture(shared_data, name)
    events = read(data)
    assert raw_of(events) == data
    assert Counter(event.kind for event in events if isinstance(event, Accepted)) == ACCEPTED[name]
    assert Counter(event.kind for event in events if isinstance(event, PassedOver)) == PASSED_OVER[name]
    assert not [event for event in events if isinstance(event, Rejected)]
    formatters = re.findall(rb"^\$(?:(P)|..(...)),?", data, re.MULTILINE)
    independent = Counter("proprietary" if first else last.decode() for first, last in formatters)
    assert Counter(ACCEPTED[name]) + Counter(PASSED_OVER[name]) == independent
    assert len(events) == SENTENCES[name] == data.count(b"\n")


@captures
def test_capture_byte_by_byte_gives_the_same_events(shared_data: Path, name: str) -> None:
    """Byte by byte a file gives what it gives whole, and after each line end nothing is pending."""
    data, slow = capture(shared_data, name), decoder()
    events: list[Event] = []
    for at in range(len(data)):
        events += slow.receive(data[at : at + 1])
        assert len(slow.pending) <= 82
        assert (slow.pending == b"") is (data[at] == 0x0A)
    assert events + slow.end() == read(data)


@captures
def test_capture_cut_at_any_byte_gives_the_same_frames(shared_data: Path, name: str) -> None:
    """Every boundary of every file is tried.

    As nothing is pending behind a line end (the test before), a cut can only change the line it falls into, and lines
    of the same bytes need one trial. What is made of a frame depends on no other frame.
    """
    framer = Framer(1024)
    for line in set(capture(shared_data, name).splitlines(keepends=True)):
        whole = framer.receive(line)
        assert len(whole) == 1
        for cut in range(len(line)):
            assert framer.receive(line[:cut]) + framer.receive(line[cut:]) == whole


@captures
def test_capture_cut_at_any_byte_gives_the_same_events(shared_data: Path, name: str) -> None:
    """The decoder itself, at every boundary of two sentences of each kind in the file."""
    seen: Counter[bytes] = Counter()
    whole = decoder()
    for line in capture(shared_data, name).splitlines(keepends=True):
        seen[line[:6]] += 1
        if seen[line[:6]] > 2:
            continue
        events = whole.receive(line)
        assert len(events) == 1
        for cut in range(len(line)):
            assert whole.receive(line[:cut]) + whole.receive(line[cut:]) == events


def clock(day: str, time: str) -> float:
    """Return Unix seconds of an ISO date and time."""
    return datetime.fromisoformat(f"{day}T{time}").timestamp()


def degrees(text: str, letter: str) -> float:
    """Return signed degrees from degrees and minutes, in decimal arithmetic."""
    whole, minutes = divmod(Decimal(text), 100)
    return float((whole + minutes / 60) * (-1 if letter in "SW" else 1))


def number(value: Any) -> float | None:
    """Return a number as pynmea2 writes it, None where it writes "None" or nothing."""
    return None if value in ("None", "", None) else float(value)


def knots(value: Any) -> float | None:
    """Return metres per second."""
    found = number(value)
    return None if found is None else found * 1852 / 3600


def place(row: dict[str, Any]) -> dict[str, float]:
    """Return the position pynmea2 decoded."""
    return {
        "latitude_deg": degrees(row["Latitude"], row["Latitude Direction"]),
        "longitude_deg": degrees(row["Longitude"], row["Longitude Direction"]),
    }


def time_of_day(row: dict[str, Any]) -> float | None:
    """Return seconds after midnight."""
    return None if row["Timestamp"] == "None" else clock("1970-01-01", row["Timestamp"])


def by_pynmea2(kind: str, row: dict[str, Any]) -> dict[str, float | None] | None:
    """Return what a sentence says according to pynmea2, None for a kind that is not used."""
    match kind:
        case "GGA":
            return {"time_of_day_s": time_of_day(row)} | (place(row) if row["GPS Quality Indicator"] else {})
        case "GLL":
            return {"time_of_day_s": time_of_day(row)} | (place(row) if row["Status"] == "A" else {})
        case "RMC":
            moving = {"speed_mps": knots(row["Speed Over Ground"]), "course_deg": row["True Course"]}
            return place(row) | moving | {"clock_s": clock(row["Datestamp"], row["Timestamp"])}
        case "VTG":
            speed = knots(row["Speed over ground knots"])
            return {"course_deg": number(row["True Track made good"]), "speed_mps": speed}
        case "VHW":
            return {
                "heading_deg": number(row["Heading true degrees"]),
                "water_speed_mps": knots(row["Water speed knots"]),
            }
        case "HDT":
            return {"heading_deg": number(row["Heading"])}
        case "HDM":
            return {"heading_deg": (float(row["Heading degrees"]) + 2.5) % 360}
        case "HDG":
            east = {"E": 1, "W": -1}
            deviation = float(row["Deviation"]) if row["Deviation"] != "None" else 0.0
            turn = deviation * east.get(row["Deviation Direction"], 0)
            turn += float(row["Variation"]) * east[row["Variation Direction"]]
            return {"heading_deg": (float(row["Heading"]) + turn) % 360}
    return by_pynmea2_instruments(kind, row)


def by_pynmea2_instruments(kind: str, row: dict[str, Any]) -> dict[str, float | None] | None:
    """Return what a sentence of sounder, gyro or clock says, None for a kind that is not used."""
    match kind:
        case "ROT":
            return {"rate_of_turn_deg_min": number(row["Rate of turn"])}
        case "DPT":
            return {
                "depth_m": float(row["Water depth, in meters"]) + float(row["Offset from the trasducer, in meters"])
            }
        case "DBT":
            return {"depth_m": number(row["Depth below surface, meters"])}
        case "XDR":
            field = {"PTCH": "pitch_deg", "ROLL": "roll_deg"}.get(row["Transducer ID"])
            return {field: number(row["Transducer data value"])} if field else {}
        case "ZDA":
            day = f"{row['Year']:04d}-{row['Month']:02d}-{row['Day']:02d}"
            return {"clock_s": clock(day, row["Timestamp"])}
    return None


def test_fields_agree_with_pynmea2(shared_data: Path) -> None:
    """94 sentences say what pynmea2 1.19.0 decodes from them, in every field that is used."""
    compared: Counter[str] = Counter()
    with (shared_data / "vectors" / "nmea-from-captures.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        kind = row["sentence"][3:6]
        sounder_sentence = SounderSentence.DBT if kind == "DBT" else SounderSentence.DPT
        (event,) = decoder(sounder_sentence=sounder_sentence, variation_deg=2.5).receive(
            row["sentence"].encode() + b"\n"
        )
        expected = by_pynmea2(kind, json.loads(row["decoded_json"] or "{}"))
        told = {field: value for field, value in (expected or {}).items() if value is not None}
        if told:
            assert isinstance(event, Accepted)
            assert said(event.observation) == pytest.approx(told, abs=1e-9)
        else:
            assert isinstance(event, PassedOver)
        compared[kind if told else "nothing said"] += 1
    assert len(rows) == 94
    assert compared == {
        "GGA": 6,
        "GLL": 8,
        "RMC": 6,
        "VTG": 6,
        "VHW": 2,
        "HDT": 2,
        "HDM": 2,
        "HDG": 2,
        "ROT": 4,
        "DPT": 4,
        "DBT": 4,
        "XDR": 2,
        "ZDA": 8,
        "nothing said": 38,
    }


def check_ranges(events: list[Event]) -> None:
    """Fail if an observation holds a value outside its range."""
    for event in events:
        if isinstance(event, Accepted):
            for field, value in said(event.observation).items():
                low, high = RANGES[field]
                assert low <= value <= high
                assert value < 360 or field not in ("heading_deg", "course_deg")


CONFIGURATIONS = [
    {"sounder": Sounder.DEPTH, "variation_deg": -2.5},
    {"sounder": Sounder.ALTITUDE, "sounder_sentence": SounderSentence.DBT, "limit": 200},
    {"sounder": None},
]


@pytest.mark.slow
def test_hundred_thousand_damaged_sentences() -> None:
    """No damage brings out an exception, loses a byte or lets an impossible value through; much is still read."""
    choose, outcomes = Random(1852), Counter[type[Event]]()
    for configuration in CONFIGURATIONS * 20:
        damaged: NmeaDecoder = decoder(**configuration)
        stream = b"".join(random_line(choose) for _ in range(100_000 // 60 + 1))
        events, position = list[Event](), 0
        while position < len(stream):
            size = choose.choice((1, 7, 64, 1500))
            events += damaged.receive(stream[position : position + size])
            position += size
            assert len(damaged.pending) <= 1024
        assert raw_of(events) + damaged.pending == stream
        events += damaged.end()
        assert raw_of(events) == stream
        check_ranges(events)
        outcomes.update(type(event) for event in events)
    assert all(outcomes[kind] > 15_000 for kind in (Accepted, PassedOver, Rejected))


@st.composite
def lines(draw: st.DrawFn) -> bytes:
    """Return a sentence of a known kind with some fields replaced and a checksum that is mostly right."""
    fields = draw(st.sampled_from(MODELS)).split(",")
    value = st.one_of(
        st.sampled_from(NASTY),
        st.from_regex(r"[+-]?[0-9]{1,6}(\.[0-9]{0,8})?", fullmatch=True),
        st.text(st.characters(min_codepoint=0, max_codepoint=255), max_size=8),
    )
    for place_, replaced in draw(st.dictionaries(st.integers(1, len(fields) - 1), value, max_size=3)).items():
        fields[place_] = replaced
    return sentence(
        ",".join(fields), wrong_by=draw(st.sampled_from((0, 0, 0, 1))), end=draw(st.sampled_from(("\n", "")))
    )


@settings(deadline=None)  # the machine is shared
@given(
    parts=st.lists(st.one_of(lines(), st.binary(max_size=6)), max_size=6),
    cuts=st.lists(st.integers(0, 400), max_size=5),
    configuration=st.sampled_from(CONFIGURATIONS),
)
def test_wire_shaped_bytes_never_surprise(parts: list[bytes], cuts: list[int], configuration: dict[str, Any]) -> None:
    """Chunks never change the events, all bytes are accounted for, and every value is in its range."""
    stream = b"".join(parts)
    edges = [0, *sorted(min(cut, len(stream)) for cut in cuts), len(stream)]
    whole, chunked = decoder(**configuration), decoder(**configuration)
    events = whole.receive(stream)
    assert raw_of(events) + whole.pending == stream
    events += whole.end()
    pieces = [event for start, stop in pairwise(edges) for event in chunked.receive(stream[start:stop])]
    assert pieces + chunked.end() == events
    assert raw_of(events) == stream
    check_ranges(events)
