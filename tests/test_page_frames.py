"""What the page draws again and what it keeps: kept pictures are those of a page that draws from the start."""

from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager

import pytest
from playwright.async_api import Browser

from followers_page import LAPTOP, PHONE, Follower, demo_dive, follower
from peers import publish
from test_page import address, site_at

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
DRAWINGS = ("plan", "column", "depth", "ribbon")
MOMENTS_S = (3_900, 1_200, 1_201, 2_600, 60, 3_400, 900)
COUNTED = """
const hand_over = ImageBitmapRenderingContext.prototype.transferFromImageBitmap;
window.drawn = new Map();
ImageBitmapRenderingContext.prototype.transferFromImageBitmap = function (picture) {
  window.drawn.set(this.canvas, (window.drawn.get(this.canvas) ?? 0) + 1);
  return hand_over.call(this, picture);
};
"""
_DRAWN = "(id) => [...document.querySelectorAll(`#${id} canvas`)].map((canvas) => window.drawn.get(canvas) ?? 0)"
# The page asks for frames one by one, and for none when nothing is left to draw: how many it waits for is counted.
ASKED = """
window.frame = requestAnimationFrame.bind(window);
window.awaited = 0;
window.requestAnimationFrame = (run) => {
  window.awaited += 1;
  return window.frame((now_ms) => {
    window.awaited -= 1;
    run(now_ms);
  });
};
"""
# What is told within a frame (a size, inks) has asked for the next one before this many have passed.
_AT_REST = """(least) => new Promise((done) => {
  let idle = 0;
  const next = () => {
    idle = window.awaited === 0 ? idle + 1 : 0;
    if (idle > least) done();
    else window.frame(next);
  };
  next();
})"""
Change = Callable[[Follower], Awaitable[None]]


@asynccontextmanager
async def opened(browser: Browser, link: str, *scripts: str) -> AsyncIterator[Follower]:
    """Yield somebody who has opened a link on a phone, where frames are counted (and what further `scripts` count)."""
    async with follower(browser, "about:blank", PHONE) as someone:
        await someone.page.add_init_script("\n".join([ASKED, *scripts]))
        await someone.page.goto(link)
        yield someone


async def at_rest(someone: Follower, at_s: int) -> None:
    """Wait until the page shows a moment and its hand rests."""
    await someone.page.locator(f'[role=slider][aria-valuenow="{at_s}"]').wait_for()
    await someone.page.evaluate(_AT_REST, 5)


async def drawn(someone: Follower, at_s: int) -> list[bytes]:
    """Return all drawings, once the page shows a moment and its hand rests."""
    await at_rest(someone, at_s)
    await someone.page.evaluate("scrollTo(0, 0)")  # a page that was pushed along by words may lie between two pixels
    places = [someone.page.locator(f"#{drawing} :is(.paper, .ribbon), .ribbon#{drawing}") for drawing in DRAWINGS]
    return [await place.first.screenshot(animations="disabled") for place in places]


async def go(someone: Follower, at_s: int) -> None:
    """Go to a moment of the dive, as a link does."""
    await someone.page.evaluate("(hash) => { location.hash = hash; }", f"#dive=1&at={at_s}")


async def nothing(someone: Follower) -> None:
    """Change nothing."""


async def larger(someone: Follower) -> None:
    """Give the page more room."""
    await someone.page.set_viewport_size({"width": LAPTOP[0], "height": LAPTOP[1]})


async def other_inks(someone: Follower) -> None:
    """Ask for the reader's own colours."""
    await someone.page.emulate_media(forced_colors="active")


async def other_units(someone: Follower) -> None:
    """Ask for feet."""
    await someone.page.locator("#choices select").first.select_option("foot")


