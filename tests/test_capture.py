"""Captures: the real recordings keep every byte and get times that never go back."""

import gzip
import json
import struct
from calendar import timegm
from importlib import import_module
from itertools import pairwise
from pathlib import Path
from typing import Any

import pynmeagps
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import tracks_to_station_lines
from relay.core.errors import CaptureError
from relay.core.mavlink import MavlinkDecoder
from relay.core.model import Accepted
from relay.core.nmea0183 import NmeaDecoder, SounderSentence
from relay.shell.feeds.capture import CapturedChunk, format_of, read_capture, sentence_time

MIDNIGHT_S = 1_700_006_400.0  # 2023-11-15T00:00:00Z


def sentence(body: str) -> bytes:
    """Frame a sentence; pynmeagps computes the checksum."""
    return f"${body}*{pynmeagps.calc_checksum(body)}\r\n".encode()


def chunks_of(tmp_path: Path, name: str, data: bytes, rate: float | None = None) -> list[CapturedChunk]:
    """Write a capture, read it, and check the two rules that hold for every capture."""
    path = tmp_path / name
    path.write_bytes(gzip.compress(data, mtime=0) if name.endswith(".gz") else data)
    chunks = list(read_capture(path, rate=rate))
    assert all(before.t_s <= after.t_s for before, after in pairwise(chunks))
    if ".tlog" not in name:
        assert b"".join(chunk.data for chunk in chunks) == data
    return chunks


def times_of(tmp_path: Path, *lines: bytes) -> list[float]:
    """Return the times given to the lines of an NMEA 0183 capture."""
    return [chunk.t_s for chunk in chunks_of(tmp_path, "capture.nmea", b"".join(lines))]


PLAIN = sentence("SDDPT,2.2,0.0")


def gga(time: str) -> bytes:
    """Return a sentence with a time of day and no fix."""
    return sentence(f"GPGGA,{time},,,,,0,,,,M,,M,,")


def rmc(time: str, date: str) -> bytes:
    """Return a sentence with a date."""
    return sentence(f"GPRMC,{time},V,,,,,,,{date},,,N")


@pytest.mark.parametrize(
    ("name", "lines", "first_s", "duration_s"),
    [
        ("plotter-lake", 4_999, 1_534_758_456.0, 148.0),
        ("fishfinder-river", 98, 1_158_435_661.0, 23.0),
        ("sounder-position", 244, 60_206.0, 242.0),
        ("satellite-compass", 753, 1_536_349_153.0, 107.0),
        ("ais-transponder-heading", 108, 1_306_933_631.0, 11.0),
    ],
)
def test_published_captures_are_timed_by_their_sentences(
    shared_data: Path, name: str, lines: int, first_s: float, duration_s: float
) -> None:
    """Each line comes as it is, at a time between the first and the last that the sentences tell (read by eye)."""
    path = shared_data / "nmea-captures" / f"{name}.nmea"
    chunks = list(read_capture(path, rate=None))
    assert b"".join(chunk.data for chunk in chunks) == path.read_bytes()
    assert len(chunks) == lines
    assert all(chunk.data.count(b"\n") == 1 for chunk in chunks)
    assert all(before.t_s <= after.t_s for before, after in pairwise(chunks))
    assert chunks[0].t_s == first_s
    assert chunks[-1].t_s - chunks[0].t_s == duration_s


@pytest.mark.parametrize(
    "name", ["plotter-lake", "fishfinder-river", "sounder-position", "satellite-compass", "ais-transponder-heading"]
)
def test_sentence_times_are_those_pynmeagps_reads(shared_data: Path, name: str) -> None:
    """On every real sentence with a time, pynmeagps reads the same time of day and date."""
    compared = 0
    for line in (shared_data / "nmea-captures" / f"{name}.nmea").read_bytes().splitlines(keepends=True):
        told = sentence_time(line)
        if line[3:6] not in {b"ZDA", b"RMC", b"GGA", b"GLL"}:
            assert told is None
            continue
        library: Any = pynmeagps.NMEAReader.parse(line.rstrip() + b"\r\n")
        if not library.time:
            assert told is None
            continue
        assert told is not None
        time = library.time
        assert told.time_of_day_s == time.hour * 3600 + time.minute * 60 + time.second + time.microsecond / 1e6
        if line[3:6] == b"ZDA":
            date = (library.year, library.month, library.day)
        elif line[3:6] == b"RMC":
            date = (library.date.year, library.date.month, library.date.day)
        else:
            assert told.midnight_s is None
            continue
        assert told.midnight_s == timegm((*date, 0, 0, 0))
        compared += 1
    assert compared > 20 or name == "sounder-position"


