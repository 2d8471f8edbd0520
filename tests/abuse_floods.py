"""Attacks by numbers: connections, requests, frames and half-said things; whoever follows must not notice.

Each flood stands, or goes on, while a follower at the ship's page and one at the shore's get three records more and the
desk answers the crew. Close codes: RFC 6455 section 7.4.1 and the registry of IANA (1013).
"""

import asyncio
import contextlib
import socket
import struct
from collections import Counter
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path
from time import monotonic

from websockets.frames import Opcode

from abuse_attack import Attack
from abused import CROWD, PATIENCE_S, Port, World, dialled, exchanged, status_of
from abused import world as running
from peers import RawPeer, frames_of, masked, request, upgrade

ONE = "127.0.2.1"
GROWTH_MIB = 48


@contextlib.asynccontextmanager
async def held(port: Port, sources: list[str], sending: bytes = b"") -> AsyncIterator[list[RawPeer]]:
    """Open a connection from each of these addresses, and close them all at the end."""
    peers: list[RawPeer] = []
    try:
        for source in sources:
            with contextlib.suppress(OSError):
                peers.append(await dialled(port, source, sending))
        yield peers
    finally:
        for peer in peers:
            peer.line.close()


async def answered(peer: RawPeer) -> bool:
    """Whether a connection has been answered or ended, of those that say nothing themselves."""
    await asyncio.sleep(0)
    with contextlib.suppress(BlockingIOError):
        return peer.line.recv(1, socket.MSG_PEEK) is not None
    return False


async def crowd_of_one(world: World) -> str:
    """Open 300 connections from one address at each page and say nothing: 128 are let in; another address still is."""
    words = []
    async with held(world.page, [ONE] * 300) as aboard, held(world.ashore, [ONE] * 300) as ashore:
        fared = await world.undisturbed()
        for port, peers in ((world.page, aboard), (world.ashore, ashore)):
            refused = sum([await answered(peer) for peer in peers])
            assert refused >= 300 - 128, f"only {refused} of 300 were refused"
            assert status_of(await exchanged(port, request("/dives.json"), "127.0.5.1"))[:3] == "200"
            words.append(f"{refused} of 300 refused at {port.name}")
    return f"{'; '.join(words)}; {fared}"


async def crowd_of_many(world: World) -> str:
    """Open 4,000 connections from 100 addresses at the ship's page; somebody from another address still gets in."""
    sources = [CROWD.format(1 + number % 100) for number in range(4_000)]
    async with held(world.page, sources) as peers:
        fared = await world.undisturbed()
        assert status_of(await exchanged(world.page, request("/dives.json"), "127.0.5.2"))[:3] == "200"
        return f"{len(peers)} stand; {fared}"


async def crowd_where_files_are_few(world: World) -> str:
    """Open 600 connections from 100 addresses at the page of a ship that may have 400 files open (prlimit(1))."""
    sources = [CROWD.format(1 + number % 100) for number in range(600)]
    few_files = ("prlimit", "--nofile=400:400")
    async with running(world.folder / "few", few_files) as few, held(few.page, sources) as peers:
        fared = await few.undisturbed()
        refused = sum([await answered(peer) for peer in peers])
        assert refused >= 600 - 200, f"only {refused} were refused"
        return f"{refused} of 600 refused; {fared}"


async def sockets_of_one(world: World) -> str:
    """Open 150 websockets from one address: 64 have a seat, the others are told 1013."""
    async with held(world.page, [ONE] * 120, upgrade()) as peers:
        fared = await world.undisturbed()
        codes: Counter[int] = Counter()
        for peer in peers:
            with contextlib.suppress(BlockingIOError, OSError):
                peer.received = peer.line.recv(65_536)
            for frame in frames_of(peer.received) if b"\r\n\r\n" in peer.received else []:
                if frame.opcode is Opcode.CLOSE:
                    codes[int.from_bytes(frame.data[:2])] += 1
        assert codes[1013] >= 120 - 64, codes
        return f"{codes[1013]} of 120 closed with 1013; {fared}"


async def silent_at_the_desk(world: World) -> str:
    """Open 200 connections to the desk and say nothing, from three addresses: the crew's requests are answered."""
    sources = [f"127.0.2.{number % 3 + 1}" for number in range(200)]
    async with held(world.desk, sources):
        return await world.undisturbed()