@pytest.mark.parametrize("change", [nothing, larger, other_inks, other_units])
async def test_drawings_come_to_the_same_whatever_was_shown_before(browser: Browser, change: Change) -> None:
    """After going to and fro, and after a change of size, inks or units, each picture is that of a fresh page."""
    async with site_at() as site:
        publish(site, demo_dive())
        async with opened(browser, address(site) + f"#dive=1&at={MOMENTS_S[0]}") as someone:
            await at_rest(someone, MOMENTS_S[0])
            for at_s in MOMENTS_S[1:-1]:
                await go(someone, at_s)
                await at_rest(someone, at_s)
            await change(someone)
            await go(someone, MOMENTS_S[0])
            await at_rest(someone, MOMENTS_S[0])
            await go(someone, MOMENTS_S[-1])
            kept = await drawn(someone, MOMENTS_S[-1])
        async with opened(browser, address(site) + f"#dive=1&at={MOMENTS_S[-1]}") as fresh:
            await change(fresh)
            if change is not nothing:
                await fresh.page.reload()
            if change is other_inks:
                await other_inks(fresh)
            first = await drawn(fresh, MOMENTS_S[-1])
    assert [one == other for one, other in zip(kept, first, strict=True)] == [True] * len(DRAWINGS)


async def dragged(someone: Follower, *along: int) -> list[bytes]:
    """Press on the ribbon, drag along it, let go, and return all drawings at rest."""
    await someone.says(someone.headline, "The dive is over")
    await someone.ribbon.scroll_into_view_if_needed()
    box = await someone.ribbon.bounding_box()
    assert box
    await someone.page.mouse.move(box["x"] + along[0], box["y"] + 10)
    await someone.page.mouse.down()
    for x in along[1:]:
        await someone.page.mouse.move(box["x"] + x, box["y"] + 10)
    await someone.page.mouse.up()
    await someone.page.wait_for_url("**/#dive=1&at=*")
    return await drawn(someone, round(float(someone.page.url.split("at=")[1])))


async def test_moment_of_a_drag_is_the_moment_drawn(browser: Browser) -> None:
    """When the hand that dragged along the ribbon rests, every drawing is that of a page that was pressed there."""
    async with site_at() as site:
        publish(site, demo_dive())
        async with opened(browser, address(site)) as someone:
            pictures = await dragged(someone, 80, 300, 120, 260, 90, 200, 199, 210, 180)
        async with opened(browser, address(site)) as fresh:
            assert await dragged(fresh, 180) == pictures


async def test_going_through_the_dive_draws_neither_depth_nor_legs(browser: Browser) -> None:
    """Depth and the ribbon's legs are drawn when something came; on the way only the plan is, and crossed flags."""
    async with site_at() as site:
        frames = demo_dive()
        publish(site, frames[:-40])
        async with opened(browser, address(site) + "#dive=1&at=3000", COUNTED) as someone:
            await at_rest(someone, 3_000)
            before = {drawing: await someone.page.evaluate(_DRAWN, drawing) for drawing in DRAWINGS}
            for at_s in MOMENTS_S[1:]:
                await go(someone, at_s)
                await at_rest(someone, at_s)
            after = {drawing: await someone.page.evaluate(_DRAWN, drawing) for drawing in DRAWINGS}
            assert after["depth"] == before["depth"]
            assert after["ribbon"][0] == before["ribbon"][0]
            assert after["ribbon"][1] > before["ribbon"][1]
            assert before["plan"][0] < after["plan"][0] <= before["plan"][0] + 2 * (len(MOMENTS_S) - 1)
            last = await someone.page.evaluate("document.querySelector('[role=slider]').getAttribute('aria-valuemax')")
            publish(site, frames[-40:-30])
            await someone.page.locator(f'[role=slider]:not([aria-valuemax="{last}"])').wait_for()
            await at_rest(someone, MOMENTS_S[-1])
            came = {drawing: await someone.page.evaluate(_DRAWN, drawing) for drawing in DRAWINGS}
            assert all(now > then for now, then in zip(came["depth"], after["depth"], strict=True))
            assert came["ribbon"][0] > after["ribbon"][0]
            assert came["plan"] == after["plan"]
