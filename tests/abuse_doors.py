"""Attacks on who gets in: tokens guessed, other sites' pages, other names, strangers at the uplink's port.

Sources: RFC 6454 (Origin), W3C Fetch Metadata (Sec-Fetch-Site), RFC 6750 (bearer tokens), RFC 6455 section 10.2
(cross-site websockets). DNS rebinding: common practice, no source.
"""

import asyncio
import json
import secrets
import ssl
from collections import Counter
from time import monotonic

import pytest
import websockets
from websockets.frames import Opcode
from websockets.typing import Origin

from abuse_attack import Attack
from abused import DONE, STATE, Port, World, dialled, exchanged, status_of
from peers import masked, request, upgrade

EVIL = "http://evil.example"
UNKNOWN = b"\x88\x12\x0f\xa3unknown audience"  # a frame that closes with 4003 (RFC 6455 section 5.5.1)
HOLD = json.dumps({"do": "hold", "who": "a stranger"}).encode()


async def nothing_decided(world: World, sendings: list[tuple[str, bytes]], *expected: str) -> str:
    """Return what the desk answered; nothing may have been decided or told."""
    await world.decides()
    before, got = await world.taken(), set()
    for name, sending in sendings:
        said = await exchanged(world.desk, sending)
        assert STATE not in said and DONE not in said, name
        assert status_of(said)[:3] in expected, f"{name}: {status_of(said)}"
        got.add(status_of(said)[:3])
    assert await world.taken() == before, "something was decided"
    return f"{', '.join(sorted(got))}: nothing decided, nothing told"


async def guessing_at_the_desk(world: World) -> str:
    """Guess 400 tokens from 40 connections at a time, near ones among them, while the crew goes on."""
    begun_s, told = monotonic(), Counter[str]()

    async def guess(number: int) -> None:
        near = world.token[:-1] + ("A" if world.token[-1] != "A" else "B")
        token = near if number % 2 else secrets.token_urlsafe(32)
        said = await exchanged(world.desk, world.to_desk("/state", b"", f"Authorization: Bearer {token}"))
        # Who comes in a crowd may be cut off for the next of it: that is no answer either.
        assert status_of(said)[:3] in ("401", "not"), status_of(said)
        told[status_of(said)[:3]] += 1

    for _ in range(10):
        await asyncio.gather(*(guess(number) for number in range(40)))
        assert (await world.ask("/state"))["expedition"]
    assert told.total() == 400 and told["401"] >= 100, told
    took_s = monotonic() - begun_s
    return f"in {took_s:.0f} s {told['401']} told 401, {told['not']} cut off; 2^256 are left; the crew got in between"


async def guessing_a_guest(world: World) -> str:
    """Guess a guest's secret: the answer is that of a path that isn't there, then the connection ends."""
    guest_id = world.guest.partition(".")[0]
    unknown = (await exchanged(world.page, request("/nothing.json"), "127.0.4.1")).partition(b"\r\n\r\n")[2]
    ended = 0
    for _ in range(30):
        field = f"Authorization: Bearer {guest_id}.{secrets.token_urlsafe(32)}"
        sending = request("/guest.json", "GET", field, close=False) + request("/dives.json")
        said = await exchanged(world.page, sending, "127.0.4.1")
        assert said.startswith(b"HTTP/1.1 404 ") and said.partition(b"\r\n\r\n")[2].startswith(unknown), status_of(said)
        ended += said.count(b"HTTP/1.1 ") == 1
    right = request("/guest.json", "GET", f"Authorization: Bearer {world.guest}")
    assert status_of(await exchanged(world.page, right, "127.0.4.1"))[:3] == "200", "a guest was locked out"
    assert unknown and ended >= 15, f"only {ended} connections were ended"
    return f"30 guesses: 404 as for any unknown path, {ended} connections ended; the guest beside them gets in"


async def guessing_by_websocket(world: World) -> str:
    """Ask for the guests' audience with guessed protocols: closed as for an audience that isn't there."""
    closings = set()
    for query in ("audience=funders", "audience=nobody"):
        for _ in range(10):
            wrong = f"Sec-WebSocket-Protocol: offing, guest.{secrets.token_urlsafe(40)}"
            peer = await dialled(world.page, "127.0.4.2", upgrade(query, wrong) + masked(Opcode.CLOSE, b""))
            closings.add((await peer.rest()).partition(b"\r\n\r\n")[2])
    assert len(closings) == 1, closings
    assert closings == {UNKNOWN}, closings
    return f"20 handshakes: closed with {int.from_bytes(UNKNOWN[2:4])}, the same for both"


