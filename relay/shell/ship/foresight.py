"""What is about to leave the ship, worked out before it does, and what it would leave of each promise.

Rules: exact and private; a function of the journal's rows, plan and secrets, run in a process of its own
(`foresight_run`); nothing of its records has a way out: the answer is areas and moments.
1. The journal is run again by the very pipeline that releases, cuts and zones included, up to a moment; then all that
   this pipeline still holds is let through as if nothing more came in. Holds, and stops outside the declared area, keep
   in what they kept in, so that a cut made meanwhile counts; at the end they are lifted, as a resume would.
2. An area is worked out of what left and of what is about to leave, on the charts of the expedition file; what every
   open audience is told up to the same tick counts, too, for everybody can read it.
3. Tick by tick, from the last one judged on: a tick is kept if the promise is whole with it and was with each before
   it. So whether it leaves depends on ticks up to it alone (R2), and no later one mends what it breaks: more told
   doesn't always leave less, as other soundings are chosen then.
"""

import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

from relay.audit.attacks.attack import Dive
from relay.core.channel import Channel, Due
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.release import Kind
from relay.core.wire import WireRecord, decode, encode
from relay.shell.ship.foresight_process import Number, Seen

TELLS = (Kind.DIVE, Kind.TICK)


@dataclass(frozen=True, slots=True)
class Coming:
    """A record, the tick that it tells, and when it leaves, microseconds of the embargo clock."""

    tick_us: int
    leaves_us: int
    record: WireRecord


def foresee(pipeline: Pipeline, rows: Iterable[Row], upto_us: int) -> dict[str, list[Coming]]:
    """Return by audience what leaves of the rows up to a moment, if nothing more comes in and nothing stops it.

    Owed before, as of every journal that is read again: `Pipeline.halt` of its holds.
    """
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
        for channel in pipeline.channels:  # a moment at a time, so that it is known with which tick a dive began
            while (moment_us := channel.next_us()) is not None and moment_us < row.embargo_us:
                take(channel.advance(moment_us))
        take(pipeline.receive(row))
    for channel in pipeline.channels:
        latest_us = upto_us + channel.policy.delay_us + channel.policy.extra_us + 2 * channel.policy.tick_us
        while (moment_us := _lifted(channel).next_us()) is not None and moment_us <= latest_us:
            take(channel.advance(moment_us))
    return found


def _lifted(channel: Channel) -> Channel:
    """Return a channel that nothing stops any more; what waited leaves at the moment that was its own."""
    channel.resume(sys.maxsize, 0, outside=True)
    return channel


class _Begun:
    """Knows which tick each record of a channel tells."""

    def __init__(self, channel: Channel) -> None:
        self._channel, self._dive, self._begun_us, self._tick_us = channel, 0, 0, 0

    def placed(self, due: Due) -> Coming:
        record, channel = due.record, self._channel
        if record.dive != self._dive:
            begun_us = channel.begun_us if record.dive == channel.next_dive else None
            # Of a dive that began and ended within one moment it isn't known: too early only keeps more in.
            self._dive, self._begun_us = record.dive, 0 if begun_us is None else begun_us
        self._tick_us = max(self._tick_us, self._begun_us + record.elapsed_us)
        return Coming(self._tick_us, due.instant_us, decode(encode(record)))


class Areas(Protocol):
    """What works out areas."""

    def area_km2(self, dives: list[Dive]) -> float:
        """Return what is left by these dives, km2; OperatorError where it can't be told."""
        ...


class Measure:
    """Works out areas of the dives of one audience, and of what open ones (`beside`) are told up to the same tick."""

    def __init__(
        self, residual: Areas, before: list[Dive], coming: list[Coming], beside: Sequence[list[Coming]] = ()
    ) -> None:
        self._residual, self._before, self._coming, self._beside = residual, before, coming, beside

    def km2(self, count: int) -> float:
        """Return what is left by the earlier dives and the first `count` records."""
        upto_us = self._coming[count - 1].tick_us if count else -1
        beside = [dives_of([item for item in other if item.tick_us <= upto_us]) for other in self._beside]
        known = [*self._before, *dives_of(self._coming[:count])]
        return self._residual.area_km2(known + [dive for dives in beside for dive in dives])


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


def judged(
    measure: Measure, coming: list[Coming], told: Number, since: Number, promise_km2: float, upto_us: int,
    spent: Callable[[], bool] = lambda: False,
) -> Seen:  # fmt: skip
    """Return how a promise stands, and up to which tick it is kept.

    `told`: the last record that left; `since`: the last that was judged before, with all before it; `spent`: whether to
    leave the rest, after one tick at least, to the next round.
    """
    left, kept = (sum(_number(item) <= last for item in coming) for last in (told, max(told, since)))
    left_km2, ahead_km2 = measure.km2(left), measure.km2(len(coming))
    if left_km2 < promise_km2:
        kept = left  # nothing that follows mends what has left
    breaks = left_km2 < promise_km2
    for end in [] if breaks else _ticks(coming, kept):
        if breaks := measure.km2(end) < promise_km2:
            break
        kept = end
        if spent():
            break
    dive, seq = max(told, since) if kept == 0 else _number(coming[kept - 1])
    whole = kept == len(coming)
    if whole and not breaks:
        kept_us, breaks_us = upto_us, None
    elif whole:
        kept_us, breaks_us = -1, upto_us
    else:
        kept_us, breaks_us = coming[kept].tick_us - 1, coming[kept].leaves_us if breaks else None
    return Seen(
        left_km2=left_km2, ahead_km2=ahead_km2, kept_us=kept_us, breaks_us=breaks_us,
        judged_dive=dive, judged_seq=seq, whole=whole or breaks,
    )  # fmt: skip


def _number(item: Coming) -> Number:
    return item.record.dive, item.record.seq


def _ticks(coming: list[Coming], start: int) -> list[int]:
    """Return after how many records each tick that has one beyond the first `start` is over."""
    count = len(coming)
    ends = [at for at in range(1, count + 1) if at == count or coming[at].tick_us > coming[at - 1].tick_us]
    return [end for end in ends if end > start]
