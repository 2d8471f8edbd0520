"""Both ends of the link in a test's own process, over real TLS sockets: a shore kept in memory, and quick limits."""

import asyncio
from collections.abc import AsyncIterator, Callable, Iterable
from contextlib import asynccontextmanager, suppress
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

from websockets.asyncio.client import ClientConnection, connect
from websockets.exceptions import ConnectionClosed

from certificates import self_signed
from relay.core.errors import NoRoomError, RecordingError
from relay.core.guests import Guest, Listing, read_listing, write_listing
from relay.core.seal import Signer, is_sealed
from relay.core.uplink_talk import WORD, Held, Listed, proof_of, read_challenge, read_standing, write_proof
from relay.core.wire import decode
from relay.shell.plan.uplink_plan import UplinkPlan, shore_pin
from relay.shell.released.outlet import Frame
from relay.shell.uplink.uplink import Uplink
from relay.shell.uplink.uplink_port import PortLimits, UplinkPort
from relay.shell.uplink.uplink_session import LinkLimits
from relay.shell.uplink.uplink_tls import certificate_of, pin_of, ship_tls

SIGNER = Signer(bytes(range(32)))
QUICK = LinkLimits(greet_s=2.0, keep_s=0.2, answer_s=0.6, most_wait_s=0.1, patient_wait_s=0.1, alarm_s=0.3)


def sealed(frames: Iterable[Frame]) -> list[Frame]:
    """Return frames as the ship signs them."""
    return [replace(frame, data=SIGNER.seal(frame.audience, frame.data)) for frame in frames]


def listing(number: int, *guests: Guest) -> bytes:
    """Return a list of guests as the ship signs it."""
    return write_listing(Listing(number, {guest.id: guest for guest in guests}), SIGNER)


class MemoryShore:
    """Takes what a ship says, verified and in order, and remembers it: what `Receives` asks, without a disk."""

    def __init__(self, *audiences: str, key: bytes = SIGNER.key) -> None:
        self.key = key
        self.frames: dict[str, list[bytes]] = {name: [] for name in audiences or ("public",)}
        self.programmes: dict[str, list[bytes]] = {name: [] for name in self.frames}
        self.listings: list[bytes] = []
        self.claims: Listed | None = None
        self.followers: dict[str, int] = {}
        self.open: set[str] = set()
        self.calls: list[tuple[str, int]] = []
        self.full = False
        self.refuses = False
        self.stuck: asyncio.Event | None = None
        self.taking = False
        self.changed = asyncio.Event()

    def held(self) -> dict[str, Held]:
        """Return what is here."""
        return {name: replace(self._held(name), open=name in self.open) for name in self.frames}

    def _held(self, audience: str) -> Held:
        programmes = self.programmes[audience]
        programme = decode(programmes[-1]).seq if programmes else -1
        if not self.frames[audience]:
            return Held(programme=programme)
        last = decode(self.frames[audience][-1])
        of_dive = [frame for frame in self.frames[audience] if decode(frame).dive == last.dive]
        return Held(last.dive, last.seq, programme, sha256(b"".join(of_dive)).digest())

    async def take(self, audience: str, frames: list[bytes]) -> None:
        """Verify and keep."""
        assert not self.taking, "called twice at once"
        self.taking = True
        try:
            if self.stuck is not None:
                await self.stuck.wait()
            if self.full:
                raise NoRoomError("no space left on device")
            for frame in frames:
                self._keep(audience, frame)
            self.calls.append((audience, len(frames)))
        finally:
            self.taking = False
            self.changed.set()

    def _keep(self, audience: str, frame: bytes) -> None:
        if self.refuses or not is_sealed(self.key, audience, frame):
            raise RecordingError("badly signed")
        record = decode(frame)
        if record.dive == 0:
            self.programmes[audience].append(frame)
            return
        last = decode(self.frames[audience][-1]) if self.frames[audience] else None
        begins = record.seq == 0 and (last is None or record.dive > last.dive)
        if not begins and (last is None or (record.dive, record.seq) != (last.dive, last.seq + 1)):
            raise RecordingError("out of order")
        self.frames[audience].append(frame)

    def guests(self, listing: bytes) -> None:
        """Keep a list."""
        read_listing(self.key, listing)
        self.listings.append(listing)
        self.calls.append(("guests", 1))
        self.changed.set()

    def listed(self) -> Listed:
        """Return which list is here."""
        if self.claims is not None or not self.listings:
            return self.claims or Listed()
        last = self.listings[-1]
        return Listed(read_listing(self.key, last).number, sha256(last).digest())

    def seen(self) -> dict[str, int]:
        """Return who follows."""
        return self.followers


