"""The followers' page, built, served by the real site and looked at in a real browser: states, words, keyboard."""

import json
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from itertools import islice
from pathlib import Path
from shutil import copytree

import pytest
from playwright.async_api import Browser, Page

from followers_page import (
    BUILT,
    LAPTOP,
    PATIENCE_MS,
    PHONE,
    RECORDING,
    Follower,
    demo_dive,
    demo_records,
    folder_server,
    follower,
    strangers,
)
from peers import publish
from relay.core.figures import figures
from relay.core.release import Kind
from relay.shell.site.gate import Limits
from relay.shell.site.site import Site
from released import EXPEDITION, dive, endless_dive

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
AXE = Path(__file__).resolve().parents[1] / "web" / "node_modules" / "axe-core" / "axe.min.js"
QUICK = Limits(close_s=1.0, turn_s=0.05)


@asynccontextmanager
async def site_at(port: int = 0, limits: Limits = QUICK) -> AsyncIterator[Site]:
    """A site with the built page, on a given port."""
    site = Site(EXPEDITION, folder=BUILT, limits=limits)
    await site.start("127.0.0.1", port)
    try:
        yield site
    finally:
        await site.close()


def address(site: Site) -> str:
    """Return where the page is."""
    host, port = site.address
    return f"http://{host}:{port}/"


async def test_page_before_a_dive_waits_and_then_follows_it(browser: Browser) -> None:
    """Opened too early, the page says so in a friendly way, and shows the dive without being asked again."""
    async with site_at() as site, follower(browser, address(site)) as someone:
        await someone.says(someone.headline, "No dive yet")
        await someone.says(someone.connection, "connected")
        assert "late" in await someone.page.locator("#honest").inner_text()
        publish(site, dive(1, 3, closed=False))
        await someone.says(someone.vehicle("Lantern"), "about 20 m")
        await someone.says(someone.page.locator("#honest"), "You see this 45 to 55 minutes late.")
        await someone.spoken_value("30")


async def test_page_tells_a_dive_under_way_in_words(browser: Browser) -> None:
    """Headline, vehicles, latest note, drawings and figures tell the same moment, and ask nobody but the site."""
    async with site_at() as site:
        publish(site, demo_dive(4_010))
        async with follower(browser, address(site)) as someone:
            await someone.says(someone.headline, "Lantern and Moth are at work below")
            await someone.says(someone.vehicle("Moth"), "near the bottom")
            await someone.says(someone.page.get_by_role("blockquote"), "Two boilers side by side")
            notes = someone.page.locator("#chapters").get_by_role("listitem").and_(someone.page.locator(".note"))
            assert await notes.count() == sum(record.kind == Kind.NOTE for record in demo_records(4_010))
            plan = someone.page.get_by_role("img", name="up is not north")
            assert "Lantern is" in (await plan.get_attribute("aria-label") or "")
            await someone.page.get_by_role("img", name="Water column. Lantern: about").wait_for()
            await someone.page.get_by_text("The figures behind the drawings").click()
            first = someone.page.get_by_role("row").nth(1)
            last = demo_records(4_010)[-1]
            await someone.says(first, f"{last.body[0][3]:,}")
            await someone.says(someone.page.get_by_role("status"), "Connection: connected.")
            assert strangers(someone.asked, *site.address) == []


async def test_page_draws_what_was_released(browser: Browser) -> None:
    """The drawings are not blank: each has ink, and changes with the moment shown."""
    async with site_at() as site:
        publish(site, demo_dive())
        async with follower(browser, address(site)) as someone:
            await someone.says(someone.headline, "The dive is over")
            ends = [await drawing.screenshot() for drawing in await someone.page.locator(".paper, .ribbon").all()]
            assert len(ends) == 4
            await someone.ribbon.focus()
            for _ in range(20):
                await someone.page.keyboard.press("PageDown")
            await someone.spoken_value("59")
            then = [await drawing.screenshot() for drawing in await someone.page.locator(".paper, .ribbon").all()]
            assert all(end != before for end, before in zip(ends, then, strict=True))


async def test_page_loses_its_connection_and_misses_nothing(browser: Browser) -> None:
    """While the relay is away the page says so and counts down; back again, it has every record once."""
    async with follower_left_alone(browser) as (someone, port), site_at(port) as again:
        publish(again, list(islice(endless_dive(), 60)))
        await someone.button("Try now").click()
        await someone.says(someone.connection, "connected")
        await someone.spoken_value("14")
        await someone.page.get_by_text("The figures behind the drawings").click()
        await someone.says(someone.page.get_by_role("caption"), "59 reports")