async def cross_site(world: World) -> str:
    """Send what another site's page can make a browser send, even with the token."""
    token, odd = f"Authorization: Bearer {world.token}", "Origin: http://evil.example"
    sendings = [
        ("with the token", world.to_desk("/decide", HOLD, token, odd)),
        ("an opaque origin", world.to_desk("/stop", HOLD, token, "Origin: null")),
        ("by fetch metadata", world.to_desk("/decide", HOLD, token, "Sec-Fetch-Site: cross-site")),
        ("same site", world.to_desk("/decide", HOLD, token, "Sec-Fetch-Site: same-site")),
        ("a form", world.to_desk("/stop", HOLD, odd).replace(b"application/json", b"text/plain", 1)),
        ("without anything", world.to_desk("/stop", HOLD)),
        ("a cookie", world.to_desk("/decide", HOLD, f"Cookie: token={world.token}")),
        ("the token in the address", world.to_desk(f"/state?token={world.token}", b"")),
    ]
    return await nothing_decided(world, sendings, "401", "403")


async def cross_site_websocket(world: World) -> str:
    """Ask the desk for a websocket, as another site's page may without a preflight: it has none, and tells nothing."""
    shake = upgrade().replace(b"relay.example", "{}:{}".format(*world.desk.address).encode(), 1)[:-2]
    sendings = []
    for path in ("/stream", "/state", "/decide"):
        whole = shake.replace(b"/live?audience=public", path.encode(), 1) + f"Origin: {EVIL}\r\n".encode()
        sendings += [(path, whole + b"Connection: close\r\n\r\n")]
        sendings += [(path, whole + f"Cookie: token={world.token}\r\nConnection: close\r\n\r\n".encode())]
    refused = await nothing_decided(world, sendings, "403", "405")
    page = shake.replace(b"/live?audience=public", b"/", 1) + f"Origin: {EVIL}\r\nConnection: close\r\n\r\n".encode()
    plain = await exchanged(world.desk, world.to_desk("/", b""))
    assert await exchanged(world.desk, page) == plain, "the desk's page is another one to whoever asks for a websocket"
    return f"{refused}; instead of one, the page that holds nothing"


async def cross_site_feed(world: World) -> str:
    """Dial the feed that takes websockets as any page can make a browser do: no station has an Origin."""
    url, report = "ws://{}:{}/".format(*world.bridge.address), b'{"vehicle": "Lantern", "note": "struck"}\n'
    before = await bridge_of(world)
    origins = (EVIL, "null", "http://{}:{}".format(*world.bridge.address), "http://{}:{}".format(*world.desk.address))
    for origin in origins:
        with pytest.raises(websockets.InvalidStatus) as refused:
            async with websockets.connect(url, origin=Origin(origin), proxy=None) as line:
                await line.send(report)
        assert refused.value.response.status_code == 403, refused.value.response.status_code
    await world.reached(2)
    assert await bridge_of(world) == before, "what a browser sent was counted as a station's"
    assert b"struck" not in b"".join(world.followers[0].frames)
    async with websockets.connect(url, proxy=None) as line:
        await line.send(b"what a station may say, though it means nothing\n")
    await world.reached(2)
    assert await bridge_of(world) != before, "nor is what a station says counted"
    return f"{len(origins)} origins: 403, nothing counted; a station, which has none, gets in"


async def bridge_of(world: World) -> dict[str, object]:
    """Return how many octets came by the second feed, and what became of them."""
    (feed,) = [feed for feed in (await world.ask("/state"))["feeds"] if feed["name"] == "bridge"]
    return {name: feed[name] for name in ("accepted", "passed_over", "rejected", "bytes")}


async def cross_site_public(world: World) -> str:
    """Follow the public audience from another site's page: open to all, and told no byte besides the records."""
    told = 0
    for one in world.followers:
        url = "ws://{}:{}/live?audience=public&dive=1&after=-1".format(*one.port.address)
        whole = list(one.frames)
        async with websockets.connect(url, origin=Origin(EVIL), proxy=None) as line, asyncio.timeout(60):
            got = [await line.recv() for _ in whole]
        assert got == whole, f"{one.port.name} tells another site's page something else"
        told += len(got)
    return f"open to every origin: {told} frames, byte for byte those of any follower"


async def cross_site_guest(world: World) -> str:
    """Ask for a guest's audience from another site's page, with all that a browser adds by itself."""
    tries = 0
    for port in (world.page, world.ashore, world.watch):
        for query in ("audience=funders", f"audience=funders&guest={world.guest}", "audience=nobody"):
            fields = (f"Origin: {EVIL}", f"Cookie: guest={world.guest}; offing=guest.{world.guest}")
            assert await closing_of(port, query, *fields) == UNKNOWN, f"{port.name}: {query}"
            tries += 1
    token = f"Sec-WebSocket-Protocol: offing, guest.{world.guest}"
    assert await closing_of(world.page, "audience=funders", token) != UNKNOWN, "nor does the token get in"
    return (
        f"{tries} handshakes: closed as for an audience that isn't there; the token alone, which no page has, gets in"
    )


