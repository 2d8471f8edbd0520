"""A recovered log changes no released byte: with imports at every kind of moment a ship sends what it sends without.

The ship is `virtual_ship`: the relay's own parts, on a real folder; the import is the command. Then all of it as real
processes.
"""

import asyncio
import contextlib
import json
import os
import signal
import sqlite3
import sys
from pathlib import Path

import pytest

from dives import SECOND, SECRETS, dive_rows, plan, policy
from expeditions import RIGHT
from peers import until
from relay.__main__ import main
from relay.core.errors import CaptureError
from relay.core.policy import DiveLimits
from relay.shell.record.journal import NAME as JOURNAL
from relay.shell.record.recovered import NAME, recovered_logs
from relay.shell.ship.rehearse import rehearse
from ship_process import ROOT, Follower, free_port, ship_process
from test_control import send_line
from test_live_path import rehearsed_frames
from virtual_ship import AT_ONCE, Disk, Do, Event, Voyage
from virtual_ship import Follower as Ashore

PLAN = plan(policy("public"), policy("slow", delay_us=70 * SECOND, tick_us=5 * SECOND),
            dive=DiveLimits(quiet_us=30 * SECOND))  # fmt: skip
KILL_S, START_S, END_S = 62, 64, 400
Sent = tuple[list[list[tuple[int, bytes]]], dict[str, bytes]]


def brought_back(folder: Path, name: str, since_s: int) -> None:
    """Import a log of the vehicle's that tells more than ever came: other depths, and notes, at other moments."""
    (folder / "EXPEDITION.toml").write_text(RIGHT, encoding="utf-8")
    rows = dive_rows(40, seed=9)
    messages = [json.loads(row.data) | {"t": since_s + at, "depth_m": 900.0} for at, row in enumerate(rows)]
    (folder / name).write_text("".join(json.dumps({**message, "note": "logged"}) + "\n" for message in messages))
    assert main(["journal", "import", str(folder), "--vehicle", "Lantern", str(folder / name)]) == 0


def voyage(folder: Path, imports: bool) -> Sent:
    """Return what followers got, and when, and the recordings, of a ship that is killed with a dive under way.

    `imports`: before, while, and after it runs, with the dive under way, a log is imported.
    """
    followers = [Ashore(audience.audience, None) for audience in PLAN.policies]
    out = Voyage(PLAN, SECRETS, followers, Disk(folder))
    out.plan_for(Event(0, Do.DIAL, at) for at in range(len(followers)))
    moments = {0: Do.START, KILL_S: Do.KILL, START_S: Do.START, 230: Do.KILL, 231: Do.START}
    out.plan_for(Event(second * SECOND, do) for second, do in moments.items())
    rows = [*dive_rows(100, start_s=5), *dive_rows(40, start_s=200, seed=3)]
    out.plan_for(Event(row.embargo_us, Do.INPUT, row.data, AT_ONCE) for row in rows)
    for second, name in ((30, "running.jsonl"), (KILL_S + 1, "killed.jsonl"), (210, "later.jsonl")):
        out.play(second * SECOND)
        assert any(follower.got for follower in followers)
        if imports:
            brought_back(folder, name, second)
    out.play(END_S * SECOND)
    assert out.ship is not None
    assert out.ship.stopped is None
    out.ship.power_off()
    return [follower.got for follower in followers], recordings_below(folder)


