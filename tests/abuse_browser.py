"""Attacks by way of a real browser: frames, other sites' pages, tokens that leave with a click, hostile recordings.

Sources: CSP level 3 (frame-ancestors), the Fetch standard (what a page may send without asking), the Referrer Policy,
HTML (what a script in a text would do). The browser is the judge: what it lets a page do is what counts.
"""

import asyncio
import contextlib
from collections.abc import AsyncIterator
from functools import partial
from typing import Any

import msgpack
from playwright.async_api import Browser, Page, Request
from playwright.async_api import TimeoutError as PatienceLost

from abuse_attack import Attack
from abuse_texts import MARKUP, said
from abused import KEY, World
from followers_page import chromium
from lying_shore import lying_shore
from relay.core.seal import Signer
from relay.core.secrets import Secrets
from relay.shell.released.briefing import briefing
from relay.shell.site.site_files import site_folder
from spoilt_recordings import evil, spoilt

ODD = ("body: a moment", "row: more than any", "vehicles: a map", "1000 deep", "dive -5", "target: a long text")
FRAMES = """(urls) => Promise.all(urls.map((url) => new Promise((done) => {
    const frame = document.createElement('iframe');
    frame.onload = () => done(url);
    frame.src = url;
    document.body.append(frame);
})))"""
LEAVE = """url => {
    const link = document.createElement('a');
    link.href = url;
    document.body.append(link);
    link.click();
}"""
ALL_TEXT = "document.body.textContent"
MARKED = "</script><script>window.owned=1</script>"  # what of the hostile recording a reader sees
# What the page says: of a dive not signed with the key it was opened with; of one that can't be as it was made; and
# of one whose beginning it can't read, which is to it as a relay that doesn't answer.
NOT_HERS = "This dive is not signed with the key in the link that was opened. Nothing of it is shown."
ALTERED, UNREADABLE = "Altered on its way", "The relay cannot be reached"
HEADLESS = ("vehicles: a map", "dive -5")
STRIKES = """async ([desk, feed, bridge, token]) => {
    const hold = JSON.stringify({do: 'hold', who: 'a page'}), quietly = {mode: 'no-cors', method: 'POST', body: hold};
    const said = [];
    const strike = async (name, what) => {
        try { await what(); said.push(name + ': sent'); } catch { said.push(name + ': stopped'); }
    };
    await strike('a simple post', () => fetch(desk + '/stop', quietly));
    await strike('a post with the token', () => fetch(desk + '/decide', {method: 'POST', body: hold,
        headers: {Authorization: 'Bearer ' + token, 'Content-Type': 'application/json'}}));
    await strike('read the state', () => fetch(desk + '/state', {headers: {Authorization: 'Bearer ' + token}}));
    const line = (url) => new Promise((done, fail) => {
        const one = new WebSocket(url);
        one.onopen = done;
        one.onerror = fail;
    });
    await strike('a websocket', () => line(desk.replace('http', 'ws') + '/stream'));
    await strike('a websocket to a feed', () => line(bridge));
    await strike('a post to its own site', () => fetch('/struck', quietly));
    navigator.sendBeacon(desk + '/stop', new Blob([hold], {type: 'text/plain'}));
    const report = '{"vehicle": "Lantern", "latitude_deg": -38.6, "longitude_deg": -21.9, "depth_m": 999.0}\\n';
    const note = '{"vehicle": "Lantern", "note": "struck"}\\n';
    const spoken = {mode: 'no-cors', method: 'POST', body: (report + note).repeat(9)};
    for (let turn = 0; turn < 5; turn += 1) await strike('speak as a station', () => fetch(feed, spoken));
    return said;
}"""


@contextlib.asynccontextmanager
async def elsewhere(text: str = "<!doctype html><title>elsewhere</title>") -> AsyncIterator[tuple[str, list[str]]]:
    """Serve a page of another origin; yield its address, and every head that it is asked with."""
    heads: list[str] = []

    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(EOFError, ConnectionError):
            heads.append((await reader.readuntil(b"\r\n\r\n")).decode("latin-1"))
            kind = f"Content-Type: text/html\r\nContent-Length: {len(text)}\r\nConnection: close"
            head = f"HTTP/1.1 200 OK\r\n{kind}\r\n\r\n"
            writer.write((head + text).encode())
            await writer.drain()
        writer.close()

    server = await asyncio.start_server(answer, "127.0.0.1", 0)
    try:
        yield f"http://localhost:{server.sockets[0].getsockname()[1]}/", heads
    finally:
        server.close()


@contextlib.asynccontextmanager
async def page_at(url: str, browser: Browser | None = None) -> AsyncIterator[Page]:
    """Open a page in a context of its own."""
    async with contextlib.AsyncExitStack() as ends:
        program = browser or await ends.enter_async_context(chromium())
        context = await program.new_context()
        page = await context.new_page()
        await page.goto(url)
        yield page
        await context.close()


