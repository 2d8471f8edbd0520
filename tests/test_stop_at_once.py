"""Stop everything: nothing leaves any more, whether the disk takes the decision or not, and a restart keeps to that."""

import asyncio
from pathlib import Path

import pytest

from fair_time import fair_s
from peers import until
from relay.shell.desk.deciding import NOT_SETTLED
from relay.shell.desk.taking import HELD_ALL_THE_SAME
from relay.shell.ship.ship import Ship
from ship_in_hand import StuckDisk, out, report, sailing, tell


async def owing(ship: Ship, disk: StuckDisk) -> int:
    """Let ticks fall due that can't leave, for the disk doesn't take what they need; return when they have."""
    report(ship, 50.0)
    await until(lambda: len(out(ship)) == 2 and all(len(data) > 2_000 for data in out(ship).values()))
    disk.stuck = True
    for depth_m in range(60, 70):
        report(ship, depth_m)
    due_us = ship.pipeline.channels[0].edge_us + 4_000_000
    await until(lambda: ship.now_us() > due_us)
    return due_us


async def test_stop_acts_while_the_disk_is_stuck_and_when_it_comes_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was due before the stop but waited for the disk stays in, too; resumed, it leaves; no restart differs."""
    disk = StuckDisk(monkeypatch)
    monkeypatch.setattr("relay.shell.desk.desk.DECIDE_S", 0.1)
    async with asyncio.timeout(60), sailing(tmp_path) as ship:
        due_us = await owing(ship, disk)
        answer = await tell(ship, "/stop", {"who": "Ines"})
        had = out(ship)
        assert (answer["ok"], answer["held"], answer["on_disk"], answer["but"]) == (True, True, False, NOT_SETTLED)
        assert {part["state"] for part in ship.desk.state()["audiences"]} == {"held"}
        disk.stuck = False
        await until(lambda: not ship._journal._waiting)  # type: ignore[union-attr]
        await until(lambda: ship.now_us() > due_us + 3_000_000)
        assert out(ship) == had
        assert ship.stopped is None
        # What was kept in can still be cut, and what is then released is what a restart grows again.
        edge_us = ship.pipeline.channels[0].edge_us
        assert edge_us < due_us
        cut = {"do": "cut", "from_us": edge_us + 1, "to_us": due_us, "who": "Ines"}
        assert (await tell(ship, "/decide", cut))["already_out"] == {
            "public": "none of it",
            "family": "none of it",
        }
        assert (await tell(ship, "/decide", {"do": "resume", "who": "Ines"}))["ok"]
        await until(lambda: all(len(data) > len(had[name]) for name, data in out(ship).items()))
    had = out(ship)
    async with asyncio.timeout(60), sailing(tmp_path) as again:
        assert again.stopped is None
        await until(lambda: all(len(data) > len(had[name]) for name, data in out(again).items()))
        assert all(data.startswith(had[name]) for name, data in out(again).items())


async def test_stop_acts_though_the_journal_has_no_room(tmp_path: Path) -> None:
    """Where not even the decision finds room it is held all the same, and whoever said so is told what that means."""
    async with asyncio.timeout(60), sailing(tmp_path) as ship:
        assert ship._journal is not None
        ship._journal._limit = -2_000
        answer = await tell(ship, "/stop", {"who": "Ines"})
        assert (answer["ok"], answer["held"], answer["on_disk"], answer["but"]) == (
            True,
            True,
            False,
            HELD_ALL_THE_SAME,
        )
        assert all(channel.held for channel in ship.pipeline.channels)
        ship._journal._limit = 100_000
        assert (await tell(ship, "/decide", {"do": "resume", "who": "Ines"}))["ok"]
        assert not any(channel.held for channel in ship.pipeline.channels)


async def test_stop_pressed_again_is_that_stop_and_fills_no_journal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While the disk is stuck a desk asks on and on: each is answered at once, one row waits; then it is on the disk.

    Somebody else's stop after it, and one's own once it was answered with the disk's word, are decisions of their own.
    """
    disk = StuckDisk(monkeypatch)
    async with asyncio.timeout(60), sailing(tmp_path) as ship:
        disk.stuck = True
        rows = ship.journal_facts()[0]
        for _ in range(20):
            begun_s = fair_s()
            assert (await tell(ship, "/stop", {"who": "Ines"}))["on_disk"] is False
            assert fair_s() - begun_s < 1.0
        assert ship.journal_facts()[0] == rows + 1
        disk.stuck = False
        await until(lambda: not ship._journal._waiting)  # type: ignore[union-attr]
        assert (await tell(ship, "/stop", {"who": "Ines"}))["on_disk"] is True
        assert ship.journal_facts()[0] == rows + 1
        assert (await tell(ship, "/stop", {"who": "Ines"}))["row"] == rows + 2
        assert (await tell(ship, "/stop", {"who": "Jorge"}))["row"] == rows + 3


@pytest.mark.parametrize(
    "broken", ["relay.core.present.Present.under_way", "relay.shell.record.journal.Journal.append"]
)
async def test_stop_acts_whatever_of_ours_is_broken(
    broken: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It asks the channels alone and acts first: a fault in what judges dives, or in the journal, undoes no stop."""

    def fault(*_: object, **__: object) -> None:
        raise ZeroDivisionError("at -38.61472")

    async with asyncio.timeout(60), sailing(tmp_path) as ship:
        with monkeypatch.context() as patch:
            patch.setattr(broken, fault)
            answer = await tell(ship, "/stop", {"who": "Ines"})
        assert (answer["ok"], answer["held"]) == (True, True)
        assert all(channel.held for channel in ship.pipeline.channels)
        assert answer["on_disk"] == ("under_way" in broken)
        assert answer["on_disk"] or "it is HELD, but a fault of Offing's own (ZeroDivisionError)" in answer["but"]


async def test_resume_that_waits_for_the_disk_does_not_undo_a_later_stop(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One desk resumes, another stops after it, and the disk is slow: it stays stopped, also when it has both."""
    disk = StuckDisk(monkeypatch)
    monkeypatch.setattr("relay.shell.desk.desk.DECIDE_S", 0.1)
    async with asyncio.timeout(60), sailing(tmp_path) as ship:
        report(ship, 50.0)
        await until(lambda: len(out(ship)) == 2)
        assert (await tell(ship, "/stop", {"who": "Ines"}))["ok"]
        had = out(ship)
        disk.stuck = True
        assert (await tell(ship, "/decide", {"do": "resume", "who": "Ines"}))["ok"]
        assert (await tell(ship, "/stop", {"who": "Jorge"}))["ok"]
        disk.stuck = False
        await until(lambda: not ship._journal._waiting)  # type: ignore[union-attr]
        later_us = ship.now_us() + 2_500_000
        await until(lambda: ship.now_us() > later_us)
        assert out(ship) == had
        assert all(channel.held for channel in ship.pipeline.channels)