def test_decoder_and_capture_read_the_same_clock(shared_data: Path) -> None:
    """Where the NMEA decoder takes a clock from a sentence, the capture is timed by the same value."""
    decoder = NmeaDecoder(sounder=None, sounder_sentence=SounderSentence.DPT, variation_deg=None)
    compared = 0
    for path in sorted((shared_data / "nmea-captures").glob("*.nmea")):
        for line in path.read_bytes().splitlines(keepends=True):
            for event in decoder.receive(line) + decoder.end():
                told = sentence_time(line)
                if isinstance(event, Accepted) and event.observation.clock_s is not None:
                    assert told is not None
                    assert told.midnight_s is not None
                    assert told.midnight_s + told.time_of_day_s == event.observation.clock_s
                    compared += 1
                elif isinstance(event, Accepted) and event.observation.time_of_day_s is not None:
                    assert told is not None
                    assert told.time_of_day_s == event.observation.time_of_day_s
                    compared += 1
    assert compared > 500


def test_time_going_back_holds_the_clock(shared_data: Path) -> None:
    """In fishfinder-river the sentences jump from 19:41:24 back to 19:41:11: the rest comes at 19:41:24."""
    chunks = list(read_capture(shared_data / "nmea-captures" / "fishfinder-river.nmea", rate=None))
    held = [chunk for chunk in chunks if chunk.t_s == chunks[-1].t_s]
    assert held[0].data.startswith(b"$INGGA,194124")
    assert any(chunk.data.startswith(b"$INRMC,194111") for chunk in held)


def test_capture_without_times_asks_for_a_rate(shared_data: Path) -> None:
    """autopilot-attitude tells no time: without a rate it is refused, with one its lines come evenly."""
    path = shared_data / "nmea-captures" / "autopilot-attitude.nmea"
    with pytest.raises(CaptureError, match=r"autopilot-attitude\.nmea: nothing in it tells the time; .*--rate"):
        read_capture(path, rate=None)
    chunks = list(read_capture(path, rate=4.0))
    assert [chunk.t_s for chunk in chunks] == [index * 0.25 for index in range(29)]
    assert b"".join(chunk.data for chunk in chunks) == path.read_bytes()


def test_rate_does_not_overrule_the_times_in_a_capture(tmp_path: Path) -> None:
    """A capture that tells its times keeps them."""
    chunks = chunks_of(tmp_path, "capture.nmea", gga("000001") + gga("000003"), rate=100.0)
    assert [chunk.t_s for chunk in chunks] == [1.0, 3.0]


def test_lines_between_times_are_spread_evenly(tmp_path: Path) -> None:
    """Lines before the first time get the first, lines after the last get the last, others their share."""
    times = times_of(tmp_path, PLAIN, gga("000010"), PLAIN, PLAIN, PLAIN, gga("000014"), PLAIN)
    assert times == [10.0, 10.0, 11.0, 12.0, 13.0, 14.0, 14.0]


def test_midnight_without_a_date_goes_on(tmp_path: Path) -> None:
    """A time of day that falls by almost a day is the next day's, and again the night after."""
    noon = [gga("120000"), gga("235958"), gga("000002"), gga("110000"), gga("200000"), gga("000001")]
    assert times_of(tmp_path, *noon) == [43_200.0, 86_398.0, 86_402.0, 126_000.0, 158_400.0, 172_801.0]


def test_time_going_back_over_midnight_holds(tmp_path: Path) -> None:
    """A time a little before midnight after one a little after it went back by seconds, not on by a day."""
    assert times_of(tmp_path, gga("000002"), gga("235959"), gga("000004")) == [2.0, 2.0, 4.0]


def test_time_going_back_by_most_of_a_day_holds(tmp_path: Path) -> None:
    """After a fall of fifteen hours by date, a time of day belongs to the earlier clock: nothing jumps on by a day."""
    times = times_of(
        tmp_path, rmc("200000", "151123"), rmc("050000", "151123"), gga("060000"), gga("130000"), gga("200001")
    )
    assert times == [MIDNIGHT_S + 72_000] * 4 + [MIDNIGHT_S + 72_001]


def test_date_dates_the_times_before_it(tmp_path: Path) -> None:
    """Times of day before the first date belong to its day, or to the day before where midnight lies between."""
    same_day = times_of(tmp_path, gga("000010"), PLAIN, rmc("000012", "151123"), gga("000013"))
    assert same_day == [MIDNIGHT_S + offset for offset in (10, 11, 12, 13)]
    assert times_of(tmp_path, gga("235959"), rmc("000001", "151123")) == [MIDNIGHT_S - 1, MIDNIGHT_S + 1]


