"""`offing journal import` and `offing record`: a vehicle's own log into the exact record, and what that covers.

Rules: a log is read before it is kept, and refused whole, with nothing changed, if it isn't one of this vehicle; what
is said about it holds no position unless that is asked for; the relay, running or not, is neither needed nor touched.
"""

import argparse
import getpass
import json
import sqlite3
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from relay.core.errors import CaptureError, OperatorError
from relay.core.exact_record import ExactRecord, as_values, coverage, merged
from relay.core.own_time import Lack, LogReading, Report, live_reports, read_log
from relay.core.policy import Plan, SourcePlan
from relay.core.ranges import note_fault
from relay.shell.desk.deciding import WHO_LIMIT
from relay.shell.feeds.capture import format_of, read_file, unpacked
from relay.shell.plan.expedition import Expedition, read_expedition
from relay.shell.plan.expedition import expedition_file as expedition_file
from relay.shell.record.clock import MachineTime
from relay.shell.record.import_words import say_import, say_record
from relay.shell.record.journal import NAME as JOURNAL
from relay.shell.record.journal import read_rows
from relay.shell.record.recovered import LARGEST_BYTES, RecoveredLog, keep_log, recovered_logs

_MESSAGE_PACK = (".msgpack", ".mpk")


@dataclass(frozen=True, slots=True)
class Imported:
    """A log that is kept, what is in it, and whether it is newly there."""

    log: RecoveredLog
    reading: LogReading
    new: bool


def import_log(options: argparse.Namespace) -> int:
    """Import the log in `options`, and say what it and the exact record of its vehicle cover then."""
    expedition = _expedition(options)
    imported = _imported(options, expedition)
    live = live_of(expedition, options.vehicle)
    _say(options, _told(options.vehicle, imported, exact_record(expedition, options.vehicle, live), live))
    return 0


def show_record(options: argparse.Namespace) -> int:
    """Say what the exact record of the vehicle in `options` covers, or print it if that is asked for."""
    expedition = _expedition(options)
    live = live_of(expedition, options.vehicle)
    record = exact_record(expedition, options.vehicle, live)
    if not options.print:
        _say(options, _told(options.vehicle, None, record, live))
        return 0
    for report in record.reports:
        print(json.dumps(as_values(report), ensure_ascii=False))
    return 0


def _say(options: argparse.Namespace, told: dict[str, Any]) -> None:
    print(json.dumps(told, indent=2, ensure_ascii=False) if options.json else _words(told))


def _expedition(options: argparse.Namespace) -> Expedition:
    expedition = read_expedition(expedition_file(options.expedition))
    _check(expedition, options.vehicle)
    return expedition


def _check(expedition: Expedition, vehicle: str) -> None:
    """Refuse a vehicle that isn't known, and a folder in which there is nothing to complete."""
    if vehicle not in expedition.plan.vehicles:
        known = ", ".join(expedition.plan.vehicles)
        raise OperatorError(f"--vehicle {vehicle}: the expedition file knows {known}: name one of them")
    if not (expedition.private / JOURNAL).exists():
        raise OperatorError(
            f"{expedition.private} holds no journal: a log completes the record of a dive that the relay followed. "
            f"Check that {expedition.path} is the expedition file that `offing ship` ran on."
        )


def _imported(options: argparse.Namespace, expedition: Expedition) -> Imported:
    """Read a log, check that it is one of this vehicle, and keep it."""
    who = options.who or getpass.getuser()
    if len(who) > WHO_LIMIT or note_fault(who) is not None:
        raise OperatorError(f"--who: a name of at most {WHO_LIMIT} characters")
    source = source_of(expedition.plan, options.vehicle, options.file, options.feed)
    raw = read_file(options.file, LARGEST_BYTES)
    date_s = None if options.date is None else _midnight_s(options.date)
    reading = read_log(unpacked(options.file, raw, LARGEST_BYTES), source, options.vehicle, date_s)
    check_reading(options.file, options.vehicle, source, reading, raw)
    times = [report.t_s for report in reading.reports]
    log = RecoveredLog(
        vehicle=options.vehicle,
        name=options.file.name,
        who=who,
        wall_s=MachineTime().wall_s(),
        source=source,
        date_s=date_s,
        first_s=min(times),
        last_s=max(times),
        data=raw,
    )
    if not reading.named:
        _check_whose(expedition.private, log)
    known = keep_log(expedition.private, log)
    return Imported(log, reading, True) if known is None else Imported(known, read_kept(known), False)


def _check_whose(private: Path, log: RecoveredLog) -> None:
    """Refuse a log that doesn't say whose it is and was imported as another vehicle's."""
    for other in recovered_logs(private):
        if other.sha256 == log.sha256 and other.vehicle != log.vehicle:
            raise OperatorError(
                f"{log.name} was imported as the log of {other.vehicle}, and nothing in it says whose it is: import "
                f"the log that {log.vehicle} brought back"
            )


