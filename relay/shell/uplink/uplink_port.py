"""The shore's end of the link: one ship, proved by her key, may say what was released; nobody else may say anything.

Rules: an unproved peer gets a challenge and nothing else, within a deadline, with few octets to send; of such peers
there are few at once, from one address fewer, and who has come the least far goes first, so that many who say nothing
keep no ship off. Of proved connections the newest counts: a
ship that comes again has lost the one before. What was taken is acknowledged when it is durable, never before (R5).
Nothing that a peer sent is logged.
"""

import asyncio
import contextlib
import logging
import os
import secrets
import socket
import traceback
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from time import monotonic
from typing import Protocol

from relay.core.errors import LinkError, NoRoomError, OffingError, OperatorError
from relay.core.seal import is_signed
from relay.core.uplink_talk import (
    NONCE_OCTETS,
    WORD,
    Ack,
    Ends,
    Frames,
    Guests,
    Held,
    Listed,
    Message,
    Unpacking,
    proof_of,
    read_proof,
    write_ack,
    write_challenge,
    write_standing,
)
from relay.shell.site.gate import address_of, network_of
from relay.shell.uplink.uplink_socket import ShoreSocket
from relay.shell.uplink.uplink_tls import certificate_of, shore_tls

log = logging.getLogger("offing.uplink")
COMPLAIN_S = 60.0


class Receives(Protocol):
    """Where what a ship says goes ashore."""

    @property
    def key(self) -> bytes:
        """The public key of the one ship that may speak here (32 bytes)."""
        ...

    def held(self) -> dict[str, Held]:
        """Return what is held, durable and without a gap, of each audience taken here, in a fixed order.

        Of an audience with a damaged dive: what comes before that dive. Frames that are held beyond it come again.
        """
        ...

    async def take(self, audience: str, frames: list[bytes]) -> None:
        """Verify frames, make them durable, publish them; only then return.

        Never called twice at once, nor cancelled. NoRoomError when the disk is full, another OffingError when a frame
        is refused: nothing after it is taken, and the link ends.
        """
        ...

    def guests(self, listing: bytes) -> None:
        """Take the newest list of guests; an OffingError ends the link."""
        ...

    def listed(self) -> Listed:
        """Return which list of guests is held."""
        ...

    def seen(self) -> dict[str, int]:
        """Return how many follow each audience now."""
        ...


@dataclass(frozen=True, slots=True)
class PortLimits:
    """What a stranger may cost, and for how long a ship may be silent (she speaks every ten seconds)."""

    unproved: int = 512
    unproved_of_address: int = 4
    unproved_octets: int = 8_192
    first_s: float = 4.0  # a ship's first octets follow at once; lost twice, they still come within this
    prove_s: float = 15.0
    silent_s: float = 120.0
    farewell_s: float = 2.0


@dataclass(slots=True)
class PortFacts:
    """How the link stands, as the shore sees it."""

    linked: bool = False
    links: int = 0
    strangers: int = 0
    octets: int = 0
    ended: str = ""


@dataclass(slots=True)
class _Stranger:
    """Who hasn't proved itself yet, by its address and its network; `come`: said something, secured, challenged."""

    address: str
    network: str
    come: int = 0


