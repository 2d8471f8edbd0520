"""The tables of what was received: dives, legs, tracks, every report, feeds, and logs that vehicles brought back."""

from collections.abc import Iterator
from typing import Any

from relay.shell.exact.exact_dives import ExactDives
from relay.shell.exact.exact_values import OBSERVED, ExactReport, Moment
from relay.shell.exact.shapes import ShapeKind, point, track_of
from relay.shell.exact.tables import Choice, Clock, Column, Row, Table, flag, moment, real, text, whole

_DIVE = whole("dive", "number of the dive, counted on board; empty between dives")
_VEHICLE = text("vehicle", "the vehicle, by its name in the expedition file")
_VALUES = (
    real("latitude_deg", "latitude (WGS84), north positive", "deg"),
    real("longitude_deg", "longitude (WGS84), east positive", "deg"),
    real("depth_m", "depth below the surface, positive down", "m"),
    real("pressure_dbar", "sea pressure", "dbar"),
    real("altitude_m", "height above the seabed", "m"),
    real("heading_deg", "heading, true, clockwise from north", "deg"),
    real("pitch_deg", "pitch, bow up positive", "deg"),
    real("roll_deg", "roll, starboard down positive", "deg"),
    real("rate_of_turn_deg_min", "rate of turn, to starboard positive", "deg/min"),
    real("speed_mps", "speed over ground", "m/s"),
    real("course_deg", "course over ground, true", "deg"),
    real("water_speed_mps", "speed through the water", "m/s"),
    text("mode", "how the vehicle was run: tethered, autonomous, surface"),
    text("note", "the station's own words"),
    real("clock_s", "date and time that the report itself tells, by the vehicle's or station's clock", "s since 1970"),
    real("time_of_day_s", "time of day that the report itself tells", "s after midnight UTC"),
)
assert tuple(column.name for column in _VALUES) == OBSERVED


def _between(what: str) -> tuple[Column, ...]:
    """Return the columns of a begin and an end on both clocks."""
    return (
        moment("begun", f"when the {what} began, by the ship's wall clock"),
        moment("ended", "when it ended; empty: under way at the end of the journal"),
        whole("begun_embargo_us", "its begin on the embargo clock, which counts only time that provably passed", "us"),
        whole("ended_embargo_us", "its end on the embargo clock", "us"),
    )


def _moments(clock: Clock, begun: Moment, ended: Moment | None) -> tuple[Any, ...]:
    end = (None, None) if ended is None else (clock(ended.wall_s), ended.embargo_us)
    return clock(begun.wall_s), end[0], begun.embargo_us, end[1]


def _dives(dives: ExactDives, choice: Choice) -> Iterator[Row]:
    clock = Clock()
    for dive in dives.dives:
        if choice.takes(dive.number, None) and (choice.vehicle is None or choice.vehicle in dive.vehicles):
            known = _moments(clock, dive.begun, dive.ended)
            yield None, (dive.number, *known, ", ".join(dive.vehicles), dive.begun_by or None, dive.ended_by or None)


def _legs(dives: ExactDives, choice: Choice) -> Iterator[Row]:
    clock = Clock()
    for phase in dives.phases(choice.dive):
        if choice.takes(phase.dive, phase.vehicle):
            known = _moments(clock, phase.begun, phase.ended)
            yield None, (phase.dive, phase.vehicle, str(phase.leg), *known, phase.by_hand)


def _tracks(dives: ExactDives, choice: Choice) -> Iterator[Row]:
    for dive in dives.dives:
        for vehicle in choice.vehicles(dives):
            if choice.takes(dive.number, vehicle):
                yield from _track(dives, vehicle, dive.number)


def _track(dives: ExactDives, vehicle: str, dive: int) -> Iterator[Row]:
    """Yield the track of a vehicle in a dive, if it has a position."""
    count, first_s, last_s, deepest_m = 0, 0.0, 0.0, None

    def places() -> Iterator[tuple[float, float]]:
        nonlocal count, first_s, last_s, deepest_m
        for report in dives.record(vehicle, dive):
            lon, lat, depth_m = report.longitude_deg, report.latitude_deg, report.depth_m
            if report.counts and depth_m is not None:
                deepest_m = depth_m if deepest_m is None else max(deepest_m, depth_m)
            if not report.placed or lon is None or lat is None:
                continue
            last_s = report.t_s
            first_s = last_s if count == 0 else first_s
            count += 1
            if depth_m is not None:
                deepest_m = depth_m if deepest_m is None else max(deepest_m, depth_m)
            yield lon, lat

    shape = track_of(places())
    if count:
        clock = Clock()
        yield shape, (dive, vehicle, count, clock(first_s), clock(last_s), first_s, last_s, deepest_m)


