"""The exact record: a published track as the vehicle's own log, of which an acoustic link brought some."""

import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic_link import over_acoustic_link
from relay.core.exact_record import as_values, coverage, merged
from relay.core.model import Mode, Observation
from relay.core.own_time import Origin, Report, read_log
from relay.core.policy import SourcePlan
from tracks_to_station_lines import convert, read_rows, station_messages

SOURCE = SourcePlan(name="log", format="station-json")


def report(t_s: float, *, live: bool = False, own: bool = True, frame: bytes | None = None, **told: object) -> Report:
    """Return a report of Moth."""
    observation = Observation(vehicle="Moth", **told)  # type: ignore[arg-type]
    return Report(t_s, own, Origin.LIVE if live else Origin.LOG, observation, frame)


def logged(shared_data: Path, folder: Path) -> list[Report]:
    """Return the glider's log (C-PROOF, University of Victoria; README of the data set) as it is read."""
    convert(shared_data / "glider-inlet" / "track.csv.gz", folder / "log.jsonl", "Moth")
    return read_log((folder / "log.jsonl").read_bytes(), SOURCE, "Moth").reports


def arrived(shared_data: Path, log: list[Report]) -> list[Report]:
    """Return what of that log arrives live over an acoustic link, in the order in which it does."""
    messages = list(station_messages(read_rows(shared_data / "glider-inlet" / "track.csv.gz"), "Moth"))
    by_time = {report.t_s: report for report in log}
    return [by_time[told["t"]]._replace(origin=Origin.LIVE) for _, told in over_acoustic_link(messages)]


def test_record_equals_the_log_of_which_the_link_brought_some(shared_data: Path, tmp_path: Path) -> None:
    """Reports lost, late and out of order: with the log the record is the log, nothing twice, nothing missing."""
    log = logged(shared_data, tmp_path)
    live = arrived(shared_data, log)
    assert [report.t_s for report in live] != sorted(report.t_s for report in live)
    record = merged([log], live)
    assert len(log) == 4_716
    assert list(record.reports) == sorted(log, key=lambda report: report.t_s)
    assert (record.both, record.differing) == (len(live), 0)


def test_record_without_a_log_is_the_live_reports_in_the_order_of_the_vehicles_time(
    shared_data: Path, tmp_path: Path
) -> None:
    """Before the recovery every report that came is there, once."""
    live = arrived(shared_data, logged(shared_data, tmp_path))
    record = merged([], live)
    assert list(record.reports) == sorted(live, key=lambda report: report.t_s)
    assert len(live) > 1_000


def test_record_is_the_log_and_the_rest_of_the_live_reports_where_the_log_has_a_gap(
    shared_data: Path, tmp_path: Path
) -> None:
    """A log that lost its middle keeps what came live of it; the whole log, imported later, completes it."""
    log = logged(shared_data, tmp_path)
    live = arrived(shared_data, log)
    torn = log[:1_000] + log[3_000:]
    record = merged([torn], live)
    gap = {report.t_s for report in log[1_000:3_000]}
    assert {report.t_s for report in record.reports if report.origin is Origin.LIVE} == gap & {it.t_s for it in live}
    assert list(merged([torn, log], live).reports) == sorted(log, key=lambda report: report.t_s)


