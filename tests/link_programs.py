"""A ship's and a shore's relay as processes with short deadlines (`hurried.py`), and what the kernel says they hold."""

import asyncio
import contextlib
import os
import sys
from asyncio.subprocess import PIPE, Process
from pathlib import Path

from killed_voyage import dialled_by
from relay.core.seal import Signer
from relay.shell.record.secrets_file import open_secrets
from ship_process import ROOT, free_port
from shore_process import SHORE_TEXT, TLS, pin
from shores import with_certificates

TESTS = Path(__file__).resolve().parent
AUDIENCES = ("public", "family")
DELAY_US = 1_000_000  # of the public
EXPEDITION_TEXT = """\
[expedition]
name = "The search for the Isoline Marr"
ship = "Harrow Tern"
[public]
listen = "127.0.0.1:{site}"
[dive]
begins = "report"
quiet_ends_after = "2 s"
[[vehicle]]
name = "Lantern"
[[vehicle]]
name = "Moth"
[[feed]]
name = "lark"
format = "station-json"
from = "udp://127.0.0.1:{lark}"
vehicle = "Lantern"
[[feed]]
name = "wren"
format = "station-json"
from = "tcp-listen://127.0.0.1:{wren}"
vehicle = "Moth"
[[feed]]
name = "rook"
format = "station-json"
from = "tcp://127.0.0.1:{rook}"
vehicle = "Moth"
[uplink]
to = "wss://127.0.0.1:{link}"
pin = "sha256:{pin}"
audiences = ["public", "family"]
"""
AUDIENCE_TEXT = """
[[audience]]
name = "{name}"
open = true
delay = "{delay_s} s"
extra = "0 s"
tick = "1 s"
fields = ["track", "depth", "heading", "leg", "notes"]
cell = "5 m"
depth_step = "1 m"
track_legs = ["deck", "descent", "bottom", "ascent"]
"""


def prepare_ship(folder: Path, **ports: int) -> tuple[Path, bytes]:
    """Write a ship's file into a folder and let her draw her secrets; return the file and her public key."""
    (folder / "private").mkdir(mode=0o700, parents=True)
    delays = zip(AUDIENCES, (DELAY_US // 1_000_000, 2), strict=True)
    audiences = "".join(AUDIENCE_TEXT.format(name=name, delay_s=delay_s) for name, delay_s in delays)
    path = folder / "EXPEDITION.toml"
    path.write_text(EXPEDITION_TEXT.format(pin=pin(), **ports) + audiences)
    return path, Signer(open_secrets(folder / "private", None).signing_seed).key


def prepare_shore(folder: Path, key: bytes, **ports: int) -> Path:
    """Write a shore's file and its certificates into a folder."""
    with_certificates(folder, "uplink", "site")
    names = ", ".join(f'"{name}"' for name in AUDIENCES)
    path = folder / "SHORE.toml"
    path.write_text(SHORE_TEXT.format(key=key.hex(), open=names, tls=TLS, watch=free_port(), **ports))
    return path


class Program:
    """One relay: `kind` is the command, `log` where it writes what it says. `start`, then `end`."""

    def __init__(self, kind: str, file: Path, site: int, log: Path) -> None:
        self.kind, self.site, self.log = kind, site, log
        self._file = file
        self._process: Process | None = None
        self._reader: asyncio.Task[None] | None = None

    async def start(self) -> None:
        """Start it, and wait until it has printed where its site is."""
        environment = {**os.environ, "PYTHONPATH": f"{ROOT}:{TESTS}"}
        command = [sys.executable, str(TESTS / "hurried.py"), self.kind, str(self._file)]
        with self.log.open("wb") as log:
            self._process = await asyncio.create_subprocess_exec(*command, stdout=PIPE, stderr=log, env=environment)
        assert self._process.stdout is not None
        async with asyncio.timeout(60):
            line = await self._process.stdout.readline()
        assert f"127.0.0.1:{self.site}" in line.decode(), self.log.read_text()
        self._reader = asyncio.ensure_future(self._drain(self._process.stdout))

    async def _drain(self, lines: asyncio.StreamReader) -> None:
        while await lines.readline():
            pass

    @property
    def runs(self) -> bool:
        """Whether it still runs."""
        return self._process is not None and self._process.returncode is None

    def handles(self) -> int:
        """Return how many files and sockets it has open (proc(5))."""
        assert self._process is not None
        return len(list(Path(f"/proc/{self._process.pid}/fd").iterdir()))

    def dialled(self, own: set[int]) -> set[str]:
        """Return where it has connections that it made itself: those from other ports than its own."""
        assert self._process is not None
        return dialled_by(self._process.pid, own)

    def resident_octets(self) -> int:
        """Return how much memory it has in use (proc(5), statm)."""
        assert self._process is not None
        pages = int(Path(f"/proc/{self._process.pid}/statm").read_text().split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE")

    def faults(self) -> list[str]:
        """Return what its log says of faults of its own."""
        marks = ("Traceback", "CRITICAL", "fault of Offing", "Task exception", "never awaited")
        lines = self.log.read_text(errors="replace").splitlines()
        return [f"the {self.kind} said: {line[:300]}" for line in lines if any(mark in line for mark in marks)]

    async def end(self) -> None:
        """End it, in order; kill it if it doesn't go."""
        if self._process is None:
            return
        with contextlib.suppress(ProcessLookupError):
            self._process.terminate()
        try:
            async with asyncio.timeout(20):
                await self._process.wait()
        except TimeoutError:
            self._process.kill()
            await self._process.wait()
        if self._reader is not None:
            await self._reader
