"""The shore's end of the link before strangers and before a ship that speaks wrongly, over real TLS sockets."""

import asyncio
import logging
import ssl
import zlib
from collections.abc import AsyncIterator
from contextlib import suppress
from pathlib import Path

import msgpack
import pytest
from websockets.asyncio.client import connect
from websockets.client import ClientProtocol
from websockets.exceptions import ConnectionClosed, InvalidHandshake
from websockets.frames import Frame
from websockets.uri import parse_uri

from certificates import self_signed
from fair_time import fair_s
from link_ends import (
    QUICK,
    SIGNER,
    Harbour,
    MemoryShore,
    dialled,
    ended,
    harbour,
    heard,
    proof,
    proved,
    sealed,
    underway,
    until,
)
from peers import on_both_loops
from relay.core.errors import OperatorError
from relay.core.seal import Signer
from relay.core.uplink_talk import (
    WORD,
    Ack,
    Ends,
    Frames,
    Guests,
    Held,
    Keep,
    Packing,
    proof_of,
    read_ack,
    read_challenge,
    read_standing,
    write_proof,
)
from relay.shell.uplink.uplink import Uplink
from relay.shell.uplink.uplink_port import PortLimits, UplinkPort
from relay.shell.uplink.uplink_tls import certificate_of, ship_tls
from released import dive

FRAMES = sealed(dive(1, 5))
HASTY = PortLimits(first_s=0.3, prove_s=0.4, silent_s=0.4, farewell_s=0.3)


async def test_every_challenge_is_another(tmp_path: Path) -> None:
    """No two connections are asked the same."""
    async with harbour(tmp_path) as here:
        nonces = set()
        for _ in range(5):
            async with dialled(here) as peer:
                nonces.add(read_challenge(await heard(peer)))
        assert len(nonces) == 5


async def test_proof_that_was_given_before_is_worth_nothing(tmp_path: Path) -> None:
    """A proof overheard on one connection opens no other."""
    async with harbour(tmp_path) as here:
        async with dialled(here) as peer:
            overheard = await proof(peer, here)
        async with dialled(here) as peer:
            await peer.send(overheard)
            assert await ended(peer) == Ends.UNPROVED
        assert here.port.facts.links == 0


async def test_proof_that_is_passed_on_is_worth_nothing(tmp_path: Path) -> None:
    """Whoever stands between with a certificate of his own, and hands challenge and proof across, gets nothing."""
    theirs, _ = self_signed(tmp_path, "between")
    async with harbour(tmp_path) as here, dialled(here) as peer:
        nonce = read_challenge(await heard(peer))
        await peer.send(write_proof(SIGNER.key, SIGNER.sign(WORD, proof_of(nonce, certificate_of(theirs)))))
        assert await ended(peer) == Ends.UNPROVED


async def test_signature_under_another_word_is_no_proof(tmp_path: Path) -> None:
    """What the ship signs for other ends never opens the link: not a list of guests, not a record."""
    async with harbour(tmp_path) as here, dialled(here) as peer:
        told = proof_of(read_challenge(await heard(peer)), certificate_of(here.certificate))
        await peer.send(write_proof(SIGNER.key, SIGNER.sign("guests", told)))
        assert await ended(peer) == Ends.UNPROVED


async def test_key_without_its_secret_half_is_no_proof(tmp_path: Path) -> None:
    """The ship's public key stands in every dive: with another's signature it opens nothing, nor does another key."""
    other = Signer(bytes(32))
    async with harbour(tmp_path) as here:
        async with dialled(here) as peer:
            told = proof_of(read_challenge(await heard(peer)), certificate_of(here.certificate))
            await peer.send(write_proof(SIGNER.key, other.sign(WORD, told)))
            assert await ended(peer) == Ends.UNPROVED
        async with dialled(here) as peer:
            await peer.send(await proof(peer, here, other))
            assert await ended(peer) == Ends.UNPROVED


