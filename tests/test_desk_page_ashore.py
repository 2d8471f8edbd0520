"""The desk's parts about what is ashore, in real Chromium: the link to a real shore, and who is invited.

With OFFING_PICTURES=FOLDER a picture of each is written there.
"""

import asyncio
import os
import re
import urllib.error
import urllib.request
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack
from dataclasses import dataclass
from pathlib import Path

import pytest
import pytest_asyncio
from playwright.async_api import Browser

from desk_page import LARGE, SMALL, TEXT, Aboard, Hands, Keyboard, Mouse, Operator, aboard, operator
from relay.core.decision import Invite, Uninvite
from relay.shell.shore.shore import Shore
from shores import ashore
from test_page import AXE, violations
from test_ship_to_shore import key_of, link_text, shore_text

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
WIDE = "document.documentElement.scrollWidth - innerWidth"
SECRET = re.compile(r"guest=[0-9a-f]+\.[\w-]{20,}")


@dataclass
class Desk:
    """A ship that sends to a shore, and somebody at her desk; `before`: what the desk said before the first link."""

    here: Aboard
    shore: Shore
    someone: Operator
    browser: Browser
    before: str


@pytest_asyncio.fixture(scope="module", loop_scope="session")
async def desk(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> AsyncIterator[Desk]:
    """One ship, one shore, one browser and one operator for all checks; funders are shown by invitation.

    The shore isn't there yet when the ship begins.
    """
    async with AsyncExitStack() as stack:
        ship_folder, shore_folder = tmp_path_factory.mktemp("ship"), tmp_path_factory.mktemp("shore")
        shore = await stack.enter_async_context(ashore(shore_folder, shore_text(key_of(ship_folder))))
        assert shore.dialled is not None
        host, port = shore.dialled.address
        await shore.dialled.close()
        text = TEXT.replace('name = "funders"\n', 'name = "funders"\ninvited = true\n')
        text += link_text(port, shore_folder, 'limit = "64 kbit/s"')
        here = await stack.enter_async_context(aboard(ship_folder, text))
        someone = await stack.enter_async_context(operator(browser, here.url))
        await someone.page.context.grant_permissions(["clipboard-read", "clipboard-write"])
        await someone.pressed("dive", "Begin a dive").click()
        await someone.pressed("dive", "End the dive").wait_for()
        await Mouse(someone.page).go("uplink")
        await someone.says(someone.part("uplink"), "DOWN")
        before = await someone.part("uplink").inner_text()
        await shore.dialled.start(host, port)
        yield Desk(here, shore, someone, browser, before)


@pytest.fixture(params=[Mouse, Keyboard], ids=["mouse", "keyboard"])
def hands(request: pytest.FixtureRequest, desk: Desk) -> Hands:
    """The way of working."""
    made: Hands = request.param(desk.someone.page)
    return made


async def answered(link: str) -> int:
    """Return what a guest with this link is answered when they ask who they are."""
    address, _, rest = link.partition("#guest=")
    token = rest.partition("&")[0]

    def ask() -> int:
        asked = urllib.request.Request(f"{address}guest.json", headers={"Authorization": f"Bearer {token}"})
        try:
            with urllib.request.urlopen(asked, timeout=10) as answer:
                status: int = answer.status
        except urllib.error.HTTPError as refused:
            status = refused.code
        return status

    return await asyncio.to_thread(ask)


async def test_somebody_is_invited_by_a_link_shown_once_and_taken_back(desk: Desk, hands: Hands) -> None:
    """The link is shown until the operator has it, lets its guest in, is nowhere else, and ends once taken back."""
    here, someone, page = desk.here, desk.someone, desk.someone.page
    name, part = f"Ines {type(hands).__name__}", someone.part("guests")
    link = someone.labelled("guests", f"Link for {name}").locator("visible=true").last
    async with here.decides(Invite, Uninvite) as decided:
        await hands.go("guests")
        await hands.write(someone.labelled("guests", "Who"), name)
        await hands.choose(someone.labelled("guests", "Sees"), "funders")
        await hands.write(someone.labelled("guests", "Last day (UTC)"), "soon")
        await hands.press(someone.pressed("guests", "Invite"))
        await someone.says(part, "A day, such as 2026-12-31.")
        await hands.write(someone.labelled("guests", "Last day (UTC)"), "2126-12-31")
        await hands.press(someone.pressed("guests", "Invite"))
        await someone.says(part, f"For {name} alone")
        told = await part.locator("input[readonly]").input_value()
        assert SECRET.search(told) and told.startswith("http://127.0.0.1:")
        assert await link.count() == 1
        await hands.press(someone.pressed("guests", "Copy"))
        await someone.says(part, "Copied.")
        assert await page.evaluate("navigator.clipboard.readText()") == told
        assert await answered(told) == 200
        await hands.press(someone.pressed("guests", "I have it: hide it"))
        await part.locator(".link-once").wait_for(state="hidden")
        assert await part.locator("input[readonly]").input_value() == ""
        assert SECRET.search(await page.content() + await page.evaluate(KEPT)) is None
        await someone.says(part, "funders, to 2126-12-31, opened here once")
        await hands.press(someone.pressed("guests", f"Take back the invitation of {name} to funders"))
        await someone.says(part.get_by_role("listitem").filter(has_text=name), "TAKEN BACK")
        assert await answered(told) == 404
    first, second = decided
    assert isinstance(first, Invite) and isinstance(second, Uninvite)
    assert (first.audience, first.invited, first.until, second.guest) == ("funders", name, "2126-12-31", first.guest)


KEPT = "JSON.stringify([{ ...localStorage }, { ...sessionStorage }, location.href, document.title])"


async def test_where_nothing_can_be_copied_the_link_is_marked(desk: Desk) -> None:
    """Over plain HTTP from another computer a browser copies nothing for a page: then the link is marked for a hand."""
    async with operator(desk.browser, desk.here.url, name="Bo") as someone:
        await someone.page.evaluate("Object.defineProperty(navigator, 'clipboard', { value: undefined })")
        await Mouse(someone.page).go("guests")
        await someone.labelled("guests", "Who").fill("Tove")
        await someone.pressed("guests", "Invite").click()
        await someone.pressed("guests", "Copy").click()
        await someone.says(someone.part("guests"), "Marked: copy it with Ctrl+C.")
        marked = await someone.page.evaluate("getSelection().toString()")
        assert marked == await someone.part("guests").locator("input[readonly]").input_value()


@pytest.mark.parametrize("look", ["day", "night"])
async def test_parts_about_the_shore_are_accessible_and_fit_their_side(desk: Desk, look: str) -> None:
    """axe-core finds nothing against WCAG 2.2 A and AA nor best practice, a link shown too; nothing goes sideways."""
    scheme = "dark" if look == "night" else "light"
    options = {"bypass_csp": True, "color_scheme": scheme}
    async with operator(desk.browser, desk.here.url, SMALL, f"Ada {look}", **options) as someone:
        await someone.page.add_script_tag(path=str(AXE))
        await someone.says(someone.part("uplink"), "up, ")
        for place in ("say", "waiting", "decisions"):
            await someone.page.locator(f"#at-{place}").click()
        for place in ("uplink", "guests"):
            await Mouse(someone.page).go(place)
        await someone.labelled("guests", "Who").fill(f"Ines Quillen, {look}")
        await someone.pressed("guests", "Invite").click()
        await someone.says(someone.part("guests"), "It is shown this once.")
        for size in (SMALL, LARGE):
            await someone.page.set_viewport_size({"width": size[0], "height": size[1]})
            await someone.part("uplink").scroll_into_view_if_needed()
            await someone.drawn()
            if to := os.environ.get("OFFING_PICTURES"):
                await someone.page.screenshot(path=Path(to) / f"desk-ashore-{look}-{size[0]}.png")
            assert await someone.page.evaluate(WIDE) <= 0
            for place in ("uplink", "guests"):
                assert await someone.part(place).evaluate("part => part.scrollWidth - part.clientWidth") <= 0, place
            assert await violations(someone.page) == []


async def test_desk_works_before_the_link_has_ever_come_up(desk: Desk) -> None:
    """A wrong pin or a shore that isn't there: the desk is heard, the link is down, and what isn't known is said so."""
    for words in ("DOWN", "not up", "The shore hasn’t said what it has", "0 since the start"):
        assert words in desk.before
    assert "following there" not in desk.before


async def test_link_of_who_is_taken_back_is_shown_no_longer(desk: Desk) -> None:
    """What opens nothing any more is nobody's to copy, whether or not the operator has hidden it."""
    async with operator(desk.browser, desk.here.url, name="Cleo") as someone:
        part = someone.part("guests")
        await Mouse(someone.page).go("guests")
        await someone.labelled("guests", "Who").fill("Runa")
        await someone.pressed("guests", "Invite").click()
        await someone.says(part, "For Runa alone")
        await someone.pressed("guests", "Take back the invitation of Runa to funders").click()
        await part.locator(".link-once").wait_for(state="hidden")
        assert await part.locator("input[readonly]").input_value() == ""


async def test_link_is_told_with_how_far_the_shore_is_and_when_it_is_down(desk: Desk, hands: Hands) -> None:
    """What the ship knows of her link stands on the desk: up and level, what it carries, its limit, and DOWN."""
    here, someone, part = desk.here, desk.someone, desk.someone.part("uplink")
    assert desk.shore.dialled is not None
    host, port = desk.shore.dialled.address
    await hands.go("uplink")
    await someone.says(part, "up, all ashore")
    await someone.says(part.get_by_role("listitem").filter(has_text="public"), "Up to dive 1, record ")
    await someone.says(part.get_by_role("listitem").filter(has_text="funders"), "No record yet; 0 following there")
    for words in (f"wss://{host}:{port}", "64 kbit a second", "both ways"):
        await someone.says(part, words)
    before = here.ship.uplink.facts()["outages"]  # type: ignore[union-attr]
    await desk.shore.dialled.close()
    await someone.says(part, "DOWN")
    await someone.says(part, "not up")
    assert "following there" not in await part.inner_text()
    await desk.shore.dialled.start(host, port)
    await someone.says(part, "up, all ashore")
    await someone.says(part, f"{before + 1} since the start")
