"""The exact record of a vehicle: its own recovered logs and its live reports, as one, in the order of its own time.

Rules: exact and private, for the ship alone, and never input to anything that is released. A log stands as it is; a
live report adds what no log tells of that instant, so that what both tell stands once and gaps are filled from either
side. Where the two differ the log counts: the link may have rounded, and the journal keeps what was received.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from relay.core.model import OBSERVATION_FIELDS, Observation
from relay.core.own_time import Report

_MINUTE_S = 60.0
_NOT_TOLD = ("vehicle", "clock_s", "time_of_day_s")
_TOLD = tuple(name for name in OBSERVATION_FIELDS if name not in _NOT_TOLD)


@dataclass(frozen=True, slots=True)
class ExactRecord:
    """The reports of one vehicle in the order of their times.

    `both`: live reports of which a log tells something of the same instant; `differing`: those among them of which it
    tells something else.
    """

    reports: tuple[Report, ...]
    both: int = 0
    differing: int = 0


@dataclass(frozen=True, slots=True)
class Coverage:
    """What reports cover, without a position: how many, from when to when (Unix seconds, the vehicle's own clock).

    `minutes_gained`: whole minutes of the vehicle's clock in which they have a position and live reports have none.
    """

    reports: int
    positions: int
    first_s: float
    last_s: float
    minutes_gained: int


@dataclass(frozen=True, slots=True)
class Judged:
    """A report as it came, and what of it is in the exact record: all, some of its fields, or nothing (None).

    `both`: a live report of which a log tells something of the same instant; `differs`: it tells something else.
    """

    report: Report
    kept: Report | None
    both: bool = False
    differs: bool = False


class _Logged:
    """What logs tell at the instants at which there are live reports, too."""

    def __init__(self, logs: Iterable[Report], instants: set[int], in_a_log: Callable[[bytes], bool]) -> None:
        self._values: dict[tuple[int, str], set[Any]] = {}
        self._in_a_log = in_a_log
        for report in logs:
            if (instant := instant_ms(report)) in instants:
                for name, value in _told(report.observation).items():
                    self._values.setdefault((instant, name), set()).add(value)

    def judge(self, report: Report) -> Judged:
        """Judge a live report."""
        told = _told(report.observation)
        if report.frame is not None and self._in_a_log(report.frame):
            return Judged(report, None, both=True)
        if not report.own:
            return Judged(report, report)
        known = {name: self._values.get((instant_ms(report), name)) for name in told}
        differs = any(values is not None and told[name] not in values for name, values in known.items())
        lacking = [name for name, values in known.items() if values is None]
        kept = _only(report, lacking) if lacking else None
        return Judged(report, kept, len(lacking) < len(told), differs)


def merged(logs: Sequence[Sequence[Report]], live: Sequence[Report]) -> ExactRecord:
    """Return logs, in the order of their import, and live reports as one record."""
    frames = {report.frame for log in logs for report in log if report.frame is not None}
    all_judged = judged(logs, live, frames.__contains__)
    kept = (one.kept for one in all_judged if one.kept is not None)
    both, differing = (sum(getattr(one, name) for one in all_judged) for name in ("both", "differs"))
    return ExactRecord(tuple(sorted(kept, key=lambda report: report.t_s)), both, differing)


def judged(logs: Sequence[Sequence[Report]], live: Sequence[Report], in_a_log: Callable[[bytes], bool]) -> list[Judged]:
    """Judge each report: logs in the order of their import, then live ones in the order in which they were given.

    Reports of one instant (`instant_ms`) can be judged apart from all others, if `in_a_log` tells of a frame whether
    any log has it.
    """
    out, had = list[Judged](), set[tuple[int, Observation]]()
    for log in logs:
        out += [Judged(one, None if (instant_ms(one), one.observation) in had else one) for one in log]
        had |= {(instant_ms(report), report.observation) for report in log}
    instants = {instant_ms(report) for report in live}
    logged = _Logged((one.kept for one in out if one.kept is not None), instants, in_a_log)
    told = set[tuple[int, Observation]]()
    for report in live:
        tells = instant_ms(report), report.observation
        # A mirrored station, or a link that repeats itself, tells the same again: a copy.
        out.append(Judged(report, None) if report.own and tells in told else logged.judge(report))
        told.add(tells)
    return out


def at_ms(t_s: float) -> int:
    """Return a time in milliseconds: finer than any clock a log is kept by, coarser than what a format rounds."""
    return round(t_s * 1_000)


def instant_ms(report: Report) -> int:
    """Return the time of a report in milliseconds."""
    return at_ms(report.t_s)


def _told(observation: Observation) -> dict[str, Any]:
    return {name: value for name in _TOLD if (value := getattr(observation, name)) is not None}


def _only(report: Report, names: Sequence[str]) -> Report:
    """Return a report with these of its fields alone."""
    others = {name: None for name in _told(report.observation) if name not in names}
    return report._replace(observation=report.observation.but(**others)) if others else report


def coverage(reports: Sequence[Report], live: Sequence[Report]) -> Coverage:
    """Return what reports, at least one, cover beside the live ones."""
    times = [report.t_s for report in reports]
    gained = _minutes_placed(reports) - _minutes_placed(live)
    positions = sum(report.observation.latitude_deg is not None for report in reports)
    return Coverage(len(reports), positions, min(times), max(times), len(gained))


def _minutes_placed(reports: Iterable[Report]) -> set[int]:
    return {int(report.t_s // _MINUTE_S) for report in reports if report.observation.latitude_deg is not None}


def as_values(report: Report) -> dict[str, Any]:
    """Return a report as plain values: `t` in Unix seconds, whose clock told it, where it came from, what it tells."""
    clock = "vehicle" if report.own else "ship"
    known = {"t": report.t_s, "clock": clock, "from": str(report.origin), "vehicle": report.observation.vehicle}
    return known | {name: str(value) if name == "mode" else value for name, value in _told(report.observation).items()}
