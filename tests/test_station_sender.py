"""The sender plays a stream over real sockets on the loopback, at its pace on an injected clock."""

import asyncio
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import islice

import pytest

from relay.shell.demo.demo import DEMO_SEED
from relay.shell.demo.simulated import simulate
from relay.shell.demo.station_reports import Sent
from relay.shell.demo.station_sender import Destinations, LineLink, Tally, send_stream

STREAM = tuple(islice(simulate(DEMO_SEED), 400))


async def one_turn() -> None:
    """Let the loop go round once, sockets included."""
    done = asyncio.get_running_loop().create_future()
    asyncio.get_running_loop().call_soon(done.set_result, None)
    await done


async def until(condition: Callable[[], bool]) -> None:
    """Wait for a condition; the test fails by time-out if it never comes true."""
    async with asyncio.timeout(60):
        while not condition():
            await one_turn()


@dataclass
class Clock:
    """A clock that a wait moves on at once; from `gate_s` on, waits last until the gate is opened."""

    t_s: float = 50.0
    gate_s: float = float("inf")
    gate: asyncio.Event = field(default_factory=asyncio.Event)
    waits: list[float] = field(default_factory=list)

    def now(self) -> float:
        return self.t_s

    async def pause(self, seconds: float) -> None:
        self.waits.append(seconds)
        if self.t_s >= self.gate_s:
            await self.gate.wait()
        self.t_s += seconds
        await one_turn()


class Ears(asyncio.DatagramProtocol):
    def __init__(self) -> None:
        self.heard: list[bytes] = []

    def datagram_received(self, data: bytes, addr: object) -> None:
        self.heard.append(data)


