"""Viewers of a soak: many sockets in one process, which hold each record against what the first of them got.

They share no code with the relay: frames are read as RFC 6455 section 5.2 lays them out, records by `msgpack` (dive,
number, kind, dive time; kind 3 ends a dive: `relay/asyncapi.yaml`). Moments are those of the kernel's CLOCK_BOOTTIME.
"""

import asyncio
import random
import time
from collections import Counter
from dataclasses import dataclass, field
from typing import cast

import msgpack

KEY = "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ=="
HEAD_END = b"\r\n\r\n"
BINARY, CLOSE, PING, PONG = 0x2, 0x8, 0x9, 0xA
ENDS = 3


def boot_s() -> float:
    """Return the kernel's time since it started, as the relay's embargo counts it."""
    return time.clock_gettime(time.CLOCK_BOOTTIME)


@dataclass
class Told:
    """What a crowd was told: each record once, when its first and its last viewer had it, and how many did."""

    frames: list[bytes] = field(default_factory=list)
    dive_s: list[float] = field(default_factory=list)
    first_s: list[float] = field(default_factory=list)
    last_s: list[float] = field(default_factory=list)
    had: list[int] = field(default_factory=list)
    ended: bool = False
    wrong: list[str] = field(default_factory=list)
    seen: Counter[str] = field(default_factory=Counter)

    def take(self, number: int, data: bytes) -> bool:
        """Take a record as the `number`-th that a viewer got; return whether it is the one that is due."""
        now_s = boot_s()
        if number == len(self.frames):
            dive, seq, kind, dive_s, *_ = msgpack.unpackb(data)
            if (dive, seq) != (1, number):
                return self._is_wrong(f"record {dive}.{seq} where 1.{number} was due")
            self.frames.append(data)
            self.dive_s.append(dive_s)
            self.first_s.append(now_s)
            self.last_s.append(now_s)
            self.had.append(0)
            self.ended = kind == ENDS
        elif self.frames[number] != data:
            return self._is_wrong(f"another record than the others got as 1.{number}")
        self.last_s[number] = now_s
        self.had[number] += 1
        return True

    def _is_wrong(self, words: str) -> bool:
        self.wrong.append(words)
        return False


class Viewer(asyncio.Protocol):
    """One viewer, which holds a number of records and comes back after the last of them."""

    def __init__(self, told: Told, port: int, address: str) -> None:
        self._told, self._port, self._address = told, port, address
        self._transport: asyncio.Transport | None = None
        self._rest = b""
        self._is_open = self._leaves = False
        self.held = 0

    @property
    def is_open(self) -> bool:
        """Whether it follows."""
        return self._is_open

    @property
    def is_away(self) -> bool:
        """Whether it has no line at all."""
        return self._transport is None

    async def come(self) -> None:
        """Dial; it is tried again by whoever looks for those who aren't open."""
        loop = asyncio.get_running_loop()
        await loop.create_connection(lambda: self, "127.0.0.1", self._port, local_addr=(self._address, 0))

    def go(self) -> None:
        """Leave, to come back."""
        self._leaves = True
        if self._transport is not None:
            self._transport.abort()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Ask for what follows the last record that it holds."""
        self._transport, self._rest, self._leaves = cast(asyncio.Transport, transport), b"", False
        lines = (
            f"GET /live?audience=public&dive=1&after={self.held - 1} HTTP/1.1",
            f"Host: 127.0.0.1:{self._port}",
            *("Upgrade: websocket", "Connection: Upgrade", KEY, "Sec-WebSocket-Version: 13"),
        )
        self._transport.write("\r\n".join(lines).encode() + HEAD_END)

    def data_received(self, data: bytes) -> None:
        """Read the answer, then frames."""
        self._rest += data
        if not self._is_open:
            end = self._rest.find(HEAD_END)
            if end < 0:
                return
            if not self._rest.startswith(b"HTTP/1.1 101 "):
                self._told.seen["refused"] += 1
                self.go()
                return
            self._is_open, self._rest = True, self._rest[end + 4 :]
            self._told.seen["came"] += 1
        while (end := self._frame()) > 0:
            self._rest = self._rest[end:]

    def _frame(self) -> int:
        """Take the frame at the beginning of what came; return its length, 0 where it isn't whole yet."""
        rest = self._rest
        short = rest[1] & 0x7F if len(rest) > 1 else 0
        begin = {126: 4, 127: 10}.get(short, 2)
        if len(rest) < begin:
            return 0
        length = short if begin == 2 else int.from_bytes(rest[2:begin], "big")
        if len(rest) < begin + length:
            return 0
        self._say(rest[0] & 0xF, rest[begin : begin + length])
        return begin + length

    def _say(self, opcode: int, payload: bytes) -> None:
        if opcode == BINARY:
            self.held += self._told.take(self.held, payload)
        elif opcode == PING and self._transport is not None:
            self._transport.write(bytes((0x80 | PONG, 0x80 | len(payload), 0, 0, 0, 0)) + payload)  # mask of zeroes
            self._told.seen["pings"] += 1
        elif opcode == CLOSE:
            self._told.seen[f"closed with {int.from_bytes(payload[:2], 'big')}"] += 1

    def connection_lost(self, exc: Exception | None) -> None:
        """Note the end; one that wasn't wanted is counted."""
        self._told.seen["left" if self._leaves else "lost"] += 1
        self._is_open, self._transport = False, None


class Crowd:
    """So many viewers at a port, each 60 from an address of the loopback of their own."""

    def __init__(self, port: int, size: int) -> None:
        self.told = Told()
        self.viewers = [Viewer(self.told, port, f"127.0.{2 + at // 6000}.{1 + at // 60 % 100}") for at in range(size)]

    async def come(self) -> None:
        """Let everybody come who isn't there."""
        for viewer in self.viewers:
            if viewer.is_away:
                await viewer.come()

    def go(self, some: int, chance: random.Random) -> None:
        """Let so many leave; they come back with the others."""
        for viewer in chance.sample(self.viewers, min(some, len(self.viewers))):
            viewer.go()

    def behind(self, count: int) -> int:
        """Return how many don't hold so many records."""
        return sum(viewer.held < count for viewer in self.viewers)
