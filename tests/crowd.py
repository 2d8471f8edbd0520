"""A thousand viewers in one process that count and digest what they get; what the kernel holds for a peer."""

import asyncio
import resource
import socket
import ssl
import struct
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from hashlib import sha256
from pathlib import Path
from typing import cast

from peers import RawPeer, until, upgrade
from relay.core.websocket import HEAD_END
from relay.shell.site.site import Site
from relay.shell.site.viewer import Viewer

# include/uapi/linux/sock_diag.h and asm-generic/socket.h: what the kernel accounts to a socket, in 32-bit numbers.
SO_MEMINFO, MEMINFO = 55, struct.Struct("=9I")
RECEIVED, FORWARD, QUEUED, OPTIONS, BACKLOG = 0, 4, 5, 6, 7


def many_open_files(needed: int) -> None:
    """Allow this process so many open files."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    if soft < needed:
        resource.setrlimit(resource.RLIMIT_NOFILE, (min(needed, hard), hard))


def held_for(site: Site, peer: RawPeer) -> int:
    """Return how many bytes are held for a viewer: what waits in its transport, and what the kernel accounts to it."""
    (viewer,) = [at for at in site._gate.wheel if isinstance(at, Viewer) and _is_with(at, peer)]
    return _held(viewer.transport)


def _is_with(viewer: Viewer, peer: RawPeer) -> bool:
    met: bool = viewer.transport.get_extra_info("peername") == peer.line.getsockname()
    return met


def _held(transport: asyncio.Transport) -> int:
    raw = transport.get_extra_info("socket")
    told = MEMINFO.unpack(raw.getsockopt(socket.SOL_SOCKET, SO_MEMINFO, MEMINFO.size))
    kernel = sum(told[at] for at in (RECEIVED, FORWARD, QUEUED, OPTIONS, BACKLOG))
    return transport.get_write_buffer_size() + kernel


class SecuredPeer:
    """A client of a site with TLS that reads its socket only when it is told to."""

    def __init__(self, raw: RawPeer, trusted: Path) -> None:
        self._raw = raw
        self._coming, self._going = ssl.MemoryBIO(), ssl.MemoryBIO()
        context = ssl.create_default_context(cafile=trusted)
        self._tls = context.wrap_bio(self._coming, self._going, server_hostname="127.0.0.1")

    @classmethod
    async def dial(cls, site: Site, trusted: Path, sending: bytes) -> "SecuredPeer":
        """Connect to a site with this certificate, and send."""
        peer = cls(await RawPeer.dial(site), trusted)
        while True:
            try:
                peer._tls.do_handshake()
                break
            except ssl.SSLWantReadError:
                await peer._raw.send(peer._going.read())
                await peer._read_some()
        peer._tls.write(sending)
        await peer._raw.send(peer._going.read())
        return peer

    async def _read_some(self) -> None:
        before = len(self._raw.received)
        await self._raw.receive_until(lambda got: len(got) > before)
        self._coming.write(self._raw.received[before:])

    async def rest(self) -> bytes:
        """Read until the server ends the connection, and return what came, as far as it was this connection's TLS."""
        before = len(self._raw.received)
        self._coming.write((await self._raw.rest())[before:])
        got = b""
        try:
            while chunk := self._tls.read(65_536):
                got += chunk
        except ssl.SSLError:
            return got
        return got


class Member(asyncio.Protocol):
    """One viewer of the crowd."""

    def __init__(self, crowd: "Crowd") -> None:
        self._crowd = crowd
        self._head = b""
        self._digest = sha256()
        self.octets = 0
        self.ended = False

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Ask for the live socket."""
        self._transport = cast(asyncio.Transport, transport)
        self._transport.write(upgrade())

    def data_received(self, data: bytes) -> None:
        """Count what follows the handshake's answer."""
        if not self._head.endswith(HEAD_END):
            self._head += data
            end = self._head.find(HEAD_END)
            if end < 0:
                return
            end += len(HEAD_END)
            self._head, data = self._head[:end], self._head[end:]
        self._digest.update(data)
        self.octets += len(data)
        self._crowd.look(self)

    def connection_lost(self, exc: Exception | None) -> None:
        """Note that the site ended it."""
        self.ended = True

    def digest(self) -> bytes:
        """Return the digest of all that came."""
        return self._digest.digest()

    def go(self) -> None:
        """Leave."""
        self._transport.abort()


class Crowd:
    """Many viewers of one site."""

    def __init__(self) -> None:
        self.members: list[Member] = []
        self._goal = 0
        self._behind: set[Member] = set()
        self._reached = asyncio.Event()

    @classmethod
    @asynccontextmanager
    async def of(cls, site: Site, size: int) -> AsyncIterator["Crowd"]:
        """Connect `size` viewers, and let them go at the end."""
        loop = asyncio.get_running_loop()
        crowd = cls()
        try:
            for _ in range(size):
                _, member = await loop.create_connection(lambda: Member(crowd), *site.address)
                crowd.members.append(member)
            yield crowd
        finally:
            for member in crowd.members:
                member.go()
            await until(lambda: all(member.ended for member in crowd.members))

    def look(self, member: Member) -> None:
        """See whether a member has what is waited for."""
        if member.octets >= self._goal:
            self._behind.discard(member)
            if not self._behind:
                self._reached.set()

    async def reach(self, octets: int) -> None:
        """Return when every member has got so many bytes in all."""
        self._goal = octets
        self._behind = {member for member in self.members if member.octets < octets}
        if self._behind:
            self._reached.clear()
            await self._reached.wait()

    def digests(self) -> set[bytes]:
        """Return the digests of what members got: one where all got the same."""
        return {member.digest() for member in self.members}