def _fixes(dives: ExactDives, choice: Choice) -> Iterator[Row]:
    times, receipts = Clock(), Clock()
    for vehicle in choice.vehicles(dives):
        depths = _Depths()
        for report in dives.record(vehicle, choice.dive):
            lon, lat = report.longitude_deg, report.latitude_deg
            shape = None if lon is None or lat is None else point(lon, lat)
            yield shape, _whence(report, vehicle, times, receipts) + report.values + depths.at(report)


class _Depths:
    """The newest depth of a vehicle, told report by report: what a report of a position alone is to be drawn with."""

    def __init__(self) -> None:
        self._newest: ExactReport | None = None

    def at(self, report: ExactReport) -> tuple[float | None, float | None, int | None]:
        """Take the next report; return the depth then, how old it was, and the journal row that told it.

        Ages are told between times of one clock alone: of reports that the vehicle's own clock timed, or the ship's.
        """
        if report.depth_m is not None and report.counts and report.kept_values is not None:
            self._newest = report
        newest = self._newest
        if newest is None or newest.own != report.own:
            return None, None, None
        return newest.depth_m, report.t_s - newest.t_s, None if newest.receipt is None else newest.receipt.row


def _whence(report: ExactReport, vehicle: str, times: Clock, receipts: Clock) -> tuple[Any, ...]:
    """Return how a report came, and what of it stands."""
    t_s, receipt, origin = report.t_s, report.receipt, "live" if report.log is None else "log"
    known = (report.dive, vehicle, times(t_s), t_s, "vehicle" if report.own else "ship", origin)
    part = "all" if report.kept_values is report.values else _part(report.kept_values)
    if receipt is None:
        return (*known, None, None, None, None, None, report.counts, None, report.log, part)
    row, (embargo_us, wall_s), feed, station = receipt
    return (*known, receipts(wall_s), wall_s, embargo_us, feed, station, report.counts, row, None, part)


def _ship(dives: ExactDives, choice: Choice) -> Iterator[Row]:
    """Yield where the ship was; with one vehicle chosen, nothing."""
    times, receipts = Clock(), Clock()
    for report in dives.ship(choice.dive) if choice.vehicle is None else ():
        lon, lat, receipt = report.longitude_deg, report.latitude_deg, report.receipt
        if receipt is not None:
            shape = None if lon is None or lat is None else point(lon, lat)
            row, (embargo_us, wall_s), feed, _ = receipt
            told_by = "feed" if report.own else "ship"
            made = report.dive, times(report.t_s), report.t_s, told_by
            yield shape, (*made, receipts(wall_s), wall_s, embargo_us, feed, row, *report.values)


def _part(kept: tuple[Any, ...] | None) -> str:
    """Return which fields of a report stand in the exact record."""
    if kept is None:
        return "none"
    told = zip(OBSERVED[:-2], kept, strict=False)  # the clocks go with whatever stands
    return ", ".join(name for name, value in told if value is not None)


def _feeds(dives: ExactDives, choice: Choice) -> Iterator[Row]:
    for feed in dives.feeds:
        if not choice.takes(choice.dive, feed.vehicle):
            continue
        counts = (feed.rows, feed.octets, feed.reports, feed.others, feed.passed_over, feed.rejected)
        yield None, (feed.name, feed.format, feed.vehicle, feed.station, feed.of_ship, *counts)
    for name, rows in dives.rows_of_unknown_feeds.items():
        yield None, (name, None, None, "not in the expedition file: not read", False, rows, *(None,) * 5)


def _logs(dives: ExactDives, choice: Choice) -> Iterator[Row]:
    clock = Clock()
    for log in dives.logs:
        if choice.takes(choice.dive, log.vehicle):
            file = log.name, log.sha256, log.octets, log.format, log.who
            times = clock(log.imported_s), clock(log.first_s), clock(log.last_s)
            yield None, (log.number, log.vehicle, *file, *times, log.reports)


