"""The demo joins the dive where something is about to happen, whatever the seed, and loses nothing at the cut."""

from itertools import islice, pairwise, takewhile
from math import hypot
from pathlib import Path

import pytest

from invented_dive import moments, parsed_or_none, stream
from relay.core.policy import Disclosed
from relay.shell.demo.demo import DEMO_SEED, dive_so_far, expedition_text
from relay.shell.demo.demo_run import _begin
from relay.shell.plan.expedition import parse_expedition, read_expedition
from relay.shell.proofs.checking import check
from relay.shell.record.journal import NAME, read_rows
from relay.shell.released.recording import recording_path


def test_cut_loses_and_doubles_nothing() -> None:
    """Past and the next minutes, joined, are the stream from its beginning; the border is the joining moment."""
    cut = dive_so_far(DEMO_SEED)
    coming = tuple(islice(cut.coming, 2_000))
    assert cut.past + coming == stream()[: len(cut.past) + 2_000]
    assert cut.past[-1].t_s < cut.joined_s <= coming[0].t_s


@pytest.mark.parametrize("seconds", [0.0, 100.0, 100.03])
def test_cut_at_a_given_moment(seconds: float) -> None:
    """A moment that is given is where the stream is cut: what is sent at it is still to come."""
    cut = dive_so_far(DEMO_SEED, seconds)
    assert cut.past == tuple(takewhile(lambda sent: sent.t_s < seconds, stream()))
    assert next(cut.coming) == stream()[len(cut.past)]


def test_cut_after_the_end_leaves_nothing_to_come() -> None:
    """Past the end of the dive everything is past."""
    cut = dive_so_far(DEMO_SEED, 1e6)
    assert (cut.past, list(cut.coming)) == (stream(), [])


@pytest.mark.parametrize("seed", [DEMO_SEED, 1, 2])
def test_first_live_minutes_have_something_to_see(seed: int) -> None:
    """An annotation within 20 s, then every 30 to 60 s for about five minutes; Moth appears after about three."""
    cut = dive_so_far(seed)
    assert 60 * 60 < cut.joined_s < 75 * 60
    live = list(takewhile(lambda sent: sent.t_s < cut.joined_s + 300.0, cut.coming))
    notes = [sent.t_s - cut.joined_s for sent in live if b'"note"' in sent.data]
    moth = next(sent.t_s for sent in live if b'"vehicle":"Moth"' in sent.data) - cut.joined_s
    assert notes[0] < 20.0
    assert all(30.0 <= after - before <= 60.0 for before, after in pairwise(notes))
    assert 300.0 - notes[-1] < 60.0
    assert 150.0 < moth < 210.0


def test_demo_is_joined_on_the_move_and_with_fixes() -> None:
    """In the demo's own first five minutes no fix stays away for 5 s, and the first minute is run at survey speed."""
    joined = dive_so_far(DEMO_SEED).joined_s
    sent = [one for one in stream() if one.feed == "position" and joined <= one.t_s < joined + 300.0]
    said = [(one.t_s, parsed_or_none(one.data)) for one in sent]  # of the other three hours nothing is asked here
    fixes = [t_s for t_s, sentence in said if sentence is not None and sentence.msgID == "GGA"]
    assert max(after - before for before, after in pairwise(fixes)) < 5.0
    minute = moments()[int(joined) : int(joined) + 60]
    speeds = sorted(hypot(moment.lantern.east_mps, moment.lantern.north_mps) for moment in minute)
    assert speeds[30] > 0.35
    assert minute[0].lantern.place.metres_to(minute[-1].lantern.place) > 15.0


def test_expedition_file_is_read_by_the_relay() -> None:
    """The template with its ports is a sound expedition file that says what the demo needs."""
    expedition = parse_expedition(expedition_text(port=8081, nmea_port=10110, station_port=4001), Path("demo.toml"))
    plan, public = expedition.plan, expedition.plan.policies[0]
    assert (plan.expedition, expedition.ship) == ("The search for the Isoline Marr", "Harrow Tern")
    assert plan.vehicles == ("Lantern", "Moth")
    assert expedition.listen == ("127.0.0.1", 8081)
    assert expedition.open_audiences == {"public"}
    assert (public.delay_us, public.extra_us, public.tick_us) == (20_000_000, 5_000_000, 2_000_000)
    assert public.fields == set(Disclosed) - {Disclosed.STILLS}
    assert (public.cell_m, public.depth_step_m, public.heading_step_deg) == (10.0, 2.0, 22.5)


def test_what_the_demo_begins_with_is_one_whole_record(tmp_path: Path) -> None:
    """The dive of the day before lies in the journal with its recording, whose seals are of its rows."""
    path = tmp_path / "EXPEDITION.toml"
    path.write_text(expedition_text(port=8081, nmea_port=10110, station_port=4001))
    expedition = read_expedition(path)
    _begin(expedition, dive_so_far(DEMO_SEED, 30.0))
    report = check(expedition)
    assert [line for line in report.lines if "WRONG" in line] == []
    first = recording_path(expedition.released, "public", 1)
    assert f"{first}: 160 seals of the exact record: good" in report.lines
    rows = [row for row in read_rows(expedition.private / NAME) if row.embargo_us >= 1_440 * 60_000_000]
    assert rows[0].seq > report.proved - 1_000
    assert [row.data for row in rows] == [sent.data for sent in dive_so_far(DEMO_SEED, 30.0).past]
