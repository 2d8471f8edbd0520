"""Exports say what the recording says, to readers that aren't ours, and say that their frame has no place."""

import csv
import json
from dataclasses import replace
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from shapely.geometry import shape

from relay.__main__ import main
from relay.core.figures import figures
from relay.core.release import Kind
from relay.core.wire import Recording, footer, read_recording
from relay.shell.released.export import NOTICE, as_csv, geojson
from released import dive, dive_with_everything, with_heads, without_heads

DEMO = Path(__file__).resolve().parents[1] / "recordings/demo-dive.recording"


@pytest.fixture(scope="module")
def demo() -> Recording:
    """The demo's recorded dive."""
    return read_recording(DEMO.read_bytes())


def recorded(*frames: Any) -> Recording:
    """Return frames as a recording."""
    return read_recording(b"".join(frame.data for frame in frames))


def test_geojson_holds_every_position_once_as_lines_that_shapely_reads(demo: Recording) -> None:
    """Positions and depths come back from an independent reader (shapely) as the records have them, in their order."""
    features = json.loads(geojson(demo))["features"]
    tracks = [feature for feature in features if feature["properties"]["kind"] == "track"]
    for at, vehicle in enumerate(demo.header["vehicles"]):
        own = [feature for feature in tracks if feature["properties"]["vehicle"] == vehicle]
        read = [
            (elapsed_s, *point, depth_m, feature["properties"]["leg"])
            for feature in own
            for elapsed_s, depth_m, point in zip(
                feature["properties"]["elapsed_s"], feature["properties"]["depth_m"],
                shape(feature["geometry"]).coords, strict=True,
            )
        ]  # fmt: skip
        rows = [(record.elapsed_s, record.body[at]) for record in demo.records if record.kind == Kind.TICK]
        assert read == [(elapsed_s, *row[1:4], row[7]) for elapsed_s, row in rows if row[1] is not None]
    assert len(tracks) > 2


def test_geojson_says_what_its_coordinates_are(demo: Recording) -> None:
    """RFC 7946: a FeatureCollection without `crs`, whole features; a member says: metres, a frame without a place."""
    whole = json.loads(geojson(demo))
    assert whole["type"] == "FeatureCollection"
    assert "crs" not in whole
    assert whole["coordinates"] == {"unit": "metre", "frame": "local, without a place", "notice": NOTICE}
    assert "Not for navigation" in whole["caution"]
    for feature in whole["features"]:
        assert set(feature) == {"type", "geometry", "properties"}
        geometry = feature["geometry"]
        assert geometry is None or shape(geometry).is_valid
        assert geometry is None or geometry["type"] != "LineString" or len(geometry["coordinates"]) >= 2


def test_notes_and_targets_stand_where_their_vehicle_was_shown(demo: Recording) -> None:
    """An annotation has the last place its vehicle was shown at; without one it has no geometry."""
    notes = [feature for feature in json.loads(geojson(demo))["features"] if feature["properties"]["kind"] == "note"]
    texts = [record.body[1] for record in demo.records if record.kind == Kind.NOTE]
    assert [feature["properties"]["text"] for feature in notes] == texts
    assert any(feature["geometry"] is not None for feature in notes)
    assert any(feature["geometry"] is None for feature in notes)
    targets = json.loads(geojson(recorded(*dive_with_everything(1))))["features"][-2:]
    assert [(each["properties"]["text"], each["properties"]["verdict"]) for each in targets] == [
        ("Boiler", "unchecked"), ("Boiler", "of interest"),
    ]  # fmt: skip


def test_tree_heads_are_in_no_export(demo: Recording) -> None:
    """They stay in the recording, against which a proof is checked; whoever draws a map has no use for them."""
    for recording in (demo, recorded(*dive_with_everything(1))):
        headed, bare = (
            replace(recording, records=tuple(put(recording.records))) for put in (with_heads, without_heads)
        )
        assert (geojson(headed), as_csv(headed)) == (geojson(bare), as_csv(bare))


def test_exact_places_are_in_no_export() -> None:
    """A recording of a trusted audience tells latitudes; an export in the local frame has no column for them."""
    recording = recorded(*dive_with_everything(1))
    for text in (geojson(recording), as_csv(recording)):
        assert "38.6" not in text
        assert "21.9" not in text


def test_csv_has_a_row_for_each_vehicle_and_tick(demo: Recording) -> None:
    """Read back by the library's reader: counts, values, empty where withheld; the way run is that of the figures."""
    rows = list(csv.DictReader(StringIO(as_csv(demo), newline="")))
    ticks = [record for record in demo.records if record.kind == Kind.TICK]
    assert sum(row["kind"] == "tick" for row in rows) == len(ticks) * len(demo.header["vehicles"])
    assert sum(row["kind"] == "note" for row in rows) == sum(record.kind == Kind.NOTE for record in demo.records)
    lantern = [row for row in rows if row["kind"] == "tick" and row["vehicle"] == "Lantern"]
    assert [row["depth_m"] for row in lantern] == [
        "" if record.body[0][3] is None else str(record.body[0][3]) for record in ticks
    ]
    bottom_s = sum(row["leg"] == "bottom" for row in lantern) * demo.header["tick_s"]
    assert bottom_s == figures(demo.records).vehicles[0].bottom_s


def test_text_that_looks_like_a_formula_is_made_harmless() -> None:
    """A cell that begins like a formula gets an apostrophe, as is usual against spreadsheets that calculate text."""
    frames = dive(1, 2, closed=False)
    recording = recorded(*frames)
    record = recording.records[-1]
    evil = type(record)(record.dive, record.seq, Kind.NOTE, record.elapsed_s, [None, '=HYPERLINK("x")'], b"")
    text = as_csv(Recording((*recording.records[:-1], evil), False, 0))
    assert list(csv.DictReader(StringIO(text)))[-1]["text"] == '\'=HYPERLINK("x")'


def test_command_writes_by_ending_and_writes_over_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both kinds, always the same bytes; another ending or a file that is there is refused with what to do."""
    read = tmp_path / "dive-001.recording"
    frames = [frame.data for frame in dive(1, 40)]
    read.write_bytes(b"".join(frames) + footer(frames))
    for name in ("dive.geojson", "dive.csv"):
        out = tmp_path / name
        assert main(["export", str(read), "-o", str(out)]) == 0
        first = out.read_bytes()
        assert main(["export", str(read), "-o", str(out)]) == 2
        assert "add --force" in capsys.readouterr().err
        assert main(["export", str(read), "-o", str(out), "--force"]) == 0
        assert out.read_bytes() == first
    assert main(["export", str(read), "-o", str(tmp_path / "dive.kml")]) == 2
    assert "ends in .geojson or .csv" in capsys.readouterr().err
    assert main(["export", str(read), "-o", str(tmp_path / "no/dive.csv")]) == 2
    assert "can't be written" in capsys.readouterr().err
