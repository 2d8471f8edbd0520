"""The released report says what the recording says and nothing more, marked on every page, with what isn't shown."""

import re
from base64 import b64decode
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image

from dives import SIGNER, sealed
from relay.core.disclosure import Report as Told
from relay.core.policy import Disclosed, Plan, Policy
from relay.core.release import Kind, ReleasedRecord, ReleaseLog
from relay.core.wire import Recording, read_recording
from relay.shell.report.dive_report import Report, Section
from relay.shell.report.released_dive import dive_told
from relay.shell.report.released_report import released_report
from released import dive, dive_with_everything, dive_with_stills
from test_import_table import EXACT, FOLDERS, row_of

DEMO = Path(__file__).resolve().parents[1] / "recordings/demo-dive.recording"
TICK_US = 15_000_000
PUBLIC = Policy(
    audience="public",
    delay_us=2_700_000_000,
    extra_us=600_000_000,
    tick_us=TICK_US,
    fields=frozenset(Disclosed),
    cell_m=25.0,
    depth_step_m=10.0,
)


@pytest.fixture(scope="module")
def demo() -> Recording:
    """The demo's recorded dive."""
    return read_recording(DEMO.read_bytes())


def recorded(*frames: bytes) -> Recording:
    """Return frames as a recording."""
    return read_recording(b"".join(frames))


def log(policy: Policy = PUBLIC) -> ReleaseLog:
    """Return the log of a dive of one vehicle for an audience."""
    plan = Plan(expedition="The search for the Isoline Marr", vehicles=("Lantern",), sources=(), policies=(policy,))
    return ReleaseLog(policy, plan, 3, 0, SIGNER.key)


def ticked(told: Sequence[tuple[int, Told]], policy: Policy = PUBLIC) -> Recording:
    """Return a recording of one vehicle that is told so at these ticks."""
    dive = log(policy)
    records: list[ReleasedRecord] = [dive.open(0), *(dive.tick(at * TICK_US, [each]) for at, each in told)]
    return recorded(*map(sealed, [*records, dive.end((told[-1][0] + 1) * TICK_US)]))


def section(report: Report, title: str) -> Section:
    """Return a part of a report by its title."""
    return next(part for part in report.sections if part.title == title)


def rows(report: Report, title: str) -> list[list[str]]:
    """Return the rows of a part's table."""
    table = section(report, title).table
    assert table is not None
    return [list(row) for row in table.rows]


def test_mark_says_released_for_whom_and_how_late(demo: Recording) -> None:
    """What stands on every page; delays without an addition are one number, none at all is said to be none."""
    assert "RELEASED to public, 20 s to 25 s late" == released_report(demo, True).mark
    assert "RELEASED to public, 45 min to 55 min late" == released_report(recorded(*_frames(dive(1, 2))), True).mark
    at_once = replace(PUBLIC, delay_us=0, extra_us=0)
    assert "RELEASED to public, not late" == released_report(ticked([(0, Told(heard=True))], at_once), True).mark


def _frames(frames: Sequence[object]) -> list[bytes]:
    return [frame.data for frame in frames]  # type: ignore[attr-defined]


def test_what_is_not_shown_follows_the_policy() -> None:
    """Fields that the policy doesn't name are said to be withheld, each; a frame without a place and no date always."""
    few = replace(PUBLIC, fields=frozenset({Disclosed.DEPTH, Disclosed.LEG}), depth_relative=True)
    said = " ".join(section(released_report(ticked([(0, Told(heard=True))], few), True), "What isn't shown").says)
    for words in ("positions,", "height above the seabed", "headings", "annotations and targets", "stills"):
        assert words in said
    assert "Up is not north" in said
    assert "Date and time of day" in said
    assert "How deep the seabed is" in said
    assert "depths," not in said
    everything = " ".join(section(released_report(ticked([(0, Told(heard=True))]), True), "What isn't shown").says)
    assert "Not told at all" not in everything


