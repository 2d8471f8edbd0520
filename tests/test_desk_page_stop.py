"""Stop everything, from wherever the operator is; a ship that doesn't answer; two desks that show the same."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack

import pytest
import pytest_asyncio
from playwright.async_api import Browser, Page

from desk_page import PATIENCE_S, Aboard, Mouse, Operator, aboard, operator
from relay.core.decision import Begin, Dismiss, Hold, Resume, Say, Target

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
Desk = tuple[Aboard, Operator, Browser]
EVERYBODY = {"public", "funders"}


@pytest_asyncio.fixture(scope="module", loop_scope="session")
async def desk(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> AsyncIterator[Desk]:
    """One ship, one browser and one operator; a dive is under way and nobody is held."""
    async with AsyncExitStack() as stack:
        here = await stack.enter_async_context(aboard(tmp_path_factory.mktemp("ship")))
        someone = await stack.enter_async_context(operator(browser, here.url))
        async with here.decides(Begin):
            await someone.pressed("dive", "Begin a dive").click()
            await someone.pressed("dive", "End the dive").wait_for()
        yield here, someone, browser


async def resumed(here: Aboard, someone: Operator) -> None:
    """Let everything go on again."""
    await someone.pressed("hold", "Resume all").click()
    await here.comes(lambda: not here.held)
    await someone.page.locator(".held-told:empty").wait_for(state="attached")


async def _on_the_page(someone: Operator) -> None:
    await someone.page.evaluate("document.activeElement.blur()")


async def _in_the_words(someone: Operator) -> None:
    await someone.labelled("say", "What followers read").click()
    await someone.page.keyboard.type("half a sen")


async def _in_a_choice(someone: Operator) -> None:
    await someone.labelled("say", "About").focus()


async def _on_the_ribbon(someone: Operator) -> None:
    await someone.page.get_by_role("slider").focus()


async def _saying_who_it_is(someone: Operator) -> None:
    await someone.page.get_by_role("button", name="Change", exact=True).click()


async def test_one_key_stops_everything_from_everywhere(desk: Desk) -> None:
    """One press, no question: on the page, while typing, in a choice, on the ribbon, while the name is asked for."""
    here, someone, _ = desk
    places = (_on_the_page, _in_the_words, _in_a_choice, _on_the_ribbon, _saying_who_it_is)
    for place, key in zip(places, ("F8", "F8", "Control+Shift+Space", "F8", "F8"), strict=True):
        async with here.decides(Hold, Resume) as decided:
            await place(someone)
            await someone.page.keyboard.press(key)
            await here.comes(lambda: here.held == EVERYBODY)
            await someone.says(
                someone.page.locator(".stop-told"), "Stopped. Nothing more leaves until somebody resumes."
            )
            await resumed(here, someone)
        assert [getattr(one, "audience", "") for one in decided] == [None, None]
    assert await someone.labelled("say", "What followers read").input_value() == "half a sen"
    await someone.is_called("Ada")


async def test_stop_is_the_largest_button_and_is_pressed_by_mouse_too(desk: Desk) -> None:
    """It says its key, stands in sight whatever is scrolled, and no other button is as large."""
    here, someone, _ = desk
    stop = someone.page.get_by_role("button", name="Stop everything F8")
    areas = """() => [...document.querySelectorAll('button')].map(button => button.getBoundingClientRect())
        .map(box => box.width * box.height).sort((one, other) => other - one)"""
    first, second, *_ = await someone.page.evaluate(areas)
    box = await stop.bounding_box()
    assert box is not None
    assert first == pytest.approx(box["width"] * box["height"], rel=0.01)
    assert first > 1.5 * second
    async with here.decides(Hold, Resume):
        await stop.click()
        await here.comes(lambda: here.held == EVERYBODY)
        await resumed(here, someone)


async def test_stop_needs_no_name(desk: Desk) -> None:
    """Where nobody has said who decides, every other decision asks for it first; the stop is taken all the same."""
    here, _, browser = desk
    context = await browser.new_context()
    page = await context.new_page()
    nameless = Operator(page)
    await page.goto(here.url)
    await nameless.is_heard()
    before = len(here.decided())
    await nameless.pressed("hold", "Hold all").click()
    await nameless.says(page.locator("#head"), "Say who decides first.")
    assert len(here.decided()) == before
    async with here.decides(Hold, who="desk, name not given"):
        await page.keyboard.press("F8")
        await here.comes(lambda: here.held == EVERYBODY)
    await context.close()
    await resumed(here, desk[1])


async def _lost(someone: Operator) -> None:
    await someone.says(someone.page.get_by_role("status"), "NOT CONNECTED")


async def test_stop_pressed_while_the_ship_is_away_is_kept_and_sent_when_she_is_back(desk: Desk) -> None:
    """The page says that it isn't done yet, over a reload too, and stops everything without being asked again."""
    here, someone, _ = desk
    async with here.decides(Hold, Resume) as decided:
        async with here.away():
            await _lost(someone)
            await someone.says(someone.page.locator(".line-count"), "Trying again in")
            await someone.page.keyboard.press("F8")
            await someone.says(someone.page.locator(".stop-told"), "STOP IS KEPT, NOT YET DONE")
            assert not here.held
            await someone.pressed("hold", "Hold funders").click()
            await someone.says(someone.part("hold").locator("..").get_by_text("No answer."), "No answer.")
            assert not here.held
        await here.comes(lambda: here.held == EVERYBODY)
        await someone.is_heard()
        await someone.says(someone.page.locator(".stop-told"), "Stopped.")
        await resumed(here, someone)
    assert [getattr(one, "audience", "") for one in decided] == [None, None]
    refused_by_nobody_there(someone)


