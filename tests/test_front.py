"""The front of the port: whose connection it is, by its first head, in time and within its limits."""

import asyncio
from dataclasses import replace

import pytest
from websockets.frames import Opcode

from crowd import many_open_files
from peers import (
    FAST,
    RawPeer,
    answers,
    exchange,
    frames_of,
    get,
    live,
    masked,
    on_both_loops,
    publish,
    request,
    running,
    take,
    until,
    upgrade,
)
from relay.shell.site.gate import Limits
from released import dive


@on_both_loops
async def test_connections_are_limited_by_address() -> None:
    """One more than the limit is answered 503 at once; when one has gone, the next is let in."""
    async with running(limits=replace(FAST, connections_per_address=2)) as site:
        held = [await RawPeer.dial(site) for _ in range(2)]
        await until(lambda: site.figures().connections == 2)
        assert (await exchange(site, b"")).startswith(b"HTTP/1.1 503 ")
        held.pop().line.close()
        await until(lambda: site.figures().connections == 1)
        assert (await get(site, "/dives.json")).status == 200
        held.pop().line.close()


@on_both_loops
async def test_frames_behind_the_handshake_in_one_packet_are_read() -> None:
    """A client in a hurry: its ping arrives with its handshake, byte by byte or not."""
    async with running(limits=FAST) as site:
        raw = await RawPeer.dial(site)
        for byte in upgrade():
            await raw.send(bytes([byte]))
        await raw.send(masked(Opcode.PING, b"one"))
        both = await RawPeer.dial(site, upgrade() + masked(Opcode.PING, b"two"))
        for peer, text in ((raw, b"one"), (both, b"two")):
            await peer.receive_until(lambda got, text=text: got.endswith(text))  # type: ignore[misc]
            (pong,) = frames_of(peer.received)
            assert (pong.opcode, pong.data) == (Opcode.PONG, text)
            peer.line.close()


@on_both_loops
async def test_handshakes_that_never_finish_are_ended_in_time() -> None:
    """1,000 heads that stay open, some fed a byte at a time: told 408 and closed; viewers notice nothing."""
    many_open_files(2_200)
    limits = Limits(handshake_s=3.0, turn_s=1.0, connections_per_address=0)
    async with running(limits=limits, turns=False) as site, live(site) as viewer:
        slow = [await RawPeer.dial(site, upgrade()[: n % 60]) for n in range(1_000)]
        await until(lambda: site.figures().connections == 1_001)
        for turn in range(3):
            for peer in slow[::50]:
                await peer.send(b"a")
            sent = publish(site, [dive(1, 5)[turn]])
            assert await take(viewer, 1) == sent
            site.turn()
        rests = await asyncio.gather(*(peer.rest() for peer in slow))
        assert {rest.split(b"\r\n")[0] for rest in rests} == {b"HTTP/1.1 408 Request Timeout"}
        await until(lambda: site.figures().connections == 1)
        assert site.figures().tally.unfinished == 1_000


@pytest.mark.parametrize(("length", "status"), [(8_192, 404), (8_193, 431), (100_000, 431)])
@on_both_loops
async def test_head_is_taken_up_to_its_limit(length: int, status: int) -> None:
    """8 KiB with everything; one byte more is told so, however much it is."""
    bare = len(request("/nothing", "GET", "X-Long: "))
    sending = request("/nothing", "GET", f"X-Long: {'x' * (length - bare)}")
    assert len(sending) == length
    async with running(limits=FAST) as site:
        (answer,) = answers(await exchange(site, sending))
        assert answer.status == status


@on_both_loops
async def test_refused_head_may_go_on_for_a_while() -> None:
    """What is still on its way is read and dropped, so that no reset destroys the answer (RFC 9112 section 9.6)."""
    async with running(limits=FAST) as site:
        peer = await RawPeer.dial(site, b"A" * 8_192)
        await peer.receive_until(lambda got: got.endswith(b"The request is too long.\n"))
        for _ in range(10):
            await peer.send(b"A" * 2_048)
        assert (await peer.rest()).startswith(b"HTTP/1.1 431 ")
        assert not peer.reset


@on_both_loops
async def test_websocket_asked_for_on_a_used_connection_is_told_so() -> None:
    """The second request of a connection cannot become a socket: 426, and the end of the connection."""
    async with running(limits=FAST) as site:
        raw = await exchange(site, request("/dives.json", close=False) + upgrade() + request("/dives.json"))
        first, second = answers(raw, "GET", "GET")
        assert (first.status, second.status) == (200, 426)
        assert (second.headers["Upgrade"], second.headers["Sec-WebSocket-Version"]) == ("websocket", "13")
        assert site.figures().viewers == {"public": 0}


@pytest.mark.parametrize(
    ("sending", "status"),
    [
        (request("/live?audience=public"), 426),
        (upgrade().replace(b"GET /live", b"GET /"), 404),
        (upgrade().replace(b"GET /live", b"GET /Live"), 404),
        (upgrade().replace(b"GET /live", b"POST /live"), 405),
        (upgrade().replace(b"Version: 13", b"Version: 12"), 426),
    ],
)
@on_both_loops
async def test_live_is_a_websocket_and_nothing_else_is(sending: bytes, status: int) -> None:
    """Only GET /live with an upgrade is a socket; a wrong version is told the right one (RFC 6455 section 4.2.2)."""
    ending = sending if b"Connection: close" in sending else sending + request("/nothing")
    async with running(limits=FAST) as site:
        first = (await exchange(site, ending)).split(b"\r\n")[0]
        assert first.startswith(f"HTTP/1.1 {status} ".encode())
