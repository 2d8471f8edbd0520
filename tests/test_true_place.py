"""Where a dive really was, from the journal: against geographiclib and the ship's own frame."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from geographiclib.geodesic import Geodesic

from dives import INVENTED_SITE, message, plan, policy, walk
from relay.audit.attacks.attack import Dive
from relay.core.errors import OperatorError
from relay.core.geodesy import Anchor, SiteFrame
from relay.core.policy import DiveLimits, Plan
from relay.core.release import Kind
from relay.shell.audit.true_place import true_place
from relay.shell.record.secrets_file import seeded_secrets
from relay.shell.released.recording import load_recording
from relay.shell.ship.rehearse import rehearse

CELL_M = 10.0
FIRST_S = 300


@pytest.fixture(scope="module")
def rehearsed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of a rehearsed walk of 20 minutes that begins after a rest, with a gap of a minute in it."""
    folder = tmp_path_factory.mktemp("true")
    steps = [(FIRST_S * (at > 0) + at, step) for at, step in enumerate(walk(1_200, seed=4)) if not 600 < at < 660]
    lines = [json.dumps({"t": at, **json.loads(message(step, INVENTED_SITE))}) for at, step in steps]
    (folder / "dive.jsonl").write_text("\n".join(lines) + "\n")
    rehearse(one_plan(), seeded_secrets(1), [str(folder / "dive.jsonl")], folder / "out")
    return folder / "out"


def one_plan() -> Plan:
    """Return a plan of one audience in cells of 10 m."""
    return plan(policy(cell_m=CELL_M))


def dive_of(folder: Path) -> Dive:
    """Return the last dive as an outsider has it: the walk."""
    path = max((folder / "released" / "public").glob("dive-*.recording"))
    recording = load_recording(path)
    return Dive(path.name, recording.header, recording.records)


def apart_m(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Return metres between two places, by geographiclib."""
    return float(Geodesic.WGS84.Inverse(*one, *other)["s12"])


@pytest.mark.parametrize("at", [0, 40, -1])
def test_point_of_the_frame_is_found_within_a_cell(at: int, rehearsed: Path) -> None:
    """A released point lies within a cell of where geographiclib put the vehicle then."""
    dive = dive_of(rehearsed)
    shown = [record for record in dive.records if record.kind == Kind.TICK and record.body[0][1] is not None]
    east_m, north_m = shown[at].body[0][1:3]
    found = true_place(rehearsed / "private", one_plan(), [dive], (east_m, north_m))
    anchor = Anchor(*first_place(), 0)
    back = SiteFrame(anchor, seeded_secrets(1)).place(*found)
    assert (back.east_m, back.north_m) == pytest.approx((east_m, north_m), abs=CELL_M)


def first_place() -> tuple[float, float]:
    """Return where the walk's first fix is, which the site's frame is laid about."""
    first = json.loads(message(walk(1, seed=4)[0], INVENTED_SITE))
    return first["latitude_deg"], first["longitude_deg"]


def test_point_far_from_the_track_is_found_by_the_turn(rehearsed: Path) -> None:
    """A point 2 km off the track is found to 60 m: the turn is right to 2 degrees."""
    dive = dive_of(rehearsed)
    frame = SiteFrame(Anchor(*first_place(), 0), seeded_secrets(1))
    there = Geodesic.WGS84.Direct(*INVENTED_SITE, 77.0, 2_000.0)
    placed = frame.place(there["lat2"], there["lon2"])
    found = true_place(rehearsed / "private", one_plan(), [dive], (placed.east_m, placed.north_m))
    assert apart_m(found, (there["lat2"], there["lon2"])) < 60


def test_without_a_track_it_is_the_middle_of_the_reports(rehearsed: Path) -> None:
    """A release that shows no place has no frame: the middle of the exact track stands for it."""
    found = true_place(rehearsed / "private" / "journal.db", one_plan(), [dive_of(rehearsed)], None)
    assert apart_m(found, INVENTED_SITE) < 700


def test_fix_counts_as_long_as_it_was_shown(tmp_path: Path) -> None:
    """A vehicle on its own, heard once in two minutes, is found all the same: its policy shows fixes for three."""
    steps = list(enumerate(walk(2_400, seed=4)))[::120]
    lines = [json.dumps({"t": at, **json.loads(message(step, INVENTED_SITE))}) for at, step in steps]
    (tmp_path / "dive.jsonl").write_text("\n".join(lines) + "\n")
    slow = plan(policy(cell_m=CELL_M, stale_us=180_000_000), dive=DiveLimits(quiet_us=600_000_000))
    rehearse(slow, seeded_secrets(1), [str(tmp_path / "dive.jsonl")], tmp_path / "out")
    dive = dive_of(tmp_path / "out")
    shown = [record for record in dive.records if record.kind == Kind.TICK and record.body[0][1] is not None]
    east_m, north_m = shown[-1].body[0][1:3]
    found = true_place(tmp_path / "out" / "private", slow, [dive], (east_m, north_m))
    last = json.loads(message(steps[-1][1], INVENTED_SITE))
    assert apart_m(found, (last["latitude_deg"], last["longitude_deg"])) < 1.5 * CELL_M


def test_journal_of_another_dive_is_refused(rehearsed: Path) -> None:
    """A track that doesn't fit is not laid over it all the same."""
    dive = dive_of(rehearsed)
    wild = [
        record._replace(body=[[row[0], None if row[1] is None else row[1] * 3, *row[2:]] for row in record.body])
        if record.kind == Kind.TICK
        else record
        for record in dive.records
    ]
    with pytest.raises(OperatorError, match="the journal of another dive"):
        true_place(rehearsed / "private", one_plan(), [replace(dive, records=tuple(wild))], (0.0, 0.0))


def test_what_is_no_journal_is_told(rehearsed: Path, tmp_path: Path) -> None:
    """A missing file, a file of something else, and a journal without a position."""
    with pytest.raises(OperatorError, match="no such journal"):
        true_place(tmp_path, one_plan(), [dive_of(rehearsed)], None)
    (tmp_path / "journal.db").write_bytes(b"no database" * 99)
    with pytest.raises(OperatorError, match="can't be read as a journal"):
        true_place(tmp_path, one_plan(), [dive_of(rehearsed)], None)
    other = replace(one_plan(), vehicles=("Other",))
    with pytest.raises(OperatorError, match="no position of a vehicle"):
        true_place(rehearsed / "private", other, [dive_of(rehearsed)], None)
