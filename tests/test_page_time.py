"""Time on the followers' page in a real browser: links to a moment, keys, chapters, replay, late arrivals."""

import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
from playwright.async_api import Browser

from followers_page import LAPTOP, PHONE, Follower, demo_dive, demo_records, follower
from peers import publish
from relay.core.figures import figures
from relay.core.release import Kind
from relay.shell.site.site import Site
from released import dive_with_everything
from test_page import AXE, address, resized, site_at, violations

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
TABLET = (768, 1024)


@asynccontextmanager
async def watching(browser: Browser, link: str = "", upto_s: float = 4_010) -> AsyncIterator[tuple[Follower, Site]]:
    """Yield somebody who has opened a link to the demo's dive while it goes on."""
    async with site_at() as site:
        publish(site, demo_dive(upto_s))
        async with follower(browser, address(site) + link) as someone:
            await someone.ribbon.wait_for()
            await someone.page.locator("#chapters li").first.wait_for()
            yield someone, site


async def moment(someone: Follower) -> float:
    """Return the dive time that the ribbon tells, once the page has drawn whatever was done to it."""
    await someone.drawn()
    return await told(someone)


async def told(someone: Follower) -> float:
    """Return the dive time that the ribbon tells now."""
    return float(await someone.ribbon.get_attribute("aria-valuenow") or "nan")


# Links


async def test_link_to_a_moment_opens_it_paused_while_the_dive_goes_on(browser: Browser) -> None:
    """The moment stays, in the page and in its address, whatever is released meanwhile."""
    async with watching(browser, "#dive=1&at=1800") as (someone, site):
        await someone.says(someone.connection, "replay: the dive is going on")
        assert await moment(someone) == 1_800
        publish(site, demo_dive(4_100)[len(demo_dive(4_010)) :])
        await someone.page.locator('[role=slider][aria-valuemax="4100"]').wait_for()
        assert await moment(someone) == 1_800
        assert someone.page.url.endswith("#dive=1&at=1800")
        await someone.button("Back to live").press("Enter")
        await someone.says(someone.connection, "connected")
        await someone.page.wait_for_url(re.compile(r"/$"))


async def test_address_follows_the_moment_once_the_reader_rests(browser: Browser) -> None:
    """Stepping and seeking change the address in place: one step back leaves the page, not the moment."""
    async with watching(browser) as (someone, _):
        entries = await someone.page.evaluate("history.length")
        for _step in range(3):
            await someone.ribbon.press("ArrowLeft")
        await someone.page.wait_for_url("**/#dive=1&at=4004")
        await someone.ribbon.press("Home")
        await someone.page.wait_for_url("**/#dive=1&at=0")
        assert await someone.page.evaluate("history.length") == entries
        await someone.page.evaluate("location.hash = '#dive=1&at=3000'")
        await someone.spoken_value("50\u00a0min")


async def test_copied_link_leads_another_reader_to_the_same_moment(browser: Browser) -> None:
    """The button says what it copied, and what was copied opens there."""
    async with watching(browser, "#dive=1&at=3894") as (someone, _):
        await someone.page.context.grant_permissions(["clipboard-read", "clipboard-write"])
        await someone.button("Copy a link to this moment").press("Enter")
        await someone.says(someone.page.get_by_role("status"), "Copied: a link to 1:04:54 into the dive.")
        link = await someone.page.evaluate("navigator.clipboard.readText()")
        assert link == someone.page.url
        async with follower(browser, link) as other:
            await other.says(other.page.get_by_role("blockquote"), "This was a ship.")
            assert await moment(other) == 3_894


async def test_link_is_shown_where_it_cannot_be_copied(browser: Browser) -> None:
    """Without a clipboard (a page that is not served securely has none) the link stands in a field, ready to take."""
    async with watching(browser, "#dive=1&at=3894") as (someone, _):
        await someone.page.add_init_script("Object.defineProperty(navigator, 'clipboard', { value: undefined })")
        await someone.page.reload()
        await someone.page.locator("#chapters li").first.wait_for()
        await someone.button("Copy a link to this moment").press("Enter")
        await someone.says(someone.page.get_by_role("status"), "Here is the link, to be copied by hand")
        field = someone.page.get_by_role("textbox", name="Link to this moment")
        assert await field.input_value() == someone.page.url
        assert await field.evaluate("e => e === document.activeElement && e.selectionEnd - e.selectionStart") > 30
        await someone.page.keyboard.press("ArrowLeft")
        assert await moment(someone) == 3_894


async def test_link_that_leads_nowhere_says_so(browser: Browser) -> None:
    """A moment that is not released yet and a dive that is not there are told, and what there is is shown."""
    async with watching(browser, "#dive=1&at=9000") as (someone, _):
        await someone.says(someone.page.get_by_role("status"), "2:30:00 into the dive, which has not been released")
        await someone.says(someone.connection, "connected")
    async with watching(browser, "#dive=8&at=10") as (someone, _):
        await someone.says(someone.page.get_by_role("status"), "dive 8, which is not here")
        await someone.says(someone.headline, "at work below")