@asynccontextmanager
async def follower_left_alone(browser: Browser) -> AsyncIterator[tuple[Follower, int]]:
    """Yield somebody whose site, on a port of its own, has just gone away."""
    async with AsyncExitStack() as stack:
        async with site_at() as site:
            port = site.address[1]
            publish(site, list(islice(endless_dive(), 20)))
            someone = await stack.enter_async_context(follower(browser, address(site)))
            await someone.says(someone.connection, "connected")
        await someone.says(someone.connection, "disconnected: trying again in")
        assert (
            "more than 55 minutes late: nothing newer has come." in await someone.page.locator("#honest").inner_text()
        )
        yield someone, port
        # A socket or a fetch that finds nobody is told on the console by the browser itself.
        someone.faults[:] = [fault for fault in someone.faults if "ERR_CONNECTION_REFUSED" not in fault]


async def test_page_that_missed_too_much_reads_the_history(browser: Browser) -> None:
    """Owed more than the socket replays (close code 4000), the page fetches the recording and goes on live."""
    small = Limits(close_s=1.0, turn_s=0.05, replay_frames=5)
    async with follower_left_alone(browser) as (someone, port), site_at(port, small) as again:
        endless = endless_dive()
        publish(again, list(islice(endless, 200)))
        await someone.button("Try now").click()
        await someone.spoken_value("49")
        await someone.says(someone.connection, "connected")
        publish(again, list(islice(endless, 40)))
        await someone.spoken_value("59")


async def test_finished_dive_is_replayed_while_another_goes_on(browser: Browser) -> None:
    """Chosen from the list, it is checked, played, paused and stepped through by keyboard; live is one button away."""
    async with site_at() as site:
        publish(site, demo_dive())
        publish(site, dive(2, 4, closed=False))
        async with follower(browser, address(site)) as someone:
            await someone.says(someone.vehicle("Lantern"), "about 30 m")
            await someone.page.get_by_label("Dive", exact=True).select_option("Dive 1, recording")
            await someone.says(someone.headline, "The dive is over")
            await someone.says(someone.connection, "replay: another dive is going on")
            await someone.says(someone.page.locator("#honest"), "A recording, shown 20 to 25 seconds late.")
            assert someone.page.url.endswith("#dive=1")
            await someone.button("Play from the start").press("Enter")
            await someone.button("Pause").press("Enter")
            await someone.button("Play").wait_for()
            await someone.ribbon.press("Home")
            await someone.ribbon.press("ArrowRight")
            await someone.spoken_value("2")
            await someone.button("Later chapter").press("Enter")
            await someone.says(someone.page.get_by_role("blockquote"), "clear of the ship's side")
            await someone.page.get_by_text("The figures behind the drawings").click()
            await someone.says(someone.page.locator("#figures"), "whole: it agrees with the digest at its end")
            await someone.button("A dive is going on: go to live").press("Enter")
            await someone.says(someone.vehicle("Lantern"), "about 30 m")
            await someone.says(someone.connection, "connected")


async def test_dive_that_ends_is_summed_up_as_the_relay_does(browser: Browser) -> None:
    """Deepest, time below and way of each vehicle are the numbers that the relay makes of the same records (R7)."""
    records = demo_records()
    told = figures(records)
    async with site_at() as site:
        publish(site, demo_dive()[:-1])
        async with follower(browser, address(site)) as someone:
            await someone.spoken_value("2")
            publish(site, demo_dive()[-1:])
            await someone.says(someone.headline, "The dive is over")
            for index, vehicle in enumerate(told.vehicles):
                deepest = max(r.body[index][3] for r in records if r.kind == 1 and r.body[index][3] is not None)
                minutes = int(vehicle.bottom_s or 0) // 60
                way = float(f"{vehicle.distance_m:.1e}")
                block = (await someone.vehicle(vehicle.vehicle).inner_text()).replace("\u00a0", " ")
                assert f"about {deepest:,} m" in block
                assert f"{minutes // 60} h {minutes % 60} min" if minutes > 60 else f"{minutes} min" in block
                assert f"about {way:,.0f} m" in block


async def test_hold_is_told_as_a_delay(browser: Browser) -> None:
    """Where three reports are overdue the page says "delayed": the embargo may hold, the line is not lost."""
    async with site_at() as site:
        publish(site, demo_dive(4_000))  # a report every 2 s: 10 s of silence are a delay
        async with follower(browser, address(site)) as someone:
            await someone.page.clock.install()
            await someone.page.reload()
            await someone.says(someone.connection, "connected")
            await someone.page.clock.fast_forward(12_000)
            await someone.says(someone.connection, "delayed: nothing new for")
            publish(site, demo_dive(4_002)[len(demo_dive(4_000)) :])
            await someone.says(someone.connection, "connected")


async def test_published_folder_is_a_site_of_recordings(browser: Browser, tmp_path: Path) -> None:
    """Page, list and recordings laid in a folder of any web server are enough, below a path too."""
    folder = tmp_path / "expedition"
    copytree(BUILT, folder)
    (folder / "recordings").mkdir()
    (folder / "recordings" / "dive-001.recording").write_bytes(RECORDING.read_bytes())
    records = len(demo_records())
    entry = {"dive": 1, "closed": True, "records": records, "recording": "recordings/dive-001.recording"}
    listing = {"format": 1, "expedition": EXPEDITION, "audience": "public", "dives": [entry]}
    (folder / "dives.json").write_text(json.dumps(listing))
    async with folder_server(tmp_path) as home, follower(browser, f"{home}expedition/") as someone:
        await someone.says(someone.headline, "The dive is over")
        await someone.says(someone.connection, "recordings only")
        someone.faults[:] = [fault for fault in someone.faults if "/live" not in fault and "404" not in fault]


