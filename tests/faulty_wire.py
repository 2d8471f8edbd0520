"""A relay of TCP bytes that fails on purpose: what a bad network, a box in between or a stranger does to a connection.

A fault is armed, and strikes at an octet of a direction, of the connection under way or of the next ones. `way` is UP
from who dialled, DOWN to who dialled. By the kernel's sockets alone (tcp(7)): SO_LINGER 0 closes with a reset.
"""

import asyncio
import random
import socket
import struct
from collections.abc import Awaitable, Callable, Coroutine
from contextlib import suppress
from dataclasses import dataclass, field
from enum import Enum
from functools import partial
from typing import Any

READ_OCTETS = 16_384
UP, DOWN = 0, 1
Answers = Callable[[socket.socket, random.Random], Awaitable[None]]


class Kind(Enum):
    """What goes wrong. `size` of a fault: octets, or milliseconds of a stall, or how many strangers come."""

    CUT = "cut"  # closed both ways, in the middle of whatever passes
    RESET = "reset"
    STALL = "stalled"  # nothing passes for a while, then all of it
    DELAY = "delayed"  # what passes comes late, piece by piece
    HALF_OPEN = "half-open"  # nothing passes any more, and nobody is told
    CRUMBS = "byte by byte"
    TRUNCATE = "truncated"  # one direction ends in the middle, the other goes on
    FLIP = "a bit flipped"
    REPEAT = "repeated"
    FLOOD = "flooded"  # noise in the middle of what passes
    IMPOSTOR = "another server"
    STRANGERS = "strangers"