# Keys


async def test_keys_move_through_the_dive(browser: Browser) -> None:
    """Each key of the list on the page does what the list says."""
    async with watching(browser) as (someone, _):
        press = someone.page.keyboard.press
        await press("Space")
        await someone.says(someone.connection, "replay")
        await press("ArrowLeft")
        await someone.page.locator('[role=slider][aria-valuenow="4008"]').wait_for()
        await press("Shift+ArrowLeft")
        await someone.page.locator('[role=slider][aria-valuenow="3708"]').wait_for()
        await press("p")
        await someone.says(someone.page.get_by_role("blockquote"), "Small dark lumps on the mud")
        await press("n")
        await someone.page.locator('[role=slider][aria-valuenow="3764"]').wait_for()
        await press("f")
        assert await moment(someone) == 3_764
        assert await someone.page.get_by_label("Speed").input_value() == "120"
        await press("b")
        await someone.page.locator('[role=slider][aria-valuenow="0"]').wait_for()
        await press("Space")
        await someone.button("Pause").wait_for()
        await press("Space")
        await someone.button("Play").wait_for()
        await press("l")
        await someone.says(someone.connection, "connected")


async def test_keys_are_not_taken_from_controls(browser: Browser) -> None:
    """A list keeps its letters and arrows, a button its Space; switched off, no key does anything."""
    async with watching(browser, "#dive=1&at=3000") as (someone, _):
        speed = someone.page.get_by_label("Speed")
        await speed.focus()
        await someone.page.keyboard.press("ArrowLeft")
        await someone.page.keyboard.press("b")
        summary = someone.page.get_by_text("Keys", exact=True)
        await summary.press("Space")
        assert await moment(someone) == 3_000
        switch = someone.page.get_by_label("Use these keys on this page")
        await switch.uncheck()
        await switch.evaluate("e => e.blur()")
        await someone.page.keyboard.press("b")
        await someone.page.reload()
        await someone.ribbon.wait_for()
        await someone.page.keyboard.press("b")
        await summary.click()
        assert not await switch.is_checked()
        assert await moment(someone) == 3_000


async def test_ribbon_is_a_slider_with_a_spoken_value(browser: Browser) -> None:
    """Arrows, Page keys, Home and End move it; its value says the time, what goes on, and the note of that moment."""
    async with watching(browser, "#dive=1&at=3894") as (someone, _):
        value = await someone.ribbon.get_attribute("aria-valuetext") or ""
        assert value.startswith("1\u00a0h\u00a04\u00a0min into the dive. Lantern is ")
        assert value.endswith("Chapter: A riveted plate standing on its edge. Then another. This was a ship.")
        for key, at_s in (("PageDown", 3_594), ("PageUp", 3_894), ("ArrowDown", 3_892), ("End", 4_010), ("Home", 0)):
            await someone.ribbon.press(key)
            assert await moment(someone) == at_s


# Chapters


async def test_chapters_are_the_legs_and_the_notes(browser: Browser) -> None:
    """One list in the order of the dive holds each leg begin and each note with its time, and leads there."""
    records = demo_records(4_010)
    begins = _leg_begins()
    noted = [(record.elapsed_s, record.body[1]) for record in records if record.kind == Kind.NOTE]
    async with watching(browser) as (someone, _):
        rows = await someone.page.locator("#chapters li").all()
        assert len(rows) == len(begins) + len(noted)
        times = [await row.get_by_role("button").inner_text() for row in rows]
        assert times == [_clock(at_s) for at_s in sorted([*begins, *(at_s for at_s, _ in noted)])]
        await someone.page.get_by_role("button", name="0:27:54 into the dive").press("Enter")
        await someone.page.locator('[role=slider][aria-valuenow="1674"]').wait_for()
        current = someone.page.locator("#chapters [aria-current=true]")
        await someone.says(current, "Lantern is at work below")
        assert await current.count() == 1


def _leg_begins() -> list[float]:
    """Return when a vehicle is first told on another leg: once for those that begin one together."""
    last: dict[int, str] = {}
    begins = set()
    for record in demo_records(4_010):
        for vehicle, row in enumerate(record.body if record.kind == Kind.TICK else []):
            if row[7] is not None and row[7] != last.get(vehicle):
                last[vehicle] = row[7]
                begins.add((record.elapsed_s, row[7]))
    return [at_s for at_s, _ in begins]


def _clock(at_s: float) -> str:
    whole = int(at_s)
    return f"{whole // 3600}:{whole // 60 % 60:02}:{whole % 60:02}"