async def test_damaged_recording_is_shown_up_to_where_it_is_damaged(browser: Browser, tmp_path: Path) -> None:
    """Where it isn't what the ship released is told in words, and nothing from there on is drawn."""
    octets, good_s = 0, 0.0
    for record in demo_records():
        octets += len(record.data)
        if octets > len(RECORDING.read_bytes()) // 2:
            break
        good_s = max(good_s, record.elapsed_s)
    async with site_at() as site:
        publish(site, demo_dive())
        context = await browser.new_context()
        page = await context.new_page()
        page.set_default_timeout(PATIENCE_MS)
        changed = bytearray(RECORDING.read_bytes())
        changed[len(changed) // 2] ^= 1
        await page.route("**/*.recording", lambda route: route.fulfill(body=bytes(changed)))
        await page.goto(address(site))
        words = f"Record {record.seq + 1:,} of this dive is not what the ship signed. What is shown ends before it"
        await page.get_by_role("alert").filter(has_text=words).wait_for()
        assert float(str(await page.get_by_role("slider").get_attribute("aria-valuemax"))) == good_s
        await context.close()


async def test_page_meets_the_accessibility_rules(browser: Browser) -> None:
    """No violation of WCAG 2.2 A and AA as axe-core finds them in a dive that came live, its figures unfolded.

    Small and large; every other state is in test_page_states.
    """
    async with (
        site_at() as site,
        # The rules are looked at by a script that is put into the page: only for that the policy is lifted.
        follower(browser, address(site), bypass_csp=True) as someone,
    ):
        await someone.page.add_script_tag(path=str(AXE))
        await someone.says(someone.headline, "No dive yet")
        publish(site, demo_dive(4_010))
        await someone.says(someone.headline, "at work below")
        await someone.page.get_by_text("The figures behind the drawings").click()
        await someone.ribbon.press("PageDown")
        for size in (PHONE, LAPTOP):
            await resized(someone, size)
            assert await violations(someone.page) == [], size


async def resized(someone: Follower, size: tuple[int, int]) -> None:
    """Give an open page another size, and wait until it is drawn at it."""
    await someone.page.set_viewport_size({"width": size[0], "height": size[1]})
    await someone.drawn()


async def violations(page: Page) -> list[str]:
    """Return what axe-core, put into the page before, finds wrong with it."""
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    found = await page.evaluate("tags => axe.run({ runOnly: tags, resultTypes: ['violations'] })", tags)
    return [f"{v['id']}: {n['html'][:120]}" for v in found["violations"] for n in v["nodes"]]


async def test_page_never_scrolls_sideways(browser: Browser) -> None:
    """On a phone, at 200 % zoom (a laptop's 1280 pixels become 640) and with letters twice as large, all fits."""
    sizes = [((320, 640), "100%"), (PHONE, "100%"), (PHONE, "200%"), ((640, 400), "100%"), (LAPTOP, "200%")]
    async with site_at() as site:
        publish(site, demo_dive(4_010))
        async with follower(browser, address(site), sizes[0][0]) as someone:
            await someone.says(someone.headline, "at work below")
            await someone.page.get_by_text("The figures behind the drawings").click()
            sideways = {}
            for size, text in sizes:
                await someone.page.evaluate("size => { document.documentElement.style.fontSize = size }", text)
                await resized(someone, size)
                too_wide = "Math.max(0, document.documentElement.scrollWidth - innerWidth)"
                sideways[size, text] = await someone.page.evaluate(too_wide)
            assert sideways == dict.fromkeys(sizes, 0)


async def test_page_can_be_walked_by_keyboard(browser: Browser) -> None:
    """Tab reaches every control, in the order of the page, and each shows where it is."""
    async with site_at() as site:
        publish(site, demo_dive(2_000))
        async with follower(browser, address(site)) as someone:
            await someone.says(someone.connection, "connected")
            await someone.ribbon.wait_for()
            reached = []
            for _ in range(10):
                await someone.page.keyboard.press("Tab")
                focused = someone.page.locator(":focus")
                reached.append(await focused.evaluate("e => e.ariaLabel || e.textContent"))
                assert await focused.evaluate("e => getComputedStyle(e).outlineStyle") != "none"
            assert reached[0].startswith("Skip to")
            assert reached[2] == "All dives"
            assert reached[3].startswith("Signed")
            assert reached[4] == "See it in three dimensions"
            assert reached[5] == "Moment shown, in dive time"
            assert reached[6] == "Play from the start"
            assert reached[8] == "Earlier chapter"
