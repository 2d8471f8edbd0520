"""The failing disk of `disk_shim.c`: built with the system's C compiler, preloaded, and told from Python what to do."""

import argparse
import ctypes
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue
from struct import Struct
from typing import Any, NamedTuple

HERE = Path(__file__).resolve().parent
ROOM, SYNC, SHORT = 1, 2, 3
FOR_EVER = 1 << 40
SHARES, FEW = 4, 24
TO_TRY, LOST = " faults to try", "process "
_LINE = Struct("<cQQII")


def built(folder: Path, name: str = "disk_shim") -> Path:
    """Build a shim into a folder and return where it lies."""
    out = folder / f"{name}.so"
    if not out.exists():
        beside = folder / f"{name}.{os.getpid()}"
        command = ["gcc", "-O1", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", "-o", str(beside)]
        subprocess.run([*command, str(HERE / f"{name}.c"), "-ldl", "-lpthread"], check=True)
        beside.replace(out)
    return out


class FailingDisk:
    """The shim of this process, in which it must be preloaded. `kind` is ROOM, SYNC or SHORT."""

    def __init__(self) -> None:
        self._lib = ctypes.CDLL(None)
        self._lib.disk_calls.restype = ctypes.c_long

    def watch(self, folder: Path) -> None:
        """Concern itself with what lies below a folder."""
        self._lib.disk_watch(os.fsencode(folder.resolve()))

    def arm(self, kind: int, first: int, count: int, error: int) -> None:
        """Let `count` calls fail, from the next but `first - 1` on; a `first` of 0: none.

        SHORT: one call is done by half, and the `count` behind it that need room fail, unless `error` is 0.
        """
        self._lib.disk_arm(kind, ctypes.c_long(first), ctypes.c_long(count), error)

    def calls(self, kind: int) -> int:
        """Return how many calls of a kind there were since it was armed."""
        return int(self._lib.disk_calls(kind))

    def trace(self, descriptor: int) -> None:
        """Tell a descriptor all that changes."""
        self._lib.disk_trace(descriptor)

    def note(self, text: bytes) -> None:
        """Put a note into the trace, between the calls before it and those after it."""
        self._lib.disk_note(text, ctypes.c_size_t(len(text)))


@dataclass(frozen=True, slots=True)
class Share:
    """What one of the processes with a shim is to do: every `of`-th of `count`, from `number` on."""

    count: int
    seed: int
    number: int
    of: int
    folder: Path

    def has(self, at: int) -> bool:
        """Whether the fault of a number is this process's."""
        return at % self.of == self.number

    def clear(self, place: Path) -> None:
        """Take a folder of a fault away."""
        shutil.rmtree(place)


def share_of() -> Share:
    """Return the share that the command line asks for."""
    parser = argparse.ArgumentParser()
    for name in ("--count", "--seed", "--number", "--of"):
        parser.add_argument(name, type=int, required=True)
    parser.add_argument("--folder", type=Path, required=True)
    return Share(**vars(parser.parse_args()))


def scratch(folder: Path) -> Path:
    """Return a new folder with one for a site in it."""
    (folder / "site").mkdir(parents=True)
    return folder


def in_shares(program: Path, count: int, seed: int, folder: Path) -> Iterator[tuple[str, list[str]]]:
    """Run a program in processes with the shim, and yield the pairs (fault, what was wrong) that they print."""
    shim, lines, shares = built(folder), SimpleQueue[Any](), 1 if 0 < count <= FEW else SHARES
    environment = {**os.environ, "LD_PRELOAD": str(shim)}

    def one(number: int) -> None:
        given = {"count": count, "seed": seed, "number": number, "of": shares, "folder": folder / str(number)}
        command = [sys.executable, str(program), *(f"--{name}={value}" for name, value in given.items())]
        with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment) as process:
            assert process.stdout is not None and process.stderr is not None
            for line in process.stdout:
                lines.put(tuple(json.loads(line)))
            words = process.stderr.read().decode()
        if process.returncode:
            lines.put((f"{LOST}{number}", [f"it ended with {process.returncode}: {words[-2_000:]}"]))

    with ThreadPoolExecutor(shares) as pool:
        asked = [pool.submit(one, number) for number in range(shares)]
        for each in asked:
            each.add_done_callback(lambda _: lines.put(None))
        for _ in asked:
            while (line := lines.get()) is not None:
                yield line


def counted_shares(lines: Iterable[tuple[str, list[str]]]) -> tuple[list[str], int, int]:
    """Return what was wrong, how many faults were tried, and how many the processes had to try, as each said first."""
    wrong, done, asked = [], 0, 0
    for fault, found in lines:
        if fault.endswith(TO_TRY):
            asked += int(fault.removesuffix(TO_TRY))
            continue
        done += not fault.startswith(LOST)
        wrong += [f"{fault}: {words}" for words in found]
    return wrong, done, asked


class Call(NamedTuple):
    """A line of a trace: see `disk_shim.c`."""

    what: str
    inode: int
    number: int
    one: bytes
    two: bytes


def traced(data: bytes) -> Iterator[Call]:
    """Yield the calls of a trace."""
    at = 0
    while at < len(data):
        what, inode, number, one, two = _LINE.unpack_from(data, at)
        at += _LINE.size
        yield Call(what.decode(), inode, number, data[at : at + one], data[at + one : at + one + two])
        at += one + two