def refused_by_nobody_there(someone: Operator) -> None:
    """Forget what the browser itself says on the console of a ship that isn't there."""
    someone.faults[:] = [fault for fault in someone.faults if "ERR_" not in fault]


async def test_stop_that_is_owed_outlives_the_page(desk: Desk) -> None:
    """Kept, then the page is left, and come back to once the ship is there again: the stop goes out."""
    here, someone, _ = desk
    async with here.decides(Hold, Resume):
        async with here.away():
            await _lost(someone)
            await someone.page.keyboard.press("F8")
            await someone.says(someone.page.locator(".stop-told"), "STOP IS KEPT, NOT YET DONE")
            await someone.page.goto("about:blank")
        await someone.page.go_back()
        await here.comes(lambda: here.held == EVERYBODY)
        await someone.is_heard()
        await resumed(here, someone)
    # A browser that returns to a page fills in what was there; it must tick no other box by that.
    assert not await someone.labelled("say", "Keep for approval").is_checked()
    assert await someone.labelled("say", "public").is_checked()
    refused_by_nobody_there(someone)


async def _told(page: Page) -> list[str]:
    """Return what a desk says of decisions, without what counts on."""
    parts = ["#rail .holds", "#rail .held-told", "#rail .dive-told", "#at-targets .told", "#at-waiting .told"]
    texts = [await page.locator(part).inner_text() for part in parts]
    listed = await page.locator(".decided li").all_inner_texts()
    return [*(text.split(", for")[0] for text in texts), *(line.rpartition(",")[0] for line in listed)]


async def _shown_alike(one: Page, other: Page) -> None:
    """Wait until two desks say the same: each has a state in its own time, and nothing is decided meanwhile."""
    async with asyncio.timeout(PATIENCE_S):
        while await _told(one) != await _told(other):
            pass


async def test_second_desk_shows_what_the_first_decides(desk: Desk) -> None:
    """Decided here or there: both show the same, with the name of who decided, without a reload."""
    here, first, browser = desk
    async with operator(browser, here.url, name="Ines") as second:
        async with here.decides(Hold, who="Ines"):
            await second.pressed("hold", "Hold public").click()
            await first.says(first.part("hold"), "HELD: public.")
        async with here.decides(Say, Target):
            await first.labelled("say", "What followers read").fill("Two boilers")
            await first.labelled("say", "Keep for approval").check()
            await first.pressed("say", "Keep it for approval").click()
            await first.page.locator("#at-targets").click()
            await first.labelled("targets", "Name").fill("T-1")
            await first.pressed("targets", "Mark the target").click()
            await second.says(second.page.locator("#at-waiting .told"), "1 waiting")
            await second.says(second.page.locator("#at-targets .told"), "1 target")
        await _shown_alike(first.page, second.page)
        assert any("Ines" in line for line in await first.page.locator(".decided li").all_inner_texts())
        async with here.decides(Hold, Resume, who="Ines"):
            await second.page.keyboard.press("F8")
            await first.says(first.part("hold"), "ALL HELD")
            await resumed(here, second)


