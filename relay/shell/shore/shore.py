"""The relay ashore: takes released records from the ship, keeps them, and gives them to whoever follows.

Rules: it holds nothing that isn't released (R1); whatever it can't keep for good it neither acknowledges nor publishes
(R5); it has no way to the desk or the feeds (R6). What comes is checked against the ship's key before it is written.
"""

import asyncio
import logging
import os
import ssl
from collections.abc import Callable, Coroutine, Iterable
from time import monotonic
from typing import Any, Protocol

from relay.core.errors import OperatorError, ShoreError
from relay.core.held import held_of
from relay.core.history import History, received
from relay.core.uplink_talk import Held, Listed
from relay.shell.shore.shore_file import ShoreFile
from relay.shell.shore.shore_guests import ShoreGuests
from relay.shell.shore.shore_logs import ShoreLogs
from relay.shell.shore.watch import Watch
from relay.shell.shore.workers import Workers
from relay.shell.site.site import Site
from relay.shell.uplink.uplink_port import UplinkPort

log = logging.getLogger("offing.shore")
PUBLISHED_AT_ONCE = 500


Job = asyncio.Future[None]


class Part(Protocol):
    """Something that a shore runs beside its site: the port that the ship dials, a stream, the watch."""

    async def start(self) -> None:
        """Begin; OperatorError if it can't be had as the shore's file has it."""

    async def close(self) -> None:
        """End, and return when nothing of it runs any more."""

    @property
    def jobs(self) -> Iterable[Job]:
        """What runs for it from `start` to `close`: whatever of it ends in between ends the shore."""


