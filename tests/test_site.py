"""The live socket of a running site, over the loopback: the library `websockets` and a raw socket are the peers."""

import asyncio
from dataclasses import replace
from itertools import islice

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from websockets.exceptions import ConnectionClosedOK
from websockets.frames import Opcode

from peers import (
    FAST,
    RawPeer,
    exchange,
    frames_of,
    live,
    masked,
    on_both_loops,
    payloads,
    publish,
    running,
    take,
    until,
    upgrade,
)
from relay.core.errors import OutOfOrderError
from relay.core.history import Position
from relay.core.websocket import CloseCode, encode_binary
from relay.core.wire import decode
from relay.shell.released.outlet import Frame
from relay.shell.site.site import Site
from released import dive


@on_both_loops
async def test_viewer_gets_each_frame_as_one_binary_message() -> None:
    """The message is the released frame, byte for byte, and on the wire it is the frame encoded once."""
    async with running(limits=FAST) as site, live(site) as viewer:
        raw = await RawPeer.dial(site, upgrade())
        await until(lambda: site.figures().viewers == {"public": 2})
        sent = publish(site, dive(1, 4))
        assert await take(viewer, len(sent)) == sent
        wire = b"".join(map(encode_binary, sent))
        assert (await raw.receive_until(lambda got: got.endswith(wire))).partition(b"\r\n\r\n")[2] == wire
        raw.line.close()


@on_both_loops
async def test_late_joiner_gets_only_what_comes() -> None:
    """Without a position nothing of the past is sent, and a later dive's first record is."""
    async with running(limits=FAST) as site:
        publish(site, dive(1, 3))
        async with live(site) as viewer:
            sent = publish(site, dive(2, 0))
            assert await take(viewer, len(sent)) == sent


@pytest.mark.parametrize("position", [Position(1, -1), Position(1, 2), Position(1, 4), Position(2, 0), Position(2, 1)])
@on_both_loops
async def test_viewer_resumes_after_its_position(position: Position) -> None:
    """Everything after the record it holds, over dives, then what is released from then on."""
    past, coming = [*dive(1, 3), *dive(2, 2, closed=False)], dive(2, 4)[3:]
    async with running(limits=FAST) as site:
        publish(site, past)
        async with live(site, f"audience=public&dive={position.dive}&after={position.seq}") as viewer:
            publish(site, coming)
            expected = [frame.data for frame in [*past, *coming] if (frame.dive, frame.seq) > position]
            assert await take(viewer, len(expected)) == expected


@on_both_loops
async def test_viewer_asking_for_all_before_the_first_dive_gets_all() -> None:
    """`dive=1&after=-1` on an empty site: nothing is missed between asking for the list and the first record."""
    async with running(limits=FAST) as site, live(site, "audience=public&dive=1&after=-1") as viewer:
        sent = publish(site, dive(1, 2))
        assert await take(viewer, len(sent)) == sent


@on_both_loops
async def test_viewer_that_is_ahead_gets_nothing_twice() -> None:
    """It holds record 4 of a site that has reached 2: it gets 5 next."""
    frames = dive(1, 8)
    async with running(limits=FAST) as site:
        publish(site, frames[:3])
        async with live(site, "audience=public&dive=1&after=4") as viewer:
            publish(site, frames[3:])
            assert await take(viewer, len(frames) - 5) == [frame.data for frame in frames[5:]]


@on_both_loops
async def test_viewer_resumes_after_it_was_cut_off() -> None:
    """A lost connection, records released meanwhile, and a new connection: one gapless run."""
    frames = dive(1, 12)
    async with running(limits=FAST) as site:
        async with live(site) as viewer:
            publish(site, frames[:5])
            got = await take(viewer, 5)
            viewer.transport.abort()
        publish(site, frames[5:9])
        async with live(site, "audience=public&dive=1&after=4") as viewer:
            publish(site, frames[9:])
            got += await take(viewer, len(frames) - 5)
    assert got == [frame.data for frame in frames]