async def test_chapters_grow_and_leave_the_keyboard_where_it_is(browser: Browser) -> None:
    """A chapter that comes while somebody is in the list takes nobody's place."""
    async with watching(browser) as (someone, site):
        before = await someone.page.locator("#chapters li").count()
        button = someone.page.get_by_role("button", name="1:06:18 into the dive")
        await button.focus()
        publish(site, demo_dive(4_020)[len(demo_dive(4_010)) :])
        await someone.says(someone.page.locator("#chapters li"), "Furnace doors still shut")
        assert await someone.page.locator("#chapters li").count() == before + 1
        assert await button.evaluate("e => e === document.activeElement")


async def test_targets_are_chapters_and_are_counted(browser: Browser) -> None:
    """Each verdict is a chapter; the numbers count a target once, by its last verdict up to the moment shown."""
    async with site_at() as site:
        publish(site, dive_with_everything(1))
        async with follower(browser, address(site)) as someone:
            await someone.says(someone.page.locator("#now"), "1 of 1")
            rows = await someone.page.locator("#chapters li.target").all_inner_texts()
            assert [" ".join(row.split()) for row in rows] == [
                "0:00:00 Lantern Target Boiler: not yet looked at",
                "0:00:15 Target Boiler: of interest",
            ]
            await someone.ribbon.press("Home")
            await someone.says(someone.page.locator("#now"), "0 of 1")


# Replay, and arriving late


async def test_replay_at_sixty_times_shows_a_minute_in_a_second(browser: Browser) -> None:
    """By the page's own clock: ten seconds of replay are ten minutes of the dive, from the moment it was asked for."""
    async with watching(browser, "#dive=1&at=600", upto_s=9_999) as (someone, _):
        await someone.page.clock.install(time=0)
        await someone.page.reload()
        await someone.ribbon.wait_for()
        await someone.page.clock.pause_at(3_600_000)  # it would go on between a key and the look at what came of it
        await someone.page.clock.run_for(1_000)
        assert await told(someone) == 600
        await someone.button("Play").press("Enter")
        await someone.page.clock.run_for(10_000)
        assert await told(someone) == pytest.approx(1_200, abs=60)
        await someone.page.get_by_label("Speed").select_option("120 \u00d7")
        before_s = await told(someone)
        await someone.page.clock.run_for(10_000)
        assert await told(someone) - before_s == pytest.approx(1_200, abs=60)


async def test_who_comes_late_sees_the_dive_from_its_begin_and_follows(browser: Browser) -> None:
    """Somebody who opens the page in the middle has all that was released, can go back, and stays live."""
    async with watching(browser) as (early, site), follower(browser, address(site)) as late:
        publish(site, demo_dive(4_100)[len(demo_dive(4_010)) :])
        for someone in (early, late):
            await someone.page.locator('[role=slider][aria-valuenow="4100"]').wait_for()
        chapters = await early.page.locator("#chapters li").count()
        await late.page.locator("#chapters li").nth(chapters - 1).wait_for()
        assert await early.page.locator("#chapters").inner_text() == await late.page.locator("#chapters").inner_text()
        await late.ribbon.press("Home")
        await late.says(late.headline, "Lantern is on the way down")
        await late.button("Back to live").press("Enter")
        await late.says(late.connection, "connected")


async def test_ground_covered_is_the_number_that_the_relay_makes(browser: Browser) -> None:
    """R7: page and relay work the area out of the same released records; the page tells two figures of it."""
    told_m2 = figures(demo_records(4_010)).area_m2 or 0.0
    async with watching(browser) as (someone, _):
        block = (await someone.page.locator("#now .sums").inner_text()).replace("\u00a0", " ")
        assert f"about {float(f'{told_m2:.1e}'):,.0f} m\u00b2" in block
        await someone.says(someone.page.locator("#plan"), "Hatched: the ground seen so far, 30")


async def test_page_of_a_moment_meets_the_accessibility_rules(browser: Browser) -> None:
    """No violation of WCAG 2.2 A and AA as axe-core finds them, all unfolded; nothing goes sideways."""
    async with site_at() as site:
        publish(site, demo_dive(4_010))
        there = address(site) + "#dive=1&at=9000"
        async with follower(browser, there, PHONE, bypass_csp=True) as someone:
            await someone.page.add_script_tag(path=str(AXE))
            await someone.says(someone.page.get_by_role("status"), "has not been released yet")
            for size in (PHONE, TABLET, LAPTOP):
                await resized(someone, size)
                assert await violations(someone.page) == [], size
            await someone.page.get_by_text("Keys", exact=True).click()
            await someone.page.evaluate("Object.defineProperty(navigator, 'clipboard', { value: undefined })")
            await someone.button("Copy a link to this moment").press("Enter")
            await someone.page.get_by_role("textbox", name="Link to this moment").wait_for()
            for size in (LAPTOP, TABLET, PHONE):
                await resized(someone, size)
                assert await violations(someone.page) == [], size
                assert await someone.page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, size
