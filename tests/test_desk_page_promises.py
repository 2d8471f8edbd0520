"""The desk's line of what is left to search, in real Chromium: by a letter, in words, at both sizes.

With OFFING_PICTURES=FOLDER a picture of each is written there.
"""

import os
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.async_api import Browser

from desk_page import LARGE, SMALL, TEXT, Keyboard, aboard, operator
from promising import PASSED, audited, slope
from relay.shell.plan.expedition import parse_expedition
from relay.shell.ship.foresight_process import Job, Seen
from test_page import AXE, violations

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
WIDE = "document.documentElement.scrollWidth - innerWidth"


async def near(job: Job) -> dict[str, Seen]:
    """Find that little more than what is promised is left."""
    return {"funders": Seen(left_km2=412.0, ahead_km2=104.0, kept_us=job.upto_us)}


async def fails(job: Job) -> str:
    """Find nothing."""
    return "it took longer than 300 s"


async def test_line_of_a_promise_is_reached_by_a_letter_and_says_how_it_stands(
    browser: Browser, tmp_path: Path
) -> None:
    """The letter A leads to it; the words are the ship's, an alarm says them too, and nothing runs over the edge."""
    text = TEXT.replace('name = "funders"\n', 'name = "funders"\npromise = "87 km2"\n')
    text += '\n[audit]\ncharts = ["chart.csv"]\n'
    slope(tmp_path / "chart.csv")
    passed = replace(PASSED, audience="funders")
    audited(parse_expedition(text.format(port=1), tmp_path / "EXPEDITION.toml"), passed)
    folder = os.environ.get("OFFING_PICTURES")
    async with aboard(tmp_path, text) as here:
        here.ship.promises._asking = near
        await here.ship.promises.look()
        for size in (LARGE, SMALL):
            async with operator(browser, here.url, size, bypass_csp=True) as someone:
                await Keyboard(someone.page).go("promises")
                part = someone.part("promises")
                await someone.says(part, "LOOK: funders")
                await someone.says(part, "funders: CLOSE to the promise")
                await someone.says(part, "412 km2 left to search, 104 km2 with all that is about to leave")
                await someone.says(someone.page.get_by_role("alert"), "ALARM: funders: 412 km2 left to search")
                assert await someone.page.evaluate("document.activeElement.id") == "at-promises"
                assert await someone.page.evaluate(WIDE) <= 0
                await someone.page.add_script_tag(path=str(AXE))
                assert await violations(someone.page) == []
                if folder:
                    await part.scroll_into_view_if_needed()
                    await someone.page.screenshot(path=f"{folder}/promises-{size[0]}.png")
        async with operator(browser, here.url) as someone:
            here.ship.promises._asking = fails
            await here.ship.promises.look()
            await someone.says(someone.part("promises"), "funders: NOT KNOWN")
            await someone.says(someone.part("promises"), "what no finished round has seen stays in")
