"""A ship's relay under way with canaries in everything it is told, and a public that asks it every odd thing."""

import asyncio
import json
import os
import socket
import sys
from asyncio.subprocess import PIPE
from collections.abc import Iterator
from dataclasses import dataclass, field
from importlib import import_module
from itertools import chain, repeat, takewhile
from pathlib import Path
from typing import Any

import msgpack
import websockets
from geographiclib.geodesic import Geodesic

from canary_photo import photo
from canary_spellings import notations, whole_positions
from nmea_sentences import sentence
from relay.__main__ import main
from relay.core.errors import OperatorError
from relay.shell.demo.seabed import INVENTED_PLACE
from relay.shell.desk.control import ask_control
from ship_process import ShipProcess, free_port

TESTS = Path(__file__).resolve().parent
dialect: Any = import_module("pymavlink.dialects.v20.ardupilotmega")

PLACE = (INVENTED_PLACE.latitude_deg, INVENTED_PLACE.longitude_deg)
KEY = bytes((at * 37 + 11) % 256 for at in range(32))
FEED_HOST, STATION_HOST = "127.83.11.9", "127.44.9.3"
FEEDS = {"lark": socket.SOCK_DGRAM, "wren": socket.SOCK_STREAM, "rook": socket.SOCK_DGRAM, "finch": socket.SOCK_STREAM}
OPEN, CLOSED = ("public", "funders", "family"), "wardens"
PLAIN_NOTES = ("An anchor, upright in the silt.", "Visibility 4 m, current from the port side.")
STILL_WORDS = "The bell, as it was found."
VEHICLE_CLOCK = "084217.00"
BEAT_S = 0.25

EXPEDITION = """
[expedition]
name = "The search for the Isoline Marr"
ship = "Harrow Tern"
wreck = "Isoline Marr"
swath = "20 m"
[public]
listen = "127.0.0.1:{port}"
[dive]
begin_depth = "5 m"
quiet_ends_after = "2 s"
[area]
name = "the invented bank"
centre = [{area[0]}, {area[1]}]
radius = "3 km"
[text]
forbidden = ["Gannet Hollow"]
[[zone]]
name = "the kiln"
centre = [{kiln[0]}, {kiln[1]}]
radius = "30 m"
margin = "20 m"
[[zone]]
name = "the galley"
centre = [{galley[0]}, {galley[1]}]
radius = "20 m"
margin = "15 m"
action = "freeze"
[[vehicle]]
name = "Lantern"
[[vehicle]]
name = "Moth"
[[feed]]
name = "lark"
format = "nmea0183"
from = "udp://{host}:{lark}"
vehicle = "Lantern"
sounder = "altitude"
[[feed]]
name = "wren"
format = "station-json"
from = "tcp-listen://{host}:{wren}"
[[feed]]
name = "rook"
format = "mavlink"
from = "udp://{host}:{rook}"
vehicle = "Moth"
[[feed]]
name = "finch"
format = "station-msgpack"
from = "ws-listen://{host}:{finch}"
[[audience]]
name = "public"
open = true
delay = "1 s"
extra = "1 s"
tick = "1 s"
fields = ["track", "depth", "altitude", "heading", "pitch", "roll", "mode", "leg", "notes", "stills"]
descent_step = "10 m"
depth_step = "50 m"
track_start = "30 m"
track_start_after = "1 s"
radius = "400 m"
[[audience]]
name = "funders"
open = true
delay = "1 s"
extra = "0 s"
tick = "1 s"
fields = ["track", "depth", "heading", "leg", "notes"]
cell = "10 m"
depth = "relative"
track_legs = ["deck", "descent", "bottom", "ascent"]
[[audience]]
name = "family"
open = true
delay = "1 s"
extra = "0 s"
tick = "1 s"
place = "area"
fields = ["depth", "altitude", "mode", "leg", "notes"]
[[audience]]
name = "wardens"
preset = "heritage"
"""


def away(east_m: float, north_m: float) -> tuple[float, float]:
    """Return a position by metres east and north of the invented place (geographiclib; near enough to a plane)."""
    first = Geodesic.WGS84.Direct(*PLACE, 90.0, east_m)
    there = Geodesic.WGS84.Direct(first["lat2"], first["lon2"], 0.0, north_m)
    return there["lat2"], there["lon2"]


ZONES = {"kiln": away(60.0, 90.0), "galley": away(150.0, 100.0), "area": away(320.0, -210.0)}


@dataclass(frozen=True, slots=True)
class Moment:
    """What the vehicles do at one beat: where they are (latitude, longitude), how deep, over what seabed."""

    lantern: tuple[float, float]
    moth: tuple[float, float]
    depth_m: float
    heading_deg: float

    @property
    def altitude_m(self) -> float:
        """Height above a seabed at 1120 m."""
        return 1_120.0 - self.depth_m


