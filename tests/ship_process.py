"""A ship's relay as a real process, and a follower written with the library `websockets` alone."""

import asyncio
import contextlib
import os
import random
import signal
import socket
import sys
import time
from asyncio.subprocess import PIPE, Process
from collections import deque
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import msgpack
import websockets

from peers import until

ROOT = str(Path(__file__).resolve().parent.parent)
_CHANCE = random.SystemRandom()
_given: deque[int] = deque(maxlen=1_000)  # ports that this process was given lately
AUDIENCE_TEXT = """
[[audience]]
name = "public"
open = true
delay = "{delay}"
extra = "0 s"
tick = "1 s"
fields = ["track", "depth", "altitude", "heading", "pitch", "roll", "mode", "leg", {said}]
cell = "5 m"
depth_step = "1 m"
track_legs = ["deck", "descent", "bottom", "ascent"]
"""

EXPEDITION_TEXT = """
[expedition]
name = "The search for the Isoline Marr"
ship = "Harrow Tern"
[public]
listen = "127.0.0.1:{port}"
[dive]
begins = "report"
quiet_ends_after = "{quiet}"
[[vehicle]]
name = "Lantern"
[[feed]]
name = "input"
format = "{format}"
from = "{source}"
vehicle = "Lantern"
"""


def free_port(kind: socket.SocketKind = socket.SOCK_STREAM) -> int:
    """Return a port of the loopback that nobody has at this moment, and that nobody else is likely to be given.

    It lies below those that the kernel hands out to whoever asks for any, which other tests do all the time
    (`ip_local_port_range`, 32768 and up on Linux), and is drawn by chance that no seed sets. Who asks again is given
    another, though the first be still unused: a site has several.
    """
    while True:
        port = _CHANCE.randrange(12_000, 32_768)
        if port in _given:
            continue
        with socket.socket(socket.AF_INET, kind) as probe, contextlib.suppress(OSError):
            probe.bind(("127.0.0.1", port))
            _given.append(port)
            return port


def is_bound(port: int) -> bool:
    """Whether somebody listens at a UDP port of the loopback, as the kernel tells (proc(5), /proc/net/udp)."""
    return f"0100007F:{port:04X} " in Path("/proc/net/udp").read_text()


async def dialled(port: int) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    """Return a connection to the feed, which on a busy machine listens a while after the page does."""
    found: list[socket.socket] = []

    def answered() -> bool:
        with contextlib.suppress(ConnectionRefusedError):
            found.append(socket.create_connection(("127.0.0.1", port)))
        return bool(found)

    await until(answered)
    return await asyncio.open_connection(sock=found[0])


@dataclass
class ShipProcess:
    """`offing ship` as a process of its own, killed and started at will.

    `command`: what runs it, without the file; `prefix`: what that command is run by.
    """

    expedition: Path
    port: int
    process: Process | None = None
    words: list[str] = field(default_factory=list)
    arguments: tuple[str, ...] = ()
    command: Sequence[str] = (sys.executable, "-m", "relay", "ship")
    prefix: tuple[str, ...] = ()
    _reader: "asyncio.Task[None] | None" = None

    async def start(self) -> None:
        """Start it and wait until it has printed its address."""
        command = [*self.prefix, *self.command, str(self.expedition), *self.arguments]
        environment = {**os.environ, "PYTHONPATH": ROOT}
        self.process = await asyncio.create_subprocess_exec(*command, stdout=PIPE, stderr=PIPE, env=environment)
        assert self.process.stdout is not None
        line = await asyncio.wait_for(self.process.stdout.readline(), 60)
        self._reader = asyncio.ensure_future(self._read())
        assert f"127.0.0.1:{self.port}" in line.decode(), await self.process.stderr.read()  # type: ignore[union-attr]

    async def _read(self) -> None:
        assert self.process is not None
        assert self.process.stderr is not None
        while line := await self.process.stderr.readline():
            self.words.append(line.decode())

    def leave_words(self, folder: Path) -> None:
        """Write down what it said in all its lives, where `invariants.py` looks for it."""
        folder.mkdir(exist_ok=True)
        (folder / "ship").write_text("".join(self.words))

    async def stop(self, number: signal.Signals = signal.SIGTERM) -> float:
        """Signal it, wait for its end, and return when the signal was sent (monotonic seconds)."""
        assert self.process is not None
        sent_s = time.monotonic()
        with contextlib.suppress(ProcessLookupError):
            self.process.send_signal(number)
        await asyncio.wait_for(self.process.wait(), 30)
        if self._reader is not None:
            await self._reader
        return sent_s


@contextlib.asynccontextmanager
async def ship_process(
    folder: Path,
    *,
    feed_format: str,
    source: str,
    delay: str,
    quiet: str,
    stills: bool = False,
    more: str = "",
    prefix: tuple[str, ...] = (),
) -> AsyncIterator[ShipProcess]:
    """Yield a running ship's relay with one feed and one open audience; it is stopped at the end.

    `more`: further parts of its file; `prefix`: what its command is run by.
    """
    port = free_port()
    values = {"port": port, "format": feed_format, "source": source, "delay": delay, "quiet": quiet}
    values["said"] = '"notes", "stills"' if stills else '"notes"'
    extra = 'sounder = "depth"\n' if feed_format == "nmea0183" else ""
    path = folder / "EXPEDITION.toml"
    path.write_text(EXPEDITION_TEXT.format(**values) + extra + AUDIENCE_TEXT.format(**values) + more)
    ship = ShipProcess(path, port, prefix=prefix)
    await ship.start()
    try:
        yield ship
    finally:
        if ship.process is not None and ship.process.returncode is None:
            await ship.stop()


@dataclass
class Follower:
    """Follows one audience over the public socket, resuming by dive and sequence; notes when each frame came."""

    port: int
    drop_after: int | None = None
    frames: list[bytes] = field(default_factory=list)
    came_s: list[float] = field(default_factory=list)
    ended: bool = False

    async def follow(self) -> None:
        """Follow until the dive's end, dialling again whenever the socket is lost, or dropped on purpose."""
        while not self.ended:
            with contextlib.suppress(OSError, websockets.WebSocketException):
                await self._once()
            await asyncio.sleep(0.05)

    async def _once(self) -> None:
        dive, after = (1, -1) if not self.frames else msgpack.unpackb(self.frames[-1])[:2]
        query = f"audience=public&dive={dive}&after={after}"
        had = 0
        async with websockets.connect(f"ws://127.0.0.1:{self.port}/live?{query}") as socket_:
            async for frame in socket_:
                assert isinstance(frame, bytes)
                self.frames.append(frame)
                self.came_s.append(time.monotonic())
                self.ended = msgpack.unpackb(frame)[2] == 3
                had += 1
                if self.ended or had == self.drop_after:
                    return