async def test_stop_that_somebody_else_has_resumed_says_so(desk: Desk) -> None:
    """Resumed at another desk, the page that stopped says that it is undone; resumed here, there is nothing to say."""
    here, first, browser = desk
    stop_told = first.page.locator(".stop-told")
    async with operator(browser, here.url, name="Ines") as second:
        async with here.decides(Hold):
            await first.page.keyboard.press("F8")
            await first.says(stop_told, "Stopped. Nothing more leaves")
        async with here.decides(Resume, who="Ines"):
            await second.pressed("hold", "Resume public").click()
            await first.says(stop_told, "SOMEBODY HAS RESUMED SINCE YOU STOPPED")
        async with here.decides(Hold, Resume):
            await first.page.keyboard.press("F8")
            await first.says(stop_told, "Stopped. Nothing more leaves")
            await resumed(here, first)
        await first.page.locator(".stop-told:empty").wait_for(state="attached")


async def test_letters_and_a_space_after_them_decide_nothing(desk: Desk) -> None:
    """Whoever types where no field is goes from place to place, and neither holds, begins, ends, nor approves."""
    here, someone, _ = desk
    async with here.decides(Say):
        await someone.labelled("say", "What followers read").fill("A bell")
        await someone.labelled("say", "Keep for approval").check()
        await someone.pressed("say", "Keep it for approval").click()
        await someone.says(someone.page.locator("#at-waiting .told"), "waiting")
    async with here.decides():
        for letter in "hdwlztefojk":
            await _on_the_page(someone)
            await someone.page.keyboard.press(letter)
            where = await someone.page.evaluate("document.activeElement.matches('button, select, [type=checkbox]')")
            assert not where, letter
            await someone.page.keyboard.press("Space")
        await someone.drawn()
    async with here.decides(Dismiss):
        await Mouse(someone.page).go("waiting")
        await someone.part("waiting").get_by_role("button", name="Dismiss: A bell").click()
        await someone.says(someone.part("waiting"), "Dismissed.")
    await someone.labelled("say", "Keep for approval").uncheck()


async def test_old_stop_is_offered_with_its_age_and_leaving_while_one_is_owed_is_asked_about(desk: Desk) -> None:
    """Three hours old it isn't sent by itself; a page that still owes one asks before it is left, and no other does."""
    here, _, browser = desk
    async with operator(browser, here.url, name="Ines") as someone:
        page, stop_told = someone.page, someone.page.locator(".stop-told")
        leaves = "!dispatchEvent(new Event('beforeunload', { cancelable: true }))"
        async with here.decides():
            await page.evaluate("localStorage.setItem('offing.desk.stop', String(Date.now() - 3 * 3600e3))")
            await page.reload()
            await someone.says(stop_told, "A stop was pressed here 3\N{NO-BREAK SPACE}h ago")
            await someone.is_heard()
            assert not await page.evaluate(leaves)
            await page.get_by_role("button", name="It doesn’t hold any more").click()
            await page.locator(".stop-told:empty").wait_for(state="attached")
            assert await page.evaluate("localStorage.getItem('offing.desk.stop')") is None
        async with here.decides(Hold, who="Ines"):
            async with here.away():
                await _lost(someone)
                await page.keyboard.press("F8")
                await someone.says(stop_told, "STOP IS KEPT")
                assert await page.evaluate(leaves)
            await here.comes(lambda: here.held == EVERYBODY)
            await someone.says(stop_told, "Stopped.")
            assert not await page.evaluate(leaves)
        refused_by_nobody_there(someone)
    refused_by_nobody_there(desk[1])
    await resumed(here, desk[1])


async def test_key_is_taken_out_of_the_address_and_a_wrong_one_is_refused(desk: Desk) -> None:
    """It is in no address and survives a reload of its tab; with a wrong one nothing is shown but how to get in."""
    here, someone, browser = desk
    assert "#" not in someone.page.url
    await someone.page.reload()
    await someone.is_heard()
    base, _, key = here.url.partition("#")
    context = await browser.new_context()
    page = await context.new_page()
    for wrong in ("%", "wrong"):
        await page.goto("about:blank")
        await page.goto(f"{base}#{wrong}")
        await page.get_by_role("alert").filter(has_text="The ship doesn’t take this key.").wait_for()
    await page.get_by_role("heading", name="The desk is locked").wait_for()
    await page.get_by_role("alert").filter(has_text="The ship doesn’t take this key.").wait_for()
    assert not await page.get_by_role("table").is_visible()
    await page.get_by_label("Address or key").fill(here.url)
    await page.keyboard.press("Enter")
    await page.locator("body[data-known]").wait_for()
    assert key not in page.url
    await context.close()
