"""Every state of everything that followers are shown, at three sizes: accessible, on the sheet, and to be looked at.

With OFFING_PICTURES=FOLDER a picture of each state is written there.
"""

import os
from collections.abc import Awaitable, Callable
from contextlib import AsyncExitStack
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.async_api import Browser

from followers_page import LAPTOP, PHONE, RECORDING, Follower, demo_dive, follower
from lying_shore import altered, lying_shore
from peers import publish
from relay.__main__ import main
from relay.shell.site.site import Site
from released import dive
from test_briefing import without_policy
from test_page import AXE, address, resized, site_at, violations

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
TABLET = (768, 1024)
DESCENT_S, TWO_BELOW_S = 900, 4_600


@dataclass
class Scene:
    """A site, somebody who has its page open, and what ends with them."""

    browser: Browser
    size: tuple[int, int]
    stack: AsyncExitStack
    folder: Path

    async def opened(self, upto_s: float | None, where: str = "") -> tuple[Follower, Site]:
        """Open a site's page after so much of the demo's dive has been released (None: nothing)."""
        site = await self.stack.enter_async_context(site_at())
        if upto_s is not None:
            publish(site, demo_dive(upto_s))
        return await self.shown(address(site) + where), site

    async def shown(self, at: str, **options: object) -> Follower:
        """Open an address; the rules are looked at by a script put into the page, for which the policy is lifted."""
        someone = follower(self.browser, at, self.size, bypass_csp=True, **options)
        return await self.stack.enter_async_context(someone)


async def before_a_dive(scene: Scene) -> Follower:
    """Nobody has dived yet."""
    someone, _ = await scene.opened(None)
    await someone.says(someone.headline, "No dive yet")
    return someone


async def descent(scene: Scene) -> Follower:
    """One vehicle is on its way down."""
    someone, _ = await scene.opened(DESCENT_S)
    await someone.says(someone.headline, "Lantern is on the way down")
    return someone


async def two_below(scene: Scene) -> Follower:
    """Two vehicles work on the seabed."""
    someone, _ = await scene.opened(TWO_BELOW_S)
    await someone.says(someone.headline, "Lantern and Moth are at work below")
    return someone


async def held(scene: Scene) -> Follower:
    """The release is held: reports are overdue, though the line is not lost."""
    someone, _ = await scene.opened(TWO_BELOW_S)
    await someone.page.clock.install()
    await someone.page.reload()
    await someone.says(someone.connection, "connected")
    await someone.page.clock.fast_forward(12_000)
    await someone.says(someone.connection, "delayed: nothing new for")
    return someone


async def link_lost(scene: Scene) -> Follower:
    """The site does not answer any more."""
    someone, site = await scene.opened(TWO_BELOW_S)
    await someone.says(someone.connection, "connected")
    await site.close()
    await someone.says(someone.connection, "disconnected: trying again in")
    # That nobody answers is told on the console by the browser itself.
    refused = "ERR_CONNECTION_REFUSED"
    scene.stack.callback(
        lambda: someone.faults.__setitem__(slice(None), [f for f in someone.faults if refused not in f])
    )
    return someone


async def altered_on_its_way(scene: Scene) -> Follower:
    """A shore between the site and this page has altered a record."""
    site = await scene.stack.enter_async_context(site_at())
    publish(site, dive(1, 6, closed=False))
    shore = await scene.stack.enter_async_context(
        lying_shore(address(site), history=lambda frames: [*frames[:4], altered(frames[4]), *frames[5:]])
    )
    someone = await scene.shown(shore.address)
    await someone.says(someone.page.get_by_role("alert"), "Altered on its way")
    # What was found out before the live tail was open closes it: the browser itself tells that on its console.
    early = "closed before the connection"
    scene.stack.callback(lambda: someone.faults.__setitem__(slice(None), [f for f in someone.faults if early not in f]))
    return someone


async def another_key(scene: Scene) -> Follower:
    """The dive is signed with another key than this browser has kept; what stands behind the line is opened."""
    someone, _ = await scene.opened(TWO_BELOW_S)
    await someone.page.evaluate("key => localStorage.setItem('offing key /', key)", "0f" * 32)
    await someone.page.reload()
    await someone.says(someone.page.get_by_role("alert"), "Another key than before")
    await someone.page.locator("#proof summary").click()
    await someone.page.locator("#proof code").wait_for()
    return someone


