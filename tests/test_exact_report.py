"""The exact report says what the ship's record says: positions, times, who decided what; and that it is private."""

import json
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic

from expeditions import RIGHT
from relay.core.decision import Begin, Cut, End, Hold, Resume, Say, Target
from relay.core.find import FileReference, Find, FindPlace
from relay.core.sighting import SeenFrom, Sighted, place_of
from relay.core.target_position import RangeIs
from relay.shell.report.dive_report import Report, Section, report_html
from relay.shell.report.exact_dive import VehicleExact, ground_of, vehicles_of
from relay.shell.report.exact_report import MARK, exact_report
from test_exact_dives import FIX, WALL_S, Site, Told, a_dive, moth

LATITUDE_DEG, LONGITUDE_DEG = FIX["latitude_deg"], FIX["longitude_deg"]
METRES_A_DEGREE = 111_000.0  # of latitude, roughly: only to invent a track


def line(count: int, metres: float = 1.0, **more: Any) -> list[tuple[float, Told]]:
    """Return reports of Moth's, a second apart, so many metres further north each."""
    return [
        (
            100.5 + at,
            moth(50.0, latitude_deg=LATITUDE_DEG + at * metres / METRES_A_DEGREE, longitude_deg=LONGITUDE_DEG, **more),
        )
        for at in range(count)
    ]


def folder(within: Path, name: str) -> Path:
    """Return a new folder for a site of its own."""
    (within / name).mkdir()
    return within / name


def by_hand(*told: tuple[float, Told], until_s: float = 600.0) -> list[tuple[float, Told]]:
    """Return a dive that somebody begins at 100 s and ends."""
    return sorted([(100.0, Begin()), *told, (until_s, End())], key=lambda one: one[0])


def reported(site: Site, number: int = 1) -> Report:
    """Return the report of a dive."""
    with site.read() as exact:
        plan = site.expedition.plan
        return exact_report(plan.expedition, site.expedition.ship, exact, exact.dive(number))


def seen() -> Sighted:
    """Return a sighting abeam of a vehicle that heads north."""
    return Sighted(
        bearing_deg=90.0,
        range_m=100.0,
        range_is=RangeIs.HORIZONTAL,
        bearing_sigma_deg=1.0,
        range_sigma_m=2.0,
        heading_sigma_deg=1.0,
        place_sigma_m=3.0,
        seen_from=SeenFrom(LATITUDE_DEG, LONGITUDE_DEG, 0.0),
    )


def gathered(site: Site) -> VehicleExact:
    """Return Moth's part of the first dive."""
    with site.read() as exact:
        (vehicle,) = vehicles_of(exact, exact.dive(1), ground_of(exact, exact.dive(1)))
        return vehicle


def section(report: Report, title: str) -> Section:
    """Return a part of a report."""
    return next(part for part in report.sections if part.title == title)


def rows(report: Report, title: str) -> list[tuple[str, ...]]:
    """Return the rows of a part's table."""
    table = section(report, title).table
    assert table is not None
    return [tuple(row) for row in table.rows]


def test_it_is_marked_before_anything_else(tmp_path: Path) -> None:
    """The first words of the page, and its last line, say that it is exact and private."""
    report = reported(Site(tmp_path, *by_hand(*line(5))))
    assert (True, MARK) == (report.exact, report.mark)
    assert MARK.startswith("EXACT, PRIVATE")
    page = report_html(report)
    body = page[page.index("<body") :]
    assert body.index(MARK) < body.index("<h1>")
    assert MARK in page[page.index("<footer>") :]


def test_plan_has_the_lengths_of_the_ellipsoid(tmp_path: Path) -> None:
    """What is drawn is as long as geographiclib says (Karney, WGS84), and north is up."""
    vehicle = gathered(Site(tmp_path, *by_hand(*line(400, 2.0))))
    (piece,) = vehicle.drawn().track
    first, last = vehicle.first, vehicle.last
    assert first is not None
    assert last is not None
    known = Geodesic.WGS84.Inverse(
        first.where.latitude_deg, first.where.longitude_deg, last.where.latitude_deg, last.where.longitude_deg
    )["s12"]
    assert piece[-1] == pytest.approx((0.0, known), abs=0.01)
    assert vehicle.way_m == pytest.approx(known, abs=0.1)


