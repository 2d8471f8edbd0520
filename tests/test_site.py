"""The live socket of a running site, over the loopback: the library `websockets` and a raw socket are the peers."""

import asyncio
from dataclasses import replace
from itertools import islice

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from websockets.exceptions import ConnectionClosed, ConnectionClosedOK
from websockets.frames import Close, Opcode

from peers import (
    RawPeer,
    exchange,
    frames_of,
    get,
    live,
    masked,
    on_both_loops,
    payloads,
    running,
    take,
    until,
    upgrade,
)
from relay.core.history import OutOfOrderError, Position
from relay.core.websocket import CloseCode, encode_binary
from relay.core.wire import decode
from relay.shell.gate import Limits
from relay.shell.outlet import Frame
from relay.shell.site import Site
from released import dive, endless_dive

FAST = Limits(close_s=1.0, turn_s=0.05)


def publish(site: Site, frames: list[Frame]) -> list[bytes]:
    """Publish frames and return their bytes."""
    for frame in frames:
        site.publish(frame)
    return [frame.data for frame in frames]


async def closed_with(site: Site, query: str) -> int | None:
    """Return the code with which the site closes a viewer at once."""
    async with live(site, query) as viewer:
        with pytest.raises(ConnectionClosed) as caught:
            await viewer.recv()
    return caught.value.rcvd.code if caught.value.rcvd else None


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
async def test_replay_beyond_the_limit_is_history_first() -> None:
    """As many records as the limit are replayed; one more, and the viewer is sent to the recording (4000)."""
    limits = replace(FAST, replay_frames=10)
    async with running(limits=limits) as site:
        sent = publish(site, dive(1, 20))
        async with live(site, "audience=public&dive=1&after=11") as viewer:
            assert await take(viewer, 10) == sent[12:]
        assert await closed_with(site, "audience=public&dive=1&after=10") == CloseCode.HISTORY_FIRST


@on_both_loops
async def test_long_replay_fills_no_buffer() -> None:
    """A viewer that reads late gets 200 KiB of replay as it takes it, while records go on being released."""
    frames = list(islice(endless_dive(note="Plates, and the ribs of the hold. " * 12), 400))
    async with running(limits=FAST) as site:
        publish(site, frames[:360])
        raw = await RawPeer.dial(site, upgrade("audience=public&dive=1&after=-1"), receive_octets=4_096)
        await raw.receive_until(lambda got: b"\r\n\r\n" in got)
        for frame in frames[360:]:
            site.publish(frame)
        whole = sum(len(encode_binary(frame.data)) for frame in frames)
        await raw.receive_until(lambda got: len(got) - got.index(b"\r\n\r\n") - 4 >= whole)
        assert payloads(frames_of(raw.received)) == [frame.data for frame in frames]
        assert site.figures().tally.too_slow == 0
        raw.line.close()


@on_both_loops
async def test_stalled_viewer_is_dropped_and_nobody_else_waits() -> None:
    """Among 50 that read, one that doesn't: they get every record, it gets a gapless beginning and 4001."""
    frames = endless_dive(note="Plates, and the ribs of the hold. " * 12)
    async with running(limits=FAST) as site:
        stalled = await RawPeer.dial(site, upgrade(), receive_octets=4_096)
        others = [await live(site) for _ in range(50)]
        sent: list[bytes] = []
        while site.figures().tally.too_slow == 0:
            sent += publish(site, [next(frames)])
            assert await asyncio.gather(*(take(other, 1) for other in others)) == [[sent[-1]]] * 50
        sent += publish(site, [next(frames)])
        assert await asyncio.gather(*(take(other, 1) for other in others)) == [[sent[-1]]] * 50
        assert site.figures().viewers == {"public": 50}
        got = frames_of(await stalled.rest())
        records = payloads(got)
        assert records == sent[: len(records)]
        assert len(records) == len(sent) - 2  # the frame at which it was dropped, and the one after
        assert Close.parse(got[-1].data).code == CloseCode.TOO_SLOW
        await asyncio.gather(*(other.close() for other in others))


@on_both_loops
async def test_stalled_viewer_holds_few_stale_records() -> None:
    """What waits for a viewer that stopped reading is bounded by small buffers, ours and the kernel's."""
    frames = endless_dive(note="Plates, and the ribs of the hold. " * 12)
    async with running(limits=FAST) as site:
        stalled = await RawPeer.dial(site, upgrade(), receive_octets=4_096)
        await stalled.receive_until(lambda got: b"\r\n\r\n" in got)
        waiting = 0
        while site.figures().tally.too_slow == 0:
            waiting += len(publish(site, [next(frames)])[0])
        assert waiting < 128 * 1024
        await stalled.rest()


@on_both_loops
async def test_stalled_viewer_that_never_reads_is_cut_off() -> None:
    """The close frame cannot be taken either: after `close_s` the connection is gone, and with it its memory."""
    frames = endless_dive(note="Plates, and the ribs of the hold. " * 12)
    async with running(limits=FAST) as site:
        stalled = await RawPeer.dial(site, upgrade(), receive_octets=4_096)
        await stalled.receive_until(lambda got: b"\r\n\r\n" in got)
        while site.figures().tally.too_slow == 0:
            publish(site, [next(frames)])
        await until(lambda: site.figures().connections == 0)
        stalled.line.close()


