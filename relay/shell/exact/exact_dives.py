"""The dives of a site as they were, exact: the seam between the private record and what is written of it.

Rules: read-only on the journal and the recovered logs; whether a relay runs or not, it gives what was there at the
begin. Reports stream from the disk in the order of their own time, so memory is bounded; the rest (dives, legs,
targets) is as much as people decide. A live report belongs to the dive in which it was received; one of a log to the
dive in whose time, by the vehicle's clock, it was made. Nothing here may reach what is released.
"""

import contextlib
import gc
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from relay.core.errors import OperatorError
from relay.core.exact_record import judged
from relay.core.finds import Finds
from relay.core.own_time import Report
from relay.core.policy import MICROSECONDS, Plan
from relay.shell.exact.decoding import decoding
from relay.shell.exact.exact_reading import ExactReading
from relay.shell.exact.exact_store import ExactStore, Raw, Stored, exact_store, told_by
from relay.shell.exact.exact_values import (
    Annotation,
    Decided,
    Dive,
    ExactReport,
    FeedTold,
    LogKept,
    Moment,
    Phase,
    Receipt,
    TargetSeen,
    observed_values,
)
from relay.shell.plan.expedition import Expedition
from relay.shell.record.import_log import read_kept
from relay.shell.record.journal import LAST, read_marks, read_rows
from relay.shell.record.journal import NAME as JOURNAL
from relay.shell.record.read_only import last_row, reading
from relay.shell.record.recovered import recovered_logs

_NUMBER, _OWN, _LOG, _COUNTS, _COUNTING = (
    Stored._fields.index(name) for name in ("number", "own", "log", "counts", "counting")
)
_SELDOM = 100_000, 50, 50  # in place of Python's 700, 10, 10
Progress = Callable[[str, int, int], None]


def in_silence(what: str, done: int, whole: int) -> None:
    """Tell nobody how far it is."""


def _counts(raw: Raw) -> bool:
    """Return whether a stored report is what counts of two stations; what has no second station does."""
    return bool(raw[_COUNTS]) or raw[_COUNTING] is not None


@dataclass(frozen=True, slots=True)
class _Span:
    """When a dive was, by a vehicle's own clock, Unix seconds, and how far that lay behind the ship's, if it told."""

    dive: int
    first_s: float
    last_s: float
    behind_s: float | None


