"""The line to a stream's server (NATS JetStream, by the library `nats-py`), and reading a stream in its order.

Rules: the library reconnects nothing by itself: a line that is lost ends what ran over it, and a new one is dialled
after a bounded wait, for ever, with every error of the library told here and none by it. A reading notices within
`silence_s` that its server says nothing any more, or that a message is missing. No address with a password is told.
The library, and `asyncio.wait_for` in it, may swallow a cancellation: a line looks whether it is cancelled, and what is
to end is told so until it has.
"""

import asyncio
import contextlib
import logging
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from datetime import datetime
from math import ceil

import nats
from nats.aio.client import Client
from nats.aio.msg import Msg
from nats.errors import Error
from nats.js import JetStreamContext
from nats.js.api import AckPolicy, ConsumerConfig, DeliverPolicy

from relay.shell.plan.quantities import say_server

PINGS = 2
TOLD_AGAIN_S = 1.0
UNREAD_OCTETS = 32 * 1024 * 1024
_OF_THE_STREAM = "$JS.ACK."  # whoever publishes may name any header, `Status` too; this is the server's own

log = logging.getLogger("offing.stream")


@dataclass(frozen=True, slots=True)
class Patience:
    """How long a stream's server is waited for, in seconds.

    `answer_s`: for an answer or an acknowledgement; `silence_s`: for any sign of life; `look_s`: between two looks at
    whether the stream is still whole; `first_wait_s`, `longest_wait_s`: before a line is dialled again.
    """

    answer_s: float = 5.0
    silence_s: float = 5.0
    look_s: float = 2.0
    first_wait_s: float = 0.1
    longest_wait_s: float = 2.0


PATIENT = Patience()


@dataclass(frozen=True, slots=True)
class Stream:
    """A stream: its server's address, and its name. Subjects are `NAME.AUDIENCE`."""

    url: str
    name: str
    patience: Patience = PATIENT

    def subject(self, audience: str) -> str:
        """Return where the messages of an audience are."""
        return f"{self.name}.{audience}"

    @property
    def guests(self) -> str:
        """Return where the lists of guests are: no audience's name begins like this."""
        return f"{self.name}._guests"

    @property
    def server(self) -> str:
        """The server's address without who logs in there."""
        return say_server(self.url)


class LineLost(Exception):
    """The line to the server is of no use any more; what ran over it begins again on a new one."""


LOST = (LineLost, Error, OSError, TimeoutError)


class Line:
    """A line that is kept up. `now`: seconds of a clock that only goes forward."""

    def __init__(self, stream: Stream, now: Callable[[], float]) -> None:
        self._stream, self._now = stream, now
        self.since_s: float | None = None
        self.outages = 0
        self.words = "not dialled yet"

    async def keep(self, session: Callable[[JetStreamContext, Client], Awaitable[None]]) -> None:
        """Run `session` over the line, and on a new line whenever it ends or the line is lost, until cancelled."""
        patience = self._stream.patience
        wait_s = patience.first_wait_s
        while True:
            try:
                await self._once(session)
                wait_s = patience.first_wait_s
            except LOST as error:
                held = self.since_s is not None and self._now() - self.since_s > patience.longest_wait_s
                wait_s = patience.first_wait_s if held else min(2 * wait_s, patience.longest_wait_s)
                self._tell(error)
            except Exception:
                log.exception("what runs over the stream at %s has failed: it begins again", self._stream.server)
                wait_s = patience.longest_wait_s
            self.since_s = None
            _end_if_cancelled()
            await asyncio.sleep(wait_s)

    def _tell(self, error: BaseException) -> None:
        if self.since_s is not None:
            self.outages += 1
        words = f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
        if words != self.words:
            log.warning("the stream at %s is out of reach: %s", self._stream.server, words)
        self.words = words

    async def _once(self, session: Callable[[JetStreamContext, Client], Awaitable[None]]) -> None:
        loop = asyncio.get_running_loop()
        lost: asyncio.Future[None] = loop.create_future()

        async def closed() -> None:
            if not lost.done():
                lost.set_result(None)

        client = await _dial(self._stream, closed)
        running = asyncio.ensure_future(session(client.jetstream(timeout=self._stream.patience.answer_s), client))
        self.since_s = self._now()
        try:
            _end_if_cancelled()
            await asyncio.wait([running, lost], return_when=asyncio.FIRST_COMPLETED)
            if not running.done():
                raise LineLost("the server closed the line")
            if running.cancelled():  # the library cancels what waits on a line that ends
                raise LineLost("the line ended")
            running.result()
        finally:
            try:
                await end(running)
            finally:
                await _close(client, self._stream.patience.answer_s)


