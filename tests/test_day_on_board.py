"""A working day on board: the exact record and what each audience gets are as was written down by hand.

The day is `day_on_board`, what must come of it `day_expected`, and the arithmetic between the two (geographiclib, the
standard library) `day_arithmetic`. The relay is `virtual_ship`: its own parts on a real folder, the clock set. It is
killed while the standby counts, while the public is held, and when all is quiet; a log is imported while it runs.
"""

import csv
import json
from collections.abc import Iterator
from contextlib import redirect_stdout
from dataclasses import dataclass, field
from functools import partial
from hashlib import sha256
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from msgpack import unpackb

import day_expected as paper
import day_expected_exact as exact
import ed25519_by_the_book
from day_arithmetic import POSTS, Frame, beyond, leaves_s, records_of, seconds, signing_seed
from day_on_board import (
    EXPEDITION,
    HOURS,
    SECOND,
    VEHICLE_CLOCK_S,
    OfWaiting,
    acoustic,
    cable,
    decisions,
    lantern,
    recovered_log,
    us,
)
from relay.__main__ import main
from relay.core.decision import Decision, write_decision
from relay.core.history import NOTHING
from relay.core.secrets import Secrets
from relay.core.wire import decode, read_recording
from relay.shell.exact.exact_dives import exact_dives
from relay.shell.plan.expedition import Expedition, parse_expedition
from relay.shell.ship.rehearse import Outcome, rehearse
from virtual_ship import AT_ONCE, Disk, Do, Event, Follower, VirtualShip, Voyage

KEY = bytes(range(32))
AUDIENCES = tuple(paper.DIVES)
EVERY_DIVE = [(audience, number) for audience in AUDIENCES for number in (1, 2, 3)]
KILLS_US = (us("1:13:15") + 110_000, us("4:07:00") + 200_000, us("7:30:00") + 200_000)
DOWN_US = 4_000
GROUP_US = 35_000  # what comes within that goes to the disk together


class GroupedVoyage(Voyage):
    """A voyage whose disk takes rows in groups, as the journal's writer does."""

    _due_us = -1

    def _wait_for_disk(self, ship: VirtualShip, event: Event) -> None:
        if event.latency_us == AT_ONCE:
            super()._wait_for_disk(ship, event)
        elif self._due_us < event.at_us:
            self._due_us = event.at_us + GROUP_US
            self._push(Event(self._due_us, Do.DISK, None), self._life)

    def _do_up(self, ship: VirtualShip, event: Event) -> None:
        whole = event.do is Do.DISK and event.value is None
        super()._do_up(ship, Event(event.at_us, Do.DISK, ship.journal.put) if whole else event)


@dataclass
class Day:
    """What a day leaves behind, and what was asked while it went on."""

    folder: Path
    expedition: Expedition
    voyage: GroupedVoyage
    imported: dict[str, Any] = field(default_factory=dict)
    newest: list[float] = field(default_factory=list)
    alarms: list[str] = field(default_factory=list)
    outcome: Outcome | None = None

    def command(self, *arguments: str) -> str:
        """Return what a command of Offing's says."""
        with redirect_stdout(StringIO()) as said:
            assert main([*arguments[0].split(), str(self.folder), *arguments[1:]]) == 0
        return said.getvalue()

    @property
    def ship(self) -> VirtualShip:
        """The ship as it runs now."""
        assert self.voyage.ship is not None
        return self.voyage.ship

    def released(self) -> dict[str, str]:
        """Return the digests of all that was released so far."""
        paths = sorted((self.folder / "released").rglob("*.recording"))
        return {path.parent.name + path.name: sha256(path.read_bytes()).hexdigest() for path in paths}


def the_day(folder: Path) -> Day:
    """Let the day pass, and rehearse its journal."""
    path = folder / "EXPEDITION.toml"
    path.write_text(EXPEDITION, encoding="utf-8")
    expedition = parse_expedition(EXPEDITION, path)
    followers = [Follower(audience, NOTHING) for audience in AUDIENCES]
    voyage = GroupedVoyage(expedition.plan, Secrets(KEY), followers, Disk(folder))
    voyage.plan_for(Event(0, Do.DIAL, at) for at in range(len(followers)))
    voyage.plan_for([Event(0, Do.START)])
    voyage.plan_for(Event(moment_us, Do.KILL) for moment_us in KILLS_US)
    voyage.plan_for(Event(moment_us + DOWN_US, Do.START) for moment_us in KILLS_US)
    told = (*lantern(), *acoustic(), *cable())
    voyage.plan_for(Event(moment_us, Do.INPUT, data, 0, source) for moment_us, source, data in told)
    for moment_us, decision in decisions():
        voyage.plan_for([Event(moment_us, Do.DECIDE, partial(_written, voyage, decision), AT_ONCE)])
    day = Day(folder, expedition, voyage)
    _pass(day)
    day.outcome = rehearse(expedition.plan, Secrets(KEY), [str(folder / "private" / "journal.db")], folder / "again")
    return day


