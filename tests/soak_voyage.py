"""A voyage for a soak: a ship, a shore, the link between them, and the stations of two vehicles. All is real.

Ship and shore are processes of their own on the loopback; each vehicle reports ten times a second by UDP.
"""

import asyncio
import json
import math
import random
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

import msgpack

from killed_voyage import dialled_by
from link_ends import Wire, until, wire
from relay.shell.record.secrets_file import open_secrets
from ship_process import ShipProcess, free_port, is_bound
from shore_process import ShoreProcess, prepare_shore
from soak_crowd import boot_s
from test_ship_to_shore import key_of

REPORT_S = 0.1
VEHICLES = ("Lantern", "Moth")
TEXT = """\
[expedition]
name = "The search for the Isoline Marr"
ship = "Harrow Tern"
[public]
listen = "127.0.0.1:{port}"
[dive]
begins = "report"
quiet_ends_after = "5 s"
{vehicles}
[[audience]]
name = "public"
open = true
delay = "{delay} s"
extra = "0 s"
tick = "1 s"
fields = ["track", "depth", "altitude", "heading", "pitch", "roll", "mode", "leg"]
cell = "5 m"
depth_step = "1 m"
track_legs = ["deck", "descent", "bottom", "ascent"]
"""
VEHICLE = """\
[[vehicle]]
name = "{name}"
[[feed]]
name = "{feed}"
format = "station-json"
from = "udp://127.0.0.1:{port}"
vehicle = "{name}"
"""


@dataclass(frozen=True, slots=True)
class Weather:
    """How the link fails, from and to: seconds between faults, and how long it is dark. What part of viewers leaves."""

    calm_s: tuple[float, float] = (20.0, 90.0)
    dark_s: tuple[float, float] = (3.0, 40.0)
    leave_per_s: float = 0.003


@dataclass
class Voyage:
    """What runs. `begun_s`: when the first report was sent (CLOCK_BOOTTIME).

    `sent`: all that a vehicle sent, where it is kept; `back`: what came back at the stations; `dialled`: where the
    shore was seen to have connections that it made itself.
    """

    ship: ShipProcess
    shore: ShoreProcess
    link: Wire
    feeds: list[int]
    begun_s: float = 0.0
    reports: int = 0
    cuts: int = 0
    keeps: bool = False
    sent: dict[str, list[tuple[float, bytes]]] = field(default_factory=lambda: {name.lower(): [] for name in VEHICLES})
    back: bytes = b""
    dialled: set[str] = field(default_factory=set)

    async def report(self, seconds: float) -> None:
        """Let both stations report for a while; what is late isn't caught up with."""
        await until(lambda: all(map(is_bound, self.feeds)), 60)
        self.begun_s = due_s = boot_s()
        end_s = self.begun_s + seconds
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
            while due_s < end_s:
                for port, name in zip(self.feeds, VEHICLES, strict=True):
                    said = _report(name, due_s - self.begun_s)
                    if self.keeps:
                        self.sent[name.lower()].append((boot_s(), said))
                    line.sendto(said, ("127.0.0.1", port))
                    self.reports += 1
                due_s = max(due_s + REPORT_S, boot_s() - REPORT_S)
                await asyncio.sleep(max(0.0, due_s - boot_s()))
            line.setblocking(False)
            with suppress(BlockingIOError):
                self.back += line.recv(65_536)

    def look_at_shore(self) -> None:
        """Note to whom the shore has connections that it made itself."""
        if self.shore.process is not None:
            self.dialled |= dialled_by(self.shore.process.pid, {self.shore.site, self.shore.uplink, self.shore.watch})

    def leave(self, folder: Path) -> None:
        """Write down what was sent, what came back and whom the shore dialled, where `invariants.py` looks for it."""
        (folder / "written_to_stations").write_bytes(self.back)
        (folder / "dialled_from_shore").write_text("".join(f"{line}\n" for line in sorted(self.dialled)))
        for name, sent in self.sent.items():
            note(folder / "sent" / f"{name}.msgpack", sent)
        self.ship.leave_words(folder / "said")
        self.shore.leave_words(folder / "said")

    async def fail(self, weather: Weather, chance: random.Random) -> None:
        """Let the link fail until cancelled: ended at once, or dark for a while and then ended."""
        try:
            while True:
                await asyncio.sleep(chance.uniform(*weather.calm_s))
                self.cuts += 1
                if chance.random() < 0.5:
                    self.link.cut = True
                    await asyncio.sleep(chance.uniform(*weather.dark_s))
                self.mend()
        finally:
            self.mend()

    def mend(self) -> None:
        """End what runs over the link, and carry again."""
        self.link.snap()
        self.link.cut = False


def note(path: Path, what: list[tuple[float, bytes]]) -> None:
    """Write objects `[boottime_us, bytes]` into a file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"".join(msgpack.packb([int(at_s * 1e6), data]) for at_s, data in what))


def _report(vehicle: str, passed_s: float) -> bytes:
    """Return a report of a vehicle that goes round in circles, and up and down."""
    turn = 2 * math.pi * passed_s / (300.0 if vehicle == "Lantern" else 420.0)
    told = {
        "latitude_deg": -38.6 + 8e-4 * math.sin(turn),
        "longitude_deg": -21.9 + 8e-4 * math.cos(turn),
        "depth_m": 40.0 + 15.0 * math.sin(turn / 3),
        "heading_deg": math.degrees(turn) % 360,
        "altitude_m": 4.0 + 2.0 * math.sin(turn * 2),
    }
    return json.dumps(told).encode() + b"\n"


def prepare(folder: Path, link: Wire, at: int, shore: ShoreProcess, delay_s: float, more: str = "") -> Voyage:
    """Return a voyage in a folder, over a link that is dialled at a port; nothing is started.

    `more`: further parts of the ship's file.
    """
    feeds = [free_port(socket.SOCK_DGRAM) for _ in VEHICLES]
    vehicles = "".join(
        VEHICLE.format(name=name, feed=name.lower(), port=port) for name, port in zip(VEHICLES, feeds, strict=True)
    )
    port, file = free_port(), folder / "site" / "EXPEDITION.toml"
    dialled = shore.for_the_ship.replace(f":{shore.uplink}", f":{at}")
    file.write_text(TEXT.format(port=port, vehicles=vehicles, delay=f"{delay_s:g}") + dialled + more)
    return Voyage(ShipProcess(file, port), shore, link, feeds)


@asynccontextmanager
async def voyage(folder: Path, delay_s: float) -> AsyncIterator[Voyage]:
    """Run ship, shore and link in a folder; both are stopped at the end."""
    shore = prepare_shore(folder / "shore", seed_of(folder / "site"), tls=False)
    async with wire(shore.uplink) as (link, at):
        here = prepare(folder, link, at, shore, delay_s)
        async with sailing(here):
            yield here


@asynccontextmanager
async def sailing(here: Voyage) -> AsyncIterator[None]:
    """Run a voyage's processes; both are stopped at the end."""
    try:
        await here.shore.start()
        await here.ship.start()
        yield
    finally:
        for process in (here.ship, here.shore):
            if process.process is not None:
                await process.stop()


def seed_of(aboard: Path) -> bytes:
    """Return the seed with which the ship in a folder signs; it is drawn if there is none yet."""
    key_of(aboard)
    return open_secrets(aboard / "private", None).signing_seed