def note_request(asked: list[str], request: Request) -> None:
    """Note a request's address and its Referer."""
    asked.append(f"{request.url} {request.headers.get('referer', '')}")


def note_fault(faults: list[str], error: Exception) -> None:
    """Note what a page's script raised."""
    faults.append(str(error))


def url_of(port: Any) -> str:
    """Return the address of a port for a browser."""
    return "http://{}:{}".format(*port.address)


async def clickjacking(world: World) -> str:
    """Lay each page into a frame of another site's: the browser must show none of them."""
    urls = [f"{url_of(port)}/" for port in (world.page, world.desk, world.ashore)] + [
        f"{url_of(world.page)}/expedition.html"
    ]
    async with elsewhere() as (address, _), page_at(address) as page:
        await page.evaluate(FRAMES, [*urls, address])
        *shown, own = [frame.url for frame in page.frames[1:]]
        assert own == address and len(shown) == len(urls), "no frame is shown at all"
        assert all(url.startswith("chrome-error://") for url in shown), shown
    return f"{len(urls)} pages, each refused by the browser"


async def strikes(world: World) -> str:
    """Let another site's page send the desk and the feed's port whatever a browser lets it."""
    before = await world.taken()
    feeds = (await world.ask("/state"))["feeds"]
    async with elsewhere() as (address, heads), page_at(address) as page:
        ports = [url_of(world.desk), f"http://127.0.0.1:{world.feed}/", "ws://{}:{}/".format(*world.bridge.address)]
        said = await page.evaluate(STRIKES, [*ports, world.token])
        await world.reached(3)
    assert [head for head in heads if head.startswith("POST /struck ")], "the browser strikes nobody"
    stopped = {strike.partition(": ")[0] for strike in said if strike.endswith(": stopped")}
    assert {"a post with the token", "read the state", "a websocket", "a websocket to a feed"} <= stopped, said
    assert await world.taken() == before, "a page decided something"
    depths = [row[3] for frame in world.followers[0].frames for row in ticks_of(frame)]
    assert max(depth for depth in depths if depth is not None) < 900, "a page spoke as a station"
    assert b"struck" not in b"".join(world.followers[0].frames)
    counted_alike(feeds, (await world.ask("/state"))["feeds"], world.spoken)
    return f"{'; '.join(sorted(set(said)))}: nothing decided, nothing reported"


def counted_alike(before: list[dict[str, Any]], after: list[dict[str, Any]], spoken: int) -> None:
    """Fail unless nothing but what the station has said was counted: so many messages at the first feed, and no other.

    `before` and `after`: the feeds as the desk shows them.
    """
    for was, now in zip(before, after, strict=True):
        for name in ("rejected", "passed_over"):
            assert now[name] == was[name], f"{now['name']}: {name} was {was[name]}, and is {now[name]}"
    (station, was), others = (after[0], before[0]), zip(before[1:], after[1:], strict=True)
    assert was["accepted"] <= station["accepted"] <= spoken, f"{station['accepted']} of {spoken} messages were accepted"
    for was, now in others:
        assert (now["accepted"], now["bytes"]) == (was["accepted"], was["bytes"]), f"{now['name']} was spoken to"


def ticks_of(frame: bytes) -> list[list[Any]]:
    """Return what a frame tells of the vehicles, nothing where it is no tick."""
    _, _, kind, _, body, _ = msgpack.unpackb(frame)
    return body if kind == 1 else []


async def tokens_on_their_way(world: World) -> str:
    """Open the desk and a guest's link, then leave by a link: no address, header or history has the token."""
    async with chromium() as browser, elsewhere() as (address, heads):
        for start, token in (
            (f"{url_of(world.desk)}/#{world.token}", world.token),
            (f"{url_of(world.page)}/#guest={world.guest}", world.guest),
        ):
            async with page_at(start, browser) as page:
                asked: list[str] = []
                page.on("request", partial(note_request, asked))
                await page.wait_for_function("!location.hash.includes('guest') && location.hash.length < 30")
                assert token not in page.url
                await page.reload()
                await page.evaluate(LEAVE, address)
                await page.wait_for_url(address)
                await page.go_back()
                assert token not in page.url and not [it for it in asked if token in it]
    told = "".join(heads)
    assert heads and world.token not in told and world.guest not in told and "referer" not in told.lower()
    return f"{len(heads)} requests elsewhere without a Referer; no address, header or step back has a token"


async def recordings_on_the_page(world: World, odd: tuple[str, ...] = ODD) -> str:
    """Open briefings that a stranger made of hostile recordings, past the command that refuses them."""
    path, count = world.folder / "evil.html", 0
    async with chromium() as browser:
        for name, data in [("hostile texts", evil()), *((name, spoilt()[name]) for name in odd)]:
            path.write_text(briefing(site_folder(), data, [], "<script>window.owned=1</script>", 1), encoding="utf-8")
            async with page_at("about:blank", browser) as page:
                faults: list[str] = []
                page.on("pageerror", partial(note_fault, faults))
                asked: list[str] = []
                page.on("request", partial(note_request, asked))
                await page.goto(path.as_uri())
                await page.locator("#now").get_by_role("heading", level=2).first.wait_for()
                assert name != "hostile texts" or MARKED in str(await page.evaluate(ALL_TEXT)), (
                    "no hostile text is shown"
                )
                assert await page.evaluate("window.owned === undefined"), f"{name}: a script ran"
                assert asked == [f"{path.as_uri()} "], f"{name}: {asked}"
                assert faults == [], f"{name}: {faults}"
                count += 1
    return f"{count} opened: no script ran, nothing was asked for, no fault of the page's"


