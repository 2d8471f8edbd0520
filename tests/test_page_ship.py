"""A real relay, a station that talks to it, an operator who holds and cuts, and somebody ashore in a real browser."""

import asyncio
import json
import signal
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from urllib.request import urlopen

import pytest
from playwright.async_api import Browser

from followers_page import Follower, follower
from peers import PATIENCE_S, until
from relay.core.release import Kind
from relay.core.wire import read_recording
from relay.shell.desk.control import ask_control
from ship_process import ShipProcess, free_port, ship_process
from test_control import tell

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
NEVER = "this must never be read"
REPORT_S = 0.2


@dataclass
class Station:
    """A control station that reports a depth five times a second, dialling again whenever the relay has gone away."""

    port: int
    notes: list[str] = field(default_factory=list)
    sent: int = 0

    async def talk(self) -> None:
        """Report until cancelled; each note goes with the next report."""
        while True:
            with suppress(OSError):
                _, writer = await asyncio.open_connection("127.0.0.1", self.port)
                with closing(writer):
                    while not writer.is_closing():
                        report = {"depth_m": 12.0, **({"note": self.notes.pop(0)} if self.notes else {})}
                        writer.write(json.dumps(report).encode() + b"\n")
                        await writer.drain()
                        self.sent += 1
                        await asyncio.sleep(REPORT_S)
            await asyncio.sleep(REPORT_S)


@asynccontextmanager
async def voyage(browser: Browser, folder: Path) -> AsyncIterator[tuple[ShipProcess, Station, Follower]]:
    """Yield a ship under way with its station, and somebody who has opened its page."""
    port = free_port()
    source = f"tcp-listen://127.0.0.1:{port}"
    async with ship_process(folder, feed_format="station-json", source=source, delay="2 s", quiet="60 s") as ship:
        station = Station(port)
        talking = asyncio.ensure_future(station.talk())
        try:
            async with follower(browser, f"http://127.0.0.1:{ship.port}/") as someone:
                yield ship, station, someone
                # That nobody answers while the relay is dead is told on the console by the browser itself.
                someone.faults[:] = [fault for fault in someone.faults if "ERR_CONNECTION_REFUSED" not in fault]
        finally:
            talking.cancel()


async def received(ship: ShipProcess, station: Station) -> None:
    """Wait until the relay has received all that the station sends by now, its notes, too."""
    async with asyncio.timeout(PATIENCE_S):
        await until(lambda: not station.notes)
        sent, status = station.sent + 1, {"do": "status"}
        while (await ask_control(ship.expedition.parent / "private", status))["feeds"]["input"]["accepted"] < sent:
            pass


async def reads(someone: Follower, words: str) -> None:
    """Wait until a chapter says `words`."""
    await someone.says(someone.page.locator("#chapters li"), words)


async def test_hold_and_cut_as_somebody_ashore_sees_them(browser: Browser, tmp_path: Path) -> None:
    """Held: delayed, and the line says so. Cut meanwhile: never read, neither on the page nor in the recording."""
    async with voyage(browser, tmp_path) as (ship, station, someone):
        station.notes.append("the boiler is in sight")
        await reads(someone, "the boiler is in sight")
        await someone.says(someone.connection, "connected")
        assert (await tell(ship.expedition, "hold"))[0] == 0
        station.notes.append(NEVER)
        await received(ship, station)
        # All there is, however long the command takes to start: what is out already stays out.
        code, said, _ = await tell(ship.expedition, "cut", "10 min", "0 s")
        assert (code, said.startswith("Cut: what was received and told from ")) == (0, True)
        await someone.says(someone.connection, "delayed: nothing new for")
        await someone.says(
            someone.page.locator("#honest"), "You see this more than 2 seconds late: nothing newer has come."
        )
        assert (await tell(ship.expedition, "resume"))[0] == 0
        await someone.says(someone.connection, "connected")
        station.notes.append("and now the bow")
        await reads(someone, "and now the bow")
        recording = await asyncio.to_thread(_fetched, ship.port)
        assert NEVER.encode() not in recording
        assert NEVER not in await someone.page.content()
        assert [record.body[1] for record in read_recording(recording).records if record.kind == Kind.NOTE] == [
            "the boiler is in sight", "and now the bow",
        ]  # fmt: skip


async def test_relay_killed_and_started_again_is_followed_on(browser: Browser, tmp_path: Path) -> None:
    """kill -9: the page says so and dials again; then each report of the recording is on it, once."""
    async with voyage(browser, tmp_path) as (ship, station, someone):
        station.notes.append("before the end")
        await reads(someone, "before the end")
        await ship.stop(signal.SIGKILL)
        await someone.says(someone.connection, "disconnected")
        await ship.start()
        await someone.says(someone.connection, "connected")
        station.notes.append("after it")
        await reads(someone, "after it")
        assert (await tell(ship.expedition, "end"))[0] == 0
        await someone.says(someone.headline, "The dive is over")
        assert await someone.page.locator("#chapters li").filter(has_text="before the end").count() == 1
        records = read_recording(await asyncio.to_thread(_fetched, ship.port)).records
        assert [record.seq for record in records] == list(range(len(records)))
        await someone.page.get_by_text("The figures behind the drawings").click()
        ticks = sum(record.kind == Kind.TICK for record in records)
        await someone.says(someone.page.get_by_role("caption"), f"{ticks} reports")


def _fetched(port: int) -> bytes:
    """Return the recording of the first dive as it is given out."""
    with urlopen(f"http://127.0.0.1:{port}/recordings/public/dive-001.recording", timeout=10) as answer:
        body: bytes = answer.read()
        return body
