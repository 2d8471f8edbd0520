"""Stills on the followers' page in a real browser: at their own moment, small and large, from every source."""

import asyncio
import time
from pathlib import Path

import pytest
from playwright.async_api import Browser, Locator, expect

from canary_photo import photo
from followers_page import LAPTOP, PHONE, Follower, folder_server, follower, strangers
from peers import publish
from relay.__main__ import main
from relay.core.still import Still
from relay.core.wire import footer
from relay.shell.desk.control import ask_control
from relay.shell.record.still_file import made_still, read_picture
from released import dive, dive_with_a_still
from ship_process import free_port, ship_process
from test_control import send_line, tell
from test_page import AXE, address, site_at, violations

pytestmark = [pytest.mark.browser, pytest.mark.asyncio(loop_scope="session")]
WORDS, SIZE = "The bell, upright in the silt", (640, 400)
LARGER = f"Show the still larger: {WORDS}"
COUNTING = """
    window.out = new Set();
    const [make, giveBack] = [URL.createObjectURL, URL.revokeObjectURL];
    URL.createObjectURL = (blob) => { const address = make(blob); window.out.add(address); return address; };
    URL.revokeObjectURL = (address) => { window.out.delete(address); giveBack(address); };
"""
SHOWN = """(name) => {
    const look = () => {
        const buttons = [...document.querySelectorAll('button')];
        if (buttons.some((button) => button.ariaLabel === name)) window.shown_ms ??= Date.now();
    };
    new MutationObserver(look).observe(document, { subtree: true, childList: true, attributes: true });
    look();
}"""


@pytest.fixture(scope="module")
def still(tmp_path_factory: pytest.TempPathFactory) -> Still:
    """A still made of a photograph as `offing tell` makes it."""
    path = tmp_path_factory.mktemp("photo") / "bell.jpg"
    path.write_bytes(photo((-38.61472, -21.93306), SIZE))
    return made_still(path, read_picture(path))


def small(someone: Follower) -> Locator:
    """The button that opens the still."""
    return someone.button(LARGER)


def large(someone: Follower) -> Locator:
    """The picture in the sheet above the page."""
    return someone.page.get_by_role("dialog", name="Still").get_by_role("img", name=f"Still: {WORDS}")


async def seen(picture: Locator) -> tuple[int, int]:
    """Wait until a picture is drawn, and return its size in pixels of its own."""
    await expect(picture).to_have_js_property("complete", True)
    width, height = await picture.evaluate(
        "image => image.decode().then(() => [image.naturalWidth, image.naturalHeight])"
    )
    return int(width), int(height)


async def top_of(words: Locator) -> float:
    """Return how far down a page words stand; again, if the page has put others in their place meanwhile."""
    where = "node => node.isConnected ? node.getBoundingClientRect().top + scrollY : null"
    while (top := await words.evaluate(where)) is None:
        pass
    return float(top)


@pytest.mark.parametrize("size", [PHONE, LAPTOP])
async def test_still_comes_live_and_opens_and_closes_by_keyboard(
    browser: Browser, still: Still, size: tuple[int, int]
) -> None:
    """It isn't there before its record; Enter opens it, Esc closes it, the focus returns; axe-core finds nothing."""
    frames = dive_with_a_still(1, WORDS, still)
    before = next(at for at, frame in enumerate(frames) if frame.data.find(still.jpeg) >= 0)
    async with site_at() as site, follower(browser, address(site), size, bypass_csp=True) as someone:
        await someone.says(someone.connection, "connected")
        publish(site, frames[:before])
        await someone.says(someone.page.locator("#chapters"), "words alone at 1")
        assert await someone.page.locator(".still, #chapters img").count() == 0
        publish(site, frames[before : before + 1])
        assert await seen(small(someone).locator("img")) == SIZE
        await someone.page.add_script_tag(path=str(AXE))
        assert await violations(someone.page) == []
        await small(someone).press("Enter")
        assert await seen(large(someone)) == SIZE
        assert await violations(someone.page) == []
        box = await large(someone).bounding_box()
        assert box is not None
        assert box["width"] / box["height"] == pytest.approx(SIZE[0] / SIZE[1], rel=0.02)
        assert box["width"] <= size[0]
        await someone.page.keyboard.press("Escape")
        await large(someone).wait_for(state="detached")
        await expect(small(someone)).to_be_focused()
        await small(someone).click()
        await someone.button("Close").press("Enter")
        await expect(small(someone)).to_be_focused()
        wide = await someone.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= size[0]
        assert strangers(someone.asked, *site.address) == []


