"""A stream read by a relay that has no uplink and no disk: it serves what it has read, and begins empty.

Rules (R5): what `stream_order` judges to be next is published, nothing else: so what this relay gives out is signed by
the ship, has no gap and never goes back, whatever becomes of the stream. A stream is read on from the message that was
read last if it is still that one, and otherwise again from its first; so it is where something was passed over because
something before it was missing, and that has come since. Nothing is queued.
"""

import asyncio
import logging
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping
from datetime import datetime

from nats.aio.client import Client
from nats.js import JetStreamContext
from nats.js.api import StreamInfo

from relay.core.errors import InvitationError
from relay.core.history import History, Position
from relay.core.stream_order import Verdict, judge, read_position
from relay.core.wire import decode
from relay.shell.shore.stream_line import Line, LineLost, Message, Place, Reading, Stream

FOLLOWS = "Offing-Follows"
AT_ONCE = 16

log = logging.getLogger("offing.stream")


class StreamIn:
    """Reads a stream into the histories of a relay's audiences.

    `key`: the ship's. `publish(audience, frame, among_many)` keeps a frame in its audience's history and sends it to
    viewers (see `Gallery.publish`); `guests(listing)` takes a list of guests, and judges it.
    `filled` is set once all that the stream held has been read.
    """

    def __init__(
        self,
        stream: Stream,
        key: bytes,
        histories: Mapping[str, History],
        publish: Callable[[str, bytes, bool], None],
        guests: Callable[[bytes], None],
    ) -> None:
        self._stream, self._key, self._histories = stream, key, histories
        self._publish, self._guests = publish, guests
        self.line = Line(stream, lambda: asyncio.get_running_loop().time())
        self._last: Place | None = None
        self._created: datetime | None = None
        self._wanted: dict[str, Position] = {}
        self._beyond: defaultdict[str, set[int]] = defaultdict(set)
        self._skips: dict[str, int] = {}
        self._granted: dict[str, int] = {}
        self._resuming = False
        self._turn = 0
        self.filled = asyncio.Event()
        self.verdicts: Counter[Verdict] = Counter()

    async def run(self) -> None:
        """Read, on one line after the other. For ever."""
        await self.line.keep(self._session)

    async def _session(self, jetstream: JetStreamContext, client: Client) -> None:
        info = await jetstream.stream_info(self._stream.name)
        start = self._start(info)
        if info.state.last_seq < start:
            self.filled.set()
        await Reading(self._stream, start, self._take).run(jetstream, client)

    def _start(self, info: StreamInfo) -> int:
        """Return from which message on the stream is read."""
        last, created = self._last, self._created
        self._created = info.created
        self._resuming = last is not None and created == info.created and info.state.last_seq >= last.number
        if last is not None and self._resuming:
            return last.number
        self._last = None
        self._beyond.clear()
        self._skips.clear()
        return 1

    async def _take(self, message: Message) -> None:
        if self._resuming and message.place != self._last:
            self._last = None
            raise LineLost("the stream was written anew: it is read from its first message")
        self._resuming = False
        self._last = message.place
        audience = message.subject.removeprefix(self._stream.subject(""))
        history = self._histories.get(audience)
        if message.subject == self._stream.guests:
            self._list(message.data)
        elif history is not None:
            self._judge(audience, history, message)
        if message.waiting == 0:
            self._skip()
            self.filled.set()
        self._turn += 1
        if self._turn % AT_ONCE == 0:
            await asyncio.sleep(0)  # whoever follows is served in between

    def _list(self, listing: bytes) -> None:
        try:
            self._guests(listing)
        except InvitationError as error:
            log.error("a list of guests was left out: %s", error)
        except Exception:
            log.exception("a list of guests was left out: it can't be judged")

    def _verdict(self, history: History, message: Message, follows: Position | None) -> Verdict:
        """Return what becomes of a message; one that can't even be judged is left out, or it would be read for ever."""
        try:
            return judge(history, self._key, message.data, follows)
        except Exception:
            log.exception("a message of %s can't be judged", history.audience)
            return Verdict.UNSIGNED

    def _judge(self, audience: str, history: History, message: Message) -> None:
        follows = read_position(message.headers.get(FOLLOWS, ""))
        verdict = self._verdict(history, message, follows)
        self.verdicts[verdict] += 1
        if verdict in (Verdict.SKIP, Verdict.GAP):
            dive = decode(message.data).dive
            self._beyond[audience].add(dive)
            if verdict is Verdict.SKIP:
                verdict = Verdict.NEXT if self._granted.get(audience) == dive else verdict
                self._skips[audience] = min(dive, self._skips.get(audience, dive))
        if verdict is Verdict.NEXT:
            self._publish(audience, message.data, message.waiting > 0)
            self._look_back(audience, history.head)
        elif verdict is Verdict.GAP:
            dive, seq = decode(message.data)[:2]
            if seq == 0 or follows == Position(dive, seq - 1):  # nobody makes it wait for another record than its own
                self._want(audience, history.head, follows)
        elif verdict not in (Verdict.HELD, Verdict.SKIP):
            log.error("a message of %s was left out: %s", audience, verdict.name.lower())

    def _want(self, audience: str, head: Position, follows: Position | None) -> None:
        """Take note of what was missing before a frame that is passed over."""
        if follows is not None and follows > head:
            self._wanted[audience] = min(follows, self._wanted.get(audience, follows))

    def _skip(self) -> None:
        """Take a later dive than the next once all of the stream was read and nothing of those between is in it."""
        skips, self._skips = self._skips, {}
        for audience, dive in skips.items():
            head = self._histories[audience].head
            if dive > head.dive and dive == min(number for number in self._beyond[audience] if number > head.dive):
                self._granted[audience], self._last = dive, None
                raise LineLost(f"what was between dives {head.dive} and {dive} is missing: the stream is read again")

    def _look_back(self, audience: str, head: Position) -> None:
        """Read from the first message again once there is what was missing before a frame that was passed over."""
        wanted = self._wanted.get(audience)
        if wanted is not None and head >= wanted:
            del self._wanted[audience]
            self._last = None
            raise LineLost("what was missing has come: the stream is read from its first message")
