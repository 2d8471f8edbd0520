"""How long after POST /stop the last public byte reaches a follower: a real ship's relay, fed at 10 Hz, and followers.

A public audience has at most a record a second, so each stop is aimed at the moment of one: in turn before it, on it
and behind it. What counts is the last frame that any follower gets after the request was sent.
"""

import asyncio
import contextlib
import json
import socket
import sys
import time
from asyncio.subprocess import PIPE, Process
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

import aiohttp
from websockets.asyncio.client import ClientConnection, connect

ROOT = Path(__file__).resolve().parents[1]
RATE_HZ, FOLLOWERS, STOPS, QUIET_S = 10.0, 20, 24, 1.6
AIMS_S = (-0.02, -0.01, -0.005, -0.002, 0.0, 0.002)
EXPEDITION = """
[expedition]
name = "The search for the Isoline Marr"
ship = "Harrow Tern"
[public]
listen = "127.0.0.1:{port}"
[desk]
listen = "127.0.0.1:{desk}"
[dive]
begins = "report"
[[vehicle]]
name = "Lantern"
[[feed]]
name = "station"
format = "station-json"
from = "udp://127.0.0.1:{feed}"
vehicle = "Lantern"
[[audience]]
name = "public"
open = true
delay = "1 s"
extra = "0 s"
tick = "1 s"
fields = ["track", "depth", "heading"]
"""


@dataclass(frozen=True, slots=True)
class Stopped:
    """Of all stops, milliseconds after the request was sent: the last frame that came (0: none did), and the answer."""

    last_ms: list[float]
    answered_ms: list[float]
    frames: int


@dataclass(slots=True)
class Ears:
    """When the newest frame came to any follower, and how many came to the first."""

    last_s: float = 0.0
    frames: int = 0
    heard: asyncio.Event = field(default_factory=asyncio.Event)

    def hear(self, counts: bool) -> None:
        """Note that a frame has come."""
        self.last_s = time.perf_counter()
        self.frames += counts
        self.heard.set()

    async def next(self) -> None:
        """Wait for a frame, and until it has come to everybody."""
        self.heard.clear()
        await self.heard.wait()
        await asyncio.sleep(0.2)


def free_port(kind: socket.SocketKind = socket.SOCK_STREAM) -> int:
    """Return a port of the loopback that nobody has at this moment."""
    with socket.socket(socket.AF_INET, kind) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def stops() -> Stopped:
    """Measure."""
    with TemporaryDirectory() as folder:
        return asyncio.run(_measure(Path(folder)))


async def _measure(folder: Path) -> Stopped:
    ports = {"port": free_port(), "desk": free_port(), "feed": free_port(socket.SOCK_DGRAM)}
    (folder / "EXPEDITION.toml").write_text(EXPEDITION.format(**ports))
    async with _relay(folder / "EXPEDITION.toml") as token, aiohttp.ClientSession() as session:
        ears = Ears()
        jobs = [asyncio.create_task(_feed(ports["feed"]))]
        for number in range(FOLLOWERS):
            line = await connect(f"ws://127.0.0.1:{ports['port']}/live?audience=public", compression=None)
            jobs.append(asyncio.create_task(_listen(line, ears, counts=number == 0)))
        desk = f"http://127.0.0.1:{ports['desk']}"
        told = Stopped([], [], 0)
        for number in range(STOPS):
            await _stop(session, desk, token, ears, AIMS_S[number % len(AIMS_S)], told)
        for job in jobs:
            job.cancel()
        await asyncio.gather(*jobs, return_exceptions=True)
        return Stopped(told.last_ms, told.answered_ms, ears.frames)


async def _stop(session: aiohttp.ClientSession, desk: str, token: str, ears: Ears, aim_s: float, told: Stopped) -> None:
    """Wait for two frames, stop about when the next is due, note what came, and resume."""
    headers = {"Authorization": f"Bearer {token}"}
    for _ in range(2):
        await ears.next()
    await asyncio.sleep(max(0.0, ears.last_s + 1.0 + aim_s - time.perf_counter()))
    sent_s = time.perf_counter()
    async with session.post(f"{desk}/stop", json={"who": "bench"}, headers=headers) as answer:
        assert (await answer.json())["ok"]
    told.answered_ms.append(1e3 * (time.perf_counter() - sent_s))
    await asyncio.sleep(QUIET_S)
    told.last_ms.append(1e3 * max(0.0, ears.last_s - sent_s))
    async with session.post(f"{desk}/decide", json={"do": "resume", "who": "bench"}, headers=headers) as answer:
        assert (await answer.json())["ok"]


async def _listen(line: ClientConnection, ears: Ears, *, counts: bool) -> None:
    async for _ in line:
        ears.hear(counts)


async def _feed(port: int) -> None:
    """Send a report ten times a second, as a station does."""
    loop = asyncio.get_running_loop()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
        line.setblocking(False)
        for number in range(1 << 30):
            place = {"latitude_deg": -29.4 + number * 1e-6, "longitude_deg": -22.7, "depth_m": 1_000.0}
            with contextlib.suppress(OSError):
                await loop.sock_sendto(line, json.dumps(place).encode() + b"\n", ("127.0.0.1", port))
            await asyncio.sleep(1 / RATE_HZ)


@asynccontextmanager
async def _relay(expedition: Path) -> AsyncIterator[str]:
    """Run `offing ship` as a process of its own; yield the desk's token, from where it says it is."""
    command = [sys.executable, "-m", "relay", "ship", str(expedition)]
    process: Process = await asyncio.create_subprocess_exec(*command, stdout=PIPE, cwd=ROOT)
    try:
        assert process.stdout is not None
        line = ""
        while "#TOKEN" not in line:
            line = (await asyncio.wait_for(process.stdout.readline(), 60)).decode()
            assert line, "the relay ended"
        token = (expedition.parent / "private" / "desk.token").read_text().strip()
        yield token
    finally:
        process.terminate()
        await process.wait()