async def test_latecomer_and_replay_see_it_from_its_own_moment_on(browser: Browser, still: Still) -> None:
    """Under the server's own policy: hidden before, there from then on, and nothing below it moves meanwhile."""
    async with site_at() as site:
        publish(site, dive_with_a_still(1, WORDS, still))
        async with follower(browser, address(site) + "#dive=1&at=44") as someone:
            last = someone.page.get_by_text("words alone at 5")
            await last.wait_for()
            await expect(small(someone)).to_be_hidden()
            assert await someone.page.locator("#chapters img").count() == 0
            top = await top_of(last)
            await someone.ribbon.press("ArrowRight")
            assert await seen(small(someone).locator("img")) == SIZE
            assert await top_of(last) == pytest.approx(top, abs=8)
            await someone.ribbon.press("ArrowLeft")
            await expect(small(someone)).to_be_hidden()


async def test_keys_of_the_page_rest_while_a_still_is_large(browser: Browser, still: Still) -> None:
    """A letter or an arrow moves nothing under the sheet; a press beside the picture closes it."""
    async with site_at() as site:
        publish(site, dive_with_a_still(1, WORDS, still))
        async with follower(browser, address(site)) as someone:
            await small(someone).click()
            await seen(large(someone))
            at = await someone.ribbon.get_attribute("aria-valuenow")
            for key in ("b", "ArrowLeft"):
                await someone.page.keyboard.press(key)
            assert await someone.ribbon.get_attribute("aria-valuenow") == at
            await someone.page.mouse.click(4, 4)
            await large(someone).wait_for(state="detached")


async def test_still_opened_again_at_once_is_shown(browser: Browser, still: Still) -> None:
    """That the sheet was closed is told by the browser a little later, when it may be open again."""
    async with site_at() as site:
        publish(site, dive_with_a_still(1, WORDS, still))
        async with follower(browser, address(site)) as someone:
            await small(someone).click()
            again = "button => { document.querySelector('dialog').close(); button.click(); }"
            await small(someone).evaluate(again)
            await someone.drawn()
            assert await seen(large(someone)) == SIZE


async def test_german_reader_has_it_in_german(browser: Browser, still: Still) -> None:
    """The words about the picture are the page's own, those of the annotation stay as they were written."""
    async with site_at() as site:
        publish(site, dive_with_a_still(1, WORDS, still))
        async with follower(browser, address(site), locale="de-DE") as someone:
            await someone.button(f"Das Standbild größer zeigen: {WORDS}").press("Enter")
            sheet = someone.page.get_by_role("dialog", name="Standbild")
            assert await seen(sheet.get_by_role("img", name=f"Standbild: {WORDS}")) == SIZE
            await someone.button("Schließen").press("Enter")
            await sheet.wait_for(state="hidden")


async def test_addresses_of_pictures_are_given_back(browser: Browser, still: Still) -> None:
    """One address however often it is shown, none when another dive is shown, one again on the way back."""
    async with site_at() as site, follower(browser, "about:blank") as someone:
        publish(site, dive_with_a_still(1, WORDS, still))
        publish(site, dive(2, 4))
        await someone.page.add_init_script(COUNTING)
        await someone.page.goto(address(site) + "#dive=1&at=60")
        for _ in range(2):
            await small(someone).press("Enter")
            await seen(large(someone))
            await someone.page.keyboard.press("Escape")
        assert await someone.page.evaluate("window.out.size") == 1
        await someone.page.evaluate("location.hash = '#dive=2&at=15'")
        await small(someone).wait_for(state="detached")
        assert await someone.page.evaluate("window.out.size") == 0
        await someone.page.evaluate("location.hash = '#dive=1&at=60'")
        assert await seen(small(someone).locator("img")) == SIZE
        assert await someone.page.evaluate("window.out.size") == 1


