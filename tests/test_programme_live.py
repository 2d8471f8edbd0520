"""The programme through a ship's relay as a process of its own, killed with SIGKILL wherever it stands."""

import asyncio
import json
import signal
import sqlite3
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from relay.core.errors import RefusedError
from relay.shell.desk.control import ask_control
from ship_process import ROOT, ShipProcess, free_port, ship_process
from test_live_path import get

DELAY_S = 3.0


async def shown(ship: ShipProcess) -> Any:
    """Return what programme.json tells now."""
    return json.loads(await get(ship.port, "/programme.json"))["programme"]


async def comes(ship: ShipProcess, pinned: str) -> Any:
    """Ask until a pinned message is out, and return the programme."""
    for _ in range(300):
        if (told := await shown(ship)) is not None and told["pinned"] == pinned:
            return told
        await asyncio.sleep(0.1)
    raise AssertionError(f"{pinned} doesn't come")


async def tell(ship: ShipProcess, pinned: str, **more: Any) -> float:
    """Tell a programme as the operator's socket takes it; return when that was asked for (monotonic seconds)."""
    asked_s = time.monotonic()
    message = {"do": "programme", "who": "a test", "pinned": pinned, "schedule": ["the bow", "the stern"], **more}
    assert (await ask_control(ship.expedition.parent / "private", message))["taken"] == "programme"
    return asked_s


@pytest.mark.slow
async def test_programme_survives_kills_and_is_told_late_and_once(tmp_path: Path) -> None:
    """No dive, no feed: killed before it is due, once it is out, and again; it comes after its delay, numbers go on."""
    source = f"tcp-listen://127.0.0.1:{free_port()}"
    async with ship_process(
        tmp_path, feed_format="station-json", source=source, delay=f"{DELAY_S:.0f} s", quiet="5 s"
    ) as ship:
        assert await shown(ship) is None
        asked_s = await tell(ship, "first", next_dive_in_s=10_000)
        await ship.stop(signal.SIGKILL)
        await ship.start()
        first = await comes(ship, "first")
        assert time.monotonic() >= asked_s + DELAY_S
        assert first == {
            "number": 0, "pinned": "first", "schedule": ["the bow", "the stern"], "next_dive_in_s": 10_800,
            "next_dive": 1,
        }  # fmt: skip
        for number in (1, 2):
            await ship.stop(signal.SIGKILL)
            await ship.start()
            assert (await shown(ship))["number"] == number - 1
            await tell(ship, f"no {number}")
            assert (await comes(ship, f"no {number}"))["number"] == number
        kept = (tmp_path / "released" / "public" / "programme.record").read_bytes()
        await _checkpointed(tmp_path)
        await ship.stop(signal.SIGKILL)
        await ship.start()
        assert (await shown(ship))["pinned"] == "no 2"
        assert (tmp_path / "released" / "public" / "programme.record").read_bytes() == kept
        assert not [words for words in ship.words if "has stopped" in words]


async def _checkpointed(folder: Path) -> None:
    """Wait until a restart would begin behind the last programme."""

    def row() -> int:
        with sqlite3.connect(folder / "private" / "journal.db") as database:
            marks = dict(database.execute("SELECT name, value FROM mark").fetchall())
        return int(json.loads(marks["checkpoint"])["row"])

    for _ in range(150):
        if row() >= 4:
            return
        await asyncio.sleep(0.2)
    raise AssertionError("no checkpoint behind the last programme")


@pytest.mark.slow
async def test_offing_tell_tells_a_programme_and_refuses_a_time(tmp_path: Path) -> None:
    """The command as the operator types it: taken, with how it is told; refused, with the words and the way out."""
    source = f"tcp-listen://127.0.0.1:{free_port()}"
    async with ship_process(tmp_path, feed_format="station-json", source=source, delay="1 s", quiet="5 s") as ship:

        async def run(*words: str) -> tuple[int, str]:
            command = [sys.executable, "-m", "relay", "tell", str(ship.expedition), "programme", *words]
            process = await asyncio.create_subprocess_exec(
                *command, stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT, env={"PYTHONPATH": ROOT}
            )
            said, _ = await asyncio.wait_for(process.communicate(), 60)
            return process.returncode or 0, said.decode()

        code, said = await run("--pinned", "The boiler is next.", "--schedule", "the bow", "--next-dive", "3 h")
        assert (code, "public: the next dive in about 3 h" in said) == (0, True)
        assert (await comes(ship, "The boiler is next."))["next_dive_in_s"] == 10_800
        code, said = await run("--schedule", "Dive two at 14:30")
        assert code != 0
        assert "14:30” tells the time of day" in said
        assert (await run())[0] != 0
        with pytest.raises(RefusedError, match="position"):
            await tell(ship, "at 38.6147 S, 21.9331 W")
        assert (await run("--none"))[0] == 0
