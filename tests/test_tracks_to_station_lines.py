"""The converter: every cell of the published tracks, and nothing else, comes out of the decoder again."""

import csv
import gzip
import json
import subprocess
import sys
from pathlib import Path

import pytest

import tracks_to_station_lines
from relay.core.model import Accepted
from relay.core.station_message import JsonLinesDecoder

TRACKS = {
    "rov-transects/transects-2022-10-06.csv.gz": (872, 872),
    "rov-transects/transects-2022-10-20.csv.gz": (1124, 1124),
    "glider-inlet/track.csv.gz": (4817, 4716),
    "glider-shelf/track.csv.gz": (668, 668),
}
FIELDS = {
    "t_s": "clock_s",
    "lat_deg": "latitude_deg",
    "lon_deg": "longitude_deg",
    "depth_m": "depth_m",
    "altitude_m": "altitude_m",
    "heading_deg": "heading_deg",
    "pitch_deg": "pitch_deg",
    "roll_deg": "roll_deg",
}


@pytest.mark.parametrize("name", TRACKS)
def test_published_track_comes_through_the_decoder(shared_data: Path, tmp_path: Path, name: str) -> None:
    """Row by row the decoder says what the cells of the table say; an empty cell says nothing."""
    rows_expected, messages_expected = TRACKS[name]
    target = tmp_path / "track.jsonl"
    assert tracks_to_station_lines.convert(shared_data / name, target, "Moth") == messages_expected
    decoder = JsonLinesDecoder()
    events = decoder.receive(target.read_bytes()) + decoder.end()
    with gzip.open(shared_data / name, "rt", newline="") as table:
        rows = list(csv.DictReader(table))
    assert len(rows) == rows_expected
    told = [row for row in rows if any(row.get(column) for column in FIELDS if column != "t_s")]
    for row, event in zip(told, events, strict=True):
        assert isinstance(event, Accepted)
        assert event.observation.vehicle == "Moth"
        for column, field in FIELDS.items():
            cell = row.get(column, "")
            assert getattr(event.observation, field) == (float(cell) if cell else None)


def test_altitude_without_an_echo_stays_missing(shared_data: Path) -> None:
    """In glider-shelf 102 rows have an altitude (README of the data set); the others have none, least of all -1."""
    rows = tracks_to_station_lines.read_rows(shared_data / "glider-shelf" / "track.csv.gz")
    messages = list(tracks_to_station_lines.station_messages(rows, "Moth"))
    altitudes_m = [float(message["altitude_m"]) for message in messages if "altitude_m" in message]
    assert len(altitudes_m) == 102
    assert (min(altitudes_m), max(altitudes_m)) == (11.6, 44.7)


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        ({"t_s": "5", "depth_m": "1.5"}, [{"t": 5.0, "vehicle": "Moth", "depth_m": 1.5}]),
        ({"t_s": "5", "depth_m": "1", "lat_deg": "2", "lon_deg": ""}, [{"t": 5.0, "vehicle": "Moth", "depth_m": 1.0}]),
        ({"t_s": "5", "depth_m": "", "battery_pct": "97", "mode": "117"}, []),
    ],
)
def test_row_becomes_what_it_tells(row: dict[str, str], expected: list[dict[str, float | str]]) -> None:
    """A cell becomes a field, half a position none, and a row of other columns no message."""
    assert list(tracks_to_station_lines.station_messages([row], "Moth")) == expected


def test_command_line_converts(tmp_path: Path) -> None:
    """The documented command writes the lines and says how many."""
    source, target = tmp_path / "track.csv", tmp_path / "track.jsonl"
    source.write_text("t_s,depth_m,heading_deg\n0,1.25,\n1,,90\n")
    command = [sys.executable, tracks_to_station_lines.__file__, str(source), str(target), "--vehicle", "Lantern"]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
    assert done.stdout == f"2 messages in {target}\n"
    assert [json.loads(line) for line in target.read_text().splitlines()] == [
        {"t": 0.0, "vehicle": "Lantern", "depth_m": 1.25},
        {"t": 1.0, "vehicle": "Lantern", "heading_deg": 90.0},
    ]


@pytest.mark.parametrize("content", ["depth_m\n5\n", "t_s,depth_m\n0,deep\n"])
def test_command_line_refuses_another_table(tmp_path: Path, capsys: pytest.CaptureFixture[str], content: str) -> None:
    """A table without times, or with words for numbers, is refused in one line."""
    source = tmp_path / "other.csv"
    source.write_text(content)
    assert tracks_to_station_lines.main([str(source), str(tmp_path / "out.jsonl"), "--vehicle", "Moth"]) == 1
    assert str(source) in capsys.readouterr().err
    assert not (tmp_path / "out.jsonl").exists()
