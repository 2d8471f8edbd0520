"""Processor time per delivered message at many viewers: the site, two well-known ways, and a floor in C, twice.

The server under test is pinned to one processor and the load to another. All stand side by side and take short turns,
in an order drawn anew for each round, so that a busy moment of the machine, and what the server before left behind,
meet all of them; what counts is the ratio of turns of the same round. The second floor is the A/A control: gaps as
small as between the two floors say nothing. Only processor time, memory and ratios are told, never wall time.
"""

import json
import os
import resource
import socket
import subprocess
import sys
from contextlib import ExitStack, closing
from dataclasses import dataclass
from pathlib import Path
from random import Random
from statistics import median
from time import monotonic
from typing import Any

from site_under_load import tick_octets

HERE = Path(__file__).resolve().parent
WAIT_S = 60.0
LOAD_S = "600"
FLOOR = "floor"


@dataclass(frozen=True, slots=True)
class Contender:
    """A server and how to start it; `{port}` is filled in."""

    name: str
    command: tuple[str, ...]
    path: str


@dataclass(frozen=True, slots=True)
class Cost:
    """What a contender cost, turn by turn: microseconds of processor time per delivered message; memory per viewer."""

    name: str
    turns_us: tuple[float, ...]
    octets_a_viewer: float
    delivered: int
    missing: int
    median_ms: float
    last_ms: float

    def times(self, other: "Cost") -> list[float]:
        """Return the ratios to another's turns of the same rounds, sorted."""
        return sorted(mine / its for mine, its in zip(self.turns_us, other.turns_us, strict=True))


def compile_tools(folder: Path) -> None:
    """Compile the load and the floor into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    for name in ("wsload", FLOOR):
        flags = ("-O2", "-Wno-format-truncation", "-o", str(folder / name))
        subprocess.run(("gcc", *flags, str(HERE / f"{name}.c")), check=True)


def raise_open_files(needed: int) -> None:
    """Allow this process and its children `needed` open files; ends with a word where the machine does not."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft == resource.RLIM_INFINITY or soft >= needed:
        return
    enough = hard == resource.RLIM_INFINITY or hard >= needed
    try:
        resource.setrlimit(resource.RLIMIT_NOFILE, (needed, hard if enough else needed))
    except (OSError, ValueError) as error:
        raise SystemExit(f"{needed} open files are needed and {hard} allowed: try `ulimit -Hn {needed}`") from error


def contenders(tools: Path, octets: int) -> list[Contender]:
    """Return all there are, the site first."""
    floor = (str(tools / FLOOR), "{port}", str(octets))
    script = {name: (sys.executable, str(HERE / f"{name}_under_load.py"), "{port}") for name in ("site", "broadcast")}
    nchan = (sys.executable, str(HERE / "nchan_under_load.py"), "{port}", str(octets))
    return [
        Contender("site", script["site"], "/live?audience=public"),
        Contender(FLOOR, floor, "/"),
        Contender("floor again", floor, "/"),
        Contender("websockets.broadcast", (*script["broadcast"], str(octets)), "/"),
        Contender("nginx with nchan", nchan, "/follow"),
    ]


def costs(tools: Path, viewers: int, rate: float, seconds: float, turns: int, names: str = "") -> list[Cost]:
    """Let the contenders (those of whose names `names` is made, or all) take turns; return what messages cost them."""
    raise_open_files(viewers + 512)
    octets = tick_octets()
    with ExitStack() as running:
        stands = [
            running.enter_context(Stand(contender, tools, viewers, octets))
            for contender in contenders(tools, octets)
            if not names or contender.name in names
        ]
        for stand in stands:
            stand.turn(rate, min(seconds, 1.0))
            stand.forget()
        chance = Random(turns)
        for _ in range(turns):
            for stand in chance.sample(stands, len(stands)):
                stand.turn(rate, seconds)
        return [stand.cost() for stand in stands]


