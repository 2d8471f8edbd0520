"""What is attacked: a ship's relay with its desk and a shore's, real processes; followers who must not notice.

The attackers, the followers and the crew come from different addresses of the loopback (RFC 1122 section 3.2.1.3: all
of 127/8), as they would from different machines.
"""

import asyncio
import contextlib
import json
import socket
from collections.abc import AsyncIterator, Awaitable, Callable
from dataclasses import dataclass, field
from itertools import count, pairwise
from pathlib import Path
from time import monotonic
from types import SimpleNamespace
from typing import Any

import msgpack
import websockets

from peers import RawPeer, answers, request, until
from relay.core.secrets import Secrets
from ship_process import AUDIENCE_TEXT, EXPEDITION_TEXT, ShipProcess, free_port
from shore_process import ShoreProcess, prepare_shore

KEY = bytes(range(32))
PLACE = (-38.61472, -21.93306)  # invented, far from any coast
CREW, CROWD = "127.0.1.1", "127.0.2.{}"
SAY = b'{"do": "say", "text": "The crew decides.", "who": "Ines"}'
DONE, STATE = b'"ok": true', b"now_us"  # what an answer of the desk has where it decided, or told its state
PATIENCE_S, MORE_RECORDS = 60.0, 3
GUESTS = '\n[[audience]]\nname = "funders"\ninvited = true\ndelay = "1 s"\nextra = "0 s"\ntick = "1 s"\n'
GUESTS += 'fields = ["depth", "notes"]\ndepth_step = "1 m"\n'
BRIDGE = '[[feed]]\nname = "bridge"\nformat = "station-json"\nfrom = "ws-listen://127.0.0.1:{}"\nvehicle = "Lantern"\n'


@dataclass(frozen=True)
class Port:
    """Where something listens, as `peers` and `desk_peers` take it."""

    name: str
    address: tuple[str, int]


@dataclass
class Watching:
    """Follows the public audience from an address of its own, and notes when each record came."""

    port: Port
    source: str
    frames: list[bytes] = field(default_factory=list)
    came_s: list[float] = field(default_factory=list)
    dials: int = 0

    async def follow(self) -> None:
        """Follow until cancelled, dialling again if it must."""
        while True:
            with contextlib.suppress(OSError, websockets.WebSocketException):
                await self._once()
            await asyncio.sleep(0.05)

    async def _once(self) -> None:
        dive, after = (1, -1) if not self.frames else msgpack.unpackb(self.frames[-1])[:2]
        host, port = self.port.address
        url = f"ws://{host}:{port}/live?audience=public&dive={dive}&after={after}"
        async with websockets.connect(url, local_addr=(self.source, 0), open_timeout=PATIENCE_S) as line:
            self.dials += 1
            async for frame in line:
                assert isinstance(frame, bytes)
                self.frames.append(frame)
                self.came_s.append(monotonic())

    def gaps_s(self, begun: int) -> float:
        """Return the longest time between two records from the one of this number on, seconds."""
        came = self.came_s[max(0, begun - 1) :]
        return max((b - a for a, b in pairwise(came)), default=0.0)


