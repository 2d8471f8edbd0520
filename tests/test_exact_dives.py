"""The dives as they were, exact: which dive and leg each moment is of, and the whole record, streamed and bounded."""

import json
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from day_on_board import EXPEDITION
from expeditions import RIGHT
from record_site import FIX, SECOND, WALL_S, Site, Told, moth
from relay.core.decision import Approve, Begin, Dismiss, End, Say, SetLeg, Target
from relay.core.errors import OperatorError
from relay.core.exact_record import merged
from relay.core.model import Row, RowKind
from relay.core.own_time import live_reports, read_log
from relay.core.pipeline import Pipeline
from relay.core.policy import Leg
from relay.core.release import Kind
from relay.core.secrets import Secrets
from relay.core.sighting import SeenFrom, Sighted
from relay.core.target_position import RangeIs
from relay.shell.exact.exact_dives import exact_dives
from relay.shell.plan.expedition import parse_expedition
from relay.shell.record.journal import JournalFile
from relay.shell.record.recovered import recovered_logs
from relay.shell.record.whole_file import left_behind


def a_dive(first_s: int = 10, last_s: int = 700) -> list[tuple[float, Told]]:
    """Return a dive of Moth's to 300 m at a metre a second, ten seconds between reports, and up again."""
    out: list[tuple[float, Told]] = []
    for at_s in range(first_s, last_s, 10):
        depth_m = min(at_s - first_s, last_s - at_s - 10, 300)
        altitude_m = {"altitude_m": 5.0} if depth_m == 300 else {}
        out.append((at_s + 0.5, moth(float(depth_m), **altitude_m, **FIX, t=4_000.0 + at_s)))
    return out


def test_dives_and_legs_are_those_of_the_desk(tmp_path: Path) -> None:
    """Second by second the walk says what the desk's own rooms say of the same rows: whether a dive is under way."""
    told = [*a_dive(), (1_500.5, Begin()), (1_510.2, moth(1.0)), (1_520.4, SetLeg(vehicle="Moth", leg=Leg.BOTTOM)),
            (1_560.9, moth(2.0)), (1_700.25, End()), *a_dive(2_500, 3_190)]  # fmt: skip
    site = Site(tmp_path, *told)
    pipeline = Pipeline(replace(site.expedition.plan, policies=()), Secrets(b"k" * 32))
    rows = iter(site.rows)
    row: Row | None = next(rows)
    with site.read() as dives:
        assert len(dives.dives) == 3
        for second in range(1, 3_190):
            while row is not None and row.embargo_us < second * SECOND:
                pipeline.receive(row)
                row = next(rows, None)
            under_way = pipeline.present.under_way(second * SECOND - 1)
            there = [dive for dive in dives.dives if dive.holds(second * SECOND - 1)]
            begins = any(0 <= dive.begun.embargo_us - second * SECOND < SECOND for dive in dives.dives)
            assert begins or under_way == bool(there)
        lasting = [(phase.leg, phase.by_hand) for phase in dives.phases(2) if phase.vehicle == "Moth"]
        assert lasting == [(Leg.DECK, False), (Leg.BOTTOM, True)]
        whole = [phase.leg for phase in dives.phases(3) if phase.vehicle == "Moth"]
        assert whole == [Leg.DECK, Leg.DESCENT, Leg.BOTTOM, Leg.ASCENT, Leg.DECK]


def test_what_is_decided_by_hand_holds_from_its_row(tmp_path: Path) -> None:
    """A dive that somebody begins and ends lasts from the one decision to the other, and tells whose they were."""
    site = Site(tmp_path, (100.25, Begin()), (130.5, moth(5.0)), (160.75, End()), (160.8, moth(4.0)))
    with site.read() as dives:
        (dive,) = dives.dives
        assert (dive.begun.embargo_us, dive.begun.wall_s) == (100_250_000, WALL_S + 100.25)
        assert dive.ended is not None and dive.ended.embargo_us == 160_750_000
        assert (dive.begun_by, dive.ended_by, dive.vehicles) == ("the lead", "the lead", ("Moth",))
        assert [report.dive for report in dives.record("Moth")] == [1, None]
        assert [report.told.depth_m for report in dives.record("Moth", 1)] == [5.0]