def test_dates_count_days_apart(tmp_path: Path) -> None:
    """With dates a capture may rest for days."""
    times = times_of(tmp_path, rmc("120000", "151123"), sentence("GPZDA,130000.50,18,11,2023,00,00"))
    assert times == [MIDNIGHT_S + 43_200, MIDNIGHT_S + 3 * 86_400 + 46_800.5]


@pytest.mark.parametrize(
    "line",
    [
        b"$GPGGA,000010,,,,,0,,,,M,,M,,*00\r\n",
        b"$GPGGA,000010,,,,,0,,,,M,,M,,\r\n",
        gga("240000"),
        gga("006000"),
        gga("00001"),
        gga("0000 1"),
        gga("000010.x"),
        gga(""),
        sentence("GPGLL"),
        b"\xff\xfe\x00\n",
        b"*\n",
        b"\n",
    ],
)
def test_line_that_tells_no_good_time_tells_none(line: bytes) -> None:
    """A bad checksum, or a time no clock shows, times nothing."""
    assert sentence_time(line) is None


@pytest.mark.parametrize("date", ["", "310223", "1511", "xx1123", "150069"])
def test_bad_date_leaves_the_time_of_day(date: str) -> None:
    """A date no calendar has is as good as none."""
    told = sentence_time(rmc("000010", date))
    assert told is not None
    assert (told.time_of_day_s, told.midnight_s) == (10.0, None)


@settings(max_examples=200, deadline=None)
@given(
    st.lists(
        st.one_of(
            st.integers(0, 86_399).map(lambda s: gga(f"{s // 3600:02}{s // 60 % 60:02}{s % 60:02}")),
            st.integers(1, 28).map(lambda day: rmc("120000", f"{day:02}1123")),
            st.just(PLAIN),
            st.binary(max_size=12),
        ),
        max_size=12,
    )
)
def test_any_lines_keep_bytes_and_order(tmp_path_factory: pytest.TempPathFactory, lines: list[bytes]) -> None:
    """Whatever the sentences say, no byte is lost and no time goes back."""
    data = gga("120000") + b"".join(lines)
    chunks_of(tmp_path_factory.getbasetemp(), "any.log", data)


def test_telemetry_log_keeps_its_own_times(shared_data: Path) -> None:
    """The real log comes frame by frame at its record times; joined it is the file without those 8-byte times."""
    path = shared_data / "mavlink-submersible" / "surface-test.tlog.gz"
    data = gzip.decompress(path.read_bytes())
    chunks = list(read_capture(path, rate=None))
    assert len(chunks) == 35_916
    assert sum(len(chunk.data) + 8 for chunk in chunks) == len(data)
    at = 0
    for chunk in chunks:
        assert struct.unpack_from(">Q", data, at)[0] / 1e6 == chunk.t_s
        assert data.startswith(chunk.data, at + 8)
        at += 8 + len(chunk.data)
    decoder = MavlinkDecoder()
    assert all(len(decoder.receive(chunk.data)) == 1 for chunk in chunks)


def telemetry_frame() -> bytes:
    """Return a heartbeat packed by pymavlink."""
    dialect: Any = import_module("pymavlink.dialects.v20.ardupilotmega")
    packed: bytes = dialect.MAVLink_heartbeat_message(12, 3, 81, 19, 4, 3).pack(dialect.MAVLink(None, 1, 1))
    return packed


def test_telemetry_log_going_back_holds_the_clock(tmp_path: Path) -> None:
    """Noise before the first record gets its time; a record time that goes back is held."""
    frame = telemetry_frame()
    records = [(5.0, frame), (4.0, frame), (6.0, frame)]
    data = b"noise" + b"".join(int(t_s * 1e6).to_bytes(8, "big") + raw for t_s, raw in records)
    told = [(chunk.t_s, chunk.data) for chunk in chunks_of(tmp_path, "capture.tlog", data)]
    assert told == [(5.0, b"noise"), (5.0, frame), (5.0, frame), (6.0, frame)]


@pytest.mark.parametrize("name", ["capture.jsonl", "capture.JSONL.gz"])
def test_station_lines_are_timed_by_t(tmp_path: Path, name: str) -> None:
    """A line without a good `t` comes with the line before it, the first ones with the first `t`; none goes back."""
    lines: list[bytes] = [
        b'{"depth_m": 1}\n',
        b'{"t": 5, "depth_m": 1}\n',
        b'{"depth_m": 2}\r\n',
        b"\n",
        b'{"t": "6"}\n',
        b'{"t": -1}\n',
        b'{"t": 4}\n',
        b'{"x": ' + b"[" * 30_000 + b"\n",
        b"\xff\n",
        b'{"t": 7.5, "what": 1}\n',
        b'{"depth_m": 3}',
    ]
    chunks = chunks_of(tmp_path, name, b"".join(lines))
    assert [chunk.data for chunk in chunks] == lines
    assert [chunk.t_s for chunk in chunks] == [5.0] * 9 + [7.5, 7.5]