async def annotations_on_the_page(world: World) -> str:
    """Say hostile annotations, and open both pages: a reader sees the very texts, and no script runs."""
    await said(world, *MARKUP)
    async with chromium() as browser:
        for one in world.followers:
            async with page_at(url_of(one.port), browser) as page:
                faults: list[str] = []
                page.on("pageerror", partial(note_fault, faults))
                with contextlib.suppress(PatienceLost):
                    await page.wait_for_function(f"texts => texts.every((it) => ({ALL_TEXT}).includes(it))", arg=MARKUP)
                shown = await page.evaluate(ALL_TEXT)
                assert [text for text in MARKUP if text not in shown] == [], f"{one.port.name} doesn't show each"
                assert await page.evaluate("window.owned === undefined") and faults == [], f"a script ran: {faults}"
    return f"{len(MARKUP)} texts, each a text at both pages; no script ran"


def pieces(recording: bytes) -> list[bytes]:
    """Return the records of a recording, whatever they hold, by a reader of MessagePack that judges nothing."""
    reader, found, begun = msgpack.Unpacker(), [], 0
    reader.feed(recording)
    with contextlib.suppress(msgpack.OutOfData):
        while True:
            reader.skip()
            found.append(recording[begun : reader.tell()])
            begun = reader.tell()
    return found[:-1]


async def recordings_from_a_lying_shore(world: World, odd: tuple[str, ...] = ODD) -> str:
    """Let a shore that lies hand recordings by a stranger to the live page, as history and as what comes live.

    A first visit takes the key that comes, so what is sound is shown, as text; with the ship's key nothing of it is.
    """
    key = Signer(Secrets(KEY).signing_seed).key.hex()
    hostile, opened = [("hostile texts", evil()), *((name, spoilt()[name]) for name in odd)], 0
    async with chromium() as browser:
        for name, data in hostile:
            first = UNREADABLE if name in HEADLESS else ALTERED if name in ODD else MARKED
            for part, words in (("", first), (f"#key={key}", UNREADABLE if name in HEADLESS else NOT_HERS)):
                history = partial(given, pieces(data))
                async with lying_shore(f"{url_of(world.page)}/", history=history) as shore:
                    await shown_safely(browser, shore.address + part, words, name)
                opened += 1
        live = partial(given, pieces(evil())[3:4])
        async with lying_shore(f"{url_of(world.page)}/", live=live) as shore:
            await shown_safely(browser, shore.address, ALTERED, "a live record")
    return f"{opened + 1} times told in words what was wrong, or shown as text; no script ran, no fault of the page's"


def given(frames: list[bytes], _instead_of: object) -> list[bytes]:
    """Return frames in place of others."""
    return frames


async def shown_safely(browser: Browser, url: str, words: str, name: str) -> None:
    """Open a page that must come to say these words, and in which nothing may run."""
    async with page_at("about:blank", browser) as page:
        faults: list[str] = []
        page.on("pageerror", partial(note_fault, faults))
        await page.goto(url)
        await page.wait_for_function(f"text => ({ALL_TEXT}).includes(text)", arg=words)
        shown = str(await page.evaluate(ALL_TEXT))
        assert words == MARKED or MARKED not in shown, f"{name}: hostile texts are shown although {words}"
        assert await page.evaluate("window.owned === undefined"), f"{name}: a script ran"
        assert faults == [], f"{name}: {faults}"


ATTACKS = [
    Attack("clickjacking: pages in another site's frames", "refused by the browser", clickjacking, True, clickjacking),
    Attack(
        "another site's page strikes the desk and a feed", "nothing decided, nothing reported", strikes, True, strikes
    ),
    Attack(
        "tokens in Referer, history and addresses", "none, in the desk's link and a guest's", tokens_on_their_way, True
    ),
    Attack(
        "annotations with script and hidden letters on the live page",
        "all 6 as text, no script",
        annotations_on_the_page,
        True,
        annotations_on_the_page,
    ),
    Attack(
        "hostile recordings opened by the page",
        "no script, no request, no fault",
        recordings_on_the_page,
        True,
        partial(recordings_on_the_page, odd=()),
    ),
    Attack(
        "hostile recordings from a shore that lies, on the live page",
        "refused in words, or text; no script",
        recordings_from_a_lying_shore,
        True,
        partial(recordings_from_a_lying_shore, odd=()),
    ),
]
