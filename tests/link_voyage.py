"""A ship and a shore with failing wires on every side: between them, before followers of both, before the stations.

Everything is a process or a socket of its own on the loopback; the relays are the real ones, with short deadlines.
"""

import asyncio
import random
import socket
import ssl
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path

from certificates import self_signed
from faulty_wire import DOWN, UP, Wire, passed
from impostors import endless_head, mail, no_websocket, nobody, noise, over_tls, torrent
from left_behind import DIALLED, RECEIPTS, SENT, WRITTEN, note
from link_campaigns import OF_STREAMS, Campaign
from link_programs import AUDIENCES, Program, prepare_ship, prepare_shore
from link_stations import Lark, Streams
from relay.core.wire import read_recording
from ship_process import free_port
from shores import with_certificates
from what_ran import SHIP, SHORE, Ran
from wire_followers import WireFollower

BEHIND = {"ship": 3, "shore": 4}  # followers behind a wire, of each site
PLAIN = (mail, nobody, noise, endless_head)


@dataclass
class Held:
    """What a relay's process held when: seconds of the run, open files, octets of memory."""

    at_s: list[float] = field(default_factory=list)
    handles: list[int] = field(default_factory=list)
    octets: list[int] = field(default_factory=list)


class Voyage:
    """Everything of one run. `begin`, then campaigns, then `finish`, then what came of it is looked at."""

    def __init__(self, folder: Path, seed: int, per_s: float) -> None:
        self.folder, self._seed, self._step_s = folder, seed, 1 / per_s
        self.ship_folder, self.shore_folder = folder / "site", folder / "shore"
        self.lark_port, self._wren_port, self._shore_port = (
            free_port(socket.SOCK_DGRAM),
            free_port(),
            free_port(),
        )
        self.sites = {"ship": free_port(), "shore": free_port()}
        self.lark, self.streams = Lark(self.lark_port), Streams(per_s / 2)
        self.wires: dict[str, Wire] = {}
        self.followers: dict[str, WireFollower] = {}
        self.programs: dict[str, Program] = {}
        self.held = {name: Held() for name in self.sites}
        self.idle: dict[str, int] = {}
        self._jobs: list[asyncio.Task[None]] = []
        self._following: list[asyncio.Task[None]] = []
        self.gone: list[str] = []
        self._dialled: set[str] = set()
        self.key = b""
        self.tls: ssl.SSLContext | None = None

    async def begin(self) -> None:
        """Start wires, programs, stations and followers, and wait until what is released is ashore."""
        (self.folder / "said").mkdir()
        shore = with_certificates(self.shore_folder, "uplink", "site")
        answers = (
            *PLAIN,
            over_tls(*self_signed(self.folder, "other"), no_websocket),
            over_tls(shore / "uplink.pem", shore / "uplink.key", no_websocket),
            over_tls(shore / "uplink.pem", shore / "uplink.key", torrent),
        )
        link = await self._wire("link", self._shore_port, answers=answers)
        wren = await self._wire("wren", self._wren_port, keep=UP, tells=UP)
        rook = await self._wire("rook", await self.streams.listen(), keep=DOWN, tells=DOWN)
        file, self.key = prepare_ship(
            self.ship_folder, site=self.sites["ship"], lark=self.lark_port, wren=self._wren_port, rook=rook, link=link
        )
        shore_file = prepare_shore(self.shore_folder, self.key, site=self.sites["shore"], uplink=self._shore_port)
        self.tls = ssl.create_default_context(cafile=str(shore / "site.pem"))
        for kind, path in (("ship", file), ("shore", shore_file)):
            self.programs[kind] = Program(kind, path, self.sites[kind], self.folder / "said" / f"{kind}.log")
        await asyncio.gather(*(program.start() for program in self.programs.values()))
        await self._until(lambda: is_bound(self.lark_port))
        self._jobs += [asyncio.ensure_future(self._report()), asyncio.ensure_future(self.streams.dial(wren))]
        await self._until(lambda: self.told("shore", "public") > 0)
        self.idle = {kind: program.handles() for kind, program in self.programs.items()}
        await self._follow()
        self._jobs.append(asyncio.ensure_future(self._measure()))

    async def _wire(self, name: str, port: int, **options: object) -> int:
        chance = random.Random(f"{self._seed} wire {name}")
        self.wires[name] = Wire(("127.0.0.1", port), chance, **options)  # type: ignore[arg-type]
        return await self.wires[name].start()

    async def _follow(self) -> None:
        """Let followers come: one without a wire at each site, and some behind wires."""
        for site, port in self.sites.items():
            tls = self.tls if site == "shore" else None
            self._come(f"{site} direct", WireFollower(f"127.0.0.1:{port}", self.key, tls))
            for number in range(BEHIND[site]):
                name = f"{site} {number}"
                at = await self._wire(name, port, answers=PLAIN)
                wire = self.wires[name]
                altered = (lambda wire=wire: wire.altered) if tls is None else (lambda: 0)  # type: ignore[misc]
                self._come(name, WireFollower(f"127.0.0.1:{at}", self.key, tls, altered))

    def _come(self, name: str, follower: WireFollower) -> None:
        self.followers[name] = follower
        self._following.append(asyncio.ensure_future(follower.follow()))

    async def _report(self) -> None:
        while True:
            self.lark.report()
            await passed(self._step_s)

    async def _measure(self) -> None:
        loop = asyncio.get_running_loop()
        while True:
            for name, held in self.held.items():
                held.at_s.append(loop.time())
                held.handles.append(self.programs[name].handles())
                held.octets.append(self.programs[name].resident_octets())
            self._dialled |= self.programs["shore"].dialled({self.sites["shore"], self._shore_port})
            await passed(1.0)

    def campaigns(self) -> list[Campaign]:
        """Return what is done to each wire."""
        shore, ship = self.wires["link"], self.wires
        out = [
            Campaign("link", shore, 0.2, {UP: 2_500, DOWN: 1_500}, tls=True),
            Campaign("wren", ship["wren"], 0.08, {UP: 2_000}, OF_STREAMS),
            Campaign("rook", ship["rook"], 0.08, {DOWN: 2_000}, OF_STREAMS),
        ]
        for site, secured in (("ship", False), ("shore", True)):
            most = {UP: 1_000 if secured else 250, DOWN: 6_000}
            out += [
                Campaign(name, wire, 0.08, most, fresh=frozenset({UP}), tls=secured, plain_repeats=secured)
                for name, wire in self.wires.items()
                if name.startswith(f"{site} ")
            ]
        return out

    def recordings(self, end: str, audience: str) -> list[Path]:
        """Return a relay's recordings of an audience, in order."""
        folder = self.ship_folder / "released" if end == "ship" else self.shore_folder / "shore"
        return sorted((folder / audience).glob("dive-*.recording"))

    def told(self, end: str, audience: str) -> int:
        """Return how many octets a relay has recorded of an audience."""
        return sum(path.stat().st_size for path in self.recordings(end, audience))

    async def whole(self) -> None:
        """Return when the shore has whatever the ship has released by now."""
        released = {audience: self.told("ship", audience) for audience in AUDIENCES}
        await self._until(lambda: all(self.told("shore", name) >= most for name, most in released.items()))

    async def finish(self) -> None:
        """Let the stations fall silent and wait until the dive has ended for everybody; TimeoutError if it doesn't."""
        for job in self._jobs[:2]:
            job.cancel()
        await self.streams.close()
        await self._until(self._is_over)

    def _is_over(self) -> bool:
        for audience in AUDIENCES:
            path = self.recordings("ship", audience)[-1]
            if not read_recording(path.read_bytes()).closed or self.told("shore", audience) < self.told(
                "ship", audience
            ):
                return False
        count = len(self.released())
        return all(len(one.held) >= count for one in self.followers.values())

    def released(self) -> list[bytes]:
        """Return the records of the public in the ship's recordings, in order."""
        return [
            record.data
            for path in self.recordings("ship", "public")
            for record in read_recording(path.read_bytes()).records
        ]

    async def _until(self, condition: object, within_s: float = 60.0) -> None:
        async with asyncio.timeout(within_s):
            while not condition():  # type: ignore[operator]
                await passed(0.02)

    async def left(self) -> dict[str, int]:
        """Let everybody go; return how many files each relay has open then, beyond idle."""
        for job in [*self._following, *self._jobs]:
            job.cancel()
        await asyncio.gather(*self._following, *self._jobs, return_exceptions=True)
        beyond: dict[str, int] = {}

        def is_idle() -> bool:
            beyond.update({name: self.programs[name].handles() - self.idle[name] for name in self.programs})
            return all(count <= 0 for count in beyond.values()) and not self._unnoticed()

        try:
            await self._until(is_idle, 30.0)
        except TimeoutError:
            beyond["half-open ends of them"] = self._unnoticed()
        return beyond

    def _unnoticed(self) -> int:
        """Return how many half-open connections a relay still keeps; a feed may, until its next station speaks."""
        return sum(len(wire.silent) for name, wire in self.wires.items() if name != "wren")

    async def close_programs(self) -> None:
        """End the relays, in order; note first which had gone by themselves."""
        self.gone += [name for name, program in self.programs.items() if not program.runs and name not in self.gone]
        await asyncio.gather(*(program.end() for program in self.programs.values()))

    async def close(self) -> None:
        """End everything, in order."""
        for job in [*self._jobs, *self._following]:
            job.cancel()
        await asyncio.gather(*self._jobs, *self._following, return_exceptions=True)
        await self.streams.close()
        await self.close_programs()
        await asyncio.gather(*(wire.close() for wire in self.wires.values()))
        self.lark.close()

    def keep_receipts(self) -> None:
        """Lay down what stations sent and followers got, for `invariants.check`."""
        written = bytes(self.wires["wren"].written + self.wires["rook"].written + self.streams.heard)
        (self.folder / WRITTEN).write_bytes(written)
        (self.folder / DIALLED).write_text("".join(f"{line}\n" for line in sorted(self._dialled)))
        note(self.folder / SENT / "lark.msgpack", self.lark.sent)
        clients = []
        for name, follower in self.followers.items():
            kind = "follower" if name.startswith("ship") else "shore"
            clients.append(f"{kind}-{name.replace(' ', '-')}")
            note(self.folder / RECEIPTS / f"{clients[-1]}.msgpack", zip(follower.came_us, follower.held, strict=True))
        Ran(tuple(clients), ("lark",), (SHIP, SHORE), elsewhere=("wren", "rook")).write(self.folder)


def is_bound(port: int) -> bool:
    """Whether somebody listens for datagrams at a port (proc(5): local addresses in hexadecimal)."""
    lines = Path("/proc/net/udp").read_text().splitlines()[1:]
    return any(int(line.split()[1].rpartition(":")[2], 16) == port for line in lines)


@asynccontextmanager
async def voyage(folder: Path, seed: int, per_s: float) -> AsyncIterator[Voyage]:
    """Yield a voyage under way; whatever happens, no process of it is left."""
    here = Voyage(folder, seed, per_s)
    async with AsyncExitStack() as ends:
        ends.push_async_callback(here.close)
        await here.begin()
        yield here
