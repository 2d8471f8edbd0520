"""`offing audit --for`: promises tried at random places, and kept as `offing ship` asks for them."""

import argparse
import stat
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import numpy as np
import pytest

from expeditions import RIGHT
from relay.audit.advising.journey import invented_journey
from relay.audit.advising.trial import Proving
from relay.audit.attacks.attack import Case, quiet
from relay.audit.attacks.ship_alignment import reach_m
from relay.audit.charts.chart import Chart
from relay.core.errors import OperatorError
from relay.shell.audit.advise_run import floor_km2
from relay.shell.audit.audit_promises import audit_promises, with_files_of
from relay.shell.audit.audit_run import run_audit
from relay.shell.plan.expedition import Expedition, read_expedition
from relay.shell.ship.audit_gate import NO_LEAVE, without_audit
from relay.shell.ship.audit_result import LEAST_SITES, read_results
from test_audit_case import AREA, chart_file
from test_audit_run import asked, reports, start, written
from test_known_seabed import rough_chart

AUDIT = '\n[audit]\ncharts = ["chart.csv"]\n'


def expedition_in(folder: Path, promise: str = '"2 km2"', audit: str = AUDIT, chart: Chart | None = None) -> Expedition:
    """Return an expedition in a folder with a chart; the public is promised so much."""
    chart_file(folder, chart or rough_chart(26, 1))
    area = AREA.replace("-38.61472", str(start()[0])).replace("-21.93306", str(start()[1])).replace("5 km", "11 km")
    text = RIGHT.replace('name = "public"\n', f'name = "public"\npromise = {promise}\n') + area + audit
    path = folder / "EXPEDITION.toml"
    path.write_text(text)
    return read_expedition(path)


def tried(folder: Path, expedition: Expedition, **changes: object) -> argparse.Namespace:
    """Return what `offing audit --for` is asked, with the fewest places."""
    recording = written(folder, reports())
    base = {"chart": [], "seabed": None, "expedition": expedition.path, "trials": 20, "turns": 72}
    return asked(folder, recording, **{**base, **changes})


def test_result_is_kept_for_the_policy_and_chart(tmp_path: Path) -> None:
    """The 5th percentile over the places, what level, how often it held, for its owner alone; said in words, too."""
    expedition = expedition_in(tmp_path)
    said = run_audit(tried(tmp_path, expedition), lambda doing, share: None)
    kept = read_results(expedition.private)["public"]
    assert (20, 2.0) == (kept.found.sites, kept.promise_km2)
    assert 0 < kept.found.low_km2 < 30
    assert 0 < kept.found.covered <= 1
    file = expedition.private / "audit.json"
    assert 0o600 == stat.S_IMODE(file.stat().st_mode)
    assert said.fault
    assert any(note.startswith("public: NOT passed: it tried 20 places, too few") for note in said.notes)
    assert kept.found.dive_sha256 == sha256((tmp_path / "released/public/dive-001.recording").read_bytes()).hexdigest()


def test_audit_that_passes_lets_the_ship_start(tmp_path: Path) -> None:
    """From the files to the gate: at 200 places half of what is left at 19 in 20 may be promised, and twice may not."""
    expedition = expedition_in(tmp_path, '"1.5 km2"', chart=hills(26, 1))
    options = with_files_of(tried(tmp_path, expedition, trials=LEAST_SITES), expedition)
    assert audit_promises(options, expedition, quiet) == ["public: passed"]
    found = read_results(expedition.private)["public"].found
    assert found.low_km2 > 2 * 1.5 and 0.85 < found.level < 0.985
    assert without_audit(expedition, NO_LEAVE) == []
    path = expedition.path
    path.write_text(path.read_text().replace("1.5 km2", "6.5 km2"))
    with pytest.raises(OperatorError, match=r"6\.5 km2 are promised: coarsen the policy"):
        without_audit(read_expedition(path), NO_LEAVE)


