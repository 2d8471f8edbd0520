"""The front of the public port: reads the first head of a connection and decides who answers.

Rules: the head decides once, for the whole connection: a websocket handshake on /live is ours, everything else
is aiohttp's, with every byte as it came; so two parsers never judge the same request. A head is whole within
`head_octets` and `handshake_s`, or the connection ends.

| state   | on                                    | then                   |
| ------- | ------------------------------------- | ---------------------- |
| READING | a whole head, a handshake on /live    | a Viewer takes over    |
| READING | a whole head, anything else           | a Conversation does    |
| READING | too long, too late, a bad handshake   | ENDED, with an answer  |
| ENDED   | end of stream, too much, the deadline | gone                   |
"""

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass, field
from http import HTTPStatus
from typing import cast

from aiohttp import web

from relay.core.guests import Guest
from relay.core.subscriber import parse_ask
from relay.core.websocket import (
    HEAD_END,
    CloseCode,
    Head,
    Refusal,
    asks_for_websocket,
    judge_handshake,
    parse_head,
)
from relay.shell.site.answers import raw_error, raw_head
from relay.shell.site.conversation import Conversation
from relay.shell.site.gate import Gate, address_of
from relay.shell.site.guest_door import GuestDoor
from relay.shell.site.pages import LIVE_PATH
from relay.shell.site.viewer import Gallery, Viewer

OFFERED = "sec-websocket-protocol"
# Browsers let a page set no header of a handshake but this one (RFC 6455 section 11.3.4): the token travels in it, as
# one of the protocols that are offered, and the answer names the other.
PROTOCOL, TOKEN_MARK = "offing", "guest."


@dataclass(frozen=True, slots=True)
class House:
    """What the front leads to. `common`: the headers of every answer; `invited`: galleries for `guests` alone."""

    gate: Gate
    galleries: Mapping[str, Gallery]
    server: web.Server
    common: Mapping[str, str]
    invited: Mapping[str, Gallery] = field(default_factory=dict)
    guests: GuestDoor | None = None


class Front(asyncio.Protocol):
    """One connection until its first head is read."""

    __slots__ = ("_address", "_discarded", "_ended", "_entered", "_house", "_received", "_transport", "deadline")

    def __init__(self, house: House) -> None:
        self._house = house
        self._received = b""
        self._entered = self._ended = False
        self._discarded = 0
        self._address = ""
        self._transport: asyncio.Transport
        self.deadline = 0

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Let the connection in if there is room."""
        gate = self._house.gate
        self._transport = cast(asyncio.Transport, transport)
        self._address = address_of(transport.get_extra_info("peername"))
        self._entered = gate.enter(self._address)
        if self._entered:
            gate.wheel.put(self, gate.limits.turns(gate.limits.handshake_s))
        else:
            self._ended = True
            self._transport.write(raw_error(HTTPStatus.SERVICE_UNAVAILABLE, self._house.common))
            self._transport.close()

    def data_received(self, data: bytes) -> None:
        """Collect the head; once it is whole, hand the connection over."""
        limits = self._house.gate.limits
        if self._ended:
            self._discard(len(data))
            return
        self._received += data
        end = self._received.find(HEAD_END, 0, limits.head_octets)
        if end >= 0:
            self._choose(end + len(HEAD_END))
        elif len(self._received) >= limits.head_octets:
            self._refuse(HTTPStatus.REQUEST_HEADER_FIELDS_TOO_LARGE)

    def _discard(self, octets: int) -> None:
        self._discarded += octets
        if self._discarded > self._house.gate.limits.discarded:
            self.abort()

    def _choose(self, end: int) -> None:
        head = parse_head(self._received[:end])
        if head is None or head.path != LIVE_PATH or not asks_for_websocket(head):
            self._converse()
            return
        accept = judge_handshake(head)
        if isinstance(accept, Refusal):
            self._house.gate.tally.faults += 1
            self._refuse(accept.status)
        else:
            self._watch(head, accept, self._received[end:])

    def _converse(self) -> None:
        house, received = self._house, self._received
        self._pass_on()
        Conversation(house.server, house.gate, self._address).begin(self._transport, received)

    def _watch(self, head: Head, accept: bytes, rest: bytes) -> None:
        house, transport = self._house, self._transport
        self._pass_on()
        viewer = Viewer(house.gate, transport, self._address)
        transport.set_protocol(viewer)
        upgrade = {"Upgrade": "websocket", "Connection": "Upgrade", "Sec-WebSocket-Accept": accept.decode()}
        spoken = {"Sec-WebSocket-Protocol": PROTOCOL} if PROTOCOL in head.members(OFFERED) else {}
        transport.write(raw_head(HTTPStatus.SWITCHING_PROTOCOLS, {**upgrade, **spoken, **house.common}))
        ask = parse_ask(head.query)
        guest = None if ask is None or ask.audience in house.galleries else self._guest(head, ask.audience)
        if ask is None or guest is None:
            viewer.begin(ask, None if ask is None else house.galleries.get(ask.audience))
        elif house.gate.attendance.attend(guest.id, viewer):
            viewer.begin(ask, house.invited.get(guest.audience))
        else:
            viewer.close(CloseCode.FULL)
        if rest:
            viewer.data_received(rest)

    def _guest(self, head: Head, audience: str) -> Guest | None:
        """Return who may follow an audience that isn't open: whoever offers one token, of a guest of just that one."""
        guests = self._house.guests
        tokens = [member for member in head.members(OFFERED) if member.startswith(TOKEN_MARK)]
        if guests is None or len(tokens) != 1:
            return None
        guest = guests.find(tokens[0].removeprefix(TOKEN_MARK), self._address)
        return guest if guest is not None and guest.audience == audience else None

    def _pass_on(self) -> None:
        self._house.gate.wheel.remove(self)
        self._received = b""
        self._ended = True

    def _refuse(self, status: HTTPStatus) -> None:
        # Closing at once, with bytes of the peer unread, would make the kernel throw the answer away (RFC 9112
        # section 9.6): so our side is closed, and the rest is read and dropped.
        gate = self._house.gate
        self._ended = True
        self._received = b""
        self._transport.write(raw_error(status, self._house.common))
        if self._transport.can_write_eof():
            self._transport.write_eof()
        else:  # TLS: closing says so to the peer by itself
            self._transport.close()
        gate.wheel.put(self, gate.limits.turns(gate.limits.close_s))

    def due(self) -> None:
        """End a connection whose head is late, or that does not go."""
        if self._ended:
            self.abort()
        else:
            self._house.gate.tally.unfinished += 1
            self._refuse(HTTPStatus.REQUEST_TIMEOUT)

    def leave(self) -> None:
        """End a connection that has not asked for anything yet."""
        self.abort()

    def abort(self) -> None:
        """Cut the connection."""
        self._transport.abort()

    def connection_lost(self, exc: Exception | None) -> None:
        """Give back the place."""
        if self._entered:
            self._house.gate.wheel.remove(self)
            self._house.gate.leave(self._address)
