"""History through a caching proxy (nginx, as Debian has it): one request to the site, many followers, nothing stale.

What may be kept, and for how long, is RFC 9111's; tags and 304 are RFC 9110's (sections 8.8.3 and 15.4.5).
"""

from collections.abc import AsyncIterator
from pathlib import Path

import aiohttp
import pytest
from websockets.asyncio.client import connect

from caching_proxy import caching_proxy
from peers import publish, running, take, until
from relay.core.guests import Guest, Listing, digest_of, write_listing
from relay.core.history import received
from relay.core.wire import footer
from relay.shell.site.site import Site
from released import dive
from shores import SIGNER, sealed

CLOSED, OPEN = dive(1, 300), dive(2, 40, closed=False)


class Through:
    """Requests through the proxy."""

    def __init__(self, site: Site, address: str, session: aiohttp.ClientSession) -> None:
        self.site, self.address, self._session = site, address, session

    async def get(self, path: str, **headers: str) -> tuple[int, "aiohttp.typedefs.LooseHeaders", bytes]:
        """Return status, headers and body; names of headers with _ for -."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        async with self._session.get(f"http://{self.address}{path}", headers=named) as answer:
            return answer.status, answer.headers, await answer.read()


@pytest.fixture
async def through(tmp_path: Path) -> AsyncIterator[Through]:
    """A site with two dives, and a proxy before it that answers."""
    async with running() as site:
        publish(site, [*CLOSED, *OPEN])
        host, port = site.address
        with caching_proxy(tmp_path, f"{host}:{port}") as address:
            async with aiohttp.ClientSession(auto_decompress=False, skip_auto_headers=["Accept-Encoding"]) as session:
                yield Through(site, address, session)


async def answering(through: Through) -> None:
    """Return once the proxy listens."""
    while True:
        try:
            await through.get("/live")
        except aiohttp.ClientConnectorError:
            continue
        return


async def test_closed_dive_is_asked_for_once_and_kept_for_ever(through: Through) -> None:
    """The second follower's recording comes from the proxy; who has it is told so, without asking the site."""
    await answering(through)
    path, whole = "/recordings/public/dive-001.recording", b"".join(frame.data for frame in CLOSED)
    status, headers, body = await through.get(path)
    assert (status, headers["X-Cache"], body) == (200, "MISS", whole + footer(frame.data for frame in CLOSED))
    assert "immutable" in headers["Cache-Control"] and "max-age=31536000" in headers["Cache-Control"]
    await through.site.close()  # whatever comes now comes from the proxy
    again = await through.get(path)
    assert (again[0], again[1]["X-Cache"], again[2], again[1]["ETag"]) == (200, "HIT", body, headers["ETag"])
    status, known, nothing = await through.get(path, If_None_Match=headers["ETag"])
    assert (status, known["X-Cache"], nothing, known["ETag"]) == (304, "HIT", b"", headers["ETag"])
    assert (await through.get(path, If_None_Match='"another"'))[0] == 200


async def test_codings_are_kept_apart(through: Through) -> None:
    """Who can't unpack never gets what was packed for somebody else."""
    await answering(through)
    path = "/recordings/public/dive-001.recording"
    _, packed, small = await through.get(path, Accept_Encoding="gzip")
    _, plain, large = await through.get(path, Accept_Encoding="identity")
    assert packed["Content-Encoding"] == "gzip" and "Content-Encoding" not in plain
    assert len(small) < len(large) and packed["ETag"] != plain["ETag"]
    _, headers, body = await through.get(path, Accept_Encoding="gzip")
    assert (headers["X-Cache"], body) == ("HIT", small)


async def test_what_grows_is_never_stale(through: Through) -> None:
    """Lists, the programme and a dive under way are the site's own at every request; 304 while nothing has changed."""
    await answering(through)
    for path in ("/dives.json", "/recordings/public/dive-002.recording", "/programme.json", "/expedition.html"):
        _, headers, before = await through.get(path)
        assert headers["Cache-Control"] == "no-cache"
        assert (await through.get(path, If_None_Match=headers["ETag"]))[0] == 304, path
        assert (await through.get(path))[2] == before
    _, old, body = await through.get("/recordings/public/dive-002.recording")
    more = publish(through.site, dive(2, 90)[41:60])
    status, new, longer = await through.get("/recordings/public/dive-002.recording", If_None_Match=old["ETag"])
    assert (status, longer) == (200, body + b"".join(more)) and new["ETag"] != old["ETag"]


async def test_dive_that_ends_becomes_immutable(through: Through) -> None:
    """What the proxy gave out before the end isn't what it gives out after."""
    await answering(through)
    path = "/recordings/public/dive-002.recording"
    await through.get(path)
    publish(through.site, dive(2, 40)[41:])
    _, headers, body = await through.get(path)
    assert "immutable" in headers["Cache-Control"] and body.endswith(footer(frame.data for frame in dive(2, 40)))
    assert (await through.get(path))[1]["X-Cache"] == "HIT"


async def test_what_is_not_there_is_not_kept(through: Through) -> None:
    """A dive that was asked for too early is there as soon as it begins."""
    await answering(through)
    path = "/recordings/public/dive-003.recording"
    assert (await through.get(path))[0] == 404
    publish(through.site, [*dive(2, 40)[41:], *dive(3, 2, closed=False)])
    assert (await through.get(path))[0] == 200


async def test_what_guests_are_shown_is_never_kept(tmp_path: Path) -> None:
    """A guest's recording comes from the site each time; who has no token is told, by both, that nothing is there."""
    guest = Guest("0a1b2c3d", "funders", digest_of("A" * 43))
    frames = sealed(dive(1, 60, audience="funders"))
    async with running("public", invited=["funders"]) as site:
        site.guests.trust(SIGNER.key)
        site.guests.listing(write_listing(Listing(1, {guest.id: guest}), SIGNER))
        for frame in frames:
            site.publish(received("funders", frame))
        host, port = site.address
        with caching_proxy(tmp_path, f"{host}:{port}") as address:
            async with aiohttp.ClientSession() as session:
                through = Through(site, address, session)
                await answering(through)
                path, token = "/recordings/funders/dive-001.recording", f"Bearer {guest.id}.{'A' * 43}"
                for _ in range(2):
                    nothing = await through.get(path)
                    status, headers, body = await through.get(path, Authorization=token)
                    assert (nothing[0], status, body) == (404, 200, b"".join(frames) + footer(frames))
                    assert headers["Cache-Control"] == "private, no-store" and headers["X-Cache"] == "MISS"
                site.guests.listing(write_listing(Listing(2, {}), SIGNER))
                assert (await through.get(path, Authorization=token))[0] == 404


async def test_live_socket_goes_through(through: Through) -> None:
    """The same bytes, and its close code."""
    await answering(through)
    async with connect(f"ws://{through.address}/live?audience=public&dive=2&after=38", compression=None) as viewer:
        assert await take(viewer, 2) == [frame.data for frame in OPEN[39:41]]
        await until(lambda: through.site.figures().viewers == {"public": 1})
