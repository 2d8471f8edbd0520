"""Attacks by numbers: connections, requests, frames and half-said things; whoever follows must not notice.

Each flood stands, or goes on, while a follower at the ship's page and one at the shore's get three records more and the
desk answers the crew. Close codes: RFC 6455 section 7.4.1 and the registry of IANA (1013).
"""

import asyncio
import contextlib
import resource
import socket
import struct
import sys
from asyncio.subprocess import Process
from collections import Counter
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from functools import partial
from pathlib import Path
from time import monotonic

from websockets.frames import Frame, Opcode

from abuse_attack import Attack
from abused import CROWD, PATIENCE_S, Port, World, dialled, exchanged, status_of
from abused import world as running
from peers import RawPeer, frames_of, masked, request, upgrade
from relay.shell.site.gate import KEPT_FILES

ONE = "127.0.2.1"
GROWTH_MIB = 48
OF_ONE, SEATS = 128, 64  # connections, and websockets, that one address may have at a page
SPARE_FILES = 64  # what a process has open besides a crowd
DESK_STRANGERS = 64  # connections to the desk of those who have shown no token
STANDS, CUT_OFF = "stands", "cut off"


def open_files(process: int | str) -> int:
    """Return how many files a process has open (proc(5): fd)."""
    return sum(1 for _ in Path(f"/proc/{process}/fd").iterdir())


@contextlib.contextmanager
def room_for(more: int) -> Iterator[None]:
    """Let this program have so many files more open for a while (getrlimit(2)); AssertionError where it may not."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = open_files("self") + more + SPARE_FILES
    unbounded = resource.RLIM_INFINITY
    assert hard == unbounded or wanted <= hard, f"may have {hard} files open, and needs {wanted}: nothing was tried"
    raised = soft if soft == unbounded else max(soft, wanted)
    resource.setrlimit(resource.RLIMIT_NOFILE, (raised, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))


@contextlib.asynccontextmanager
async def held(port: Port, sources: list[str], sending: bytes = b"") -> AsyncIterator[list[RawPeer]]:
    """Open a connection from each of these addresses, all of them or none, and close them all at the end."""
    peers: list[RawPeer] = []
    with room_for(len(sources)):
        try:
            for source in sources:
                peers.append(await dialled(port, source, sending))  # noqa: PERF401  # what was opened must be closed
            yield peers
        finally:
            for peer in peers:
                peer.line.close()


def fate(peer: RawPeer) -> str:
    """Return what has become of a connection that says nothing itself: it stands, got a status, or was cut off."""
    try:
        said = peer.line.recv(4_096, socket.MSG_PEEK)
    except BlockingIOError:
        return STANDS
    except OSError:
        return CUT_OFF
    return status_of(said)[:3] if said else CUT_OFF


def fates(peers: list[RawPeer], refusal: str, least: int, most: int) -> str:
    """Return how many connections stand and how many the server itself refused.

    AssertionError unless between `least` and `most` stand, and every other one has this refusal.
    """
    found = Counter(fate(peer) for peer in peers)
    stand, refused = found[STANDS], found[refusal]
    assert least <= stand <= most, f"{stand} of {len(peers)} stand, not {least} to {most}: {dict(found)}"
    assert stand + refused == len(peers), f"of {len(peers)}: {dict(found)}"
    return f"{stand} stand, {refused} refused ({refusal})" if refused else f"{stand} stand"


def files_of(process: Process | None) -> tuple[int, int]:
    """Return how many files a process has open, and may have (proc(5): limits)."""
    assert process is not None
    limits = Path(f"/proc/{process.pid}/limits").read_text()
    most = limits.partition("Max open files")[2].split()[0]
    return open_files(process.pid), sys.maxsize if most == "unlimited" else int(most)


async def crowd_of_one(world: World) -> str:
    """Open 300 connections from one address at each page and say nothing: 128 are let in; another address still is."""
    words = []
    async with held(world.page, [ONE] * 300) as aboard, held(world.ashore, [ONE] * 300) as ashore:
        fared = await world.undisturbed()
        for port, peers in ((world.page, aboard), (world.ashore, ashore)):
            words.append(f"{fates(peers, '503', OF_ONE, OF_ONE)} at {port.name}")
            assert status_of(await exchanged(port, request("/dives.json"), "127.0.5.1"))[:3] == "200"
    return f"{'; '.join(words)}; {fared}"


async def crowd_of_many(world: World, count: int = 4_000) -> str:
    """Open so many connections from 100 addresses at the ship's page; somebody from another address still gets in."""
    sources = [CROWD.format(1 + number % 100) for number in range(count)]
    async with held(world.page, sources) as peers:
        fared = await world.undisturbed()
        opened, most = files_of(world.ship.process)
        found = fates(peers, "503", min(count, most - KEPT_FILES - SPARE_FILES), count)
        stand = sum(fate(peer) == STANDS for peer in peers)
        assert opened > stand, f"{stand} connections seem to stand, and the ship has {opened} files open"
        assert status_of(await exchanged(world.page, request("/dives.json"), "127.0.5.2"))[:3] == "200"
        return f"{found}; {fared}"


