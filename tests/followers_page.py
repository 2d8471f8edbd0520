"""The built page in a real browser: Chromium, driven by Playwright, watched for errors and for strangers."""

import asyncio
import os
import shutil
from collections.abc import AsyncIterator, Iterable
from contextlib import AsyncExitStack, asynccontextmanager
from functools import cache, partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from playwright.async_api import Browser, ConsoleMessage, Locator, Page, Playwright, async_playwright

from relay.core.release import Kind
from relay.core.wire import WireRecord, read_recording
from relay.shell.released.outlet import Frame

ROOT = Path(__file__).resolve().parents[1]
BUILT = ROOT / "web" / "dist"
RECORDING = ROOT / "recordings" / "demo-dive.recording"
# Chromium takes the last list of these that it is given, so Playwright's own comes first. The others draw parts of a
# window, which nobody sees here, as pages with a process each: without them a page opens for half the processor time.
NOT_NEEDED = (
    *("AvoidUnnecessaryBeforeUnloadCheckSync", "DestroyProfileOnBrowserClose", "HttpsUpgrades", "LensOverlay"),
    *("HttpsFirstBalancedModeAutoEnable", "MediaRouter", "PaintHolding", "ThirdPartyStoragePartitioning", "AimEnabled"),
    *("AvoidCorsURLLoaderRestartOnRedirect", "OptimizationHints", "NetworkTimeServiceQuerying", "PreconnectToSearch"),
    *("InitialWebUI", "PreloadTopChromeWebUI", "WebUIReloadButton", "WebUIToolbar", "WebUILocationBar"),
    *("WebUIHomeButton", "WebUISplitTabsButton", "WebUIAppMenuButton"),
    *("WebUIOmniboxPopup", "WebUIOmniboxFullPopup", "WebUIOmniboxAimPopup"),
)
QUIET = (
    "--no-sandbox",
    f"--disable-features={','.join(NOT_NEEDED)}",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
)
PATIENCE_MS = 60_000  # as long as a page may take where everything else runs as well
PHONE, LAPTOP = (360, 720), (1280, 800)


# WebGL without a graphics card; all else is drawn without WebGL, which takes half the processor time.
IN_SOFTWARE = (
    *("--use-angle=swiftshader", "--enable-unsafe-swiftshader"),
    *("--disable-gpu-rasterization", "--disable-accelerated-2d-canvas"),
)


def chromium_program() -> str:
    """Return where Chromium is: without a window if there is such a one, which takes a third less processor time."""
    program = shutil.which("chromium-headless-shell") or shutil.which("chromium")
    if program is None:
        if os.environ.get("OFFING_REQUIRE_DATA") == "1":
            pytest.fail("chromium is not installed")
        pytest.skip("chromium is not installed")
    return program


@asynccontextmanager
async def chromium(*options: str, driver: Playwright | None = None) -> AsyncIterator[Browser]:
    """Yield a browser, started with further `options`; skip where there is none, unless everything is required.

    `driver`: what drives it, if that has been started before.
    """
    assert (BUILT / "index.html").is_file(), "the page is not built: make site"
    async with AsyncExitStack() as stack:
        program = chromium_program()
        driver = driver or await stack.enter_async_context(async_playwright())
        browser = await driver.chromium.launch(executable_path=program, args=[*QUIET, *options])
        yield browser
        await browser.close()


class Follower:
    """One person with the page open. `faults`: console errors and uncaught exceptions; `asked`: every address."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.faults: list[str] = []
        self.asked: list[str] = []
        page.set_default_timeout(PATIENCE_MS)
        page.on("pageerror", lambda error: self.faults.append(str(error)))
        page.on("console", self._heard)
        page.on("request", lambda request: self.asked.append(request.url))
        page.on("websocket", lambda opened: self.asked.append(opened.url))

    def _heard(self, said: ConsoleMessage) -> None:
        # A site need not tell how many follow, or what is to come: the browser itself writes such a 404 to its console.
        untold = str(said.location["url"]).endswith(("/followers.json", "/programme.json")) and "404" in said.text
        if said.type in ("error", "warning") and not untold:
            self.faults.append(said.text)

    @property
    def headline(self) -> Locator:
        """The largest words."""
        return self.page.locator("#now").get_by_role("heading", level=2)

    @property
    def connection(self) -> Locator:
        """The state of the connection."""
        return self.page.get_by_label("Connection", exact=True)

    @property
    def ribbon(self) -> Locator:
        """The time of the dive, as a slider."""
        return self.page.get_by_role("slider", name="Moment shown, in dive time")

    def vehicle(self, name: str) -> Locator:
        """What is told of one vehicle."""
        named = self.page.get_by_role("heading", level=3, name=name)
        return self.page.get_by_role("group", name="The vehicles").locator(".vehicle").filter(has=named)

    def button(self, name: str) -> Locator:
        """A button by its words."""
        return self.page.get_by_role("button", name=name, exact=True)

    async def says(self, where: Locator, words: str) -> None:
        """Wait until `where` says `words`."""
        await where.filter(has_text=words).first.wait_for()

    async def drawn(self) -> None:
        """Wait until every view is drawn: a frame draws as many of them as it has time for, so wait for many frames."""
        frames = """(left) => new Promise((done) => {
            const next = () => (left-- > 0 ? requestAnimationFrame(next) : done());
            next();
        })"""
        await self.page.evaluate(frames, 20)

    async def spoken_value(self, words: str) -> None:
        """Wait until the ribbon's spoken value begins with `words`."""
        await self.page.locator(f'[role=slider][aria-valuetext^="{words}"]').wait_for()


@asynccontextmanager
async def follower(
    browser: Browser, address: str, size: tuple[int, int] = LAPTOP, **options: Any
) -> AsyncIterator[Follower]:
    """Yield somebody who has just opened `address`; at the end the page must be without faults."""
    context = await browser.new_context(viewport={"width": size[0], "height": size[1]}, **options)
    someone = Follower(await context.new_page())
    await someone.page.goto(address)
    yield someone
    await context.close()
    assert someone.faults == []


class _Quiet(SimpleHTTPRequestHandler):
    """The standard library's server of a folder, which does not write to the terminal."""

    def log_message(self, *_: object) -> None:
        pass


@asynccontextmanager
async def folder_server(folder: Path) -> AsyncIterator[str]:
    """Yield the address of a bare server of a folder's files."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), partial(_Quiet, directory=str(folder)))
    thread = Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        await asyncio.to_thread(server.shutdown)
        thread.join()
        server.server_close()


def demo_dive(upto_s: float = float("inf")) -> list[Frame]:
    """Return the frames of the demo's finished dive, up to a dive time."""
    return [
        Frame("public", record.dive, record.seq, record.kind == Kind.END, int(record.elapsed_s * 1e6), record.data)
        for record in demo_records(upto_s)
    ]


def demo_records(upto_s: float = float("inf")) -> list[WireRecord]:
    """Return the same records as a reader has them."""
    return [record for record in _demo_recording() if record.elapsed_s <= upto_s]


@cache
def _demo_recording() -> tuple[WireRecord, ...]:
    return read_recording(RECORDING.read_bytes()).records


def strangers(asked: Iterable[str], host: str, port: int) -> list[str]:
    """Return the addresses that are not of this site."""
    own = (f"http://{host}:{port}/", f"ws://{host}:{port}/", "data:", "blob:")
    return [address for address in asked if not address.startswith(own)]