def test_station_lines_without_t_ask_for_a_rate(tmp_path: Path) -> None:
    """Station messages without any `t` are played at a rate, or refused."""
    data = b'{"depth_m": 1}\n' * 3
    with pytest.raises(CaptureError, match="--rate"):
        chunks_of(tmp_path, "capture.jsonl", data)
    assert [chunk.t_s for chunk in chunks_of(tmp_path, "capture.jsonl", data, rate=2.0)] == [0.0, 0.5, 1.0]


def test_converted_track_is_a_capture(shared_data: Path, tmp_path: Path) -> None:
    """A published track, converted, is played at the times of its table."""
    target = tmp_path / "track.jsonl"
    tracks_to_station_lines.convert(shared_data / "rov-transects" / "transects-2022-10-20.csv.gz", target, "Lantern")
    chunks = list(read_capture(target, rate=None))
    assert [chunk.t_s for chunk in chunks] == [json.loads(line)["t"] for line in target.read_text().splitlines()]
    assert (chunks[0].t_s, chunks[-1].t_s, len(chunks)) == (0.0, 2_782.0, 1_124)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("a.nmea", "nmea0183"),
        ("a.txt", "nmea0183"),
        ("a.LOG", "nmea0183"),
        ("a.nmea.gz", "nmea0183"),
        ("a.tlog", "mavlink"),
        ("2023.05.04.tlog.gz", "mavlink"),
        ("a.jsonl", "station-json"),
        ("a.jsonl.gz", "station-json"),
    ],
)
def test_name_tells_the_format(name: str, expected: str) -> None:
    """The last suffix, or the one before `.gz`, tells the format, in any case of letters."""
    assert format_of(Path(name)) == expected


@pytest.mark.parametrize("name", ["a.csv", "a", "a.gz", "a.nmea.zip", ".nmea"])
def test_other_names_are_refused(name: str) -> None:
    """A name that tells no format is refused with the names that do."""
    with pytest.raises(CaptureError, match=r"\.nmea, \.txt, \.log, \.tlog, \.jsonl"):
        format_of(Path(name))


PACKED = gzip.compress(gga("000001") * 2_000, mtime=0)


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("a.nmea", b"", "the file is empty"),
        ("a.nmea.gz", gzip.compress(b"", mtime=0), "the file is empty"),
        ("a.nmea.gz", gga("000001"), "not a whole gzip file"),
        ("a.nmea.gz", PACKED[:-10], "not a whole gzip file"),
        ("a.nmea.gz", PACKED[:60] + b"\xff" * 8 + PACKED[68:], "not a whole gzip file"),
        ("a.tlog", b"$GPGGA,000010", "no telemetry log record"),
    ],
)
def test_bad_files_are_refused_by_name(tmp_path: Path, name: str, data: bytes, says: str) -> None:
    """A file that is empty, torn or something else is refused at once, with its name and what to do."""
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(CaptureError, match=says) as refusal:
        read_capture(path, rate=None)
    assert str(path) in str(refusal.value)
    assert ";" in str(refusal.value)


def test_missing_file_and_folder_are_refused(tmp_path: Path) -> None:
    """A path that leads to no file is refused."""
    with pytest.raises(CaptureError, match="there is no such file"):
        read_capture(tmp_path / "none.nmea", rate=None)
    (tmp_path / "folder.nmea").mkdir()
    with pytest.raises(CaptureError, match="cannot be read"):
        read_capture(tmp_path / "folder.nmea", rate=None)


def test_largest_file_is_read_and_one_byte_more_is_not(tmp_path: Path) -> None:
    """The bound on a capture's size holds for what a gzip file unpacks to."""
    data = gga("000001") * 10
    for name, content in (("a.nmea", data), ("a.nmea.gz", gzip.compress(data, mtime=0))):
        (tmp_path / name).write_bytes(content)
        assert len(list(read_capture(tmp_path / name, rate=None, largest_bytes=len(data)))) == 10
        with pytest.raises(CaptureError, match="larger than"):
            read_capture(tmp_path / name, rate=None, largest_bytes=len(data) - 1)


@pytest.mark.parametrize("rate", [0.0, -1.0, float("nan"), float("inf")])
def test_impossible_rates_are_refused(tmp_path: Path, rate: float) -> None:
    """A rate must be a number above zero."""
    with pytest.raises(CaptureError, match="--rate above zero"):
        chunks_of(tmp_path, "a.nmea", PLAIN, rate=rate)
