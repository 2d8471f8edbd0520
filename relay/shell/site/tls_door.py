"""The door of a public port with TLS: counts a connection before its handshake, and hands it on once that is done.

Rules: a connection that shakes hands has the same limits, and the same deadline, as one whose head is being read; what
can't be secured ends without a word; nothing of a peer is logged. TLS 1.2 and 1.3 alone (RFC 9325 section 3.1.1).
"""

import asyncio
import socket
import ssl
from pathlib import Path

from relay.shell.site.front import Front, House
from relay.shell.site.gate import address_of
from relay.shell.site.tls_files import load_pair

ACCEPT_AGAIN_S = 0.1
# The wheel ends a handshake in time; in a late pass of the loop TLS's own end would be first, were it not so far off.
SPARE_S = 60.0


def site_tls(certificate: Path, key: Path) -> ssl.SSLContext:
    """Return TLS for a site from PEM files; OperatorError says which can't be used, and why."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.set_alpn_protocols(["http/1.1"])
    load_tls(context, certificate, key)
    return context


def load_tls(context: ssl.SSLContext, certificate: Path, key: Path) -> None:
    """Let whoever comes from now on be shown this certificate; OperatorError, and nothing changed, if it can't be."""
    load_pair(context, certificate, key)


class TlsDoor:
    """Listens, secures who comes, and hands them to `house`. It has what `asyncio.Server` has of use to a site."""

    def __init__(self, house: House, context: ssl.SSLContext) -> None:
        self._house, self._context = house, context
        self._accepting: list[asyncio.Task[None]] = []
        self.sockets: list[socket.socket] = []

    async def open(self, host: str, port: int, backlog: int, reuse_port: bool = False) -> None:
        """Listen on every address that a host has; OSError if one can't be had."""
        loop = asyncio.get_running_loop()
        found = await loop.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)
        for family, *_, address in dict.fromkeys(found):
            line = socket.create_server(address[:2], family=family, backlog=backlog, reuse_port=reuse_port)
            line.setblocking(False)
            self.sockets.append(line)
            self._accepting.append(asyncio.ensure_future(self._accept(line)))

    async def _accept(self, listener: socket.socket) -> None:
        loop = asyncio.get_running_loop()
        while True:
            try:
                line, peer = await loop.sock_accept(listener)
            except OSError:  # the peer is gone again, or there are no more open files: that passes
                await asyncio.sleep(ACCEPT_AGAIN_S)
                continue
            _Securing(self._house, line, address_of(peer)).begin(self._context)

    @property
    def jobs(self) -> list["asyncio.Future[None]"]:
        """What runs from `start` to `close`."""
        return list(self._accepting)

    def close(self) -> None:
        """Listen no more."""
        for task in self._accepting:
            task.cancel()
        for line in self.sockets:
            line.close()


class _Securing:
    """One connection until TLS stands."""

    __slots__ = ("_address", "_counted", "_house", "_line", "_task", "deadline")

    def __init__(self, house: House, line: socket.socket, address: str) -> None:
        self._house, self._line, self._address = house, line, address
        self._counted = house.gate.enter(address)
        self._task: asyncio.Task[None] | None = None
        self.deadline = 0

    def begin(self, context: ssl.SSLContext) -> None:
        """Shake hands, if there was room."""
        if not self._counted:
            self._line.close()
            return
        gate = self._house.gate
        gate.wheel.put(self, gate.limits.turns(gate.limits.handshake_s))
        self._task = asyncio.ensure_future(self._secure(context))

    async def _secure(self, context: ssl.SSLContext) -> None:
        limits = self._house.gate.limits
        try:
            await asyncio.get_running_loop().connect_accepted_socket(
                lambda: _SecuredFront(self._house, self),
                self._line,
                ssl=context,
                ssl_handshake_timeout=limits.handshake_s + SPARE_S,
                ssl_shutdown_timeout=limits.close_s,
            )
        except OSError:  # ssl.SSLError and ConnectionError among them
            self._house.gate.tally.faults += 1
        finally:
            self.give_back()

    def give_back(self) -> None:
        """Count the connection no more: it is gone, or the front's."""
        if self._counted:
            self._counted = False
            self._house.gate.wheel.remove(self)
            self._house.gate.leave(self._address)

    def due(self) -> None:
        """End a handshake that takes too long."""
        self._house.gate.tally.unfinished += 1
        self.abort()

    def leave(self) -> None:
        """End a connection that has not asked for anything yet."""
        self.abort()

    def abort(self) -> None:
        """Cut the connection."""
        if self._task is not None:
            self._task.cancel()
        self.give_back()


class _SecuredFront(Front):
    """The front of a connection whose handshake is done: it takes the place that was counted for it."""

    __slots__ = ("_securing",)

    def __init__(self, house: House, securing: _Securing) -> None:
        super().__init__(house)
        self._securing = securing

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Take the place, and read the head."""
        self._securing.give_back()
        super().connection_made(transport)
