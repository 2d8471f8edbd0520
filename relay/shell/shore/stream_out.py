"""The release log of a relay, published to a stream: whatever of the log on its disk the stream lacks.

Rules (R5): the disk of this relay is the source of truth, the stream only carries it. At the begin of every line the
whole stream is read and compared byte by byte, and what is missing is published, in the log's order; so a stream that
was lost, cut off or restored is whole again without anybody's help. A frame counts as published once the server has
acknowledged it; nothing waits in a queue of its own: the log is where it is read from. The server refuses a message
that it was given twice (`Nats-Msg-Id`); where it forgot that, readers do.
"""

import asyncio
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256

from nats.aio.client import Client
from nats.js import JetStreamContext
from nats.js.api import PubAck, RetentionPolicy, StorageType, StreamConfig, StreamInfo
from nats.js.errors import NotFoundError

from relay.core.errors import RecordingError
from relay.core.history import NOTHING, History, Position
from relay.core.release import NO_DIVE
from relay.core.stream_order import message_id, say_position
from relay.core.wire import decode
from relay.shell.shore.stream_line import Line, LineLost, Message, Reading, Stream

BATCH, BATCH_OCTETS = 128, 256 * 1024
DOUBLES_S = 120.0
FOLLOWS = "Offing-Follows"
ID = "Nats-Msg-Id"


class StreamOut:
    """Publishes the histories of a relay, by audience; `told` says that one of them has grown."""

    def __init__(self, stream: Stream, histories: Mapping[str, History]) -> None:
        self._stream, self._histories = stream, histories
        self.line = Line(stream, lambda: asyncio.get_running_loop().time())
        self._grown = asyncio.Event()
        self._there: dict[str, set[Position]] = {}
        self._reached: dict[str, Position] = {}
        self._programmes: dict[str, int] = {}
        self._listing: bytes | None = None
        self._listed: bytes | None = None
        self._last = 0
        self.published = 0

    def told(self, audience: str, frames: Sequence[bytes]) -> None:
        """Take note that frames were kept; they are read from the history."""
        self._grown.set()

    def guests(self, listing: bytes) -> None:
        """Let readers have the newest list of guests, which the ship has signed."""
        self._listing = listing
        self._grown.set()

    async def run(self) -> None:
        """Publish, on one line after the other. For ever."""
        await self.line.keep(self._session)

    @property
    def owed(self) -> int:
        """How many records the stream hasn't acknowledged yet."""
        return sum(history.owed(self._reached.get(name, NOTHING)).frames for name, history in self._histories.items())

    async def _session(self, jetstream: JetStreamContext, client: Client) -> None:
        info = await self._stream_there(jetstream)
        self._reached, self._programmes, self._listed = {}, {}, None
        self._there = await self._read(jetstream, client, info.state.messages)
        self._last = info.state.last_seq
        while True:
            self._grown.clear()
            await self._publish_listing(jetstream)
            for audience, history in self._histories.items():
                await self._publish(jetstream, audience, history)
            self._there = {}
            try:
                async with asyncio.timeout(self._stream.patience.look_s):
                    await self._grown.wait()
            except TimeoutError:
                await self._look(jetstream, info)

    async def _stream_there(self, jetstream: JetStreamContext) -> StreamInfo:
        try:
            return await jetstream.stream_info(self._stream.name)
        except NotFoundError:
            config = StreamConfig(
                name=self._stream.name,
                subjects=[self._stream.subject("*")],
                retention=RetentionPolicy.LIMITS,
                storage=StorageType.FILE,
                duplicate_window=DOUBLES_S,
                max_age=0,
                deny_delete=True,
                deny_purge=True,
            )
            return await jetstream.add_stream(config)

    async def _look(self, jetstream: JetStreamContext, before: StreamInfo) -> None:
        """Raise LineLost where the stream isn't the one that was published to, or has lost something."""
        now = await jetstream.stream_info(self._stream.name)
        if now.created != before.created or now.state.last_seq < self._last or _gone(now) > _gone(before):
            raise LineLost("the stream has lost what was published: it is published again")

    async def _read(self, jetstream: JetStreamContext, client: Client, count: int) -> dict[str, set[Position]]:
        """Return, by audience, which of our records the stream holds, byte for byte."""
        there: dict[str, set[Position]] = defaultdict(set)
        if count == 0:
            return there
        done = asyncio.Event()

        async def take(message: Message) -> None:
            audience = message.subject.removeprefix(self._stream.subject(""))
            if message.subject == self._stream.guests:
                self._listed = message.data
            position = self._ours(audience, message)
            if position is not None:
                there[audience].add(position)
            if message.waiting == 0:
                done.set()

        reading = asyncio.ensure_future(Reading(self._stream, 1, take).run(jetstream, client))
        waiting = asyncio.ensure_future(done.wait())
        try:
            await asyncio.wait([reading, waiting], return_when=asyncio.FIRST_COMPLETED)
            if reading.done():
                reading.result()
        finally:
            waiting.cancel()
            reading.cancel()
        return there

    def _ours(self, audience: str, message: Message) -> Position | None:
        """Return which of our records a message of the stream is; None if it is none, or not as it is here."""
        history = self._histories.get(audience)
        position = None if history is None else _position(message.data)
        if history is None or position is None:
            return None
        before = Position(position.dive, position.seq - 1)
        if position.dive == NO_DIVE:
            told = history.programme
            return position if told is not None and told.data == message.data else None
        ours, _ = history.after(before, 1)
        same = ours == [message.data] and message.headers.get(FOLLOWS) == say_position(_followed(history, position))
        return position if same else None

    async def _publish_listing(self, jetstream: JetStreamContext) -> None:
        listing = self._listing
        if listing is not None and listing != self._listed:
            record = Record(f"guests-{sha256(listing).hexdigest()}", NOTHING, listing)
            await self._send(jetstream, self._stream.guests, [record])
            self._listed = listing

    async def _publish(self, jetstream: JetStreamContext, audience: str, history: History) -> None:
        """Publish what the stream lacks of an audience's log, in its order."""
        there = self._there.get(audience, set())
        told = history.programme
        if told is not None and self._programmes.get(audience) != told.seq:
            position = Position(NO_DIVE, told.seq)
            posted = Record(message_id(audience, position), NOTHING, told.data)
            await self._send(jetstream, self._stream.subject(audience), [] if position in there else [posted])
            self._programmes[audience] = told.seq
        while True:
            held = self._reached.get(audience, NOTHING)
            frames, reached = history.after(held, BATCH, BATCH_OCTETS)
            if not frames:
                return
            records = [record for position, record in _numbered(audience, frames, held) if position not in there]
            await self._send(jetstream, self._stream.subject(audience), records)
            self._reached[audience] = reached

    async def _send(self, jetstream: JetStreamContext, subject: str, records: "Sequence[Record]") -> None:
        """Publish records and return when the server has them all.

        What it refuses as given before, though the stream hasn't it, is published again under another name.
        """
        acks = await self._sent(jetstream, subject, records, "")
        refused = [record for record, ack in zip(records, acks, strict=True) if ack.duplicate]
        await self._sent(jetstream, subject, refused, f"-{self._last}")
        self.published += len(records)

    async def _sent(
        self, jetstream: JetStreamContext, subject: str, records: "Sequence[Record]", mark: str
    ) -> list[PubAck]:
        async with asyncio.timeout(self._stream.patience.answer_s):
            coming = [
                await jetstream.publish_async(subject, record.data, headers=record.headers(mark)) for record in records
            ]
            acks: list[PubAck] = await asyncio.gather(*coming)
        self._last = max([self._last, *(ack.seq for ack in acks)])
        return acks


