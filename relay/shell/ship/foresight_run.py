"""The process of `foresight`: one job on standard input, one answer on standard output, with little of the machine.

Rules: it reads journal, secrets, charts and recordings, and writes nothing but its answer, which holds no position;
it runs niced, within bounds of memory and processor time; what goes wrong is words in the answer. Charts that aren't
those of the audit, and a recording that has left and isn't there or can't be read, are faults: less evidence would
leave more area (R4).
"""

import contextlib
import json
import os
import pickle
import resource
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, replace
from functools import partial
from typing import Any

from relay.audit.attacks.attack import Dive
from relay.core.channel import Channel
from relay.core.decision import Hold, read_decision
from relay.core.desk_record import TAKEN_LIMIT
from relay.core.errors import OffingError, OperatorError, RecordingError
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.record_log import Unsealed
from relay.core.restart import Checkpoint
from relay.core.secrets import Secrets
from relay.shell.record.checkpoint import read_checkpoint
from relay.shell.record.journal import read_decisions, read_decisions_from, read_marks, read_rows
from relay.shell.record.secrets_file import NAME as SECRETS
from relay.shell.record.secrets_file import read_secrets
from relay.shell.released.recording import load_recording, recording_path
from relay.shell.ship.audit_result import chart_digest
from relay.shell.ship.foresight import Areas, Measure, foresee, judged
from relay.shell.ship.foresight_process import BUDGET_S, Job, Seen

MOST_OCTETS = 4 << 30
MOST_CPU_S = 900
NICE = 15
SEED = 1  # that of the audit, unless it is told another


def work_out(
    job: Job, secrets: Secrets, residual_of: Callable[[float], Areas], clock_s: Callable[[], float] = time.monotonic
) -> dict[str, Seen]:
    """Return how each promise of a job stands; `residual_of(level)` measures areas.

    Each audience has its share of what is left of `BUDGET_S`; what it can't judge within waits for the next round.
    """
    until_s = clock_s() + BUDGET_S
    pipeline, rows = _again(job, secrets)
    earlier = {channel.policy.audience: _earlier(job, channel) for channel in pipeline.channels}
    found = foresee(pipeline, rows, job.upto_us)
    out: dict[str, Seen] = {}
    for at, (audience, level) in enumerate(job.levels.items()):
        beside = [other for other in found if other != audience and other in job.open_audiences]
        before = [dive for name in (audience, *beside) for dive in earlier[name]]
        measure = Measure(residual_of(level), before, found[audience], [found[name] for name in beside])
        told, since = job.told.get(audience, (0, -1)), job.judged.get(audience, (0, -1))
        share_s = clock_s() + (until_s - clock_s()) / (len(job.levels) - at)
        out[audience] = judged(
            measure, found[audience], told, since, job.promises[audience], job.upto_us,
            partial(_later, clock_s, share_s),
        )  # fmt: skip
    return out


def _later(clock_s: Callable[[], float], than_s: float) -> bool:
    return clock_s() > than_s


def _again(job: Job, secrets: Secrets) -> tuple[Pipeline, Iterator[Row]]:
    """Return a pipeline of the audiences that count, as it stood at the checkpoint, and the rows from there on."""
    journal = job.private / "journal.db"
    start = read_checkpoint(read_marks(journal).get("checkpoint"), job.plan)
    counts = {*job.levels, *job.open_audiences}
    watched = [at for at, policy in enumerate(job.plan.policies) if policy.audience in counts]
    plan = replace(job.plan, policies=tuple(job.plan.policies[at] for at in watched))
    if start is not None:
        standings = tuple(start.standings[at] for at in watched)
        start = Checkpoint(start.row, standings, start.desk, start.programme)
    pipeline = Pipeline(plan, secrets, start, record=Unsealed())
    for row in read_decisions(journal, pipeline.first_row, TAKEN_LIMIT, pipeline.kept_rows):
        pipeline.remember(row)
    for row in read_decisions_from(journal, pipeline.first_row):
        with contextlib.suppress(OperatorError):
            if isinstance(decision := read_decision(row.data), Hold):
                pipeline.halt(row.seq, decision)
    return pipeline, read_rows(journal, pipeline.first_row)


def _earlier(job: Job, channel: Channel) -> list[Dive]:
    """Return the dives of an audience that were over by the checkpoint, as they were released.

    Each has left: OperatorError where one isn't there or can't be read.
    """
    dives = []
    for number in range(1, channel.next_dive):
        path = recording_path(job.released, channel.policy.audience, number)
        try:
            recording = load_recording(path)
            if not recording.closed:
                raise RecordingError(f"{path}: it ends before the dive does")
        except (RecordingError, OSError) as error:
            why = "it has left, and counts: put it back as the shore and those who follow have it"
            raise OperatorError(f"{channel.policy.audience}/{path.name} is missing or damaged; {why}") from error
        dives.append(Dive(path.name, recording.header, recording.records))
    return dives


def _residual_of(job: Job) -> Callable[[float], Areas]:
    """Return what measures areas on the charts of a job, their errors learnt from themselves as the audit does."""
    import numpy as np

    from relay.audit.charts.chart_files import read_chart
    from relay.audit.charts.chart_merge import merge
    from relay.audit.matching.error_law import learn
    from relay.audit.residual import Residual

    charts = [read_chart(path) for path in job.charts]
    if tuple(map(chart_digest, job.charts)) != job.digests:
        raise OperatorError("the charts are others than those it was audited with: put those back, or audit again")
    chart = merge(charts)
    try:
        chart = learn(chart, np.random.default_rng(SEED))
    except ValueError as error:
        raise OperatorError(f"nothing can be learnt of the charts' errors: {error}") from error
    return lambda level: Residual(chart, job.plan.area, level)


def answer(job: Job) -> dict[str, Any]:
    """Return {"seen": {audience: ...}}, or {"fault": words without a position}."""
    try:
        seen = work_out(job, job.secrets or read_secrets(job.private / SECRETS), _residual_of(job))
    except ImportError as error:
        return {"fault": f"{error.name} isn't installed: requirements-audit.lock has it"}
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
