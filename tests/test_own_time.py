"""When reports were made, live and from logs: dates, times of day, sentences without a time; against pynmeagps."""

import csv
import gzip
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgpack
import pynmeagps
import pytest

from dives import SECOND
from dives import plan as plan_of
from nmea_sentences import sentence
from relay.core.model import Row, RowKind
from relay.core.own_time import WITH_US, Lack, Origin, live_reports, nearest_s, read_log
from relay.core.policy import SourcePlan
from tracks_to_station_lines import convert

NMEA = SourcePlan(name="log", format="nmea0183", vehicle="Moth", sounder="depth")
JSON = SourcePlan(name="log", format="station-json")
PACK = SourcePlan(name="log", format="station-msgpack")
TLOG = SourcePlan(name="log", format="mavlink")


def lines(*messages: dict[str, object]) -> bytes:
    """Return station messages as JSON lines."""
    return b"".join(json.dumps(message).encode() + b"\n" for message in messages)


def unix_s(text: str) -> float:
    """Return Unix seconds of a moment in ISO 8601, UTC."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


@pytest.mark.parametrize("name", ["glider-inlet", "glider-shelf"])
def test_log_of_station_messages_has_the_times_and_cells_of_its_table(
    name: str, shared_data: Path, tmp_path: Path
) -> None:
    """Published glider tracks (C-PROOF): every row that tells anything is a report at its own time."""
    table = shared_data / name / "track.csv.gz"
    convert(table, tmp_path / "log.jsonl", "Moth")
    reading = read_log((tmp_path / "log.jsonl").read_bytes(), JSON, "Moth")
    with gzip.open(table, "rt", newline="") as file:
        rows = [row for row in csv.DictReader(file) if any(row.get(column) for column in ("depth_m", "pitch_deg"))]
    times = {report.t_s for report in reading.reports}
    assert len(rows) > 600
    assert all(float(row["t_s"]) in times for row in rows)
    assert reading.named
    assert (reading.lacks, reading.rejected, reading.fault) == (None, {}, None)
    assert {(report.own, report.origin) for report in reading.reports} == {(True, Origin.LOG)}


def test_log_in_messagepack_gives_the_same_reports_as_in_json(shared_data: Path, tmp_path: Path) -> None:
    """One log in both encodings, packed by the library msgpack."""
    convert(shared_data / "glider-shelf" / "track.csv.gz", tmp_path / "log.jsonl", "Moth")
    text = (tmp_path / "log.jsonl").read_bytes()
    packed = b"".join(msgpack.packb(json.loads(line)) for line in text.splitlines())
    assert read_log(packed, PACK, "Moth").reports == read_log(text, JSON, "Moth").reports


def test_nmea_log_times_positions_as_an_independent_reader_does(shared_data: Path) -> None:
    """A published capture: each GGA and RMC with a fix has the moment that pynmeagps and the date of its RMC tell."""
    data = (shared_data / "nmea-captures" / "plotter-lake.nmea").read_bytes()
    reading = read_log(data, NMEA, "Moth")
    placed = [report.t_s for report in reading.reports if report.observation.latitude_deg is not None]
    day = datetime(2018, 8, 20, tzinfo=UTC)
    expected = []
    for line in data.splitlines():
        if line[3:6] in (b"GGA", b"RMC", b"GLL") and (message := pynmeagps.NMEAReader.parse(line)).lat != "":
            clock = message.time
            told = timedelta(hours=clock.hour, minutes=clock.minute, seconds=clock.second + clock.microsecond / 1e6)
            expected.append((day + told).timestamp())
    assert len(expected) > 400
    assert placed == expected


def test_sentences_without_a_time_belong_to_the_timed_one_before_them() -> None:
    """A burst is one instant; what comes before the first time has the first time."""
    burst = [sentence("GPRMC,120000.00,A,3836.88,S,02155.98,W,0.0,0.0,040526,,,A"), sentence("SDDPT,12.0,0.0")]
    later = [sentence("GPGGA,120001.00,3836.88,S,02155.98,W,1,08,0.9,0.0,M,0.0,M,,"), sentence("HEHDT,90.0,T")]
    reading = read_log(b"".join([sentence("HEHDT,89.0,T"), *burst, *later]), NMEA, "Moth")
    noon_s = unix_s("2026-05-04T12:00:00")
    assert [report.t_s - noon_s for report in reading.reports] == [0, 0, 0, 1, 1]


def test_time_of_day_goes_on_past_midnight_and_back_before_the_first_date() -> None:
    """Times of day belong to the day nearest to the report before; those before the first date to that day."""
    gga = "GPGGA,{},3836.88,S,02155.98,W,1,08,0.9,0.0,M,0.0,M,,"
    parts = [gga.format("235958.00"), "GPZDA,235959.00,04,05,2026,00,00", gga.format("000001.00")]
    reading = read_log(b"".join(map(sentence, parts)), NMEA, "Moth")
    midnight_s = unix_s("2026-05-05T00:00:00")
    assert [report.t_s - midnight_s for report in reading.reports] == [-2, 1]


def test_log_without_a_date_or_a_time_says_what_it_lacks() -> None:
    """With a date given, times of day are enough, in the afternoon of that day as well."""
    gga = sentence("GPGGA,235958.00,3836.88,S,02155.98,W,1,08,0.9,0.0,M,0.0,M,,")
    reading = read_log(gga, NMEA, "Moth")
    assert (reading.lacks, reading.reports, reading.found) == (Lack.DATE, [], 1)
    dated = read_log(gga, NMEA, "Moth", unix_s("2026-05-04T00:00:00"))
    assert [report.t_s for report in dated.reports] == [unix_s("2026-05-04T23:59:58")]
    untimed = read_log(sentence("HEHDT,90.0,T"), NMEA, "Moth")
    assert (untimed.lacks, untimed.reports, untimed.found) == (Lack.TIME, [], 1)


def test_log_counts_what_is_not_a_report_of_the_vehicle_and_where_the_first_fault_is() -> None:
    """Other vehicles' reports by name, what tells nothing, what is rejected and from which byte on."""
    first = lines({"t": 5.0, "vehicle": "Lantern", "depth_m": 1.0}, {"t": 6.0, "depth_m": 2.0}, {})
    reading = read_log(first + b'{"depth": 3}\nnoise\n', JSON, "Moth")
    assert [report.observation.vehicle for report in reading.reports] == ["Moth"]
    assert (reading.others, reading.found, reading.named) == ({"Lantern": 1}, 1, False)
    assert reading.passed_over == {"station message: says nothing": 1}
    assert reading.rejected == {"unknown field": 1, "not JSON": 1}
    assert reading.fault == (len(first), "unknown field")


