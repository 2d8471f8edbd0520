"""The report of a dive as it was, for the expedition's log: exact positions, times of day, who decided what.

Rules: exact and private, and it says so on every page; it is made on the ship from her own record, and goes off the
ship encrypted alone. Positions are WGS84 degrees; times are UTC by the ship's clock, beside them the dive time.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from relay.core.finds import FindRecord
from relay.core.policy import MICROSECONDS
from relay.shell.exact.exact_dives import ExactDives, Progress, in_silence
from relay.shell.exact.exact_values import Dive, Moment, TargetSeen
from relay.shell.report.dive_report import Report, Section, Table, plan_of, profile_of
from relay.shell.report.exact_dive import Fixed, Ground, VehicleExact, ground_of, vehicles_of
from relay.shell.report.exact_finds import degrees, find_row
from relay.shell.report.report_drawing import Mark, Spot, clock, metres
from relay.shell.site.page_words import EN, number

MARK = "EXACT, PRIVATE: not to be published"
MINUTE_US = 60 * MICROSECONDS


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of the log; `numbered`: it stands on the drawings, too, at its spot if it has one."""

    moment: Moment
    vehicle: str
    what: str
    who: str = ""
    spot: Spot | None = None
    where: str = ""
    numbered: bool = False


@dataclass(frozen=True, slots=True)
class Whole:
    """What a report is made of."""

    expedition: str
    ship: str
    exact: ExactDives
    dive: Dive
    length_s: float
    vehicles: Sequence[VehicleExact]
    entries: Sequence[Entry]
    finds: Sequence[FindRecord]
    ground: Ground

    def at_s(self, moment: Moment) -> float:
        """Return a moment in seconds of the dive."""
        return (moment.embargo_us - self.dive.begun.embargo_us) / MICROSECONDS

    def utc(self, unix_s: float) -> str:
        """Return a time of day, with its date where that isn't the day on which the dive began."""
        at = datetime.fromtimestamp(unix_s, UTC)
        begun = datetime.fromtimestamp(self.dive.begun.wall_s, UTC)
        return f"{at:%H:%M:%S}" if at.date() == begun.date() else f"{at:%Y-%m-%d %H:%M:%S}"


def exact_report(expedition: str, ship: str, exact: ExactDives, dive: Dive, progress: Progress = in_silence) -> Report:
    """Return the report of a dive; `progress` hears how far it is."""
    ground, length_s = ground_of(exact, dive), exact.length_s(dive)
    vehicles = list(vehicles_of(exact, dive, ground, progress))
    own = [record for find in exact.finds for record in find.records if dive.holds(record.at_us)]
    entries = sorted(_entries(exact, dive, vehicles, own, ground), key=lambda entry: entry.moment.embargo_us)
    whole = Whole(expedition, ship, exact, dive, length_s, vehicles, entries, own, ground)
    sections = [
        Section("The dive", facts=tuple(_facts(whole))),
        *_profile(whole),
        *_plan(whole),
        *_vehicles(whole),
        *_positions(whole),
        *_legs(whole),
        *_targets(whole),
        *_finds(whole),
        *_instruments(whole),
        *_logs(whole),
        Section("Its proof", says=tuple(_proof(whole))),
        *_log(whole),
    ]
    made_of = f"Made aboard {ship} from her own journal and the logs that her vehicles brought back. {MARK}."
    return Report(
        f"{expedition}: dive\N{NO-BREAK SPACE}{dive.number},\N{NO-BREAK SPACE}exact",
        MARK,
        True,
        tuple(_meaning(whole)),
        sections,
        made_of,
    )


def _meaning(whole: Whole) -> Iterator[str]:
    yield (
        "This page tells where the dive was. It stays in the ship's private folder, or goes encrypted to those who may "
        "know."
    )
    yield "Positions are WGS84, latitude and longitude in degrees; times are UTC by the ship's clock."
    if whole.dive.ended is None:
        yield "The dive was under way where the journal ends: this is what there was so far."


def _facts(whole: Whole) -> Iterator[tuple[str, str]]:
    dive = whole.dive
    yield "Expedition", whole.expedition
    yield "Ship", whole.ship
    yield "Dive", str(dive.number)
    yield "Begun", _said_by(dive.begun, dive.begun_by)
    yield "Ended", "under way" if dive.ended is None else _said_by(dive.ended, dive.ended_by)
    yield "Length", clock(whole.length_s)
    unheard = {vehicle.name for vehicle in whole.vehicles} - set(dive.vehicles)
    names = [f"{each.name}{', by its own log alone' if each.name in unheard else ''}" for each in whole.vehicles]
    yield "Vehicles", "; ".join(names) or "none was heard"
    corners = [vehicle.corners for vehicle in whole.vehicles if vehicle.corners is not None]
    if corners:
        yield "Southernmost, westernmost", degrees(min(c[0] for c in corners), min(c[1] for c in corners))
        yield "Northernmost, easternmost", degrees(max(c[2] for c in corners), max(c[3] for c in corners))


