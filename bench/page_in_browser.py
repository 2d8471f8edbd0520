"""How the followers' page does in a real browser whose processor is made four times slower.

A floor in the same run: an empty page with nothing but a frame loop, on the same throttled browser.
"""

import asyncio
import gzip
import re
import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from math import cos, sin
from pathlib import Path
from statistics import median
from urllib.request import urlopen

from playwright.sync_api import Browser, CDPSession, Page, sync_playwright

from relay.core.disclosure import Report
from relay.core.policy import Disclosed, Plan, Policy
from relay.core.release import ReleasedRecord, ReleaseLog
from relay.core.seal import Signer
from relay.core.wire import encode
from relay.shell.released.outlet import Frame
from relay.shell.site.site import Site
from relay.shell.site.site_files import site_folder

SIGNER = Signer(bytes(range(32)))
SLOWER = 4
SECOND_US = 1_000_000
JOINED_S, SCRUBBED_S, FOLLOWED_S = 6 * 3_600, 8 * 3_600, 3_600
PUBLIC_TICK_S = 15
SCRUB_FRAMES = 240
AT_ONCE = 20
QUIET = ["--no-sandbox", "--disable-background-networking", "--disable-component-update", "--disable-sync"]

# The browser's own word on when a picture was painted: Largest Contentful Paint, W3C, `renderTime`. The words above it
# are painted by then: the picture comes after them in the page and takes their style.
_SEEN = """
(() => {
  const of = (list) => list.getEntries().find((entry) => entry.url.includes('/pictures/'));
  new PerformanceObserver((list) => { window.first_ms ??= of(list)?.renderTime; })
    .observe({ type: 'largest-contentful-paint', buffered: true });
  const look = () => {
    const heading = document.querySelector('#now h2');
    const isDrawn = document.body?.dataset.scene === 'dive' && heading?.textContent.includes('Lantern');
    requestAnimationFrame(isDrawn ? () => requestAnimationFrame(() => { window.drawn_ms = performance.now(); }) : look);
  };
  look();
})();
"""
_WAIT = """
() => new Promise((done) => {
  const look = () => {
    if (window.drawn_ms === undefined) requestAnimationFrame(look);
    else done([window.first_ms, window.drawn_ms]);
  };
  look();
})
"""
_SCRUB = """
async (frames) => {
  const slider = document.querySelector('[role=slider]');
  const times = [];
  const at = slider ? slider.getBoundingClientRect() : null;
  const send = (type, part) => slider && slider.dispatchEvent(new PointerEvent(type, {
    bubbles: true, pointerId: 1, buttons: 1, clientX: at.left + 70 + part * (at.width - 90), clientY: at.top + 10 }));
  if (slider) slider.setPointerCapture = () => {};
  send('pointerdown', 0);
  let last = await new Promise(requestAnimationFrame);
  for (let n = 1; n <= frames; n += 1) {
    send('pointermove', 0.5 + 0.5 * Math.sin(n / 9));
    const now = await new Promise(requestAnimationFrame);
    times.push(now - last);
    last = now;
  }
  send('pointerup', 0);
  return times;
}
"""


@dataclass(frozen=True, slots=True)
class FirstSeen:
    """When somebody who joins late sees the state in words and the track's picture, and when the page is at work."""

    words_ms: float
    words_most_ms: float
    drawn_ms: float


@dataclass(frozen=True, slots=True)
class Frames:
    """The times between frames, in ms: at the median, at the 95th percentile, at most."""

    median_ms: float
    p95_ms: float
    most_ms: float


def _frames(times_ms: list[float]) -> Frames:
    return Frames(median(times_ms), sorted(times_ms)[len(times_ms) * 95 // 100], max(times_ms))


@dataclass(frozen=True, slots=True)
class InBrowser:
    """What was measured. Times in ms, sizes in octets; `heap`: after each quarter of the hour that was followed."""

    first: "FirstSeen"
    first_dense: "FirstSeen"
    script_octets: int
    scrub: "Frames"
    floor: "Frames"
    heap_octets: tuple[int, ...]


def in_browser() -> InBrowser:
    """Measure the built page; the browser is Debian's Chromium."""
    program = shutil.which("chromium")
    if program is None:
        raise SystemExit("chromium is missing: make setup")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=QUIET)
        first, dense = (_first_seen(browser, tick_s) for tick_s in (PUBLIC_TICK_S, 1))
        scrub, floor = _frames(_scrubbed(browser)), _frames(_floor(browser))
        heap = _followed(browser)
        browser.close()
    return InBrowser(first, dense, _script_octets(), scrub, floor, heap)


def dive(seconds: int, tick_s: int = 1) -> Iterator[ReleasedRecord]:
    """Yield a dive of two vehicles, a record every `tick_s`: a search in turning lines, a note every ten minutes."""
    policy = Policy(audience="public", delay_us=0, extra_us=0, tick_us=tick_s * SECOND_US, fields=frozenset(Disclosed),
                    cell_m=10.0, depth_step_m=5.0)  # fmt: skip
    plan = Plan(expedition="The search for the Isoline Marr", vehicles=("Lantern", "Moth"), sources=(),
                policies=(policy,), swath_m=30.0)  # fmt: skip
    log = ReleaseLog(policy, plan, 1, 0, SIGNER.key)
    yield log.open(0)
    for second in range(0, seconds, tick_s):
        lantern, moth = _report(second, 1.0), _report(second, 1.7)
        yield log.tick(second * SECOND_US, [lantern, moth])
        if second % 600 == 600 - tick_s:
            yield log.note(second * SECOND_US, 0, f"Line {second // 600}: mud, ripples, nothing of ours.")


def _report(second: int, wide: float) -> Report:
    down = min(1_110.0, second * 0.6)
    east, north = 300 * wide * sin(second / 700), 240 * wide * cos(second / 430) + second / 90
    return Report(heard=True, east_m=round(east / 10) * 10, north_m=round(north / 10) * 10,
                  depth_m=round(down / 5) * 5, heading_deg=second // 60 * 22.5 % 360, altitude="near the bottom",
                  mode="tethered", leg="descent" if down < 1_110 else "bottom", pitch_deg=0, roll_deg=5)  # fmt: skip


def _frame(record: ReleasedRecord) -> Frame:
    return Frame("public", record.dive, record.seq, False, 0, SIGNER.seal("public", encode(record)))


class _Served:
    """A site in a thread of its own."""

    def __init__(self) -> None:
        self.site = Site("The search for the Isoline Marr", folder=site_folder())
        self.loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self.loop.run_forever, daemon=True)

    def start(self) -> str:
        """Listen on a free port of the loopback; return the address."""
        self._thread.start()
        asyncio.run_coroutine_threadsafe(self.site.start("127.0.0.1"), self.loop).result()
        return "http://{}:{}/".format(*self.site.address)

    def publish(self, frames: list[Frame]) -> None:
        """Publish frames and return when they are."""

        async def all_of_them() -> None:
            for frame in frames:
                self.site.publish(frame)

        asyncio.run_coroutine_threadsafe(all_of_them(), self.loop).result()

    def stop(self) -> None:
        """Close the site and end the thread."""
        asyncio.run_coroutine_threadsafe(self.site.close(), self.loop).result()
        self.loop.call_soon_threadsafe(self.loop.stop)
        self._thread.join()