@dataclass(frozen=True, slots=True)
class Record:
    """What becomes a message: `name`, by which the server knows it again, and which record it was kept after."""

    name: str
    follows: Position
    data: bytes

    def headers(self, mark: str) -> dict[str, str]:
        """Return what the message carries besides."""
        return {ID: self.name + mark, FOLLOWS: say_position(self.follows)}


def _gone(info: StreamInfo) -> int:
    """Return how many messages a stream has had and has no more."""
    return info.state.last_seq - info.state.messages


def _numbered(audience: str, frames: Sequence[bytes], held: Position) -> list[tuple[Position, Record]]:
    """Return frames that follow a position, each with its own."""
    records = []
    for data in frames:
        told = decode(data)
        position = Position(told.dive, told.seq)
        records.append((position, Record(message_id(audience, position), held, data)))
        held = position
    return records


def _followed(history: History, position: Position) -> Position:
    """Return after which record of a history one of its records was kept."""
    if position.seq > 0:
        return Position(position.dive, position.seq - 1)
    before = [dive for dive in history.dives if dive.number < position.dive]
    return Position(before[-1].number, len(before[-1].frames) - 1) if before else NOTHING


def _position(data: bytes) -> Position | None:
    try:
        told = decode(data)
    except RecordingError:
        return None
    return Position(told.dive, told.seq)