class UplinkPort:
    """Listens for the ship. `start`, `close`; `facts` at any time."""

    def __init__(self, shore: Receives, certificate: Path, key: Path, limits: PortLimits | None = None) -> None:
        self._shore, self._limits = shore, limits or PortLimits()
        self._tls, self._certificate = shore_tls(certificate, key), certificate_of(certificate)
        self._unproved: dict[asyncio.Task[None], _Stranger] = {}
        self._sessions: set[asyncio.Task[None]] = set()
        self._turn = asyncio.Lock()
        self._current: _Session | None = None
        self._listener: socket.socket | None = None
        self._accepting: asyncio.Task[None] | None = None
        self._complained_s = -COMPLAIN_S
        self.facts = PortFacts()

    async def start(self, host: str, port: int = 0) -> None:
        """Listen; OperatorError if that address can't be had."""
        try:
            family, *_, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE)[0]
            self._listener = socket.create_server(address[:2], family=family, backlog=128)
        except OSError as error:
            number = error.errno or 0  # of a name that isn't known it is below 0
            why = os.strerror(number) if number > 0 else error.strerror
            raise OperatorError(
                f"the ship can't dial in at {host}:{port} ({why}): stop what listens there, or choose another address "
                "or port: [uplink] listen"
            ) from error
        self._listener.setblocking(False)
        self._accepting = asyncio.ensure_future(self._accept(self._listener))

    @property
    def address(self) -> tuple[str, int]:
        """Host and port where it listens."""
        assert self._listener is not None
        host, port, *_ = self._listener.getsockname()
        return host, port

    @property
    def jobs(self) -> list["asyncio.Future[None]"]:
        """What runs from `start` to `close`."""
        return [] if self._accepting is None else [self._accepting]

    async def close(self) -> None:
        """Stop listening and end the link; what was taken is taken to its end first."""
        if self._accepting is not None:
            await _over(self._accepting)
        if self._listener is not None:
            self._listener.close()
        for task in list(self._unproved):
            await _over(task)
        if self._current is not None:
            await self._current.leave(Ends.AWAY)
        if self._sessions:
            await asyncio.wait(self._sessions, timeout=self._limits.farewell_s)
        async with self._turn:  # nothing is being taken
            for task in list(self._sessions):
                await _over(task)

    async def _accept(self, listener: socket.socket) -> None:
        loop = asyncio.get_running_loop()
        while True:
            try:
                peer, address = await loop.sock_accept(listener)
            except OSError:  # out of open files, for one: it comes back
                await asyncio.sleep(0.1)
                continue
            self.meet(peer, address)

    def meet(self, peer: socket.socket, address: tuple[str, int]) -> None:
        """Shake hands with a peer, for which another may have to go."""
        stranger = _Stranger(address_of(address), network_of(address))
        self._make_room(stranger.address)
        task = asyncio.ensure_future(self._meet(peer, stranger))
        self._unproved[task] = stranger
        task.add_done_callback(lambda task: self._unproved.pop(task, None))

    def _make_room(self, address: str) -> None:
        """Let a stranger go when there are too many, or too many of one address.

        It is the oldest of those who have come the least far, from the network that has the most of them here.
        """
        its = [task for task, stranger in self._unproved.items() if stranger.address == address]
        if len(its) >= self._limits.unproved_of_address:
            self._let_go(min(its, key=lambda task: self._unproved[task].come))
        if len(self._unproved) >= self._limits.unproved:
            crowd = Counter(stranger.network for stranger in self._unproved.values())
            self._let_go(
                min(self._unproved, key=lambda task: (self._unproved[task].come, -crowd[self._unproved[task].network]))
            )

    def _let_go(self, task: asyncio.Task[None]) -> None:
        task.cancel()
        self._unproved.pop(task, None)

    async def _meet(self, peer: socket.socket, stranger: _Stranger) -> None:
        """Shake hands with whoever dialled; only who proves itself becomes a session."""
        line: ShoreSocket | None = None
        proved = False
        try:
            async with asyncio.timeout(self._limits.prove_s):
                async with asyncio.timeout(self._limits.first_s):
                    await _speaks(peer)
                stranger.come = 1
                line = await self._secured(peer)
                stranger.come = 2
                await line.open()
                stranger.come = 3
                proved = await self._proves(line)
        except (OSError, EOFError, LinkError, TimeoutError):
            pass
        finally:
            if not proved:
                self.facts.strangers += 1
                if line is not None:
                    line.abort()
                elif stranger.come == 0:
                    peer.close()
        if proved and line is not None:
            task = asyncio.ensure_future(self._serve(line))
            self._sessions.add(task)
            task.add_done_callback(self._sessions.discard)

    async def _secured(self, peer: socket.socket) -> ShoreSocket:
        reader = asyncio.StreamReader()
        protocol = asyncio.StreamReaderProtocol(reader)
        loop = asyncio.get_running_loop()
        transport, _ = await loop.connect_accepted_socket(
            lambda: protocol, peer, ssl=self._tls, ssl_handshake_timeout=self._limits.prove_s
        )
        writer = asyncio.StreamWriter(transport, protocol, reader, loop)
        return ShoreSocket(reader, writer, self._limits.unproved_octets)

    async def _proves(self, line: ShoreSocket) -> bool:
        """Challenge a peer; whether it is the ship."""
        nonce = secrets.token_bytes(NONCE_OCTETS)
        await line.send(write_challenge(nonce))
        key, signature = read_proof(await line.receive())
        if key == self._shore.key and is_signed(key, WORD, proof_of(nonce, self._certificate), signature):
            line.proved()
            return True
        self._complain()
        await line.close(Ends.UNPROVED)
        await line.gone()
        return False

    def _complain(self) -> None:
        """Say that somebody came without the key, once a while however many come."""
        now_s = monotonic()
        if now_s >= self._complained_s + COMPLAIN_S:
            self._complained_s = now_s
            log.warning(
                "a peer came to the uplink's port without the ship's key; %d so far. If it was the ship: key under "
                "[shore] must be what `offing key` prints aboard",
                self.facts.strangers + 1,
            )

    async def _serve(self, line: ShoreSocket) -> None:
        session = _Session(line, self._shore, self.facts, self._limits)
        before, self._current = self._current, session
        code: Ends | None = None
        why = "it was cut off"
        try:
            if before is not None:
                await before.leave(Ends.REPLACED)
            self.facts.linked = True
            self.facts.links += 1
            log.info("the ship has come; this shore's file names %s", " and ".join(self._shore.held()))
            code, why = await session.run(self._turn)
        finally:
            if self._current is session:
                self._current = None
                self.facts.linked, self.facts.ended = False, why
            log.log(logging.INFO if code is None else logging.ERROR, "the link to the ship has ended: %s", why)
            await session.end(code or Ends.AWAY)