def _written(voyage: Voyage, decision: Decision | OfWaiting, now_us: int, parted_us: int) -> bytes:
    """Return a decision as its row; one about what waits names it by the row under which the desk knows it."""
    if isinstance(decision, OfWaiting):
        assert voyage.ship is not None
        waiting = voyage.ship.pipeline.waiting.items()
        decision = decision.kind(say=next(row for row, waits in waiting if waits.text == decision.text))
    return write_decision(decision, "the lead")


def _pass(day: Day) -> None:
    """Let the hours pass; look at the exact state after an overtaken report came; import the log at 4:30."""
    day.voyage.play(us("1:14:15"))
    day.alarms = day.ship.alarms()
    day.voyage.play(us("3:27:11"))
    moth = day.ship.pipeline.now.states[1]
    day.newest = [moth.last("depth_m"), *moth.last("position")]
    day.voyage.play(us("4:30:00"))
    before = day.released()
    (day.folder / "moth.jsonl").write_bytes(recovered_log())
    log = str(day.folder / "moth.jsonl")
    day.imported = json.loads(day.command("journal import", "--vehicle", "Moth", log, "--json"))
    assert day.released() == before
    day.voyage.play(HOURS * 3_600 * SECOND)


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Day]:
    """The day, once for all that is asked about it; its clock and checkpoint are kept every five minutes."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("virtual_ship.BEAT_US", 300 * SECOND)
        gone = the_day(tmp_path_factory.mktemp("day"))
        yield gone
        gone.ship.power_off()


def rounded(body: Any) -> Any:
    """Return a tick's body with exact positions to a tenth of a millimetre; a head as how long it is."""
    if isinstance(body, list) and len(body) == 1 and isinstance(body[0], bytes):
        return [f"{len(body[0])} bytes"]
    if not isinstance(body, list) or not body or not isinstance(body[0], list):
        return body
    return [[*row[:10], *(degrees and round(degrees, 9) for degrees in row[10:])] for row in body]


@pytest.mark.parametrize(("audience", "number"), EVERY_DIVE)
def test_recording_is_as_written_down(day: Day, audience: str, number: int) -> None:
    """Each audience's recording of each dive has the records of the paper, each with its values, and no other."""
    recording = read_recording((day.folder / "released" / audience / f"dive-{number:03d}.recording").read_bytes())
    assert recording.closed
    expected = list(records_of(audience, number, KEY))
    for there, due in zip(recording.records, expected, strict=False):
        assert [there.dive, there.seq, there.kind, there.elapsed_s, rounded(there.body)] == due
    assert len(recording.records) == len(expected)


@pytest.mark.parametrize(("audience", "number"), EVERY_DIVE)
def test_recording_is_signed_by_the_book(day: Day, audience: str, number: int) -> None:
    """RFC 8032 by whole numbers alone gives the last record's signature, and every record has one of its own."""
    path = day.folder / "released" / audience / f"dive-{number:03d}.recording"
    *_, last = records = read_recording(path.read_bytes()).records
    pads = [unpackb(record.data)[5] for record in records]
    told = last.data[: -len(pads[-1])]
    message = b"offing record 1\0" + audience.encode() + b"\0" + told
    assert pads[-1][:64] == ed25519_by_the_book.sign(signing_seed(KEY), message)
    assert len({pad[:64] for pad in pads}) == len(records)


def test_nothing_else_was_released(day: Day) -> None:
    """There are three recordings for each audience, and no other file."""
    files = {path.relative_to(day.folder / "released").as_posix() for path in (day.folder / "released").rglob("*.*")}
    assert files == {f"{audience}/dive-{number:03d}.recording" for audience, number in EVERY_DIVE}


@pytest.mark.parametrize("audience", AUDIENCES)
def test_records_leave_when_the_paper_says(day: Day, audience: str) -> None:
    """Who follows from the begin gets each record once, at its moment, restarts or not; what was held comes at once."""
    follower = next(follower for follower in day.voyage.followers if follower.audience == audience)
    records = ((decode(data), moment_us) for moment_us, data in follower.got)
    got = [(record.dive, record.seq, moment_us) for record, moment_us in records]
    expected = [
        # A ship releases what is due up to the microsecond before.
        (number, seq, round(moment_s * SECOND) + 1)
        for number in (1, 2, 3)
        for seq, moment_s in enumerate(leaves_s(audience, number))
    ]
    assert next((pair for pair in zip(got, expected, strict=False) if pair[0] != pair[1]), None) is None
    assert len(got) == len(expected)