class ExactDives:
    """The exact record of a site, read: ask it, as often as needed, while it is open (`exact_dives`)."""

    def __init__(self, plan: Plan, store: ExactStore, reading: ExactReading, logs: tuple[LogKept, ...]) -> None:
        """Take what was read."""
        self.plan, self.logs = plan, logs
        self._store, self._reading = store, reading
        self.dives: tuple[Dive, ...] = tuple(reading.walk.dives)
        self.feeds: tuple[FeedTold, ...] = tuple(reading.feeds)
        self.rows_of_unknown_feeds = dict(reading.unknown)
        self._feeds = [(feed.name, feed.station) for feed in self.feeds]
        self._logged = {log.vehicle for log in logs}
        self._spans = [self._spans_of(vehicle) for vehicle in range(len(plan.vehicles) + 1)]  # the ship's the last

    @property
    def rows(self) -> int:
        """How many rows of the journal were read."""
        return self._reading.rows

    @property
    def reports(self) -> int:
        """How many reports there are, live and of logs, those of where the ship was, too."""
        return self._store.reports

    def dive(self, number: int) -> Dive:
        """Return a dive by its number; OperatorError says which there are."""
        if not 1 <= number <= len(self.dives):
            there = f"the journal has dives 1 to {len(self.dives)}" if self.dives else "the journal has no dive yet"
            raise OperatorError(f"there is no dive {number}: {there}")
        return self.dives[number - 1]

    def length_s(self, dive: Dive) -> float:
        """Return how long a dive was on the embargo clock; of one under way, up to the journal's end."""
        until_us = self._reading.until_us if dive.ended is None else dive.ended.embargo_us
        return max(0, until_us - dive.begun.embargo_us) / MICROSECONDS

    def begun_s(self, vehicle: str, dive: int) -> float:
        """Return when a dive began by the clock of a vehicle, Unix seconds."""
        return self._spans[self.plan.vehicles.index(vehicle)][dive - 1].first_s

    def phases(self, dive: int | None = None) -> tuple[Phase, ...]:
        """Return the legs of a dive (None: of all), by vehicle, in their order."""
        return tuple(phase for phase in self._reading.walk.phases if dive in (None, phase.dive))

    def record(self, vehicle: str, dive: int | None = None) -> Iterator[ExactReport]:
        """Yield every report of a vehicle, in a dive or in all the time, in the order of the vehicle's own time.

        Each says what of it is `kept` in the exact record: a log stands, a live report adds what it lacks.
        """
        yield from self._record(vehicle, self.plan.vehicles.index(vehicle), dive)

    def ship(self, dive: int | None = None) -> Iterator[ExactReport]:
        """Yield every report of the ship's own feed, in a dive or in all the time, in the order of its time."""
        yield from self._record("", len(self.plan.vehicles), dive)

    def clock_behind_s(self, vehicle: str, dive: int) -> float | None:
        """Return how far a vehicle's clock lay behind the ship's wall clock in a dive; None where it told no time."""
        return self._spans[self.plan.vehicles.index(vehicle)][dive - 1].behind_s

    def _record(self, vehicle: str, at: int, dive: int | None) -> Iterator[ExactReport]:
        for stored in self._store.instants(at, *self._bounds_ms(at, dive)):
            for report in self._judged(vehicle, at, stored):
                if dive is None or report.dive == dive:
                    yield report

    def track(self, vehicle: str, dive: int | None = None) -> Iterator[ExactReport]:
        """Yield the reports whose position stands in the exact record and counts: the track, in the order of time."""
        for report in self.record(vehicle, dive):
            if report.placed:
                yield report

    def annotations(self, dive: int | None = None) -> Iterator[Annotation]:
        """Yield what was said, at the desk and in stations' notes, in the order of receipt."""
        for said in self._store.items("annotation", Annotation):
            number = self._dive_of(said.moment)
            if dive is None or number == dive:
                state = self._reading.said.get(said.row, said.state) if said.state == "waits" else said.state
                yield replace(said, dive=number, state=state)

    def targets(self, dive: int | None = None) -> tuple[TargetSeen, ...]:
        """Return every decision on a target; the last one on each is `current`."""
        last = {seen.name: seen.row for seen in self._reading.targets}
        all_seen = (
            replace(seen, dive=self._dive_of(seen.moment), current=last[seen.name] == seen.row)
            for seen in self._reading.targets
        )
        return tuple(seen for seen in all_seen if dive in (None, seen.dive))

    @property
    def finds(self) -> Finds:
        """The finds of the site, with all their records."""
        return self._reading.finds

    def dive_of(self, embargo_us: int) -> int | None:
        """Return the dive that what was received then belongs to, None between dives."""
        return self._reading.walk.dive_of(embargo_us)

    def decisions(self, dive: int | None = None) -> Iterator[Decided]:
        """Yield every decision of the journal, in its order."""
        for decided in self._store.items("decision", Decided):
            number = self._dive_of(decided.moment)
            if dive is None or number == dive:
                yield replace(decided, dive=number)

    def _dive_of(self, moment: Moment) -> int | None:
        return self._reading.walk.dive_of(moment.embargo_us)

    def _judged(self, vehicle: str, at: int, stored: list[Raw]) -> Iterator[ExactReport]:
        """Yield the reports of one instant, judged together: what counts of two stations before what doesn't."""
        if len(stored) == 1 and (stored[0][_LOG] is not None or vehicle not in self._logged):
            values = told_by(stored[0])
            yield self._exact(vehicle, at, stored[0], values, values)
            return
        if vehicle not in self._logged:
            stored.sort(key=lambda raw: not _counts(raw))
            yield from self._each_once(vehicle, at, stored)
            return
        stored.sort(key=lambda raw: (raw[_LOG] is None, raw[_LOG] or 0, not _counts(raw), raw[_NUMBER]))
        reports = [self._exact(vehicle, at, raw, told_by(raw), None) for raw in stored]
        by_log: dict[int, list[Report]] = {}
        for report in reports:
            if report.log is not None:
                by_log.setdefault(report.log, []).append(report.report)
        live = [report.report for report in reports if report.log is None]
        each = judged(list(by_log.values()), live, self._store.in_a_log)
        for report, judgement in zip(reports, each, strict=True):
            kept = judgement.kept
            stands = None if kept is None else observed_values(kept.observation)
            yield report._replace(kept_values=report.values if stands == report.values else stands)

    def _each_once(self, vehicle: str, at: int, stored: list[Raw]) -> Iterator[ExactReport]:
        """Yield the reports of one instant of a vehicle without a log: as `judged` does, a copy doesn't stand."""
        had = set[tuple[Any, ...]]()
        for raw in stored:
            values = told_by(raw)
            yield self._exact(vehicle, at, raw, values, None if raw[_OWN] and values in had else values)
            had.add(values)

    def _exact(
        self, vehicle: str, at: int, raw: Raw, values: tuple[Any, ...], kept: tuple[Any, ...] | None
    ) -> ExactReport:
        _, _, number, t_s, own, log, row, embargo_us, wall_s, feed, _, frame, _, _ = raw
        if log is not None:
            dive = self._dive_at(at, t_s)
            return ExactReport(number, dive, vehicle, t_s, bool(own), values, kept, True, None, log, frame)
        name, station = self._feeds[feed]
        receipt = Receipt(row, Moment(embargo_us, wall_s), name, station)
        dive = self._reading.walk.dive_of(embargo_us)
        return ExactReport(number, dive, vehicle, t_s, bool(own), values, kept, _counts(raw), receipt, None, frame)

    def _spans_of(self, vehicle: int) -> list[_Span]:
        """Return when each dive was by the clock of a vehicle: the ship's, less by how much that lies behind it.

        That is the median over the reports of the dive that tell the vehicle's own time; none: its clock is the ship's.
        """
        spans = []
        for dive in self.dives:
            last_us = dive.ended.embargo_us if dive.ended is not None else 2**62
            where = "FROM report WHERE vehicle = ? AND own AND log IS NULL AND embargo_us BETWEEN ? AND ?"
            values = (vehicle, dive.first_us, last_us)
            count = self._store.ask(f"SELECT count(*) {where}", values)[0][0]
            late_s = 0.0
            if count:
                asked = f"SELECT wall_s - t_s {where} ORDER BY 1 LIMIT 1 OFFSET ?"
                late_s = self._store.ask(asked, (*values, count // 2))[0][0]
            ended_s = float("inf") if dive.ended is None else dive.ended.wall_s - late_s
            spans.append(_Span(dive.number, dive.begun.wall_s - late_s, ended_s, late_s if count else None))
        return spans

    def _dive_at(self, vehicle: int, t_s: float) -> int | None:
        return next((span.dive for span in self._spans[vehicle] if span.first_s <= t_s <= span.last_s), None)

    def _bounds_ms(self, vehicle: int, dive: int | None) -> tuple[int | None, int | None]:
        """Return the first and the last instant that a dive's reports have, so that no others need be read."""
        if dive is None:
            return None, None
        span, known = self._spans[vehicle][dive - 1], self.dives[dive - 1]
        last_us = known.ended.embargo_us if known.ended is not None else 2**62
        asked = (
            "SELECT min(instant_ms), max(instant_ms) FROM report WHERE vehicle = ? AND log IS NULL "
            "AND embargo_us BETWEEN ? AND ?"
        )
        live = [ms for ms in self._store.ask(asked, (vehicle, known.first_us, last_us))[0] if ms is not None]
        if vehicle == len(self.plan.vehicles) or self.plan.vehicles[vehicle] not in self._logged:
            return (live[0], live[1]) if live else (0, -1)
        last_ms = None if span.last_s == float("inf") else max([round(span.last_s * 1_000), *live])
        return min([round(span.first_s * 1_000), *live]), last_ms


@contextlib.contextmanager
def exact_dives(expedition: Expedition, progress: Progress = in_silence) -> Iterator[ExactDives]:
    """Read the exact record of a site, and give it to whoever asks until the context ends.

    `progress` hears what is being read, how far it is and how far it goes. OperatorError: no journal, or unreadable.
    """
    path = expedition.private / JOURNAL
    if not path.exists():
        raise OperatorError(
            f"{expedition.private} holds no journal. Check that {expedition.path} is the expedition file that "
            "`offing ship` ran on."
        )
    with exact_store(expedition.private) as store, _seldom_collected():
        reading = ExactReading(expedition.plan, store)
        try:
            whole = _rows_of(path)
            progress("reading", 0, whole)
            clock_us = int(read_marks(path).get(LAST, "0"))
            with decoding(expedition.plan, path, whole) as decode:
                rows = read_rows(path, last=whole)
                reading.read(rows, decode, clock_us, lambda done: progress("reading", done, whole))
        except sqlite3.Error as error:
            raise OperatorError(
                f"{path} can't be read ({error}): `offing journal verify` says more. Nothing was changed."
            ) from error
        logs = tuple(_read_logs(expedition, store, progress))
        yield ExactDives(expedition.plan, store, reading, logs)


@contextlib.contextmanager
def _seldom_collected() -> Iterator[None]:
    """Look for circular garbage less often: of millions of small values none is, yet a tenth of the time went there."""
    usual = gc.get_threshold()
    gc.set_threshold(*_SELDOM)
    try:
        yield
    finally:
        gc.set_threshold(*usual)


def _rows_of(path: Path) -> int:
    with reading(path) as database:
        return last_row(database)


def _read_logs(expedition: Expedition, store: ExactStore, progress: Progress) -> Iterator[LogKept]:
    """Put the reports of the recovered logs aside, in the order of their import."""
    vehicles = {name: at for at, name in enumerate(expedition.plan.vehicles)}
    logs = recovered_logs(expedition.private)
    for number, log in enumerate(logs, 1):
        progress("reading logs", number, len(logs))
        kept = LogKept(
            number=number,
            vehicle=log.vehicle,
            name=log.name,
            sha256=log.sha256,
            octets=len(log.data),
            who=log.who,
            imported_s=log.wall_s,
            first_s=log.first_s,
            last_s=log.last_s,
            format=log.source.format,
        )
        if log.vehicle not in vehicles:
            yield kept
            continue
        reports = read_kept(log).reports
        for report in reports:
            store.add_logged(vehicles[log.vehicle], report, number)
        store.flush()
        yield replace(kept, reports=len(reports))