class _Session:
    """What a proved ship says, until it ends."""

    def __init__(self, line: ShoreSocket, shore: Receives, facts: PortFacts, limits: PortLimits) -> None:
        self._line, self._shore, self._facts, self._limits = line, shore, facts, limits
        self._unpacking = Unpacking()
        self._octets = self._messages = 0
        self._audiences: list[str] = []
        self._left = False

    async def run(self, turn: asyncio.Lock) -> tuple[Ends | None, str]:
        """Take what comes; return why it ended, and with which code if the shore ends it."""
        try:
            async with turn:
                held, listed = self._shore.held(), self._shore.listed()
            self._audiences = list(held)
            await self._line.send(write_standing(held, listed))
            while True:
                await self._piece(turn)
        except TimeoutError:
            return Ends.SILENT, f"the ship was silent for {self._limits.silent_s:g} s"
        except (OSError, EOFError):
            return None, "this shore ended it" if self._left else "the connection was lost"
        except LinkError as error:
            return Ends.TALK, str(error)
        except NoRoomError as error:
            return Ends.NO_ROOM, str(error)
        except OffingError as error:
            return Ends.REFUSED, str(error)
        except Exception as error:
            at = traceback.extract_tb(error.__traceback__)[-1]  # its words may be the peer's: they are in no log
            return Ends.REFUSED, f"a fault of Offing's own: {type(error).__name__} in {at.name}, line {at.lineno}"

    async def _piece(self, turn: asyncio.Lock) -> None:
        async with asyncio.timeout(self._limits.silent_s):
            piece = await self._line.receive()
        self._octets += len(piece)
        self._facts.octets += len(piece)
        for message in self._unpacking.feed(piece):
            async with turn:
                if self._left:
                    raise EOFError
                await self._take(message)
            self._messages += 1
        seen = self._shore.seen()
        followers = tuple(seen.get(name, 0) for name in self._audiences)
        await self._line.send(write_ack(Ack(self._octets, self._messages, followers)))

    async def _take(self, message: Message) -> None:
        match message:
            case Frames(audience, frames):
                if audience not in self._audiences:
                    raise LinkError("frames of an audience that isn't taken here")
                await self._shore.take(audience, list(frames))
            case Guests(listing):
                self._shore.guests(listing)

    async def leave(self, code: Ends) -> None:
        """End it; what is being taken is taken to its end, and nothing after it."""
        self._left = True
        asyncio.get_running_loop().call_later(self._limits.farewell_s, self._line.abort)
        with contextlib.suppress(OSError, TimeoutError):
            async with asyncio.timeout(self._limits.farewell_s):
                await self._line.close(code)

    async def end(self, code: Ends) -> None:
        """End it once nobody reads any more: say why, wait a little until the ship has heard it, and go."""
        try:
            await self.leave(code)
            with contextlib.suppress(OSError, TimeoutError):
                async with asyncio.timeout(self._limits.farewell_s):
                    await self._line.gone()
        finally:
            self._line.abort()


async def _speaks(peer: socket.socket) -> None:
    """Return once a peer has said something; it is left unread."""
    loop = asyncio.get_running_loop()
    said: asyncio.Future[None] = loop.create_future()

    def speaks() -> None:
        if not said.done():
            said.set_result(None)

    loop.add_reader(peer, speaks)
    try:
        await said
    finally:
        loop.remove_reader(peer)


async def _over(task: asyncio.Task[None]) -> None:
    """Cancel a task, and wait until it is over."""
    task.cancel()
    await asyncio.wait({task})
