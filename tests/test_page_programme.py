"""What is to come, on the followers' page in a real browser: before any dive, during one, and after it has begun."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
from playwright.async_api import Browser, Locator

from followers_page import BUILT, LAPTOP, PHONE, Follower, demo_dive, follower
from peers import publish
from relay.shell.site.public_files import Telling
from relay.shell.site.site import Site
from released import EXPEDITION, programme
from test_page import AXE, QUICK, address, violations

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]


@asynccontextmanager
async def site_that_asks(questions_to: str = "") -> AsyncIterator[Site]:
    """A site with the built page, and perhaps a place for questions."""
    site = Site(Telling(EXPEDITION, questions_to=questions_to), folder=BUILT, limits=QUICK)
    await site.start("127.0.0.1", 0)
    try:
        yield site
    finally:
        await site.close()


def to_come(someone: Follower, name: str = "What is to come") -> Locator:
    """The part of the page about what is to come."""
    return someone.page.get_by_role("region", name=name)


@pytest.mark.parametrize("size", [PHONE, LAPTOP])
async def test_programme_is_shown_before_any_dive(browser: Browser, size: tuple[int, int]) -> None:
    """Pinned message, next dive, the schedule open and in its order, a link ashore; accessible, within the sheet."""
    async with site_that_asks("https://questions.example/") as site:
        site.publish(programme(0, "The boiler is next. " + "x" * 200, "the bow", "the stern", left_s=10_800, dive=1))
        async with follower(browser, address(site), size, bypass_csp=True) as someone:
            await someone.says(someone.headline, "No dive yet")
            await someone.says(to_come(someone), "Next dive in about 3\u00a0h.")
            await someone.says(to_come(someone), "The boiler is next.")
            assert await to_come(someone).get_by_role("listitem").all_inner_texts() == ["the bow", "the stern"]
            link = to_come(someone).get_by_role("link", name="Ask a question")
            assert await link.get_attribute("href") == "https://questions.example/"
            assert await someone.page.evaluate("document.documentElement.scrollWidth <= innerWidth")
            await someone.page.add_script_tag(path=str(AXE))
            assert await violations(someone.page) == []
            await someone.page.get_by_label("Language").select_option("de")
            await someone.says(to_come(someone, "Was noch kommt"), "Nächster Tauchgang in etwa 3\u00a0h.")


async def test_programme_during_a_dive_counts_for_the_next_alone(browser: Browser) -> None:
    """The countdown for the dive that has begun isn't shown, the next one's is; the schedule is closed meanwhile."""
    async with site_that_asks() as site:
        site.publish(programme(0, "The boiler is next.", "the bow", left_s=1_200, dive=1))
        publish(site, demo_dive(4_010))
        async with follower(browser, address(site)) as someone:
            await someone.says(to_come(someone), "The boiler is next.")
            assert "Next dive" not in await to_come(someone).inner_text()
            assert await to_come(someone).get_by_role("link").count() == 0
            await to_come(someone).get_by_text("Schedule").click()
            await to_come(someone).get_by_role("listitem").first.wait_for()
            site.publish(programme(1, None, left_s=0, dive=2))
            await someone.page.reload()
            await someone.says(to_come(someone), "Next dive soon.")
            assert "boiler" not in await to_come(someone).inner_text()


async def test_nothing_to_come_is_no_part_of_the_page(browser: Browser) -> None:
    """Without a programme there is no such region, and none for a reader of the page's structure."""
    async with site_that_asks() as site:
        publish(site, demo_dive(600))
        async with follower(browser, address(site)) as someone:
            await someone.vehicle("Lantern").wait_for()
            await someone.drawn()
            assert await someone.page.locator("#programme").is_hidden()