class Shore:
    """One shore. `start`, then `serve` until cancelled, then `close`.

    `onward` is called with an audience and its frames once they are durable, `onward_guests` with a newer list of
    guests; `parts` are started after the logs were read and published, in their order, and closed in the reverse one;
    `early` are started before everything else.
    `tls`: the site's; `dialled`: the port that the ship dials; `watch`: where the machine's own network asks.
    """

    def __init__(self, file: ShoreFile, site: Site | Workers) -> None:
        self.file, self.site, self.key = file, site, file.key
        self.onward: list[Callable[[str, list[bytes]], None]] = []
        self.onward_guests: list[Callable[[bytes], None]] = []
        self.early: list[Part] = []
        self.parts: list[Part] = []
        self.ready = False
        self.fault: str | None = None
        site.guests.trust(file.key)
        self.invited = ShoreGuests(site.guests, None if file.uplink is None else file.folder)
        self.came_s: float | None = None
        self.tls: ssl.SSLContext | None = None
        self.dialled: UplinkPort | None = None
        self.watch: Watch | None = None
        self.logs = None if file.uplink is None else ShoreLogs(file.folder, file.audiences, file.key)
        self._started: list[Part] = []
        self._taking = asyncio.Lock()
        self._jobs: set[asyncio.Task[None]] = set()

    async def start(self) -> None:
        """Read and check what is kept, publish it, and open the site; OperatorError says what can't be had."""
        await self._start_parts(self.early)
        if self.logs is not None:
            await self._restore(self.logs)
        await self._start_parts([self.invited])
        host, port = self.file.listen
        try:
            await self.site.start(host, port, self.tls)
        except OSError as error:
            raise OperatorError(
                f"the page can't be given out at {host}:{port} ({os.strerror(error.errno or 0)}): stop what listens "
                "there, or choose another port: [site] listen"
            ) from error
        await self._start_parts(self.parts)
        self.ready = True

    async def _start_parts(self, parts: list[Part]) -> None:
        for part in parts:
            self._started.append(part)
            await part.start()

    async def _restore(self, logs: ShoreLogs) -> None:
        try:
            await self._through(asyncio.to_thread(logs.open))
        except (OSError, ShoreError) as error:
            why = error.strerror if isinstance(error, OSError) else error
            raise OperatorError(f"{logs.folder} can't be used: {why}") from error
        for words in logs.set_aside:
            log.error("%s", words)
        for history in logs.histories().values():
            await self._publish_all(history)

    async def _publish_all(self, history: History) -> None:
        frames = [frame for dive in history.dives for frame in dive.frames]
        frames += [] if history.programme is None else [history.programme.data]
        for at, frame in enumerate(frames):
            self.publish(history.audience, frame)
            if at % PUBLISHED_AT_ONCE == 0:
                await asyncio.sleep(0)
        log.info("%s: %d records are kept", history.audience, len(frames))

    async def serve(self) -> None:
        """Run until cancelled; ShoreError when something of it has ended by itself, so that it is started anew."""
        running = {job: type(part).__name__ for part in [self.site, *self._started] for job in part.jobs}
        if not running:
            await asyncio.Event().wait()
        done, _ = await asyncio.wait(running, return_when=asyncio.FIRST_COMPLETED)
        for job in done:
            fault = None if job.cancelled() else job.exception()
            log.critical("%s has ended by itself: this shore ends, to be started anew", running[job], exc_info=fault)
        raise ShoreError(f"{', '.join(running[job] for job in done)} has ended by itself")

    async def close(self) -> None:
        """Stop what comes in, finish what is being written, and tell followers that the site goes.

        The folder is let go of last, when no thread writes there any more: another shore may have it from then on.
        """
        self.ready = False
        while self._started:
            await self._started.pop().close()
        if self._jobs:
            await asyncio.wait(self._jobs)
        await self.site.close()
        await self.invited.at_rest()
        if self.logs is not None:
            self.logs.close()

    def histories(self) -> dict[str, History]:
        """Return what is held of each audience."""
        if self.logs is not None:
            return self.logs.histories()
        shown = {name: self.site.history(name) for name in self.file.audiences}
        return {name: history for name, history in shown.items() if history is not None}

    def held(self) -> dict[str, Held]:
        """Return how far each audience is held."""
        return {name: held_of(history, name in self.file.open) for name, history in self.histories().items()}

    async def take(self, audience: str, frames: list[bytes]) -> None:
        """Check, keep and publish frames; returns once they are durable and published.

        ShoreError: nothing of it was published, and the same frames may come again. Who gives up waiting leaves it to
        end by itself: what is on the disk is always published.
        """
        await self._through(self._take(audience, frames))

    async def _through(self, work: Coroutine[Any, Any, None]) -> None:
        """Do something to its end, for which `close` waits, though who called this may give up waiting."""
        job = asyncio.ensure_future(work)
        self._jobs.add(job)
        job.add_done_callback(self._jobs.discard)
        await asyncio.shield(job)

    async def _take(self, audience: str, frames: list[bytes]) -> None:
        assert self.logs is not None
        async with self._taking:
            try:
                fresh = await asyncio.to_thread(self.logs.write, audience, frames)
            except ShoreError as error:
                self._say_fault(str(error))
                raise
            self.fault, self.came_s = None, monotonic()
            kept = [frame.data for frame in self.logs.keep(audience, fresh)]
            for frame in kept:
                self.publish(audience, frame, len(kept) > 1)
            for onward in self.onward:
                onward(audience, kept)

    def _say_fault(self, words: str) -> None:
        if words != self.fault:
            log.error("%s", words)
        self.fault = words

    def publish(self, audience: str, frame: bytes, among_many: bool = False) -> None:
        """Give a frame that was checked, and is next, to whoever follows; `among_many`: see `Gallery.publish`."""
        self.site.publish(received(audience, frame), among_many)

    def guests(self, listing: bytes) -> None:
        """Take the ship's list of who is invited; InvitationError if it isn't hers."""
        if self.invited.take(listing):
            for onward in self.onward_guests:
                onward(listing)

    def listed(self) -> Listed:
        """Return which list of guests is in force."""
        return self.invited.listed()

    def seen(self) -> dict[str, int]:
        """Return how many follow now, by audience."""
        return self.site.figures().viewers