def test_coverage_counts_minutes_that_live_reports_lacked(shared_data: Path, tmp_path: Path) -> None:
    """The minutes with a position in the table less those with one that arrived, counted here from its cells."""
    log = logged(shared_data, tmp_path)
    live = arrived(shared_data, log)
    cells = [row for row in read_rows(shared_data / "glider-inlet" / "track.csv.gz") if row["lat_deg"]]
    minutes = {float(row["t_s"]) // 60 for row in cells}
    came = {it.t_s // 60 for it in live if it.observation.latitude_deg is not None}
    covered = coverage(log, live)
    assert (covered.reports, covered.positions) == (4_716, 783)  # the README of the data set: 783 rows with a position
    assert covered.minutes_gained == len(minutes - came) > 100
    assert (covered.first_s, covered.last_s) == (min(it.t_s for it in log), max(it.t_s for it in log))


def test_live_report_adds_what_the_log_lacks_at_its_instant() -> None:
    """A note that the log doesn't have stays, without the fields that it does."""
    record = merged([[report(5.0, depth_m=1.0)]], [report(5.0, live=True, depth_m=1.0, note="landed")])
    assert list(record.reports) == [report(5.0, depth_m=1.0), report(5.0, live=True, note="landed")]
    assert (record.both, record.differing) == (1, 0)


def test_log_counts_where_a_live_report_tells_otherwise() -> None:
    """A link may round: the log's value stands, and the difference is counted."""
    record = merged([[report(5.0, depth_m=1.04)]], [report(5.0, live=True, depth_m=1.0)])
    assert list(record.reports) == [report(5.0, depth_m=1.04)]
    assert (record.both, record.differing) == (1, 1)


@pytest.mark.parametrize(("t_s", "both"), [(5.0004, 1), (5.001, 0)])
def test_instants_are_the_same_to_a_millisecond(t_s: float, both: int) -> None:
    """What a format's rounding does to a time makes no other instant; a millisecond does."""
    assert merged([[report(5.0, depth_m=1.0)]], [report(t_s, live=True, depth_m=1.0)]).both == both


def test_live_report_on_the_ships_clock_is_kept_and_says_so() -> None:
    """Without a time of the vehicle's it can't be told to be one of the log's."""
    live = [report(5.0, live=True, own=False, depth_m=1.0), report(5.0, live=True, own=False, depth_m=1.0)]
    record = merged([[report(5.0, depth_m=1.0)]], live)
    assert len(record.reports) == 3
    assert record.both == 0
    assert [as_values(it)["clock"] for it in record.reports] == ["vehicle", "ship", "ship"]


def test_frame_of_the_log_that_came_live_too_is_there_once() -> None:
    """MAVLink frames carry a sequence and a time since boot: the same bytes are the same report, whoever timed them."""
    live = [report(9.0, live=True, own=False, frame=b"\xfeA", depth_m=1.0)]
    live.append(report(9.0, live=True, own=False, frame=b"\xfeB", depth_m=1.0))
    record = merged([[report(5.0, frame=b"\xfeA", depth_m=1.0)]], live)
    assert [it.frame for it in record.reports] == [b"\xfeA", b"\xfeB"]


def test_report_that_came_twice_is_there_once() -> None:
    """A mirrored station, or a link that repeats itself, makes no second report."""
    one, other = report(5.0, live=True, depth_m=1.0), report(5.0, live=True, roll_deg=2.0)
    assert list(merged([], [one, one, other]).reports) == [one, other]


def test_equal_values_within_one_log_stay() -> None:
    """What a log says twice in one instant it says twice: the log is never thinned."""
    twice = [report(5.0, depth_m=1.0), report(5.0, depth_m=1.0)]
    assert list(merged([twice], []).reports) == twice
    assert list(merged([twice, twice], []).reports) == twice


def test_values_are_those_of_a_station_message() -> None:
    """Names and units are those of the input, a mode is its word, and what wasn't told isn't there."""
    values = as_values(report(5.0, latitude_deg=1.0, longitude_deg=2.0, mode=Mode.AUTONOMOUS, clock_s=5.0))
    assert values == {
        "t": 5.0,
        "clock": "vehicle",
        "from": "log",
        "vehicle": "Moth",
        "latitude_deg": 1.0,
        "longitude_deg": 2.0,
        "mode": "autonomous",
    }


@given(st.sets(st.integers(0, 200)), st.sets(st.integers(0, 200)), st.integers(0, 99))
def test_record_is_whole_whatever_log_and_link_lost(of_log: set[int], of_link: set[int], seed: int) -> None:
    """Every instant that either told is there exactly once, in order, whatever the order of receipt."""
    log = [report(float(at), depth_m=float(at)) for at in sorted(of_log)]
    live = [report(float(at), live=True, depth_m=float(at)) for at in sorted(of_link)]
    random.Random(seed).shuffle(live)
    record = merged([log], live)
    assert [it.observation.depth_m for it in record.reports] == sorted(of_log | of_link)
    assert {it.t_s for it in record.reports if it.origin is Origin.LOG} == of_log