def _said_by(moment: Moment, who: str) -> str:
    at = f"{datetime.fromtimestamp(moment.wall_s, UTC):%Y-%m-%d %H:%M:%S} UTC"
    return f"{at}, by {who}" if who else at


def _marks(whole: Whole) -> list[Mark]:
    numbered = (entry for entry in whole.entries if entry.numbered)
    return [Mark(at, whole.at_s(entry.moment), entry.spot) for at, entry in enumerate(numbered, 1)]


def _profile(whole: Whole) -> Iterator[Section]:
    drawn = [vehicle.drawn() for vehicle in whole.vehicles]
    if any(vehicle.depths for vehicle in drawn):
        deepest = max(vehicle.deepest_m or 0.0 for vehicle in whole.vehicles)
        said = f"Depth over {clock(whole.length_s)} of dive time, down to {metres(deepest)}; the tables below tell it."
        more = "The numbers are those of the log."
        yield Section("Depth profile", drawings=[profile_of(drawn, _marks(whole), whole.length_s, said, more)])


def _plan(whole: Whole) -> Iterator[Section]:
    anchor = whole.ground.anchor
    said = "Tracks on a plan in metres, north up; the tables below tell the positions."
    drawn = [vehicle.drawn() for vehicle in whole.vehicles]
    plan = None
    if anchor is not None:
        zero = degrees(anchor.latitude_deg, anchor.longitude_deg)
        more = f"North is up. Lines of the grid run through {zero}. The numbers are those of the log."
        plan = plan_of(drawn, _marks(whole), said, more)
    if plan is None:
        yield Section("Plan", says=["No position of a vehicle was received in this dive."])
        return
    wild = sum(vehicle.wild for vehicle in whole.vehicles)
    fixes = "1 fix" if wild == 1 else f"{number(wild, EN)} fixes"
    says = [f"Not drawn: {fixes} that nothing under way could have reached."] if wild else []
    yield Section("Plan", says=says, drawings=[plan])


def _vehicles(whole: Whole) -> Iterator[Section]:
    columns = ("Vehicle", "Reports", "With a position", "At the bottom", "Way as drawn", "Deepest")
    rows = [
        (
            vehicle.name,
            number(vehicle.reports, EN),
            number(vehicle.positions, EN),
            clock(vehicle.bottom_s),
            f"{number(vehicle.way_m, EN)} m" if vehicle.positions else "",
            "" if vehicle.deepest_m is None else metres(vehicle.deepest_m),
        )
        for vehicle in whole.vehicles
    ]
    if rows:
        yield Section("Vehicles", table=Table(columns, rows, frozenset(range(1, 6))))


def _positions(whole: Whole) -> Iterator[Section]:
    """Yield where each track began, was deepest, and ended."""
    rows = [
        _position(whole, vehicle.name, words, fixed)
        for vehicle in whole.vehicles
        for words, fixed in (("first", vehicle.first), ("deepest", vehicle.deepest), ("last", vehicle.last))
        if fixed is not None
    ]
    if rows:
        columns = ("Vehicle", "Position", "UTC", "Latitude, longitude", "Depth")
        says = [_clock_of(vehicle) for vehicle in whole.vehicles if abs(vehicle.behind_s) >= 1]
        yield Section("Positions", says, table=Table(columns, rows, frozenset((2, 4))))


def _clock_of(vehicle: VehicleExact) -> str:
    """Return by how much a clock was off, in words."""
    side = "behind" if vehicle.behind_s > 0 else "ahead of"
    return (
        f"{vehicle.name}'s own clock was {clock(abs(vehicle.behind_s))} {side} the ship's (the median over this dive's "
        "reports); what it timed stands here by the ship's."
    )


def _position(whole: Whole, vehicle: str, words: str, fixed: Fixed) -> tuple[str, ...]:
    where = fixed.where
    depth = "" if where.depth_m is None else metres(where.depth_m)
    if depth and fixed.depth_age_s >= 1:
        depth += f", {fixed.depth_age_s:.0f} s before"
    return (
        vehicle,
        words,
        whole.utc(whole.dive.begun.wall_s + fixed.at_s),
        degrees(where.latitude_deg, where.longitude_deg),
        depth,
    )


