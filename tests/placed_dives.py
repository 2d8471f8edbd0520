"""The dives that `test_nothing_placed.py` lays all over the Earth, and the plan that belongs to each place."""

import math
import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from dives import SECOND, walk
from relay.core.area import Area, Zone, ZoneAction
from relay.core.policy import Disclosed, DiveLimits, Leg, Place, Plan, Policy, SourcePlan
from relay.core.secrets import Secrets
from tracks_to_station_lines import read_rows, station_messages
from translation import WGS84, Report, Site, about_first_fix

# A published track, which of its rows, the tick and how long a value counts: what makes about a hundred ticks of each.
TRACKS = {
    "rov-transects/transects-2022-10-06": (slice(None, None, 5), 15, 30),
    "rov-transects/transects-2022-10-20": (slice(None, None, 5), 15, 30),
    "glider-inlet/track": (slice(400), 75, 600),
    "glider-shelf/track": (slice(None, None, 3), 120, 90),
}
HUNDREDTHS = 50  # points to a cell, so that rounding to them moves a fix by at most a hundredth of it


@dataclass(frozen=True, slots=True)
class Dive:
    """Reports that lie nowhere yet, and how they are shown: seconds, metres.

    `finer_m`: the cell of who is shown more. `hidden`: there are zones. `leaves`: the declared area is small.
    """

    reports: tuple[Report, ...]
    tick_s: int = 15
    stale_s: int = 30
    cell_m: float = 25.0
    finer_m: float = 12.5
    hidden: bool = True
    leaves: bool = False


def published(folder: Path, name: str) -> tuple[Dive, Site]:
    """Return a published track as a dive, and where its first fix really lay."""
    which, tick_s, stale_s = TRACKS[name]
    messages = list(station_messages(read_rows(folder / f"{name}.csv.gz"), "Lantern"))[which]
    reports = tuple(about_first_fix(messages, float(messages[0]["t"])))
    first = next(message for message in messages if "latitude_deg" in message)
    return Dive(reports, tick_s, stale_s), (float(first["latitude_deg"]), float(first["longitude_deg"]))


def walks(pressed: bool, scale: float, seed: int) -> Dive:
    """Return an invented dive of two vehicles with annotations, a pause of eleven minutes and a second part.

    `pressed`: depth is sent as sea pressure. `scale`: how many times faster than half a metre a second they go.
    """
    reports: list[Report] = []
    for part, start_s in enumerate((5, 5 + 480 + 660)):
        for vehicle, offset in (("Lantern", 0), ("Moth", 1)):
            steps = walk(480, seed + 2 * part + offset)[::6]
            reports += (strode(step, start_s + 6 * at, vehicle, scale, pressed) for at, step in enumerate(steps))
    return Dive(tuple(sorted(reports, key=lambda report: report.at_us)))


def strode(step: dict[str, float], second: int, vehicle: str, scale: float, pressed: bool) -> Report:
    """Return one step of a walk as a report of a vehicle."""
    said: dict[str, object] = {"vehicle": vehicle, "depth_m": max(0.0, step["depth"]), "altitude_m": step["altitude"]}
    if second % 90 == 5:
        said["note"] = f"said at {second}"
    east, north = scale * step["east"], scale * step["north"]
    azimuth_deg, reach_m = math.degrees(math.atan2(east, north)), math.hypot(east, north)
    at_us = second * SECOND + 137_000 + (vehicle == "Moth")
    return Report(at_us, azimuth_deg, reach_m, step["heading"], said, pressed)


def in_frame(report: Report, secrets: Secrets) -> tuple[float, float]:
    """Return where the fix of a report lies in the published frame of its dive, metres."""
    azimuth, turn = math.radians(report.azimuth_deg or 0.0), math.radians(secrets.turn_deg)
    east = report.reach_m * math.sin(azimuth) + secrets.shift_m[0]
    north = report.reach_m * math.cos(azimuth) + secrets.shift_m[1]
    return east * math.cos(turn) + north * math.sin(turn), north * math.cos(turn) - east * math.sin(turn)


def from_frame(report: Report, x: float, y: float, secrets: Secrets) -> Report:
    """Return the report with its fix at a point of the published frame: `in_frame` undone."""
    turn = math.radians(secrets.turn_deg)
    east = x * math.cos(turn) - y * math.sin(turn) - secrets.shift_m[0]
    north = x * math.sin(turn) + y * math.cos(turn) - secrets.shift_m[1]
    return replace(report, azimuth_deg=math.degrees(math.atan2(east, north)), reach_m=math.hypot(east, north))


def rounded(dive: Dive, secrets: Secrets) -> Dive:
    """Return a dive with every fix but the first moved by at most a hundredth of the finer cell, off all thresholds.

    The points are a fiftieth of that cell apart; the thresholds (quarters of either cell) lie a quarter of that off.
    """
    apart_m = dive.finer_m / HUNDREDTHS

    def moved(report: Report) -> Report:
        if report.azimuth_deg is None or report.reach_m == 0:
            return report
        x, y = ((round(value / apart_m - 0.25) + 0.25) * apart_m for value in in_frame(report, secrets))
        return from_frame(report, x, y, secrets)

    return replace(dive, reports=tuple(map(moved, dive.reports)), hidden=False)


