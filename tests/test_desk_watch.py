"""The desk's watch: a day of reports in bounded memory, areas right and off the event loop, kept over a restart."""

import asyncio
import json
import threading
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from pyproj import Geod

from relay.core import geodesy, survey
from relay.core.fuse import VehicleState
from relay.core.model import Mode, Observation
from relay.core.overdue import Expectation
from relay.core.reach import Tether
from relay.core.survey_plan import Gear, SurveyPlan
from relay.core.swath import Swath
from relay.shell.desk import desk_watch
from relay.shell.desk.desk_watch import Watch
from relay.shell.desk.watch_file import NAME, read_watch, write_watch
from test_import_table import PUBLIC, row_of
from test_kept_track import furthest_off, mown
from test_swath import PLACES, START, Place, area_m2, at_metres

SECOND = 1_000_000
WGS84 = Geodesic.WGS84
FOOT_M = 0.3048
HEADINGS = (90.0, 270.0)  # of the lines to and fro; sideways to the next one the swath sees nothing new
SIDE_SCAN = SurveyPlan((Gear(Tether(1_000.0), Swath(1_000.0)), Gear()))
NAMES = ("Lantern", "Moth")


def report(place: Place, **more: Any) -> dict[str, Any]:
    """Return what a report of a place tells."""
    return {"latitude_deg": place[0], "longitude_deg": place[1], **more}


def settle(watch: Watch) -> None:
    """Work out what came."""
    asyncio.run(watch.catch_up())
    assert watch.fault is None


@pytest.mark.parametrize("start", [START, PLACES[1], (-64.0, -179.99), (84.9, 179.9)])
@pytest.mark.parametrize("heading", [True, False])
def test_line_reported_to_the_watch_covers_what_geographiclib_has(start: Place, heading: bool) -> None:
    """A swath of 1,000 m over a 10 km line covers 10 km² to 0.1 % (common practice, no source), by reports at 1 Hz.

    The line is a geodesic laid out by geographiclib, the ground its rectangle, whose area is geographiclib's, too.
    """
    watch = Watch(NAMES, SIDE_SCAN)
    path = WGS84.Line(*start, 67.0)
    for at in range(5_001):
        stop = path.Position(2.0 * at)
        more = {"heading_deg": stop["azi2"] % 360.0} if heading else {}
        watch.take(0, at * SECOND, report((stop["lat2"], stop["lon2"]), depth_m=900.0, **more))
    settle(watch)
    told = watch.section(0, 5_000 * SECOND)["survey"]
    stops = [path.Position(metres) for metres in range(0, 10_001, 100)]
    sides = [
        [WGS84.Direct(stop["lat2"], stop["lon2"], stop["azi2"] + across, 500.0) for stop in stops]
        for across in (-90, 90)
    ]
    ring = [(side["lat2"], side["lon2"]) for side in sides[0] + sides[1][::-1]]
    assert told["area_km2"] == pytest.approx(10.0, rel=1e-3)
    assert told["area_km2"] == pytest.approx(area_m2(ring) / 1e6, rel=1e-3)
    assert told["line_km"] == pytest.approx(10.0, rel=1e-3)
    assert (told["passes"], told["again_share"], told["planned_percent"]) == (1, pytest.approx(0.0, abs=1e-6), None)
    assert told["words"].startswith("10.0 line km, 10.0")


def test_day_at_ten_reports_a_second_stays_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Eight hours at 10 Hz, a survey of 29 lines with noise: few points, each report near them, the ground right.

    Counted, not timed: geodesics a report, corners and points that are kept, legs that wait; not one of them grows
    with the day. Positions are made by PROJ's direct geodesics, the ground by shapely's rectangles.
    """
    reports = mown(288_000, noise_m=0.5)
    places = laid_out(reports)
    calls = counted(monkeypatch)
    watch, most = Watch(NAMES, SIDE_SCAN), 0
    for at, (spot, place) in enumerate(zip(reports, places, strict=True)):
        before = calls[0]
        watch.take(0, spot.at_us, report(place, depth_m=spot.depth_m, heading_deg=HEADINGS[at // 10_000 % 2]))
        most = max(most, calls[0] - before)
        if at % 36_000 == 35_999:
            settle(watch)
            kept = json.dumps(watch._day.saved())
            assert len(kept) < 400_000
            assert watch._day.waiting == 0
        assert watch._day.waiting < 4_096
    assert most <= 8
    tracks = watch.tracks()
    assert len(tracks["exact"]["Lantern"]) <= 600
    points = [type(reports[0])(*point) for point in tracks["exact"]["Lantern"]]
    assert furthest_off(points, [moved(spot, reports[0]) for spot in reports]) < 20.0
    assert sum(map(len, tracks["covered"])) <= 1_200
    lines = [shapely.box(0, 100 * run - 500, 900 if run < 28 else 800, 100 * run + 500) for run in range(29)]
    told = watch.section(0, 28_800 * SECOND)["survey"]
    assert told["area_km2"] == pytest.approx(shapely.union_all(lines).area / 1e6, rel=0.02)
    assert told["line_km"] == pytest.approx(28.8, rel=0.02)


def laid_out(spots: list[Any]) -> list[Place]:
    """Return the places of metres about START, by PROJ's direct geodesics."""
    east, north = np.array([spot.east_m for spot in spots]), np.array([spot.north_m for spot in spots])
    azimuth = np.degrees(np.arctan2(east, north))
    count = len(spots)
    lon, lat, _ = Geod(ellps="WGS84").fwd(
        np.full(count, START[1]), np.full(count, START[0]), azimuth, np.hypot(east, north)
    )
    return list(zip(lat.tolist(), lon.tolist(), strict=True))


