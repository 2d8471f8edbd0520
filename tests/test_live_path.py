"""The live path, end to end, with a ship's relay as a process of its own and real sockets on both sides.

Both voyages take their real time and little work: they go on side by side, each with a ship of its own.
"""

import asyncio
import random
import signal
import socket
import sqlite3
import time
import urllib.request
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import msgpack
import pytest

from peers import PATIENCE_S, until
from relay.shell.feeds.capture import CapturedChunk, read_capture
from relay.shell.plan.expedition import read_expedition
from relay.shell.record.secrets_file import read_secrets
from relay.shell.released.recording import load_recording
from relay.shell.ship.rehearse import rehearse
from ship_process import Follower, ShipProcess, free_port, is_bound, ship_process


def rehearsed_frames(ship: ShipProcess, out: Path) -> list[bytes]:
    """Return the frames that a rehearsal of the ship's journal with the site's secrets gives."""
    private = ship.expedition.parent / "private"
    plan = read_expedition(ship.expedition).plan
    rehearse(plan, read_secrets(private / "secrets.json"), [str(private / "journal.db")], out)
    recording = load_recording(out / "released" / "public" / "dive-001.recording")
    assert recording.closed
    return [record.data for record in recording.records]


async def get(port: int, path: str) -> bytes:
    """Return the body of a public page."""

    def fetch() -> bytes:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}{path}", timeout=10) as answer:
            body: bytes = answer.read()
            return body

    return await asyncio.to_thread(fetch)


async def listens(port: int) -> None:
    """Wait until a feed of datagrams listens: on a busy machine it does so a while after the page."""
    async with asyncio.timeout(PATIENCE_S):
        await until(lambda: is_bound(port))


async def send_in_real_time(chunks: list[CapturedChunk], port: int) -> float:
    """Send a capture's lines as datagrams at their own pace; return when the first was sent (monotonic seconds)."""
    begun_s, first_t = time.monotonic(), chunks[0].t_s
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        for chunk in chunks:
            await asyncio.sleep(max(0.0, begun_s + chunk.t_s - first_t - time.monotonic()))
            out.sendto(chunk.data, ("127.0.0.1", port))
    return begun_s


def frames_in(history: bytes) -> list[bytes]:
    """Return the frames of an open recording, cut by the library msgpack alone."""
    unpacker = msgpack.Unpacker()
    unpacker.feed(history)
    ends = [0, *(unpacker.tell() for _ in unpacker)]
    assert ends[-1] == len(history)
    return [history[start:end] for start, end in pairwise(ends)]


class Station:
    """Sends numbered messages as datagrams, fifty a second, whatever becomes of them; notes when each was sent."""

    def __init__(self, port: int) -> None:
        self.sent_s: list[float] = []
        self._port = port

    async def send(self) -> None:
        """Send until cancelled."""
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
            while True:
                number = len(self.sent_s)
                text = '{"latitude_deg": -38.6%05d, "longitude_deg": -21.9, "depth_m": %.2f, "note": "n%d"}\n'
                self.sent_s.append(time.monotonic())
                out.sendto((text % (number, number / 50, number)).encode(), ("127.0.0.1", self._port))
                await asyncio.sleep(0.02)


@dataclass
class Followed:
    """What came of the voyage of a capture: what three followers got, and the recording once it was closed."""

    ship: ShipProcess
    begun_s: float
    live: Follower
    dropped: Follower
    late: Follower
    closed: bytes


async def follow_a_capture(folder: Path, shared_data: Path) -> Followed:
    """Send a published capture over real UDP to a ship, with followers live, late and dropped."""
    chunks = list(read_capture(shared_data / "nmea-captures" / "plotter-lake.nmea", rate=None))
    udp = free_port(socket.SOCK_DGRAM)
    source = f"udp://127.0.0.1:{udp}"
    async with ship_process(folder, feed_format="nmea0183", source=source, delay="10 s", quiet="5 s") as ship:
        live, dropped, late = Follower(ship.port), Follower(ship.port, drop_after=17), Follower(ship.port)
        following = [asyncio.ensure_future(follower.follow()) for follower in (live, dropped)]
        await listens(udp)
        begun_s = await send_in_real_time(chunks, udp)
        late.frames = frames_in(await get(ship.port, "/recordings/public/dive-001.recording"))
        assert len(late.frames) > 100
        following.append(asyncio.ensure_future(late.follow()))
        await asyncio.wait_for(asyncio.gather(*following), 60)
        closed = await get(ship.port, "/recordings/public/dive-001.recording")
    return Followed(ship, begun_s, live, dropped, late, closed)


@dataclass
class Killed:
    """What came of the voyage of kills: what was sent, what the follower got, and each life (monotonic seconds)."""

    ship: ShipProcess
    station: Station
    follower: Follower
    lives: list[tuple[float, float]]