class Relay:
    """Real sockets that listen as the relay does: UDP for positions, TCP for lines."""

    async def __aenter__(self) -> "Relay":
        loop = asyncio.get_running_loop()
        self.lines, self.connections, self.ended = list[bytes](), list[asyncio.StreamWriter](), 0
        self._udp, self.ears = await loop.create_datagram_endpoint(Ears, local_addr=("127.0.0.1", 0))
        self._tcp = await asyncio.start_server(self._listen, "127.0.0.1", 0)
        self.to = Destinations(self._udp.get_extra_info("sockname"), self._tcp.sockets[0].getsockname())
        return self

    async def __aexit__(self, *_: object) -> None:
        self._udp.close()
        self._tcp.close()
        for writer in self.connections:
            writer.close()
        await self._tcp.wait_closed()
        await until(lambda: self.ended == len(self.connections))

    async def _listen(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.connections.append(writer)
        try:
            while line := await reader.readline():
                self.lines.append(line)
        finally:
            self.ended += 1
            writer.close()


def of_feed(feed: str, part: tuple[Sent, ...] = STREAM) -> list[bytes]:
    """Return what was to be sent on one feed."""
    return [sent.data for sent in part if sent.feed == feed]


async def test_sender_sends_every_report_once_in_order_over_real_sockets() -> None:
    """Datagrams and lines arrive whole, in order, on their own sockets; the tally is what arrived."""
    clock = Clock()
    async with Relay() as relay:
        tally = await send_stream(STREAM, relay.to, now=clock.now, sleep=clock.pause)
        await until(lambda: len(relay.ears.heard) == tally.datagrams and len(relay.lines) == tally.lines)
    assert relay.ears.heard == of_feed("position")
    assert relay.lines == of_feed("station")
    assert tally == Tally(len(relay.ears.heard), len(relay.lines), 0, 1)


@pytest.mark.parametrize("factor", [1.0, 60.0])
async def test_sender_keeps_the_pace_of_the_stream(factor: float) -> None:
    """The stream takes as long as it says, divided by the factor, and its first report goes at once."""
    clock = Clock()
    async with Relay() as relay:
        await send_stream(STREAM, relay.to, now=clock.now, sleep=clock.pause, factor=factor)
    assert clock.waits[0] == 0.0
    assert clock.t_s - 50.0 == pytest.approx((STREAM[-1].t_s - STREAM[0].t_s) / factor, abs=1e-6)


async def test_sender_catches_up_after_being_held_up() -> None:
    """Reports that are overdue go without a wait, so a pause of the machine does not shift the rest."""
    clock = Clock()

    async def held_up(seconds: float) -> None:
        await clock.pause(seconds + (7.0 if len(clock.waits) == 100 else 0.0))

    async with Relay() as relay:
        await send_stream(STREAM, relay.to, now=clock.now, sleep=held_up)
    assert clock.t_s - 50.0 == pytest.approx(STREAM[-1].t_s - STREAM[0].t_s, abs=1e-6)


async def test_sender_dials_again_when_the_relay_goes_away() -> None:
    """After a lost connection the lines go on, whole, on a new one."""
    clock = Clock(gate_s=60.0)
    async with Relay() as relay:
        sending = asyncio.create_task(send_stream(STREAM, relay.to, now=clock.now, sleep=clock.pause))
        await until(lambda: clock.t_s >= 60.0 and len(relay.lines) > 5)
        relay.connections[0].close()
        await until(lambda: relay.ended == 1)
        before = len(relay.lines)
        clock.gate.set()
        tally = await sending
        await until(lambda: relay.lines[-1] == of_feed("station")[-1])
    assert tally.connections == len(relay.connections) == 2
    assert len(relay.lines) > before
    assert all(json.loads(line) for line in relay.lines)
    to_come = iter(of_feed("station"))
    assert all(line in to_come for line in relay.lines), "a line out of order, doubled or not of the stream"


async def test_sender_waits_for_a_relay_that_comes_later() -> None:
    """With nobody listening, lines wait and the waits between dials grow to a bound; then all lines arrive."""
    lines, waits, tally = of_feed("station")[:20], list[float](), Tally()
    async with Relay() as relay:
        address = relay.to.station
    later: list[Relay] = []

    async def pause(seconds: float) -> None:
        waits.append(seconds)
        if len(waits) == 8:
            later.append(Relay())
            await later[0].__aenter__()
            link._address = later[0].to.station
        await one_turn()

    link = LineLink(address, pause, tally)
    for line in lines:
        link.send(line)
    running = asyncio.create_task(link.run())
    async with asyncio.timeout(10):
        await link.written()
    await until(lambda: later[0].lines == lines)
    running.cancel()
    with pytest.raises(asyncio.CancelledError):
        await running
    await later[0].__aexit__()
    assert waits == [0.5, 1.0, 2.0, 4.0, 5.0, 5.0, 5.0, 5.0]


@pytest.mark.parametrize(("sent", "dropped"), [(3, 0), (4, 1)])
async def test_backlog_drops_the_oldest_beyond_its_bound(sent: int, dropped: int) -> None:
    """At the bound every line is kept; one past it the oldest is dropped and counted."""
    clock, tally = Clock(), Tally()
    lines = of_feed("station")[:sent]
    async with Relay() as relay:
        link = LineLink(relay.to.station, clock.pause, tally, backlog=3)
        for line in lines:
            link.send(line)
        running = asyncio.create_task(link.run())
        await until(lambda: relay.lines == lines[dropped:])
        running.cancel()
        with pytest.raises(asyncio.CancelledError):
            await running
    assert tally.lines_dropped == dropped


async def test_sender_ends_cleanly_when_cancelled() -> None:
    """A cancelled sender closes its connection, leaves no task behind, and says it was cancelled."""
    clock = Clock(gate_s=60.0)
    async with Relay() as relay:
        sending = asyncio.create_task(send_stream(STREAM, relay.to, now=clock.now, sleep=clock.pause))
        await until(lambda: clock.t_s >= 60.0 and bool(relay.lines))
        sending.cancel()
        with pytest.raises(asyncio.CancelledError):
            await sending
        await until(lambda: relay.ended == 1)
    assert asyncio.all_tasks() == {asyncio.current_task()}


async def test_what_the_other_end_says_is_thrown_away() -> None:
    """Bytes from the relay's side, which never sends any, neither stop nor change the stream."""
    clock = Clock(gate_s=60.0)
    async with Relay() as relay:
        sending = asyncio.create_task(send_stream(STREAM, relay.to, now=clock.now, sleep=clock.pause))
        await until(lambda: clock.t_s >= 60.0 and bool(relay.connections))
        relay.connections[0].write(b"unexpected\n" * 1_000)
        clock.gate.set()
        tally = await sending
        await until(lambda: len(relay.lines) == tally.lines)
    assert relay.lines == of_feed("station")