def moved(spot: Any, origin: Any) -> Any:
    """Return a spot in metres about the first report, which is the desk's origin."""
    return type(spot)(spot.at_us, spot.east_m - origin.east_m, spot.north_m - origin.north_m, spot.depth_m)


def counted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Count every geodesic that is worked out."""
    calls = [0]

    def count(original: Any) -> Any:
        def counting(*values: Any) -> Any:
            calls[0] += 1
            return original(*values)

        return counting

    for module, name in ((desk_watch, "plane"), (survey, "distance_m"), (geodesy, "distance_m")):
        monkeypatch.setattr(module, name, count(getattr(module, name)))
    return calls


def test_areas_are_never_worked_out_on_the_event_loop(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever shapely is asked for is asked from another thread; reports, sections and tracks ask it nothing."""
    threads = set()
    for name in ("union_all", "make_valid", "polygons", "union", "intersection"):
        original = getattr(shapely, name)

        def told(*values: Any, original: Any = original, **more: Any) -> Any:
            threads.add(threading.current_thread())
            return original(*values, **more)

        monkeypatch.setattr(shapely, name, told)

    async def day() -> None:
        watch = Watch(NAMES, SIDE_SCAN)
        for at in range(300):
            watch.take(0, at * SECOND, report(at_metres(3.0 * at, 0.0), depth_m=900.0))
            for ask in (watch.alarms, watch.notices, lambda now_us: watch.section(0, now_us)):
                ask(at * SECOND)
            watch.tracks()
            if at % 100 == 99:
                await watch.catch_up()
        assert watch.tracks()["covered"]

    asyncio.run(day())
    assert threads
    assert threading.main_thread() not in threads


def test_tracks_are_about_the_first_confirmed_fix() -> None:
    """A wild first fix is no origin; plan, ship, ring and ground are in the same metres as the track."""
    corners = [(0, -500), (900, -500), (900, 500), (0, 500)]
    watch = Watch(NAMES, SurveyPlan(SIDE_SCAN.gear, tuple(at_metres(*corner) for corner in corners)))
    assert watch.tracks() == {
        "origin": None,
        "exact": {"Lantern": [], "Moth": []},
        "ship": None,
        "ring_m": 60.0,
        "covered": [],
        "plan": None,
    }
    watch.take_ship(0, at_metres(100.0, 50.0))
    watch.take(0, 0, report((0.0, 0.0)))
    for at in range(301):
        watch.take(0, (at + 1) * SECOND, report(at_metres(3.0 * at, 0.0), depth_m=900.0))
    settle(watch)
    tracks = watch.tracks()
    assert tracks["origin"] == pytest.approx(list(START), abs=1e-9)
    assert tracks["ship"] == pytest.approx([100.0, 50.0], abs=1e-3)
    assert tracks["plan"] == [
        pytest.approx(list(corner), abs=1e-3) for corner in ((0, -500), (900, -500), (900, 500), (0, 500))
    ]
    assert tracks["exact"]["Lantern"][-1] == pytest.approx([301 * SECOND, 900.0, 0.0, 900.0], abs=1e-3)
    drawn = shapely.Polygon(tracks["covered"][0])
    assert drawn.symmetric_difference(shapely.box(0, -500, 900, 500)).area < 0.01 * drawn.area
    assert watch.section(0, 0)["survey"]["planned_percent"] == pytest.approx(100.0, abs=1.0)


def test_forward_sonar_of_the_trade_is_the_ring() -> None:
    """A forward sonar looks about 200 ft ahead (common practice, no source): a ring of 60 m."""
    assert Watch(NAMES, SIDE_SCAN).tracks()["ring_m"] == pytest.approx(200 * FOOT_M, rel=0.02)