def _legs(whole: Whole) -> Iterator[Section]:
    rows = [
        (
            vehicle.name,
            EN.legs.get(leg.phase.leg, leg.phase.leg) + (", set by hand" if leg.phase.by_hand else ""),
            whole.utc(leg.phase.begun.wall_s),
            "under way" if leg.phase.ended is None else whole.utc(leg.phase.ended.wall_s),
            clock(leg.to_s - leg.from_s),
            "" if leg.most_m is None else metres(leg.most_m),
        )
        for vehicle in whole.vehicles
        for leg in vehicle.legs
    ]
    if rows:
        columns = ("Vehicle", "Leg", "From, UTC", "To, UTC", "Lasted", "Deepest")
        yield Section("Legs", table=Table(columns, rows, frozenset(range(2, 6))))


def _targets(whole: Whole) -> Iterator[Section]:
    rows = [_target(whole, seen) for seen in whole.exact.targets(whole.dive.number)]
    if rows:
        columns = ("Target", "Verdict", "UTC", "By", "Latitude, longitude", "95 % ellipse, semi-axes and azimuth")
        says = ["Each decision on a target in its order; a place is that of the newest sighting up to then."]
        yield Section("Targets", says, table=Table(columns, rows, frozenset((2, 4, 5))))


def _target(whole: Whole, seen: TargetSeen) -> tuple[str, ...]:
    placed = seen.placed
    verdict = EN.verdicts.get(seen.verdict, seen.verdict) if seen.verdict != "withheld" else "withheld"
    if placed is None:
        return seen.name, verdict, whole.utc(seen.moment.wall_s), seen.who, "", ""
    spread = placed.spread
    ellipse = f"{spread.major_95_m:,.1f}\N{NO-BREAK SPACE}m, {spread.minor_95_m:,.1f}\N{NO-BREAK SPACE}m, "
    ellipse += f"{spread.major_azimuth_deg:.0f}°"
    if not placed.first_order:
        ellipse += " (too rough to trust)"
    at = whole.utc(seen.moment.wall_s)
    return seen.name, verdict, at, seen.who, degrees(placed.latitude_deg, placed.longitude_deg), ellipse


def _finds(whole: Whole) -> Iterator[Section]:
    rows = [find_row(record, whole.utc(record.wall_s)) for record in whole.finds]
    if rows:
        columns = ("Find", "Record", "What", "UTC", "By", "Latitude, longitude, within (95 %)", "Files and drawings")
        says = [
            "Every record of a find that was made in this dive. What is as found is never changed, only superseded."
        ]
        yield Section("Finds", says, table=Table(columns, rows, frozenset((3,))))


def _entries(
    exact: ExactDives, dive: Dive, vehicles: Sequence[VehicleExact], finds: Sequence[FindRecord], ground: Ground
) -> Iterator[Entry]:
    """Yield everything that happened in a dive, in no order."""
    yield Entry(dive.begun, "", "The dive begins.", dive.begun_by)
    if dive.ended is not None:
        yield Entry(dive.ended, "", "The dive ends.", dive.ended_by)
    for vehicle in vehicles:
        for leg in vehicle.legs:
            words = EN.legs.get(leg.phase.leg, leg.phase.leg)
            yield Entry(leg.phase.begun, vehicle.name, f"{words[:1].upper()}{words[1:]}.")
    yield from _said(exact, dive, ground)
    yield from _told(exact, dive, ground)
    for record in finds:
        place = record.find.place
        spot = None if place is None else ground.spot(place.latitude_deg, place.longitude_deg)
        where = "" if place is None else degrees(place.latitude_deg, place.longitude_deg)
        stands = "as found" if record.as_found else f"supersedes row {record.supersedes}"
        what = f"Find {record.find.name}: {record.find.what or ''}, {stands} (row {record.row})"
        moment = Moment(record.at_us, record.wall_s)
        yield Entry(moment, record.find.vehicle or "", what, record.who, spot, where, True)


def _said(exact: ExactDives, dive: Dive, ground: Ground) -> Iterator[Entry]:
    """Yield what was said, with where its vehicle was then."""
    for said in exact.annotations(dive.number):
        what = said.text + {"waits": " (waits for approval)", "dismissed": " (dismissed)"}.get(said.state, "")
        what += " (with a still)" if said.still is not None else ""
        where, spot = said.where, None
        if where is not None:
            spot = ground.spot(where.latitude_deg, where.longitude_deg)
        told = "" if where is None else degrees(where.latitude_deg, where.longitude_deg)
        yield Entry(said.moment, said.vehicle or "", what, said.who or f"feed {said.feed}", spot, told, True)


