"""A shore's part in a stream: with an uplink it publishes what it keeps, without one it serves what it reads.

Rules (R5): a relay that reads opens its site only when it holds all that the stream held, so nobody is sent to one that
is still empty; it keeps serving what it has while the stream is out of reach.
"""

import asyncio
import logging
from collections.abc import Awaitable, Callable

from relay.shell.shore.shore import Shore
from relay.shell.shore.shore_file import StreamPlan
from relay.shell.shore.stream_in import StreamIn
from relay.shell.shore.stream_line import Stream, end
from relay.shell.shore.stream_out import StreamOut

log = logging.getLogger("offing.stream")


class StreamJob:
    """A part of a shore that runs a job over the stream; it has started once `begun` is over."""

    def __init__(self, run: Callable[[], Awaitable[None]], begun: Callable[[], Awaitable[object]]) -> None:
        self._run, self._begun = run, begun
        self._job: asyncio.Future[None] | None = None

    async def start(self) -> None:
        """Begin."""
        self._job = asyncio.ensure_future(self._run())
        await self._begun()

    @property
    def jobs(self) -> list["asyncio.Future[None]"]:
        """What runs from `start` to `close`."""
        return [] if self._job is None else [self._job]

    async def close(self) -> None:
        """End."""
        if self._job is not None:
            await end(self._job)


def join_stream(shore: Shore, plan: StreamPlan) -> StreamOut | StreamIn:
    """Let a shore that isn't started yet publish to a stream, or live on it."""
    stream = Stream(plan.url, plan.name)
    if shore.logs is not None:
        out = StreamOut(stream, shore.logs.histories())
        shore.onward.append(out.told)
        shore.onward_guests.append(out.guests)

        async def listed() -> None:
            if shore.invited.listing:
                out.guests(shore.invited.listing)

        shore.parts.append(StreamJob(out.run, listed))
        return out
    histories = {name: shore.site.history(name) for name in shore.file.audiences}
    there = {name: history for name, history in histories.items() if history is not None}
    into = StreamIn(stream, shore.key, there, shore.publish, shore.guests)

    async def filled() -> None:
        log.info("reading the stream %s at %s; the site opens when all of it is here", stream.name, stream.server)
        await into.filled.wait()

    shore.early.append(StreamJob(into.run, filled))
    return into
