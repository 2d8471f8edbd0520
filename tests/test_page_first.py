"""What is seen first: words and picture came with the page, and the dive is made sense of once they are painted."""

import asyncio

import pytest
from playwright.async_api import Browser, Route

from followers_page import demo_dive
from peers import publish
from test_page import address, site_at

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
WAITED_MS = 1_500  # the longest that the page waits for the picture
WATCHED = """
addEventListener('DOMContentLoaded', () => {
  const picture = document.querySelector('#first img');
  picture.addEventListener('load', () => { window.loaded_ms = performance.now(); });
  const look = () => {
    const heading = document.querySelector('#now h2');
    if (heading && heading.textContent.includes('Lantern')) window.drawn_ms = performance.now();
    else requestAnimationFrame(look);
  };
  look();
});
"""


async def seen(browser: Browser, meet: object) -> tuple[float | None, float]:
    """Return when picture and dive were there, in ms, where requests for the picture are met by `meet`."""
    async with site_at() as site:
        publish(site, demo_dive(4_600))
        context = await browser.new_context()
        page = await context.new_page()
        await page.add_init_script(WATCHED)
        await page.route("**/pictures/*", meet)  # type: ignore[arg-type]
        await page.goto(address(site), wait_until="commit")
        await page.locator("#now h2").filter(has_text="Lantern").wait_for(timeout=60_000)
        loaded_ms, drawn_ms = await page.evaluate("[window.loaded_ms ?? null, window.drawn_ms ?? performance.now()]")
        await context.close()
        return loaded_ms, drawn_ms


async def test_dive_waits_for_the_picture_that_came_with_the_page(browser: Browser) -> None:
    """A picture that takes half a second is seen before the page is busy with the dive.

    Again, where it took longer than a page waits for any: that is what a busy machine makes of half a second.
    """

    async def late(route: Route) -> None:
        answer = await route.fetch()
        held = asyncio.get_running_loop().create_future()
        asyncio.get_running_loop().call_later(0.5, held.set_result, None)
        await held
        await route.fulfill(response=answer)

    for _ in range(10):
        loaded_ms, drawn_ms = await seen(browser, late)
        if loaded_ms is not None and loaded_ms < WAITED_MS:
            break
    assert loaded_ms is not None
    assert 500 <= loaded_ms < WAITED_MS
    assert drawn_ms > loaded_ms


async def test_dive_does_not_wait_for_a_picture_that_does_not_come(browser: Browser) -> None:
    """Refused, or never answered: the dive is there all the same."""

    async def refused(route: Route) -> None:
        await route.abort()

    async def unanswered(_: Route) -> None:
        pass

    for meet in (refused, unanswered):
        loaded_ms, _ = await seen(browser, meet)
        assert loaded_ms is None
