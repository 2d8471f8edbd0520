"""When each report was made, by the vehicle's own clock: of what came live, and of a log that was recovered.

Rules:

1. A report that tells date and time was made then. One that tells a time of day belongs to the day that puts it nearest
   to the report before it in a log, to the ship's wall clock in the journal.
2. One that tells no time was made with the timed one before it, as the sentences of one burst: in a log always, live if
   it was received within `WITH_US`. Otherwise the ship's wall clock at receipt stands for it, and it says so.
3. The record times of a telemetry log are the time of its frames.
4. All this is for the exact record on the ship. Nothing of it is input to what is released (R2).
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

from relay.core.mavlink import split_tlog
from relay.core.model import Accepted, Decoder, Event, Observation, PassedOver, Row, RowKind
from relay.core.policy import Plan, SourcePlan
from relay.core.sources import decoder_for

WITH_US = 2_000_000
DAY_S = 86_400.0
_PIECE = 65_536
_NAMELESS = ("nmea0183", "mavlink")


class Origin(StrEnum):
    """How a report came to the ship."""

    LIVE = "live"
    LOG = "log"


class Report(NamedTuple):
    """One report of a vehicle, exact and private, with its time in Unix seconds.

    `own`: whether the vehicle's own clock told the time, or the ship's stands for it. `frame`: the bytes of a MAVLink
    frame, which tell the same report apart from an equal one; None for other formats.
    """

    t_s: float
    own: bool
    origin: Origin
    observation: Observation
    frame: bytes | None = None


class Lack(StrEnum):
    """What a log lacks so that its reports can't be put in order."""

    TIME = "time"
    DATE = "date"


@dataclass(slots=True)
class LogReading:
    """What is in a log: its reports in its order, and what became of the rest.

    `found`: how many reports there are, timed or not; `others`: those of other vehicles, by name. `fault`: where the
    first rejected frame is (bytes from the begin), and why. `named`: whether the log itself says whose it is.
    """

    reports: list[Report] = field(default_factory=list)
    found: int = 0
    lacks: Lack | None = None
    passed_over: Counter[str] = field(default_factory=Counter)
    rejected: Counter[str] = field(default_factory=Counter)
    others: Counter[str] = field(default_factory=Counter)
    fault: tuple[int, str] | None = None
    named: bool = False


@dataclass(slots=True)
class _Untimed:
    """A report that is still to be timed: what its record or itself tells."""

    record_s: float | None
    observation: Observation
    frame: bytes | None
    counts: bool


def read_log(data: bytes, source: SourcePlan, vehicle: str, date_s: float | None = None) -> LogReading:
    """Read a vehicle's own log, in the format and with the settings of `source`.

    `date_s`: the midnight, in Unix seconds, of the day on which a log begins that tells times of day alone.
    """
    reading, found, at = LogReading(), list[_Untimed](), 0
    for record_s, event in _events(data, source):
        if isinstance(event, Accepted):
            _take(event, record_s, source, vehicle, reading, found)
        elif isinstance(event, PassedOver):
            reading.passed_over[f"{event.kind}: {event.why}"] += 1
        else:
            reading.rejected[event.reason] += 1
            reading.fault = reading.fault or (at, event.reason)
        at += len(event.raw) + (8 if record_s is not None else 0)
    times = _log_times(found, date_s)
    reading.lacks = times if isinstance(times, Lack) else None
    if not isinstance(times, Lack):
        pairs = zip(times, found, strict=True)
        reading.reports = [Report(t_s, True, Origin.LOG, it.observation, it.frame) for t_s, it in pairs if it.counts]
    return reading


def _take(
    event: Accepted,
    record_s: float | None,
    source: SourcePlan,
    vehicle: str,
    reading: LogReading,
    found: list[_Untimed],
) -> None:
    """Keep a report that is the vehicle's, and count it otherwise; one that tells only the time times the next."""
    name = event.observation.vehicle
    if name not in (None, vehicle):
        reading.others[str(name)] += 1
        return
    reading.named = reading.named or name is not None
    frame = event.raw if source.format == "mavlink" else None
    counts = not event.observation.tells_only_time
    reading.found += counts
    found.append(_Untimed(record_s, event.observation.but(vehicle=vehicle), frame, counts))