def test_extra_delays_are_those_of_the_key() -> None:
    """The extra ticks that the paper names are those that HMAC-SHA256 by the standard library gives."""
    for audience, most in (("public", 40), ("funders", 60)):
        drawn = [int((most + 1) * Frame(KEY).share(f"extra {audience} {number}")) for number in (1, 2, 3)]
        assert tuple(drawn) == paper.EXTRA_TICKS[audience]


@pytest.mark.parametrize(("audience", "number"), EVERY_DIVE)
def test_journal_read_again_in_one_go_gives_the_same(day: Day, audience: str, number: int) -> None:
    """A rehearsal of the journal writes what the ship wrote that was killed three times, and gives the same moments."""
    name = f"{audience}/dive-{number:03d}"
    files = [(day.folder / under / f"{name}.recording").read_bytes() for under in ("released", "again/released")]
    assert files[0] == files[1]
    times = (day.folder / "again" / "send-times" / f"{audience}-dive-{number:03d}.csv").read_text().splitlines()
    sent = [(int(line["seq"]), float(line["sent_s"])) for line in csv.DictReader(times)]
    assert sent == list(enumerate(leaves_s(audience, number)))


def test_operator_is_told(day: Day) -> None:
    """The contradiction is an alarm, the place in a note is kept back, and what is said between dives isn't taken."""
    assert day.ship.stopped is None
    assert day.alarms == ["two stations contradict each other about Lantern by 300 m: its place isn't released"]
    assert day.voyage.refused == 1  # "Said between dives."
    assert day.outcome is not None
    kept = [(blocked.text, blocked.audiences) for blocked in day.outcome.kept_back]
    assert kept == [("USBL gives 30 14.9 S 22 29.8 W", ("public", "funders", "families"))] * 2  # from both stations


def test_late_report_replaces_nothing_newer(day: Day) -> None:
    """After report 30 has come behind 34, the exact state is still that of 34: 540 m, and 510 m along."""
    place = beyond(beyond((-30.25, -22.5), 300.0, 900.0), 200.0, 34 * 15.0)
    assert day.newest == pytest.approx([540.0, *place], abs=1e-9)


def test_import_says_what_the_log_adds(day: Day) -> None:
    """`offing journal import` counts what was live, what the log has, what both have, and the minutes gained."""
    log, record = day.imported["log"], day.imported["record"]
    assert (log["reports"], log["new"], log["live_between"]) == (exact.MOTH_LOG, True, 85)
    assert (log["rejected"], log["others"], log["minutes_gained"]) == ({}, {}, exact.MOTH_MINUTES_GAINED)
    assert record["live_reports"] == exact.MOTH_ACOUSTIC
    assert (record["both"], record["differing"]) == (exact.MOTH_BOTH, exact.MOTH_DIFFERING)
    assert (record["reports"], record["positions"]) == (exact.MOTH_AFTER_IMPORT, exact.MOTH_AFTER_IMPORT)
    assert record["minutes_gained"] == exact.MOTH_MINUTES_GAINED


def printed(day: Day, vehicle: str) -> list[dict[str, Any]]:
    """Return the exact record of a vehicle, its times as seconds of the day."""
    reports = [json.loads(line) for line in day.command("record", "--vehicle", vehicle, "--print").splitlines()]
    return [{**report, "t": round(report["t"] - VEHICLE_CLOCK_S, 3)} for report in reports]


def test_exact_record_of_moth_is_complete(day: Day) -> None:
    """Each 10 s of the leg stand once, from the log, but three reports that it lacks; each where it was."""
    reports = printed(day, "Moth")
    assert len(reports) == exact.MOTH_AFTER_IMPORT + exact.MOTH_CABLE
    alone = [report for report in reports if report["t"] <= seconds("3:55:00")]
    lacks = {seconds("3:40:00") + 10 * at for at in range(1, 12)}
    live = {seconds("3:40:30"), seconds("3:41:00"), seconds("3:41:30")}
    instants = [seconds("3:10:00") + 10 * at for at in range(271)]
    assert [report["t"] for report in alone] == [moment for moment in instants if moment not in lacks - live]
    assert {report["t"] for report in alone if report["from"] == "live"} == live
    for report in alone:
        halves = (report["t"] - seconds("3:10:00")) / 30
        where = beyond(beyond((-30.25, -22.5), 300.0, 900.0), 200.0, 15.0 * halves)
        assert (report["latitude_deg"], report["longitude_deg"]) == pytest.approx(where, abs=1e-9)
        assert report["depth_m"] == min(200.0 + 10.0 * halves, 800.0)
        assert report["speed_mps"] == (0.46 if report["t"] == seconds("3:35:00") else 0.5)
    cabled = reports[len(alone) + 1 :]
    assert [report["t"] for report in cabled] == [seconds("4:59:00") + 10 * at for at in range(97) for _ in range(3)]
    assert {report["clock"] for report in cabled} == {"vehicle"}