def to_the_limit(secrets: Secrets, cell_m: float, count: int = 150) -> Dive:
    """Return a walk over multiples of a fiftieth of a cell, cell edges among them: half of that from each threshold.

    It never goes more than half a cell at once, and is often right at an edge or beside a threshold. Until it is
    placed the cell's own edges are thresholds, so it begins in the middle of a cell.
    """
    chance = random.Random(11)
    apart_m, start = cell_m / HUNDREDTHS, Report(0, 0.0)
    at = [round(value / cell_m) * HUNDREDTHS for value in in_frame(start, secrets)]
    reports = []
    for number in range(count):
        report = Report((5 + 15 * number) * SECOND, 0.0, 0.0, said={"depth_m": 900.0, "altitude_m": 4.0})
        if number:
            at = [strode_on(value, chance) for value in at] if number > 1 else at
            report = from_frame(report, at[0] * apart_m, at[1] * apart_m, secrets)
        reports.append(report)
    return Dive(tuple(reports), cell_m=cell_m, finer_m=cell_m, hidden=False)


def strode_on(value: int, chance: random.Random) -> int:
    """Return the next multiple: anywhere, on the nearest edge, or beside the threshold of a cell that may be held."""
    middle = round(value / HUNDREDTHS) * HUNDREDTHS
    side = chance.choice((-1, 1))
    aims = [value + chance.randint(-25, 25), middle + 25 * side, middle + chance.choice((37, 38)) * side]
    aim = chance.choice(aims)
    return max(value - 25, min(value + 25, aim))


def plan_at(dive: Dive, site: Site) -> Plan:
    """Return the plan of an expedition at a site: three policies, and areas and zones that lie where the dive does."""
    names = sorted({str((report.said or {}).get("vehicle", "Lantern")) for report in dive.reports})
    return Plan(
        expedition="The search for the Isoline Marr", vehicles=tuple(names),
        sources=(
            SourcePlan(name="station", format="station-json", vehicle="Lantern"),
            SourcePlan(name="position", format="nmea0183", vehicle="Lantern"),
        ),
        policies=tuple(policies(dive)), dive=DiveLimits(quiet_us=600 * SECOND),
        area=area_at(dive, site), zones=zones_at(site) if dive.hidden else (),
    )  # fmt: skip


def policies(dive: Dive) -> Iterator[Policy]:
    """Yield the public's policy with all it can hold back, and one that shows all it can; perhaps one without place."""
    common = {
        "delay_us": 2_700 * SECOND, "extra_us": 600 * SECOND, "tick_us": dive.tick_s * SECOND,
        "stale_us": dive.stale_s * SECOND, "depth_step_m": 5.0, "fields": frozenset(Disclosed),
    }  # fmt: skip
    held_back = {
        "track_legs": frozenset({Leg.BOTTOM}), "track_start_m": dive.cell_m, "track_start_us": 45 * SECOND,
        "radius_m": 16 * dive.cell_m, "depth_relative": True,
    }  # fmt: skip
    yield Policy(audience="public", cell_m=dive.cell_m, **common, **held_back)  # type: ignore[arg-type]
    yield Policy(audience="family", cell_m=dive.finer_m, descent_step_m=2.0, **common)  # type: ignore[arg-type]
    if dive.leaves:
        yield Policy(audience="press", cell_m=dive.cell_m, place=Place.AREA, **common)  # type: ignore[arg-type]


def beside(site: Site, azimuth_deg: float, reach_m: float) -> Site:
    """Return the place that lies so from a site."""
    way = WGS84.Direct(*site, azimuth_deg, reach_m)
    return way["lat2"], way["lon2"]


def area_at(dive: Dive, site: Site) -> Area:
    """Return the declared area: a wide circle, or a small polygon that the dive leaves."""
    if not dive.leaves:
        return Area("Southern Ocean", (beside(site, 10.0, 2_000.0),), 18_000.0)
    corners: Sequence[tuple[float, float]] = ((20.0, 150.0), (140.0, 160.0), (200.0, 140.0), (290.0, 170.0))
    return Area("Southern Ocean", tuple(beside(site, *corner) for corner in corners))


def zones_at(site: Site) -> tuple[Zone, ...]:
    """Return two zones near the start of a dive, one that withholds and one that freezes."""
    places = (("boiler", 60.0, 70.0, ZoneAction.WITHHOLD), ("bow", 290.0, 60.0, ZoneAction.FREEZE))
    return tuple(
        Zone(name=name, latitude_deg=latitude, longitude_deg=longitude, radius_m=15.0, margin_m=10.0, action=action)
        for name, azimuth_deg, reach_m, action in places
        for latitude, longitude in [beside(site, azimuth_deg, reach_m)]
    )
