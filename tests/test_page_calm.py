"""The page for whoever asked their device for reduced motion: a replay steps once a second, and nothing else moves.

Source: Media Queries Level 5, section 12.1 (`prefers-reduced-motion`); WCAG 2.2, success criterion 2.3.3.
"""

from typing import Literal

import pytest
from playwright.async_api import Browser

from followers_page import Follower, demo_dive, follower
from peers import publish
from test_page import AXE, address, site_at, violations

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
LOOKS_A_SECOND, LOOKED_S = 20, 10


async def _moments_shown(someone: Follower) -> int:
    """Return how many different moments a replay at 60 times shows in ten seconds of the page's own clock."""
    await someone.button("Play").press("Enter")
    await someone.page.clock.run_for(2_000)
    seen = set()
    for _ in range(LOOKED_S * LOOKS_A_SECOND):
        await someone.page.clock.run_for(1_000 // LOOKS_A_SECOND)
        seen.add(await someone.ribbon.get_attribute("aria-valuenow"))
    return len(seen)


@pytest.mark.parametrize("wish", ["no-preference", "reduce"])
async def test_replay_steps_once_a_second_where_calm_was_asked_for(
    browser: Browser, wish: Literal["no-preference", "reduce"]
) -> None:
    """It goes through the dive as fast as ever, in fewer steps; without the wish it is a film."""
    async with site_at() as site:
        publish(site, demo_dive(9_999))
        async with follower(browser, address(site) + "#dive=1&at=600", reduced_motion=wish) as someone:
            await someone.page.clock.install(time=0)
            await someone.page.reload()
            await someone.ribbon.wait_for()
            await someone.page.clock.pause_at(3_600_000)
            shown = await _moments_shown(someone)
            if wish == "reduce":
                assert LOOKED_S - 1 <= shown <= LOOKED_S + 1
            else:
                assert shown > 3 * LOOKED_S


async def test_nothing_moves_by_style_or_scrolls_smoothly_where_calm_was_asked_for(browser: Browser) -> None:
    """No animation runs and none is laid down, everything unfolded; the rules of accessibility hold."""
    async with site_at() as site:
        publish(site, demo_dive(4_600))
        async with follower(browser, address(site), bypass_csp=True, reduced_motion="reduce") as someone:
            await someone.says(someone.headline, "at work below")
            for fold in await someone.page.locator("summary:visible").all():
                await fold.click()
            assert await someone.page.evaluate("document.getAnimations().length") == 0
            assert await someone.page.evaluate(_MOVING) == []
            await someone.page.add_script_tag(path=str(AXE))
            assert await violations(someone.page) == []


_MOVING = """
[...document.querySelectorAll('*')].filter((node) => {
  const style = getComputedStyle(node);
  const lasts = (times) => times.split(',').some((time) => parseFloat(time) > 0);
  return lasts(style.transitionDuration) || lasts(style.animationDuration) || style.scrollBehavior === 'smooth';
}).map((node) => node.outerHTML.slice(0, 120))
"""