def state_of(*told: tuple[int, dict[str, Any]]) -> VehicleState:
    """Return a vehicle's state as the pipeline has it after some reports."""
    state = VehicleState(by_own_clock=True)
    for at_us, values in told:
        state.take(Observation(**values), at_us)
    return state


def test_watch_looks_at_the_states_of_the_pipeline() -> None:
    """Position, depth, mode and receipt come from the state; a report without a position gives no fix anew."""
    watch = Watch(NAMES, SIDE_SCAN)
    lantern, moth, ship = (VehicleState(by_own_clock=True) for _ in range(3))
    agreed = SimpleNamespace(
        expectation=Expectation(begun_us=0, return_us=60 * SECOND, return_grace_us=0), back_us=None
    )
    ship.take(Observation(latitude_deg=START[0], longitude_deg=START[1]), 0)
    expected: dict[str, Any] = {"Moth": agreed}
    for at in range(10):
        place = at_metres(300.0, float(at))
        lantern.take(Observation(latitude_deg=place[0], longitude_deg=place[1]), 10 * at * SECOND)
        watch.look([lantern, moth], ship, expected, 10 * at * SECOND)
        lantern.take(Observation(depth_m=800.0, heading_deg=0.0), 10 * at * SECOND + 5)
        watch.look([lantern, moth], ship, expected, 10 * at * SECOND + 5)
    moth.take(Observation(mode=Mode.AUTONOMOUS), 95 * SECOND)
    watch.look([lantern, moth], ship, expected, 95 * SECOND)
    told = watch.section(0, 60 * SECOND)
    assert told["tether"]["horizontal_m"] == pytest.approx(300.0, abs=0.2)
    assert told["overdue"] is None
    assert [point[0] for point in watch.tracks()["exact"]["Lantern"]][-1] == 90 * SECOND
    assert watch.section(1, 95 * SECOND)["overdue"]["sounds"]
    assert watch.alarms(95 * SECOND) == ["Moth is overdue: it isn't back, and the grace that was agreed is over"]
    (notice,) = watch.notices(95 * SECOND)
    assert notice.text == (
        "How much tether Lantern has left isn't known: for a minute nothing has told the ship's position. See to the "
        "feed that tells it, and keep count by hand."
    )
    assert watch.expecting() == ["Moth"]
    agreed.back_us = 96 * SECOND
    watch.look([lantern, moth], ship, expected, 96 * SECOND)
    assert (watch.expecting(), watch.alarms(96 * SECOND)) == ([], [])


def test_tether_without_a_feed_of_the_ship_says_how_to_have_one() -> None:
    """Where nothing ever told where the ship is, the notice names the setting."""
    watch = Watch(NAMES, SIDE_SCAN)
    for at in range(3):
        watch.take(0, at * SECOND, report(START, depth_m=800.0))
    (notice,) = watch.notices(3 * SECOND)
    assert notice.key == "tether:Lantern"
    assert notice.text.endswith('Add a [[feed]] with of = "ship" to the expedition file, or keep count by hand.')


def test_position_in_doubt_is_no_fix() -> None:
    """While two stations contradict each other nothing is drawn, and no margin worked out."""
    watch = Watch(NAMES, SIDE_SCAN)
    state = state_of((0, report(START, depth_m=800.0)))
    state.in_doubt = True
    for at in range(5):
        state.take(Observation(**report(START, depth_m=800.0)), at * SECOND)
        watch.look([state, state_of()], None, {}, at * SECOND)
    assert watch.tracks()["exact"]["Lantern"] == []