ENDING = {Kind.CUT, Kind.RESET, Kind.TRUNCATE}
ALTERING = {Kind.FLIP, Kind.REPEAT, Kind.FLOOD}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: it strikes once `after` octets more have passed in a direction."""

    kind: Kind
    way: int = DOWN
    after: int = 0
    size: int = 1


@dataclass(eq=False)
class Line:
    """One connection over the wire: the dialler's socket and the target's."""

    near: socket.socket
    far: socket.socket
    passed: list[int] = field(default_factory=lambda: [0, 0])
    struck_at: int = 0  # how many octets had passed in that direction when the last fault struck
    delivered: bytearray = field(default_factory=bytearray)
    silent: bool = False
    reset: bool = False
    whole: bool = True  # all that was delivered was ended in order, so that whoever reads gets it
    ended: list[bool] = field(default_factory=lambda: [False, False])
    pumps: list["asyncio.Task[None]"] = field(default_factory=list)
    flow: asyncio.Event = field(default_factory=asyncio.Event)
    over: asyncio.Event = field(default_factory=asyncio.Event)

    def __post_init__(self) -> None:
        self.flow.set()

    def ends(self, way: int) -> tuple[socket.socket, socket.socket]:
        """Return where a direction comes from and where it goes."""
        return (self.near, self.far) if way == UP else (self.far, self.near)


class Wire:
    """Listens on the loopback and passes on to `target`. `arm` a fault; `struck` is done once it has struck.

    `keep`: the direction of which everything that was delivered is kept, by connection, in `lines`; `written`: what
    came the other way there. `answers`: what answers instead of the target, chosen by chance. `tells`: which end of a
    half-open connection hears of it after a moment, as a station would whose own network has gone; UP's is the dialler.
    """

    def __init__(
        self,
        target: tuple[str, int],
        chance: random.Random,
        keep: int | None = None,
        answers: tuple[Answers, ...] = (),
        tells: int | None = None,
    ) -> None:
        self._target, self._chance, self._keep, self._answers = target, chance, keep, answers
        self._tells = tells
        self._fault: Fault | None = None
        self._left = 0
        self._impostor = False
        self._listener: socket.socket | None = None
        self._jobs: set[asyncio.Task[None]] = set()
        self.current: Line | None = None
        self.struck: asyncio.Future[Line | None] | None = None
        self.lines: list[Line] = []
        self.silent: set[Line] = set()
        self.written = bytearray()
        self.altered = 0
        self.dialled = 0
        self.port = 0

    async def start(self) -> int:
        """Listen; return the port."""
        self._listener = socket.create_server(("127.0.0.1", 0), backlog=64)
        self._listener.setblocking(False)
        self.port = self._listener.getsockname()[1]
        self._spawn(self._accept(self._listener))
        return self.port

    def _spawn(self, job: Coroutine[Any, Any, None]) -> None:
        task = asyncio.ensure_future(job)
        self._jobs.add(task)
        task.add_done_callback(self._jobs.discard)

    def arm(self, fault: Fault) -> "asyncio.Future[Line | None]":
        """Let a fault strike when its moment comes; return what is done then."""
        assert self._fault is None
        self._fault, self._left = fault, fault.after
        self.struck = asyncio.get_running_loop().create_future()
        if fault.kind is Kind.IMPOSTOR:
            self._impostor = True
            self.renew()
        elif fault.kind is Kind.STRANGERS:
            self._spawn(self._strangers(fault))
        return self.struck

    def renew(self) -> None:
        """Break off what is under way, so that whoever dialled dials again."""
        if self.current is not None:
            self._end(self.current, reset=True)

    def disarm(self) -> None:
        """Let nothing strike any more."""
        self._fault, self._impostor = None, False

    def _strikes(self, line: Line | None) -> Fault:
        fault, struck = self._fault, self.struck
        assert fault is not None and struck is not None
        self._fault = None
        self.altered += fault.kind in ALTERING
        if not struck.done():
            struck.set_result(line)
        return fault

    async def _accept(self, listener: socket.socket) -> None:
        loop = asyncio.get_running_loop()
        while True:
            near, _ = await loop.sock_accept(listener)
            self.dialled += 1
            near.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            if self._impostor:
                self._impostor = False
                self._spawn(self._answer(near))
                self._strikes(None)
            else:
                self._spawn(self._join(near))

    async def _answer(self, near: socket.socket) -> None:
        with suppress(OSError, asyncio.TimeoutError, asyncio.IncompleteReadError, EOFError):
            await self._chance.choice(self._answers)(near, self._chance)
        near.close()

    async def _join(self, near: socket.socket) -> None:
        far = socket.socket()
        far.setblocking(False)
        try:
            far.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            await self.reach(far)
        except OSError:
            far.close()
            _reset(near)
            return
        self.current = line = Line(near, far)
        if self._impostor:  # it came while another was awaited: who dialled has to dial again
            self.renew()
        if self._keep is not None:
            self.lines.append(line)
        line.pumps = pumps = [asyncio.ensure_future(self._pump(line, way)) for way in (UP, DOWN)]
        try:
            await line.over.wait()
        finally:
            for pump in pumps:
                pump.cancel()
            await asyncio.gather(*pumps, return_exceptions=True)
            self.silent.discard(line)
            for end in (near, far):
                _reset(end) if line.reset else end.close()

    async def reach(self, far: socket.socket) -> None:
        """Connect to the target."""
        await asyncio.get_running_loop().sock_connect(far, self._target)

    async def _pump(self, line: Line, way: int) -> None:
        """Pass one direction on until it ends."""
        source, sink = line.ends(way)
        loop = asyncio.get_running_loop()
        try:
            while data := await loop.sock_recv(source, READ_OCTETS):
                if not line.silent:
                    await line.flow.wait()
                    await self._pass(line, way, data)
        except OSError:
            line.reset, line.whole = True, False
        line.ended[way] = True
        if self._keep not in (None, way) and not line.ended[1 - way]:
            line.whole = False  # who reads has gone before all was said
        if line.reset or line.silent:  # who broke off is gone both ways; of a silent line the other isn't told
            line.ended = [True, True] if not line.silent else line.ended
        else:
            with suppress(OSError):
                sink.shutdown(socket.SHUT_WR)
        if all(line.ended):
            line.over.set()

    async def _pass(self, line: Line, way: int, data: bytes) -> None:
        fault = self._fault
        if fault is None or fault.way != way or fault.kind in (Kind.IMPOSTOR, Kind.STRANGERS):
            await self._deliver(line, way, data)
        elif self._left >= len(data):
            self._left -= len(data)
            await self._deliver(line, way, data)
        else:
            before, rest = data[: self._left], data[self._left :]
            await self._deliver(line, way, before)
            line.struck_at = line.passed[way]
            await _STRIKES[fault.kind](self, self._strikes(line), line, way, rest)

    async def _deliver(self, line: Line, way: int, data: bytes) -> None:
        if not data or line.silent:
            return
        line.passed[way] += len(data)
        if way == self._keep:
            line.delivered += data
        elif self._keep is not None:
            self.written += data
        await asyncio.get_running_loop().sock_sendall(line.ends(way)[1], data)

    def _end(self, line: Line, *, reset: bool) -> None:
        line.reset, line.whole = reset, line.whole and not reset
        line.over.set()

    async def _cut(self, _fault: Fault, line: Line, way: int, rest: bytes) -> None:
        for end in (line.near, line.far):
            with suppress(OSError):
                end.shutdown(socket.SHUT_WR)
        self._end(line, reset=False)

    async def _reset(self, _fault: Fault, line: Line, way: int, rest: bytes) -> None:
        self._end(line, reset=True)

    async def _stall(self, fault: Fault, line: Line, way: int, rest: bytes) -> None:
        line.flow.clear()
        asyncio.get_running_loop().call_later(fault.size / 1000, line.flow.set)
        await line.flow.wait()
        await self._deliver(line, way, rest)

    async def _delay(self, fault: Fault, line: Line, way: int, rest: bytes) -> None:
        """Cut what is here into a few pieces, each a little later."""
        step = max(1, len(rest) // 8)
        for at in range(0, len(rest), step):
            await passed(self._chance.uniform(0, 0.02))
            await self._deliver(line, way, rest[at : at + step])

    async def _half_open(self, _fault: Fault, line: Line, way: int, rest: bytes) -> None:
        line.silent, line.whole = True, False
        self.silent.add(line)
        if self._tells is not None:
            self._spawn(self._tell(line, self._tells))

    async def _tell(self, line: Line, way: int) -> None:
        """Let one end of a half-open connection know that it is gone."""
        await passed(self._chance.uniform(0.1, 0.5))
        line.pumps[way].cancel()
        await asyncio.wait({line.pumps[way]})
        _reset(line.ends(way)[0])
        line.ended[way] = True
        if all(line.ended):
            line.over.set()

    async def _crumbs(self, fault: Fault, line: Line, way: int, rest: bytes) -> None:
        for at in range(min(fault.size, len(rest))):
            await self._deliver(line, way, rest[at : at + 1])
            await asyncio.sleep(0)
        await self._deliver(line, way, rest[fault.size :])

    async def _truncate(self, _fault: Fault, line: Line, way: int, rest: bytes) -> None:
        """End this direction here; the other goes on for a while, if whoever speaks there does."""
        with suppress(OSError):
            line.ends(way)[1].shutdown(socket.SHUT_WR)
        asyncio.get_running_loop().call_later(self._chance.uniform(0.0, 0.4), partial(self._end, line, reset=False))
        await asyncio.Event().wait()

    async def _flip(self, _fault: Fault, line: Line, way: int, rest: bytes) -> None:
        bit = 1 << self._chance.randrange(8)
        await self._deliver(line, way, bytes([rest[0] ^ bit]) + rest[1:])

    async def _repeat(self, _fault: Fault, line: Line, way: int, rest: bytes) -> None:
        await self._deliver(line, way, rest + rest)

    async def _flood(self, fault: Fault, line: Line, way: int, rest: bytes) -> None:
        for _ in range(0, fault.size, READ_OCTETS):
            await self._deliver(line, way, self._chance.randbytes(min(fault.size, READ_OCTETS)))
        await self._deliver(line, way, rest)

    async def _strangers(self, fault: Fault) -> None:
        """Come to the target in numbers, from other addresses, with noise or nothing; go at once or after a while."""
        loop = asyncio.get_running_loop()
        lines = []
        for number in range(fault.size):
            line = socket.socket()
            line.setblocking(False)
            lines.append(line)
            with suppress(OSError):
                line.bind((f"127.0.9.{number % 200 + 1}", 0))
                await loop.sock_connect(line, self._target)
                line.send(self._chance.randbytes(self._chance.choice((0, 1, 5, 600))) or b"")
        self._strikes(None)
        await passed(self._chance.uniform(0.0, 0.2))
        for line in lines:
            self._chance.choice((_reset, socket.socket.close))(line)

    async def close(self) -> None:
        """End it all."""
        for job in list(self._jobs):
            job.cancel()
        await asyncio.gather(*self._jobs, return_exceptions=True)
        if self._listener is not None:
            self._listener.close()


async def passed(seconds: float) -> None:
    """Let real time pass: a slow wire is slow."""
    passed = asyncio.Event()
    asyncio.get_running_loop().call_later(seconds, passed.set)
    await passed.wait()


def _reset(end: socket.socket) -> None:
    with suppress(OSError):
        end.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    end.close()


_STRIKES: dict[Kind, Callable[[Wire, Fault, Line, int, bytes], Awaitable[None]]] = {
    Kind.CUT: Wire._cut,
    Kind.RESET: Wire._reset,
    Kind.STALL: Wire._stall,
    Kind.DELAY: Wire._delay,
    Kind.HALF_OPEN: Wire._half_open,
    Kind.CRUMBS: Wire._crumbs,
    Kind.TRUNCATE: Wire._truncate,
    Kind.FLIP: Wire._flip,
    Kind.REPEAT: Wire._repeat,
    Kind.FLOOD: Wire._flood,
}