def hills(cells: int, per_cell: int) -> Chart:
    """Return hills so wide that every second node of them tells where they are."""
    chart = rough_chart(cells, per_cell)
    up, across = np.meshgrid(np.arange(cells), np.arange(cells), indexing="ij")
    depth = 200 + 3 * across + 60 * np.sin(up / 4.3) + 40 * np.cos(across / 5.1 + up / 9)
    return Chart("hills", chart.latitude_deg, chart.longitude_deg, depth, np.full(depth.shape, 4.0))


def test_charts_are_those_of_the_file(tmp_path: Path) -> None:
    """Others are refused, none are refused, and the file's own may be named."""
    expedition = expedition_in(tmp_path)
    named = with_files_of(tried(tmp_path, expedition, chart=[tmp_path / "chart.csv"]), expedition)
    assert [tmp_path / "chart.csv"] == named.chart
    with pytest.raises(OperatorError, match="leave --chart out"):
        with_files_of(tried(tmp_path, expedition, chart=[tmp_path / "other.csv"]), expedition)
    (tmp_path / "bare").mkdir()
    bare = expedition_file_without_promise(tmp_path / "bare")
    with pytest.raises(OperatorError, match=r"names no charts"):
        with_files_of(tried(tmp_path, bare), bare)


def expedition_file_without_promise(folder: Path) -> Expedition:
    """Return an expedition that says nothing of an audit."""
    (folder / "EXPEDITION.toml").write_text(RIGHT)
    return read_expedition(folder / "EXPEDITION.toml")


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"turns": 71}, "--turns: a result that is kept is found with 72 turns"),
        ({"turns": 1}, "leave --turns out"),
        ({"chart_error": 3.0}, "--chart-error: a result that is kept takes the chart as it is"),
        ({"recordings": [Path("one.recording"), Path("two.recording")]}, "--for tries one dive"),
        ({"recordings": [Path(__file__).parent]}, "or a folder were given: name the recording that tells most"),
    ],
)
def test_what_loosens_an_audit_is_refused(tmp_path: Path, changes: dict[str, object], says: str) -> None:
    """Fewer turns, a chart said to be worse, and dives that would not be tried keep nothing."""
    expedition = expedition_in(tmp_path)
    with pytest.raises(OperatorError, match=says):
        run_audit(tried(tmp_path, expedition, **changes), lambda doing, share: None)
    assert read_results(expedition.private) == {}


def test_ships_stay_is_a_floor(tmp_path: Path) -> None:
    """Five hours on one spot of the area leave a disc about it of the vehicle's reach; a track elsewhere sets none."""
    chart = rough_chart(26, 1)
    where = chart.candidates
    ground = Proving(chart, where, invented_journey(), lambda dive: None, lambda soundings, cells: chart.depth_m)
    track = tmp_path / "ais.csv"
    bare = expedition_in(tmp_path)
    expedition = replace(bare, audit=replace(bare.audit, ship_track=track))
    here = start()
    for (lat, lon), stays in ((here, True), ((here[0] + 5, here[1]), False)):
        track.write_text("time,lat,lon\n" + "".join(f"{60 * at},{lat},{lon}\n" for at in range(300)))
        floor = floor_km2(expedition, ground)
        assert (floor is not None) is stays
        if floor is not None:
            reach = reach_m(Case(chart, (), where))
            assert floor == pytest.approx(np.pi * (reach / 1000) ** 2, rel=0.02)
    assert floor_km2(bare, ground) is None


def test_expedition_without_a_promise_has_nothing_to_keep(tmp_path: Path) -> None:
    """It is said what to add."""
    expedition_in(tmp_path)
    path = tmp_path / "EXPEDITION.toml"
    path.write_text(path.read_text().replace('promise = "2 km2"\n', ""))
    with pytest.raises(OperatorError, match="no audience has a promise"):
        run_audit(tried(tmp_path, read_expedition(path), recordings=[]), lambda doing, share: None)