def test_silence_after_the_last_row_ends_a_dive(tmp_path: Path) -> None:
    """The journal's beats tell that time passed: a vehicle that fell silent ended its dive, if it has been so long."""
    site = Site(tmp_path, *a_dive()[:20])
    with site.read() as dives:
        assert [dive.ended for dive in dives.dives] == [None]
    site.clock(100_000.0)
    with site.read() as dives:
        assert dives.dives[0].ended is not None
        quiet_us = site.expedition.plan.dive.quiet_us
        silent_s = (dives.dives[0].ended.embargo_us - site.rows[-1].embargo_us - quiet_us) / SECOND
        assert 0 <= silent_s <= 1


def test_standby_alone_makes_a_dive_as_an_audience_sees_it(tmp_path: Path) -> None:
    """Nothing ever came from the main station: the standby's reports count, and their dive, legs and track are there.

    The released dive of the same rows (`Channel`) is what it has to agree with.
    """
    told = [(at_s, ("standby", lantern_line(told["depth_m"]))) for at_s, told in a_dive() if isinstance(told, dict)]
    site = Site(tmp_path, *told, text=EXPEDITION)
    pipeline = Pipeline(site.expedition.plan, Secrets(b"k" * 32))
    due = [item for row in site.rows for item in pipeline.receive(row)]
    due += pipeline.advance(site.rows[-1].embargo_us + 10_000 * SECOND)
    assert any(item.record.kind is Kind.TICK for item in due)
    with site.read() as dives:
        assert [dive.vehicles for dive in dives.dives] == [("Lantern",)]
        assert {phase.leg for phase in dives.phases(1)} == {Leg.DESCENT, Leg.BOTTOM, Leg.DECK}
        assert all(report.counts for report in dives.record("Lantern"))
        assert len(list(dives.track("Lantern", 1))) == len(list(dives.record("Lantern", 1))) > 60


AT = {"latitude_deg": -30.25, "longitude_deg": -22.5}  # in the declared area of `EXPEDITION`


def lantern_line(depth_m: float, **told: Any) -> bytes:
    """Return a message of Lantern's as a station sends it."""
    return json.dumps({"vehicle": "Lantern", "depth_m": depth_m, "altitude_m": 5.0, **AT, **told}).encode() + b"\n"


def test_note_tells_the_row_and_the_feed_it_came_by(tmp_path: Path) -> None:
    """A note of the standby's that counts only when the main station has fallen silent keeps its own row and moment."""
    both = [(at / 2 + late_s, (name, lantern_line(float(at)))) for at in range(2, 20)
            for name, late_s in (("main", 0.02), ("standby", 0.05))]  # fmt: skip
    noted = (10.3, ("standby", lantern_line(30.0, note="Rust.")))
    after = [(10.5 + at / 2, ("standby", lantern_line(40.0 + at))) for at in range(12)]
    site = Site(tmp_path, *both, noted, *after, text=EXPEDITION)
    with site.read() as dives:
        (said,) = dives.annotations()
        assert (said.text, said.feed, said.row) == ("Rust.", "standby", len(both) + 1)
        assert said.moment == (10_300_000, WALL_S + 10.3)