def _midnight_s(text: str) -> float:
    try:
        return datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC).timestamp()
    except ValueError as error:
        raise OperatorError(f"--date {text}: write the day as YYYY-MM-DD, such as 2026-11-26") from error


def source_of(plan: Plan, vehicle: str, path: Path, feed: str | None) -> SourcePlan:
    """Return how a log is read: as the feed that is named, else as one of this vehicle in the format the name tells."""
    if feed is not None:
        found = next((source for source in plan.sources if source.name == feed), None)
        if found is None:
            names = ", ".join(source.name for source in plan.sources)
            raise OperatorError(f"--feed {feed}: the expedition file has the feeds {names}: name one of them")
        return replace(found, vehicle=vehicle)
    wanted = "station-msgpack" if path.suffix.lower() in _MESSAGE_PACK else format_of(path)
    fitting = [source for source in plan.sources if source.format == wanted and source.vehicle in (vehicle, None)]
    fitting.sort(key=lambda source: source.vehicle is None)
    return replace(fitting[0] if fitting else SourcePlan(name="log", format=wanted), vehicle=vehicle)


def check_reading(path: Path, vehicle: str, source: SourcePlan, reading: LogReading, raw: bytes) -> None:
    """Raise CaptureError for a file that holds no reports of this vehicle that can be put in order."""
    if reading.reports:
        return
    if reading.others:
        names = ", ".join(reading.others)
        raise CaptureError(f"{path}: its reports are of {names}, none is of {vehicle}: check --vehicle, or the file")
    if not reading.found:
        raise CaptureError(f"{path}: {_nothing(source, reading, raw)}")
    if reading.lacks is Lack.DATE:
        raise CaptureError(f"{path}: it tells times of day and no date: say on which day it begins, --date YYYY-MM-DD")
    raise CaptureError(f"{path}: no report in it tells its time, so they can't be put in order: give a log with times")


def _nothing(source: SourcePlan, reading: LogReading, raw: bytes) -> str:
    """Return why there is nothing in a log, where that begins, and what to do."""
    counts = [*reading.rejected.most_common(2), *reading.passed_over.most_common(2)]
    why = ", ".join(f"{count} {reason}" for reason, count in counts) or "no frame at all"
    where = ""
    if reading.fault is not None:
        at, reason = reading.fault
        text = source.format in ("nmea0183", "station-json") and not raw.startswith(b"\x1f\x8b")
        line = raw.count(b"\n", 0, at) + 1
        place = f"line {line}" if text else f"byte {at}"
        where = f" (first, at {place}: {reason})"
    return (
        f"nothing in it is a report, read as {source.format}: {why}{where}. Give the log as the vehicle wrote it, or "
        "say with --feed NAME as which feed of the expedition file it is read"
    )


def live_of(expedition: Expedition, vehicle: str) -> list[Report]:
    """Return the live reports of a vehicle that are in the journal, whether a relay is writing it or not."""
    path = expedition.private / JOURNAL
    try:
        return list(live_reports(read_rows(path), expedition.plan, vehicle))
    except sqlite3.Error as error:
        raise OperatorError(
            f"{path} can't be read ({error}): what was imported is kept; ask `offing record` again later"
        ) from error


def exact_record(expedition: Expedition, vehicle: str, live: list[Report]) -> ExactRecord:
    """Return the exact record of a vehicle: live reports and all the logs it brought back, in the order of its time."""
    return merged([read_kept(log).reports for log in recovered_logs(expedition.private, vehicle)], live)


def read_kept(log: RecoveredLog) -> LogReading:
    """Read a log that was imported, as it was read then."""
    return read_log(unpacked(Path(log.name), log.data, LARGEST_BYTES), log.source, log.vehicle, log.date_s)


def _told(vehicle: str, imported: Imported | None, record: ExactRecord, live: list[Report]) -> dict[str, Any]:
    """Return what there is to say, as plain values without a position."""
    told: dict[str, Any] = {"vehicle": vehicle}
    if imported is not None:
        log, reading = imported.log, imported.reading
        told["log"] = {
            "name": log.name,
            "octets": len(log.data),
            "sha256": log.sha256,
            "who": log.who,
            "imported_s": log.wall_s,
            "new": imported.new,
            "live_between": sum(log.first_s <= report.t_s <= log.last_s for report in live),
            "passed_over": dict(reading.passed_over.most_common()),
            "rejected": dict(reading.rejected.most_common()),
            "others": dict(reading.others.most_common()),
            **asdict(coverage(reading.reports, live)),
        }
    whole = asdict(coverage(record.reports, live)) if record.reports else {}
    told["record"] = {"live_reports": len(live), "both": record.both, "differing": record.differing, **whole}
    return told


def _words(told: dict[str, Any]) -> str:
    return "\n".join([*(say_import(told["vehicle"], told["log"]) if "log" in told else ()), *say_record(told)])
