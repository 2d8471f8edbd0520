"""The viewers of one audience: each a socket that is written to, never waited for.

Rules: a frame is encoded once and the same bytes are written to every live viewer; a viewer whose buffer is full when a
frame comes is dropped with 4001, one whose connection fails is cut off, and nobody else notices; what a viewer is owed
is read from the history as its socket takes it, never queued. Dropping frees its seat at once. A large frame (a still),
or many at once (after an outage of the link), fill every buffer for a moment, so whoever they fill is served from the
history like a latecomer until they are taken; who takes nothing of them is silent, and cut off as such.

A live viewer is written to past its transport, by the number of its open socket, as long as the transport holds
nothing: that is most of what a viewer costs. Transports close their socket only after `connection_lost`, where the
number is forgotten. Over TLS the socket is the transport's alone, and of what it has encrypted it keeps 64 KiB and says
nothing: there the kernel is asked whether the peer takes anything (`Viewer.drop_if_late`).

| state     | on                                   | then      |
| --------- | ------------------------------------ | --------- |
| REPLAYING | the socket takes the last owed frame | LIVE      |
| AHEAD     | a frame after its position           | LIVE      |
| LIVE      | a large frame, or many, fill it      | REPLAYING |
| LIVE      | a frame while its buffer is full     | CLOSING   |
| any       | the peer closes, errs or is silent   | CLOSING   |
| CLOSING   | the peer's end, or the deadline      | gone      |
"""

import asyncio
import logging
import socket
import sys
from array import array
from collections.abc import Callable
from fcntl import ioctl
from os import write
from termios import TIOCOUTQ
from typing import cast

from relay.core.history import History, Position, Published
from relay.core.release import NO_DIVE
from relay.core.subscriber import Ask, Standing, Subscriber, admit
from relay.core.websocket import (
    PING,
    ClientFrames,
    CloseCode,
    Closing,
    Fault,
    Ping,
    Pong,
    Said,
    Unwelcome,
    encode_binary,
    encode_close,
    encode_pong,
)
from relay.shell.site.attendance import throw_away
from relay.shell.site.gate import Gate

log = logging.getLogger("offing.site")

REPLAY_BATCH = 16
LARGE_OCTETS = 16_384
NO_LINE = -1
UNINVITED_S = 1.0


class Gallery:
    """The viewers of one audience and the history they follow.

    `straight`: the live ones by their socket, written to past their transport. `through`: the other live ones, whose
    transport holds something or is alone to write. `full`: those whose transport holds too much.
    """

    __slots__ = ("ahead", "full", "gate", "history", "straight", "through", "viewers")

    def __init__(self, history: History, gate: Gate) -> None:
        self.history = history
        self.gate = gate
        # In the order of joining, in which the kernel made the sockets as well: a set's order costs a tenth more.
        self.straight: dict[int, Viewer] = {}
        self.through: dict[Viewer, None] = {}
        self.full: set[Viewer] = set()
        self.ahead: set[Viewer] = set()
        self.viewers = 0

    def publish(self, frame: Published, among_many: bool = False) -> None:
        """Keep a frame and send it to everybody live; OutOfOrderError if it is not the next.

        `among_many`: it comes with others at once, after an outage: whom that fills is served from the history. The
        programme is kept alone: it is of no dive, and whoever wants it fetches its file.
        """
        if frame.dive == NO_DIVE:
            self.history.post(frame)
            return
        self.history.append(frame)
        if self.full:
            self._drop_the_slow()
        if self.ahead:
            self._catch_up(frame)
        encoded = encode_binary(frame.data)
        # A write may fill a buffer and so change `full`, never who is live: that happens in later callbacks alone.
        if self.through and not among_many and len(encoded) <= LARGE_OCTETS:
            self._drop_the_secured(len(encoded))
        through = tuple(self.through)
        for line, taken in self._write_straight(encoded):
            _alone(self.straight[line], Viewer.write_live, memoryview(encoded)[taken:])
        for viewer in through:
            _alone(viewer, Viewer.write_live, encoded)
        if among_many or len(encoded) > LARGE_OCTETS:
            self._let_take()

    def _write_straight(self, encoded: bytes) -> list[tuple[int, int]]:
        """Write to the sockets and return those that took only so much, or that have a fault to tell."""
        length, short = len(encoded), []
        # The numbers as C has them, one beside the other: between two writes the kernel has used up the caches.
        for line in array("i", self.straight):
            try:
                taken = write(line, encoded)
            except OSError:
                taken = 0
            if taken != length:
                short.append((line, taken))
        return short

    def _drop_the_slow(self) -> None:
        for viewer in self.full & self.through.keys():
            _alone(viewer, Viewer.drop)

    def _drop_the_secured(self, octets: int) -> None:
        for viewer in [viewer for viewer in self.through if viewer.line == NO_LINE]:
            _alone(viewer, Viewer.drop_if_late, octets)

    def _let_take(self) -> None:
        for viewer in self.full & self.through.keys():
            del self.through[viewer]
            viewer.fall_behind(self.history.head)

    def _catch_up(self, frame: Published) -> None:
        for viewer in list(self.ahead):
            if viewer.wants(frame):
                self.ahead.discard(viewer)
                _alone(viewer, self.place)

    def place(self, viewer: "Viewer") -> None:
        """Count a viewer as live, to be written to the way its transport allows now."""
        if viewer.line >= 0 and viewer.transport.get_write_buffer_size() == 0:
            self.through.pop(viewer, None)
            self.straight[viewer.line] = viewer
        else:
            self.straight.pop(viewer.line, None)
            self.through[viewer] = None

    def is_live(self, viewer: "Viewer") -> bool:
        """Whether a viewer gets the next frame as it comes."""
        return viewer.line in self.straight or viewer in self.through

    def forget(self, viewer: "Viewer") -> None:
        """Stop sending to a viewer that had taken a seat here."""
        self.viewers -= 1
        self.straight.pop(viewer.line, None)
        self.through.pop(viewer, None)
        self.full.discard(viewer)
        self.ahead.discard(viewer)