def test_log_belongs_to_the_dive_by_the_vehicles_own_clock(tmp_path: Path) -> None:
    """The vehicle's clock is off by a thousand seconds: its log's reports are of the dive that the live ones tell."""
    site = Site(tmp_path, *a_dive(), *a_dive(3_000, 3_690))
    site.log(*[moth(1.0, t=4_000.0 + at_s + 5) for at_s in (300, 400, 1_900, 3_200)])
    with site.read() as dives:
        logged = [report for report in dives.record("Moth") if report.log is not None]
        assert [report.dive for report in logged] == [1, 1, None, 2]
        assert [report.t_s for report in dives.record("Moth", 1) if report.log is not None] == [4_305.0, 4_405.0]
        assert [(log.vehicle, log.reports, log.who) for log in dives.logs] == [("Moth", 4, "Ines")]


messages = st.fixed_dictionaries(
    {"t": st.sampled_from([4_000.0, 4_000.1, 4_001.0, 4_002.5])},
    optional={"depth_m": st.sampled_from([1.0, 2.0]), "heading_deg": st.sampled_from([10.0, 20.0])},
).filter(lambda message: len(message) > 1)


@settings(max_examples=25, deadline=None)
@example([{"t": 4_000.0, "depth_m": 1.0}, {"t": 4_000.0, "depth_m": 2.0}, {"t": 4_000.0, "depth_m": 1.0}], [])
@given(st.lists(messages, max_size=8), st.lists(st.lists(messages, min_size=1, max_size=5), max_size=2))
def test_streamed_record_is_the_merged_one(live: list[dict[str, Any]], logs: list[list[dict[str, Any]]]) -> None:
    """What is kept, instant by instant from the disk, is what `merged` keeps of all in memory; and no report lacks."""
    with TemporaryDirectory() as folder:
        told = [(10.0 + at, {"vehicle": "Moth", **message}) for at, message in enumerate(live)]
        site = Site(Path(folder), *told)
        for log in logs:
            site.log(*[{"vehicle": "Moth", **message} for message in log])
        kept = [read_log(log.data, log.source, "Moth").reports for log in recovered_logs(site.private)]
        expected = merged(kept, list(live_reports(site.rows, site.expedition.plan, "Moth")))
        with site.read() as dives:
            record = list(dives.record("Moth"))
            assert [one.kept for one in record if one.kept is not None] == list(expected.reports)
            assert len(record) == len(live) + sum(map(len, kept)) == dives.reports


def test_every_live_report_tells_how_it_came(tmp_path: Path) -> None:
    """Its journal row, its moment on both clocks, its feed and its station stand with each; nothing is left out."""
    site = Site(tmp_path, (1.0, moth(1.0, t=9_000.0)), (2.5, moth(2.0)), (3.0, {"vehicle": "Nobody", "depth_m": 1.0}))
    with site.read() as dives:
        first, second = dives.record("Moth")
        assert second.receipt is not None and first.receipt is not None
        received = second.receipt
        assert (received.row, received.feed, received.station) == (2, "station", "alone")
        assert (received.moment.embargo_us, received.moment.wall_s) == (2_500_000, WALL_S + 2.5)
        assert (first.t_s, first.own) == (9_000.0, True)
        station = next(feed for feed in dives.feeds if feed.name == "station")
        assert (station.rows, station.reports, station.others, station.rejected) == (3, 2, 1, 0)


def test_what_was_said_and_decided_is_there(tmp_path: Path) -> None:
    """Annotations of desk and stations with where the vehicle was, their approval, and each decision word for word."""
    site = Site(
        tmp_path, (1.0, moth(40.0, **FIX)), (2.0, Say(text="A ring.", vehicle="Moth")), (3.0, moth(41.0, note="Rust.")),
        (4.0, Say(text="Gold?", wait=True)), (5.0, Say(text="Tin?", wait=True)), (6.0, Approve(say=4)),
        (7.0, Dismiss(say=5)), (8.0, b"no decision"),
    )  # fmt: skip
    with site.read() as dives:
        said = list(dives.annotations())
        assert [(one.text, one.state) for one in said] == [
            ("A ring.", "told"), ("Rust.", "told"), ("Gold?", "approved"), ("Tin?", "dismissed")]  # fmt: skip
        assert said[0].where is not None and said[0].where.latitude_deg == FIX["latitude_deg"]
        assert (said[0].where.depth_m, said[1].feed, said[1].who, said[2].where) == (40.0, "station", "", None)
        decided = list(dives.decisions())
        assert [one.what for one in decided] == ["say", "say", "say", "approve", "dismiss", ""]
        assert [one.text.encode() for one in decided] == [row.data for row in site.rows if row.kind is RowKind.DECISION]


