"""A thousand at once: one viewer that stalls, connections that never finish, readers of history that take nothing."""

import asyncio
import tracemalloc
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import pytest
from websockets.asyncio.client import ClientConnection
from websockets.frames import Close, Opcode

from certificates import self_signed
from crowd import Crowd, SecuredPeer, held_for, many_open_files
from fair_time import fair_s
from peers import (
    FAST,
    RawPeer,
    answers,
    build_site,
    exchange,
    frames_of,
    live,
    masked,
    on_both_loops,
    payloads,
    publish,
    request,
    running,
    take,
    until,
    upgrade,
)
from relay.core.websocket import CloseCode, encode_binary, encode_close
from relay.core.wire import decode
from relay.shell.site.site import Site
from relay.shell.site.tls_door import site_tls
from released import dive, endless_dive

CROWD = 1_000
SLOW = 50
KIB = 1_024
# The finest tick is a second: a record that all have within one is there before the next (common practice, no source).
# It is counted in fair time, as this process is both ends: every wait counts, other work on the machine doesn't.
IN_TIME_S = 1.0
STALE_OCTETS = 150_000
EVERYBODY = replace(FAST, viewers_per_address=0, connections_per_address=0)
NOTE = "Plates, and the ribs of the hold. " * 48


@on_both_loops
async def test_one_of_a_thousand_stalls_and_nobody_else_notices() -> None:
    """The others have every record within a second; 64 KiB hold all that is kept for it; it comes back and has all."""
    many_open_files(2 * CROWD + 200)
    frames, sent, others = endless_dive(note=NOTE), list[bytes](), sha256()
    async with running(limits=EVERYBODY, turns=False) as site:  # no pings, which are between the records
        async with Crowd.of(site, CROWD) as crowd:
            stalled = await RawPeer.dial(site, upgrade(), receive_octets=4_096)
            await until(lambda: site.figures().viewers == {"public": CROWD + 1})
            most = octets = 0
            for _ in range(400):
                most = max(most, held_for(site, stalled))
                sent += publish(site, [next(frames)])
                others.update(encode_binary(sent[-1]))
                octets += len(encode_binary(sent[-1]))
                begun = fair_s()
                await crowd.reach(octets)
                assert fair_s() - begun < IN_TIME_S
                if site.figures().tally.too_slow:
                    break
            assert site.figures().tally.too_slow == 1
            assert most <= 64 * KIB
            assert site.figures().viewers == {"public": CROWD}
            assert crowd.digests() == {others.digest()}
            assert not any(member.ended for member in crowd.members)
        got = frames_of(await stalled.receive_until(lambda got: got.endswith(encode_close(CloseCode.TOO_SLOW))))
        stalled.line.close()
        held = payloads(got)
        last = decode(held[-1])
        async with live(site, f"audience=public&dive={last.dive}&after={last.seq}") as again:
            sent += publish(site, [next(frames)])
            assert held + await take(again, len(sent) - len(held)) == sent


@pytest.mark.parametrize("secured", [False, True], ids=["plain", "tls"])
@on_both_loops
async def test_stalled_phone_gets_little_that_is_stale(secured: bool, tmp_path: Path) -> None:
    """With the buffers that the system gives a socket: what still reaches it when it reads again is below 150 KB."""
    certificate, key = self_signed(tmp_path)
    frames = endless_dive(note=NOTE)
    async with running(limits=FAST, tls=site_tls(certificate, key) if secured else None) as site:
        peer = await (SecuredPeer.dial(site, certificate, upgrade()) if secured else RawPeer.dial(site, upgrade()))
        await until(lambda: site.figures().viewers == {"public": 1})
        while site.figures().tally.too_slow == 0:
            publish(site, [next(frames)])
            await asyncio.sleep(0)
        got = frames_of(await peer.rest())
    assert Close.parse(got[-1].data).code == CloseCode.TOO_SLOW
    assert 16 * KIB < sum(map(len, payloads(got))) < STALE_OCTETS


@on_both_loops
async def test_frames_of_a_secured_viewer_are_encrypted(tmp_path: Path) -> None:
    """What is written past a transport never goes past its TLS: the viewer's own TLS reads each frame."""
    certificate, key = self_signed(tmp_path)
    async with running(limits=FAST, tls=site_tls(certificate, key)) as site:
        peer = await SecuredPeer.dial(site, certificate, upgrade())
        await until(lambda: site.figures().viewers == {"public": 1})
        sent = publish(site, dive(1, 20))
        _, got = await asyncio.gather(site.close(), peer.rest())
        assert payloads(frames_of(got)) == sent


@on_both_loops
async def test_readers_that_take_nothing_hold_little(tmp_path: Path) -> None:
    """Fifty ask for 2 MiB and read nothing: each holds less than 64 KiB of the process, and others are served."""
    built = build_site(tmp_path)
    big = bytes(range(256)) * 8 * KIB
    (built / "big.bin").write_bytes(big)
    async with running(folder=built, limits=EVERYBODY) as site, live(site) as viewer:
        tracemalloc.start()
        try:
            before, _ = tracemalloc.get_traced_memory()
            slow = [await RawPeer.dial(site, request("/big.bin"), receive_octets=4_096) for _ in range(SLOW)]
            await asyncio.gather(*(peer.receive_until(lambda got: b"\r\n\r\n" in got) for peer in slow))
            assert await take_now(site, viewer) < IN_TIME_S
            (answer,) = answers(await exchange(site, request("/big.bin")))
            assert answer.body == big
            del answer
            held, _ = tracemalloc.get_traced_memory()
        finally:
            tracemalloc.stop()
        assert held - before < SLOW * 64 * KIB
        assert site.figures().connections == SLOW + 1
        for peer in slow:
            peer.line.close()


async def take_now(site: Site, viewer: ClientConnection) -> float:
    """Publish a record and return how long it took to reach a viewer."""
    begun = fair_s()
    (sent,) = publish(site, dive(1, 0, closed=False))
    assert await take(viewer, 1) == [sent]
    return fair_s() - begun


@pytest.mark.parametrize("opcode", [Opcode.PING, Opcode.PONG])
@on_both_loops
async def test_viewer_that_says_control_frames_without_end_is_closed(opcode: Opcode) -> None:
    """What is more than anybody needs is told 1008 and read no further; the others have every record meanwhile."""
    async with running(limits=replace(FAST, close_s=60.0)) as site, live(site) as viewer:
        loud = await RawPeer.dial(site, upgrade())
        await until(lambda: site.figures().viewers == {"public": 2})
        await loud.send(masked(opcode, b"") * 65)
        assert await take_now(site, viewer) < IN_TIME_S
        got = frames_of(await loud.rest())
        assert Close.parse(got[-1].data).code == CloseCode.NOT_EXPECTED
        assert site.figures().viewers == {"public": 1}