class Viewer(asyncio.Protocol):
    """One open websocket. Made by the front when the handshake is done; `begin` must follow."""

    __slots__ = (
        "_address",
        "_closing",
        "_discarded",
        "_frames",
        "_gallery",
        "_gate",
        "_late",
        "_subscriber",
        "_unanswered",
        "deadline",
        "line",
        "transport",
    )

    def __init__(self, gate: Gate, transport: asyncio.Transport, address: str) -> None:
        self.transport = transport
        self.line = NO_LINE
        self.deadline = 0
        self._gate = gate
        self._address = address
        self._frames = ClientFrames()
        self._gallery: Gallery | None = None
        self._subscriber: Subscriber | None = None
        self._closing = False
        self._unanswered = self._discarded = self._late = 0

    def begin(self, ask: Ask | None, gallery: Gallery | None) -> None:
        """Take the seat and send what is owed, or close with the reason why not."""
        limits = self._gate.limits
        self._gate.wheel.put(self, self._gate.first_ping())
        self.line = _narrow(self.transport, limits.write_high_octets, limits.send_buffer_octets)
        if ask is None:
            self.close(CloseCode.BAD_REQUEST)
        elif gallery is None:
            self.close(CloseCode.UNKNOWN_AUDIENCE)
        elif not self._gate.seat(self._address):
            self.close(CloseCode.FULL)
        else:
            gallery.viewers += 1
            self._gallery = gallery
            self._take_place(admit(ask, gallery.history, limits.replay), gallery)

    def _take_place(self, place: Subscriber | CloseCode, gallery: Gallery) -> None:
        if isinstance(place, CloseCode):
            self._gate.tally.history_first += 1
            self.close(place)
            return
        self._subscriber = place
        if place.standing(gallery.history) is Standing.AHEAD:
            gallery.ahead.add(self)
        else:
            self._replay(place, gallery)

    def _replay(self, subscriber: Subscriber, gallery: Gallery) -> None:
        while self not in gallery.full:
            frames = subscriber.take(gallery.history, REPLAY_BATCH, LARGE_OCTETS)
            if not frames:
                self._subscriber = None
                gallery.place(self)
                return
            self.transport.write(b"".join(map(encode_binary, frames)))

    def fall_behind(self, held: Position) -> None:
        """Go on from the history, after what was written last, when the socket has taken that."""
        self._subscriber = Subscriber(held)

    def wants(self, frame: Published) -> bool:
        """Whether a viewer that is ahead lacks this frame; it is live from then on."""
        if self._subscriber is not None and not self._subscriber.wants(frame.dive, frame.seq):
            return False
        self._subscriber = None
        return True

    def write_live(self, data: bytes | memoryview) -> None:
        """Write through the transport, and count anew how this viewer is to be written to."""
        self.transport.write(data)
        if self._gallery is not None:
            self._gallery.place(self)

    def drop(self) -> None:
        """Close the socket of a viewer that takes less than it is sent."""
        self._gate.tally.too_slow += 1
        self.close(CloseCode.TOO_SLOW)

    def drop_if_late(self, octets: int) -> None:
        """Drop a secured peer whose kernel buffer is full, if a frame of so many bytes is more than may wait for it."""
        limits = self._gate.limits
        self._late = self._late + octets if _unacknowledged(self.transport) >= limits.send_buffer_octets else 0
        if self._late > limits.write_high_octets:
            self.drop()

    def _write(self, data: bytes) -> None:
        """Write something of the protocol's own between frames."""
        if self._gallery is not None and self._gallery.is_live(self):
            self.write_live(data)
        else:
            self.transport.write(data)

    def pause_writing(self) -> None:
        """The peer takes less than it is sent."""
        if self._gallery is not None:
            self._gallery.full.add(self)

    def resume_writing(self) -> None:
        """The peer took what was waiting; go on with what it is owed."""
        gallery, subscriber = self._gallery, self._subscriber
        if gallery is None:
            return
        gallery.full.discard(self)
        if subscriber is not None and self not in gallery.ahead:
            self._replay(subscriber, gallery)

    def data_received(self, data: bytes) -> None:
        """Read what the peer says; after our close, only its own close still counts."""
        if self._closing:
            self._discarded += len(data)
            if self._discarded > self._gate.limits.discarded:
                self.abort()
                return
        for said in self._frames.receive(data):
            self._hear(said)

    def _hear(self, said: Said) -> None:
        if isinstance(said, Closing):
            self._closed_by_peer(said.code)
        elif self._closing:
            return
        elif isinstance(said, Fault):
            self._gate.tally.faults += 1
            self.close(said.code)
            self._half_close()
        elif isinstance(said, Unwelcome):
            self._gate.tally.unwelcome += 1
            self.close(CloseCode.NOT_EXPECTED)
        elif isinstance(said, Ping):
            self._answer(said)
        elif isinstance(said, Pong):
            self._unanswered = 0

    def _answer(self, ping: Ping) -> None:
        # A peer that pings and does not read gets no answer: pongs never fill its buffer (section 5.5.3).
        if self._gallery is None or self not in self._gallery.full:
            self._write(encode_pong(ping.payload))

    def _closed_by_peer(self, code: int | None) -> None:
        self.close(code)
        if not self.transport.can_write_eof():  # TLS: closing says so to the peer by itself
            self.transport.close()
        self._half_close()

    def close(self, code: int | None) -> None:
        """Close the socket with `code`: no frame follows, and the peer has `close_s` to take it and go."""
        if self._closing:
            return
        self._closing = True
        self._rise()
        self.transport.write(encode_close(code))
        self._gate.wheel.put(self, self._gate.limits.turns(self._gate.limits.close_s))

    def _rise(self) -> None:
        if self._gallery is not None:
            self._gallery.forget(self)
            self._gate.unseat(self._address)
            self._gallery = self._subscriber = None

    def _half_close(self) -> None:
        # Closing at once, with bytes of the peer still to come, would make the kernel reset the connection, and the
        # peer might lose our close frame: so its end of stream is waited for (section 7.1.1), and no close any more.
        if self.transport.can_write_eof() and not self.transport.is_closing():
            self.transport.write_eof()

    def due(self) -> None:
        """Ping; end a peer that answered none of the last pings, or did not close in time."""
        if self._closing:
            if self in self._gate.attendance:
                throw_away(self.transport)
            self.abort()
        elif self._unanswered >= self._gate.most_unanswered:
            self._gate.tally.silent += 1
            self.abort()
        else:
            self._unanswered += 1
            self._frames.renew()
            self._gate.wheel.put(self, self._gate.ping_turns)
            if self._gallery is None or self not in self._gallery.full:
                self._write(PING)

    def uninvited(self) -> None:
        """Close the socket of a guest whose invitation has ended; who hasn't gone within a second is cut off."""
        self.close(CloseCode.UNINVITED)
        self._gate.wheel.put(self, self._gate.limits.turns(min(UNINVITED_S, self._gate.limits.close_s)))

    def leave(self) -> None:
        """Tell the peer that the site is going away."""
        self.close(CloseCode.GOING_AWAY)

    def abort(self) -> None:
        """Cut the connection; the loop calls `connection_lost` next."""
        self._rise()
        self.transport.abort()

    def connection_lost(self, exc: Exception | None) -> None:
        """Give back the seat."""
        self._rise()
        self._gate.attendance.depart(self)
        self._gate.wheel.remove(self)
        self._gate.leave(self._address)