DIVES = Table(
    "dives",
    "Dives",
    "each dive, judged on board once a second; audiences' recordings have the same numbers unless a dive was too short",
    None,
    (
        whole("dive", "number of the dive"),
        *_between("dive"),
        text("vehicles", "the vehicles that were heard meanwhile"),
        text("begun_by", "who began it by hand; empty: it was judged to begin"),
        text("ended_by", "who ended it by hand; empty: it was judged to end"),
    ),
    _dives,
)
LEGS = Table(
    "legs",
    "Legs",
    "the parts of each dive, vehicle by vehicle: deck, descent, bottom, ascent",
    None,
    (
        whole("dive", "number of the dive"),
        _VEHICLE,
        text("leg", "deck, descent, bottom or ascent"),
        *_between("leg"),
        flag("by_hand", "whether the operator set it; else it was judged by depth and altitude"),
    ),
    _legs,
)
TRACKS = Table(
    "tracks",
    "Tracks",
    "a line a dive and vehicle through all positions of the exact record in the order of the vehicle's own time; of "
    "two stations that send the same vehicle, through those of the station that counted",
    ShapeKind.LINES,
    (
        whole("dive", "number of the dive"),
        _VEHICLE,
        whole("positions", "how many positions it goes through; a single one makes no line"),
        moment("first", "time of the first position, by the vehicle's own clock where it tells it"),
        moment("last", "time of the last"),
        real("first_unix_s", "time of the first position in full", "s since 1970"),
        real("last_unix_s", "time of the last position in full", "s since 1970"),
        real("deepest_m", "the greatest depth reported, with a position or without", "m"),
    ),
    _tracks,
)
FIXES = Table(
    "fixes",
    "Reports",
    "every report of a vehicle, received live or of a recovered log, with all its values and where each came from; one "
    "without a position has no point",
    ShapeKind.POINT,
    (
        _DIVE,
        _VEHICLE,
        moment("time", "when the report was made: see told_by"),
        real("time_unix_s", "the same in full", "s since 1970"),
        text("told_by", "vehicle: its own clock told the time; ship: her wall clock at receipt stands for it"),
        text("origin", "live: received and journalled; log: of a log that the vehicle brought back"),
        moment("received", "when the ship received it, by her wall clock"),
        real("received_unix_s", "the same in full", "s since 1970"),
        whole("embargo_us", "when the ship received it, on the embargo clock", "us"),
        text("feed", "the feed it came by, by its name in the expedition file"),
        text("station", "alone, or which of two stations that send the same vehicle sent it"),
        flag("counts", "whether this station's reports counted then; of a single station they always do"),
        whole("journal_row", "the row of the journal that completed it; `offing prove` proves a row"),
        whole("log", "the recovered log it is of (see recovered_logs)"),
        text("stands", "what of it is in the exact record: all, none (another tells the same), or these of its fields"),
        *_VALUES,
        real("newest_depth_m", "the newest depth told by then, by this report or one before it that counted", "m"),
        real("newest_depth_age_s", "how much earlier that was told, by the same clock", "s"),
        whole("newest_depth_row", "the journal row that told it; empty: a recovered log did"),
    ),
    _fixes,
)
SHIP = Table(
    "ship",
    "The ship",
    "every report of the ship's own feed; for all vehicles together alone, not where one is chosen",
    ShapeKind.POINT,
    (
        _DIVE,
        moment("time", "when the report was made: see told_by"),
        real("time_unix_s", "the same in full", "s since 1970"),
        text("told_by", "feed: the report told the time; ship: her wall clock at receipt stands for it"),
        moment("received", "when it was received, by the ship's wall clock"),
        real("received_unix_s", "the same in full", "s since 1970"),
        whole("embargo_us", "when it was received, on the embargo clock", "us"),
        text("feed", "the feed it came by, by its name in the expedition file"),
        whole("journal_row", "the row of the journal that completed it; `offing prove` proves a row"),
        *_VALUES,
    ),
    _ship,
)
FEEDS = Table(
    "feeds",
    "Feeds",
    "each feed of the expedition file, what came by it, and what became of that",
    None,
    (
        text("feed", "its name"),
        text("format", "how its bytes are read"),
        text("vehicle", "whose it is, where its format doesn't say"),
        text("station", "alone, primary or standby"),
        flag("of_ship", "whether it tells where the ship herself is; that is in the journal alone"),
        whole("journal_rows", "rows of the journal that came by it"),
        whole("octets", "their bytes", "B"),
        whole("reports", "reports of this expedition's vehicles in them; by the ship's own feed, of the ship"),
        whole("others", "reports of other vehicles, or of none; by the ship's own feed, of a vehicle"),
        whole("passed_over", "well-formed frames that tell nothing used here"),
        whole("rejected", "what was no good frame"),
    ),
    _feeds,
)
LOGS = Table(
    "recovered_logs",
    "Recovered logs",
    "the logs that vehicles brought back, as they were imported",
    None,
    (
        whole("log", "its number, in the order of import"),
        _VEHICLE,
        text("name", "its file's name"),
        text("sha256", "SHA-256 of its bytes"),
        whole("octets", "its size", "B"),
        text("format", "how it is read"),
        text("imported_by", "who imported it"),
        moment("imported", "when, by the ship's wall clock"),
        moment("first", "time of its first report, by the vehicle's own clock"),
        moment("last", "time of its last report"),
        whole("reports", "how many reports of the vehicle it has"),
    ),
    _logs,
)
RECEIVED = (DIVES, LEGS, TRACKS, FIXES, SHIP, FEEDS, LOGS)
