"""Plays a stream of invented reports the way control stations send them: datagrams, and lines over TCP.

Rules: time comes in as `now` and `sleep`; a lost connection is dialled again and loses at most what was under way
and what no longer fits the backlog; what the other end says is thrown away.
"""

import asyncio
from collections import deque
from collections.abc import Awaitable, Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass

from relay.shell.demo.station_reports import Sent

Address = tuple[str, int]
Sleep = Callable[[float], Awaitable[None]]
FIRST_RETRY_S = 0.5
LONGEST_RETRY_S = 5.0


@dataclass(frozen=True, slots=True)
class Destinations:
    """Where the relay listens: UDP for the feed "position", TCP for the feed "station"."""

    position: Address
    station: Address


@dataclass(slots=True)
class Tally:
    """What was sent so far. `lines_dropped` were pushed out of a full backlog by newer ones."""

    datagrams: int = 0
    lines: int = 0
    lines_dropped: int = 0
    connections: int = 0


class LineLink:
    """A TCP connection for lines, dialled again whenever it is lost.

    At most `backlog` lines wait for a connection; beyond that the oldest is dropped and counted.
    """

    def __init__(self, address: Address, sleep: Sleep, tally: Tally, backlog: int = 256) -> None:
        self._address, self._sleep, self._tally = address, sleep, tally
        self._lines: deque[bytes] = deque(maxlen=backlog)
        self._waiting, self._written = asyncio.Event(), asyncio.Event()
        self._written.set()

    def send(self, line: bytes) -> None:
        """Let a line go out as soon as there is a connection."""
        self._tally.lines_dropped += len(self._lines) == self._lines.maxlen
        self._lines.append(line)
        self._waiting.set()
        self._written.clear()

    async def written(self) -> None:
        """Wait until no line is waiting."""
        await self._written.wait()

    async def run(self) -> None:
        """Dial and send until cancelled."""
        retry_s = FIRST_RETRY_S
        while True:
            with suppress(OSError):
                reader, writer = await asyncio.open_connection(*self._address)
                self._tally.connections += 1
                retry_s = FIRST_RETRY_S
                await self._use(reader, writer)
            await self._sleep(retry_s)
            retry_s = min(2.0 * retry_s, LONGEST_RETRY_S)

    async def _use(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Send lines until the other end is gone."""
        gone = asyncio.create_task(_until_gone(reader))
        try:
            while not gone.done():
                await self._write_waiting(writer)
                ready = asyncio.create_task(self._waiting.wait())
                try:
                    await asyncio.wait({gone, ready}, return_when=asyncio.FIRST_COMPLETED)
                finally:
                    ready.cancel()
        finally:
            gone.cancel()
            writer.close()
            with suppress(OSError):
                await writer.wait_closed()

    async def _write_waiting(self, writer: asyncio.StreamWriter) -> None:
        while self._lines:
            writer.write(self._lines.popleft())
            self._tally.lines += 1
            await writer.drain()
        self._waiting.clear()
        self._written.set()


async def _until_gone(reader: asyncio.StreamReader) -> None:
    with suppress(OSError):
        while await reader.read(4096):
            pass


async def send_stream(
    stream: Iterable[Sent], to: Destinations, *, now: Callable[[], float], sleep: Sleep, factor: float = 1.0
) -> Tally:
    """Send a stream at its own pace times `factor`, its first report at once, and return the tally.

    Ends when all is written, or when cancelled; either way both sockets are closed. With no relay listening it
    goes on dialling.
    """
    tally = Tally()
    link = LineLink(to.station, sleep, tally)
    loop = asyncio.get_running_loop()
    datagrams, _ = await loop.create_datagram_endpoint(asyncio.DatagramProtocol, remote_addr=to.position)
    try:
        async with asyncio.TaskGroup() as group:
            dialling = group.create_task(link.run())
            await _at_its_pace(stream, datagrams, link, tally, now, sleep, factor)
            await link.written()
            dialling.cancel()
    finally:
        datagrams.close()
    return tally


async def _at_its_pace(
    stream: Iterable[Sent], datagrams: asyncio.DatagramTransport, link: LineLink, tally: Tally,
    now: Callable[[], float], sleep: Sleep, factor: float,
) -> None:  # fmt: skip
    begun_s, first_s = now(), None
    for sent in stream:
        first_s = sent.t_s if first_s is None else first_s
        await sleep(max(0.0, begun_s + (sent.t_s - first_s) / factor - now()))
        if sent.feed == "position":
            datagrams.sendto(sent.data)
            tally.datagrams += 1
        else:
            link.send(sent.data)
