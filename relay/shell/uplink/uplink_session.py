"""One link while it holds: what follows what the shore has is sent, and what it acknowledges is noted.

Rules: what is under way unacknowledged is bounded by a window; everything the link carries is spent from the allowance;
a shore that leaves something unanswered is given up, and one that says more than answers is left at once. A message
that may not go any more, before its last piece has gone, ends the link: the shore takes whole ones alone, so it has
nothing of it.
"""

import asyncio
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from math import inf
from typing import Never

from websockets.exceptions import ConnectionClosed

from relay.core.errors import LinkError
from relay.core.uplink_log import Mark, ShipLog, Stands
from relay.core.uplink_pace import Allowance, Lately
from relay.core.uplink_talk import BATCH_OCTETS, PIECE_OCTETS, Ack, Frames, Guests, Keep, Message, Packing, read_ack
from relay.shell.uplink.uplink_link import Line, Link, receive

BEAT_S = 1.0
WAITING_OCTETS = 256 * 1_024
REFUSED_S = 600.0  # before an audience of which a record was refused is tried again
_PACKET = 52 + 22 + 8  # IP and TCP, a record of TLS 1.3, the socket's frame: spent until it is counted
_MAY_HEAR = 256  # of an answer to a piece
_ANSWER = 2 * 52 + 22 + 20  # an acknowledgement, and TCP's of it


class KeptAboardError(LinkError):
    """What was on its way may not go any more, and ended the link; nothing is wrong with that."""


@dataclass(frozen=True, slots=True)
class LinkLimits:
    """How a link is kept: seconds, and octets that may be under way unacknowledged."""

    greet_s: float = 20.0
    keep_s: float = 10.0
    answer_s: float = 20.0
    most_wait_s: float = 5.0
    patient_wait_s: float = 30.0
    alarm_s: float = 60.0
    window: int = 128 * 1_024


@dataclass(slots=True)
class Shore:
    """How the shore stands with one audience: what it has (None: not known yet), and why nothing is sent to it.

    `by_invitation`: who may see it; `exposed`: whether it would be shown to everybody there, so that nothing is sent.
    `lost`: a dive that it holds and the ship lost; `refused_s`: when a record was refused; `moved_s`: when it took
    something last, or had everything; `fault`: why no record is taken for the link any more.
    """

    log: ShipLog
    by_invitation: bool = False
    exposed: bool = False
    refused_s: float | None = None
    has: Mark | None = None
    stopped: Stands | None = None
    missing: bool = False
    lost: int | None = None
    fault: str | None = None
    moved_s: float = 0.0
    followers: int | None = None


@dataclass(slots=True)
class Roll:
    """The newest list of guests (number 0: none yet), and the number of the one that the shore has taken.

    `ahead`: the shore says that it holds a later one, which this ship can't go beyond: hers isn't sent.
    """

    number: int = 0
    data: bytes = b""
    has: int = 0
    ahead: bool = False
    told_s: float = 0.0


@dataclass(slots=True)
class Pace:
    """What may go, and what has gone; it outlives a link."""

    allowance: Allowance
    lately: Lately
    piece: int = PIECE_OCTETS
    window: int = 128 * 1_024


def pace_of(bits_per_s: float | None, limits: LinkLimits, now_s: float) -> Pace:
    """Return the pace for a limit: the slower, the smaller what goes at once and what may be under way."""
    if bits_per_s is None:
        return Pace(Allowance(None, 0.0, now_s), Lately(), window=limits.window)
    piece = int(min(PIECE_OCTETS, max(512, bits_per_s / 4)))
    window = int(min(limits.window, max(4 * piece, bits_per_s)))
    return Pace(Allowance(bits_per_s, 2.0 * piece, now_s), Lately(), piece, window)