def _alone(viewer: Viewer, act: Callable[..., None], *given: object) -> None:
    """Do something with a viewer: a fault of its connection ends that, and nobody else lacks the frame for it (R5)."""
    try:
        act(viewer, *given)
    except Exception as fault:  # what is wrong with the frame itself is raised before anybody is written to
        log.error("a follower's connection has failed (%s)", type(fault).__name__)
        viewer.abort()


def _narrow(transport: asyncio.Transport, high_octets: int, send_octets: int) -> int:
    """Bound what waits for a peer; return the number of the socket where bytes may be written past the transport."""
    # Kernel buffers hide a stall: a peer that stopped reading would be sent stale frames for minutes.
    transport.set_write_buffer_limits(high=high_octets)
    raw = cast("socket.socket | None", transport.get_extra_info("socket"))
    if raw is None:
        return NO_LINE
    raw.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, send_octets)
    return NO_LINE if transport.get_extra_info("sslcontext") is not None else raw.fileno()


def _unacknowledged(transport: asyncio.Transport) -> int:
    """Return how many bytes of a socket its peer has not acknowledged (tcp(7), SIOCOUTQ)."""
    raw = cast("socket.socket | None", transport.get_extra_info("socket"))
    if raw is None or raw.fileno() < 0:  # lost: TLS lets go of it a pass of the loop before it says so
        return 0
    return int.from_bytes(ioctl(raw.fileno(), TIOCOUTQ, bytes(4)), sys.byteorder)
