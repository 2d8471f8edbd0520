"""A worker: a process that serves a site's followers, and holds what the first process tells it.

Rules: it opens the port only when it holds everything that was told before (R5); it has no disk and no uplink; when the
first process is gone, or says so, it tells its followers that it goes, and ends. Ctrl-C is for the first process.
"""

import asyncio
import contextlib
import pickle
import signal
import socket
import sys
from dataclasses import asdict, dataclass
from typing import Any

import uvloop

from relay.core.errors import OperatorError
from relay.core.history import received
from relay.shell.shore.shore_file import ShoreFile
from relay.shell.shore.shore_site import new_site, site_context
from relay.shell.shore.worker_talk import (
    ELSEWHERE,
    FAILED,
    FIGURES,
    FRAME,
    FULL,
    LEAVE,
    LISTING,
    SERVING,
    SETTING,
    Talk,
)
from relay.shell.site.certificate_end import Renewal
from relay.shell.site.site import Site

AT_ONCE = 64
FIGURES_EVERY_S = 1.0


@dataclass(frozen=True, slots=True)
class Setting:
    """What a worker is told first: the shore's file, and where the port is."""

    file: ShoreFile
    host: str
    port: int


class Worker:
    """One worker's side of the talk."""

    def __init__(self, talk: Talk) -> None:
        self._talk = talk
        self._site: Site | None = None
        self._setting: Setting | None = None
        self._telling: asyncio.Task[None] | None = None
        self._renewal: Renewal | None = None

    async def run(self) -> None:
        """Do what is said until the talk ends."""
        try:
            at = 0
            async for word, *rest in self._talk.heard():
                if word == LEAVE:
                    break
                await self._do(word, rest)
                at += 1
                if at % AT_ONCE == 0:
                    await asyncio.sleep(0)
        finally:
            await self._end()

    async def _do(self, word: str, rest: list[Any]) -> None:
        if word == SETTING:
            self._setting = pickle.loads(rest[0])  # said by the process that started this one, on a pair of its own
            self._site = new_site(self._setting.file)
            return
        assert self._site is not None and self._setting is not None
        if word == FRAME:
            audience, data, among_many = rest
            self._site.publish(received(audience, data), among_many)
        elif word == LISTING:
            self._site.guests.listing(rest[0])
        elif word == ELSEWHERE:
            self._site.elsewhere = rest[0]
        elif word == FULL:
            await self._open(self._site, self._setting)

    async def _open(self, site: Site, setting: Setting) -> None:
        try:
            tls = site_context(setting.file)
            await site.start(setting.host, setting.port, tls, shared=True)
        except (OSError, OperatorError) as error:
            await self._talk.say(FAILED, str(error))
            raise
        if tls is not None and setting.file.tls is not None:
            self._renewal = Renewal(tls, setting.file.tls.certificate, setting.file.tls.key)
            await self._renewal.start()
        await self._talk.say(SERVING)
        self._telling = asyncio.create_task(self._tell(site))

    async def _tell(self, site: Site) -> None:
        """Say who follows here, again and again: it is the sign of life as well."""
        with contextlib.suppress(OSError):
            while True:
                figures = site.figures()
                guests = {name: (seen.opens, seen.last_day) for name, seen in site.guests.seen.items() if seen.opens}
                await self._talk.say(FIGURES, figures.connections, figures.viewers, asdict(figures.tally), guests)
                await asyncio.sleep(FIGURES_EVERY_S)

    async def _end(self) -> None:
        if self._telling is not None:
            self._telling.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._telling
        if self._renewal is not None:
            await self._renewal.close()
        self._talk.close()
        if self._site is not None:
            await self._site.close()


async def work(end: socket.socket) -> None:
    """Run a worker on its end of a pair."""
    loop = asyncio.get_running_loop()
    loop.add_signal_handler(signal.SIGINT, lambda: None)
    worker = asyncio.ensure_future(Worker(await Talk.over(end)).run())
    loop.add_signal_handler(signal.SIGTERM, worker.cancel)
    with contextlib.suppress(asyncio.CancelledError, OSError, OperatorError):
        await worker


def main() -> None:
    """Run a worker; its end of the pair is the file of the number it is given."""
    uvloop.run(work(socket.socket(fileno=int(sys.argv[1]))))


if __name__ == "__main__":
    main()