class Session:
    """One link. `wake` is set when there is something new to send."""

    def __init__(
        self,
        link: Link,
        shores: dict[str, Shore],
        roll: Roll,
        pace: Pace,
        limits: LinkLimits,
        clock_s: Callable[[], float],
        may_go: Callable[[str], bool] = lambda _: True,
    ) -> None:
        """`may_go`: whether an audience's records may go now: not while it is held."""
        self._link, self._shores, self._roll, self._pace, self._limits = link, shores, roll, pace, limits
        self._clock_s, self._may_go = clock_s, may_go
        self._packing = Packing(pace.piece)
        self._going: dict[str, Mark] = {}
        self._under_way: deque[tuple[str, Mark] | int | None] = deque()
        self._listed, self._led = roll.has, False
        self._sent = self._acked = self._messages = self._done = 0
        self._window = min(BATCH_OCTETS, pace.window)  # until a record was taken: a shore may take none
        self._spent, self._counted = 0.0, 0
        self._spoke_s = clock_s()
        self._asked_s: float | None = None
        self._began_s, self._heard_s = self._spoke_s, -inf
        self._room = asyncio.Event()
        self.wake = asyncio.Event()

    async def run(self) -> LinkError:
        """Send and listen until the link ends; return why it did."""
        self.compare()
        jobs = [asyncio.ensure_future(job) for job in (self._send(), self._listen(), self._beat())]
        try:
            done, _ = await asyncio.wait(jobs, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for job in jobs:
                job.cancel()
            await asyncio.wait(jobs)
            self._count()
        return _why([job.exception() for job in done], self._link.connection)

    def is_good(self) -> bool:
        """Whether the link has served: a message was taken over it, or it has held for a while."""
        return self._done > 0 or self._clock_s() - self._began_s > self._limits.keep_s

    def is_moving(self) -> bool:
        """Whether a long message is on its way: the link has held for a while, and its octets are acknowledged."""
        now_s = self._clock_s()
        return now_s - self._began_s > self._limits.keep_s and now_s - self._heard_s < self._limits.answer_s / 2

    def compare(self) -> None:
        """Lay what the shore holds beside what was released here; again, when that has grown."""
        for name, shore in self._shores.items():
            if name in self._going:
                continue
            if name not in self._link.held:
                shore.missing, shore.stopped, shore.has = True, None, None
                continue
            held = self._link.held[name]
            shore.exposed = held.open and shore.by_invitation
            if shore.exposed or self._is_refused(shore):
                continue
            found = shore.log.find(held)
            shore.missing, shore.lost = False, held.dive if shore.log.lacks(held.dive) else None
            if isinstance(found, Stands):
                shore.stopped, shore.has = found, None
            else:
                shore.stopped, shore.has = None, found
                self._going[name] = found

    def _is_refused(self, shore: Shore) -> bool:
        if shore.refused_s is not None and self._clock_s() - shore.refused_s >= REFUSED_S:
            shore.refused_s = None
        return shore.refused_s is not None

    def refused(self) -> None:
        """Leave out, for a while, the audience of which the shore refused a record: the others go on."""
        blamed = self._under_way[0] if self._under_way else None
        if isinstance(blamed, tuple):
            self._shores[blamed[0]].refused_s = self._clock_s()

    async def _send(self) -> Never:
        while True:
            self.wake.clear()
            message = self._next()
            if message is not None:
                await self._put(message)
                continue
            try:
                async with asyncio.timeout(max(0.0, self._spoke_s + self._limits.keep_s - self._clock_s())):
                    await self.wake.wait()
            except TimeoutError:
                self._under_way.append(None)
                await self._put(Keep())

    def _next(self) -> Message | None:
        """Return what is to be sent next: first of the first audience, then who may come, then all that is left.

        Of the others little at a time: a message can't be interrupted, and what is released to the first is waiting.
        """
        if any(shore.stopped is Stands.MORE or shore.refused_s is not None for shore in self._shores.values()):
            self.compare()
        first = next(iter(self._shores), "")
        if not self._led:
            self._led = True
            if (frames := self._frames(first, BATCH_OCTETS)) is not None:
                return frames
        if self._roll.number > self._listed and not self._roll.ahead:
            self._listed = self._roll.number
            self._under_way.append(self._listed)
            return Guests(self._roll.data)
        for name in self._shores:
            if (frames := self._frames(name, BATCH_OCTETS if name == first else self._pace.piece)) is not None:
                return frames
        return None

    def _frames(self, name: str, octets: int) -> Frames | None:
        """Return what follows of an audience, None if nothing does."""
        if name not in self._going or not self._may_go(name):
            return None
        frames, after = self._shores[name].log.after(self._going[name], octets)
        if not frames:
            return None
        self._going[name] = after
        self._under_way.append((name, after))
        return Frames(name, tuple(frames))

    async def _put(self, message: Message) -> None:
        self._messages += 1
        for piece in self._packing.pack(message):
            while self._sent - self._acked >= self._window:
                self._room.clear()
                await self._room.wait()
            await self._paced()
            if isinstance(message, Frames) and not self._may_go(message.audience):
                raise KeptAboardError(f"{message.audience} may not go ashore now: what was on its way is kept aboard")
            self._sent += len(piece)
            self._spend(len(piece) + _PACKET)
            self._spoke_s = self._clock_s()
            if self._asked_s is None:
                self._asked_s = self._spoke_s
            self._link.connection.may_hear += _MAY_HEAR
            await self._link.connection.send(piece)

    async def _paced(self) -> None:
        """Wait until something may go."""
        wait_s = self._pace.allowance.wait_s(self._clock_s())
        while wait_s > 0:
            await asyncio.sleep(wait_s)
            wait_s = self._pace.allowance.wait_s(self._clock_s())

    async def _listen(self) -> Never:
        audiences = list(self._link.held)
        while True:
            ack = read_ack(await receive(self._link.connection), len(audiences))
            self._spend(_ANSWER)
            self._acknowledged(ack)
            for name, count in zip(audiences, ack.followers, strict=True):
                if name in self._shores:
                    self._shores[name].followers = count

    def _acknowledged(self, ack: Ack) -> None:
        if not (self._acked <= ack.octets <= self._sent and self._done <= ack.messages <= self._messages):
            raise LinkError("the shore acknowledged what it wasn't sent")
        if (ack.octets, ack.messages) == (self._acked, self._done):
            self._link.connection.leave()
            return
        for _ in range(ack.messages - self._done):
            taken = self._under_way.popleft()
            if isinstance(taken, int):
                self._roll.has = taken
            elif taken is not None:
                self._shores[taken[0]].has = taken[1]
                self._shores[taken[0]].moved_s = self._clock_s()
                self._window = self._pace.window
        if ack.octets - self._acked >= min(self._sent - self._acked, 512):
            self._heard_s = self._clock_s()
        self._acked, self._done = ack.octets, ack.messages
        self._asked_s = self._clock_s() if self._acked < self._sent else None
        self._room.set()

    async def _beat(self) -> Never:
        """Count what the link carries, and give it up when nothing is answered."""
        while True:
            self._count()
            if self._asked_s is not None and self._clock_s() - self._asked_s > self._limits.answer_s:
                raise LinkError(f"the link is dead: nothing was answered for {self._limits.answer_s:g} s")
            if self._link.connection.transport.get_write_buffer_size() > WAITING_OCTETS:
                raise LinkError("the link takes nothing")
            await asyncio.sleep(min(BEAT_S, self._limits.answer_s / 4))

    def _spend(self, octets: float) -> None:
        self._spent += octets
        self._pace.allowance.spend(octets, self._clock_s())

    def _count(self) -> None:
        """Lay what was spent beside what the kernel says was carried: the rest is spent now."""
        carried = self._link.carried()
        counted = int(self._spent) if carried is None else carried
        if counted > self._counted:
            self._pace.lately.note(counted - self._counted, self._clock_s())
            self._counted = counted
        if counted > self._spent:
            self._spend(counted - self._spent)


def _why(errors: list[BaseException | None], connection: Line) -> LinkError:
    """Return why a link ended, of what its jobs ended with; what is no such reason is a fault of ours, and raised."""
    for error in errors:
        if error is not None and not isinstance(error, LinkError | ConnectionClosed):
            raise error
    for error in errors:
        if isinstance(error, LinkError):
            return error
    return next(connection.why(error) for error in errors if isinstance(error, ConnectionClosed))