def _events(data: bytes, source: SourcePlan) -> Iterator[tuple[float | None, Event]]:
    """Yield what a fresh decoder makes of a log, with the record time where the format has one."""
    decoder, record_s = decoder_for(source), None
    if source.format == "mavlink":
        for t_s, piece in split_tlog(data):
            record_s = t_s or None
            yield from ((record_s, event) for event in decoder.receive(piece))
    else:
        for start in range(0, len(data), _PIECE):
            yield from ((None, event) for event in decoder.receive(data[start : start + _PIECE]))
    yield from ((record_s, event) for event in decoder.end())


def _log_times(found: list[_Untimed], date_s: float | None) -> list[float] | Lack:
    """Return the time of each report, or what is missing to tell it."""
    dated = [_dated_s(item) for item in found]
    days = [item.observation.time_of_day_s for item in found]
    near_s = next((t_s for t_s in dated if t_s is not None), None)
    if near_s is None:
        first_s = next((day_s for day_s in days if day_s is not None), None)
        if first_s is None or date_s is None:
            return Lack.TIME if first_s is None else Lack.DATE
        near_s = date_s + first_s
    times: list[float | None] = []
    told = False
    for t_s, day_s in zip(dated, days, strict=True):
        if t_s is not None or day_s is not None:
            near_s, told = t_s if t_s is not None else nearest_s(day_s or 0.0, near_s), True
        times.append(near_s if told else None)
    first_told_s = next(t_s for t_s in times if t_s is not None)
    return [first_told_s if t_s is None else t_s for t_s in times]


def _dated_s(item: _Untimed) -> float | None:
    return item.observation.clock_s if item.record_s is None else item.record_s


def nearest_s(time_of_day_s: float, near_s: float) -> float:
    """Return the moment nearest to `near_s`, Unix seconds, at which it is that time of day."""
    return near_s + (time_of_day_s - near_s + DAY_S / 2) % DAY_S - DAY_S / 2


class LiveFeed:
    """One feed of the journal: its decoder, and the last time that it told."""

    def __init__(self, source: SourcePlan) -> None:
        """Begin with the feed's first row: `events` takes all of them, in their order."""
        self._source, self._decoder = source, decoder_for(source, source.vehicle)
        self._told: tuple[float, int] | None = None

    def events(self, row: Row) -> Iterator[Event | Report]:
        """Yield what is in a row: a report of whichever vehicle that is named, and the events that are none.

        A report of a vehicle that neither it nor the feed names has None for it; one that tells only the time of the
        reports after it is left out.
        """
        for event in _decoded(self._decoder, row):
            if not isinstance(event, Accepted):
                yield event
                continue
            observation = event.observation
            t_s, own = self._time(observation, row)
            if observation.tells_only_time:
                continue
            if observation.vehicle is None and self._source.vehicle is not None:
                observation = observation.but(vehicle=self._source.vehicle)
            frame = event.raw if self._source.format == "mavlink" else None
            yield Report(t_s, own, Origin.LIVE, observation, frame)

    def _time(self, observation: Observation, row: Row) -> tuple[float, bool]:
        """Return when a report was made, and whether the vehicle's own clock says so."""
        if observation.clock_s is not None:
            self._told = observation.clock_s, row.embargo_us
        elif observation.time_of_day_s is not None:
            self._told = nearest_s(observation.time_of_day_s, row.wall_s), row.embargo_us
        if self._told is not None and row.embargo_us - self._told[1] <= WITH_US:
            return self._told[0], True
        return row.wall_s, False


def _decoded(decoder: Decoder, row: Row) -> list[Event]:
    events = decoder.receive(row.data)
    return events + decoder.end() if row.kind is RowKind.WHOLE else events


def live_reports(rows: Iterable[Row], plan: Plan, vehicle: str) -> Iterator[Report]:
    """Yield what the journal's rows tell of a vehicle, in the order of receipt: all of it, whatever was cut or held."""
    feeds = {
        source.name: LiveFeed(source)
        for source in plan.sources
        if not source.of_ship and (source.format not in _NAMELESS or source.vehicle == vehicle)
    }
    for row in rows:
        feed = feeds.get(row.source)
        if feed is not None and row.kind is not RowKind.DECISION:
            for event in feed.events(row):
                if isinstance(event, Report) and event.observation.vehicle == vehicle:
                    yield event