def recorded(still: Still, folder: Path) -> Path:
    """Write the recording of a dive with a still, as the outlet does, below `folder`; return where it is."""
    frames = [frame.data for frame in dive_with_a_still(1, WORDS, still)]
    path = folder / "public" / "dive-001.recording"
    path.parent.mkdir(parents=True)
    path.write_bytes(b"".join([*frames, footer(frames)]))
    return path


@pytest.mark.parametrize("size", [PHONE, LAPTOP])
async def test_briefing_shows_it_from_disk_without_a_network(
    browser: Browser, still: Still, tmp_path: Path, size: tuple[int, int]
) -> None:
    """Opened from a file, offline, under the briefing's own policy; a clicker closes it and goes on."""
    out = tmp_path / "briefing.html"
    assert main(["brief", str(recorded(still, tmp_path)), "-o", str(out)]) == 0
    async with follower(browser, out.as_uri(), size, offline=True) as someone:
        await small(someone).press("Enter")
        assert await seen(large(someone)) == SIZE
        await someone.page.keyboard.press("PageUp")
        await large(someone).wait_for(state="detached")
        assert {asked for asked in someone.asked if not asked.startswith("blob:")} == {out.as_uri()}


async def test_published_folder_shows_it(browser: Browser, still: Still, tmp_path: Path) -> None:
    """`offing publish`, then any server of folders."""
    recorded(still, tmp_path / "released")
    out = tmp_path / "site"
    assert main(["publish", str(tmp_path / "released" / "public"), "--out", str(out)]) == 0
    async with folder_server(out) as home, follower(browser, home) as someone:
        assert await seen(small(someone).locator("img")) == SIZE
        someone.faults[:] = [fault for fault in someone.faults if "/live" not in fault and "404" not in fault]


@pytest.mark.slow
async def test_still_told_to_a_running_ship_is_on_the_page_no_earlier_than_its_delay(
    browser: Browser, tmp_path: Path
) -> None:
    """Real processes, from `offing ship` and `offing tell say --still` to the picture in the browser."""
    delay_s, port = 10.0, free_port()
    (tmp_path / "bell.jpg").write_bytes(photo((-38.61472, -21.93306), SIZE))
    source, options = f"tcp-listen://127.0.0.1:{port}", {"feed_format": "station-json", "quiet": "60 s"}
    async with ship_process(tmp_path, source=source, delay=f"{delay_s:g} s", stills=True, **options) as ship:
        async with asyncio.timeout(60):
            await send_line(port, b'{"depth_m": 12.0}\n')
            while not (await ask_control(tmp_path / "private", {"do": "status"}))["dive_under_way"]:
                pass
        async with follower(browser, f"http://127.0.0.1:{ship.port}/") as someone:
            await someone.page.evaluate(SHOWN, LARGER)  # the page notes when: a busy machine comes too late to see it
            with_it = ("--still", str(tmp_path / "bell.jpg"))
            say, originals = ("say", WORDS, *with_it), tmp_path / "private" / "stills"
            code, _, why = await tell(ship.expedition, *say)
            assert (code, "add --looked" in why) == (2, True)
            code, _, why = await tell(ship.expedition, "say", "at 38 36.9 S 021 55.9 W", *with_it, "--looked")
            assert (code, list(originals.iterdir())) == (2, [])
            assert "please rewrite" in why
            said_s = time.time()
            code, said, _ = await tell(ship.expedition, *say, "--looked")
            assert (code, "with a still (640 × 400 pixels" in said) == (0, True)
            kept = [path.read_bytes() for path in originals.iterdir()]
            assert kept == [(tmp_path / "bell.jpg").read_bytes()]
            await small(someone).wait_for()
            assert await someone.page.evaluate("window.shown_ms") >= (said_s + delay_s) * 1_000
            assert await seen(small(someone).locator("img")) == SIZE