async def kill_ten_times(folder: Path) -> Killed:
    """Kill a ship at ten random moments of a dive, with a follower who dials again and again."""
    chance, udp = random.Random(20), free_port(socket.SOCK_DGRAM)
    station = Station(udp)
    source = f"udp://127.0.0.1:{udp}"
    async with ship_process(folder, feed_format="station-json", source=source, delay="3 s", quiet="20 s") as ship:
        follower = Follower(ship.port)
        following, sending = asyncio.ensure_future(follower.follow()), asyncio.ensure_future(station.send())
        lives: list[tuple[float, float]] = []
        for _ in range(10):
            await listens(udp)
            up_s = time.monotonic()
            await asyncio.sleep(chance.uniform(0.3, 4.0))
            lives.append((up_s, await ship.stop(signal.SIGKILL)))
            await ship.start()
        await asyncio.sleep(4.0)
        sending.cancel()
        await asyncio.wait_for(following, 60)
    return Killed(ship, station, follower, lives)


@pytest.fixture(scope="module")
def voyages(tmp_path_factory: pytest.TempPathFactory, shared_data: Path) -> tuple[Followed, Killed]:
    """Return both voyages, which went on at the same time."""

    async def both() -> tuple[Followed, Killed]:
        capture, kills = (tmp_path_factory.mktemp(name) for name in ("capture", "kills"))
        return await asyncio.gather(follow_a_capture(capture, shared_data), kill_ten_times(kills))

    return asyncio.run(both())


@pytest.mark.slow
def test_capture_in_real_time_reaches_every_follower_once_in_order_and_not_early(
    voyages: tuple[Followed, Killed], tmp_path: Path
) -> None:
    """A published capture over real UDP: live, late, dropped and rehearsed followers get the same bytes, none early.

    The follower is written with the library `websockets` alone. The check of the delay needs nothing of Offing's:
    a record of dive time e leaves at the earliest e + delay after the first datagram was sent.
    """
    followed, live = voyages[0], voyages[0].live
    records = [msgpack.unpackb(frame) for frame in live.frames]
    assert [record[1] for record in records] == list(range(len(records)))
    assert all(
        came_s >= followed.begun_s + record[3] + 10.0 for came_s, record in zip(live.came_s, records, strict=True)
    )
    ticks = [record for record in records if record[2] == 1]
    assert 140 <= len(ticks) <= 155
    assert sum(record[4][0][1] is not None for record in ticks) > 100
    assert followed.dropped.frames == live.frames
    assert followed.late.frames == live.frames
    assert followed.closed.startswith(b"".join(live.frames))
    assert rehearsed_frames(followed.ship, tmp_path / "again") == live.frames


@pytest.mark.slow
def test_killed_ten_times_nothing_is_early_lost_or_doubled(voyages: tuple[Followed, Killed], tmp_path: Path) -> None:
    """kill -9 at ten random moments: each time at most 0.5 s of input is missing, and the release goes on whole."""
    killed, sent_s = voyages[1], voyages[1].station.sent_s
    numbers = journalled(killed.ship.expedition.parent / "private" / "journal.db")
    check_nothing_is_missing(numbers, sent_s, killed.lives)
    follower = killed.follower
    records = [msgpack.unpackb(frame) for frame in follower.frames]
    assert [record[1] for record in records] == list(range(len(records)))
    notes = [
        (int(record[4][1][1:]), came_s)
        for record, came_s in zip(records, follower.came_s, strict=True)
        if record[2] == 2
    ]
    assert len(notes) > 300
    assert all(came_s >= sent_s[number] + 3.0 for number, came_s in notes)
    numbers = [number for number, _ in notes]
    assert numbers == sorted(set(numbers))
    assert rehearsed_frames(killed.ship, tmp_path / "again") == follower.frames


def journalled(path: Path) -> list[int]:
    """Return the numbers of the messages in a journal, read with SQLite alone."""
    with sqlite3.connect(path) as database:
        texts = [bytes(row[0]).decode() for row in database.execute("SELECT data FROM row ORDER BY seq") if row[0]]
    return [int(text.split('"n')[-1].split('"')[0]) for text in texts]


def check_nothing_is_missing(numbers: list[int], sent_s: list[float], lives: list[tuple[float, float]]) -> None:
    """Hold the journal to what was sent: in each life everything from the first taken to 0.5 s before the kill."""
    assert numbers == sorted(set(numbers))
    kept, lived = set(numbers), 0
    for up_s, killed_s in lives:
        during = [number for number in numbers if up_s <= sent_s[number] <= killed_s]
        lived += bool(during)
        for number in range(during[0] if during else len(sent_s), len(sent_s)):
            if sent_s[number] > killed_s - 0.5:
                break
            before_s = killed_s - sent_s[number]
            assert number in kept, f"message {number}, sent {before_s:.2f} s before the kill, is missing"
    assert lived >= 6, "in most lives something was taken before the kill"
