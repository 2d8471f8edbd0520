"""What is about to leave the ship, worked out before it does, and what it would leave of each promise.

Rules: exact and private; it is a function of the journal, plan and secrets, in a process of its own, and nothing of its
records has a way out: the answer is areas, moments and words.
1. The journal is run again by the very pipeline that releases, cuts and zones included, up to a moment; then all that
   this pipeline still holds is let through as if nothing more came in. Holds are passed over: a resume lets it out.
2. An area is worked out of what left and of what is about to leave, on the charts of the expedition file.
3. Where a promise breaks, the first tick with which it does is searched by halves: what leaves before it keeps it.
"""

import json
import os
import pickle
import resource
import sys
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any, Protocol

from relay.audit.attack import Dive
from relay.core.channel import Channel, Due
from relay.core.decision import Hold, Resume, read_decision
from relay.core.desk_record import TAKEN_LIMIT
from relay.core.errors import OffingError, OperatorError, RecordingError
from relay.core.model import Row, RowKind
from relay.core.pipeline import Checkpoint, Pipeline
from relay.core.release import Kind
from relay.core.secrets import Secrets
from relay.core.wire import WireRecord, decode, encode
from relay.shell.checkpoint import read_checkpoint
from relay.shell.foresight_process import Job, Number, Seen
from relay.shell.journal import read_decisions, read_marks, read_rows
from relay.shell.recording import load_recording
from relay.shell.secrets_file import NAME as SECRETS
from relay.shell.secrets_file import read_secrets

MOST_OCTETS = 4 << 30
MOST_CPU_S = 900
NICE = 15
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
        for due in _rest(channel, upto_us):
            take(due)
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


def _rest(channel: Channel, upto_us: int) -> Iterator[list[Due]]:
    policy = channel.policy
    latest_us = upto_us + policy.delay_us + policy.extra_us + 2 * policy.tick_us
    while channel.from_us <= upto_us and (moment_us := channel.next_us()) is not None and moment_us <= latest_us:
        yield channel.advance(moment_us)


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


def work_out(job: Job, secrets: Secrets, residual_of: Callable[[float], Areas]) -> dict[str, Seen]:
    """Return how each promise of a job stands; `residual_of(level)` measures areas."""
    pipeline, rows = _again(job, secrets)
    found = foresee(pipeline, rows, job.upto_us)
    out: dict[str, Seen] = {}
    for audience, level in job.levels.items():
        coming = found[audience]
        first = coming[0].record.dive if coming else sys.maxsize
        measure = Measure(residual_of(level), _earlier(job.released / audience, first), coming)
        told = job.told.get(audience, (0, -1))
        out[audience] = judged(measure, coming, told, job.promises[audience], job.upto_us)
    return out


def _again(job: Job, secrets: Secrets) -> tuple[Pipeline, Iterator[Row]]:
    """Return a pipeline of the watched audiences alone, as it stood at the checkpoint, and the rows from there on."""
    journal = job.private / "journal.db"
    start = read_checkpoint(read_marks(journal).get("checkpoint"), job.plan)
    watched = [at for at, policy in enumerate(job.plan.policies) if policy.audience in job.levels]
    plan = replace(job.plan, policies=tuple(job.plan.policies[at] for at in watched))
    if start is not None:
        standings = tuple(start.standings[at] for at in watched)
        start = Checkpoint(start.row, standings, start.desk, start.programme)
    pipeline = Pipeline(plan, secrets, start)
    for row in read_decisions(journal, pipeline.first_row, TAKEN_LIMIT, pipeline.kept_rows):
        pipeline.remember(row)
    return pipeline, read_rows(journal, pipeline.first_row)


def _earlier(folder: Path, before: int) -> list[Dive]:
    """Return the dives of this audience that were over by the checkpoint, as they were released."""
    dives = []
    for path in sorted(folder.glob("dive-*.recording")):
        try:
            recording = load_recording(path)
        except RecordingError:
            continue  # it is left out of the dive list, too
        if recording.records[0].dive < before:
            dives.append(Dive(path.name, recording.header, recording.records))
    return dives


def _residual_of(job: Job) -> Callable[[float], Areas]:
    from relay.audit.chart_files import read_chart
    from relay.audit.chart_merge import merge
    from relay.audit.residual import Residual

    chart = merge([read_chart(path) for path in job.charts])
    return lambda level: Residual(chart, job.plan.area, level)


def answer(job: Job) -> dict[str, Any]:
    """Return {"seen": {audience: ...}}, or {"fault": words without a position}."""
    try:
        seen = work_out(job, read_secrets(job.private / SECRETS), _residual_of(job))
    except ImportError as error:
        return {"fault": f"{error.name} isn't installed: install offing[audit]"}
    except OffingError as error:
        return {"fault": str(error)}
    except Exception as error:  # its words may hold a position
        return {"fault": f"a fault of Offing's own ({type(error).__name__})"}
    return {"seen": {audience: asdict(one) for audience, one in seen.items()}}


def main() -> int:
    """Answer the one job on standard input, with little of the machine."""
    os.nice(NICE)
    resource.setrlimit(resource.RLIMIT_AS, (MOST_OCTETS, MOST_OCTETS))
    resource.setrlimit(resource.RLIMIT_CPU, (MOST_CPU_S, MOST_CPU_S))
    job = pickle.load(sys.stdin.buffer)
    sys.stdout.write(json.dumps(answer(job)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