async def test_nothing_is_said_to_a_stranger_but_a_challenge(tmp_path: Path) -> None:
    """Who proves nothing hears one message, and is left at the deadline."""
    async with harbour(tmp_path, limits=PortLimits(prove_s=2.0)) as here, dialled(here) as peer:
        read_challenge(await heard(peer))
        began_s = fair_s()
        with pytest.raises(ConnectionClosed):
            await peer.recv()
        assert fair_s() - began_s < 4


NOISE = [
    b"",
    b"\x00" * 4_000,
    b"GET / HTTP/1.1\r\nHost: a.example\r\n\r\n",
    b"POST / HTTP/1.1\r\nContent-Length: 5\r\n\r\nhello",
    b"GET /" + b"a" * 9_000 + b" HTTP/1.1\r\n",
    b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
]


async def reached(here: Harbour, tls: ssl.SSLContext | None) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    """Return a connection; again, if no processor was to be had until the deadline for a stranger's handshake."""
    while True:
        with suppress(OSError):
            return await asyncio.open_connection(*here.port.address, ssl=tls)


@pytest.mark.parametrize("noise", NOISE, ids=range(len(NOISE)))
async def test_noise_gets_no_further_than_itself(tmp_path: Path, noise: bytes) -> None:
    """Whatever is said instead of TLS, or within it instead of a websocket, ends that connection alone."""
    async with harbour(tmp_path, limits=HASTY) as here:
        for secure in (None, ship_tls(bytes(32))):
            async with asyncio.timeout(60):
                reader, writer = await reached(here, secure)
                writer.write(noise)
                with suppress(OSError):
                    said = await reader.read(-1)
                    assert len(said) < 600 and SIGNER.key not in said
            writer.transport.abort()
        async with underway(Uplink(here.plan(), SIGNER, QUICK)):
            await until(lambda: here.port.facts.linked)


@on_both_loops
async def test_frames_that_no_ship_sends_end_the_connection(tmp_path: Path) -> None:
    """Text, a fragment, and a message beyond the bound: before the proof and after it."""

    async def fragments() -> AsyncIterator[bytes]:
        yield b"one"
        yield b"two"

    async with harbour(tmp_path) as here:
        for open_line in (dialled, proved):
            for message in ("text", fragments(), bytes(5_000)):
                async with open_line(here) as opened:
                    peer = opened[0] if isinstance(opened, tuple) else opened
                    await peer.send(message)
                    assert await ended(peer) in (1002, 1006, 1009, Ends.TALK)
        assert here.shore.frames["public"] == []


async def test_stranger_who_sends_much_is_left(tmp_path: Path) -> None:
    """Before its proof a peer has a few thousand bytes, pings and all."""
    async with harbour(tmp_path) as here, dialled(here) as peer:
        with suppress(ConnectionClosed):
            for number in range(200):
                await peer.ping(b"%100d" % number)
        assert await ended(peer) == 1006


async def test_nobody_speaks_without_tls_or_with_an_old_one(tmp_path: Path) -> None:
    """A websocket in the clear, and TLS 1.2 (RFC 5246), get nothing."""
    old = ship_tls(bytes(32))
    old.minimum_version, old.maximum_version = ssl.TLSVersion.TLSv1_2, ssl.TLSVersion.TLSv1_2
    async with harbour(tmp_path, limits=HASTY) as here:
        at = ":".join(map(str, here.port.address))
        with pytest.raises((InvalidHandshake, OSError, EOFError)):
            await connect(f"ws://{at}")
        with pytest.raises(OSError):  # noqa: PT011  (an alert or a reset, whichever is there first)
            await connect(f"wss://{at}", ssl=old)