def _told(exact: ExactDives, dive: Dive, ground: Ground) -> Iterator[Entry]:
    """Yield targets and all other decisions."""
    for seen in exact.targets(dive.number):
        placed = seen.placed
        spot = None if placed is None else ground.spot(placed.latitude_deg, placed.longitude_deg)
        where = "" if placed is None else degrees(placed.latitude_deg, placed.longitude_deg)
        what = f"Target {seen.name}: {EN.verdicts.get(seen.verdict, seen.verdict)}"
        yield Entry(seen.moment, seen.vehicle or "", what, seen.who, spot, where, True)
    for decided in exact.decisions(dive.number):
        if decided.what not in ("say", "target", "find", "begin", "end"):
            yield Entry(decided.moment, "", _decision(decided.what, decided.text, dive.begun), decided.who)


_SHOWN = ("audience", "audiences", "vehicle", "leg", "name", "say", "reason", "from_us", "to_us", "until")


def _decision(what: str, text: str, begun: Moment) -> str:
    """Return a decision in words: what, and those of its values that say of whom or what."""
    if not what:
        return "A row that is no decision."
    values = json.loads(text)
    said = [f"{name.removesuffix('_us')} {_value(name, values[name], begun)}" for name in _SHOWN if values.get(name)]
    return f"Decision: {what}{' (' if said else ''}{', '.join(said)}{')' if said else ''}"


def _value(name: str, value: object, begun: Moment) -> str:
    if name.endswith("_us") and isinstance(value, int):
        at_s = (value - begun.embargo_us) / MICROSECONDS
        return f"{clock(at_s)} of dive time" if at_s >= 0 else f"{clock(-at_s)} before the dive"
    return ", ".join(map(str, value)) if isinstance(value, list) else str(value)


def _log(whole: Whole) -> Iterator[Section]:
    rows, at = list[tuple[str, ...]](), 0
    for entry in whole.entries:
        at += entry.numbered
        shown = str(at) if entry.numbered else ""
        times = whole.utc(entry.moment.wall_s), clock(max(0.0, whole.at_s(entry.moment)))
        rows.append((shown, *times, entry.vehicle, entry.what, entry.who, entry.where))
    columns = ("No.", "UTC", "Dive time", "Vehicle", "What", "By", "Where")
    yield Section("Log", table=Table(columns, rows, frozenset((0, 1, 2)), labelled=False))


def _instruments(whole: Whole) -> Iterator[Section]:
    formats = {feed.name: feed.format for feed in whole.exact.feeds}
    names = {f"log {log.number}": f"log {log.name}" for log in whole.exact.logs}
    formats |= {f"log {log.number}": log.format for log in whole.exact.logs}
    rows = [
        (vehicle.name, names.get(feed, feed), station, formats.get(feed, ""), number(count, EN))
        for vehicle in whole.vehicles
        for (feed, station), count in sorted(vehicle.by.items())
    ]
    if rows:
        columns = ("Vehicle", "Feed", "Station", "Format", "Reports that stand")
        says = ["Where the exact record of this dive came from. What two told of the same instant stands once."]
        yield Section("Stations and feeds", says, table=Table(columns, rows, frozenset((4,))))


def _logs(whole: Whole) -> Iterator[Section]:
    """Yield the logs that hold reports of this dive."""
    told = {
        log.number for vehicle in whole.vehicles for log in whole.exact.logs if (f"log {log.number}", "") in vehicle.by
    }
    rows = [
        (log.vehicle, log.name, log.sha256, log.who, f"{datetime.fromtimestamp(log.imported_s, UTC):%Y-%m-%d %H:%M:%S}")
        for log in whole.exact.logs
        if log.number in told
    ]
    if rows:
        columns = ("Vehicle", "Log", "SHA-256", "Imported by", "UTC")
        yield Section("Recovered logs", table=Table(columns, rows, frozenset((4,))))


def _proof(whole: Whole) -> Iterator[str]:
    first = whole.dive.first_us // MINUTE_US
    last = (whole.dive.begun.embargo_us + round(whole.length_s * MICROSECONDS)) // MINUTE_US
    yield (
        f"What was received in this dive lies in minutes {first} to {last} of the exact record (embargo clock), which "
        "the ship seals each minute."
    )
    yield (
        "“offing journal verify” checks the whole journal against those seals; “offing prove” opens one record of it, "
        "and no other, to somebody who has a recording."
    )