async def crowd_where_files_are_few(world: World) -> str:
    """Open 600 connections from 100 addresses at the page of a ship that may have 400 files open (prlimit(1))."""
    sources = [CROWD.format(1 + number % 100) for number in range(600)]
    few_files = ("prlimit", "--nofile=400:400")
    async with running(world.folder / "few", few_files) as few, held(few.page, sources) as peers:
        fared = await few.undisturbed()
        assert files_of(few.ship.process)[1] == 400
        return f"{fates(peers, '503', 150, 200)}; {fared}"


async def sockets_of_one(world: World, count: int = 120) -> str:
    """Open websockets from one address: 64 have a seat, the others are told 1013."""
    async with held(world.page, [ONE] * count, upgrade()) as peers:
        fared = await world.undisturbed()
        got = Counter(seat(peer) for peer in peers)
        assert got == {"seated": SEATS, "1013": count - SEATS}, dict(got)
        return f"{got['seated']} have a seat, {got['1013']} of {count} closed with 1013; {fared}"


def seat(peer: RawPeer) -> str:
    """Return what has become of a websocket: it has a seat, or the code it was closed with, or nothing at all."""
    try:
        said = peer.line.recv(65_536)
    except OSError:
        return "nothing"
    if not said.startswith(b"HTTP/1.1 101 "):
        return status_of(said)
    codes = [str(int.from_bytes(frame.data[:2])) for frame in frames_of(said) if frame.opcode is Opcode.CLOSE]
    return codes[0] if codes else "seated"


async def silent_at_the_desk(world: World, count: int = 200) -> str:
    """Open connections to the desk and say nothing, from three addresses: the crew's requests are answered."""
    sources = [f"127.0.2.{number % 3 + 1}" for number in range(count)]
    async with held(world.desk, sources) as peers:
        first = sum(fate(peer) == STANDS for peer in peers)
        assert first >= DESK_STRANGERS // 2, f"only {first} of {count} stood at first"
        fared = await world.undisturbed()
        return f"{first} stood at first, in the end {fates(peers, CUT_OFF, 0, DESK_STRANGERS)}; {fared}"


async def strangers(world: World, count: int = 400) -> str:
    """Open connections to the port that the ship dials: her link stays, and the shore's follower gets all."""
    sources = [CROWD.format(1 + number % 200) for number in range(count)]
    async with held(world.uplink, sources) as peers:
        first = sum(fate(peer) == STANDS for peer in peers)
        assert first >= count // 2, f"only {first} of {count} stood at first"
        fared = await world.undisturbed()
        found, (opened, _) = fates(peers, CUT_OFF, 0, count), files_of(world.shore.process)
        stand = sum(fate(peer) == STANDS for peer in peers)
        assert opened > stand, f"{stand} connections seem to stand, and the shore has {opened} files open"
        uplink = (await world.ask("/state"))["uplink"]
        assert uplink["state"] == "up", uplink["state"]
        return f"{first} stood at first, in the end {found}, her link is up; {fared}"


async def going_on(world: World, attack: Callable[[], Awaitable[None]], lines: int) -> str:
    """Return how others fare while so many attackers go on with something.

    AssertionError where one of them raises it, or hardly any of what they tried was more than a connection cut off.
    """
    count = cut_off = 0

    async def again() -> None:
        nonlocal count, cut_off
        while True:
            try:
                await attack()
                count += 1
            except (OSError, EOFError):
                cut_off += 1
            await asyncio.sleep(0)

    attackers = [asyncio.ensure_future(again()) for _ in range(lines)]
    try:
        fared = await world.undisturbed()
        for each in attackers:
            if each.done():
                await each
        assert count >= 2 * lines, f"the attack came about {count} times, and was cut off {cut_off} times"
        return f"{count} times, cut off {cut_off} times; {fared}"
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
        said = await exchanged(world.page, whole, ONE)
        assert said.startswith(b"HTTP/1.1 200 "), status_of(said)

    return await going_on(world, once, 8)