async def strangers(world: World) -> str:
    """Open 400 connections to the port that the ship dials: her link stays, and the shore's follower gets all."""
    sources = [CROWD.format(1 + number % 200) for number in range(400)]
    async with held(world.uplink, sources):
        return await world.undisturbed()


async def going_on(world: World, attack: Callable[[], Awaitable[None]], lines: int) -> str:
    """Return how others fare while so many attackers go on with something."""
    count = 0

    async def again() -> None:
        nonlocal count
        while True:
            with contextlib.suppress(OSError, EOFError):
                await attack()
            count += 1
            await asyncio.sleep(0)

    attackers = [asyncio.ensure_future(again()) for _ in range(lines)]
    try:
        fared = await world.undisturbed()
        return f"{count} times; {fared}"
    finally:
        for each in attackers:
            each.cancel()
        await asyncio.gather(*attackers, return_exceptions=True)


async def churn(world: World) -> str:
    """Connect and reset, as fast as it goes, at both pages and the desk."""

    async def once() -> None:
        for port in (world.page, world.ashore, world.desk):
            peer = await dialled(port, ONE)
            peer.line.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            peer.line.close()

    return await going_on(world, once, 4)


async def requests(world: World) -> str:
    """Ask for pages and histories as fast as they come, in every coding, from eight connections."""
    whole = b"".join(request(path, "GET", "Accept-Encoding: br, gzip", close=False) for path in ("/", "/dives.json"))
    whole += request("/recordings/public/dive-001.recording")

    async def once() -> None:
        await exchanged(world.page, whole, ONE)

    return await going_on(world, once, 8)


async def pings(world: World) -> str:
    """Send pings as fast as they are answered over websockets, and say nothing else."""
    burst = upgrade() + masked(Opcode.PING, b"x" * 125) * 200 + masked(Opcode.CLOSE, b"")

    async def once() -> None:
        await exchanged(world.ashore, burst, ONE)

    return await going_on(world, once, 4)


def memory_mib(world: World) -> dict[str, float]:
    """Return what each relay has in memory, MiB (proc(5): VmRSS of status)."""
    found = {}
    for name, process in (("ship", world.ship.process), ("shore", world.shore.process)):
        assert process is not None
        status = Path(f"/proc/{process.pid}/status").read_text()
        found[name] = int(status.partition("VmRSS:")[2].split()[0]) / 1024
    return found


async def pour(peer: RawPeer, sending: bytes) -> None:
    """Send the same again and again, until the connection ends."""
    with contextlib.suppress(OSError):
        while True:
            await peer.send(sending)


async def never_read(world: World) -> str:
    """Ask on and on, behind each other, and take no answer: neither memory nor followers may notice."""
    before = memory_mib(world)
    whole = request("/recordings/public/dive-001.recording", close=False) * 200
    ports = (world.page, world.ashore, world.desk) * 5
    peers = [await dialled(port, ONE, receive_octets=4_096) for port in ports]
    pouring = [asyncio.ensure_future(pour(peer, whole)) for peer in peers]
    try:
        fared = await world.undisturbed()
        grown = max(mib - before[name] for name, mib in memory_mib(world).items())
        assert grown < GROWTH_MIB, f"{grown:.0f} MiB more"
        return f"memory grown by {grown:.0f} MiB at most; {fared}"
    finally:
        for each in pouring:
            each.cancel()
        await asyncio.gather(*pouring, return_exceptions=True)
        for peer in peers:
            peer.line.close()


async def bad_frames(world: World) -> str:
    """Send frames that a follower may not send, at both pages: each is closed with its code."""
    huge = b"\x82\xff" + (2**62).to_bytes(8) + b"mask"
    cases = {
        "a frame of 2^62 octets": (huge, {1008}),
        "a text": (masked(Opcode.TEXT, b"<script>"), {1008}),
        "4 KiB of binary": (masked(Opcode.BINARY, bytes(4_096)), {1008}),
        "an unmasked frame": (b"\x89\x01x", {1002}),
        "a ping of 126 octets": (b"\x89\xfe\x00\x7e" + bytes(130), {1002}),
    }
    got = []
    for name, (sending, codes) in cases.items():
        for port in (world.page, world.ashore):
            peer = await dialled(port, ONE, upgrade() + sending)
            said = await peer.receive_until(lambda got: any(f.opcode is Opcode.CLOSE for f in closed(got)))
            peer.line.close()
            (frame,) = [frame for frame in closed(said) if frame.opcode is Opcode.CLOSE]
            code = int.from_bytes(frame.data[:2])
            assert code in codes, f"{name}: {code}"
            got.append(code)
    return f"{len(got)} closed with {', '.join(map(str, sorted(set(got))))}"