def test_fault_ends_the_watch_and_nothing_else(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """What breaks in here raises nothing to the release, is told as an alarm, and no text of it reaches the log."""
    watch = Watch(NAMES, SIDE_SCAN)

    def broken(*_: Any) -> None:
        raise ValueError("at -30.1 -22.2")

    monkeypatch.setattr(desk_watch.Watched, "hear", broken)
    watch.look([state_of((0, report(START))), state_of()], None, {}, 0)
    assert watch.alarms(0) == [
        "tether, overdue and survey aren't watched any more: a fault of Offing's own (ValueError)"
    ]
    assert watch.section(0, 0) == {"tether": None, "overdue": None, "survey": None}
    watch.look([state_of((1, report(START))), state_of()], None, {}, 1)
    asyncio.run(watch.catch_up())
    watch.close()
    assert "-30.1" not in caplog.text


def surveying(watch: Watch, begin_s: int, end_s: int) -> None:
    """Report a line to the east at 3 m/s."""
    for at in range(begin_s, end_s):
        watch.take(0, at * SECOND, report(at_metres(3.0 * at, 0.0), depth_m=900.0))


def test_survey_goes_on_after_a_restart(tmp_path: Path) -> None:
    """What was kept comes back, and what a restart reads again of it counts once; then it goes on."""
    through = Watch(NAMES, SIDE_SCAN)
    surveying(through, 0, 1_000)
    settle(through)
    first = Watch(NAMES, SIDE_SCAN, tmp_path)
    surveying(first, 0, 600)
    first.close()
    assert (tmp_path / NAME).stat().st_mode & 0o777 == 0o600
    second = Watch(NAMES, SIDE_SCAN, tmp_path, journal_us=700 * SECOND)
    assert second.section(0, 0)["survey"]["line_km"] == first.section(0, 0)["survey"]["line_km"]
    assert second.tracks()["covered"] == first.tracks()["covered"]
    surveying(second, 300, 1_000)
    settle(second)
    told, whole = (watch.section(0, 0)["survey"] for watch in (second, through))
    assert told["area_km2"] == pytest.approx(whole["area_km2"], rel=0.01)
    assert told["line_km"] == pytest.approx(whole["line_km"], rel=0.01)
    assert told["again_share"] == pytest.approx(0.0, abs=0.01)
    assert second.origin == first.origin
    moments = [point[0] for point in second.tracks()["exact"]["Lantern"]]
    assert moments == sorted(moments)
    assert (moments[0], moments[-1]) == (0, 999 * SECOND)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda kept: kept | {"upto_us": 600 * SECOND},
        lambda kept: kept | {"version": 2},
        lambda kept: kept | {"survey": {}},
        lambda kept: kept | {"tracks": {"Lantern": {}}},
        lambda kept: kept | {"origin": [91.0, 0.0]},
        lambda kept: [kept],
        lambda kept: "half a fi",
    ],
)
def test_memory_that_cannot_be_used_is_left_out(tmp_path: Path, spoil: Any) -> None:
    """Of another journal, of another version, edited or torn: the survey begins anew, and nothing breaks."""
    first = Watch(NAMES, SIDE_SCAN, tmp_path)
    surveying(first, 0, 100)
    first.close()
    kept = json.loads((tmp_path / NAME).read_text(encoding="utf-8"))
    text = json.dumps(spoil(kept))
    (tmp_path / NAME).write_text(text[:-1] if "half" in text else text, encoding="utf-8")
    second = Watch(NAMES, SIDE_SCAN, tmp_path, journal_us=500 * SECOND)
    assert second.fault is None
    surveying(second, 0, 300)
    settle(second)
    assert second.section(0, 0)["survey"]["line_km"] == pytest.approx(0.89, abs=0.02)


def test_disk_that_takes_nothing_stops_nothing(tmp_path: Path) -> None:
    """The memory is lost, the watch goes on, and the file is what it was."""
    write_watch(tmp_path, {"upto_us": 1})
    assert read_watch(tmp_path, 1) == {"upto_us": 1, "version": 1}
    assert read_watch(tmp_path, 0) is None
    watch = Watch(NAMES, SIDE_SCAN, tmp_path / "gone")
    surveying(watch, 0, 100)
    watch.close()
    assert watch.fault is None
    assert watch.section(0, 0)["survey"]["line_km"] > 0.2


async def test_beat_works_out_and_keeps_now_and_then(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each beat works out what came; every twelfth one keeps it."""
    monkeypatch.setattr(desk_watch, "BEAT_S", 0.0)
    watch = Watch(NAMES, SIDE_SCAN, tmp_path)
    surveying(watch, 0, 300)
    await watch.beat()
    assert watch.section(0, 0)["survey"]["area_km2"] > 0.8
    assert not (tmp_path / NAME).exists()
    for _ in range(11):
        await watch.beat()
    assert (tmp_path / NAME).exists()


WATCH = {f"core.{name}" for name in "ground survey_day watched watch_words kept_track".split()}
WATCH |= {"shell.desk_watch", "shell.watch_file"}


def test_watch_has_no_way_into_what_is_released() -> None:
    """No room that makes or sends records imports the watch, and the watch imports none that does (R1)."""
    releasing = {f"core.{name}" for name in "pipeline channel embargo disclosure track release wire figures".split()}
    releasing |= {f"shell.{name}" for name in (*PUBLIC, "outlet", "recording", "public_files")}
    assert {} == {room: found for room in releasing if (found := row_of(room)[0] & WATCH)}
    assert {} == {room: found for room in WATCH if (found := row_of(room)[0] & releasing)}
