"""What the desk's watch works out and keeps is of one moment, whatever its loop takes while its thread is at it."""

import asyncio
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import peers
from relay.core.ground import Ground
from relay.core.reach import Tether
from relay.core.survey_day import SurveyDay
from relay.core.survey_plan import Gear, SurveyPlan
from relay.core.swath import Swath
from relay.shell.desk.desk_watch import Watch
from relay.shell.desk.watch_file import NAME
from test_desk_watch import NAMES, SECOND, report
from test_swath import at_metres

GEAR = Gear(Tether(1_000.0), Swath(100.0))
BOTH = SurveyPlan((GEAR, GEAR))


def surveying(watch: Watch, begin_s: int, end_s: int, vehicle: int = 0) -> None:
    """Report a line to the east at 3 m/s, 40 m deep: a leg every fourth second."""
    for at in range(begin_s, end_s):
        watch.take(vehicle, at * SECOND, report(at_metres(3.0 * at, 90.0 * vehicle), depth_m=40.0))


class Held:
    """A step of the watch's thread that waits before it begins until it is let go."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, owner: type, name: str) -> None:
        self.begun, self.goes_on, self.over = threading.Event(), threading.Event(), threading.Event()
        step = getattr(owner, name)

        def held(*values: Any) -> Any:
            self.begun.set()
            self.goes_on.wait(peers.PATIENCE_S)
            try:
                return step(*values)
            finally:
                self.over.set()

        monkeypatch.setattr(owner, name, held)

    async def catch_up(self, watch: Watch, meanwhile: Callable[[], None]) -> None:
        """Let the watch catch up and keep, and do something on the loop while the step waits."""
        job = asyncio.ensure_future(watch.catch_up(keep=True))
        try:
            async with asyncio.timeout(peers.PATIENCE_S):
                await peers.until(lambda: self.begun.is_set() or job.done())
            assert not job.done()
            meanwhile()
        finally:
            self.goes_on.set()
            await job


async def test_vehicle_may_begin_while_the_ground_of_another_is_worked_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first leg of a second vehicle ends no watch: tethers are watched on, and its ground counts next."""
    watch = Watch(NAMES, BOTH)
    surveying(watch, 0, 60)
    await Held(monkeypatch, Ground, "work").catch_up(watch, lambda: surveying(watch, 30, 90, vehicle=1))
    assert watch.fault is None
    await watch.catch_up()
    assert [watch.section(at, 0)["survey"]["passes"] for at in (0, 1)] == [1, 1]
    assert watch.section(1, 0)["survey"]["area_km2"] == pytest.approx(100.0 * 177.0 / 1e6, rel=0.01)


TAKEN = {
    "it goes on": lambda watch: surveying(watch, 200, 230),
    "it comes back from a silence": lambda watch: surveying(watch, 400, 430),
    "another begins": lambda watch: surveying(watch, 200, 230, vehicle=1),
}


@pytest.mark.parametrize("step", ["work", "covered", "saved"])
@pytest.mark.parametrize("taken", TAKEN)
async def test_what_is_kept_is_of_the_moment_at_which_it_was_begun(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str, taken: str
) -> None:
    """What comes while it is worked out is in no part of the file: a restart reads it again, and counts it once."""
    for name in ("apart", "meanwhile"):
        (tmp_path / name).mkdir()
    apart, watch = (Watch(NAMES, BOTH, tmp_path / name) for name in ("apart", "meanwhile"))
    for one in (apart, watch):
        surveying(one, 0, 200)
    await apart.catch_up(keep=True)
    await Held(monkeypatch, Ground, step).catch_up(watch, lambda: TAKEN[taken](watch))
    assert (tmp_path / "apart" / NAME).read_text() == (tmp_path / "meanwhile" / NAME).read_text()
    TAKEN[taken](apart)
    for one in (apart, watch):
        await one.catch_up(keep=True)
        assert one.fault is None
    told, right = ([one.section(at, 0)["survey"]["area_km2"] for at in (0, 1)] for one in (watch, apart))
    assert told == pytest.approx(right, rel=1e-6)


async def test_leg_laid_while_a_work_ends_is_counted_by_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    """Though nothing comes after it: a vehicle may go silent with it."""
    whole, watch = Watch(NAMES, BOTH), Watch(NAMES, BOTH)
    for one in (whole, watch):
        surveying(one, 0, 206)
    surveying(whole, 206, 209)
    await whole.catch_up()
    work, lay = Held(monkeypatch, SurveyDay, "work"), SurveyDay._lay

    def lay_late(*values: Any) -> None:
        work.goes_on.set()
        assert work.over.wait(peers.PATIENCE_S)
        lay(*values)

    monkeypatch.setattr(SurveyDay, "_lay", lay_late)
    await work.catch_up(watch, lambda: surveying(watch, 206, 209))
    await watch.catch_up()
    assert watch.fault is None
    told, right = (one.section(0, 0)["survey"]["area_km2"] for one in (watch, whole))
    assert told == pytest.approx(right, rel=1e-9)