async def dive_over(scene: Scene) -> Follower:
    """The dive is over and summed up."""
    someone, _ = await scene.opened(float("inf"))
    await someone.says(someone.headline, "The dive is over")
    return someone


async def replay(scene: Scene) -> Follower:
    """An earlier moment is shown, at rest, while the dive goes on."""
    someone, _ = await scene.opened(TWO_BELOW_S, "#dive=1&at=3000")
    await someone.page.locator('[role=slider][aria-valuenow="3000"]').wait_for()
    return someone


async def three_dimensions(scene: Scene) -> Follower:
    """The track over its sketched seabed."""
    someone, _ = await scene.opened(TWO_BELOW_S)
    await someone.button("See it in three dimensions").click()
    await someone.page.get_by_role("application").locator("canvas").first.wait_for()
    return someone


async def expedition(scene: Scene) -> Follower:
    """The list of dives, made by the server."""
    someone, _ = await scene.opened(float("inf"), "expedition.html")
    await someone.page.get_by_role("heading", level=1).wait_for()
    return someone


async def one_dive(scene: Scene) -> Follower:
    """One dive's own page, made by the server."""
    someone, _ = await scene.opened(float("inf"), "dive-001.html")
    await someone.page.get_by_role("heading", level=1).wait_for()
    return someone


def _briefing(scene: Scene) -> str:
    """Return where a briefing lies, made once for all who open it: the command's own tests are elsewhere."""
    out, opened = scene.folder / "briefing.html", scene.folder / "open.html"
    if not opened.exists():
        assert main(["brief", str(RECORDING), "-o", str(out)]) == 0
        without_policy(out, opened)
    return opened.as_uri()


async def briefing(scene: Scene) -> Follower:
    """A briefing, opened from disk without a network."""
    someone = await scene.shown(_briefing(scene), offline=True)
    await someone.says(someone.headline, "The dive is over")
    return someone


async def briefing_on_paper(scene: Scene) -> Follower:
    """The same, as it is printed."""
    someone = await briefing(scene)
    await someone.page.emulate_media(media="print")
    return someone


STATES: tuple[Callable[[Scene], Awaitable[Follower]], ...] = (
    before_a_dive, descent, two_below, held, link_lost, altered_on_its_way, another_key, dive_over, replay, expedition,
    one_dive, briefing, briefing_on_paper,
)  # fmt: skip
State = Callable[[Scene], Awaitable[Follower]]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return one folder for all of them."""
    return tmp_path_factory.mktemp("states")


SIZES = [PHONE, TABLET, LAPTOP]  # from small to large, as the page is given room


@pytest.mark.parametrize("state", STATES, ids=lambda state: state.__name__.replace("_", "-"))
async def test_state_is_accessible_and_fits_its_sheet(browser: Browser, state: State, folder: Path) -> None:
    """axe-core finds nothing against WCAG 2.2 A and AA nor best practice, nothing goes sideways, no fault is logged."""
    await look_at(browser, state, folder)


async def test_three_dimensions_are_accessible_and_fit_their_sheet(drawing_browser: Browser, folder: Path) -> None:
    """The same of the track over its sketched seabed, in a browser that draws WebGL."""
    await look_at(drawing_browser, three_dimensions, folder)


async def look_at(browser: Browser, state: State, folder: Path) -> None:
    """Open a page in a state, and hold it to the rules at each size: it is opened once and then given more room."""
    found: dict[str, list[str]] = {}
    async with AsyncExitStack() as stack:
        someone = await state(Scene(browser, SIZES[0], stack, folder))
        untouched = "target-size: " if state is briefing_on_paper else "none"  # nobody presses a button on paper
        for size in SIZES:
            await resized(someone, size)
            if to := os.environ.get("OFFING_PICTURES"):
                await someone.page.evaluate("new Promise((done) => setTimeout(done, 400))")
                await someone.page.screenshot(path=Path(to) / f"{state.__name__}-{size[0]}.png", full_page=True)
            if size == SIZES[0]:
                await someone.page.add_script_tag(path=str(AXE))
            wrong = [one for one in await violations(someone.page) if not one.startswith(untouched)]
            assert await someone.page.evaluate("innerWidth") == size[0]
            sideways = await someone.page.evaluate("document.documentElement.scrollWidth - innerWidth")
            found[f"{size[0]}px"] = [*wrong, *([f"goes {sideways} px sideways"] if sideways > 0 else [])]
    assert found == {f"{size[0]}px": [] for size in SIZES}