def closed(said: bytes) -> list[object]:
    """Return the frames behind a handshake's answer, none before that is whole."""
    return list(frames_of(said)) if b"\r\n\r\n" in said else []


async def slow_heads(world: World) -> str:
    """Send heads an octet at a time, from 60 connections: each is ended within its deadline, and nobody else waits."""
    begun_s, ended = monotonic(), Counter[str]()

    async def drip(port: Port) -> None:
        peer = await dialled(port, ONE)
        with contextlib.suppress(OSError):
            for octet in request("/", "GET", "X: " + "y" * 200):
                await peer.send(bytes([octet]))
                if await answered(peer):
                    break
                await asyncio.sleep(0.25)
        ended[status_of(await asyncio.wait_for(peer.rest(), PATIENCE_S))[:3]] += 1

    dripping = [asyncio.ensure_future(drip(port)) for port in (world.page, world.ashore, world.desk, world.watch) * 15]
    fared = await world.undisturbed()
    await asyncio.gather(*dripping)
    took_s = monotonic() - begun_s
    assert set(ended) <= {"408", "not"}, ended
    assert took_s < 40, f"the last was ended after {took_s:.0f} s"
    return f"{ended['408']} told 408, {ended['not']} cut off, the last after {took_s:.0f} s; {fared}"


async def slow_bodies(world: World) -> str:
    """Send the desk bodies that never end, with its token, and the pages some without one."""
    token = f"Authorization: Bearer {world.token}"
    told = ["Content-Type: application/json", "Content-Length: 100"]
    desk = request("/decide", "POST", *told, token, close=False)
    desk = desk.replace(b"relay.example", "{}:{}".format(*world.desk.address).encode(), 1) + b'{"do": '
    before, begun_s = await world.taken(), monotonic()
    asking = [asyncio.ensure_future(exchanged(world.desk, desk, ONE)) for _ in range(10)]
    plain = request("/dives.json", "POST", *told, close=False) + b"x"
    asking += [asyncio.ensure_future(exchanged(world.page, plain, ONE)) for _ in range(20)]
    fared = await world.undisturbed()
    said = Counter(status_of(answer)[:3] for answer in await asyncio.gather(*asking))
    assert set(said) <= {"408", "405", "not"} and await world.taken() == before, said
    return f"{dict(said)} within {monotonic() - begun_s:.0f} s, nothing taken; {fared}"


ATTACKS = [
    Attack("300 silent connections from one address", "128 let in; others follow on in time", crowd_of_one),
    Attack("4,000 silent connections from 100 addresses", "others follow on in time, and get in", crowd_of_many, True),
    Attack(
        "600 connections where 400 files may be open",
        "the crew gets in, records go on",
        crowd_where_files_are_few,
        True,
    ),
    Attack("120 websockets from one address", "64 seats, 1013 to the rest; others follow on", sockets_of_one, True),
    Attack("200 silent connections to the desk", "the crew is answered", silent_at_the_desk, True),
    Attack(
        "400 strangers at the port that the ship dials",
        "her link stays; the shore's followers get all",
        strangers,
        True,
    ),
    Attack("connections made and reset without end", "others follow on in time", churn, True),
    Attack("pages asked for without end", "others follow on in time", requests, True),
    Attack("pings without end", "others follow on in time", pings, True),
    Attack(
        "requests without end, no answer taken",
        f"less than {GROWTH_MIB} MiB more memory; others follow on",
        never_read,
        True,
    ),
    Attack("frames that a follower may not send", "closed with 1002 or 1008", bad_frames),
    Attack("heads an octet at a time", "408 or cut off within seconds; others follow on", slow_heads, True),
    Attack("bodies that never end", "408 or 405 within seconds, nothing taken", slow_bodies, True),
]