async def closing_of(port: Port, query: str, *fields: str) -> bytes:
    """Return what a websocket is told before it is closed, which it asks for itself at once."""
    said = await (await dialled(port, "127.0.4.2", upgrade(query, *fields) + masked(Opcode.CLOSE, b""))).rest()
    assert said.startswith(b"HTTP/1.1 101 "), f"{port.name}: {status_of(said)}"
    return said.partition(b"\r\n\r\n")[2]


async def rebinding(world: World) -> str:
    """Reach the desk under names that somebody else has made to point at it, with the token and without."""
    port = world.desk.address[1]
    names = ["evil.example", f"evil.example:{port}", "127.0.0.1", f"127.0.0.1.evil.example:{port}", f"0.0.0.0:{port}"]
    names += [f"localhost.:{port}", f"[::ffff:127.0.0.1]:{port}", f"2130706433:{port}", ""]
    token = f"Authorization: Bearer {world.token}"
    sendings = [(name, world.to_desk("/state", b"", token, host=name)) for name in names]
    sendings += [(f"page at {name}", world.to_desk("/", b"", host=name)) for name in names]
    return await nothing_decided(world, sendings, "421", "400")


async def strangers_at_the_uplink(world: World) -> str:
    """Speak to the port that the ship dials: in plain HTTP, garbage, and TLS without her key; the link must stay."""
    tls = ssl.create_default_context()
    tls.check_hostname, tls.verify_mode = False, ssl.CERT_NONE
    for sending in (request("/"), bytes(range(256)), b""):
        peer = await dialled(world.uplink, "127.0.0.1", sending)
        if sending:
            assert b"200" not in (await peer.rest())[:20]
        peer.line.close()
    shake = upgrade("audience=public", f"Origin: {EVIL}").replace(b"/live?audience=public", b"/", 1)
    for sending in (
        request("/metrics"),
        shake + masked(Opcode.CLOSE, b""),
        upgrade().replace(b"/live?audience=public", b"/", 1) + bytes(500),
    ):
        reader, writer = await asyncio.open_connection(*world.uplink.address, ssl=tls)
        writer.write(sending)
        said = await asyncio.wait_for(reader.read(), 60)
        writer.close()
        assert b"public" not in said and b"200 OK" not in said
    uplink = (await world.ask("/state"))["uplink"]
    assert uplink["state"] == "up", uplink["state"]
    return f"all ended without a word of what is held; the ship's link is {uplink['state']}"


async def tokens_are_in_no_log(world: World) -> str:
    """After everything else: what the processes said holds no token, no place and nothing of a peer."""
    said = "".join([*world.ship.words, *world.shore.words])
    marks = [world.token, world.guest, world.guest.partition(".")[2], "38.61", "21.93", "evil.example", "<script>"]
    marks += ["127.0.2.", "127.0.3.", "127.0.4."]  # who follows, or attacks: their addresses
    assert said.splitlines(), "nothing was said, so nothing was looked through"
    found = [mark for mark in marks if mark in said]
    assert not found, found
    written = b"".join(path.read_bytes() for path in world.shore.file.parent.rglob("*") if path.is_file())
    assert b"The search for the Isoline Marr" in written, "the shore's disk wasn't read"
    assert world.token.encode() not in written and b"Ada" not in written
    return f"{len(said.splitlines())} lines of log: none of {len(marks)} marks; nor the token on the shore's disk"


ATTACKS = [
    Attack(
        "the desk's token guessed 400 times, by 40 at once",
        "401; the crew gets in meanwhile",
        guessing_at_the_desk,
        True,
    ),
    Attack(
        "a guest's token guessed over HTTP",
        "404 as for any path, connections ended, the guest gets in",
        guessing_a_guest,
    ),
    Attack("a guest's token guessed by websocket", "closed as for an audience that isn't there", guessing_by_websocket),
    Attack("another site's page posts to the desk", "401 or 403, nothing decided", cross_site),
    Attack("another site's page opens a websocket at the desk", "403 or 405, nothing told", cross_site_websocket),
    Attack("another site's page opens a websocket at a feed", "403 to any Origin, nothing counted", cross_site_feed),
    Attack("another site's page opens the public websocket", "open to all, tells nothing more", cross_site_public),
    Attack(
        "another site's page opens a guest's websocket",
        "closed as for an audience that isn't there",
        cross_site_guest,
    ),
    Attack("DNS rebinding: the desk under another name", "421, even with the token", rebinding),
    Attack("strangers at the port that the ship dials", "ended; her link stays up", strangers_at_the_uplink),
]
AFTERWARDS = [Attack("tokens and places looked for in the logs", "none is there", tokens_are_in_no_log)]
