"""The drawing in three dimensions in a real browser: fetched when asked for, turned, closed; and what it says."""

import asyncio
import io
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import numpy as np
import pytest
import pytest_asyncio
from PIL import Image
from playwright.async_api import Browser, Locator, Playwright

from followers_page import Follower, chromium, demo_dive, follower
from peers import PATIENCE_S, publish, until
from relay.shell.site.site import Site
from released import dive
from test_page import AXE, address, site_at, violations

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
OPEN, CLOSE = "See it in three dimensions", "Close the three dimensions"


@asynccontextmanager
async def watching(
    drawing_browser: Browser, upto_s: float = 4_010, link: str = ""
) -> AsyncIterator[tuple[Follower, Site]]:
    """Yield somebody who follows the demo's dive, or has opened a link to it."""
    async with site_at() as site:
        publish(site, demo_dive(upto_s))
        async with follower(drawing_browser, address(site) + link) as someone:
            await someone.ribbon.wait_for()
            yield someone, site


def drawing(someone: Follower) -> Locator:
    """What is focused to turn the drawing."""
    return someone.page.get_by_role("application", name="arrow keys turn it")


async def picture(someone: Follower) -> np.ndarray:
    """Return the pixels of the drawing once nothing is left to draw."""
    await someone.drawn()
    return np.asarray(Image.open(io.BytesIO(await drawing(someone).screenshot())).convert("RGB")).astype(int)


async def renders(someone: Follower) -> int:
    """Return how often the drawing was drawn, once nothing is left to draw."""
    await someone.page.evaluate("new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done)))")
    return int(await drawing(someone).locator("canvas").first.get_attribute("data-renders") or "0")


async def opened(someone: Follower) -> None:
    """Ask for the drawing and wait for it."""
    await someone.button(OPEN).click()
    await drawing(someone).locator("canvas[data-renders]").wait_for()


@pytest_asyncio.fixture(scope="module", loop_scope="session")
async def open_space(drawing_browser: Browser) -> AsyncIterator[Follower]:
    """Somebody who has the drawing of a moment open: whoever does something to it leaves it as it was.

    The dive is over: no words change meanwhile, which would push the drawing along.
    """
    async with watching(drawing_browser, float("inf"), "#dive=1&at=4010") as (someone, _):
        await someone.page.locator('[role=slider][aria-valuenow="4010"]').wait_for()
        await opened(someone)
        yield someone


def scripts(someone: Follower) -> set[str]:
    """Return the addresses of the scripts that the page has asked for."""
    return {asked for asked in someone.asked if asked.endswith(".js")}


async def test_space_is_fetched_only_when_asked_for(drawing_browser: Browser) -> None:
    """Nothing of it is in what a follower loads first; then one script more, from this site."""
    async with watching(drawing_browser) as (someone, site):
        async with asyncio.timeout(PATIENCE_S):
            await until(lambda: len(scripts(someone)) == 3)
        before = scripts(someone)  # the wait until what came is painted, the page, and what is to come
        await opened(someone)
        (more,) = scripts(someone) - before
        assert more.startswith(address(site))


async def test_space_draws_seabed_and_track_in_ink(open_space: Follower) -> None:
    """The drawing has the paper's ground, the wash of the steps, ink and the one accent, and follows the playhead."""
    pixels = await picture(open_space)
    for colour in ((245, 247, 244), (223, 232, 233), (21, 36, 46), (156, 20, 88)):
        near = np.abs(pixels - colour).max(axis=2) <= 12
        assert near.sum() > 100, colour
    await open_space.ribbon.press("PageDown")
    assert (await picture(open_space) != pixels).any()
    await open_space.ribbon.press("PageUp")
    assert (await picture(open_space) == pixels).all()


async def test_space_is_turned_by_keys_buttons_and_pointer(open_space: Follower) -> None:
    """Each way of turning changes picture and label; Home brings both back; the playhead stays where it is."""
    someone, label = open_space, drawing(open_space).get_by_role("img")
    first, said = await picture(someone), await label.get_attribute("aria-label")
    moment = await someone.ribbon.get_attribute("aria-valuenow")
    await drawing(someone).focus()
    for key in ("ArrowRight",) * 9 + ("ArrowUp", "+"):
        await someone.page.keyboard.press(key)
    assert (await picture(someone) != first).any()
    assert await label.get_attribute("aria-label") != said
    await someone.page.keyboard.press("Home")
    assert (await picture(someone) == first).all()
    assert await label.get_attribute("aria-label") == said
    await someone.button("Turn left").click()
    assert (await picture(someone) != first).any()
    await someone.button("As at first").click()
    await drawing(someone).hover()
    await someone.page.mouse.down()
    await someone.page.mouse.move(500, 500, steps=3)
    await someone.page.mouse.up()
    assert (await picture(someone) != first).any()
    assert await someone.ribbon.get_attribute("aria-valuenow") == moment
    await someone.button("As at first").click()