async def test_stream_that_is_none_ends_the_link_with_its_code(tmp_path: Path) -> None:
    """A proved peer that sends noise, unknown messages or an unknown audience is told that it isn't understood."""
    unknown = zlib.compressobj()
    streams = [
        b"no stream",
        unknown.compress(msgpack.packb([9, b"?"])) + unknown.flush(zlib.Z_SYNC_FLUSH),
        b"".join(Packing().pack(Frames("press", (FRAMES[0].data,)))),
    ]
    async with harbour(tmp_path) as here:
        for stream in streams:
            async with proved(here) as (peer, _):
                await peer.send(stream)
                assert await ended(peer) == Ends.TALK
        assert here.shore.frames == {"public": []}


async def test_what_the_shore_refuses_ends_the_link_with_its_code(tmp_path: Path) -> None:
    """A badly signed list of guests and a record out of its order are refused, a full disk is told apart."""
    async with harbour(tmp_path) as here:
        for message in (Guests(b"badly signed"), Frames("public", (FRAMES[1].data,))):
            async with proved(here) as (peer, _):
                await peer.send(b"".join(Packing().pack(message)))
                assert await ended(peer) == Ends.REFUSED
        here.shore.full = True
        async with proved(here) as (peer, _):
            await peer.send(b"".join(Packing().pack(Frames("public", (FRAMES[0].data,)))))
            assert await ended(peer) == Ends.NO_ROOM


@on_both_loops
async def test_ship_that_speaks_and_takes_leave_in_one_breath_is_gone(tmp_path: Path) -> None:
    """Her message and her leave come in one piece: what she said is kept, and the shore knows that she has gone."""
    async with harbour(tmp_path) as here:
        reader, writer = await asyncio.open_connection(*here.port.address, ssl=ship_tls(bytes(32)))
        protocol = ClientProtocol(parse_uri("wss://127.0.0.1/"))

        async def said() -> bytes:
            while True:
                writer.writelines(protocol.data_to_send())
                for event in protocol.events_received():
                    if isinstance(event, Frame):
                        return bytes(event.data)
                protocol.receive_data(await reader.read(9_999))

        protocol.send_request(protocol.connect())
        told = proof_of(read_challenge(await said()), certificate_of(here.certificate))
        protocol.send_binary(write_proof(SIGNER.key, SIGNER.sign(WORD, told)))
        await said()
        protocol.send_binary(b"".join(Packing().pack(Frames("public", (FRAMES[0].data,)))))
        protocol.send_close(1000)
        writer.write(b"".join(protocol.data_to_send()))
        await until(lambda: here.shore.frames["public"] == [FRAMES[0].data] and not here.port.facts.linked)
        assert (here.port.facts.ended, here.port._current) == ("the connection was lost", None)
        writer.close()


