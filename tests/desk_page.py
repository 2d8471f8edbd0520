"""The desk's page in a real browser, at the desk of a real relay: a ship, her station, and an operator's hands.

Everything runs as it runs aboard: the relay's own parts in this process, real sockets, a real browser. An operator
works by mouse alone or by keyboard alone; what was decided is looked up in the relay itself.
"""

import asyncio
import json
import math
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import Any, Protocol

from playwright.async_api import Browser, Locator, Page

from followers_page import Follower
from peers import until
from relay.core.channel import Channel
from relay.core.decision import Decision
from relay.shell.plan.expedition import read_expedition
from relay.shell.record.clock import MachineTime
from relay.shell.ship.running import new_site
from relay.shell.ship.ship import Ship
from ship_process import free_port

# Whether a control stands after (1) or before (-1) what has the focus, or has it itself (0).
WHERE = """control => control === document.activeElement ? 0
    : control.compareDocumentPosition(document.activeElement) & Node.DOCUMENT_POSITION_PRECEDING ? 1 : -1"""
SMALL, LARGE = (1024, 700), (1440, 900)
PATIENCE_S = 60
REPORT_S = 0.2
PLACE = (-12.5, 71.25)  # an invented place, far from any coast
TEXT = """
[expedition]
name = "The search for the Isoline Marr"
ship = "Harrow Tern"
wreck = "Isoline Marr"

[public]
listen = "127.0.0.1:0"

[desk]
listen = "127.0.0.1:0"

[dive]
begins = "depth"
begin_depth = "500 m"
quiet_ends_after = "10 min"
surfaced_ends_after = "10 min"

[[vehicle]]
name = "Lantern"

[[vehicle]]
name = "Moth"

[[feed]]
name = "station-a"
format = "station-json"
from = "tcp-listen://127.0.0.1:{port}"

[[audience]]
name = "public"
open = true
delay = "2 s"
extra = "0 s"
tick = "1 s"
fields = ["track", "depth", "altitude", "heading", "mode", "leg", "notes"]
cell = "10 m"
depth_step = "2 m"
track_legs = ["deck", "descent", "bottom", "ascent"]

[[audience]]
name = "funders"
delay = "20 min"
extra = "0 s"
tick = "1 s"
fields = ["track", "depth", "altitude", "notes"]
cell = "50 m"
depth_step = "5 m"
"""


@dataclass
class Station:
    """A control station that reports both vehicles five times a second."""

    port: int
    sent: int = 0

    async def talk(self) -> None:
        """Report until cancelled."""
        while True:
            with suppress(OSError):
                _, writer = await asyncio.open_connection("127.0.0.1", self.port)
                try:
                    await self._report(writer)
                finally:
                    writer.close()
            await _passed(REPORT_S)

    async def _report(self, writer: asyncio.StreamWriter) -> None:
        for turn in count():
            for at, name in enumerate(("Lantern", "Moth")):
                writer.write(json.dumps(self.report(name, at, turn)).encode() + b"\n")
            await writer.drain()
            self.sent += 2
            await _passed(REPORT_S)

    @staticmethod
    def report(name: str, at: int, turn: int) -> dict[str, Any]:
        """Return a report: round and round, some 40 m from where it began."""
        east_m, north_m = 40 * math.sin(turn / 40) + 30 * at, 40 * math.cos(turn / 40)
        place = {"latitude_deg": PLACE[0] + north_m / 111_000, "longitude_deg": PLACE[1] + east_m / 108_000}
        return {"vehicle": name, **place, "depth_m": 120.0 + at, "altitude_m": 3.0, "heading_deg": turn * 3 % 360}


async def _passed(time_s: float) -> None:
    """Let real time pass, at whose pace a station talks."""
    passed = asyncio.Event()
    asyncio.get_running_loop().call_later(time_s, passed.set)
    await passed.wait()


@dataclass
class Aboard:
    """A ship under way and what an operator's decisions did to her relay."""

    ship: Ship
    station: Station

    @property
    def url(self) -> str:
        """The desk's address, the token behind it."""
        assert self.ship.desk is not None
        return self.ship.desk.server.url

    def channel(self, audience: str) -> Channel:
        """Return the channel of an audience."""
        return next(one for one in self.ship.pipeline.channels if one.policy.audience == audience)

    @property
    def held(self) -> set[str]:
        """The audiences held."""
        return {one.policy.audience for one in self.ship.pipeline.channels if one.held}

    @property
    def under_way(self) -> bool:
        """Whether a dive is under way."""
        return self.ship.pipeline.present.under_way(self.ship.now_us())

    def decided(self) -> list[tuple[str, Decision]]:
        """Return what was decided, with who decided it, oldest first."""
        return [(taken.who, taken.decision) for taken in self.ship.pipeline.taken]

    async def comes(self, condition: Callable[[], object]) -> None:
        """Wait until something is so in the relay, and what was decided is on her disk: a hold acts before it is."""
        async with asyncio.timeout(PATIENCE_S):
            await until(lambda: bool(condition()))
        assert await self.ship.settled(PATIENCE_S)

    @asynccontextmanager
    async def decides(self, *expected: type[Decision], who: str = "Ada") -> AsyncIterator[list[Decision]]:
        """Yield a list that holds, afterwards, what was decided meanwhile: exactly these kinds, by this name.

        The page may say a thing a moment before it counts among what was decided: a slow disk is waited for.
        """
        before, seen = len(self.decided()), list[Decision]()
        yield seen
        with suppress(TimeoutError):
            await self.comes(lambda: len(self.decided()) - before >= len(expected))
        new = self.decided()[before:]
        seen += [decision for _, decision in new]
        assert [(name, type(decision)) for name, decision in new] == [(who, kind) for kind in expected], new

    @asynccontextmanager
    async def away(self) -> AsyncIterator[None]:
        """Take the desk's server away for a while; the relay itself goes on."""
        assert self.ship.desk is not None
        server = self.ship.desk.server
        where = server.address
        await server.close()
        yield
        await server.start(*where)


