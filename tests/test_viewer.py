"""One viewer at a time: the slow, the silent, those that speak, those there is no room for."""

import asyncio
import logging
import socket
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from io import BytesIO
from itertools import islice
from typing import Any

import pytest
from PIL import Image
from websockets.exceptions import ConnectionClosed
from websockets.frames import Close, Frame, Opcode

from peers import (
    FAST,
    RawPeer,
    closed_with,
    exchange,
    frames_of,
    live,
    on_both_loops,
    payloads,
    publish,
    reset,
    running,
    take,
    until,
    upgrade,
)
from relay.core.errors import OutOfOrderError
from relay.core.websocket import CloseCode, encode_binary
from relay.shell.site.gate import Gate, Limits
from relay.shell.site.site import Site
from relay.shell.site.viewer import NO_LINE, Gallery, Viewer
from released import dive, dive_with_stills, endless_dive


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
        assert waiting < 72 * 1024
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


@on_both_loops
async def test_stills_that_fill_a_buffer_drop_nobody_who_takes_them() -> None:
    """Four large stills in one tick, then more: a viewer that reads only afterwards has every record, in order."""
    out = BytesIO()
    Image.effect_noise((330, 330), 120).convert("RGB").save(out, "JPEG", quality=90)
    frames = dive_with_stills(1, [out.getvalue()] * 4)
    assert max(len(frame.data) for frame in frames) > 60_000
    async with running(limits=FAST) as site:
        late = await RawPeer.dial(site, upgrade(), receive_octets=4_096)
        await late.receive_until(lambda got: b"\r\n\r\n" in got)
        sent = publish(site, frames)
        assert site.figures().tally.too_slow == 0
        await late.receive_until(lambda got: len(got) - got.index(b"\r\n\r\n") - 4 > sum(map(len, sent)))
        sent += publish(site, dive(2, 1))
        whole = sum(len(encode_binary(data)) for data in sent)
        await late.receive_until(lambda got: len(got) - got.index(b"\r\n\r\n") - 4 >= whole)
        assert payloads(frames_of(late.received)) == sent
        assert site.figures().tally.too_slow == 0
        late.line.close()


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
async def test_replay_beyond_the_limit_is_history_first() -> None:
    """As many records as the limit are replayed; one more, and the viewer is sent to the recording (4000)."""
    limits = replace(FAST, replay_frames=10)
    async with running(limits=limits) as site:
        sent = publish(site, dive(1, 20))
        async with live(site, "audience=public&dive=1&after=11") as viewer:
            assert await take(viewer, 10) == sent[12:]
        assert await closed_with(site, "audience=public&dive=1&after=10") == CloseCode.HISTORY_FIRST


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
@pytest.mark.parametrize("first", [b"", b"\x00\x00"], ids=["a close alone", "a fault before it"])
async def test_who_goes_on_sending_behind_its_close_loses_no_answer(first: bytes) -> None:
    """Who reads late still finds the close frame; the connection ends with the peer's stream (RFC 6455 section 7.1.1).

    Each octet of a second close comes after a whole exchange of somebody else's: the first close has been dealt with.
    """
    close = Frame(Opcode.CLOSE, Close(1000, "").serialize()).serialize(mask=True)
    async with running(limits=replace(FAST, close_s=60.0)) as site:
        raw = await RawPeer.dial(site, upgrade() + first + close)
        for octet in close:
            assert b"\x88" in await exchange(site, upgrade("audience=nobody") + close)
            await raw.send(bytes((octet,)))
        raw.line.shutdown(socket.SHUT_WR)
        (said,) = frames_of(await raw.rest())
        assert Close.parse(said.data).code == (1002 if first else 1000)
        assert not raw.reset


