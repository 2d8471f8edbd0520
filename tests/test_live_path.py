"""The live path, end to end, with a ship's relay as a process of its own and real sockets on both sides."""

import asyncio
import random
import signal
import socket
import sqlite3
import time
import urllib.request
from itertools import pairwise
from pathlib import Path

import msgpack
import pytest

from relay.shell.feeds.capture import read_capture
from relay.shell.plan.expedition import read_expedition
from relay.shell.record.secrets_file import read_secrets
from relay.shell.released.recording import load_recording
from relay.shell.ship.rehearse import rehearse
from ship_process import Follower, ShipProcess, free_port, ship_process


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


async def send_in_real_time(capture: Path, port: int) -> float:
    """Send a capture's lines as datagrams at their own pace; return when the first was sent (monotonic seconds)."""
    begun_s, first_t = time.monotonic(), None
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        for chunk in read_capture(capture, rate=None):
            first_t = chunk.t_s if first_t is None else first_t
            await asyncio.sleep(max(0.0, begun_s + chunk.t_s - first_t - time.monotonic()))
            out.sendto(chunk.data, ("127.0.0.1", port))
    return begun_s


@pytest.mark.slow
async def test_capture_in_real_time_reaches_every_follower_once_in_order_and_not_early(
    tmp_path: Path, shared_data: Path
) -> None:
    """A published capture over real UDP: live, late, dropped and rehearsed followers get the same bytes, none early.

    The follower is written with the library `websockets` alone. The check of the delay needs nothing of Offing's:
    a record of dive time e leaves at the earliest e + delay after the first datagram was sent.
    """
    capture = shared_data / "nmea-captures" / "plotter-lake.nmea"
    udp = free_port(socket.SOCK_DGRAM)
    source = f"udp://127.0.0.1:{udp}"
    async with ship_process(tmp_path, feed_format="nmea0183", source=source, delay="10 s", quiet="5 s") as ship:
        live, dropped = Follower(ship.port), Follower(ship.port, drop_after=17)
        following = [asyncio.ensure_future(follower.follow()) for follower in (live, dropped)]
        begun_s = await send_in_real_time(capture, udp)
        late = Follower(ship.port)
        history = await get(ship.port, "/recordings/public/dive-001.recording")
        late.frames = frames_in(history)
        assert len(late.frames) > 100
        following.append(asyncio.ensure_future(late.follow()))
        await asyncio.wait_for(asyncio.gather(*following), 60)
        closed = await get(ship.port, "/recordings/public/dive-001.recording")
    records = [msgpack.unpackb(frame) for frame in live.frames]
    assert [record[1] for record in records] == list(range(len(records)))
    assert all(came_s >= begun_s + record[3] + 10.0 for came_s, record in zip(live.came_s, records, strict=True))
    ticks = [record for record in records if record[2] == 1]
    assert 140 <= len(ticks) <= 155
    assert sum(record[4][0][1] is not None for record in ticks) > 100
    assert dropped.frames == live.frames
    assert late.frames == live.frames
    assert closed.startswith(b"".join(live.frames))
    assert rehearsed_frames(ship, tmp_path / "again") == live.frames


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


@pytest.mark.slow
async def test_killed_ten_times_nothing_is_early_lost_or_doubled(tmp_path: Path) -> None:
    """kill -9 at ten random moments: each time at most 0.5 s of input is missing, and the release goes on whole."""
    chance, udp = random.Random(20), free_port(socket.SOCK_DGRAM)
    station, delay_s = Station(udp), 3.0
    source = f"udp://127.0.0.1:{udp}"
    async with ship_process(tmp_path, feed_format="station-json", source=source, delay="3 s", quiet="20 s") as ship:
        follower = Follower(ship.port)
        following, sending = asyncio.ensure_future(follower.follow()), asyncio.ensure_future(station.send())
        lives: list[tuple[float, float]] = []
        for _ in range(10):
            up_s = time.monotonic()
            await asyncio.sleep(chance.uniform(0.3, 4.0))
            lives.append((up_s, await ship.stop(signal.SIGKILL)))
            await ship.start()
        await asyncio.sleep(4.0)
        sending.cancel()
        await asyncio.wait_for(following, 60)
    check_nothing_is_missing(journalled(tmp_path / "private" / "journal.db"), station.sent_s, lives)
    records = [msgpack.unpackb(frame) for frame in follower.frames]
    assert [record[1] for record in records] == list(range(len(records)))
    notes = [
        (int(record[4][1][1:]), came_s)
        for record, came_s in zip(records, follower.came_s, strict=True)
        if record[2] == 2
    ]
    assert len(notes) > 300
    assert all(came_s >= station.sent_s[number] + delay_s for number, came_s in notes)
    numbers = [number for number, _ in notes]
    assert numbers == sorted(set(numbers))
    assert rehearsed_frames(ship, tmp_path / "again") == follower.frames


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