async def pings(world: World) -> str:
    """Send pings as fast as they are answered over websockets, and say nothing else."""
    burst = upgrade() + masked(Opcode.PING, b"x" * 125) * 200 + masked(Opcode.CLOSE, b"")

    async def once() -> None:
        said = closed(await exchanged(world.ashore, burst, ONE))
        assert sum(frame.opcode is Opcode.PONG for frame in said) > 0, "no ping was answered"

    return await going_on(world, once, 4)


def memory_mib(world: World) -> dict[str, float]:
    """Return what each relay has in memory, MiB (proc(5): VmRSS of status)."""
    found = {}
    for name, process in (("ship", world.ship.process), ("shore", world.shore.process)):
        assert process is not None
        status = Path(f"/proc/{process.pid}/status").read_text()
        found[name] = int(status.partition("VmRSS:")[2].split()[0]) / 1024
    return found


async def pour(peer: RawPeer, sending: bytes, poured: Counter[str], name: str) -> None:
    """Send the same again and again, until the connection ends; `poured`: how often it was taken whole, by name."""
    with contextlib.suppress(OSError):
        while True:
            await peer.send(sending)
            poured[name] += 1


async def never_read(world: World) -> str:
    """Ask on and on, behind each other, and take no answer: neither memory nor followers may notice."""
    before = memory_mib(world)
    whole = request("/recordings/public/dive-001.recording", close=False) * 200
    ports = (world.page, world.ashore, world.desk) * 5
    peers = [await dialled(port, ONE, receive_octets=4_096) for port in ports]
    poured = Counter[str]()
    pouring = [
        asyncio.ensure_future(pour(peer, whole, poured, port.name)) for peer, port in zip(peers, ports, strict=True)
    ]
    try:
        fared = await world.undisturbed()
        grown = max(mib - before[name] for name, mib in memory_mib(world).items())
        assert grown < GROWTH_MIB, f"{grown:.0f} MiB more"
        assert all(poured[port.name] >= 5 for port in ports), f"hardly anything was sent: {dict(poured)}"
        begun = {port.name for peer, port in zip(peers, ports, strict=True) if fate(peer).isdigit()}
        assert begun == {port.name for port in ports}, f"answers were begun by {begun} alone"
        return f"{200 * poured.total():,} requests sent, memory grown by {grown:.0f} MiB at most; {fared}"
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


def closed(said: bytes) -> list[Frame]:
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
                if fate(peer) != STANDS:
                    break
                await asyncio.sleep(0.25)
        ended[status_of(await asyncio.wait_for(peer.rest(), PATIENCE_S))[:3]] += 1

    dripping = [asyncio.ensure_future(drip(port)) for port in (world.page, world.ashore, world.desk, world.watch) * 15]
    fared = await world.undisturbed()
    await asyncio.gather(*dripping)
    took_s = monotonic() - begun_s
    assert set(ended) <= {"408", "not"}, ended
    assert ended.total() == len(dripping) and ended["408"] > 0, ended
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
    assert said["405"] == 20 and said["408"] + said["not"] == 10, said
    return f"{dict(said)} within {monotonic() - begun_s:.0f} s, nothing taken; {fared}"


ATTACKS = [
    Attack("300 silent connections from one address", "128 let in; others follow on in time", crowd_of_one),
    Attack(
        "4,000 silent connections from 100 addresses",
        "all stand, or 503; others follow on in time, and get in",
        crowd_of_many,
        True,
        partial(crowd_of_many, count=1_000),
    ),
    Attack(
        "600 connections where 400 files may be open",
        "503 to the rest; the crew gets in, records go on",
        crowd_where_files_are_few,
        True,
    ),
    Attack("120 websockets from one address", "64 seats, 1013 to the rest; others follow on", sockets_of_one),
    Attack("200 silent connections to the desk", "64 at most stand; the crew is answered", silent_at_the_desk),
    Attack(
        "400 strangers at the port that the ship dials",
        "her link stays; the shore's followers get all",
        strangers,
    ),
    Attack("connections made and reset without end", "others follow on in time", churn, True),
    Attack("pages asked for without end", "others follow on in time", requests, True),
    Attack("pings without end", "others follow on in time", pings, True),
    Attack(
        "requests without end, no answer taken",
        f"less than {GROWTH_MIB} MiB more memory; others follow on",
        never_read,
    ),
    Attack("frames that a follower may not send", "closed with 1002 or 1008", bad_frames),
    Attack("heads an octet at a time", "408 or cut off within seconds; others follow on", slow_heads, True),
    Attack("bodies that never end", "408 or 405 within seconds, nothing taken", slow_bodies, True),
]