@on_both_loops
async def test_who_closes_and_stays_is_cut_off() -> None:
    """A peer that has said close and keeps its connection open has it for `close_s`, as any that was told to go."""
    close = Frame(Opcode.CLOSE, Close(1000, "").serialize()).serialize(mask=True)
    async with running(limits=replace(FAST, close_s=1.0, turn_s=1.0), turns=False) as site:
        raw = await RawPeer.dial(site, upgrade() + close)
        with pytest.raises(EOFError):
            await raw.receive_until(lambda _: False)
        assert site.figures().connections == 1
        for _ in range(3):
            site.turn()
        await until(lambda: site.figures().connections == 0)
        raw.line.close()


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
async def test_number_of_a_socket_that_is_gone_is_written_to_no_more() -> None:
    """A connection that gets the number of a gone viewer, and has asked for nothing yet, gets nothing."""
    async with running(limits=FAST) as site:
        async with live(site) as viewer:
            assert publish(site, dive(1, 0)[:1]) == await take(viewer, 1)
        await until(lambda: site.figures().connections == 0)
        others = [await RawPeer.dial(site) for _ in range(3)]
        await until(lambda: site.figures().connections == 3)
        publish(site, dive(1, 5)[1:])
        for other in others:
            await other.send(upgrade())
            await other.receive_until(lambda got: b"\r\n\r\n" in got)
            assert other.received.startswith(b"HTTP/1.1 101 ")
            other.line.close()


class Failing:
    """A viewer's transport that fails at whatever is asked of it, but ends."""

    def __init__(self, whole: asyncio.Transport) -> None:
        self._whole = whole

    def abort(self) -> None:
        """Cut the connection."""
        self._whole.abort()

    def __getattr__(self, name: str) -> Any:
        raise RuntimeError("38 36.9 S 021 55.9 W")


@contextmanager
def failed(viewer: Viewer) -> Iterator[None]:
    """Let a viewer's transport fail meanwhile."""
    whole = viewer.transport
    viewer.transport = Failing(whole)  # type: ignore[assignment]
    try:
        yield
    finally:
        viewer.transport = whole


def seated(site: Site, audience: str = "public") -> tuple[Gallery, Viewer]:
    """Return a gallery and the one who is in it."""
    gallery = site._galleries[audience]
    (viewer,) = {*gallery.straight.values(), *gallery.through, *gallery.ahead}
    return gallery, viewer


def put(gallery: Gallery, viewer: Viewer, state: str) -> None:
    """Let a viewer be written to in another way than straight."""
    if state in ("through", "full", "secured"):
        del gallery.straight[viewer.line]
        gallery.through[viewer] = None
    if state == "full":
        gallery.full.add(viewer)
    if state == "secured":
        viewer.line = NO_LINE


@pytest.mark.parametrize("state", ["straight", "through", "full", "secured", "ahead"])
@on_both_loops
async def test_fault_of_one_viewer_ends_it_alone(state: str, caplog: pytest.LogCaptureFixture) -> None:
    """However it is written to: the others get the record, nothing is raised, and the log has the fault's kind alone.

    What is wrong with the record itself is raised as ever: that stops the release (R4).
    """
    frames = dive(1, 4)
    async with running(limits=FAST) as site:
        failing = await RawPeer.dial(site, upgrade(f"audience=public{'&dive=1&after=0' if state == 'ahead' else ''}"))
        with closing(failing.line):
            await failing.receive_until(lambda got: b"\r\n\r\n" in got)
            gallery, viewer = seated(site)
            async with live(site) as other:
                await until(lambda: site.figures().viewers == {"public": 2})
                put(gallery, viewer, state)
                if state == "straight":
                    reset(failing.line)
                with failed(viewer):
                    sent = publish(site, frames[:2])
                    assert await take(other, 2) == sent
                    assert site.figures().viewers == {"public": 1}
                    with pytest.raises(OutOfOrderError):
                        site.publish(frames[1])
                sent = publish(site, frames[2:4])
                assert await take(other, 2) == sent
                await until(lambda: site.figures().connections == 1)
    assert [(record.name, record.levelno, record.exc_info) for record in caplog.records] == [
        ("offing.site", logging.ERROR, None)
    ]
    assert caplog.messages == ["a follower's connection has failed (RuntimeError)"]


class Ended:
    """A transport whose socket is gone, or is let go of, a moment before its viewer is told."""

    def __init__(self, raw: socket.socket | None) -> None:
        self._raw = raw

    def get_extra_info(self, name: str) -> socket.socket | None:
        """Return what is left of the socket."""
        assert name == "socket"
        return self._raw


def test_nothing_waits_for_a_viewer_whose_socket_is_gone() -> None:
    """One without a socket and one whose socket is closed aren't late: they are about to be told that they are lost."""
    closed = socket.socket()
    closed.close()
    for raw in (None, closed):
        gate = Gate(Limits())
        Viewer(gate, Ended(raw), "192.0.2.1").drop_if_late(1 << 20)  # type: ignore[arg-type]
        assert gate.tally.too_slow == 0
