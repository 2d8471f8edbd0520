"""Whether an autonomous vehicle is overdue: with its next report, and with its return.

Rules: every moment is one of the embargo clock, that of receipt for reports; neither the wall clock nor the vehicle's
own clock is asked. Reports are lost and come out of order: the newest receipt counts, in whatever order receipts are
handed in, and a lost report is what the grace is for. The embargo clock doesn't count the time in which the machine
was off: after a reboot an alarm comes later by that time, so whoever shows it must say so, and it never replaces the
watch on the ship.
"""

from dataclasses import dataclass
from enum import StrEnum

from relay.core import given
from relay.core.errors import SurveyError


class Standing(StrEnum):
    """How something expected stands: not due yet, due within its grace, overdue, or over: the vehicle is back."""

    AWAITED = "awaited"
    DUE = "due"
    OVERDUE = "overdue"
    BACK = "back"


@dataclass(frozen=True, slots=True, kw_only=True)
class Expectation:
    """What was agreed before the dive: begin, interval of reports (None: none are expected) and return, with graces.

    `report_grace_us` should leave room for several lost reports in a row.
    """

    begun_us: int
    return_us: int
    return_grace_us: int
    report_every_us: int | None = None
    report_grace_us: int = 0

    def __post_init__(self) -> None:
        """Refuse, by a SurveyError, what is no moment, and a return that isn't after the begin."""
        for name in ("begun_us", "return_us", "return_grace_us", "report_grace_us"):
            given.moment(name, getattr(self, name))
        if self.report_every_us is not None and given.moment("report_every_us", self.report_every_us) == 0:
            raise SurveyError("report_every_us is 0: give the interval of reports, or None if there are none")
        if self.return_us <= self.begun_us:
            raise SurveyError(f"return_us ({self.return_us}) isn't after begun_us ({self.begun_us})")


@dataclass(frozen=True, slots=True)
class Lateness:
    """How one expectation stands; `late_us` counts from the moment expected, grace included, negative before it."""

    standing: Standing
    expected_us: int
    late_us: int


@dataclass(frozen=True, slots=True)
class Alarm:
    """How return and next report stand (`report` None where none are expected), and how many reports are missing."""

    back: Lateness
    report: Lateness | None
    missing_reports: int

    @property
    def sounds(self) -> bool:
        """Whether something is overdue."""
        return any(late is not None and late.standing is Standing.OVERDUE for late in (self.back, self.report))


def newest(last_us: int | None, received_us: int) -> int:
    """Return the newest receipt, given the newest before and another one, whichever way round they came."""
    given.moment("received_us", received_us)
    return received_us if last_us is None else max(last_us, received_us)


def alarm(expected: Expectation, now_us: int, last_report_us: int | None, back_us: int | None = None) -> Alarm:
    """Return how the dive stands at `now_us`, all moments in microseconds of the embargo clock.

    `last_report_us`: the newest receipt of a report (see `newest`), None before the first; one from before the dive
    counts as none. `back_us`: when somebody said that the vehicle is back; nothing is overdue then. Raises SurveyError
    for a moment that is none, and for one after `now_us`, which can't be of the same clock.
    """
    given.moment("now_us", now_us)
    for name, moment_us in (("begun_us", expected.begun_us), ("last_report_us", last_report_us), ("back_us", back_us)):
        if moment_us is not None and given.moment(name, moment_us) > now_us:
            raise SurveyError(f"{name} ({moment_us}) is after now_us ({now_us}): take both from the embargo clock")
    is_back = back_us is not None and back_us >= expected.begun_us
    back = _lateness(expected.return_us, expected.return_grace_us, now_us, is_back)
    if expected.report_every_us is None:
        return Alarm(back, None, 0)
    since_us = max(expected.begun_us, last_report_us or 0)
    report = _lateness(since_us + expected.report_every_us, expected.report_grace_us, now_us, is_back)
    return Alarm(back, report, 0 if is_back else (now_us - since_us) // expected.report_every_us)


def _lateness(expected_us: int, grace_us: int, now_us: int, is_back: bool) -> Lateness:
    """Judge one moment: due from it on, overdue once more than the grace has passed since."""
    late_us = now_us - expected_us
    if is_back:
        return Lateness(Standing.BACK, expected_us, late_us)
    if late_us < 0:
        return Lateness(Standing.AWAITED, expected_us, late_us)
    return Lateness(Standing.OVERDUE if late_us > grace_us else Standing.DUE, expected_us, late_us)