class World:
    """A ship, a shore, a station, a follower at each. `token`: the desk's; `guest`: a guest's of the ship's page.

    `bridge`: a second feed, for stations that speak by websocket, which nobody rightly dials. `spoken`: how many
    messages the station has sent so far.
    """

    def __init__(self, folder: Path, prefix: tuple[str, ...] = ()) -> None:
        self.folder = folder
        self.shore = self._prepared_shore()
        self.feed, page, desk = free_port(), free_port(), free_port()
        self.bridge, self.spoken = Port("the feed by websocket", ("127.0.0.1", free_port())), 0
        self.expedition = folder / "aboard" / "EXPEDITION.toml"
        self.expedition.write_text(self._text(page, desk))
        self.ship = ShipProcess(self.expedition, page, prefix=prefix)
        self.page, self.desk = Port("the ship's page", ("127.0.0.1", page)), Port("the desk", ("127.0.0.1", desk))
        self.ashore = Port("the shore's page", ("127.0.0.1", self.shore.site))
        self.watch = Port("the shore's watch", ("127.0.0.1", self.shore.watch))
        self.uplink = Port("the shore's uplink", ("127.0.0.1", self.shore.uplink))
        self.followers = [Watching(self.page, "127.0.3.1"), Watching(self.ashore, "127.0.3.2")]
        self.token = self.guest = ""
        self._jobs: list[asyncio.Future[None]] = []

    def _prepared_shore(self) -> ShoreProcess:
        shore = prepare_shore(self.folder / "ashore", Secrets(KEY).signing_seed, tls=False)
        private = self.folder / "aboard" / "private"
        private.mkdir(parents=True, mode=0o700)
        (private / "secrets.json").touch(mode=0o600)
        (private / "secrets.json").write_text(json.dumps({"key": KEY.hex()}))
        return shore

    def _text(self, page: int, desk: int) -> str:
        values = {"port": page, "format": "station-json", "source": f"tcp-listen://127.0.0.1:{self.feed}"}
        audience = AUDIENCE_TEXT.format(delay="1 s", said='"notes", "stills"')
        link = self.shore.for_the_ship + 'audiences = ["public"]\n'
        desk_part = f'[desk]\nlisten = "127.0.0.1:{desk}"\n'
        feeds = EXPEDITION_TEXT.format(quiet="10 min", **values) + BRIDGE.format(self.bridge.address[1])
        return feeds + desk_part + link + audience + GUESTS

    async def start(self) -> None:
        """Start everything; returns when both followers have a record and a guest is invited."""
        await asyncio.gather(self.shore.start(), self.ship.start())
        self.token = (self.expedition.parent / "private" / "desk.token").read_text().strip()
        work: list[Callable[[], Awaitable[None]]] = [self._talk, *(one.follow for one in self.followers)]
        self._jobs = [asyncio.ensure_future(each()) for each in work]
        await self.reached(1)
        told = await self.decide({"do": "invite", "audience": "funders", "name": "Ada at the fund"})
        self.guest = told["link"].partition("#guest=")[2].partition("&")[0]

    async def close(self) -> None:
        """Stop what was started, by its own ids."""
        for job in self._jobs:
            job.cancel()
        await asyncio.gather(*self._jobs, return_exceptions=True)
        for process in (self.ship, self.shore):
            if process.process is not None and process.process.returncode is None:
                await process.stop()

    async def _talk(self) -> None:
        for number in count():
            with contextlib.suppress(OSError):
                _, line = await asyncio.open_connection("127.0.0.1", self.feed, local_addr=(CREW, 0))
                with contextlib.closing(line):
                    for turn in count(number * 1_000):
                        place = {"latitude_deg": PLACE[0] + (turn % 50) * 1e-5, "longitude_deg": PLACE[1]}
                        report = {"vehicle": "Lantern", **place, "depth_m": 30.0 + turn % 20}
                        self.spoken += 1
                        line.write(json.dumps(report).encode() + b"\n")
                        await line.drain()
                        await asyncio.sleep(0.25)
            await asyncio.sleep(0.05)

    async def reached(self, more: int) -> None:
        """Return when each follower has so many records more than now."""
        wanted = [len(one.frames) + more for one in self.followers]
        async with asyncio.timeout(PATIENCE_S):
            await until(lambda: all(len(one.frames) >= due for one, due in zip(self.followers, wanted, strict=True)))

    async def undisturbed(self) -> str:
        """Return how followers and crew fared, asked while an attack goes on: AssertionError where they starved."""
        begun, dials = [len(one.frames) for one in self.followers], [one.dials for one in self.followers]
        try:
            await self.reached(MORE_RECORDS)
            asked_s = monotonic()
            async with asyncio.timeout(PATIENCE_S):
                assert (await self.ask("/state"))["expedition"]
        except TimeoutError:
            raise AssertionError("followers or the desk got nothing any more") from None
        assert dials == [one.dials for one in self.followers], "a follower was cut off"
        self.in_order()
        gap_s = max(one.gaps_s(at) for one, at in zip(self.followers, begun, strict=True))
        return f"records go on, {gap_s:.1f} s apart at most; the desk answers in {monotonic() - asked_s:.1f} s"

    def in_order(self) -> None:
        """Fail unless each follower has every record once and in order, and both the same."""
        for one in self.followers:
            assert [msgpack.unpackb(frame)[1] for frame in one.frames] == list(range(len(one.frames)))
        first, second = (one.frames for one in self.followers)
        least = min(len(first), len(second))
        assert first[:least] == second[:least]

    async def ask(self, path: str, message: dict[str, Any] | None = None, *fields: str) -> dict[str, Any]:
        """Ask the desk as the crew does, from an address of their own."""
        body = b"" if message is None else json.dumps(message).encode()
        told = [f"Authorization: Bearer {self.token}", *fields]
        said = await exchanged(self.desk, self.to_desk(path, body, *told), CREW)
        found: dict[str, Any] = json.loads(answers(said, "POST" if body else "GET")[0].body)
        return found

    async def decide(self, message: dict[str, Any]) -> dict[str, Any]:
        """Let the crew decide something; AssertionError if it isn't taken."""
        told = await self.ask("/decide", {**message, "who": "Ines"})
        assert told["ok"], told
        return told

    def to_desk(self, path: str, body: bytes, *fields: str, host: str | None = None) -> bytes:
        """Return a request to the desk, with these fields and no token but in them."""
        usual = ["Content-Type: application/json", f"Content-Length: {len(body)}"] if body else []
        named = "{}:{}".format(*self.desk.address) if host is None else host
        whole = request(path, "POST" if body else "GET", *usual, *fields)
        return whole.replace(b"relay.example", named.encode(), 1) + body

    async def decides(self) -> None:
        """Let the crew say something: AssertionError unless that shows in what attacks on the desk are judged by."""
        before, told = await self.taken(), f"Authorization: Bearer {self.token}"
        said = await exchanged(self.desk, self.to_desk("/decide", SAY, told), CREW)
        assert DONE in said and await self.taken() > before, "what the crew decides isn't seen"
        assert STATE in await exchanged(self.desk, self.to_desk("/state", b"", told), CREW), (
            "the desk's state isn't seen"
        )

    async def taken(self) -> int:
        """Return the journal's row of the newest decision that the crew, or whoever passed for them, has taken."""
        decisions = (await self.ask("/state"))["decisions"]
        return int(decisions[0]["row"]) if decisions else 0

    @property
    def as_ship(self) -> Any:
        """What `test_desk_apart.smuggled` takes: a ship whose desk has an address and a token."""
        url = "http://{}:{}/#{}".format(*self.desk.address, self.token)
        return SimpleNamespace(desk=SimpleNamespace(server=SimpleNamespace(url=url, address=self.desk.address)))


