"""The case put together from files: recordings as anybody has them, charts joined, the declared area, send times."""

import argparse
import io
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgpack
import numpy as np
import pytest

from expeditions import RIGHT
from played_cases import EXPEDITION, invented_chart, released_dive
from relay.audit.charts.chart import Chart
from relay.audit.matching.filled import at_places
from relay.core.disclosure import Report
from relay.core.errors import OperatorError
from relay.core.wire import footer
from relay.shell.audit.audit_case import read_case, read_dives

AREA = '\n[area]\nname = "off the invented coast"\ncentre = [-38.61472, -21.93306]\nradius = "5 km"\n'


def recording(folder: Path, number: int = 1, *, closed: bool = True, signed: bool = True, **changes: object) -> Path:
    """Write a recording of a dive and return its path."""
    dive = released_dive(
        [Report(heard=True, east_m=0, north_m=25 * at, depth_m=150) for at in range(3)], signed=signed, **changes
    )
    frames = [record.data for record in dive.records]
    path = folder / f"dive-{number:03d}.recording"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"".join([*frames, footer(frames)] if closed else frames[:-1]))
    return path


def chart_file(folder: Path, chart: Chart | None = None) -> Path:
    """Write a chart as a CSV of nodes and return its path."""
    chart = chart or invented_chart()
    lines = ["lon_deg,lat_deg,depth_m"]
    for row, latitude in enumerate(chart.latitude_deg):
        for column, longitude in enumerate(chart.longitude_deg):
            if np.isfinite(chart.depth_m[row, column]):
                lines.append(f"{longitude:.6f},{latitude:.6f},{chart.depth_m[row, column]:.2f}")
    path = folder / "chart.csv"
    path.write_text("\n".join(lines) + "\n")
    return path


def expedition_file(folder: Path, text: str = RIGHT + AREA) -> Path:
    """Write an expedition file and return its path."""
    folder.mkdir(exist_ok=True)
    path = folder / "EXPEDITION.toml"
    path.write_text(text)
    return path


def resampled(chart: Chart, times: int) -> Chart:
    """Return a chart with so many nodes to each cell, ripples between the old ones, without the margin."""
    latitude, longitude = (
        np.linspace(axis[5], axis[-2], times * (len(axis) - 7) + 1)
        for axis in (chart.latitude_deg, chart.longitude_deg)
    )
    north, east = np.meshgrid(latitude, longitude, indexing="ij")
    depth = at_places(chart, north.ravel(), east.ravel()).reshape(north.shape)
    depth = depth + 2 * np.sin(north * 3_000) * np.cos(east * 2_000)
    return Chart("finer", latitude, longitude, depth, np.full(depth.shape, 1.0))


def asked(folder: Path, **changes: object) -> argparse.Namespace:
    """Return what `offing audit` is asked with one recording, one chart and an expedition file."""
    options: dict[str, object] = {
        "recordings": [recording(folder / "released" / "public")], "chart": [chart_file(folder)], "chart_error": 1.0,
        "area": expedition_file(folder), "expedition": None, "ship_track": None, "wrecks": None,
        "seabed": None, "seed": 1,
    }  # fmt: skip
    return argparse.Namespace(**{**options, **changes})


def test_case_holds_what_an_outsider_has(tmp_path: Path) -> None:
    """Recording, chart and declared area; nothing that wasn't given."""
    given = read_case(asked(tmp_path))
    case = given.case
    assert ["public"] == [dive.audience for dive in case.dives]
    assert case.prior is not None
    assert float(case.chart.cell_km2[case.prior].sum()) == pytest.approx(np.pi * 25, rel=0.03)
    assert (None, (), False) == (case.ship, case.wrecks, case.dives[0].live)
    (trials,) = given.notes
    assert trials.startswith("trials are made on the chart with every second node left out") and "--seabed" in trials


def test_area_of_another_expedition_is_told(tmp_path: Path) -> None:
    """The declared area changes every number, so whose it is is said."""
    other = expedition_file(tmp_path / "other", RIGHT.replace(EXPEDITION, "The search for the Sable Petrel") + AREA)
    notes = read_case(asked(tmp_path, area=other)).notes
    assert any("of 'The search for the Sable Petrel', the recordings are of" in note for note in notes)


def test_what_is_no_recording_is_told_with_what_to_give(tmp_path: Path) -> None:
    """A feed's log or an expedition file; and a folder above the recordings, with the one below it."""
    log = tmp_path / "feed.jsonl"
    log.write_text('{"t": 1}\n')
    with pytest.raises(OperatorError, match=r"feed\.jsonl is no recording .*: rehearse the dive"):
        read_dives([log])
    made = recording(tmp_path / "released" / "public")
    with pytest.raises(OperatorError, match=f"holds no dive-NNN.recording: .*, such as {made.parent}"):
        read_dives([tmp_path])


def test_ship_track_and_wrecks_are_read(tmp_path: Path) -> None:
    """As files of others."""
    (tmp_path / "ais.csv").write_text("time,lat,lon\n10,-38.6,-21.9\n20,-38.6,-21.9\n")
    (tmp_path / "wrecks.csv").write_text("name,lat,lon\nIsoline Marr,-38.6,-21.9\n")
    given = read_case(asked(tmp_path, ship_track=tmp_path / "ais.csv", wrecks=tmp_path / "wrecks.csv"))
    assert given.case.ship is not None
    assert (2, "Isoline Marr") == (len(given.case.ship.t_s), given.case.wrecks[0].name)


