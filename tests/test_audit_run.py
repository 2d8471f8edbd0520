"""An audit from files to words, with every attack: a dive over a known seabed, told well and told badly."""

import argparse
import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from dives import SIGNER
from played_cases import bottom, released_dive
from relay.audit.attacks.attacks import ATTACKS
from relay.audit.charts.chart import Chart
from relay.audit.matching.filled import at_places
from relay.core.disclosure import Report
from relay.core.errors import OperatorError
from relay.core.policy import Place
from relay.core.wire import footer
from relay.shell.audit.audit_run import Said, run_audit
from test_audit_case import AREA, chart_file, expedition_file
from test_known_seabed import rough_chart

CELLS = 26
HERE = 12, 9
WAY_M = [(90.0 * at, 60.0 * (at % 7)) for at in range(8)]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a chart of hills, and a finer one of the same."""
    folder = tmp_path_factory.mktemp("audit")
    (folder / "finer").mkdir()
    chart_file(folder, rough_chart(CELLS, 1))
    chart_file(folder / "finer", rough_chart(CELLS, 3))
    return folder


def start() -> tuple[float, float]:
    """Return where the dive of these tests begins."""
    chart = rough_chart(CELLS, 1)
    return float(chart.latitude_deg[HERE[0]]), float(chart.longitude_deg[HERE[1]])


def seabed_m(seabed: Chart, east_m: float, north_m: float) -> float:
    """Return the depth so far from the start, by geographiclib."""
    there = Geodesic.WGS84.Direct(*start(), np.degrees(np.arctan2(east_m, north_m)), np.hypot(east_m, north_m))
    return float(at_places(seabed, np.array([there["lat2"]]), np.array([there["lon2"]]))[0])


def reports(turn_rad: float = 1.1) -> list[Report]:
    """Return a vehicle's work on the finer seabed, depth to the metre, in a frame turned from north."""
    seabed, out = rough_chart(CELLS, 3), []
    for east_m, north_m in WAY_M:
        east, north = (
            east_m * np.cos(turn_rad) + north_m * np.sin(turn_rad),
            north_m * np.cos(turn_rad) - east_m * np.sin(turn_rad),
        )
        depth_m = round(seabed_m(seabed, east_m, north_m) - 1.0)
        out.append(bottom(25.0 * round(east / 25), 25.0 * round(north / 25), float(depth_m)))
    return out


def written(folder: Path, told: Sequence[Report], name: str = "public", **changes: object) -> Path:
    """Write the recording of a dive and return its path."""
    dive = released_dive(told, audience=name, **changes)
    path = folder / "released" / name / "dive-001.recording"
    path.parent.mkdir(parents=True, exist_ok=True)
    frames = [record.data for record in dive.records]
    path.write_bytes(b"".join([*frames, footer(frames)]))
    assert SIGNER.key.hex() == dive.header["key"]
    return path


def asked(folder: Path, recording: Path, **changes: object) -> argparse.Namespace:
    """Return what `offing audit` is asked."""
    options: dict[str, object] = {
        "recordings": [recording], "chart": [folder / "chart.csv"], "seabed": folder / "finer" / "chart.csv",
        "chart_error": 1.0, "area": None, "expedition": None, "ship_track": None, "wrecks": None, "truth": None,
        "turns": 12, "trials": 60, "seed": 1, "html": None, "force": False, "json": True,
    }  # fmt: skip
    return argparse.Namespace(**{**options, **changes})


def run(options: argparse.Namespace) -> Said:
    """Run an audit without a progress bar."""
    return run_audit(options, lambda doing, share: None)


def test_depths_to_the_metre_give_the_place_away(folder: Path) -> None:
    """Nothing but a track and depths, and three quarters of the area need no search: by depth."""
    said = run(asked(folder, written(folder, reports())))
    found = json.loads(said.text)
    assert found["rsa95_km2"] is not None, found["refused"]
    assert found["declared_km2"] == pytest.approx(CELLS**2 * 0.444 * 0.347, rel=0.02)
    assert found["rsa95_km2"] < 0.3 * found["declared_km2"]
    assert found["without"]["depth"] > 2 * found["rsa95_km2"]
    assert found["half_km2"] < found["rsa95_km2"] == found["left_km2"]
    assert not found["outright"]
    assert {attack.name for attack in ATTACKS} == {line["name"] for line in found["attacks"]}
    assert all(line["words"] for line in found["attacks"])
    assert not said.fault


def test_exact_places_are_a_leak_and_one_cell(folder: Path) -> None:
    """What was handed to a trusted audience is found out at once when it is audited as public."""
    exact = [
        Report(heard=True, east_m=25.0 * at, north_m=0.0, depth_m=150.0, position=(start()[0], start()[1] + 1e-5 * at))
        for at in range(6)
    ]
    said = run(asked(folder, written(folder, exact, "heritage", place=Place.EXACT)))
    found = json.loads(said.text)
    assert said.fault
    assert found["leaks"]
    assert found["outright"]
    assert found["rsa95_km2"] == pytest.approx(0.444 * 0.347, rel=0.02)


def test_text_says_what_was_played_and_names_no_place(folder: Path, tmp_path: Path) -> None:
    """The result in words, every attack by name, what it was played with; the report where it was asked for."""
    recording = written(tmp_path, [Report(heard=True, east_m=25.0 * at, north_m=0.0) for at in range(6)])
    report = tmp_path / "private" / "audit.html"
    said = run(asked(folder, recording, json=False, html=report))
    assert said.text.startswith("Nothing that was released could be laid on the chart")
    assert "no proof of safety" in said.text
    assert all(f"  {attack.name}: " in said.text for attack in ATTACKS)
    assert "Chart: chart.csv, 26 by 26 cells of 440 m by 350 m" in said.text
    assert f"{start()[0]:.2f}" not in said.text
    assert report.read_text().startswith("<!doctype html>")
    assert any("keep it private" in note for note in said.notes)


def test_report_that_may_not_be_written_is_refused_before_anything_is_played(folder: Path, tmp_path: Path) -> None:
    """Nobody waits for an audit whose report is lost."""
    recording = written(tmp_path, reports())
    played = list[str]()
    for html, words in (
        (recording.parent / "audit.html", "everything is public"),
        (Path(), "say where"),
        (folder / "chart.csv", "is there already"),
    ):
        with pytest.raises(OperatorError, match=words):
            run_audit(asked(folder, recording, html=html), lambda doing, share: played.append(doing))
    assert [] == played


def test_declared_area_is_searched_and_named(folder: Path, tmp_path: Path) -> None:
    """What the expedition file admits in public bounds the search."""
    area = AREA.replace("-38.61472", str(start()[0])).replace("-21.93306", str(start()[1])).replace("5 km", "3 km")
    recording = written(tmp_path, [Report(heard=True, east_m=25.0 * at, north_m=0.0) for at in range(6)])
    from expeditions import RIGHT

    found = json.loads(run(asked(folder, recording, area=expedition_file(tmp_path, RIGHT + area))).text)
    assert found["declared_km2"] == pytest.approx(np.pi * 9, rel=0.05)
    assert found["rsa95_km2"] == pytest.approx(0.95 * found["declared_km2"], rel=0.02)


def test_same_files_and_seed_give_the_same_result(folder: Path, tmp_path: Path) -> None:
    """Trials are drawn from the seed alone."""
    recording = written(tmp_path, reports())
    one, other = (run(asked(folder, recording, trials=10)).text for _ in range(2))
    assert one == other