@contextlib.asynccontextmanager
async def world(folder: Path, prefix: tuple[str, ...] = ()) -> AsyncIterator[World]:
    """Run what is attacked; `prefix`: what the ship's command is run by."""
    one = World(folder, prefix)
    try:
        await one.start()
        yield one
    finally:
        await one.close()


async def dialled(port: Port, source: str, sending: bytes = b"", receive_octets: int | None = None) -> RawPeer:
    """Return a raw peer that comes from an address of the loopback."""
    line = socket.socket()
    line.setblocking(False)
    if receive_octets is not None:
        line.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_octets)
    try:
        line.bind((source, 0))
        await asyncio.get_running_loop().sock_connect(line, port.address)
    except BaseException:
        line.close()
        raise
    peer = RawPeer(line)
    with contextlib.suppress(ConnectionError):
        await peer.send(sending)
    return peer


async def exchanged(port: Port, sending: bytes, source: str = "127.0.0.1") -> bytes:
    """Return all that is answered until the connection ends; AssertionError if it never does."""
    try:
        async with asyncio.timeout(PATIENCE_S):
            return await (await dialled(port, source, sending)).rest()
    except TimeoutError:
        raise AssertionError(f"{port.name} never ended a connection") from None


def status_of(said: bytes) -> str:
    """Return the status of an answer in words, "nothing" where there is none."""
    line = said.partition(b"\r\n")[0].decode("latin-1")
    return line.partition(" ")[2] or "nothing"