def test_figures_are_of_every_report(tmp_path: Path) -> None:
    """Counted by hand: reports, positions, the deepest and where it was; the first and the last position to 1e-7."""
    told = a_dive()
    told[33] = told[33][0], {**told[33][1], "depth_m": 333.25, "latitude_deg": -38.7654321}  # type: ignore[dict-item]
    site = Site(tmp_path, *told)
    site.clock(100_000.0)
    report = reported(site)
    ((name, reports, positions, _, _, deepest),) = rows(report, "Vehicles")
    assert ("Moth", "69", "69", "333.25 m") == (name, reports, positions, deepest)
    places = {row[1]: row for row in rows(report, "Positions")}
    assert "−38.7654321°, −21.9330600°" == places["deepest"][3]
    assert "−38.6147200°, −21.9330600°" == places["first"][3] == places["last"][3]


def test_legs_and_times_are_those_of_the_record(tmp_path: Path) -> None:
    """UTC by the ship's clock; the begin of a leg is the end of the one before; what was begun by hand says by whom."""
    site = Site(tmp_path, *a_dive())
    site.clock(100_000.0)
    legs = rows(reported(site), "Legs")
    assert ["on deck", "on the way down", "at work below", "on the way up", "on deck"] == [row[1] for row in legs]
    assert all(one[3] == other[2] for one, other in pairwise(legs))
    with site.read() as exact:
        begun_s = exact.dive(1).begun.wall_s
    hour, minute = divmod(int(begun_s) // 60, 60)
    assert f"{hour:02d}:{minute:02d}:{begun_s % 60:02.0f}" == legs[0][2]
    facts = dict(section(reported(Site(folder(tmp_path, "hand"), *by_hand(*line(5)))), "The dive").facts)
    assert "1970-01-01 01:25:00 UTC, by the lead" == facts["Begun"]
    assert WALL_S + 100.0 == 5_100.0, "which is 01:25:00"
    assert "0:08:20" == facts["Length"]


def test_log_tells_everything_once_in_order(tmp_path: Path) -> None:
    """What was said, decided, targeted and found, by whom and where; the numbers are those of the drawings' marks."""
    sighted = seen()
    site = Site(
        tmp_path,
        *by_hand(
            *line(300),
            (150.7, Say(text="A ring.", vehicle="Moth")),
            (160.0, Hold(audience="public")),
            (170.0, Resume(audience="public")),
            (175.0, Cut(from_us=40_000_000, to_us=172_000_000)),
            (180.2, Target(name="Boiler", verdict="of interest", vehicle="Moth", sighting=sighted)),
            (190.0, Find(name="Bell", what="a bell", place=FindPlace(latitude_deg=-38.6, longitude_deg=-21.9))),
        ),
    )
    report = reported(site)
    log = rows(report, "Log")
    assert ["The dive begins.", "On the way down."] == [row[4] for row in log[:2]]
    said = [(row[0], row[4], row[5]) for row in log[2:-1] if not row[4].startswith("At work")]
    assert [
        ("1", "A ring.", "the lead"),
        ("", "Decision: hold (audience public)", "the lead"),
        ("", "Decision: resume (audience public)", "the lead"),
        ("", "Decision: cut (from 0:01:00 before the dive, to 0:01:12 of dive time)", "the lead"),
        ("2", "Target Boiler: of interest", "the lead"),
        ("3", "Find Bell: a bell, as found (row 97)", "the lead"),
    ] == said
    assert "The dive ends." == log[-1][4]
    assert "−38.6000000°, −21.9000000°" == next(row[6] for row in log if row[0] == "3")
    assert [row[1] for row in log] == sorted(row[1] for row in log)


def test_finds_stand_as_found_and_as_superseded(tmp_path: Path) -> None:
    """Both records, with their files' digests; one of another dive isn't among them."""
    photo = FileReference("bell.jpg", "ab" * 32, 10)
    site = Site(
        tmp_path,
        (50.0, Find(name="Anchor", what="an anchor")),
        *by_hand(
            *line(300),
            (200.0, Find(name="Bell", what="a bell", photographs=(photo,), depth_m=51.0)),
            (210.0, Find(name="Bell", what="a ship's bell", supersedes=103)),
        ),
    )
    finds = rows(reported(site), "Finds")
    assert [
        ("Bell", "row 103, as found", "a bell"),
        ("Bell", "row 114, supersedes row 103", "a ship's bell"),
    ] == [row[:3] for row in finds]
    with site.read() as exact:
        assert [103, 114] == [record.row for find in exact.finds for record in find.records if find.name == "Bell"]
    assert any(
        row[4] == "Find Bell: a ship's bell, supersedes row 103 (row 114)" for row in rows(reported(site), "Log")
    )
    assert f"bell.jpg (SHA-256 {'ab' * 32})" == finds[0][6] == finds[1][6]
    assert all("51 m deep" in row[5] for row in finds)


def test_wild_fix_is_counted_and_not_drawn(tmp_path: Path) -> None:
    """One position an ocean away makes no plan useless: it is said that it isn't drawn."""
    told = line(300)
    told[150] = told[150][0], moth(50.0, latitude_deg=12.0, longitude_deg=60.0)
    site = Site(tmp_path, *by_hand(*told))
    vehicle = gathered(site)
    assert (300, 1) == (vehicle.positions, vehicle.wild)
    assert all(abs(spot[0]) < 1 and -1 < spot[1] < 400 for piece in vehicle.drawn().track for spot in piece)
    assert "Not drawn: 1 fix that nothing under way could have reached." in section(reported(site), "Plan").says


def test_wild_fix_first_of_all_bends_no_plan(tmp_path: Path) -> None:
    """The plane is laid about a position that the next one confirms, and corners are of what is drawn."""
    told = line(100)
    told[0] = told[0][0], moth(50.0, latitude_deg=-12.0, longitude_deg=160.0)
    site = Site(tmp_path, *by_hand(*told))
    vehicle = gathered(site)
    (piece,) = vehicle.drawn().track
    assert (0.0, 0.0) == piece[0]
    assert piece[-1] == pytest.approx((0.0, 98.0), abs=0.5)
    assert vehicle.corners == pytest.approx(
        (LATITUDE_DEG + 1 / METRES_A_DEGREE, LONGITUDE_DEG, LATITUDE_DEG + 99 / METRES_A_DEGREE, LONGITUDE_DEG),
        abs=1e-9,
    )
    assert "160" not in dict(section(reported(site), "The dive").facts)["Southernmost, westernmost"]


def test_two_positions_of_one_instant_are_no_wild_ones(tmp_path: Path) -> None:
    """Two sentences of a burst tell the same place: both count as positions, one is drawn, none is called wild."""
    told = [one for at_s, what in line(50) for one in ((at_s, what), (at_s, what))]
    vehicle = gathered(Site(tmp_path, *by_hand(*told)))
    assert (100, 0) == (vehicle.positions, vehicle.wild)


def test_clock_of_a_vehicle_that_is_off_moves_no_line(tmp_path: Path) -> None:
    """Its time is a thousand seconds behind the ship's: the drawing is of dive time, and its log joins in."""
    site = Site(tmp_path, *a_dive())
    site.clock(100_000.0)
    site.log(*[moth(280.0, t=4_000.0 + at_s + 5) for at_s in (300, 400)])
    vehicle = gathered(site)
    times = [at_s for piece in vehicle.drawn().depths for at_s, _ in piece]
    assert -1 <= min(times) <= 1
    assert 675 <= max(times) <= 690
    assert {("station", "alone"): 69, ("log 1", ""): 2} == dict(vehicle.by)
    report = reported(site)
    assert ("Moth", "log l.jsonl", "", "station-json", "2") in rows(report, "Stations and feeds")
    (log,) = rows(report, "Recovered logs")
    assert (64, "Ines") == (len(log[2]), log[3])


def test_memory_stays_bounded_however_many_reports(tmp_path: Path) -> None:
    """Of six thousand wavering reports no more than so many points are kept, and the deepest is none the less told."""
    wavering = [
        (
            100.5 + at / 100,
            moth(50.0 + at % 37, latitude_deg=LATITUDE_DEG + (at % 41) / 1e5, longitude_deg=LONGITUDE_DEG),
        )
        for at in range(6_000)
    ]
    vehicle = gathered(Site(tmp_path, *by_hand(*wavering)))
    assert 6_000 == vehicle.reports
    assert sum(len(piece) for piece in vehicle.drawn().depths) <= 1_500
    assert sum(len(piece) for piece in vehicle.drawn().track) <= 1_500
    assert 86.0 == vehicle.deepest_m


def test_dive_in_which_little_was_heard_has_a_report(tmp_path: Path) -> None:
    """Nothing at all, a vehicle without a position, a dive under way: each is said, and the page is made."""
    nothing = reported(Site(folder(tmp_path, "a"), (100.0, Begin()), (200.0, End())))
    assert "none was heard" == dict(section(nothing, "The dive").facts)["Vehicles"]
    placeless = reported(Site(folder(tmp_path, "b"), *by_hand((150.0, moth(20.0)))))
    assert ("No position of a vehicle was received in this dive.",) == tuple(section(placeless, "Plan").says)
    under_way = reported(Site(folder(tmp_path, "c"), (100.0, Begin()), *line(50)))
    assert any("under way where the journal ends" in line for line in under_way.meaning)
    assert "under way" == dict(section(under_way, "The dive").facts)["Ended"]
    for report in (nothing, placeless, under_way):
        assert MARK in report_html(report)


def test_target_has_the_place_that_the_survey_works_out(tmp_path: Path) -> None:
    """Position and ellipse are those of `target_position`, which its own tests hold against a Monte Carlo run."""
    target = Target(name="Boiler", verdict="of interest", vehicle="Moth", sighting=seen())
    placed = place_of(seen(), SeenFrom(LATITUDE_DEG, LONGITUDE_DEG, 0.0))
    report = reported(Site(tmp_path, *by_hand(*line(10), (150.0, target))))
    ((*_, where, ellipse),) = rows(report, "Targets")
    assert f"{placed.latitude_deg:.7f}°, {placed.longitude_deg:.7f}°".replace("-", "−") == where
    ellipse = ellipse.replace("\N{NO-BREAK SPACE}", " ")
    assert ellipse.startswith(f"{placed.spread.major_95_m:.1f} m, {placed.spread.minor_95_m:.1f} m, ")


def test_vehicle_that_only_its_own_log_tells_of_is_in_the_report(tmp_path: Path) -> None:
    """Lantern was heard, Moth was out on her own: her log's track, depth and digest stand; a log of no dive doesn't."""
    heard = [(100.5 + at, {"vehicle": "Lantern", "depth_m": 20.0, **FIX}) for at in range(10)]
    site = Site(tmp_path, *by_hand(*heard))
    site.log(*[moth(280.0 + at, t=WALL_S + 200.0 + at, **FIX) for at in range(5)])
    site.log(moth(3.0, t=WALL_S + 90_000.0))
    report = reported(site)
    assert "Lantern; Moth, by its own log alone" == dict(section(report, "The dive").facts)["Vehicles"]
    told = {row[0]: row[1:] for row in rows(report, "Vehicles")}
    assert ("5", "5", "284 m") == (told["Moth"][0], told["Moth"][1], told["Moth"][4])
    assert 1 == len(rows(report, "Recovered logs"))


def test_depth_of_a_position_is_the_newest_one_told_before_it(tmp_path: Path) -> None:
    """Stations of NMEA 0183 tell depth and position in sentences of their own: they meet, and older ones don't."""
    told: list[tuple[float, Told]] = [
        *((101.0 + at / 4, {"vehicle": "Moth", **FIX}) for at in (0, 1, 2)),
        (102.5, moth(50.0)),
        *((102.5 + at, {"vehicle": "Moth", **FIX}) for at in (1, 60)),
    ]
    places = {row[1]: row for row in rows(reported(Site(folder(tmp_path, "a"), *by_hand(*told))), "Positions")}
    assert ("", "50 m", "50 m, 60 s before") == tuple(places[name][4] for name in ("first", "deepest", "last"))
    told[-1] = told[-1][0] + 1, told[-1][1]  # one second past the limit
    places = {row[1]: row for row in rows(reported(Site(folder(tmp_path, "b"), *by_hand(*told))), "Positions")}
    assert "" == places["last"][4]


def test_positions_by_one_clock_have_the_depths_by_another(tmp_path: Path) -> None:
    """Positions timed nine hours ahead come after all depths in the order of time, and meet those of their moment."""
    other = '\n[[feed]]\nname = "fixes"\nformat = "station-json"\nfrom = "udp://127.0.0.1:10199"\nvehicle = "Moth"\n'
    told: list[tuple[float, Told]] = []
    for at in range(100):
        fix = json.dumps({"vehicle": "Moth", "t": 40_000.0 + at, **FIX}).encode() + b"\n"
        told += [(101.0 + at, moth(10.0 + at)), (101.4 + at, ("fixes", fix))]
    site = Site(tmp_path, *by_hand(*told), text=RIGHT + other)
    places = {row[1]: row for row in rows(reported(site), "Positions")}
    assert ("10 m", "109 m", "109 m") == tuple(places[name][4] for name in ("first", "deepest", "last"))


def test_clock_that_was_off_is_told_and_times_are_the_ships(tmp_path: Path) -> None:
    """A vehicle whose clock is 1,000 s behind: it is said, and its positions have times within the dive's own."""
    site = Site(tmp_path, *a_dive())
    site.clock(100_000.0)
    report = reported(site)
    (said,) = section(report, "Positions").says
    assert said.startswith("Moth's own clock was 0:16:40 behind the ship's")
    with site.read() as exact:
        begun, ended = exact.dive(1).begun, exact.dive(1).ended
    assert ended is not None
    for row in rows(report, "Positions"):
        hour, minute, second = map(int, row[2].split(":"))
        assert begun.wall_s - 2 <= 3_600 * hour + 60 * minute + second <= ended.wall_s + 2
