"""Who may come in, and for how long: the limits of the public port and what counts against them.

Rules: every limit is a constructor argument; 0 means none for those counted by address. An IPv6 client is
counted by its /64, which is what one subscriber line is given (common practice, no source).
"""

import asyncio
from collections import Counter
from dataclasses import dataclass, replace
from ipaddress import IPv4Address, IPv6Address
from math import ceil
from typing import Any

from relay.core.subscriber import ReplayLimit
from relay.shell.site.attendance import Attendance
from relay.shell.site.wheel import Wheel


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """The bounds of one site. `*_s`: seconds; a turn of the wheel is `turn_s`.

    `viewers`: open sockets in all; one more is closed with 1013. `connections`: of any kind in all; one more is
    answered 503 before it is read. The same for each address, 0 for none (behind a proxy every client has the
    proxy's address), and for each invitation (`guest`). `wrong_tokens`: a guest's, from an address, before each
    one more costs its connection; 0 for no limit. `http_s`: how long a page's connection lives; one that is still
    taking an answer gets as long again. `discarded`: bytes read from a peer that was told to go, before it is cut off.
    """

    viewers: int = 12_000
    connections: int = 16_000
    viewers_per_address: int = 64
    connections_per_address: int = 128
    connections_per_guest: int = 32
    wrong_tokens: int = 10
    head_octets: int = 8_192
    handshake_s: float = 10.0
    ping_s: float = 45.0
    pong_s: float = 90.0
    close_s: float = 5.0
    keepalive_s: float = 15.0
    http_s: float = 300.0
    turn_s: float = 1.0
    replay_frames: int = 2_000
    replay_octets: int = 256 * 1024
    write_high_octets: int = 4_096
    send_buffer_octets: int = 16_384
    discarded: int = 65_536
    site_octets: int = 64 * 1024 * 1024

    @property
    def replay(self) -> ReplayLimit:
        """How much the socket replays."""
        return ReplayLimit(self.replay_frames, self.replay_octets)

    def turns(self, seconds: float) -> int:
        """Return how many turns of the wheel `seconds` are, rounded up."""
        return ceil(seconds / self.turn_s)


DEFAULTS = Limits()
KEPT_FILES = 256  # for the desk, the journal, feeds and recordings: a crowd at the page must not take the last one


def within(limits: Limits, files: int) -> Limits:
    """Return limits that leave enough of the files that a process may have open, or half of few; below 0: no bound."""
    if files < 0:
        return limits
    return replace(limits, connections=max(1, min(limits.connections, files - min(KEPT_FILES, files // 2))))


@dataclass(slots=True)
class Tally:
    """What happened at the gate since the start; for the desk, never for the public."""

    refused: int = 0
    full: int = 0
    too_slow: int = 0
    silent: int = 0
    unfinished: int = 0
    unwelcome: int = 0
    history_first: int = 0
    faults: int = 0


class Gate:
    """The counts of who is in, and the wheel they all stand on."""

    def __init__(self, limits: Limits) -> None:
        self.limits = limits
        self.wheel = Wheel()
        self.tally = Tally()
        self.attendance = Attendance(limits.connections_per_guest)
        self.connections = 0
        self.viewers = 0
        self._connections_at: Counter[str] = Counter()
        self._viewers_at: Counter[str] = Counter()
        self._spread = 0
        self.ping_turns = limits.turns(limits.ping_s)
        self.most_unanswered = max(1, limits.turns(limits.pong_s) // self.ping_turns)
        self._emptied: asyncio.Event | None = None

    def enter(self, address: str) -> bool:
        """Count a new connection; False, and nothing counted, where there is no room."""
        limits = self.limits
        per_address = limits.connections_per_address
        if self.connections >= limits.connections or 0 < per_address <= self._connections_at[address]:
            self.tally.refused += 1
            return False
        self.connections += 1
        self._connections_at[address] += 1
        return True

    def leave(self, address: str) -> None:
        """Uncount a connection."""
        self.connections -= 1
        _take(self._connections_at, address)
        if self.connections == 0 and self._emptied is not None:
            self._emptied.set()

    async def emptied(self) -> None:
        """Return when nobody is in."""
        self._emptied = asyncio.Event()
        if self.connections:
            await self._emptied.wait()

    def seat(self, address: str) -> bool:
        """Count a new viewer; False, and nothing counted, where there is no room."""
        limits = self.limits
        per_address = limits.viewers_per_address
        if self.viewers >= limits.viewers or 0 < per_address <= self._viewers_at[address]:
            self.tally.full += 1
            return False
        self.viewers += 1
        self._viewers_at[address] += 1
        return True

    def unseat(self, address: str) -> None:
        """Uncount a viewer."""
        self.viewers -= 1
        _take(self._viewers_at, address)

    def first_ping(self) -> int:
        """Return in how many turns a new viewer is pinged first: spread evenly, so that they never fall together."""
        self._spread += 1
        return 1 + self._spread % self.ping_turns


def _take(counter: Counter[str], address: str) -> None:
    counter[address] -= 1
    if counter[address] == 0:
        del counter[address]


def address_of(peer: Any) -> str:
    """Return what a peer is counted by: its IPv4 address, or the /64 of its IPv6 address."""
    if not isinstance(peer, tuple) or not peer:
        return ""
    host = str(peer[0]).partition("%")[0]
    if ":" not in host:
        return host
    parsed = IPv6Address(host)
    return str(parsed.ipv4_mapped or IPv6Address(int(parsed) >> 64 << 64))


def network_of(peer: Any) -> str:
    """Return the network that a peer's address is of: the /24 of IPv4, the /48 of IPv6 (common practice, no source)."""
    address = address_of(peer)
    if not address:
        return ""
    if ":" in address:
        return str(IPv6Address(int(IPv6Address(address)) >> 80 << 80))
    return str(IPv4Address(int(IPv4Address(address)) >> 8 << 8))
