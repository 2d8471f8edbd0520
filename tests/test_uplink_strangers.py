"""Many who never prove themselves at the uplink's port: few stay, and the ship gets through."""

import asyncio
import socket
from collections import Counter
from contextlib import AsyncExitStack, ExitStack
from pathlib import Path

from link_ends import QUICK, SIGNER, dialled, harbour, heard, proof, underway, until
from peers import on_both_loops
from relay.core.uplink_talk import Held, read_standing
from relay.shell.uplink.uplink import Uplink
from relay.shell.uplink.uplink_port import PortLimits


@on_both_loops
async def test_strangers_are_few_and_the_ship_gets_through(tmp_path: Path) -> None:
    """Of 300 connections that say nothing four stay; while they come on, the ship links all the same."""
    limits = PortLimits(prove_s=20)
    async with harbour(tmp_path, limits=limits) as here, AsyncExitStack() as stack:
        for _ in range(300):
            idle = stack.enter_context(socket.socket())
            idle.setblocking(False)
            await asyncio.get_running_loop().sock_connect(idle, here.port.address)
        async with underway(Uplink(here.plan(), SIGNER, QUICK)):
            await until(lambda: here.port.facts.linked)
        assert len(here.port._unproved) <= limits.unproved_of_address
        assert here.port.facts.strangers >= 290


@on_both_loops
async def test_who_has_come_the_least_far_goes_first(tmp_path: Path) -> None:
    """A ship far away is still thinking about her challenge: fifty silent strangers don't push her out."""
    loop = asyncio.get_running_loop()
    async with harbour(tmp_path, limits=PortLimits(unproved=8, prove_s=20)) as here, dialled(here) as ship:
        answer = await proof(ship, here)
        with ExitStack() as stack:
            for number in range(50):
                idle = stack.enter_context(socket.socket())
                idle.setblocking(False)
                idle.bind((f"127.0.{number}.9", 0))
                await loop.sock_connect(idle, here.port.address)
            await until(lambda: here.port.facts.strangers >= 42)
            await ship.send(answer)
            assert read_standing(await heard(ship))[0] == {"public": Held()}


async def test_strangers_of_one_subscriber_and_of_the_fullest_network_make_room(tmp_path: Path) -> None:
    """An IPv6 line is one address (its /64); among equals the one who goes is of the network that has the most here."""
    limits = PortLimits(unproved=7, unproved_of_address=3)
    lines = ["2001:db8:1::9", *(f"2001:db8:7:{line}::1" for line in range(3)), *(f"192.0.2.{at}" for at in (1, 2))]
    crowded = [f"2001:db8:1::{at:x}" for at in range(1, 9)]
    async with harbour(tmp_path, limits=limits) as here, AsyncExitStack() as stack:

        def come(address: str) -> None:
            ours, _ = map(stack.enter_context, socket.socketpair())
            ours.setblocking(False)
            here.port.meet(ours, (address, 9))

        for address in crowded:
            come(address)
        assert [each.address for each in here.port._unproved.values()] == ["2001:db8:1::"] * 3
        for address in lines[1:]:
            come(address)
        networks = Counter(each.network for each in here.port._unproved.values())
        assert networks == {"2001:db8:1::": 2, "2001:db8:7::": 3, "192.0.2.0": 2}


async def test_who_says_nothing_is_left_soon(tmp_path: Path) -> None:
    """Long before the deadline for the proof."""
    async with harbour(tmp_path, limits=PortLimits(first_s=0.1, prove_s=60)) as here:
        reader, writer = await asyncio.open_connection(*here.port.address)
        async with asyncio.timeout(10):
            assert await reader.read() == b""
        writer.close()
