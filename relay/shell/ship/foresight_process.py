"""The process that works out what is about to leave: started for one question, watched, and ended if it takes too long.

Rules: nothing it is told or answers leaves the ship; it runs beside the relay, niced, and holds up nothing;
whatever goes wrong with it is words, never an exception and never an answer.
"""

import asyncio
import contextlib
import json
import os
import pickle
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from relay.core.policy import Plan
from relay.core.secrets import Secrets

LIMIT_S = 300.0
BUDGET_S = 200.0  # after so long a round leaves the ticks that it hasn't judged to the next one
MOST_ANSWER = 1 << 20
COMMAND = (sys.executable, "-m", "relay.shell.ship.foresight_run")
ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
Number = tuple[int, int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What is to be worked out: of the journal up to `upto_us`, for each audience of `levels`.

    `told`: the dive and number of the record that left last; `judged`: of the last that earlier rounds have judged;
    `levels`: the mass that is a 95 % region; `promises`: km2; `digests`: of the charts' files, as they were audited;
    `open_audiences`: what they are told counts for each. `secrets`: the site's, handed over on the process's standard
    input, as they may lie encrypted; None: its plain file is read.
    """

    plan: Plan
    private: Path
    released: Path
    charts: tuple[Path, ...]
    upto_us: int
    told: Mapping[str, Number]
    levels: Mapping[str, float]
    promises: Mapping[str, float]
    judged: Mapping[str, Number] = field(default_factory=dict)
    digests: tuple[str, ...] = ()
    open_audiences: frozenset[str] = frozenset()
    secrets: Secrets | None = field(default=None, repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What was found for an audience: km2 left by what has left, and by all that is about to.

    `kept_us`: ticks up to this one leave the promise whole. `breaks_us`: when the first that doesn't would leave.
    `judged_dive`, `judged_seq`: the last record that was judged and is kept. `whole`: no tick was left to the next
    round.
    """

    left_km2: float
    ahead_km2: float
    kept_us: int
    breaks_us: int | None = None
    judged_dive: int = 0
    judged_seq: int = -1
    whole: bool = True


async def ask(job: Job, *, limit_s: float = LIMIT_S, command: Sequence[str] = COMMAND) -> dict[str, Seen] | str:
    """Return how each promise of a job stands, or words (without a position) for why that can't be told."""
    try:
        process = await asyncio.create_subprocess_exec(
            *command,
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.DEVNULL,
            env={**os.environ, **ONE_THREAD, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            limit=MOST_ANSWER,
        )
    except OSError as error:
        return f"its process can't be started ({error.strerror})"
    try:
        async with asyncio.timeout(limit_s):
            data, _ = await process.communicate(pickle.dumps(job))
    except TimeoutError:
        return f"it took longer than {limit_s:.0f} s"
    except RuntimeError:  # uvloop's, of one that has died before all of its job was written
        return "its process went away before it was told its job"
    except Exception as error:  # by its kind alone: what it says may be exact
        return f"its process can't be spoken with ({type(error).__name__})"
    finally:
        if process.returncode is None:
            with contextlib.suppress(ProcessLookupError):
                process.kill()
            await process.wait()
    return _answer(data, process.returncode)


def _answer(data: bytes, code: int | None) -> dict[str, Seen] | str:
    try:
        value: dict[str, Any] = json.loads(data)
        if "fault" in value:
            return str(value["fault"])
        return {audience: Seen(**seen) for audience, seen in value["seen"].items()}
    except (ValueError, KeyError, TypeError, AttributeError):
        return f"its process ended without an answer ({code})"
