"""A poor satellite link on one machine: two network namespaces, joined by TUN devices that this program ties together.

As a program (root): `satellite.py NAMESPACE NAMESPACE DELAY_S LOSS RATE_BIT_S` carries packets between the two: one-way
delay, loss of each packet, rate and queue of each direction. Lines on standard input: `down`, `up`, `count`; it answers
`count` with octets and packets that either end gave it, which is everything counted from IP up. It ends with its input.
The ship is 10.91.0.1, the shore 10.91.0.2; TCP at both ends is the kernel's, with the congestion control that is set.
"""

import asyncio
import contextlib
import ctypes
import fcntl
import heapq
import os
import random
import select
import struct
import subprocess
import sys
import time
from asyncio.subprocess import PIPE, Process
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path

SHIP, SHORE = "10.91.0.1", "10.91.0.2"
_TUNSETIFF, _TUN_NO_PACKET_INFO = 0x400454CA, 0x1001  # linux/if_tun.h
_MTU, _QUEUE_OCTETS = 1_400, 64_000


def main(ship: str, shore: str, delay_s: float, loss: float, bits_per_s: float) -> None:
    """Carry packets until the standard input ends."""
    devices = [_device(ship, SHIP), _device(shore, SHORE)]
    path = _Path(devices, delay_s, loss, bits_per_s)
    _say("up")
    while True:
        readable = select.select([*devices, 0], [], [], path.wait_s())[0]
        for device in devices:
            if device in readable:
                path.take(device)
        path.deliver()
        if 0 in readable:
            words = os.read(0, 4_096).decode().split()
            if not words:
                return
            for word in words:
                path.down = {"down": True, "up": False}.get(word, path.down)
                if word == "count":
                    _say(f"{path.octets} {path.packets}")


def _say(words: str) -> None:
    sys.stdout.write(f"{words}\n")
    sys.stdout.flush()


@dataclass
class _Path:
    devices: list[int]
    delay_s: float
    loss: float
    bits_per_s: float
    down: bool = False
    octets: int = 0
    packets: int = 0
    _queue: list[tuple[float, int, int, bytes]] = field(default_factory=list)
    _free_s: dict[int, float] = field(default_factory=dict)
    _chance: random.Random = field(default_factory=lambda: random.Random(1))

    def wait_s(self) -> float:
        """Return when the next packet is there."""
        return max(0.0, self._queue[0][0] - time.monotonic()) if self._queue else 1.0

    def take(self, device: int) -> None:
        """Take what an end sends, unless it is lost or the queue is full."""
        while True:
            try:
                packet = os.read(device, 65_536)
            except BlockingIOError:
                return
            now_s = time.monotonic()
            self.octets += len(packet)
            self.packets += 1
            start_s = max(now_s, self._free_s.get(device, 0.0))
            full = (start_s - now_s) * self.bits_per_s / 8 > _QUEUE_OCTETS
            if self.down or full or self._chance.random() < self.loss:
                continue
            self._free_s[device] = start_s + len(packet) * 8 / self.bits_per_s
            other = self.devices[self.devices[0] == device]
            heapq.heappush(self._queue, (self._free_s[device] + self.delay_s, self.packets, other, packet))

    def deliver(self) -> None:
        """Hand over what has come across; what was on its way when the link went down is lost."""
        while self._queue and self._queue[0][0] <= time.monotonic():
            _, _, device, packet = heapq.heappop(self._queue)
            if not self.down:
                with contextlib.suppress(OSError):
                    os.write(device, packet)


def _device(namespace: str, address: str) -> int:
    """Return a TUN device that lies in a namespace, set up."""
    libc = ctypes.CDLL(None, use_errno=True)
    here, there = os.open("/proc/self/ns/net", os.O_RDONLY), os.open(f"/run/netns/{namespace}", os.O_RDONLY)
    assert libc.setns(there, 0) == 0
    device = os.open("/dev/net/tun", os.O_RDWR | os.O_NONBLOCK)
    fcntl.ioctl(device, _TUNSETIFF, struct.pack("16sH22x", b"sat0", _TUN_NO_PACKET_INFO))
    assert libc.setns(here, 0) == 0
    for command in (f"addr add {address}/24 dev sat0", f"link set sat0 up mtu {_MTU}", "link set lo up"):
        subprocess.run(["ip", "-n", namespace, *command.split()], check=True)
    return device


@dataclass
class Satellite:
    """A link in the hand of a test: `ship` and `shore` are the namespaces."""

    ship: str
    shore: str
    carrier: Process

    def say(self, word: str) -> None:
        """Let the link go down, or up."""
        assert self.carrier.stdin is not None
        self.carrier.stdin.write(f"{word}\n".encode())

    async def count(self) -> int:
        """Return how many octets both ends have sent so far, headers from IP up and everything sent again included."""
        assert self.carrier.stdout is not None
        self.say("count")
        return int((await self.carrier.stdout.readline()).split()[0])


def unable() -> str | None:
    """Return why there can be no namespaces here, None where there can."""
    if os.geteuid() != 0:
        return "network namespaces need root"
    if not Path("/dev/net/tun").exists():
        return "there is no /dev/net/tun"
    name = f"offing-try-{os.getpid()}"
    try:
        made = _namespace("add", name)
    except FileNotFoundError:
        return "there is no `ip` (iproute2)"
    if made:
        _namespace("del", name)
    return None if made else "network namespaces can't be made here"


@asynccontextmanager
async def satellite(delay_s: float = 0.3, loss: float = 0.02, bits_per_s: float = 256_000) -> AsyncIterator[Satellite]:
    """Yield a link between two namespaces of its own; both are gone at the end."""
    names = [f"offing-{end}-{os.getpid()}" for end in ("ship", "shore")]
    try:
        for name in names:
            _namespace("add", name)
        arguments = [__file__, *names, str(delay_s), str(loss), str(bits_per_s)]
        carrier = await asyncio.create_subprocess_exec(sys.executable, *arguments, stdin=PIPE, stdout=PIPE)
        assert carrier.stdout is not None and carrier.stdin is not None
        try:
            assert await carrier.stdout.readline() == b"up\n"
            yield Satellite(*names, carrier)
        finally:
            carrier.stdin.close()
            await carrier.wait()
    finally:
        for name in names:
            _namespace("del", name)


def _namespace(what: str, name: str) -> bool:
    return subprocess.run(["ip", "netns", what, name], capture_output=True, check=False).returncode == 0


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], *map(float, sys.argv[3:6]))