def test_legs_have_the_times_and_depths_of_the_records() -> None:
    """From the first tick of a leg to the first of the next; silence and a leg that isn't told break none."""
    told = [
        (0, Told(heard=True, depth_m=0, leg="deck")),
        (1, Told(heard=True, depth_m=10, leg="descent")),
        (2, Told(heard=False)),
        (3, Told(heard=True, depth_m=90, leg="descent")),
        (4, Told(heard=True, depth_m=80, leg="bottom")),
    ]
    report = released_report(ticked(told), True)
    assert [
        ["Lantern", "on deck", "0:00:00", "0:00:15", "0:00:15", "0 m"],
        ["Lantern", "on the way down", "0:00:15", "0:01:00", "0:00:45", "90 m"],
        ["Lantern", "at work below", "0:01:00", "0:01:15", "0:00:15", "80 m"],
    ] == rows(report, "Legs")
    assert ["", "0:00:30", "Lantern", "No report until 0:00:45.", ""] in rows(report, "Log")


def test_ticks_that_are_missing_are_told() -> None:
    """Where the ship showed nothing, as with a vehicle outside the area, the log says from when to when."""
    report = released_report(ticked([(0, Told(heard=True)), (1, Told(heard=True)), (9, Told(heard=True))]), True)
    assert ["", "0:00:30", "", "Nothing is shown until 0:02:15.", ""] in rows(report, "Log")
    whole = rows(released_report(ticked([(0, Told(heard=True)), (1, Told(heard=True))]), True), "Log")
    assert not any("Nothing is shown" in row[3] for row in whole)


def test_log_has_every_annotation_once_with_its_place(demo: Recording) -> None:
    """In the order of the records, numbered as on the drawings; a place where the vehicle was shown, else none."""
    spoken = [row for row in rows(released_report(demo, True), "Log") if row[0]]
    notes = [record for record in demo.records if record.kind == Kind.NOTE]
    assert [[str(at), record.body[1]] for at, record in enumerate(notes, 1)] == [[row[0], row[3]] for row in spoken]
    told = dive_told(demo)
    by_hand, shown = [], None
    for record in demo.records:
        shown = record.body[0][1:3] if record.kind == Kind.TICK else shown
        if record.kind == Kind.NOTE:
            by_hand.append(None if shown is None or shown[0] is None else tuple(shown))
    assert by_hand == [said.place for said in told.said]
    assert any(by_hand)
    assert [bool(place) for place in by_hand] == [bool(row[4]) for row in spoken]


def test_vehicles_figures_are_those_of_the_records(demo: Recording) -> None:
    """Ticks heard and placed counted by hand; deepest the greatest depth told; every position is on the plan."""
    report = released_report(demo, True)
    ticks = [record for record in demo.records if record.kind == Kind.TICK]
    for at, row in enumerate(rows(report, "Vehicles")):
        own = [record.body[at] for record in ticks]
        assert row[0] == demo.header["vehicles"][at]
        assert row[3] == f"{max(each[3] for each in own if each[3] is not None):,} m"
        assert row[4] == f"{sum(each[0] == 'reporting' for each in own):,} of {len(ticks):,}"
        assert row[5] == f"{sum(each[1] is not None for each in own):,} of {len(ticks):,}"
        track = [spot for piece in dive_told(demo).vehicles[at].track for spot in piece]
        assert track == [tuple(each[1:3]) for each in own if each[1] is not None]


def test_targets_have_their_last_verdict_and_first_place() -> None:
    """One row a name; an audience that is told exact positions reads them, marked so on every page."""
    report = released_report(recorded(*_frames(dive_with_everything(1))), True)
    assert [["Boiler", "of interest", "Lantern", "0:00:00", "0:00:15", "-38.6147200°, -21.9330600°"]] == rows(
        report, "Targets"
    )
    assert report.exact
    assert report.mark.endswith("HOLDS EXACT POSITIONS")
    assert not any("without a place" in line for line in report.meaning)