async def test_space_draws_only_when_something_changed(open_space: Follower) -> None:
    """At rest nothing is drawn, nor by a key that changes nothing; one key that does, draws once."""
    await drawing(open_space).focus()
    before = await renders(open_space)
    await open_space.page.keyboard.press("Home")
    await open_space.page.keyboard.press("-")
    assert await renders(open_space) == before
    await open_space.page.keyboard.press("ArrowLeft")
    assert await renders(open_space) == before + 1
    await open_space.page.keyboard.press("Home")


async def test_space_closes_and_opens_again(drawing_browser: Browser) -> None:
    """Closed, it leaves no canvas and gives its context back; the button keeps the focus and opens it again."""
    async with watching(drawing_browser) as (someone, _):
        canvases = await someone.page.locator("canvas").count()
        for _ in range(2):
            await opened(someone)
            canvas = await drawing(someone).locator("canvas").first.element_handle()
            await someone.button(CLOSE).click()
            assert await someone.page.locator("canvas").count() == canvases
            assert await canvas.evaluate("canvas => canvas.getContext('webgl2').isContextLost()")
        assert await someone.page.evaluate("document.activeElement.textContent") == OPEN
        assert await someone.button(OPEN).get_attribute("aria-expanded") == "false"


async def test_space_passes_axe_and_fits(open_space: Follower) -> None:
    """axe-core (WCAG 2.2 AA and best practice) finds nothing in an opened one; small ones are in test_page_states."""
    await open_space.page.evaluate(AXE.read_text(encoding="utf-8"))
    assert await violations(open_space.page) == []
    assert await open_space.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


async def test_space_says_what_it_is_made_of(open_space: Follower) -> None:
    """Sketch, coarseness, heights, scale and turning are said beside the drawing."""
    told = open_space.page.locator("#space-drawing")
    for words in ("sketch of the seabed", "where no vehicle was, nothing", "Heights are drawn", "No side is north"):
        await open_space.says(told, words)


async def test_space_stays_open_in_other_words_and_units(drawing_browser: Browser) -> None:
    """Units and language chosen while it is open are those of the drawing, too."""
    async with watching(drawing_browser) as (someone, _):
        await opened(someone)
        await someone.page.locator("#units").select_option("fathom")
        await someone.says(someone.page.locator("#space-drawing"), "yd square")
        await someone.page.locator("#language").select_option("Deutsch")
        await someone.says(someone.page.locator("#space-drawing"), "Skizze des Meeresgrunds")
        await someone.page.locator("#space-drawing canvas[data-renders]").wait_for()


async def test_space_without_a_track_says_why(drawing_browser: Browser) -> None:
    """On a leg without a track there is no drawing, but a sentence."""
    async with watching(drawing_browser, upto_s=600) as (someone, _):
        await someone.button(OPEN).click()
        await someone.says(someone.page.locator("#space-drawing"), "No track is shown on this leg of the dive.")
        assert await drawing(someone).count() == 0


async def test_space_without_webgl_says_so(driver: Playwright) -> None:
    """A browser that has none is told of in words; the rest of the page goes on."""
    async with chromium("--disable-3d-apis", driver=driver) as poor, site_at() as site:
        publish(site, dive(1, 5, closed=False))
        async with follower(poor, address(site)) as someone:
            await someone.button(OPEN).click()
            await someone.says(someone.page.locator("#space"), "This browser cannot draw in three dimensions")
            assert await someone.page.locator("#space-drawing").is_hidden()
            publish(site, dive(1, 5)[6:])
            await someone.says(someone.headline, "The dive is over")


async def test_space_that_cannot_be_fetched_says_so(drawing_browser: Browser) -> None:
    """A script that doesn't come is told of in words, and can be asked for again."""
    async with watching(drawing_browser) as (someone, _):
        await someone.page.route("**/scene-*.js", lambda route: route.abort())
        await someone.button(OPEN).click()
        await someone.says(someone.page.locator("#space"), "could not be fetched")
        someone.faults[:] = [fault for fault in someone.faults if "ERR_FAILED" not in fault]