def test_folder_stands_for_its_recordings_and_a_torn_one_is_live(tmp_path: Path) -> None:
    """All of a folder, in order; one whose end is missing was taken from the live page."""
    recording(tmp_path, 1)
    recording(tmp_path, 2, closed=False, signed=False)
    dives, notes = read_dives([tmp_path])
    assert [False, True] == [dive.live for dive in dives]
    assert ["dive-001.recording", "dive-002.recording"] == [Path(dive.name).name for dive in dives]
    assert [f"{tmp_path / 'dive-002.recording'}: unsigned: nobody can check that it is the ship's"] == notes


def spoilt(path: Path, number: int, spoil: Callable[[list[Any]], None]) -> Path:
    """Write an unsigned recording again with one record, by its number, made another; return its path."""
    records = list(msgpack.Unpacker(io.BytesIO(path.read_bytes())))
    spoil(records[number])
    path.write_bytes(b"".join(map(msgpack.packb, records)))
    return path


ODD: dict[str, tuple[int, Callable[[list[Any]], None], str]] = {
    "NaN": (2, lambda record: record[4][0].__setitem__(1, float("nan")), "record 2 holds nan"),
    "no expedition": (0, lambda record: record[4].pop("expedition"), "record 0, the header, has no “expedition”"),
    "no names": (0, lambda record: record[4].update(vehicles=5), "record 0, the header, has for “vehicles” 5"),
}


@pytest.mark.parametrize("odd", ODD)
def test_recording_that_no_relay_wrote_is_refused_with_file_and_record(tmp_path: Path, odd: str) -> None:
    """Before an attack meets a number that is none, or a header without what it must say."""
    number, spoil, said = ODD[odd]
    path = spoilt(recording(tmp_path, closed=False, signed=False), number, spoil)
    with pytest.raises(OperatorError, match=re.escape(f"{path}: {said}") + ".*ask for the recording anew"):
        read_dives([path])


def test_send_times_of_a_rehearsal_are_found_beside(tmp_path: Path) -> None:
    """One moment for each record; a table that doesn't fit the recording is no such table."""
    path = recording(tmp_path / "released" / "public")
    table = tmp_path / "send-times" / "public-dive-001.csv"
    table.parent.mkdir()
    count = len(read_dives([path])[0][0].records)
    assert read_dives([path])[0][0].sent_s is None
    table.write_text("seq,sent_s\n" + "".join(f"{at},{at}.5\n" for at in range(count)))
    assert tuple(at + 0.5 for at in range(count)) == read_dives([path])[0][0].sent_s
    table.write_text("seq,sent_s\n0,1\n")
    assert read_dives([path])[0][0].sent_s is None
    for cells in ("0,soon", "0,nan", "0", "0," + 140_000 * "9"):
        table.write_text(f"seq,sent_s\n{cells}\n")
        with pytest.raises(OperatorError, match="no table of send times"):
            read_dives([path])


def test_chart_error_is_a_factor_of_the_charts_own(tmp_path: Path) -> None:
    """Twice the factor, twice the error; none or less is refused."""
    once, twice = (read_case(asked(tmp_path, chart_error=factor)).case.chart for factor in (1.0, 2.0))
    assert np.allclose(2 * once.error_m, twice.error_m, equal_nan=True)
    for factor in (0.0, -1.0, float("nan")):
        with pytest.raises(OperatorError, match="--chart-error"):
            read_case(asked(tmp_path, chart_error=factor))


def test_finer_chart_is_what_trials_are_made_on(tmp_path: Path) -> None:
    """It is never what the outsider has; of another place it is refused."""
    (tmp_path / "finer").mkdir()
    finer = resampled(invented_chart(), 3)
    given = read_case(asked(tmp_path, seabed=chart_file(tmp_path / "finer", finer)))
    assert given.seabed.truth is not given.case.chart
    assert np.array_equal(given.seabed.tried.error_m, given.case.chart.error_m, equal_nan=True)
    elsewhere = replace(finer, latitude_deg=finer.latitude_deg + 20)
    with pytest.raises(OperatorError, match="no water in common"):
        read_case(asked(tmp_path, seabed=chart_file(tmp_path / "finer", elsewhere)))


def test_expedition_without_an_area_searches_all_of_the_chart(tmp_path: Path) -> None:
    """And that is said."""
    given = read_case(asked(tmp_path, area=expedition_file(tmp_path / "free", RIGHT)))
    assert given.case.prior is None
    assert any("declares no area" in note for note in given.notes)


def test_what_makes_no_case_is_refused(tmp_path: Path) -> None:
    """No recording, no chart, a chart of elsewhere, an empty folder, two expeditions, a file that is none."""
    (tmp_path / "empty").mkdir()
    (tmp_path / "bad.recording").write_bytes(b"nothing")
    elsewhere = RIGHT + AREA.replace("-38.61472", "38.61472")
    faults: list[tuple[str, dict[str, object]]] = [
        ("name a recording", {"recordings": []}),
        ("name the chart", {"chart": []}),
        ("has no water in the declared area", {"area": expedition_file(tmp_path / "north", elsewhere)}),
        (r"holds no dive-NNN\.recording", {"recordings": [tmp_path / "empty"]}),
        (r"bad\.recording: not a record", {"recordings": [tmp_path / "bad.recording"]}),
        (r"absent\.csv", {"chart": [tmp_path / "absent.csv"]}),
    ]
    for words, changes in faults:
        with pytest.raises(OperatorError, match=words):
            read_case(asked(tmp_path, **{"area": expedition_file(tmp_path), **changes}))
