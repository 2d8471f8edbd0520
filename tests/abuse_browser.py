"""Attacks by way of a real browser: frames, other sites' pages, tokens that leave with a click, hostile recordings.

Sources: CSP level 3 (frame-ancestors), the Fetch standard (what a page may send without asking), the Referrer Policy,
HTML (what a script in a text would do). The browser is the judge: what it lets a page do is what counts.
"""

import asyncio
import contextlib
import json
from collections.abc import AsyncIterator
from functools import partial
from typing import Any

import msgpack
from playwright.async_api import Browser, Page, Request

from abuse_attack import Attack
from abused import World
from followers_page import chromium
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
STRIKES = """async ([desk, feed, token]) => {
    const hold = JSON.stringify({do: 'hold', who: 'a page'}), quietly = {mode: 'no-cors', method: 'POST', body: hold};
    const said = [];
    const strike = async (name, what) => {
        try { await what(); said.push(name + ': sent'); } catch { said.push(name + ': stopped'); }
    };
    await strike('a simple post', () => fetch(desk + '/stop', quietly));
    await strike('a post with the token', () => fetch(desk + '/decide', {method: 'POST', body: hold,
        headers: {Authorization: 'Bearer ' + token, 'Content-Type': 'application/json'}}));
    await strike('read the state', () => fetch(desk + '/state', {headers: {Authorization: 'Bearer ' + token}}));
    await strike('a websocket', () => new Promise((done, fail) => {
        const line = new WebSocket(desk.replace('http', 'ws') + '/stream');
        line.onopen = done;
        line.onerror = fail;
    }));
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
        await page.evaluate(FRAMES, urls)
        shown = [frame.url for frame in page.frames[1:]]
        assert len(shown) == len(urls)
        assert all(url.startswith("chrome-error://") for url in shown), shown
    return f"{len(urls)} pages, each refused by the browser"


async def strikes(world: World) -> str:
    """Let another site's page send the desk and the feed's port whatever a browser lets it."""
    before = await world.taken()
    feeds = (await world.ask("/state"))["feeds"]
    async with elsewhere() as (address, _), page_at(address) as page:
        said = await page.evaluate(STRIKES, [url_of(world.desk), f"http://127.0.0.1:{world.feed}/", world.token])
        await world.reached(3)
    assert await world.taken() == before, "a page decided something"
    depths = [row[3] for frame in world.followers[0].frames for row in ticks_of(frame)]
    assert max(depth for depth in depths if depth is not None) < 900, "a page spoke as a station"
    assert b"struck" not in b"".join(world.followers[0].frames)
    after = (await world.ask("/state"))["feeds"]
    assert json.dumps(after).count('"rejected": 0') == json.dumps(feeds).count('"rejected": 0')
    return f"{'; '.join(sorted(set(said)))}: nothing decided, nothing reported"


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


async def recordings_on_the_page(world: World) -> str:
    """Open briefings that a stranger made of hostile recordings, past the command that refuses them."""
    path, count = world.folder / "evil.html", 0
    async with chromium() as browser:
        for name, data in [("hostile texts", evil()), *((name, spoilt()[name]) for name in ODD)]:
            path.write_text(briefing(site_folder(), data, [], "<script>window.owned=1</script>", 1), encoding="utf-8")
            async with page_at("about:blank", browser) as page:
                faults: list[str] = []
                page.on("pageerror", partial(note_fault, faults))
                asked: list[str] = []
                page.on("request", partial(note_request, asked))
                await page.goto(path.as_uri())
                await page.locator("#now").get_by_role("heading", level=2).first.wait_for()
                assert await page.evaluate("window.owned === undefined"), f"{name}: a script ran"
                assert asked == [f"{path.as_uri()} "], f"{name}: {asked}"
                assert faults == [], f"{name}: {faults}"
                count += 1
    return f"{count} opened: no script ran, nothing was asked for, no fault of the page's"


ATTACKS = [
    Attack("clickjacking: pages in another site's frames", "refused by the browser", clickjacking, True),
    Attack("another site's page strikes the desk and a feed", "nothing decided, nothing reported", strikes, True),
    Attack(
        "tokens in Referer, history and addresses", "none, in the desk's link and a guest's", tokens_on_their_way, True
    ),
    Attack("hostile recordings opened by the page", "no script, no request, no fault", recordings_on_the_page, True),
]
