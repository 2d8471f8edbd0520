"""A guest's link in a real browser: it opens what the guest was invited to, and its token is nowhere to be read."""

import pytest
from playwright.async_api import Browser

from followers_page import BUILT, PHONE, Follower, follower
from guests_of import ADA, BOB, EVE, TOKENS, hosting, invite
from peers import publish
from relay.core.guests import Guest, digest_of
from released import dive
from test_page import AXE, address, violations

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]


async def test_guests_link_opens_the_audience_and_leaves_the_address(browser: Browser) -> None:
    """History, live tail and file by the token, which no address or link shows; kept for longer only when asked."""
    async with hosting(folder=BUILT) as site:
        frames = dive(3, 6, audience="family", closed=False)
        publish(site, [*dive(1, 2), *frames[:4]])
        link = f"{address(site)}#guest={TOKENS[ADA]}&dive=3&at=15"
        async with follower(browser, link, PHONE, bypass_csp=True) as someone:
            await someone.spoken_value("15")
            assert someone.page.url.endswith("#dive=3&at=15")
            guest = someone.page.get_by_role("group", name="Invitation")
            await someone.says(guest, "Here by invitation (family). Until 2026-12-31.")
            await someone.says(someone.page.locator("#proof"), "Signed and checked here.")
            await someone.button("Back to live").click()
            publish(site, frames[4:])
            await someone.page.locator('[role=slider][aria-valuemax="75"]').wait_for()
            assert site.figures().viewers == {"public": 0, "family": 1, "funders": 0}
            await saves_the_file(someone)
            assert not any("guest=" in asked or TOKENS[ADA] in asked for asked in someone.asked)
            assert await someone.page.get_by_role("link", name="All dives").count() == 0
            await someone.page.reload()
            await someone.says(guest, "Here by invitation (family).")
            assert await stored(someone) == [True, False]
            await someone.button("Remember it on this device").press("Enter")
            assert await stored(someone) == [True, True]
            await someone.button("Forget it here").press("Enter")
            assert await stored(someone) == [True, False]
            await someone.page.add_script_tag(path=str(AXE))
            assert await violations(someone.page) == []
            assert await someone.page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0


async def stored(someone: Follower) -> list[bool]:
    """Whether the tab, and the device, hold a token."""
    held: list[bool] = await someone.page.evaluate(
        "[sessionStorage, localStorage].map((store) => store.getItem('offing guest /') !== null)"
    )
    return held


async def saves_the_file(someone: Follower) -> None:
    """The recording is a guest's alone: the page fetches it with the token, and the browser saves it."""
    await someone.page.get_by_text("The figures behind the drawings").click()
    async with someone.page.expect_download() as saving:
        await someone.page.get_by_role("link", name="The recording as a file").click()
    assert (await saving.value).suggested_filename == "dive-003.recording"


async def test_invitation_that_is_taken_back_ends_the_page_in_words(browser: Browser) -> None:
    """Within a second nothing of the dive is shown any more; what is open to all is one press away."""
    async with hosting(folder=BUILT) as site:
        publish(site, [*dive(1, 2), *dive(3, 6, audience="family", closed=False)])
        async with follower(browser, f"{address(site)}#guest={TOKENS[BOB]}", PHONE) as someone:
            await someone.says(someone.connection, "connected")
            invite(site, 2, (ADA, EVE))
            await someone.says(someone.headline, "Your invitation has ended")
            await someone.says(someone.connection, "Your invitation has ended")
            assert await someone.page.get_by_role("slider").count() == 0
            await someone.button("See what is open to all").press("Enter")
            await someone.says(someone.headline, "The dive is over")
            assert await stored(someone) == [False, False]


async def test_link_that_is_no_invitation_says_so(browser: Browser) -> None:
    """A mangled or outdated link shows nothing of anybody, tells whom to ask, and that the page asks again."""
    async with hosting(folder=BUILT) as site:
        publish(site, dive(1, 2))
        async with follower(browser, f"{address(site)}#guest={ADA.id}.{'W' * 43}") as someone:
            await someone.says(someone.headline, "Your invitation isn’t known here")
            await someone.says(someone.page.locator("#now"), "Whoever invited you can send a new link.")
            await someone.says(someone.connection, "trying again in")
            await someone.button("See what is open to all").wait_for()
            invite(site, 2, (Guest(ADA.id, ADA.audience, digest_of("W" * 43)),))
            await someone.button("Try now").click()
            await someone.says(someone.page.get_by_role("group", name="Invitation"), "Here by invitation (family).")
            someone.faults[:] = [fault for fault in someone.faults if "404" not in fault]