def dive(beats: int, start_m: float) -> list[Moment]:
    """Return a dive: down within six beats, then along a line through both zones, Moth beside Lantern."""
    depths = (1.0, 40.0, 300.0, 700.0, 1_050.0, 1_108.0)
    return [
        Moment(
            away(start_m + 11.0 * at, 80.0 + 1.3 * at),
            away(start_m + 11.0 * at - 35.0, 60.0 + 0.7 * at),
            depths[min(at, 5)] + 0.37 * (at % 3),
            (77.0 + 2.9 * at) % 360.0,
        )
        for at in range(beats)
    ]


def astray(beats: int) -> list[Moment]:
    """Return beats far outside the declared area."""
    return [Moment(away(6_000.0 + 9.0 * at, 70.0), away(220.0, 70.0), 1_108.0, 80.0) for at in range(beats)]


class Station:
    """Sends what happens on four feeds at once, bad bytes and told places among it; remembers every position sent."""

    def __init__(self, ports: dict[str, int], private: Path) -> None:
        self._ports, self._private = ports, private
        self.sent: list[tuple[float, float]] = [*ZONES.values()]
        self._notes = [text for texts in whole_positions(ZONES["galley"]).values() for text in texts]
        self._mavlink = dialect.MAVLink(None, srcSystem=1, srcComponent=1)

    async def __aenter__(self) -> "Station":
        async with asyncio.timeout(30):
            self._line = await self._dial()
            self._packs = await self._greet()
        self._datagrams = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        return self

    async def _dial(self) -> asyncio.StreamWriter:
        """Dial again until the relay listens, as control stations do."""
        while True:
            try:
                return (await asyncio.open_connection(FEED_HOST, self._ports["wren"], local_addr=(STATION_HOST, 0)))[1]
            except OSError:
                await asyncio.sleep(0.05)

    async def _greet(self) -> websockets.ClientConnection:
        while True:
            try:
                return await websockets.connect(f"ws://{FEED_HOST}:{self._ports['finch']}/")
            except OSError:
                await asyncio.sleep(0.05)

    async def __aexit__(self, *_: object) -> None:
        self._datagrams.close()
        self._line.close()
        await self._packs.close()

    async def play(self, moments: list[Moment], until: asyncio.Event | None = None) -> None:
        """Send moments, one a beat; then the last of them again and again, `until` something else has happened."""
        waits = takewhile(lambda _: until is not None and not until.is_set(), repeat(moments[-1]))
        for moment in chain(moments, waits):
            self.sent += [moment.lantern, moment.moth]
            for data in nmea(moment):
                self._datagrams.sendto(data, (FEED_HOST, self._ports["lark"]))
            self._datagrams.sendto(self._global_position(moment), (FEED_HOST, self._ports["rook"]))
            self._line.write(b"".join(lines(moment, self._notes[:6])))
            self._notes = self._notes[6:] + self._notes[:6]
            await self._packs.send(msgpack.packb({"vehicle": "Lantern", "mode": "tethered", "pitch_deg": 3.1}))
            await self._packs.send(b"\xc1" + msgpack.packb(list(moment.lantern)))
            await asyncio.sleep(BEAT_S)

    def _global_position(self, moment: Moment) -> bytes:
        """Return MAVLink's GLOBAL_POSITION_INT by pymavlink, then the same with a byte hurt."""
        latitude, longitude = (round(value * 1e7) for value in moment.moth)
        message = dialect.MAVLink_global_position_int_message(
            1_000, latitude, longitude, round(-moment.depth_m * 1e3), round(-moment.depth_m * 1e3), 10, 5, 0, 9_000
        )
        whole = bytes(message.pack(self._mavlink))
        return whole + whole[:-1] + bytes([whole[-1] ^ 0x55])

    async def decide(self) -> list[str]:
        """Take the operator's decisions, some of which must be refused; return what was answered to those."""
        refused = []
        picture = self._private.parent / "camera.jpg"
        picture.write_bytes(photo(ZONES["galley"]))
        say = ["say", STILL_WORDS, "--still", str(picture), "--looked", "--audience", "public"]
        told = await asyncio.to_thread(main, ["tell", str(self._private.parent / "EXPEDITION.toml"), *say])
        assert told == 0
        find = ["find", str(self._private.parent / "EXPEDITION.toml"), "the bell", "--what", "bell at the galley"]
        place = ["--at", *map(str, ZONES["galley"]), "--within", "4 m", "--photo", str(picture)]
        assert await asyncio.to_thread(main, [*find, *place]) == 0
        for decision in (
            {"do": "say", "text": PLAIN_NOTES[1]},
            {"do": "say", "text": f"wreck at {ZONES['kiln'][0]:.5f}, {ZONES['kiln'][1]:.5f}"},
            {"do": "target", "name": f"sherd {notations(PLACE)['plus code'][0]}", "verdict": "rock"},
            {"do": "target", "name": "boiler", "verdict": "of interest", "vehicle": "Lantern"},
            {"do": "say", "text": "towards Gannet Hollow"},
            {"do": "leg", "vehicle": "Pelican", "leg": "bottom"},
            {"do": "hold", "audience": "funders"},
            {"do": "resume", "audience": "funders"},
        ):
            try:
                await ask_control(self._private, {**decision, "who": "a test"})
            except OperatorError as error:
                refused.append(str(error))
        return refused


