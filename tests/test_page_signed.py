"""What the page says of the ship's signatures, in a real browser: in words, at once, never against an honest shore."""

from collections.abc import Callable
from contextlib import AsyncExitStack

import pytest
from playwright.async_api import Browser, Locator, Route

from dives import SIGNER
from followers_page import LAPTOP, PHONE, Follower, follower
from lying_shore import LyingShore, altered, lying_shore
from make_signed_vectors import STRANGER
from peers import publish
from released import dive, dive_with_everything, programme
from test_page import address, site_at

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
SIGNED = "Signed and checked here."
BY_THE_SHIP = "Signed by the ship and checked here."


def alarm(someone: Follower) -> Locator:
    """What must be seen at once."""
    return someone.page.get_by_role("alert")


async def test_page_says_that_the_ship_signed_what_it_shows(browser: Browser) -> None:
    """In one quiet line, with the key behind it; a later visit checks against the key that this browser kept."""
    async with site_at() as site, follower(browser, address(site)) as someone:
        await someone.says(someone.connection, "connected")
        publish(site, dive(1, 5))
        proof = someone.page.locator("#proof")
        await someone.says(proof, SIGNED)
        assert await alarm(someone).inner_text() == ""
        await someone.page.get_by_text(SIGNED).click()
        await someone.says(proof, "The key came with the dive")
        key = (await someone.page.locator("#proof code").inner_text()).replace(" ", "")
        assert key == SIGNER.key.hex()
        await someone.page.reload()
        await someone.page.get_by_text(BY_THE_SHIP).click()
        await someone.says(proof, "Checked against the key that this browser has kept of this site.")
        await someone.page.goto(address(site) + f"#dive=1&at=30&key={key}")
        await someone.says(proof, "Checked against the key in the link that was opened.")
        await someone.spoken_value("30")
        await someone.ribbon.press("Home")
        await someone.page.wait_for_url(f"**#dive=1&at=0&key={key}")


def reordered(frames: list[bytes]) -> list[bytes]:
    """The third record and the fourth, in the wrong order."""
    return [*frames[:2], frames[3], frames[2], *frames[4:]]


LIES: dict[str, tuple[Callable[[list[bytes]], list[bytes]], str]] = {
    "alters": (lambda frames: [*frames[:3], altered(frames[3]), *frames[4:]], "Record 4 of this dive is not what the"),
    "drops": (lambda frames: [*frames[:3], *frames[4:]], "Record 4 of this dive is missing or out of place."),
    "reorders": (reordered, "Record 3 of this dive is missing or out of place."),
    "replays": (lambda frames: [*frames[:4], *frames[2:]], "Record 5 of this dive is missing or out of place."),
}  # fmt: skip


@pytest.mark.parametrize("lie", LIES)
async def test_shore_that_lies_of_the_history_is_noticed(browser: Browser, lie: str) -> None:
    """What is shown ends before the first bad record, of a dive that goes on and of one that is over."""
    history, words = LIES[lie]
    async with site_at() as site, lying_shore(address(site), history=history) as shore:
        publish(site, [*dive(1, 6), *dive(2, 6, closed=False)])
        async with follower(browser, shore.address, PHONE) as someone:
            for number in ("2", "1"):
                await someone.says(alarm(someone), "Altered on its way")
                await someone.says(alarm(someone), words)
                last_s = (int(words.split()[1]) - 3) * 15
                assert await someone.ribbon.get_attribute("aria-valuemax") == str(last_s)
                if number == "2":
                    await someone.says(someone.connection, "stopped: something was altered on its way")
                    await someone.page.get_by_label("Dive", exact=True).select_option("1")
            # What was found out before the live tail was open closes it: the browser itself tells that on its console.
            someone.faults[:] = [fault for fault in someone.faults if "closed before the connection" not in fault]


Lie = Callable[[int, bytes], list[bytes]]


class Told:
    """Lies of the live tail, by how many frames have passed."""

    def __init__(self, lie: Lie) -> None:
        self.lie, self.passed = lie, 0

    def __call__(self, frame: bytes) -> list[bytes]:
        self.passed += 1
        return self.lie(self.passed, frame)


async def _live(stack: AsyncExitStack, browser: Browser, lie: Lie) -> tuple[Follower, LyingShore]:
    """Follow three records from the history and the others live, by way of a shore that lies of those."""
    site = await stack.enter_async_context(site_at())
    shore = await stack.enter_async_context(lying_shore(address(site), live=Told(lie)))
    frames = dive(1, 6, closed=False)
    publish(site, frames[:3])
    someone = await stack.enter_async_context(follower(browser, shore.address))
    await someone.says(someone.connection, "connected")
    await someone.says(someone.page.locator("#proof"), SIGNED)
    publish(site, frames[3:])
    return someone, shore


async def test_shore_that_alters_a_live_record_never_has_it_shown(browser: Browser) -> None:
    """The page stops before it, says so, and asks again when it is told to."""
    async with AsyncExitStack() as stack:
        someone, shore = await _live(stack, browser, lambda at, frame: [altered(frame) if at == 2 else frame])
        await someone.says(alarm(someone), "Record 5 of this dive is not what the ship signed.")
        assert await someone.ribbon.get_attribute("aria-valuemax") == "30"
        await someone.says(someone.connection, "stopped: something was altered on its way")
        shore.live = lambda frame: [frame]
        await someone.button("Try now").click()
        await someone.says(someone.page.locator("#proof"), SIGNED)
        await someone.says(someone.connection, "connected")
        assert await someone.ribbon.get_attribute("aria-valuemax") == "75"
        assert await alarm(someone).inner_text() == ""


