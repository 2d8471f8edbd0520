"""The public site: one port for the built page, the recordings and the live socket of the audiences that are shown.

Rules: only audiences named open or invited exist here: the frames of any other are not even kept, and asking for one
is answered as for any unknown name; so is asking for an invited one without a guest's token, and nothing that is open
(lists, pages, counts of followers) is made of it. A frame is kept and sent in one step, so that who joins gets it
exactly once.
"""

import asyncio
import ssl
import time
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from relay.core.history import History, Published
from relay.shell.site.answers import security_headers
from relay.shell.site.conversation import http_server
from relay.shell.site.front import Front, House
from relay.shell.site.gate import DEFAULTS, Gate, Limits, Tally
from relay.shell.site.guest_door import GuestDoor
from relay.shell.site.guest_pages import GuestPages
from relay.shell.site.pages import Pages, load_site
from relay.shell.site.public_files import PublicFiles, Telling
from relay.shell.site.tls_door import TlsDoor
from relay.shell.site.viewer import Gallery

BACKLOG = 1_024


@dataclass(frozen=True, slots=True)
class Figures:
    """Who is on the site now, and what happened since it started: for the desk, never for the public."""

    connections: int
    viewers: dict[str, int]
    tally: Tally


class Site:
    """Publishes released frames to whoever follows. One event loop, no threads.

    `open_audiences`: those that exist here; the first one's dives are at /dives.json. `folder`: the built page
    (without one there is no page, only its data); OperatorError if it is not one. `socket_origins`: see
    `answers.security_headers`. `turns`: False leaves `turn` to the caller. `invited`: the audiences that are shown to
    guests alone, whom `guests` knows by the ship's listing; `wall_s`: the clock by which an invitation ends.
    `elsewhere`: how many follow what is open at other processes or relays, told to followers with those who are here.
    """

    def __init__(
        self,
        telling: Telling | str,
        open_audiences: Collection[str] = ("public",),
        folder: Path | None = None,
        *,
        limits: Limits = DEFAULTS,
        socket_origins: Sequence[str] = (),
        turns: bool = True,
        invited: Collection[str] = (),
        wall_s: Callable[[], float] = time.time,
    ) -> None:
        self._gate = Gate(limits)
        self.guests = GuestDoor(self._gate.attendance, limits.wrong_tokens, wall_s=wall_s)
        self._galleries = {name: Gallery(History(name), self._gate) for name in open_audiences}
        self._common = security_headers(socket_origins)
        self._invited = {name: Gallery(History(name), self._gate) for name in invited}
        files = {} if folder is None else load_site(folder, limits.site_octets)
        telling = Telling(telling) if isinstance(telling, str) else telling
        index = files["/"].content if "/" in files else None
        made = PublicFiles(telling, _histories(self._galleries), next(iter(open_audiences), ""), index)
        private = Pages({}, PublicFiles(telling, _histories(self._invited), "", None))
        guests = GuestPages(self.guests, self._galleries, private.find)
        self.elsewhere = 0
        self._pages = Pages(files, made, self._followers, guests.answer)
        self._turns = turns
        self._timer: asyncio.TimerHandle | None = None
        self._servers: list[asyncio.Server | TlsDoor] = []

    def _followers(self) -> int:
        return self.elsewhere + sum(gallery.viewers for gallery in self._galleries.values())

    def _gallery(self, audience: str) -> Gallery | None:
        return self._galleries.get(audience) or self._invited.get(audience)

    def publish(self, frame: Published, among_many: bool = False) -> None:
        """Keep a frame of an audience that is shown and send it to its viewers; any other audience's is not kept.

        Frames come in order: OutOfOrderError, and nothing sent, for one that does not follow the last. Before
        `start` this fills the history. `among_many`: others come with it (see `Gallery.publish`).
        """
        gallery = self._gallery(frame.audience)
        if gallery is not None:
            gallery.publish(frame, among_many)

    def history(self, audience: str) -> History | None:
        """Return what an audience that is shown has been sent."""
        gallery = self._gallery(audience)
        return None if gallery is None else gallery.history

    async def start(self, host: str, port: int = 0, tls: ssl.SSLContext | None = None, *, shared: bool = False) -> None:
        """Listen on an address, with TLS if that is given; port 0 takes a free one, and `address` says which.

        `shared`: other processes listen there as well.
        """
        loop = asyncio.get_running_loop()
        http = http_server(self._pages.answer, self._common)
        house = House(self._gate, self._galleries, http, self._common, self._invited, self.guests)
        if tls is None:
            plain = await loop.create_server(
                lambda: Front(house), host, port, backlog=BACKLOG, reuse_port=shared or None
            )
            self._servers.append(plain)
        else:
            door = TlsDoor(house, tls)
            self._servers.append(door)
            await door.open(host, port, BACKLOG, shared)
        if self._turns and self._timer is None:
            self._schedule(loop)

    @property
    def address(self) -> tuple[str, int]:
        """Host and port where the site listens; only between `start` and `close`."""
        host, port, *_ = self._servers[0].sockets[0].getsockname()
        return host, port

    @property
    def jobs(self) -> list["asyncio.Future[None]"]:
        """What runs from `start` to `close`."""
        return [job for server in self._servers if isinstance(server, TlsDoor) for job in server.jobs]

    def _schedule(self, loop: asyncio.AbstractEventLoop) -> None:
        self._timer = loop.call_later(self._gate.limits.turn_s, self._turn_again, loop)

    def _turn_again(self, loop: asyncio.AbstractEventLoop) -> None:
        self._schedule(loop)
        self.turn()

    def turn(self) -> None:
        """Let `turn_s` pass: late heads, pings, peers that do not close, invitations that end."""
        self._gate.wheel.turn()
        self.guests.turn()

    async def close(self) -> None:
        """Stop listening, tell every viewer that the site is going away, and return when all are gone.

        Takes at most `close_s`; who has not closed by then is cut off.
        """
        for server in self._servers:
            server.close()
        for connection in self._gate.wheel:
            connection.leave()
        try:
            async with asyncio.timeout(self._gate.limits.close_s):
                await self._gate.emptied()
        except TimeoutError:
            for connection in self._gate.wheel:
                connection.abort()
            await self._gate.emptied()
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        self._servers.clear()

    def figures(self) -> Figures:
        """Return who is here now."""
        viewers = {name: gallery.viewers for name, gallery in (self._galleries | self._invited).items()}
        return Figures(self._gate.connections, viewers, replace(self._gate.tally))


def _histories(galleries: Mapping[str, Gallery]) -> dict[str, History]:
    return {name: gallery.history for name, gallery in galleries.items()}