def test_without_exact_place_nothing_of_it_is_told(demo: Recording) -> None:
    """No degree of a position stands in the report of an audience with a local frame."""
    report = released_report(demo, True)
    assert not report.exact
    said = str(report)
    assert not re.search(r"\d°, ", said)
    assert "EXACT" not in said


def test_stills_are_in_the_report_as_they_were_released(tmp_path: Path) -> None:
    """The very bytes, with their size and words, numbered as in the log."""
    Image.new("RGB", (64, 48), "navy").save(tmp_path / "a.jpg")
    jpeg = (tmp_path / "a.jpg").read_bytes()
    report = released_report(recorded(*_frames(dive_with_stills(1, [jpeg]))), True)
    (picture,) = section(report, "Stills").pictures
    assert (64, 48, "1: still 0") == (picture.width, picture.height, picture.caption)
    assert jpeg == b64decode(picture.data.partition(",")[2])
    assert ["1", "0:00:00", "Lantern", "still 0 (with a still)", ""] in rows(report, "Log")


def test_seals_of_the_exact_record_are_counted() -> None:
    """How many, from when to when; none: no such line."""
    dive = log()
    records = [dive.open(0), dive.tick(0, [Told(heard=True)]), dive.head(0, bytes(32))]
    records += [dive.tick(TICK_US * 4, [Told(heard=True)]), dive.head(TICK_US * 4, bytes(range(32)))]
    sealed_dive = recorded(*map(sealed, [*records, dive.end(TICK_US * 5)]))
    facts = dict(section(released_report(sealed_dive, True), "Whose it is").facts)
    assert "2 seals, from 0:00:00 to 0:01:00" == facts["Seals of her exact record"]
    assert "Seals of her exact record" not in dict(
        section(released_report(ticked([(0, Told(heard=True))]), True), "Whose it is").facts
    )


def test_whose_it_is_goes_by_the_check(demo: Recording) -> None:
    """A signed one names the key and how to know whose it is, an unsigned one is called so; the footer's digest."""
    facts = dict(section(released_report(demo, True), "Whose it is").facts)
    assert demo.header["key"] == facts["Signed with the key"]
    assert facts["SHA-256 of its records"].encode() in DEMO.read_bytes()[-100:]
    unsigned = dict(section(released_report(demo, False), "Whose it is").facts)
    assert "nobody can check" in unsigned["Signed"]
    assert "Signed with the key" not in unsigned


def test_dive_that_goes_on_is_said_to() -> None:
    """First, and among the facts."""
    report = released_report(recorded(*_frames(dive(1, 3, closed=False))), True)
    assert any("The dive goes on" in line for line in report.meaning)
    assert "not in this recording" == dict(section(report, "The dive").facts)["Its end"]
    assert not any(row[3] == "The dive ends." for row in rows(report, "Log"))


def test_dive_that_tells_almost_nothing_has_a_report() -> None:
    """One tick without a value: no drawings, no legs, and it says that no track is shown."""
    report = released_report(ticked([(0, Told(heard=False))]), True)
    assert ("No track is shown of this dive.",) == tuple(section(report, "Plan").says)
    assert not {"Depth profile", "Legs", "Targets", "Stills"} & {part.title for part in report.sections}


def test_released_report_is_made_without_anything_exact() -> None:
    """Nothing that its rooms load, or that those load, reads the journal, the secrets or the exact record (R7)."""
    reached, ahead = set[str](), {"shell.released_report"}
    while ahead:
        room = ahead.pop()
        reached.add(room)
        ahead |= row_of(room)[0] - reached
    own = {f"shell.{name}" for name in ("dive_report", "released_dive", "released_report", "report_drawing")}
    assert own == {room for room in reached if FOLDERS[room] == "report"}
    aboard = {room for room in EXACT if room.startswith("shell.")} - own
    assert {"shell.journal", "shell.secrets_file", "shell.exact_dives"} <= aboard
    exact = {"core.exact_record", "core.own_time", "core.pipeline", "core.channel", "core.fuse", "core.sources"}
    assert set() == reached & aboard
    assert {"core.fuse"} >= reached & exact, "the type of a report at the door alone"