@asynccontextmanager
async def aboard(folder: Path, text: str = TEXT) -> AsyncIterator[Aboard]:
    """Yield a ship whose station talks and whose desk is open, no dive begun; `text`: her expedition file."""
    station = Station(free_port())
    path = folder / "EXPEDITION.toml"
    path.write_text(text.format(port=station.port), encoding="utf-8")
    expedition = read_expedition(path)
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    await ship.start()
    jobs = [asyncio.ensure_future(ship.serve()), asyncio.ensure_future(station.talk())]
    try:
        here = Aboard(ship, station)
        await here.comes(lambda: ship.pipeline.now.states[1].heard_us is not None)
        yield here
    finally:
        for job in jobs:
            job.cancel()
        await asyncio.gather(*jobs, return_exceptions=True)
        await ship.close()


class Hands(Protocol):
    """How somebody works: everything at the desk is done by these five."""

    async def go(self, place: str) -> None:
        """Go to a part of the page, unfolding it."""
        ...

    async def press(self, control: Locator) -> None:
        """Press a button, or tick a box."""
        ...

    async def write(self, control: Locator, text: str) -> None:
        """Put a text into a field."""
        ...

    async def choose(self, control: Locator, words: str) -> None:
        """Choose one of several."""
        ...


@dataclass
class Mouse:
    """Works by mouse; only what must be typed is typed."""

    page: Page

    async def go(self, place: str) -> None:
        part = self.page.locator(f"details:has(#at-{place})")
        if await part.count() and not await part.evaluate("part => part.open"):
            await self.page.locator(f"#at-{place}").click()

    async def press(self, control: Locator) -> None:
        await control.click()

    async def write(self, control: Locator, text: str) -> None:
        await control.click(click_count=3)
        await self.page.keyboard.press("Control+A")
        await self.page.keyboard.type(text)

    async def choose(self, control: Locator, words: str) -> None:
        await control.select_option(label=words)


@dataclass
class Keyboard:
    """Works without a mouse: letters, Tab, Enter, Space, arrows."""

    page: Page
    letters: dict[str, str] = field(
        default_factory=lambda: {
            "hold": "h", "cut": "c", "dive": "d", "ribbon": "r", "say": "s", "waiting": "w", "targets": "t",
            "finds": "n", "legs": "l", "zones": "z", "early": "e", "out": "o", "programme": "p", "feeds": "f",
            "decisions": "j", "uplink": "u", "guests": "i", "promises": "a",
        }
    )  # fmt: skip

    async def go(self, place: str) -> None:
        await self.page.keyboard.press("Escape")
        await self.page.keyboard.press(self.letters[place])

    async def _reach(self, control: Locator) -> None:
        """Tab on until a control has the focus, in the direction in which it stands."""
        ways = await control.evaluate(WHERE)
        for key in [*["Tab"] * (24 if ways > 0 else 0), *["Shift+Tab"] * (24 if ways < 0 else 0)]:
            await self.page.keyboard.press(key)
            if await control.evaluate("control => control === document.activeElement"):
                return
        assert ways == 0, f"{control} can't be reached by keyboard"

    async def press(self, control: Locator) -> None:
        await self._reach(control)
        await self.page.keyboard.press("Space")

    async def write(self, control: Locator, text: str) -> None:
        await self._reach(control)
        await self.page.keyboard.press("Control+A")
        await self.page.keyboard.type(text)

    async def choose(self, control: Locator, words: str) -> None:
        await self._reach(control)
        await self.page.keyboard.type(words)


class Operator(Follower):
    """One person at the desk, by name."""

    async def is_heard(self) -> None:
        """Wait until the page hears the ship and shows something of her."""
        await self.says(self.page.get_by_role("status"), "Connected to the ship.")
        await self.page.locator("body[data-known]").wait_for()

    async def is_called(self, name: str) -> None:
        """Say who decides, as the page asks for once."""
        await self.page.get_by_label("Your name").fill(name)
        await self.page.keyboard.press("Enter")
        await self.says(self.page.locator("#head"), f"You: {name}")

    def part(self, place: str) -> Locator:
        """A part of the page by its heading."""
        return self.page.locator(f":is(details, section):has(> #at-{place}, > summary#at-{place})")

    def pressed(self, place: str, name: str) -> Locator:
        """A button of a part, by its words."""
        return self.part(place).get_by_role("button", name=name, exact=True)

    def labelled(self, place: str, name: str) -> Locator:
        """A field of a part, by its label."""
        return self.part(place).get_by_label(name, exact=True)


@asynccontextmanager
async def operator(
    browser: Browser, address: str, size: tuple[int, int] = LARGE, name: str = "Ada", **options: Any
) -> AsyncIterator[Operator]:
    """Yield somebody who has just opened the desk, and said who it is; at the end the page must be without faults."""
    context = await browser.new_context(viewport={"width": size[0], "height": size[1]}, **options)
    someone = Operator(await context.new_page())
    await someone.page.goto(address)
    await someone.is_heard()
    await someone.is_called(name)
    yield someone
    await context.close()
    assert someone.faults == []
