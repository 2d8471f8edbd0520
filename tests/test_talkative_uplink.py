"""A shore that was taken over, with the right certificate: it may neither fill the ship's memory nor make her send."""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from pathlib import Path

import pytest
from websockets.asyncio.server import ServerConnection, serve
from websockets.exceptions import ConnectionClosed

from certificates import self_signed
from link_ends import QUICK, SIGNER, sealed, underway, until
from peers import on_both_loops
from relay.core.uplink_talk import WORDS, Ack, Ends, Held, write_ack, write_challenge, write_standing
from relay.shell.plan.uplink_plan import UplinkPlan, shore_pin
from relay.shell.uplink.uplink import Uplink
from relay.shell.uplink.uplink_tls import certificate_of, pin_of, shore_tls
from released import dive

Says = Callable[[ServerConnection], Awaitable[None]]


@asynccontextmanager
async def taken_over(folder: Path, says: Says, limit: float | None = 64_000.0) -> AsyncIterator[Uplink]:
    """Yield a ship's end that is linked to a shore which takes her proof, tells an empty standing, and then lies."""

    async def lie(peer: ServerConnection) -> None:
        with suppress(ConnectionClosed):
            await peer.send(write_challenge(bytes(32)))
            await peer.recv()
            await peer.send(write_standing({"public": Held()}))
            await says(peer)

    certificate, key = self_signed(folder)
    async with serve(lie, "127.0.0.1", 0, ssl=shore_tls(certificate, key), ping_interval=None) as server:
        pin = shore_pin(pin_of(certificate_of(certificate)))
        port = next(iter(server.sockets)).getsockname()[1]
        uplink = Uplink(UplinkPlan("127.0.0.1", port, pin, limit_bits_per_s=limit), SIGNER, QUICK)
        for frame in sealed(dive(1, 3)):
            uplink.publish(frame)
        async with underway(uplink):
            yield uplink


async def pings(peer: ServerConnection) -> None:
    """Ask again and again whether anybody is there, and read nothing."""
    while True:
        await peer.ping(bytes(125))


async def one_ping(peer: ServerConnection) -> None:
    """Ask once."""
    await peer.ping()
    await peer.wait_closed()


async def same_again(peer: ServerConnection) -> None:
    """Acknowledge nothing, for ever."""
    await peer.recv()
    while True:
        await peer.send(write_ack(Ack(0, 0, (0,))))
        await asyncio.sleep(0)  # whoever shares the loop has its turn


async def pieces(peer: ServerConnection) -> None:
    """Send a message that never ends, a few bytes at a time."""

    async def endless() -> AsyncIterator[bytes]:
        while True:
            await asyncio.sleep(0)
            yield b"0"

    await peer.send(endless())


@on_both_loops
@pytest.mark.parametrize("says", [pings, one_ping, same_again, pieces])
async def test_shore_that_says_what_it_was_not_asked_for_is_left(tmp_path: Path, says: Says) -> None:
    """Pings, empty acknowledgements and fragments end the link with words; what came and what went is bounded."""
    loop = asyncio.get_running_loop()
    async with taken_over(tmp_path, says) as uplink:
        await until(lambda: "what no shore says" in uplink.facts()["words"])
        began_s, came = loop.time(), uplink.facts()["outages"]
        await until(lambda: uplink.facts()["outages"] >= came + 3)
        assert loop.time() - began_s > 2 * QUICK.patient_wait_s, "dialled again at once"
        assert uplink._pace.allowance.wait_s(loop.time()) <= 61


async def silence(peer: ServerConnection) -> None:
    """Read all and acknowledge nothing."""
    while True:
        await peer.recv()


async def trickle(peer: ServerConnection) -> None:
    """Acknowledge an octet now and then, so that the link seems to live."""
    for at in range(1, 1_000):
        if at < 3:
            await peer.recv()
        await peer.send(write_ack(Ack(at, 0, (0,))))
        passed = asyncio.Event()
        asyncio.get_running_loop().call_later(QUICK.answer_s / 3, passed.set)
        await passed.wait()


@pytest.mark.parametrize("says", [silence, trickle])
async def test_shore_that_acknowledges_no_record_is_alarmed(tmp_path: Path, says: Says) -> None:
    """Whether the link seems to live or not: the desk is told that nothing comes ashore."""
    async with taken_over(tmp_path, says) as uplink:
        await until(lambda: any("isn't ashore" in alarm for alarm in uplink.alarms()))


async def hang_up(peer: ServerConnection) -> None:
    """Say that the disk is full, as soon as anything comes."""
    await peer.recv()
    await peer.close(Ends.NO_ROOM)


async def test_link_that_never_serves_is_alarmed_all_the_time_and_logged_once(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Each new link begins no new patience: the alarm stands through all of them, with the reason."""
    async with taken_over(tmp_path, hang_up, None) as uplink:
        await until(lambda: uplink.alarms() != [])
        gone, seen = uplink.facts()["outages"], set[str]()

        def watched() -> bool:
            seen.update([uplink.facts()["state"]])
            assert [WORDS[Ends.NO_ROOM] in alarm for alarm in uplink.alarms()] == [True]
            return uplink.facts()["outages"] >= gone + 5 and len(seen) == 2

        await until(watched)
    assert caplog.text.count("no link to the shore") == 1