class Harbour:
    """A shore's port and the way to it; the port can be closed, and opened again where it was."""

    def __init__(self, folder: Path, shore: MemoryShore, limits: PortLimits | None = None) -> None:
        self.shore, self._limits = shore, limits
        self.certificate, self._key = self_signed(folder)
        self.pin = pin_of(certificate_of(self.certificate))
        self.port = UplinkPort(shore, self.certificate, self._key, limits)
        self._at = 0

    async def open(self) -> None:
        """Listen, where it listened before."""
        self.port = UplinkPort(self.shore, self.certificate, self._key, self._limits)
        await self.port.start("127.0.0.1", self._at)
        self._at = self.port.address[1]

    def plan(self, *audiences: str, port: int | None = None, limit: float | None = None) -> UplinkPlan:
        """Return what a ship would write to dial here, or a port before it."""
        return UplinkPlan("127.0.0.1", port or self._at, shore_pin(self.pin), audiences or ("public",), limit)


@asynccontextmanager
async def harbour(
    folder: Path, shore: MemoryShore | None = None, limits: PortLimits | None = None
) -> AsyncIterator[Harbour]:
    """Yield an open harbour."""
    here = Harbour(folder, shore or MemoryShore(), limits)
    await here.open()
    try:
        yield here
    finally:
        await here.port.close()


@asynccontextmanager
async def underway(uplink: Uplink) -> AsyncIterator[Uplink]:
    """Run a ship's end; whatever it ends with is raised."""
    running = asyncio.ensure_future(uplink.run())
    try:
        yield uplink
    finally:
        running.cancel()
        await asyncio.wait({running})
        if not running.cancelled():
            running.result()


async def until(true: Callable[[], bool], within_s: float = 60.0) -> None:
    """Wait for something that other tasks bring about; it is asserted that they do in time."""
    loop = asyncio.get_running_loop()
    late_s = loop.time() + within_s
    while not true():
        assert loop.time() < late_s, f"it hasn't come about within {within_s:g} s"
        passed = asyncio.Event()
        loop.call_later(0.005, passed.set)
        await passed.wait()


class Wire:
    """A relay of bytes before a port: it can be cut without a word (half-open), and end what runs over it."""

    def __init__(self, port: int) -> None:
        self._to, self.cut = port, False
        self._server: asyncio.Server | None = None
        self._writers: set[asyncio.StreamWriter] = set()
        self.dialled = 0
        self.octets = 0

    async def start(self) -> int:
        """Listen; return the port."""
        self._server = await asyncio.start_server(self._join, "127.0.0.1", 0)
        return int(self._server.sockets[0].getsockname()[1])

    async def _join(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.dialled += 1
        try:
            onward_reader, onward_writer = await asyncio.open_connection("127.0.0.1", self._to)
        except OSError:
            writer.transport.abort()
            return
        self._writers |= {writer, onward_writer}
        await asyncio.gather(self._pass(reader, onward_writer), self._pass(onward_reader, writer))

    async def _pass(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            while data := await reader.read(65_536):
                self.octets += len(data)
                if not self.cut:
                    writer.write(data)
                    await writer.drain()
        except OSError:
            pass
        if not self.cut:
            writer.transport.abort()

    def snap(self) -> None:
        """End what runs over it, as a reset does."""
        for writer in self._writers:
            writer.transport.abort()
        self._writers.clear()

    async def close(self) -> None:
        """End it all."""
        assert self._server is not None
        self.snap()
        self._server.close()
        await self._server.wait_closed()


@asynccontextmanager
async def wire(port: int) -> AsyncIterator[tuple[Wire, int]]:
    """Yield a wire before a port, and its own port."""
    line = Wire(port)
    at = await line.start()
    try:
        yield line, at
    finally:
        await line.close()


@asynccontextmanager
async def dialled(here: Harbour) -> AsyncIterator[ClientConnection]:
    """Yield a websocket to the port by the library alone, certificate not looked at."""
    uri = f"wss://127.0.0.1:{here.port.address[1]}"
    async with connect(uri, ssl=ship_tls(bytes(32)), compression=None, ping_interval=None) as peer:
        yield peer


async def heard(peer: ClientConnection) -> bytes:
    """Return the port's next message."""
    data = await peer.recv()
    assert isinstance(data, bytes)
    return data


async def proof(peer: ClientConnection, here: Harbour, signer: Signer = SIGNER) -> bytes:
    """Return the answer to the port's challenge."""
    signed = signer.sign(WORD, proof_of(read_challenge(await heard(peer)), certificate_of(here.certificate)))
    return write_proof(signer.key, signed)


@asynccontextmanager
async def proved(here: Harbour) -> AsyncIterator[tuple[ClientConnection, dict[str, Held]]]:
    """Yield a websocket on which the ship's key was proved, and what the shore told."""
    async with dialled(here) as peer:
        await peer.send(await proof(peer, here))
        yield peer, read_standing(await heard(peer))[0]


async def ended(peer: ClientConnection) -> int | None:
    """Return the code with which the port ends a connection, whatever it said before; None if it doesn't end it."""
    with suppress(ConnectionClosed, TimeoutError):
        async with asyncio.timeout(60):
            while True:
                await peer.recv()
    return peer.close_code