def recordings_below(folder: Path) -> dict[str, bytes]:
    """Return the bytes of every recording, by its path."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.glob("released/*/*")}


def test_ship_that_is_killed_and_started_sends_the_same_with_and_without_imports(tmp_path: Path) -> None:
    """Live, regrown with a dive under way, and recorded: the same bytes at the same moments, two dives for each."""
    got, recordings = voyage(tmp_path / "without", imports=False)
    assert voyage(tmp_path / "with", imports=True) == (got, recordings)
    assert len(recordings) == 4
    assert all(len(frames) > 30 for frames in got)
    assert not (tmp_path / "without" / "private" / NAME).exists()
    assert len(recovered_logs(tmp_path / "with" / "private", "Lantern")) == 3
    assert not any(b"logged" in data for data in recordings.values())


def test_journal_rehearsed_after_an_import_gives_the_recordings_that_were_sent(tmp_path: Path) -> None:
    """All of the journal again, long after the recovery: byte for byte what had been released."""
    ship = tmp_path / "ship"
    _, recordings = voyage(ship, imports=True)
    rehearse(PLAN, SECRETS, [str(ship / "private" / JOURNAL)], tmp_path / "again")
    assert recordings_below(tmp_path / "again") == recordings


def test_recovered_logs_can_not_be_rehearsed(tmp_path: Path) -> None:
    """Given as if it were a journal, the file of logs is none."""
    folder = tmp_path / "ship"
    voyage(folder, imports=True)
    with pytest.raises(CaptureError, match=r"recovered\.db: not a journal that can be read"):
        rehearse(PLAN, SECRETS, [str(folder / "private" / NAME)], tmp_path / "out")
    assert not list(tmp_path.glob("out/released/*/*"))


def test_journal_row_of_an_unknown_kind_stops_the_release(tmp_path: Path) -> None:
    """If something else than input and decisions gets among the rows, nothing is guessed: the release stops (R4)."""
    out = Voyage(PLAN, SECRETS, [], Disk(tmp_path))
    out.plan_for([Event(0, Do.START), Event(60 * SECOND, Do.KILL)])
    out.plan_for(Event(row.embargo_us, Do.INPUT, row.data, AT_ONCE) for row in dive_rows(40))
    out.play(61 * SECOND)
    with contextlib.closing(sqlite3.connect(tmp_path / "private" / JOURNAL, isolation_level=None)) as database:
        columns = "embargo_us, wall_s, source"
        last = "ORDER BY seq DESC LIMIT 1"
        database.execute(f"INSERT INTO row SELECT seq + 1, {columns}, 'imported', data FROM row {last}")
    out.plan_for([Event(62 * SECOND, Do.START)])
    out.play(70 * SECOND)
    assert out.ship is not None
    assert out.ship.stopped == "a fault of Offing's own (ValueError)"
    out.ship.power_off()


async def command(*words: str) -> tuple[int, str]:
    """Run `offing` as a process and return its code and what it printed."""
    environment = {**os.environ, "PYTHONPATH": ROOT}
    pipe = asyncio.subprocess.PIPE
    process = await asyncio.create_subprocess_exec(sys.executable, "-m", "relay", *words, stdout=pipe, env=environment)
    said, _ = await asyncio.wait_for(process.communicate(), 60)
    return process.returncode or 0, said.decode()


@pytest.mark.slow
async def test_import_beside_a_running_relay_changes_nothing_that_is_sent(tmp_path: Path) -> None:
    """Real processes: imported with a dive under way, killed, started again: the follower gets one unbroken log."""
    port = free_port()
    source = f"tcp-listen://127.0.0.1:{port}"
    told = [{"t": at, "depth_m": 20.0 + at, "note": f"n{at}"} for at in range(8)]
    lines = [json.dumps(message).encode() + b"\n" for message in told]
    logged = "".join(json.dumps({**message, "note": "logged"}) + "\n" for message in told)
    (tmp_path / "lantern.jsonl").write_text(logged, encoding="utf-8")
    async with ship_process(tmp_path, feed_format="station-json", source=source, delay="1 s", quiet="15 s") as ship:
        follower = Follower(ship.port)
        following = asyncio.ensure_future(follower.follow())
        async with asyncio.timeout(60):
            await send_line(port, lines[0])
            await until(lambda: any(b"n0" in frame for frame in follower.frames))
            words = ("journal", "import", str(ship.expedition), "--vehicle", "Lantern", str(tmp_path / "lantern.jsonl"))
            code, said = await command(*words)
            assert (code, "is kept as Lantern's own log" in said) == (0, True)
            await send_line(port, lines[1])
            await until(lambda: any(b"n1" in frame for frame in follower.frames))
            await ship.stop(signal.SIGKILL)
            await ship.start()
            assert (await command(*words))[0] == 0
            await send_line(port, lines[2])
            await following
    assert not any(b"logged" in frame for frame in follower.frames)
    assert not any("stopped" in words for words in ship.words)
    assert rehearsed_frames(ship, tmp_path / "again") == follower.frames
    assert len(recovered_logs(tmp_path / "private")) == 1