def nmea(moment: Moment) -> Iterator[bytes]:
    """Yield datagrams of NMEA 0183: a fix, a heading, a sounding; then a fix with a wrong sum and one cut off."""
    (south, south_min), (west, west_min) = (divmod(abs(value) * 60, 60) for value in moment.lantern)
    fix = f"{south:02.0f}{south_min:08.5f},S,{west:03.0f}{west_min:08.5f},W"
    yield sentence(f"GPGGA,{VEHICLE_CLOCK},{fix},2,11,0.8,0.0,M,,M,,")
    yield sentence(f"HEHDT,{moment.heading_deg:.2f},T")
    yield sentence(f"SDDPT,{max(0.5, moment.altitude_m):.2f},0.0,2000")
    yield sentence(f"GPGGA,{VEHICLE_CLOCK},{fix},2,11,0.8,0.0,M,,M,,", wrong_by=3)
    yield sentence(f"GPGLL,{fix},{VEHICLE_CLOCK},A,A")[:30]


def lines(moment: Moment, notes: list[str]) -> Iterator[bytes]:
    """Yield lines of station messages: Lantern's depth, Moth's place, notes that tell places, and no messages."""
    latitude, longitude = moment.moth
    told: list[dict[str, object]] = [
        {"vehicle": "Lantern", "depth_m": moment.depth_m, "roll_deg": -1.2},
        {"vehicle": "Moth", "latitude_deg": latitude, "longitude_deg": longitude, "depth_m": moment.depth_m},
        {"vehicle": "Lantern", "note": PLAIN_NOTES[0]},
        *({"vehicle": "Lantern", "note": f"sherd at {note} now"} for note in notes),
        {"vehicle": "Lantern", "note": "the current sets towards Gannet Hollow"},
        {"vehicle": "Pelican", "latitude_deg": latitude, "longitude_deg": longitude},
        {"vehicle": "Moth", "kurs_geheim": 12.5, "latitude_deg": latitude, "longitude_deg": longitude},
        {"vehicle": "Moth", "latitude_deg": longitude * 10, "longitude_deg": latitude},
        {"vehicle": "Moth", "latitude_deg": f"{latitude}", "longitude_deg": longitude},
    ]
    for message in told:
        yield json.dumps(message).encode() + b"\n"
    yield f"{latitude},{longitude}\n".encode()


@dataclass
class TalkativeShip(ShipProcess):
    """The ship's relay with every logger on, Python's development mode and asyncio's debugging."""

    said: list[str] = field(default_factory=list)
    _news: asyncio.Event = field(default_factory=asyncio.Event)

    async def start(self) -> None:
        """Start it and wait until it has printed its address."""
        command = [sys.executable, "-X", "dev", str(TESTS / "talkative_ship.py"), str(self.expedition)]
        environment = {**os.environ, "PYTHONPATH": str(TESTS.parent), "PYTHONASYNCIODEBUG": "1"}
        self.process = await asyncio.create_subprocess_exec(*command, stdout=PIPE, stderr=PIPE, env=environment)
        assert self.process.stdout is not None
        self._reader = asyncio.ensure_future(self._read())
        line = await asyncio.wait_for(self.process.stdout.readline(), 60)
        self.said.append(line.decode())
        assert f"127.0.0.1:{self.port}" in line.decode(), self.words

    async def _read(self) -> None:
        assert self.process is not None
        assert self.process.stderr is not None
        while line := await self.process.stderr.readline():
            self.words.append(line.decode())
            self._news.set()

    async def until_said(self, words: str) -> None:
        """Wait until the log holds some words."""
        async with asyncio.timeout(30):
            while not any(words in line for line in self.words):
                self._news.clear()
                await self._news.wait()


def prepare(folder: Path) -> tuple[TalkativeShip, Station]:
    """Write the expedition file and the secrets of a ship below `folder`; nothing is started."""
    port, ports = free_port(), {name: free_port(kind) for name, kind in FEEDS.items()}
    private = folder / "private"
    private.mkdir(mode=0o700)
    secrets = private / "secrets.json"
    secrets.write_text(json.dumps({"key": KEY.hex()}))
    secrets.chmod(0o600)
    path = folder / "EXPEDITION.toml"
    path.write_text(EXPEDITION.format(port=port, host=FEED_HOST, **ports, **ZONES))
    return TalkativeShip(path, port), Station(ports, private)
