"""From a ship's relay over the link to a follower ashore: real relays, real sockets, and what the desk is told."""

import asyncio
import json
import os
import signal
import socket
import sys
from asyncio.subprocess import PIPE, Process
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path

import msgpack
import pytest

from link_ends import until
from relay.core.seal import Signer, is_sealed
from relay.core.wire import read_recording
from relay.shell.desk.tell_words import say_status
from relay.shell.record.secrets_file import open_secrets
from relay.shell.uplink.uplink_tls import certificate_of, pin_of
from ship_in_hand import out, report, sailing
from ship_process import ROOT, Follower, free_port, ship_process
from shores import RIGHT, SIGNER, ashore, with_certificates


def key_of(ship_folder: Path) -> bytes:
    """Return the key of the ship in a folder, which draws it if there is none yet."""
    (ship_folder / "private").mkdir(mode=0o700, parents=True, exist_ok=True)
    return Signer(open_secrets(ship_folder / "private", None).signing_seed).key


def shore_text(key: bytes) -> str:
    """Return a shore's file for a ship with this key."""
    return RIGHT.replace(SIGNER.key.hex(), key.hex())


def link_text(port: int, shore_folder: Path, audiences: str = "") -> str:
    """Return what a ship's file says of the link to a shore."""
    pin = pin_of(certificate_of(shore_folder / "uplink.pem"))
    return f'\n[uplink]\nto = "wss://127.0.0.1:{port}"\npin = "{pin}"\n{audiences}\n'


async def test_what_a_ship_releases_is_ashore_and_nothing_else(tmp_path: Path) -> None:
    """The shore has the public recording byte for byte, signed; nothing of another audience; the desk says how it is.

    The ship's file has a second audience that isn't open: of it not a byte goes.
    """
    ship_folder, shore_folder = tmp_path / "ship", tmp_path / "shore"
    key = key_of(ship_folder)
    async with ashore(shore_folder, shore_text(key)) as shore:
        link = link_text(shore.dialled.address[1], shore_folder)  # type: ignore[union-attr]
        async with sailing(ship_folder, link) as ship:
            assert ship.uplink is not None
            for depth_m in range(10, 16):
                report(ship, float(depth_m))
                await until(lambda: len(out(ship)) == 2)
            told = ship_folder / "released" / "public" / "dive-001.recording"
            await until(lambda: len(read_recording(told.read_bytes()).records) >= 3)
            history = shore.site.history("public")
            assert history is not None
            await until(lambda: bool(history.dives) and history.dives[0].recording() == told.read_bytes())
            assert all(is_sealed(key, "public", frame) for frame in history.dives[0].frames)
            assert sorted(path.name for path in (shore_folder / "shore").iterdir() if path.is_dir()) >= ["public"]
            assert shore.held()["funders"].dive == 0
            facts = ship.uplink.facts()
            assert (facts["state"], facts["to"]) == ("up", f"wss://127.0.0.1:{shore.dialled.address[1]}")  # type: ignore[union-attr]
            assert list(facts["audiences"]) == ["public"]
            # The shore shows what it has a moment before it answers for it.
            await until(lambda: ship.uplink.facts()["audiences"]["public"]["held_dive"] == 1)  # type: ignore[union-attr]
            assert ship.desk.state()["uplink"]["state"] == "up"
            assert json.dumps(ship.desk.state()["uplink"])
            assert "link to the shore: up for" in say_status(ship.status())
            await shore.dialled.close()  # type: ignore[union-attr]
            await until(lambda: ship.uplink is not None and ship.uplink.facts()["state"] == "down")
            monotonic_s = ship.uplink._clock_s
            ship.uplink._clock_s = lambda: monotonic_s() + 61
            assert [alarm for alarm in ship.alarms() if "there is no link to the shore" in alarm]
            assert ship.stopped is None


class ShoreProcess:
    """`offing shore` as a process of its own, killed and started at will."""

    def __init__(self, folder: Path, key: bytes) -> None:
        self.site, self.port = free_port(), free_port()
        text = shore_text(key).replace("127.0.0.1:0", f"127.0.0.1:{self.site}", 1)
        self._file = with_certificates(folder) / "SHORE.toml"
        self._file.write_text(text.replace("127.0.0.1:0", f"127.0.0.1:{self.port}", 1))
        self._process: Process | None = None

    async def start(self) -> None:
        """Start it; it listens a little later."""
        command = [sys.executable, "-m", "relay", "shore", str(self._file)]
        environment = {**os.environ, "PYTHONPATH": ROOT}
        self._process = await asyncio.create_subprocess_exec(*command, stdout=PIPE, stderr=PIPE, env=environment)

    async def kill(self) -> None:
        """Kill it as a power cut would."""
        assert self._process is not None
        with suppress(ProcessLookupError):
            self._process.kill()
        await self._process.communicate()


@asynccontextmanager
async def talking(port: int) -> AsyncIterator[None]:
    """Let a station send twenty reports a second until what is done meanwhile is done."""

    async def send() -> None:
        loop, number = asyncio.get_running_loop(), 0
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as line:
            line.setblocking(False)
            while True:
                place = {"latitude_deg": -38.6, "longitude_deg": -21.9, "depth_m": 10 + number / 20}
                with suppress(OSError):
                    await loop.sock_sendto(line, json.dumps(place).encode() + b"\n", ("127.0.0.1", port))
                number += 1
                passed = asyncio.Event()
                loop.call_later(0.05, passed.set)
                await passed.wait()

    sending = asyncio.ensure_future(send())
    try:
        yield
    finally:
        sending.cancel()


@pytest.mark.slow
async def test_ship_and_shore_killed_lose_and_double_nothing(tmp_path: Path) -> None:
    """kill -9 at both ends: a follower ashore has each record once and in order, the same as the ship kept.

    The follower is written with the library `websockets` alone.
    """
    ship_folder, udp = tmp_path / "ship", free_port(socket.SOCK_DGRAM)
    shore = ShoreProcess(tmp_path / "shore", key_of(ship_folder))
    await shore.start()
    follower, source = Follower(shore.site), f"udp://127.0.0.1:{udp}"
    following = asyncio.ensure_future(follower.follow())
    more = link_text(shore.port, tmp_path / "shore")
    options = {"feed_format": "station-json", "source": source, "delay": "1 s", "quiet": "60 s", "more": more}
    try:
        async with ship_process(ship_folder, **options) as ship, talking(udp):  # type: ignore[arg-type]
            await until(lambda: len(follower.frames) >= 3, 60)
            await shore.kill()
            await until(lambda: told(ship_folder) >= len(follower.frames) + 2, 40)
            await shore.start()
            await ship.stop(signal.SIGKILL)
            await ship.start()
            before = told(ship_folder)
            await until(lambda: len(follower.frames) >= before + 2, 60)
    finally:
        following.cancel()
        await shore.kill()
    kept = read_recording((ship_folder / "released" / "public" / "dive-001.recording").read_bytes())
    assert follower.frames == [record.data for record in kept.records][: len(follower.frames)]
    assert [msgpack.unpackb(frame)[1] for frame in follower.frames] == list(range(len(follower.frames)))


def told(ship_folder: Path) -> int:
    """Return how many records the ship has released of her first dive."""
    path = ship_folder / "released" / "public" / "dive-001.recording"
    return len(read_recording(path.read_bytes()).records) if path.exists() and path.stat().st_size else 0