async def _dial(stream: Stream, closed: Callable[[], Awaitable[None]]) -> Client:
    async def told(error: Exception) -> None:
        log.debug("the library says: %r", error)

    patience = stream.patience
    async with asyncio.timeout(2 * patience.answer_s):
        return await nats.connect(
            stream.url,
            allow_reconnect=False,
            connect_timeout=ceil(patience.answer_s),
            max_reconnect_attempts=1,
            reconnect_time_wait=1,  # an integer: the server's own lines take nothing else
            ping_interval=ceil(patience.silence_s),
            max_outstanding_pings=PINGS,
            error_cb=told,
            closed_cb=closed,
        )


async def end(running: "asyncio.Future[None]") -> None:
    """Cancel a job until it is over; what it has raised is taken note of, and not raised here."""
    while not running.done():
        running.cancel()
        await asyncio.wait({running}, timeout=TOLD_AGAIN_S)
    if not running.cancelled():
        running.exception()


def _end_if_cancelled() -> None:
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError


async def _close(client: Client, seconds: float) -> None:
    """Close a client's line; whoever is cancelled meanwhile goes on once it is closed, or would leave it open."""
    closing = asyncio.ensure_future(_closed(client, seconds))
    try:
        await asyncio.shield(closing)
    except asyncio.CancelledError:
        await asyncio.wait({closing})
        raise


async def _closed(client: Client, seconds: float) -> None:
    with contextlib.suppress(*LOST):
        async with asyncio.timeout(seconds):
            await client.close()


@dataclass(frozen=True, slots=True)
class Place:
    """Where in a stream a message is: its number there, and when the server took it (microseconds exact)."""

    number: int
    taken: datetime


@dataclass(frozen=True, slots=True)
class Message:
    """A message of a stream. `waiting`: how many the server has after it."""

    subject: str
    data: bytes
    headers: dict[str, str]
    place: Place
    waiting: int


class Reading:
    """A stream read in its order from message number `start` on; `take` is called with each, one after the other.

    `run` returns never; it raises LineLost when the server is silent, a message is missing, or `take` has raised it.
    """

    def __init__(self, stream: Stream, start: int, take: Callable[[Message], Awaitable[None]]) -> None:
        self._stream, self._start, self._take = stream, start, take
        self._number = 0
        self._heard: asyncio.Event = asyncio.Event()
        self._ended: asyncio.Future[None] = asyncio.get_running_loop().create_future()

    async def run(self, jetstream: JetStreamContext, client: Client) -> None:
        """Read until something is wrong."""
        silence_s = self._stream.patience.silence_s
        inbox = client.new_inbox()
        await client.subscribe(inbox, cb=self._receive, pending_bytes_limit=UNREAD_OCTETS)
        config = ConsumerConfig(
            deliver_subject=inbox,
            deliver_policy=DeliverPolicy.BY_START_SEQUENCE,
            opt_start_seq=self._start,
            ack_policy=AckPolicy.NONE,
            max_deliver=1,
            flow_control=True,
            idle_heartbeat=silence_s / 4,
            inactive_threshold=2 * silence_s,
            mem_storage=True,
            num_replicas=1,
        )
        await jetstream.add_consumer(self._stream.name, config)
        while not self._ended.done():
            self._heard.clear()
            try:
                async with asyncio.timeout(silence_s):
                    await self._heard.wait()
            except TimeoutError:
                raise LineLost("the server says nothing any more") from None
        self._ended.result()

    async def _receive(self, said: Msg) -> None:
        self._heard.set()
        if self._ended.done():
            return
        try:
            await self._hear(said)
        except Exception as error:
            self._ended.set_exception(error)
            self._ended.exception()  # taken note of, should nobody ask any more
            self._heard.set()

    async def _hear(self, said: Msg) -> None:
        headers = said.headers or {}
        if "Status" in headers and not said.reply.startswith(_OF_THE_STREAM):
            await self._answer(said, headers)
            return
        told = said.metadata
        self._number += 1
        if told.sequence.consumer != self._number:
            raise LineLost("a message of the stream was not delivered")
        place = Place(told.sequence.stream, told.timestamp)
        await self._take(Message(said.subject, said.data, headers, place, told.num_pending))

    async def _answer(self, said: Msg, headers: dict[str, str]) -> None:
        stalled = headers.get("Nats-Consumer-Stalled")
        if said.reply:
            await said.respond(b"")
        elif stalled:
            await said._client.publish(stalled)
        elif int(headers.get("Nats-Last-Consumer", self._number)) != self._number:
            raise LineLost("a message of the stream was not delivered")