class Reader:
    """A viewer that comes, reads a little, is cut off with whatever was on its way, and comes back."""

    def __init__(self, site: Site, published: list[Frame]) -> None:
        self._site, self._published = site, published
        self._held = (published[-1].dive, published[-1].seq) if published else (1, -1)
        self._peer: RawPeer | None = None
        self.began = len(published)
        self.got: list[bytes] = []

    async def come(self) -> None:
        """Connect, asking for what follows; the site has read it when its answer is here."""
        if self._peer is None:
            query = f"audience=public&dive={self._held[0]}&after={self._held[1]}"
            self._peer = await RawPeer.dial(self._site, upgrade(query))
            await self._peer.receive_until(lambda got: b"\r\n\r\n" in got)

    async def read(self) -> None:
        """Take what is here, which may end inside a frame."""
        if self._peer is not None and self._missing():
            before = len(self._peer.received)
            await self._peer.receive_until(lambda got: len(got) > before)

    async def drop(self) -> None:
        """Lose the connection."""
        if self._peer is not None:
            self.got, self._held = self.got + self._here(), self._reached()
            self._peer.line.close()
            self._peer = None

    async def finish(self) -> None:
        """Read until nothing is missing."""
        await self.come()
        while self._missing():
            await self.read()
        await self.drop()

    def _here(self) -> list[bytes]:
        assert self._peer is not None
        return payloads(frames_of(self._peer.received))

    def _reached(self) -> tuple[int, int]:
        here = [decode(data) for data in self._here()]
        return (here[-1].dive, here[-1].seq) if here else self._held

    def _missing(self) -> bool:
        return bool(self._published) and self._reached() < (self._published[-1].dive, self._published[-1].seq)


steps_ = st.lists(st.sampled_from(["publish", "publish", "join", "come", "drop", "read"]), min_size=5, max_size=40)


@given(steps_, st.integers(0, 30))
@settings(max_examples=40, deadline=None)
@on_both_loops
async def test_no_gap_and_no_repeat_however_joining_and_publishing_interleave(steps: list[str], before: int) -> None:
    """Every viewer, whenever it came, was cut off and came back, holds exactly what followed its first position."""
    frames = iter([*dive(1, 6), *dive(2, 9), *dive(3, 60, closed=False)])
    published = list(islice(frames, before))
    readers: list[Reader] = []
    async with running(limits=FAST) as site:
        publish(site, published)
        for at, step in enumerate(steps):
            if step == "publish":
                published.append(next(frames))
                site.publish(published[-1])
            elif step == "join":
                readers.append(Reader(site, published))
                await readers[-1].come()
            elif readers:
                await getattr(readers[at % len(readers)], step)()
        for reader in readers:
            await reader.finish()
            assert reader.got == [frame.data for frame in published[reader.began :]]


@on_both_loops
async def test_audience_that_is_not_open_answers_as_one_that_is_not() -> None:
    """Byte for byte, on the socket and over HTTP; its records are not even kept (R1, R4)."""
    async with running(limits=FAST) as site:
        publish(site, dive(1, 2, audience="funders"))
        assert site.history("funders") is None
        for sending in (b"GET /recordings/%s/dive-001.recording HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n",):
            assert await exchange(site, sending % b"funders") == await exchange(site, sending % b"nobody")
        closing = masked(Opcode.CLOSE, b"")
        hidden = await exchange(site, upgrade("audience=funders&dive=1&after=0") + closing)
        assert hidden == await exchange(site, upgrade("audience=nobody&dive=1&after=0") + closing)


@on_both_loops
async def test_audiences_do_not_mix() -> None:
    """Two open audiences: each viewer gets the records of its own."""
    async with (
        running("public", "funders", limits=FAST) as site,
        live(site) as public,
        live(site, "audience=funders") as funder,
    ):
        funders = publish(site, dive(1, 3, audience="funders"))
        followers = publish(site, dive(1, 1))
        assert await take(public, len(followers)) == followers
        assert await take(funder, len(funders)) == funders


@on_both_loops
async def test_frame_out_of_order_reaches_nobody() -> None:
    """Our own fault raises before a byte is sent."""
    frames = dive(1, 5)
    async with running(limits=FAST) as site, live(site) as viewer:
        publish(site, frames[:2])
        with pytest.raises(OutOfOrderError):
            site.publish(frames[3])
        publish(site, frames[2:3])
        assert await take(viewer, 3) == [frame.data for frame in frames[:3]]


@on_both_loops
async def test_closing_site_tells_its_viewers() -> None:
    """1001 to everybody, the port closed, and nothing left behind."""
    async with running(limits=FAST) as site:
        viewers = [await live(site) for _ in range(3)]
        idle = await RawPeer.dial(site)
        await until(lambda: site.figures().connections == 4)
        address = site.address
        closing = asyncio.create_task(site.close())
        for viewer in viewers:
            with pytest.raises(ConnectionClosedOK) as caught:
                await viewer.recv()
            assert caught.value.rcvd is not None
            assert caught.value.rcvd.code == CloseCode.GOING_AWAY
        await idle.rest()
        await closing
        assert site.figures().connections == 0
        with pytest.raises(ConnectionRefusedError):
            await asyncio.open_connection(*address)


@on_both_loops
async def test_closing_site_cuts_off_who_does_not_go() -> None:
    """A viewer that ignores the close is gone after `close_s`."""
    async with running(limits=replace(FAST, close_s=0.1)) as site:
        raw = await RawPeer.dial(site, upgrade())
        await raw.receive_until(lambda got: b"\r\n\r\n" in got)
        await site.close()
        assert site.figures().connections == 0
        raw.line.close()
