"""The process of `foresight`: one job on standard input, one answer on standard output, with little of the machine.

Rules: it reads journal, secrets, charts and recordings, and writes nothing but its answer, which holds no position;
it runs niced, within bounds of memory and processor time; what goes wrong is words in the answer.
"""

import json
import os
import pickle
import resource
import sys
from collections.abc import Callable, Iterator
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from relay.audit.attack import Dive
from relay.core.desk_record import TAKEN_LIMIT
from relay.core.errors import OffingError, RecordingError
from relay.core.model import Row
from relay.core.pipeline import Checkpoint, Pipeline
from relay.core.secrets import Secrets
from relay.shell.checkpoint import read_checkpoint
from relay.shell.foresight import Areas, Measure, foresee, judged
from relay.shell.foresight_process import Job, Seen
from relay.shell.journal import read_decisions, read_marks, read_rows
from relay.shell.recording import load_recording
from relay.shell.secrets_file import NAME as SECRETS
from relay.shell.secrets_file import read_secrets

MOST_OCTETS = 4 << 30
MOST_CPU_S = 900
NICE = 15


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