def test_telemetry_log_has_the_record_times_of_its_frames(shared_data: Path) -> None:
    """The published tlog: 8 bytes of big-endian microseconds before each frame; its README says 263 s."""
    data = gzip.decompress((shared_data / "mavlink-submersible" / "surface-test.tlog.gz").read_bytes())
    reading = read_log(data, TLOG, "Moth")
    begun_s = int.from_bytes(data[:8], "big") / 1e6
    times = [report.t_s - begun_s for report in reading.reports]
    assert len(times) > 5_000
    assert times == sorted(times)
    assert 260.0 < times[-1] < 264.0
    report = reading.reports[100]
    assert report.frame is not None
    at = data.index(report.frame)
    assert report.t_s == int.from_bytes(data[at - 8 : at], "big") / 1e6
    assert reading.rejected == {"bad checksum": 4}


def live_row(at: int, at_us: int, data: bytes, wall_s: float = 9_000.0, kind: RowKind = RowKind.WHOLE) -> Row:
    """Return a row of the feed of station messages."""
    return Row(at, at_us, wall_s, "station", kind, data)


def test_live_report_has_its_own_time_or_says_that_it_has_the_ships() -> None:
    """An own time, one received with it (at the limit and one past it), and one that nothing times."""
    timed, untimed = lines({"t": 5.0, "vehicle": "Moth", "depth_m": 1.0}), lines({"vehicle": "Moth", "depth_m": 2.0})
    rows = [live_row(1, 0, untimed), live_row(2, SECOND, timed), live_row(3, SECOND + WITH_US, untimed)]
    rows.append(live_row(4, SECOND + WITH_US + 1, untimed))
    reports = list(live_reports(rows, plan_of(), "Moth"))
    assert [(report.t_s, report.own) for report in reports] == [
        (9_000.0, False),
        (5.0, True),
        (5.0, True),
        (9_000.0, False),
    ]
    assert {report.origin for report in reports} == {Origin.LIVE}


def test_live_reports_are_those_of_the_vehicle_whole_frames_and_no_decisions() -> None:
    """A frame over two rows is one report; other vehicles, other feeds and decisions are left out."""
    whole = lines({"t": 5.0, "vehicle": "Moth", "depth_m": 1.0})
    rows = [live_row(1, 0, whole[:9], kind=RowKind.STREAM), live_row(2, 1, whole[9:], kind=RowKind.STREAM)]
    rows.append(live_row(3, 2, lines({"t": 6.0, "vehicle": "Lantern", "depth_m": 1.0})))
    rows.append(Row(4, 3, 0.0, "gone", RowKind.WHOLE, whole))
    rows.append(live_row(5, 4, whole, kind=RowKind.DECISION))
    assert [report.t_s for report in live_reports(rows, plan_of(), "Moth")] == [5.0]


def test_nearest_moment_of_a_time_of_day_is_within_half_a_day() -> None:
    """Before, after, and across midnight."""
    noon_s = unix_s("2026-05-04T12:00:00")
    assert nearest_s(43_200.0, noon_s) == noon_s
    assert nearest_s(10.0, noon_s - 43_195.0) == noon_s - 43_190.0
    assert nearest_s(86_390.0, noon_s - 43_195.0) == noon_s - 43_210.0
