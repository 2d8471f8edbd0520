"""The process that looks ahead: asked over its pipes, bounded in time, and whatever it does is words or numbers."""

import asyncio
import json
import os
import pickle
import sys
from dataclasses import asdict
from pathlib import Path

import pytest

from dives import plan
from peers import PATIENCE_S, on_both_loops, until
from relay.shell.ship.foresight_process import Job, Seen, ask

JOB = Job(
    plan=plan(), private=Path("private"), released=Path("released"), charts=(Path("chart.csv"),), upto_us=7,
    told={"public": (1, 2)}, levels={"public": 0.96}, promises={"public": 87.0},
)  # fmt: skip
SEEN = Seen(left_km2=400.0, ahead_km2=120.5, kept_us=7, breaks_us=None)


def python(*lines: str) -> tuple[str, ...]:
    """Return a command that runs lines of Python."""
    return sys.executable, "-c", "\n".join(lines)


async def test_answer_is_taken() -> None:
    """What the process finds comes back as it was found."""
    told = json.dumps({"seen": {"public": asdict(SEEN)}})
    assert await ask(JOB, command=python("import sys", "sys.stdin.buffer.read()", f"print({told!r})")) == {
        "public": SEEN
    }


async def test_job_arrives_whole() -> None:
    """The process is given the very job, plan and all, and finds the program where the relay did."""
    command = python(
        "import json, pickle, sys",
        "job = pickle.load(sys.stdin.buffer)",
        "print(json.dumps({'fault': pickle.dumps(job).hex()}))",
    )
    answer = await ask(JOB, command=command)
    assert isinstance(answer, str)
    assert pickle.loads(bytes.fromhex(answer)) == JOB


async def test_process_that_hangs_is_ended(tmp_path: Path) -> None:
    """One that takes longer than it may is killed, and that it did is what is told."""
    pid = tmp_path / "pid"
    command = python("import os, signal", f"open({str(pid)!r}, 'w').write(str(os.getpid()))", "signal.pause()")
    assert await ask(JOB, limit_s=1.0, command=command) == "it took longer than 1 s"
    with pytest.raises(ProcessLookupError):
        os.kill(int(pid.read_text()), 0)


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        (("raise SystemExit(3)",), "its process ended without an answer (3)"),
        (("print('[]')",), "its process ended without an answer (0)"),
        (('print(\'{"seen": {"public": {"left_km2": 1}}}\')',), "its process ended without an answer (0)"),
        (("import os, signal", "os.kill(os.getpid(), signal.SIGKILL)"), "its process ended without an answer (-9)"),
    ],
)
async def test_process_without_an_answer_is_told(lines: tuple[str, ...], why: str) -> None:
    """One that fails, is killed for its memory, or says nonsense is words, never an answer."""
    assert await ask(JOB, command=python("import sys", "sys.stdin.buffer.read()", *lines)) == why


async def test_process_that_is_not_there_is_told(tmp_path: Path) -> None:
    """Where it can't even be started that is told."""
    assert await ask(JOB, command=(str(tmp_path / "none"),)) == (
        "its process can't be started (No such file or directory)"
    )


def children() -> set[str]:
    """Return the processes that this one has started and that are there (proc(5))."""
    return set(Path(f"/proc/self/task/{os.getpid()}/children").read_text().split())


@on_both_loops
async def test_process_ends_with_the_relay() -> None:
    """A relay that is stopped while it asks does stop, and leaves no process behind."""
    before = children()
    asking = asyncio.ensure_future(ask(JOB, command=python("import signal", "signal.pause()")))
    await until(lambda: children() - before != set())
    started = children() - before
    asking.cancel()
    await asyncio.wait({asking})
    assert asking.cancelled()
    async with asyncio.timeout(PATIENCE_S):  # uvloop kills one that it was just starting, and reaps it a moment later
        await until(lambda: started & children() == set())


@on_both_loops
async def test_process_that_dies_at_once_is_told() -> None:
    """One that is killed before, while or after its job is written, as for its memory: words each time, none left."""
    before, told = children(), set()
    for _ in range(60):
        told.add(await ask(JOB, command=("/bin/sh", "-c", "kill -9 $$")))  # type: ignore[arg-type]
    assert told <= {
        "its process went away before it was told its job",
        "its process ended without an answer (-9)",
    }
    assert children() <= before


@pytest.mark.parametrize(
    ("fault", "why"),
    [
        (RuntimeError("the handler is closed"), "its process went away before it was told its job"),
        (ValueError("exact -41.2"), "its process can't be spoken with (ValueError)"),
        (OSError(5, "exact -41.2"), "its process can't be spoken with (OSError)"),
    ],
)
@on_both_loops
async def test_fault_of_speaking_with_the_process_is_told(
    fault: Exception, why: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever the library raises: its kind at most is told, and the process, which waits, is ended."""
    before = children()

    async def communicate(process: asyncio.subprocess.Process, given: bytes) -> None:
        assert children() - before == {str(process.pid)}
        raise fault

    monkeypatch.setattr(asyncio.subprocess.Process, "communicate", communicate)
    assert await ask(JOB, command=python("import signal", "signal.pause()")) == why
    assert children() <= before