LIVE_LIES: dict[str, Lie] = {
    "drops": lambda at, frame: [] if at == 1 else [frame],
    "replays": lambda at, frame: [frame, frame],
}


@pytest.mark.parametrize("lie", LIVE_LIES)
async def test_shore_that_drops_or_replays_live_records_is_put_right_and_noticed(browser: Browser, lie: str) -> None:
    """Every record is shown once and in order; behind the line it is told what came out of turn."""
    async with AsyncExitStack() as stack:
        someone, _ = await _live(stack, browser, LIVE_LIES[lie])
        await someone.page.locator('[role=slider][aria-valuemax="75"]').wait_for()
        await someone.page.get_by_text(SIGNED).click()
        await someone.says(someone.page.locator("#proof"), "came twice, out of turn or not at all. It was put right.")
        await someone.says(someone.page.locator("#proof"), SIGNED)
        assert await alarm(someone).inner_text() == ""


async def test_another_key_than_the_one_kept_is_told_loudly_and_kept_only_when_asked(browser: Browser) -> None:
    """Somebody else may be posing as the ship: the page says so until whoever reads it has asked."""
    async with site_at() as site, follower(browser, address(site), PHONE) as someone:
        await someone.says(someone.connection, "connected")
        publish(site, dive(1, 5))
        await someone.says(someone.page.locator("#proof"), SIGNED)
        await someone.page.evaluate("key => localStorage.setItem('offing key /', key)", STRANGER.key.hex())
        await someone.page.reload()
        await someone.says(alarm(someone), "Another key than before")
        await someone.says(someone.page.locator("#proof"), "Signed with another key than before.")
        await someone.button("The new key is right: keep it").press("Enter")
        await someone.says(someone.page.locator("#proof"), BY_THE_SHIP)
        await someone.page.locator("#proof .alarm:empty").wait_for(state="attached")
        await someone.page.goto(address(site) + f"#key={STRANGER.key.hex()}")
        await someone.says(alarm(someone), "This dive is not signed with the key in the link that was opened.")
        await someone.says(someone.headline, "This dive is not shown")
        assert await someone.page.get_by_role("slider").count() == 0


PUT_AGAIN = """() => {
  globalThis.put = 0;
  new MutationObserver((all) => { globalThis.put += all.length; })
    .observe(document.querySelector('#proof .alarm'), { childList: true, subtree: true });
}"""


async def test_page_tells_how_far_the_exact_record_is_sealed(browser: Browser) -> None:
    """As the seals come, behind the open line; an alarm beside it isn't put up, and so spoken, again with each."""
    frames = dive_with_everything(1)
    async with site_at() as site, follower(browser, address(site), PHONE) as someone:
        proof = someone.page.locator("#proof")
        publish(site, frames[:4])
        await someone.page.evaluate("key => localStorage.setItem('offing key /', key)", STRANGER.key.hex())
        await someone.page.reload()
        await someone.says(alarm(someone), "Another key than before")
        await someone.button("The new key is right: keep it").wait_for()
        await someone.says(someone.connection, "connected")
        await proof.locator("summary").click()
        await someone.says(proof, "The ship seals her exact record each minute. Seals so far: 1, the last at 0:00:00.")
        await someone.page.evaluate(PUT_AGAIN)
        publish(site, frames[4:-1])
        await someone.says(proof, "Seals so far: 2, the last at 0:00:15.")
        assert await someone.page.evaluate("globalThis.put") == 0
        assert await proof.locator("details[open]").count() == 1


async def test_page_without_https_says_that_it_cannot_check_and_shows_the_dive(browser: Browser) -> None:
    """A browser checks signatures on secure pages alone (W3C Secure Contexts): nothing breaks, nothing is claimed."""
    async with site_at() as site:
        publish(site, dive(1, 5))
        context = await browser.new_context(viewport={"width": LAPTOP[0], "height": LAPTOP[1]})

        async def serve(route: Route) -> None:
            there = route.request.url.replace("http://dive.example/", address(site))
            answer = await route.fetch(url=there)
            await route.fulfill(response=answer)

        await context.route("http://dive.example/**", serve)
        someone = Follower(await context.new_page())
        await someone.page.goto("http://dive.example/")
        assert not await someone.page.evaluate("isSecureContext")
        await someone.says(someone.headline, "The dive is over")
        words = "Not checked: signatures can’t be checked on a page that doesn’t come over https."
        await someone.says(someone.page.locator("#proof"), words)
        await context.unroute_all(behavior="ignoreErrors")
        await context.close()


async def test_programme_is_shown_only_as_the_ship_signed_it(browser: Browser) -> None:
    """A plan that a shore made up is not shown, and that is told; the ship's own is."""
    async with site_at() as site, follower(browser, address(site)) as someone:
        publish(site, [*dive(1, 5), programme(0, "The boiler is next.")])
        await someone.says(someone.page.locator("#proof"), SIGNED)
        await someone.page.reload()
        await someone.says(someone.page.locator("#programme"), "The boiler is next.")
        await someone.says(someone.page.locator("#proof"), BY_THE_SHIP)
        assert await alarm(someone).inner_text() == ""

        async def lie(route: Route) -> None:
            answer = await route.fetch()
            await route.fulfill(response=answer, body=(await answer.text()).replace("The boiler", "The harbour"))

        await someone.page.route("**/programme.json", lie)
        await someone.page.reload()
        await someone.says(alarm(someone), "Something came that the ship did not sign. It is not shown.")
        assert await someone.page.get_by_text("The harbour is next.").count() == 0
        await someone.page.unroute_all(behavior="ignoreErrors")  # it asks now and then: one may be on its way