async def test_fault_of_our_own_ends_the_link_with_its_kind_alone(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever goes wrong with what a ship says: she is told, the shore says so, and takes her when she comes again."""

    async def broken(audience: str, frames: list[bytes]) -> None:
        raise RuntimeError("canary-of-a-ship")

    async with harbour(tmp_path) as here:
        for attempt in range(2):
            with monkeypatch.context() as patched:
                patched.setattr(here.shore, "take", broken)
                async with proved(here) as (peer, _):
                    await peer.send(b"".join(Packing().pack(Frames("public", (FRAMES[0].data,)))))
                    assert await ended(peer) == Ends.REFUSED
            await until(lambda: not here.port.facts.linked)
            assert here.port.facts.links == attempt + 1
        assert "a fault of Offing's own: RuntimeError in broken" in here.port.facts.ended
    assert "canary" not in caplog.text


async def test_nothing_is_acknowledged_before_it_is_durable(tmp_path: Path) -> None:
    """While the disk works there is no acknowledgement; then there is one, with what was sent and who follows (R5)."""
    shore = MemoryShore()
    shore.stuck, shore.followers = asyncio.Event(), {"public": 3}
    async with harbour(tmp_path, shore) as here, proved(here) as (peer, held):
        assert held == {"public": Held()}
        piece = b"".join(Packing().pack(Frames("public", tuple(frame.data for frame in FRAMES))))
        await peer.send(piece)
        await until(lambda: shore.taking)
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.1):
                await peer.recv()
        shore.stuck.set()
        assert read_ack(await heard(peer), 1) == Ack(len(piece), 1, (3,))


async def test_record_under_way_is_taken_to_its_end(tmp_path: Path) -> None:
    """A newer link waits for what the older one brought, and is told of it; closing cuts nothing off, either."""
    shore = MemoryShore()
    shore.stuck = asyncio.Event()
    async with harbour(tmp_path, shore, PortLimits(farewell_s=0.3)) as here, proved(here) as (older, _):
        await older.send(b"".join(Packing().pack(Frames("public", (FRAMES[0].data,)))))
        await until(lambda: shore.taking)
        async with dialled(here) as newer:
            await newer.send(await proof(newer, here))
            assert await ended(older) == Ends.REPLACED
            assert shore.taking
            shore.stuck.set()
            assert read_standing(await heard(newer))[0]["public"].seq == 0
            shore.stuck.clear()
            await newer.send(b"".join(Packing().pack(Frames("public", (FRAMES[1].data,)))))
            await until(lambda: shore.taking)
            closing = asyncio.ensure_future(here.port.close())
            assert await ended(newer) == Ends.AWAY
            shore.stuck.set()
            await closing
        assert len(shore.frames["public"]) == 2


async def test_silent_ship_is_left(tmp_path: Path) -> None:
    """A ship that says nothing for the deadline is gone; who speaks now and then stays."""
    async with harbour(tmp_path, limits=PortLimits(silent_s=1.5)) as here, proved(here) as (peer, _):
        packing = Packing()
        for _ in range(3):
            await peer.send(b"".join(packing.pack(Keep())))
            read_ack(await heard(peer), 1)
        assert await ended(peer) == Ends.SILENT
        await until(lambda: not here.port.facts.linked)
        assert "silent" in here.port.facts.ended


async def test_nothing_of_a_peer_is_logged(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """What strangers and ships send stands in no log, at no level; how often somebody came without the key does."""
    caplog.set_level(logging.DEBUG)
    async with harbour(tmp_path) as here:
        for _ in range(3):
            async with dialled(here) as peer:
                await peer.send(b"canary-of-a-stranger")
                await ended(peer)
        async with proved(here) as (peer, _):
            await peer.send(b"canary-of-a-ship")
            await ended(peer)
        async with dialled(here) as peer:
            await peer.send(await proof(peer, here, Signer(bytes(32))))
            await ended(peer)
    ours = [record for record in caplog.records if not record.name.startswith("websockets.client")]
    assert not [record for record in ours if "canary" in record.getMessage()]
    [told] = [record.getMessage() for record in ours if "without the ship's key" in record.getMessage()]
    assert "; 4 so far. If it was the ship: key under [shore] must be what `offing key` prints" in told


async def test_shore_that_stops_says_that_it_ended_the_link(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    """Its log tells an end of its own from a line that was lost, and which audiences it takes when the ship comes."""
    caplog.set_level(logging.INFO)
    async with harbour(tmp_path) as here, proved(here):
        await until(lambda: here.port.facts.linked)
        await here.port.close()
    assert "the ship has come; this shore's file names " + " and ".join(here.shore.held()) in caplog.text
    assert "the link to the ship has ended: this shore ended it" in caplog.text
    assert "was lost" not in caplog.text


async def test_port_that_cannot_be_had_is_told(tmp_path: Path) -> None:
    """An address in use, and a certificate that isn't there, are the operator's, with words."""
    async with harbour(tmp_path) as here:
        other = UplinkPort(here.shore, *self_signed(tmp_path))
        with pytest.raises(
            OperatorError, match=r"can't dial in at .* \(Address already in use\): stop what.*\[uplink\] listen"
        ):
            await other.start(*here.port.address)
    with pytest.raises(OperatorError, match="can't be read"):
        UplinkPort(MemoryShore(), tmp_path / "none.pem", tmp_path / "none.key")
