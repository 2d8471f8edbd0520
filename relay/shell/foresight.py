"""What is about to leave the ship, worked out before it does, and what it would leave of each promise.

Rules: exact and private; a function of the journal's rows, plan and secrets, run in a process of its own
(`foresight_run`); nothing of its records has a way out: the answer is areas and moments.
1. The journal is run again by the very pipeline that releases, cuts and zones included, up to a moment; then all that
   this pipeline still holds is let through as if nothing more came in. Holds are passed over: a resume lets it out.
2. An area is worked out of what left and of what is about to leave, on the charts of the expedition file.
3. Where a promise breaks, the first tick with which it does is searched by halves: what leaves before it keeps it.
"""

from bisect import bisect_left
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Protocol

from relay.audit.attack import Dive
from relay.core.channel import Channel, Due
from relay.core.decision import Hold, Resume, read_decision
from relay.core.errors import OperatorError
from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.release import Kind
from relay.core.wire import WireRecord, decode, encode
from relay.shell.foresight_process import Number, Seen

TELLS = (Kind.DIVE, Kind.TICK)


@dataclass(frozen=True, slots=True)
class Coming:
    """A record, the tick that it tells, and when it leaves, microseconds of the embargo clock."""

    tick_us: int
    leaves_us: int
    record: WireRecord


def foresee(pipeline: Pipeline, rows: Iterable[Row], upto_us: int) -> dict[str, list[Coming]]:
    """Return by audience what leaves of the rows up to a moment, if nothing more comes in and nobody holds it."""
    found: dict[str, list[Coming]] = {channel.policy.audience: [] for channel in pipeline.channels}
    for channel in pipeline.channels:
        channel.may_leave = upto_us.__ge__
    clocks = {channel.policy.audience: _Begun(channel) for channel in pipeline.channels}

    def take(due: list[Due]) -> None:
        for item in due:
            audience = item.record.audience
            if item.record.kind in TELLS:
                found[audience].append(clocks[audience].placed(item))

    for row in rows:
        if row.embargo_us > upto_us:
            break
        if not _only_stops(row):
            take(pipeline.receive(row))
    for channel in pipeline.channels:
        latest_us = upto_us + channel.policy.delay_us + channel.policy.extra_us + 2 * channel.policy.tick_us
        while (moment_us := channel.next_us()) is not None and moment_us <= latest_us:
            take(channel.advance(moment_us))
    return found


def _only_stops(row: Row) -> bool:
    """Whether a row is a hold, or the resume of one: neither changes what leaves in the end."""
    if row.kind is not RowKind.DECISION:
        return False
    try:
        decision = read_decision(row.data)
    except OperatorError:
        return False
    return isinstance(decision, Hold) or (isinstance(decision, Resume) and not decision.means_outside)


class _Begun:
    """Knows which tick each record of a channel tells."""

    def __init__(self, channel: Channel) -> None:
        self._channel, self._dive, self._begun_us = channel, 0, 0

    def placed(self, due: Due) -> Coming:
        record, channel = due.record, self._channel
        if record.dive != self._dive:
            begun_us = channel.begun_us if record.dive == channel.next_dive else None
            # Of a dive that began and ended within one advance it isn't known: too early only keeps more in.
            self._dive, self._begun_us = record.dive, 0 if begun_us is None else begun_us
        return Coming(self._begun_us + record.elapsed_us, due.instant_us, decode(encode(record)))


class Areas(Protocol):
    """What works out areas."""

    def area_km2(self, dives: list[Dive]) -> float:
        """Return what is left by these dives, km2; OperatorError where it can't be told."""
        ...


class Measure:
    """Works out areas of the dives of one audience."""

    def __init__(self, residual: Areas, before: list[Dive], coming: list[Coming]) -> None:
        self._residual, self._before, self._coming = residual, before, coming

    def km2(self, count: int) -> float:
        """Return what is left by the earlier dives and the first `count` records."""
        return self._residual.area_km2([*self._before, *dives_of(self._coming[:count])])


def dives_of(coming: list[Coming]) -> list[Dive]:
    """Return records as an outsider has them, dive by dive."""
    by_dive: dict[int, list[WireRecord]] = {}
    for item in coming:
        by_dive.setdefault(item.record.dive, []).append(item.record)
    return [
        Dive(f"dive {number}", records[0].body, tuple(records))
        for number, records in by_dive.items()
        if records[0].kind == Kind.DIVE
    ]


def judged(measure: Measure, coming: list[Coming], told: Number, promise_km2: float, upto_us: int) -> Seen:
    """Return how a promise stands, and up to which tick it is kept."""
    left = sum((item.record.dive, item.record.seq) <= told for item in coming)
    left_km2, ahead_km2 = measure.km2(left), measure.km2(len(coming))
    if ahead_km2 >= promise_km2:
        return Seen(left_km2=left_km2, ahead_km2=ahead_km2, kept_us=upto_us)
    ticks = sorted({item.tick_us for item in coming[left:]})
    if not ticks:  # what has left breaks it already: nothing more is kept by anything that follows
        return Seen(left_km2=left_km2, ahead_km2=ahead_km2, kept_us=-1, breaks_us=upto_us)
    counts = [sum(item.tick_us <= tick_us for item in coming) for tick_us in ticks]
    first = bisect_left(range(len(ticks) - 1), True, key=lambda at: measure.km2(counts[at]) < promise_km2)
    leaves_us = next(item.leaves_us for item in coming[left:] if item.tick_us == ticks[first])
    return Seen(left_km2=left_km2, ahead_km2=ahead_km2, kept_us=ticks[first] - 1, breaks_us=leaves_us)
