"""The wire that fails: each kind of fault does to a connection what its name says, and nothing else passes or is lost.

What a socket tells of it (an end, a reset) is the kernel's word: tcp(7), RFC 9293.
"""

import asyncio
import random
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

import pytest

from faulty_wire import DOWN, UP, Fault, Kind, Wire
from peers import until

SAID = bytes(range(256)) * 4
PATIENCE_S = 20


class Sink:
    """A server that keeps what it gets and answers each piece with as many zeros."""

    def __init__(self) -> None:
        self.heard: list[bytearray] = []
        self.ends: list[str] = []
        self._writers: list[asyncio.StreamWriter] = []

    async def meet(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Serve one connection until it ends."""
        heard = bytearray()
        self.heard.append(heard)
        self._writers.append(writer)
        try:
            while data := await reader.read(65_536):
                heard += data
                writer.write(bytes(len(data)))
            self.ends.append("end")
        except ConnectionError:
            self.ends.append("reset")
        except asyncio.CancelledError:
            pass

    def close(self) -> None:
        """Leave everybody."""
        for writer in self._writers:
            writer.transport.abort()


class Peer:
    """Who dials a wire: a socket."""

    def __init__(self, port: int) -> None:
        self.line = socket.create_connection(("127.0.0.1", port))
        self.line.setblocking(False)

    async def say(self, data: bytes) -> None:
        """Send, even to nobody."""
        with suppress(ConnectionError):
            await asyncio.get_running_loop().sock_sendall(self.line, data)

    async def hear(self, octets: int) -> bytes:
        """Return what comes, up to so many octets or the end; a reset raises ConnectionError."""
        got = b""
        while len(got) < octets and (data := await asyncio.get_running_loop().sock_recv(self.line, 65_536)):
            got += data
        return got


@asynccontextmanager
async def wired(**options: int) -> AsyncIterator[tuple[Wire, Sink, Peer]]:
    """Yield a wire before a server, and who has dialled it; everything must be over in time."""
    sink = Sink()
    async with asyncio.timeout(PATIENCE_S):
        server = await asyncio.start_server(sink.meet, "127.0.0.1", 0)
        wire = Wire(server.sockets[0].getsockname()[:2], random.Random(1), answers=(_greet,), **options)  # type: ignore[arg-type]
        peer = Peer(await wire.start())
        try:
            await until(lambda: wire.current is not None)
            yield wire, sink, peer
        finally:
            peer.line.close()
            await wire.close()
            sink.close()
            server.close()


async def _greet(near: socket.socket, _chance: random.Random) -> None:
    await asyncio.get_running_loop().sock_sendall(near, b"220 mail.example ready\r\n")


@pytest.mark.parametrize("kind", [Kind.STALL, Kind.DELAY, Kind.CRUMBS])
async def test_wire_that_is_only_slow_loses_nothing(kind: Kind) -> None:
    """What was stalled, delayed or cut into single bytes comes whole and in order, and the connection goes on."""
    async with wired() as (wire, sink, peer):
        struck = wire.arm(Fault(kind, UP, 100, 50))
        await peer.say(SAID)
        await struck
        assert await peer.hear(len(SAID)) == bytes(len(SAID))
        assert bytes(sink.heard[0]) == SAID
        await peer.say(b"and on")
        assert await peer.hear(6) == bytes(6)


@pytest.mark.parametrize(("kind", "end"), [(Kind.CUT, "end"), (Kind.RESET, "reset"), (Kind.TRUNCATE, "end")])
async def test_wire_that_breaks_ends_at_its_octet(kind: Kind, end: str) -> None:
    """Just the octets before the fault come, then the end that it is; who dials again is served again."""
    async with wired() as (wire, sink, peer):
        struck = wire.arm(Fault(kind, UP, 100))
        await peer.say(SAID)
        await struck
        await until(lambda: bool(sink.ends))
        assert len(sink.heard[0]) <= 100 if kind is Kind.RESET else bytes(sink.heard[0]) == SAID[:100]
        assert sink.ends == [end]
        again = Peer(wire.port)
        await again.say(SAID)
        assert await again.hear(len(SAID)) == bytes(len(SAID))
        again.line.close()


@pytest.mark.parametrize(
    ("kind", "size", "octets"), [(Kind.FLIP, 1, 1_024), (Kind.REPEAT, 1, 1_948), (Kind.FLOOD, 50, 1_074)]
)
async def test_wire_that_alters_does_so_once(kind: Kind, size: int, octets: int) -> None:
    """One bit differs, the rest comes twice, or noise comes between: and what comes later is left as it is."""
    async with wired() as (wire, sink, peer):
        struck = wire.arm(Fault(kind, UP, 100, size))
        await peer.say(SAID)
        await struck
        await peer.hear(octets)
        got = bytes(sink.heard[0])
        assert len(got) == octets and got[:100] == SAID[:100] and got != SAID
        if kind is Kind.FLIP:
            assert (int.from_bytes(got) ^ int.from_bytes(SAID)).bit_count() == 1
        else:
            assert got.endswith(SAID[100:])
        await peer.say(b"and on")
        await peer.hear(6)
        assert sink.heard[0].endswith(b"and on")
        assert wire.altered == 1
        line = await struck
        assert line is not None and line.struck_at == 100


async def test_half_open_connection_says_nothing_to_either_end() -> None:
    """What is sent into it comes nowhere; it is over once both ends have given it up by themselves."""
    async with wired() as (wire, sink, peer):
        struck = wire.arm(Fault(Kind.HALF_OPEN, UP, 100))
        await peer.say(SAID)
        await struck
        await peer.say(SAID)
        await until(lambda: bytes(sink.heard[0]) == SAID[:100])
        assert len(wire.silent) == 1 and not sink.ends
        peer.line.close()
        (line,) = wire.silent
        await until(lambda: line.ended == [True, False])
        sink.close()
        await until(lambda: not wire.silent)


async def test_half_open_connection_of_which_one_end_hears() -> None:
    """Where the wire tells the dialler, that is reset; the other end isn't told."""
    async with wired(tells=UP) as (wire, sink, peer):
        struck = wire.arm(Fault(Kind.HALF_OPEN, UP, 0))
        await peer.say(SAID)
        await struck
        with pytest.raises(ConnectionResetError):
            await peer.hear(1)
        assert len(wire.silent) == 1 and not sink.ends


async def test_another_server_answers_once() -> None:
    """Who is connected is broken off, who dials next meets another, and the one after that the server again."""
    async with wired() as (wire, sink, _):
        struck = wire.arm(Fault(Kind.IMPOSTOR))
        other = Peer(wire.port)
        assert await other.hear(1_000) == b"220 mail.example ready\r\n"
        await struck
        again = Peer(wire.port)
        await again.say(SAID)
        assert await again.hear(len(SAID)) == bytes(len(SAID))
        assert len(sink.heard) == 2
        for peer in (other, again):
            peer.line.close()


async def test_another_server_answers_even_who_was_about_to_be_connected(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever has dialled, and isn't connected yet, is broken off as well, so that another dial meets the other."""
    async with wired() as (wire, _, peer):
        reach, may_go, waits = wire.reach, asyncio.Event(), asyncio.Event()

        async def slowly(far: socket.socket) -> None:
            waits.set()
            await may_go.wait()
            await reach(far)

        monkeypatch.setattr(wire, "reach", slowly)
        late = Peer(wire.port)
        await waits.wait()
        struck = wire.arm(Fault(Kind.IMPOSTOR))
        may_go.set()
        for broken in (peer, late):
            with pytest.raises(ConnectionResetError):
                await broken.hear(1)
        other = Peer(wire.port)
        assert await other.hear(1_000) == b"220 mail.example ready\r\n"
        await struck
        for each in (late, other):
            each.line.close()


async def test_strangers_come_and_go_beside_what_passes() -> None:
    """They come to the server itself, and the connection under way isn't touched."""
    async with wired() as (wire, sink, peer):
        await wire.arm(Fault(Kind.STRANGERS, DOWN, 0, 12))
        await until(lambda: len(sink.heard) == 13 and len(sink.ends) == 12)
        await peer.say(SAID)
        assert await peer.hear(len(SAID)) == bytes(len(SAID))


async def test_wire_keeps_what_it_delivered_and_what_came_back() -> None:
    """Of each connection the octets that passed, whether it ended in order, and all that went the other way."""
    async with wired(keep=UP) as (wire, _, peer):
        struck = wire.arm(Fault(Kind.CUT, UP, 100))
        await peer.say(SAID)
        await struck
        (line,) = wire.lines
        assert (bytes(line.delivered), line.whole) == (SAID[:100], True)
        assert bytes(wire.written) in (b"", bytes(100))
        again = Peer(wire.port)
        struck = wire.arm(Fault(Kind.RESET, UP, 200))
        await again.say(SAID)
        await struck
        assert (bytes(wire.lines[1].delivered), wire.lines[1].whole) == (SAID[:200], False)
        again.line.close()