@contextmanager
def _served(seconds: int, tick_s: int = 1) -> Iterator[tuple[_Served, str]]:
    served = _Served()
    for record in dive(seconds, tick_s):
        served.site.publish(_frame(record))
    address = served.start()
    with urlopen(address):  # the relay has been asked before: what it works out once is worked out
        pass
    yield served, address
    served.stop()


@contextmanager
def _slow_page(browser: Browser) -> Iterator[tuple[Page, CDPSession]]:
    context = browser.new_context(viewport={"width": 360, "height": 720}, device_scale_factor=2)
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    yield page, session
    context.close()


def _first_seen(browser: Browser, tick_s: int) -> FirstSeen:
    """Return the medians of seven visits, with nothing in any cache."""
    seen = [_visit(browser, tick_s) for _ in range(7)]
    words_ms = [words_ms for words_ms, _ in seen]
    return FirstSeen(median(words_ms), max(words_ms), median(drawn_ms for _, drawn_ms in seen))


def _visit(browser: Browser, tick_s: int) -> tuple[float, float]:
    with _served(JOINED_S, tick_s) as (_, address), _slow_page(browser) as (page, _):
        page.add_init_script(_SEEN)
        page.goto(address)
        words_ms, drawn_ms = page.evaluate(_WAIT)
        if words_ms is None:
            raise SystemExit("the picture that comes with the page was not painted before the page was at work")
        return float(words_ms), float(drawn_ms)


def _scrubbed(browser: Browser) -> list[float]:
    """Return the times between frames while the moment is dragged to and fro over a long dive."""
    with _served(SCRUBBED_S) as (_, address), _slow_page(browser) as (page, _):
        page.goto(address)
        page.wait_for_selector("body[data-scene=dive]")
        page.evaluate(_SCRUB, 60)
        return [float(at) for at in page.evaluate(_SCRUB, SCRUB_FRAMES)]


def _floor(browser: Browser) -> list[float]:
    with _slow_page(browser) as (page, _):
        page.set_content("<p>nothing</p>")
        return [float(at) for at in page.evaluate(_SCRUB, SCRUB_FRAMES)]


def _followed(browser: Browser) -> tuple[int, ...]:
    """Return the heap after each quarter of an hour that is followed live, many times faster than it happens."""
    heap: list[int] = []
    served = _Served()
    records = [_frame(record) for record in dive(FOLLOWED_S)]
    served.site.publish(records[0])
    address = served.start()
    with _slow_page(browser) as (page, session):
        session.send("Emulation.setCPUThrottlingRate", {"rate": 1})
        page.goto(address)
        page.wait_for_selector("body[data-scene=dive]")
        quarter = len(records) // 4
        for at in range(1, len(records), AT_ONCE):
            served.publish(records[at : at + AT_ONCE])
            page.evaluate("() => new Promise(requestAnimationFrame)")
            if at // quarter > len(heap):
                heap.append(_heap(session))
        heap.append(_heap(session))
    served.stop()
    return tuple(heap)


def _heap(session: CDPSession) -> int:
    session.send("HeapProfiler.collectGarbage")
    return int(session.send("Runtime.getHeapUsage")["usedSize"])


def _script_octets() -> int:
    """Return what the first script takes, compressed: what the page's HTML itself asks for."""
    folder: Path = site_folder()
    names = re.findall(r'<script[^>]+src="\./([^"]+)"', (folder / "index.html").read_text())
    names += re.findall(r'rel="modulepreload"[^>]+href="\./([^"]+)"', (folder / "index.html").read_text())
    return sum(len(gzip.compress((folder / name).read_bytes(), mtime=0)) for name in names)
