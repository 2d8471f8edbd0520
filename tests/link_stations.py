"""Control stations behind wires that fail: datagrams beside noise, and two streams that are broken off and begun anew.

What the journal must hold of it is worked out here, from what the wires delivered, by SQLite alone.
"""

import asyncio
import random
import socket
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from faulty_wire import Line, passed
from left_behind import boot_us

REPORT = '{"latitude_deg": -38.6%05d, "longitude_deg": -21.93306, "depth_m": %.2f, "vehicle": "%s"%s}\n'


def report(number: int, vehicle: str, note: str = "") -> bytes:
    """Return a report of a vehicle that goes down slowly and comes up again."""
    depth_m = 10 + abs((number / 20) % 200 - 100)
    return (REPORT % (number % 100_000, depth_m, vehicle, note)).encode()


@dataclass
class Lark:
    """Sends datagrams, each with a note of its number, and odd ones in between; keeps what it sent, and when."""

    port: int
    sent: list[tuple[int, bytes]] = field(default_factory=list)
    noted_us: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._line = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._line.connect(("127.0.0.1", self.port))

    def say(self, data: bytes) -> None:
        """Send a datagram."""
        with suppress(ConnectionRefusedError):
            self.sent.append((boot_us(), data))
            self._line.send(data)

    def report(self) -> None:
        """Send the next report."""
        number = len(self.noted_us)
        self.noted_us.append(boot_us())
        self.say(report(number, "Lantern", f', "note": "n{number}"'))

    def odd(self, chance: random.Random) -> None:
        """Send something that no station should: noise, a part, two in one, another format, something too long."""
        good = report(chance.randrange(10**5), "Lantern")
        kinds = [
            chance.randbytes(chance.randrange(1, 1_400)),
            good[: chance.randrange(1, len(good))],
            good + good[: chance.randrange(1, len(good))],
            b"$HEHDT,12.5,T*1B\r\n",
            good.rstrip() + b" " * 60_000,
            b"[" * 5_000,
            good,
        ]
        self.say(chance.choice(kinds))

    def close(self) -> None:
        """Leave."""
        self._line.close()


class Streams:
    """Two stations that speak in streams, `per_s` reports a second: one dials the relay, one is dialled."""

    def __init__(self, per_s: float) -> None:
        self._step_s = 1 / per_s
        self._number = 0
        self._server: asyncio.Server | None = None
        self._jobs: set[asyncio.Task[None]] = set()
        self.heard = bytearray()

    async def listen(self) -> int:
        """Be there to be dialled; return the port."""
        self._server = await asyncio.start_server(self._met, "127.0.0.1", 0)
        port: int = self._server.sockets[0].getsockname()[1]
        return port

    async def _met(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._jobs.add(task)
        task.add_done_callback(self._jobs.discard)
        with suppress(OSError, asyncio.CancelledError):  # a cancelled one would be told of by the loop
            await self._speak(reader, writer)

    async def dial(self, port: int) -> None:
        """Dial a port, speak, and dial again, until cancelled."""
        while True:
            with suppress(OSError):
                await self._speak(*await asyncio.open_connection("127.0.0.1", port))
            await passed(0.02)

    async def _speak(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Send until the other side has gone; whatever it says is kept."""
        hearing = asyncio.ensure_future(self._hear(reader))
        try:
            while not hearing.done() and not writer.transport.is_closing():
                self._number += 1
                writer.write(report(self._number, "Moth"))
                await writer.drain()
                await passed(self._step_s)
        finally:
            hearing.cancel()
            writer.transport.abort()

    async def _hear(self, reader: asyncio.StreamReader) -> None:
        with suppress(OSError):
            while data := await reader.read(65_536):
                self.heard += data

    async def close(self) -> None:
        """Leave whoever is there."""
        if self._server is not None:
            self._server.close()
        for job in list(self._jobs):
            job.cancel()
        await asyncio.gather(*self._jobs, return_exceptions=True)


def rows_of(journal: Path, source: str) -> Iterator[tuple[str, bytes]]:
    """Yield kind and bytes of what a journal has of a source, in order."""
    with sqlite3.connect(f"file:{journal}?mode=ro", uri=True) as database:
        yield from (
            (str(kind), bytes(data))
            for kind, data in database.execute("SELECT kind, data FROM row WHERE source = ? ORDER BY seq", (source,))
        )


def segments_of(rows: Iterator[tuple[str, bytes]]) -> list[bytes]:
    """Return the streams in rows: what lies between their ends (a whole row without bytes)."""
    out, part = [], bytearray()
    for kind, data in rows:
        if kind == "whole" and not data:
            out.append(bytes(part))
            part.clear()
        else:
            part += data
    return [each for each in [*out, bytes(part)] if each]


def streams_wrong(segments: Sequence[bytes], lines: Sequence[Line]) -> list[str]:
    """Return what is wrong with streams in a journal beside what was delivered on each connection, in order.

    Of a connection that ended in order all must be there; of one that was broken off what came before, which may be
    nothing; and nothing else. All ways to lay the one beside the other are followed at once.
    """
    states = {0}
    for line in lines:
        delivered = bytes(line.delivered)
        if not delivered:
            continue
        after = set() if line.whole else set(states)
        for state in states:
            if state < len(segments):
                found = segments[state]
                if found == delivered if line.whole else delivered.startswith(found):
                    after.add(state + 1)
        if not after:
            return [f"a stream of {len(delivered)} octets isn't in the journal whole, behind {max(states)} others"]
        states = after
    return [] if len(segments) in states else [f"the journal has {len(segments)} streams, of which {max(states)} came"]