class Stand:
    """One contender with its viewers; a context that ends both."""

    def __init__(self, contender: Contender, tools: Path, viewers: int, octets: int) -> None:
        self._contender, self._tools, self._viewers, self._octets = contender, tools, viewers, octets
        self._costs_us: list[float] = []
        self._delivered = self._missing = 0
        self._waits_ms: list[tuple[float, float]] = []
        self._grown = 0.0

    def __enter__(self) -> "Stand":
        port = _free_port()
        server_core, load_core = _cores()
        command = tuple(part.format(port=port) for part in self._contender.command)
        with ExitStack() as started:
            self._server = started.enter_context(Tool(command, server_core))
            self._pid = int(self._server.answer().get("pid", self._server.pid))
            self._empty = _private_octets(self._pid)
            load = (str(self._tools / "wsload"), "-p", str(port), "-n", str(self._viewers), "-P", self._contender.path)
            self._load = started.enter_context(Tool((*load, "-t", LOAD_S), load_core))
            ready = self._load.answer()
            if ready.get("ready") != self._viewers:
                raise RuntimeError(f"only {ready.get('ready')} of {self._viewers} viewers reached {command[0]}")
            self._ends = started.pop_all()
        return self

    def __exit__(self, *_: object) -> None:
        self._ends.close()

    def turn(self, rate: float, seconds: float) -> None:
        """Send for so long; add what a delivered message cost."""
        self._load.ask("mark")
        told = self._server.ask(f"go {rate} {seconds}")
        expected = int(told["rounds"]) * self._viewers
        until = monotonic() + WAIT_S
        while self._load.ask("count")["frames"] < expected and monotonic() < until:
            pass
        seen = self._load.ask("mark")
        delivered = int(seen["messages"])
        if int(seen["bytes"]) != delivered * self._octets:
            raise RuntimeError(f"{self._contender.name} sent frames of another length than {self._octets} bytes")
        fewest, most = int(seen["min_per_conn"]), int(seen["max_per_conn"])
        if delivered == expected and (fewest, most) != (told["rounds"], told["rounds"]):
            raise RuntimeError(f"{self._contender.name} gave one viewer {fewest} and another {most} messages")
        self._costs_us.append(1e6 * told["cpu_s"] / delivered)
        self._waits_ms.append((float(seen["p50_ms"]), float(seen["max_ms"])))
        self._delivered += delivered
        self._missing += expected - delivered

    def forget(self) -> None:
        """Let the turns so far have been practice: what they needed of memory counts, what they cost does not."""
        self._grown = (_private_octets(self._pid) - self._empty) / self._viewers
        self._costs_us.clear()
        self._waits_ms.clear()

    def cost(self) -> Cost:
        """Return the turns so far."""
        grown = max(self._grown, (_private_octets(self._pid) - self._empty) / self._viewers)
        name, costs_us = self._contender.name, tuple(self._costs_us)
        middle, last = (median(waits) for waits in zip(*self._waits_ms, strict=True))
        return Cost(name, costs_us, grown, self._delivered, self._missing, middle, last)


class Tool:
    """A program that takes a line and answers with a line of JSON, pinned to one processor."""

    def __init__(self, command: tuple[str, ...], core: int) -> None:
        self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        os.sched_setaffinity(self._process.pid, {core})

    def __enter__(self) -> "Tool":
        return self

    def __exit__(self, *_: object) -> None:
        if self._process.stdin:
            self._process.stdin.close()
        try:
            self._process.wait(20)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        if self._process.stdout:
            self._process.stdout.close()

    @property
    def pid(self) -> int:
        """The process."""
        return self._process.pid

    def ask(self, line: str) -> dict[str, Any]:
        """Say a line and return the answer."""
        assert self._process.stdin
        self._process.stdin.write(line + "\n")
        self._process.stdin.flush()
        return self.answer()

    def answer(self) -> dict[str, Any]:
        """Return the next answer; RuntimeError if the program has ended."""
        assert self._process.stdout
        line = self._process.stdout.readline()
        if not line:
            raise RuntimeError(f"{self._process.args!r} ended with {self._process.wait()}")
        told: dict[str, Any] = json.loads(line)
        return told


def _private_octets(pid: int) -> int:
    """Return the memory that a process has for itself alone (proc(5), smaps_rollup)."""
    lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    return 1_024 * sum(int(line.split()[1]) for line in lines if line.startswith(("Private_Clean:", "Private_Dirty:")))


def _free_port() -> int:
    with closing(socket.socket()) as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _cores() -> tuple[int, int]:
    """Return the processors for server and load: two different ones where there are two."""
    cores = sorted(os.sched_getaffinity(0))
    return cores[0], cores[-1]
