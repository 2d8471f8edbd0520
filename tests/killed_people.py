"""Who is there while ship and shore are killed: clients and stations that note everything (`killed_voyage.py`)."""

import asyncio
import contextlib
import json
import socket
from collections.abc import Callable
from functools import partial

from dives import INVENTED_SITE, walk
from left_behind import Noted, boot_us
from scale_followers import AT_ONCE, Follower
from translation import WGS84

A_SECOND = 20


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
