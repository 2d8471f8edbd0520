"""Which faults a wire is given, and that each strikes: so what passed before has come back after the one before.

Where a fault strikes is drawn by octets, small numbers as often as large ones, so that handshakes are hit as often as
what follows them.
"""

import asyncio
import random
from collections import Counter
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field

from faulty_wire import ALTERING, DOWN, UP, Fault, Kind, Line, Wire, passed

PATIENCE_S = 60.0
# From here on everything of TLS 1.3 is encrypted, so that no alteration passes (RFC 8446 sections 5.1, 5.2): the hellos
# are in the clear, and whoever reads must ignore a version there.
ENCRYPTED_FROM = {UP: 900, DOWN: 300}
EVERY = tuple(Kind)
OF_STREAMS = tuple(kind for kind in Kind if kind not in (Kind.IMPOSTOR, Kind.STRANGERS))


@dataclass(frozen=True, slots=True)
class Campaign:
    """Faults of one wire. `most`: how far into a direction they strike, at the most; `weight`: its part of them all.

    `fresh`: a fault in that direction strikes a connection that begins anew, for little passes later; `tls`: what was
    altered must end the connection.
    """

    name: str
    wire: Wire
    weight: float
    most: dict[int, int]
    kinds: tuple[Kind, ...] = EVERY
    fresh: frozenset[int] = frozenset()
    tls: bool = False
    plain_repeats: bool = True


def drawn(campaign: Campaign, chance: random.Random) -> Fault:
    """Return the next fault of a campaign."""
    ways = list(campaign.most)
    kind, way = chance.choice(campaign.kinds), chance.choice(ways)
    if kind is Kind.REPEAT and way == DOWN and not campaign.plain_repeats:
        way = UP  # who follows without TLS is told twice by the wire, not by the relay
    after = int(campaign.most[way] ** chance.random()) - 1
    sizes = {
        Kind.STALL: chance.randrange(10, 400),
        Kind.CRUMBS: chance.randrange(1, 300),
        Kind.FLOOD: chance.choice((1, 100, 20_000, 300_000)),
        Kind.STRANGERS: chance.randrange(1, 40),
    }
    return Fault(kind, way, after, sizes.get(kind, 1))


@dataclass
class Struck:
    """What has struck so far, by kind, and what was wrong then."""

    kinds: Counter[Kind] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    @property
    def count(self) -> int:
        """How many faults."""
        return self.kinds.total()


async def play(
    campaign: Campaign, count: int, chance: random.Random, struck: Struck, whole: Callable[[], Awaitable[None]]
) -> None:
    """Let `count` faults strike one after the other; now and then see that all is `whole` in spite of them."""
    for number in range(1, count + 1):
        fault = drawn(campaign, chance)
        try:
            async with asyncio.timeout(PATIENCE_S):
                await _strike(campaign, fault)
        except TimeoutError:
            struck.wrong.append(f"{campaign.name}: after {number} faults {fault} found nothing that passes, or no end")
            campaign.wire.disarm()
        struck.kinds[fault.kind] += 1
        if number % 40 == 0:
            await whole()


async def _strike(campaign: Campaign, fault: Fault) -> None:
    """Arm a fault, and wait until it has struck; what was altered under TLS must end the connection by its ends."""
    wire = campaign.wire
    if fault.way in campaign.fresh and fault.kind not in (Kind.IMPOSTOR, Kind.STRANGERS) and fault.after > 4:
        wire.renew()
    line = await wire.arm(fault)
    if campaign.tls and line is not None and fault.kind in ALTERING and _is_encrypted(line, fault.way):
        await line.over.wait()


def _is_encrypted(line: Line, way: int) -> bool:
    return line.struck_at >= ENCRYPTED_FROM[way]


async def play_datagrams(odd: Callable[[], None], count: int, struck: Struck, chance: random.Random) -> None:
    """Send `count` odd datagrams among the right ones."""
    for _ in range(count):
        odd()
        struck.kinds[Kind.FLOOD] += 1
        await passed(chance.uniform(0.0, 0.1))
