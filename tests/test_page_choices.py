"""Units and languages of the followers' page in a real browser: chosen, remembered, accessible, within the sheet."""

import pytest
from playwright.async_api import Browser

from followers_page import LAPTOP, PHONE, Follower, demo_dive, follower
from peers import publish
from test_page import AXE, address, resized, site_at, violations

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]


async def _offers_large_targets(someone: Follower) -> None:
    for name in ("units", "language"):
        box = await someone.page.locator(f"#{name}").bounding_box()
        assert box is not None
        assert box["height"] >= 44


@pytest.mark.parametrize("size", [PHONE, LAPTOP])
async def test_units_are_chosen_and_remembered(browser: Browser, size: tuple[int, int]) -> None:
    """Depths, drawings and table change with the units, by keyboard alone; the moment stays, also after a reload."""
    async with site_at() as site:
        publish(site, demo_dive(4_010))
        async with follower(browser, address(site), size) as someone:
            await someone.says(someone.headline, "at work below")
            await _offers_large_targets(someone)
            await someone.page.get_by_text("The figures behind the drawings").click()
            await someone.ribbon.press("PageDown")
            await someone.spoken_value("1\u00a0h\u00a01\u00a0min")
            moment = await someone.ribbon.get_attribute("aria-valuenow")
            units = someone.page.get_by_label("Units")
            for unit in ("ft", "fm"):
                await units.press("ArrowDown")
                await someone.says(someone.vehicle("Lantern"), f"\u00a0{unit}")
                await someone.says(someone.page.get_by_role("columnheader"), f"depth, {unit}")
                assert await units.evaluate("select => select === document.activeElement")
            await (
                someone.page.get_by_role("img", name="Plan of the track on a grid of")
                .and_(someone.page.locator('[aria-label*="\u00a0yd;"]'))
                .wait_for()
            )
            assert await someone.ribbon.get_attribute("aria-valuenow") == moment
            await someone.page.reload()
            await someone.says(someone.vehicle("Lantern"), "\u00a0fm")
            assert await units.input_value() == "fathom"


async def test_language_is_chosen_and_remembered(browser: Browser) -> None:
    """The page speaks German once chosen, keeps the moment, and still does after a reload; back to English, too."""
    async with site_at() as site:
        publish(site, demo_dive(4_010))
        async with follower(browser, address(site), PHONE) as someone:
            await someone.says(someone.headline, "at work below")
            await someone.ribbon.press("PageDown")
            await someone.spoken_value("1\u00a0h\u00a01\u00a0min")
            moment = await someone.ribbon.get_attribute("aria-valuenow")
            await someone.page.get_by_label("Language").press("ArrowDown")
            await someone.says(someone.headline, "Lantern ist unten an der Arbeit")
            slider = someone.page.get_by_role("slider", name="Gezeigter Moment")
            assert await slider.get_attribute("aria-valuenow") == moment
            assert await someone.page.locator("html").get_attribute("lang") == "de"
            assert await someone.page.locator("#language").evaluate("e => e === document.activeElement")
            await someone.page.reload()
            await someone.says(someone.headline, "unten an der Arbeit")
            await someone.page.get_by_label("Sprache").select_option("English")
            await someone.says(someone.headline, "at work below")
            assert await someone.page.locator("html").get_attribute("lang") == "en"


async def test_language_is_that_of_the_browser_where_there_is_one(browser: Browser) -> None:
    """A German browser is spoken to in German, one whose language is missing in English, also without any storage."""
    async with site_at() as site:
        for locale, words in (("de-AT", "Noch kein Tauchgang"), ("fr-FR", "No dive yet")):
            async with follower(browser, address(site), locale=locale) as someone:
                await someone.says(someone.headline, words)
        async with follower(browser, address(site)) as someone:
            await someone.page.add_init_script("delete window.localStorage")
            await someone.page.add_init_script(
                "Object.defineProperty(window, 'localStorage', { get() { throw new Error('none') } })"
            )
            await someone.page.reload()
            await someone.page.get_by_label("Language").select_option("Deutsch")
            await someone.says(someone.headline, "Noch kein Tauchgang")


async def test_german_page_is_accessible_and_fits(browser: Browser) -> None:
    """Longer words break no rule of accessibility and push nothing off the sheet, with letters twice as large, too."""
    async with site_at() as site:
        publish(site, demo_dive(4_010))
        # As above: the script that looks at the rules is put into the page.
        async with follower(browser, address(site), (320, 640), locale="de-DE", bypass_csp=True) as someone:
            await someone.says(someone.headline, "unten an der Arbeit")
            await someone.page.add_script_tag(path=str(AXE))
            await someone.page.locator("#units").select_option("fathom")
            await someone.page.get_by_text("Die Zahlen hinter den Zeichnungen").click()
            for size in ((320, 640), PHONE, LAPTOP):
                await resized(someone, size)
                assert await violations(someone.page) == [], size
                for text in ("200%", "100%"):
                    await someone.page.evaluate("size => { document.documentElement.style.fontSize = size }", text)
                    sideways = await someone.page.evaluate("document.documentElement.scrollWidth - innerWidth")
                    assert sideways <= 0, (size, text)
