"""Offing's processes, killed and started by the hundred: each is forked from one that has loaded the relay.

As a program it reads one JSON line a process: `offing`'s arguments, and the files that take what it says. It answers
with the process's number. A process runs `relay.__main__.main`, as `python -m relay` would; only the loading is done
before. Whatever still runs is killed when nobody asks any more.
"""

import asyncio
import contextlib
import gc
import json
import os
import signal
import subprocess
import sys
from dataclasses import dataclass, field
from importlib import import_module
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]


@dataclass
class Running:
    """One process. `said` and `complained`: the files of its standard output and error."""

    number: int
    said: Path
    complained: Path
    begun: int = 0
    handle: int = field(init=False)

    def __post_init__(self) -> None:
        self.handle = os.pidfd_open(self.number)

    def kill(self, number: signal.Signals = signal.SIGKILL) -> None:
        """Signal this very process, and no other that has its number by now."""
        with contextlib.suppress(ProcessLookupError):
            signal.pidfd_send_signal(self.handle, number)

    @property
    def ready(self) -> bool:
        """Whether it has said where its page is."""
        with self.said.open("rb") as file:
            file.seek(self.begun)
            return b"followers' page: " in file.read()

    async def ended(self) -> None:
        """Wait until it is gone, and let go of it."""
        loop, gone = asyncio.get_running_loop(), asyncio.Event()
        loop.add_reader(self.handle, gone.set)
        try:
            await gone.wait()
        finally:
            loop.remove_reader(self.handle)
        os.close(self.handle)

    @property
    def lives(self) -> bool:
        """Whether it runs."""
        try:
            signal.pidfd_send_signal(self.handle, 0)
        except ProcessLookupError:
            return False
        return True


class Relays:
    """Where processes come from."""

    def __init__(self, folder: Path) -> None:
        """`folder`: for what they say."""
        self._folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        environment = {**os.environ, "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'tests'}"}
        command = [sys.executable, __file__]
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment, cwd=folder
        )

    def start(self, name: str, *arguments: str) -> Running:
        """Start `offing ARGUMENTS`; what it says is added to NAME.out and NAME.log."""
        assert self._process.stdin is not None and self._process.stdout is not None
        said, complained = self._folder / f"{name}.out", self._folder / f"{name}.log"
        begun = said.stat().st_size if said.exists() else 0
        said.touch()
        asked = {"arguments": arguments, "out": str(said), "log": str(complained)}
        self._process.stdin.write(json.dumps(asked).encode() + b"\n")
        self._process.stdin.flush()
        return Running(int(self._process.stdout.readline()), said, complained, begun)

    def end(self) -> None:
        """Let no more start, and end whatever runs."""
        with self._process:
            assert self._process.stdin is not None
            self._process.stdin.close()


def _serve() -> None:
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "w")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())
    for module in ("relay.__main__", "relay.shell.app", "relay.shell.shore.shore_command"):
        __import__(module)
    gc.collect()
    gc.freeze()
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # nobody waits for them here: they leave nothing behind
    started = []
    while line := sys.stdin.readline():
        number = os.fork()
        if number == 0:
            os._exit(_run(**json.loads(line)))
        started.append(os.pidfd_open(number))
        print(number, file=answers, flush=True)
        started = [handle for handle in started if _lives(handle)]
    for handle in started:
        with contextlib.suppress(ProcessLookupError):
            signal.pidfd_send_signal(handle, signal.SIGKILL)


def _lives(handle: int) -> bool:
    try:
        signal.pidfd_send_signal(handle, 0)
    except ProcessLookupError:
        os.close(handle)
        return False
    return True


def _run(arguments: list[str], out: str, log: str) -> int:
    """Be `offing ARGUMENTS`, and return its exit code."""
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    with Path(os.devnull).open("rb") as nothing, Path(out).open("ab") as said, Path(log).open("ab") as complained:
        for number, file in enumerate((nothing, said, complained)):
            os.dup2(file.fileno(), number)
    try:
        code: int = import_module("relay.__main__").main(arguments)
    except SystemExit as error:
        code = int(error.code or 0)
    sys.stdout.flush()
    sys.stderr.flush()
    return code


if __name__ == "__main__":
    _serve()
