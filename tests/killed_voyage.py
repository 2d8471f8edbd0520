"""A ship and a shore under load that are killed and started again: two vehicles, followers at both, an operator.

Real processes on the loopback (`forked_relays.py`). The link between them passes through this process, so that one of
them can be killed at any octet of it. Everything that a station sent, a client got and the operator was told is noted,
as `left_behind.py` wants it.
"""

import asyncio
import contextlib
import random
import signal
import socket
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from itertools import product
from pathlib import Path

from carried_link import Link
from forked_relays import Relays, Running
from killed_people import Client, Station
from left_behind import DIALLED, LEFT, RECEIPTS, SENT, WRITTEN, Noted, boot_us, note
from relay.core.errors import OperatorError
from relay.core.seal import Signer
from relay.shell.desk.control import ask_control
from relay.shell.record.secrets_file import open_secrets
from shore_process import SHORE_TEXT, pin
from shores import with_certificates
from what_ran import DESK, SHIP, SHORE, Ran

EXPEDITION = """\
[expedition]
name = "The search for the Isoline Marr"
ship = "Harrow Tern"
[public]
listen = "127.0.0.1:{page}"
[dive]
begins = "report"
quiet_ends_after = "{quiet}"
[[vehicle]]
name = "Lantern"
[[vehicle]]
name = "Moth"
[[feed]]
name = "lantern"
format = "station-json"
from = "tcp-listen://127.0.0.1:{lantern}"
[[feed]]
name = "moth"
format = "station-json"
from = "udp://127.0.0.1:{moth}"
[[audience]]
name = "public"
open = true
delay = "1 s"
extra = "0 s"
tick = "1 s"
fields = ["track", "depth", "altitude", "heading", "leg", "notes"]
cell = "5 m"
depth_step = "2 m"
track_legs = ["deck", "descent", "bottom", "ascent"]
[[audience]]
name = "family"
open = true
delay = "2 s"
extra = "1 s"
tick = "1 s"
fields = ["depth", "leg"]
depth_step = "5 m"
[uplink]
to = "wss://127.0.0.1:{link}"
pin = "sha256:{pin}"
"""
AUDIENCES = ("public", "family")
EACH = 2  # clients of each audience at each end
QUIET_S = 3
LONGEST_END_S = 120.0


def quiet_port(kind: socket.SocketKind = socket.SOCK_STREAM) -> int:
    """Return a free port that no connection of anybody is given by chance (ip_local_port_range begins at 32768)."""
    while True:
        with socket.socket(socket.AF_INET, kind) as probe, contextlib.suppress(OSError):
            probe.bind(("127.0.0.1", random.randrange(20_000, 32_000)))
            port: int = probe.getsockname()[1]
            return port


@dataclass
class Voyage:
    """All of it."""

    folder: Path
    relays: Relays
    ports: dict[str, int]
    link: Link
    stations: tuple[Station, ...]
    clients: dict[str, Client] = field(default_factory=dict)
    ship: Running | None = None
    shore: Running | None = None
    said: list[Noted] = field(default_factory=list)
    tries: int = 0
    dialled: set[str] = field(default_factory=set)
    jobs: list["asyncio.Task[None]"] = field(default_factory=list)
    gone: dict[str, list[Noted]] = field(default_factory=dict)

    @property
    def private(self) -> Path:
        return self.folder / "site" / "private"

    def start_ship(self) -> None:
        """Start the ship's relay, without waiting."""
        self.ship = self.relays.start("ship", "ship", str(self.folder / "site" / "EXPEDITION.toml"))
        self.stations[1].lives.append([])

    def start_shore(self) -> None:
        """Start the shore's, without waiting."""
        self.shore = self.relays.start("shore", "shore", str(self.folder / "shore" / "SHORE.toml"))

    def come(self, name: str, where: str, audience: str, dive: int = 1) -> None:
        """Let a client come; one of that name that there is leaves."""
        client = Client(self.ports[where], audience, dive)
        self.clients[name] = client
        job = asyncio.ensure_future(client.follow())
        job.set_name(name)
        self.jobs.append(job)

    async def leave(self, name: str) -> None:
        """Let a client leave, with what it has."""
        job = next(job for job in self.jobs if job.get_name() == name)
        self.jobs.remove(job)
        job.cancel()
        await asyncio.gather(job, return_exceptions=True)
        self.gone[name] = self.clients.pop(name).noted

    async def say(self) -> bool:
        """Let the operator say something new; return whether it was answered that it is taken."""
        self.tries += 1
        text, at_us = f"said {self.tries:05d}", boot_us()
        try:
            answer = await ask_control(self.private, {"do": "say", "text": text, "who": "a test"})
        except OperatorError:
            return False
        if "but" in answer:  # that it isn't on the disk yet
            return False
        self.said.append((at_us, text.encode()))
        return True

    def look_at_shore(self) -> None:
        """Note to whom the shore has connections that it made itself."""
        if self.shore is not None:
            own = {self.ports[name] for name in ("shore", "uplink", "watch")}
            self.dialled |= dialled_by(self.shore.number, own)

    def write(self, journalled: Callable[[str], bytes]) -> None:
        """Write down what there was, for the rules to be looked at."""
        for station in self.stations:
            source = station.vehicle.lower()
            note(self.folder / SENT / f"{source}.msgpack", station.accepted(journalled(source)))
        note(self.folder / SENT / "desk.msgpack", self.said)
        for name, noted in {**self.gone, **{name: client.noted for name, client in self.clients.items()}}.items():
            note(self.folder / RECEIPTS / f"{name}.msgpack", noted)
        (self.folder / WRITTEN).write_bytes(b"".join(bytes(station.came) for station in self.stations))
        (self.folder / DIALLED).write_text("".join(f"{line}\n" for line in sorted(self.dialled)))
        sources = (*(station.vehicle.lower() for station in self.stations), DESK)
        Ran((*self.gone, *self.clients), sources, (SHIP, SHORE)).write(self.folder)

    async def end(self) -> None:
        """End everything: the processes as an operator would."""
        for job in self.jobs:
            job.cancel()
        await asyncio.gather(*self.jobs, return_exceptions=True)
        for process in (self.ship, self.shore):
            if process is not None and process.lives:
                process.kill(signal.SIGTERM)
                async with asyncio.timeout(LONGEST_END_S):
                    await process.ended()
        await self.link.close()