def test_exact_record_of_lantern_has_every_second_once(day: Day) -> None:
    """What the stations tell alike stands once, what they tell otherwise from both; no instant of the failure lacks."""
    reports = printed(day, "Lantern")
    assert len(reports) == exact.LANTERN_REPORTS
    assert len({report["t"] for report in reports}) == exact.LANTERN_INSTANTS
    failing = [report for report in reports if seconds("1:13:00") <= report["t"] < seconds("1:13:30")]
    assert [report["t"] for report in failing] == [round(seconds("1:13:00") + at / 10, 3) for at in range(300)]
    assert {report["roll_deg"] for report in failing} == {8.0}
    told = json.loads(day.command("record", "--vehicle", "Lantern", "--json"))["record"]
    assert told["live_reports"] == exact.LANTERN_LIVE
    cut = [report for report in reports if seconds("1:30:00") <= report["t"] < seconds("1:35:00")]
    assert [report["depth_m"] for report in cut] == [590.0] * 75  # cut from what is released, kept on the ship


def test_exact_dives_are_those_of_the_paper(day: Day) -> None:
    """Three dives, when they begin and end and with whom, and the tracks: of two stations each instant once."""
    with exact_dives(day.expedition) as dives:
        first, second, third = dives.dives
        assert [dive.vehicles for dive in dives.dives] == [("Lantern",), ("Lantern", "Moth"), ("Moth",)]
        assert [(dive.begun_by, dive.ended_by) for dive in dives.dives] == [("", ""), ("a test", "a test"), ("", "")]
        assert (second.begun.embargo_us, second.ended and second.ended.embargo_us) == (us("3:05:00.5"), us("3:50:00.5"))
        # It fell silent at 5:15 on the bottom: ten minutes later that ended the dive.
        assert third.ended is not None and 0 <= third.ended.embargo_us - us("5:25:00") <= SECOND
        assert us("0:28:00") < first.begun.embargo_us < us("0:30:30")
        kept = [
            report for name in ("Lantern", "Moth") for report in dives.record(name) if report.kept_values is not None
        ]
        assert len(kept) == exact.LANTERN_REPORTS + exact.MOTH_AFTER_IMPORT + exact.MOTH_CABLE
        track = [report.t_s for report in dives.track("Lantern", 1)]
        assert track == sorted(set(track))
        legs = [str(phase.leg) for phase in dives.phases(1)]
        assert legs == ["descent", "bottom", "ascent", "deck"]


def test_desk_knows_the_day_after_a_restart_in_peace(day: Day) -> None:
    """From the checkpoint of 7:30 on it has targets, the place of the one that was sighted, and who is back."""
    pipeline = day.ship.pipeline
    assert {name: known.verdict for name, known in pipeline.targets.items()} == exact.VERDICTS
    seen, post, azimuth_deg, distance_m = exact.SEEN
    placed = {name: known.position for name, known in pipeline.targets.items() if known.position is not None}
    assert list(placed) == [seen]
    there = beyond(POSTS[post], azimuth_deg, distance_m)
    assert (placed[seen].latitude_deg, placed[seen].longitude_deg) == pytest.approx(there, abs=1e-9)
    assert placed[seen].spread.drms_m == pytest.approx(exact.SEEN_DRMS_M, abs=1e-3)
    assert (pipeline.waiting, pipeline.zones) == ({}, ())
    moth = pipeline.expected["Moth"]
    assert (moth.expectation.return_us / SECOND, (moth.back_us or 0) / SECOND) == exact.EXPECTED_S


def test_zone_of_the_desk_hides_what_was_received_before_it(day: Day) -> None:
    """Told at 3:41, it hides from the public what came before: within 280 m of its centre, within 100 m for sure."""
    recording = read_recording((day.folder / "released" / "public" / "dive-002.recording").read_bytes())
    rows = {record.elapsed_s + seconds("3:05:15"): record.body[1] for record in recording.records if record.kind == 1}
    shown = {tick_s: row[1] is not None for tick_s, row in rows.items() if row[0] == "reporting"}
    # Cells are off by up to 27 m, so what is told at a tick lies within 307 m (reports from 50 on) or beyond 73 m.
    assert all(shown[seconds("3:31:15") + 15 * at] for at in range(14))  # reports 42 to 48
    assert not any(shown[seconds("3:43:15") + 15 * at] for at in range(12))  # reports 66 to 71, until it is lifted
    assert shown[seconds("3:46:15")]
