"""The door of a public port with TLS: counts a connection before its handshake, and hands it on once that is done.

Rules: a connection that shakes hands has the same limits, and the same deadline, as one whose head is being read; what
can't be secured ends without a word; nothing of a peer is logged. TLS 1.2 and 1.3 alone (RFC 9325 section 3.1.1).
"""

import asyncio
import ssl
from pathlib import Path
from typing import cast

from relay.core.errors import OperatorError
from relay.shell.front import Front, House
from relay.shell.gate import address_of

MOST_EARLY = 65_536


def site_tls(certificate: Path, key: Path) -> ssl.SSLContext:
    """Return TLS for a site from PEM files; OperatorError says which can't be used, and why."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.set_alpn_protocols(["http/1.1"])
    load_tls(context, certificate, key)
    return context


def load_tls(context: ssl.SSLContext, certificate: Path, key: Path) -> None:
    """Let whoever comes from now on be shown this certificate; OperatorError, and nothing changed, if it can't be."""
    for path in (certificate, key):
        try:
            path.read_bytes()
        except OSError as error:
            raise OperatorError(f"{path} can't be read: {error.strerror}") from error
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key)  # tried apart from the one in use
        context.load_cert_chain(certificate, key)
    except OSError as error:
        raise OperatorError(
            f"{certificate} and {key} can't be used: they aren't a certificate and its private key as PEM files, or "
            "don't belong together"
        ) from error


class TlsDoor(asyncio.Protocol):
    """One connection until TLS stands."""

    __slots__ = ("_address", "_context", "_early", "_entered", "_house", "_securing", "_transport", "deadline")

    def __init__(self, house: House, context: ssl.SSLContext) -> None:
        self._house, self._context = house, context
        self._address, self._entered = "", False
        self._early = b""
        self._transport: asyncio.Transport
        self._securing: asyncio.Task[None] | None = None
        self.deadline = 0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Let the connection in if there is room, and begin the handshake."""
        gate = self._house.gate
        self._transport = cast(asyncio.Transport, transport)
        self._address = address_of(transport.get_extra_info("peername"))
        self._entered = gate.enter(self._address)
        if not self._entered:
            self._transport.abort()
            return
        # What is encrypted for a peer that takes nothing waits here: as little as on a port without TLS.
        self._transport.set_write_buffer_limits(high=gate.limits.write_high_octets)
        gate.wheel.put(self, gate.limits.turns(gate.limits.handshake_s))
        self._securing = asyncio.ensure_future(self._secure())

    async def _secure(self) -> None:
        limits = self._house.gate.limits
        loop = asyncio.get_running_loop()
        try:
            secured = await loop.start_tls(
                self._transport,
                self,
                self._context,
                server_side=True,
                ssl_handshake_timeout=limits.handshake_s + limits.turn_s,
                ssl_shutdown_timeout=limits.close_s,
            )
        except OSError:  # ssl.SSLError and ConnectionError among them
            self._house.gate.tally.faults += 1
            self._gone()
            self._transport.abort()
            return
        if secured is not None and self._entered:
            self._hand_on(secured)

    def _hand_on(self, secured: asyncio.Transport) -> None:
        self._gone()  # the front counts it from here on, in the same turn
        front = Front(self._house)
        secured.set_protocol(front)
        front.connection_made(secured)
        if self._early:
            front.data_received(self._early)

    def data_received(self, data: bytes) -> None:
        """Keep what came with the last of the handshake."""
        self._early += data
        if len(self._early) > MOST_EARLY:
            self.abort()

    def _gone(self) -> None:
        if self._entered:
            self._entered = False
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
        if self._securing is not None:
            self._securing.cancel()
        self._transport.abort()
        self._gone()

    def connection_lost(self, exc: Exception | None) -> None:
        """Give back the place."""
        self._gone()
