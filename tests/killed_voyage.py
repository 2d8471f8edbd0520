"""A ship and a shore under load that are killed and started again: two vehicles, followers at both, an operator.

Real processes on the loopback (`forked_relays.py`). The link between them passes through this process, so that one of
them can be killed at any octet of it. Everything that a station sent, a client got and the operator was told is noted,
as `left_behind.py` wants it.
"""

import asyncio
import contextlib
import json
import random
import signal
import socket
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from functools import partial
from itertools import product
from pathlib import Path

from dives import INVENTED_SITE, walk
from forked_relays import Relays, Running
from left_behind import DIALLED, LEFT, RECEIPTS, SENT, WRITTEN, Noted, boot_us, note
from relay.core.errors import OperatorError
from relay.core.seal import Signer
from relay.shell.desk.control import ask_control
from relay.shell.record.secrets_file import open_secrets
from scale_followers import AT_ONCE, Follower
from shore_process import SHORE_TEXT, pin
from shores import with_certificates
from translation import WGS84

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
A_SECOND = 20
EACH = 2  # clients of each audience at each end
QUIET_S = 3


def quiet_port(kind: socket.SocketKind = socket.SOCK_STREAM) -> int:
    """Return a free port that no connection of anybody is given by chance (ip_local_port_range begins at 32768)."""
    while True:
        with socket.socket(socket.AF_INET, kind) as probe, contextlib.suppress(OSError):
            probe.bind(("127.0.0.1", random.randrange(20_000, 32_000)))
            port: int = probe.getsockname()[1]
            return port


class Client(Follower):
    """A follower that notes when each record came, and doesn't hurry back where nobody is."""

    def __init__(self, port: int, audience: str, dive: int = 1) -> None:
        super().__init__([f"127.0.0.1:{port}"], 0, audience)
        self.dive = dive
        self.noted: list[Noted] = []

    def _take(self, data: bytes, way: str) -> None:
        self.noted.append((boot_us(), data))
        super()._take(data, way)

    async def follow(self) -> None:
        """Follow until cancelled."""
        while True:
            with contextlib.suppress(*AT_ONCE):
                if await self._visit(self._addresses[0]):
                    continue
            self.seen["came again"] += 1
            await asyncio.sleep(0.1)

    @property
    def between_dives(self) -> bool:
        """Whether the dive that it followed last is over."""
        return self._ended


class Station:
    """Reports of one vehicle, twenty a second, while it may talk; notes what it sent in each life and what came."""

    def __init__(self, vehicle: str, seed: int) -> None:
        self.vehicle = vehicle
        self.lives: list[list[Noted]] = [[]]
        self.came = bytearray()
        self.talks = asyncio.Event()
        self._steps, self._number = walk(400, seed), 0

    def _next(self) -> bytes:
        self._number += 1
        step = self._steps[self._number % len(self._steps)]
        there = WGS84.ArcDirect(*INVENTED_SITE, step["heading"], 1e-6 * (5 + self._number % 90))
        told: dict[str, object] = {
            "t": 1_000.0 + self._number, "vehicle": self.vehicle, "latitude_deg": there["lat2"],
            "longitude_deg": there["lon2"], "depth_m": step["depth"], "altitude_m": step["altitude"],
            "heading_deg": step["heading"],
        }  # fmt: skip
        if self._number % 7 == 3:
            told["note"] = f"{self.vehicle} n{self._number}"
        return json.dumps(told).encode() + b"\n"

    async def _send(self, put: Callable[[bytes], object]) -> None:
        """Send until it can't."""
        while True:
            await self.talks.wait()
            data = self._next()
            at_us = boot_us()
            put(data)
            self.lives[-1].append((at_us, data))
            await asyncio.sleep(1 / A_SECOND)

    async def over_tcp(self, port: int) -> None:
        """Send over connections, each of which is a life of the relay or a part of one."""
        while True:
            with contextlib.suppress(OSError):
                reader, writer = await asyncio.open_connection("127.0.0.1", port)
                self.lives.append([])
                sending = asyncio.ensure_future(self._send(writer.write))
                try:
                    while data := await reader.read(4_096):
                        self.came += data
                finally:
                    sending.cancel()
                    writer.close()
            await asyncio.sleep(0.05)

    async def over_udp(self, port: int) -> None:
        """Send datagrams, whoever is there."""
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
            line.setblocking(False)
            line.connect(("127.0.0.1", port))
            await self._send(partial(self._datagram, line))

    def _datagram(self, line: socket.socket, data: bytes) -> None:
        with contextlib.suppress(OSError):
            self.came += line.recv(4_096)
        with contextlib.suppress(OSError):  # told of a datagram that nobody took
            line.send(data)

    def accepted(self, journalled: bytes) -> list[Noted]:
        """Return what must be in a journal whose bytes of this feed these are.

        In each life that is from the first that is there to the last: what a kill takes is only what came last.
        """
        out: list[Noted] = []
        for life in self.lives:
            there = [at for at, (_, data) in enumerate(life) if data in journalled]
            out += life[there[0] : there[-1] + 1] if there else []
        return out


class Link:
    """Carries the link between ship and shore, until it is to do something at an octet of it."""

    def __init__(self, port: int, to: int) -> None:
        self._port, self._to = port, to
        self._at: tuple[str, int, Callable[[], None]] | None = None
        self._server: asyncio.Server | None = None
        self._carrying: set[asyncio.Task[None]] = set()
        self.octets = 0

    async def open(self) -> None:
        """Wait for the ship."""
        self._server = await asyncio.start_server(self._accept, "127.0.0.1", self._port)

    async def close(self) -> None:
        """End it, and what it carries."""
        if self._server is not None:
            self._server.close()
        for task in self._carrying:
            task.cancel()
        await asyncio.gather(*self._carrying, return_exceptions=True)

    def at(self, way: str, octets: int, act: Callable[[], None]) -> None:
        """Carry so many octets more of `way` ("out": from the ship), then act, and carry no further."""
        self._at = way, octets, act

    def cut(self) -> None:
        """End what is carried now, so that the ship dials again."""
        for task in self._carrying:
            task.cancel()

    def _accept(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.ensure_future(self._carry(reader, writer))
        self._carrying.add(task)
        task.add_done_callback(self._carrying.discard)

    async def _carry(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.closing(writer), contextlib.suppress(OSError):
            there, back = await asyncio.open_connection("127.0.0.1", self._to)
            with contextlib.closing(back):
                ways = [
                    asyncio.ensure_future(self._pump(*way)) for way in (("out", reader, back), ("in", there, writer))
                ]
                try:
                    await asyncio.wait(ways, return_when=asyncio.FIRST_COMPLETED)
                finally:
                    for way in ways:
                        way.cancel()
                    await asyncio.gather(*ways, return_exceptions=True)

    async def _pump(self, way: str, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while data := await reader.read(65_536):
            self.octets += len(data)
            if self._at is not None and self._at[0] == way:
                _, octets, act = self._at
                if len(data) >= octets:
                    writer.write(data[:octets])
                    self._at = None
                    act()
                    return
                self._at = way, octets - len(data), act
            writer.write(data)
            await writer.drain()


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

    async def end(self) -> None:
        """End everything: the processes as an operator would."""
        for job in self.jobs:
            job.cancel()
        await asyncio.gather(*self.jobs, return_exceptions=True)
        for process in (self.ship, self.shore):
            if process is not None and process.lives:
                process.kill(signal.SIGTERM)
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
        await here.end()
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