def dialled_by(process: int, own: set[int]) -> set[str]:
    """Return the addresses to which a process has TCP connections from other ports than its own (proc(5))."""
    with contextlib.suppress(OSError):
        sockets = set(_sockets(process))
        lines = Path(f"/proc/{process}/net/tcp").read_text().splitlines()[1:]
        rows = [line.split() for line in lines]
        return {
            _address(row[2]) for row in rows
            if row[9] in sockets and not row[2].endswith(":0000") and int(row[1].rpartition(":")[2], 16) not in own
        }  # fmt: skip
    return set()


def _sockets(process: int) -> Iterator[str]:
    """Yield the inodes of a process's sockets."""
    for path in Path(f"/proc/{process}/fd").iterdir():
        with contextlib.suppress(OSError):  # it is closed by now
            name = path.readlink().name
            if name.startswith("socket:["):
                yield name[8:-1]


def _address(text: str) -> str:
    host, _, port = text.partition(":")
    return f"{socket.inet_ntoa(bytes.fromhex(host)[::-1])}:{int(port, 16)}"


@asynccontextmanager
async def voyage(folder: Path, seed: int) -> AsyncIterator[Voyage]:
    """Yield a voyage whose processes aren't started, with everybody else there; whatever happens, none is left."""
    kinds = {"moth": socket.SOCK_DGRAM}
    names = ("page", "lantern", "moth", "link", "shore", "uplink", "watch")
    ports = {name: quiet_port(kinds.get(name, socket.SOCK_STREAM)) for name in names}
    _prepare(folder, ports)
    relays = Relays(folder / "said")
    stations = (Station("Lantern", seed), Station("Moth", seed + 1))
    here = Voyage(folder, relays, ports, Link(ports["link"], ports["uplink"]), stations)
    try:
        await here.link.open()
        here.jobs += [
            asyncio.ensure_future(stations[0].over_tcp(ports["lantern"])),
            asyncio.ensure_future(stations[1].over_udp(ports["moth"])),
        ]
        for number, audience in product(range(1, EACH + 1), AUDIENCES):
            here.come(f"follower-{number}-{audience}", "page", audience)
            here.come(f"shore-{number}-{audience}", "shore", audience)
        yield here
    finally:
        try:
            await here.end()
        finally:
            relays.end()


def _prepare(folder: Path, ports: dict[str, int]) -> None:
    site = folder / "site"
    (site / "private").mkdir(mode=0o700, parents=True)
    (site / "EXPEDITION.toml").write_text(EXPEDITION.format(pin=pin(), quiet=f"{QUIET_S} s", **ports))
    shore = with_certificates(folder / "shore", "uplink")
    key = Signer(open_secrets(site / "private", None).signing_seed).key.hex()
    named = {"site": ports["shore"], "uplink": ports["uplink"], "watch": ports["watch"]}
    text = SHORE_TEXT.format(key=key, open=", ".join(f'"{name}"' for name in AUDIENCES), tls="", **named)
    (shore / "SHORE.toml").write_text(text)


def newcomer(end: str, number: int) -> str:
    """Return the name of a client that comes for a while."""
    return f"{end}{LEFT}{number:03d}"