def test_target_lies_where_its_last_sighting_says(tmp_path: Path) -> None:
    """A verdict without a sighting leaves the place; the row that placed it is told, and which decision is current."""
    seen = Sighted(bearing_deg=90.0, range_m=50.0, range_is=RangeIs.HORIZONTAL, bearing_sigma_deg=1.0,
                   range_sigma_m=1.0, heading_sigma_deg=1.0, place_sigma_m=2.0,
                   seen_from=SeenFrom(-38.0, -21.0, 0.0))  # fmt: skip
    first = Target(name="Contact", verdict="unchecked", vehicle="Moth", sighting=seen)
    site = Site(tmp_path, (1.0, first), (2.0, Target(name="Contact", verdict="rock")))
    with site.read() as dives:
        before, after = dives.targets()
        assert (before.current, after.current, after.placed_row, after.verdict) == (False, True, 1, "rock")
        assert after.placed is not None and after.placed == before.placed
        assert after.placed.longitude_deg > -21.0


def test_relay_goes_on_writing_meanwhile(tmp_path: Path) -> None:
    """With the journal open and growing while it is read, the record is what was there at first; all is kept."""
    site = Site(tmp_path, *a_dive())
    file = JournalFile(site.private)
    grown = list[int]()

    def grow(what: str, done: int, whole: int) -> None:
        seq = len(site.rows) + len(grown) + 1
        file.commit([Row(seq, 800 * SECOND + seq, WALL_S, "station", RowKind.WHOLE, b'{"vehicle":"Moth"}\n')], {})
        grown.append(seq)

    with exact_dives(site.expedition, grow) as dives:
        assert grown and len(site.rows) <= dives.rows <= len(site.rows) + len(grown)
        assert len(list(dives.record("Moth"))) == len(site.rows)
    assert file.last()[0] == len(site.rows) + len(grown)
    file.close()


def test_nothing_stays_behind(tmp_path: Path) -> None:
    """What is put aside while the record is read is gone afterwards, also where something goes wrong meanwhile."""
    site = Site(tmp_path, *a_dive())
    there = (
        "journal.db",
        "journal.db-shm",
        "journal.db-wal",
        "journal.lock",
        "journal.sums",
    )  # SQLite's own beside the journal
    with site.read():
        assert {path.name for path in site.private.iterdir()} <= set(there)  # nor meanwhile, for what kills it
    with pytest.raises(OperatorError, match="there is no dive 7: the journal has dives 1 to 1"), site.read() as dives:
        dives.dive(7)
    assert {path.name for path in site.private.iterdir()} <= set(there)


def test_without_a_journal_it_is_said(tmp_path: Path) -> None:
    """A site that has no journal has no record, and the message says where it was looked for."""
    (tmp_path / "EXPEDITION.toml").write_text(RIGHT, encoding="utf-8")
    expedition = parse_expedition(RIGHT, tmp_path / "EXPEDITION.toml")
    with pytest.raises(OperatorError, match="holds no journal"), exact_dives(expedition):
        pass


def test_full_disk_is_left_to_the_journal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the room that the journal needs would be taken, reading ends with a word, and nothing is left."""
    site = Site(tmp_path, *a_dive())
    monkeypatch.setattr("relay.shell.exact.exact_store.KEEP_FREE_BYTES", 1 << 62)
    with pytest.raises(OperatorError, match="Make room"), site.read():
        pass
    assert not left_behind(site.private)