@pytest.mark.parametrize(
    ("query", "code"),
    [
        ("", CloseCode.BAD_REQUEST),
        ("audience=public&dive=x&after=1", CloseCode.BAD_REQUEST),
        ("audience=nobody", CloseCode.UNKNOWN_AUDIENCE),
        ("audience=funders", CloseCode.UNKNOWN_AUDIENCE),
    ],
)
@on_both_loops
async def test_bad_asks_are_closed_with_their_code(query: str, code: CloseCode) -> None:
    """The close codes of the wire contract."""
    async with running(limits=FAST) as site:
        publish(site, dive(1, 2, audience="funders"))
        assert await closed_with(site, query) == code


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
async def test_seats_are_limited() -> None:
    """As many viewers as the limit; one more is told 1013; a seat that is left is free again."""
    async with running(limits=replace(FAST, viewers=2)) as site, live(site):
        async with live(site):
            assert await closed_with(site, "audience=public") == CloseCode.FULL
        await until(lambda: site.figures().viewers == {"public": 1})
        async with live(site) as viewer:
            sent = publish(site, dive(1, 0))
            assert await take(viewer, 2) == sent


@on_both_loops
async def test_seats_are_limited_by_address() -> None:
    """One address gets as many seats as its limit, whatever is free besides."""
    async with running(limits=replace(FAST, viewers_per_address=1)) as site, live(site):
        assert await closed_with(site, "audience=public") == CloseCode.FULL


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


@pytest.mark.parametrize("message", ["x", "x" * 100_000, b"", b"x" * 1_025])
@on_both_loops
async def test_viewer_that_speaks_is_closed(message: str | bytes) -> None:
    """A data message of any length: 1008; none of it is kept."""
    async with running(limits=FAST) as site, live(site) as viewer:
        await viewer.send(message)
        with pytest.raises(ConnectionClosed) as caught:
            await viewer.recv()
        assert caught.value.rcvd is not None
        assert caught.value.rcvd.code == CloseCode.NOT_EXPECTED
        assert site.figures().tally.unwelcome == 1


@on_both_loops
async def test_viewer_that_floods_after_its_close_is_cut_off() -> None:
    """What is read and dropped from a peer that was told to go is bounded."""
    async with running(limits=replace(FAST, close_s=60.0, discarded=4_096)) as site:
        raw = await RawPeer.dial(site, upgrade() + b"\x00\x00")
        await raw.receive_until(lambda got: b"\x88" in got)
        with pytest.raises(OSError, match=r"reset|Broken pipe"):
            await raw.send(bytes(64 * 1024 * 1024))
        raw.line.close()
        await until(lambda: site.figures().connections == 0)


@on_both_loops
async def test_ping_is_answered_and_close_is_echoed() -> None:
    """The library measures a round trip, and its closing handshake ends in order with its own code."""
    async with running(limits=FAST) as site:
        async with live(site) as viewer:
            assert await (await viewer.ping(b"are you there")) >= 0
            await viewer.close(3_456)
            assert viewer.close_code == 3_456
        await until(lambda: site.figures().connections == 0)


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
async def test_viewer_is_pinged_and_a_silent_one_is_cut_off() -> None:
    """Every `ping_s` a ping; who answers stays, who answers none for `pong_s` is gone. Turns are given by hand."""
    limits = Limits(ping_s=2.0, pong_s=6.0, turn_s=1.0, close_s=1.0)
    async with running(limits=limits, turns=False) as site:
        silent = await RawPeer.dial(site, upgrade())
        await silent.receive_until(lambda got: b"\r\n\r\n" in got)
        async with live(site) as answering:
            for _ in range(12):
                site.turn()
                await (await answering.ping())
            await until(lambda: site.figures().connections == 1)
            assert site.figures().tally.silent == 1
            pings = frames_of(await silent.rest())
            assert [frame.opcode for frame in pings] == [Opcode.PING] * 3


@on_both_loops
async def test_handshakes_that_never_finish_are_ended_in_time() -> None:
    """200 heads that stay open, some fed a byte at a time: told 408 and closed; viewers notice nothing."""
    limits = Limits(handshake_s=3.0, turn_s=1.0, connections_per_address=0)
    async with running(limits=limits, turns=False) as site, live(site) as viewer:
        slow = [await RawPeer.dial(site, upgrade()[: n % 60]) for n in range(200)]
        await until(lambda: site.figures().connections == 201)
        for turn in range(3):
            for peer in slow[::10]:
                await peer.send(b"a")
            sent = publish(site, [dive(1, 5)[turn]])
            assert await take(viewer, 1) == sent
            site.turn()
        rests = await asyncio.gather(*(peer.rest() for peer in slow))
        assert {rest.split(b"\r\n")[0] for rest in rests} == {b"HTTP/1.1 408 Request Timeout"}
        await until(lambda: site.figures().connections == 1)
        assert site.figures().tally.unfinished == 200


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
