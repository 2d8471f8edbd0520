"""Everything of the desk aboard one running relay: what it remembers, and its server.

Rules: the desk watches and never stands in the way: whatever goes wrong in here is told by its kind, and neither the
journal nor the release notices; it is asked nothing that is released. What it shows is private.
"""

import asyncio
import logging
import shutil
from collections.abc import Awaitable, Callable
from pathlib import Path

from relay.core.model import Row
from relay.shell.deciding import Deciding
from relay.shell.desk import Desk
from relay.shell.desk_line import DeskLimits
from relay.shell.desk_seen import Seen
from relay.shell.desk_state import Aboard, Disk, compose, compose_tracks
from relay.shell.desk_token import open_token
from relay.shell.desk_tracks import Tracks
from relay.shell.outlet import Frame
from relay.shell.pages import load_site
from relay.shell.site_files import desk_folder

log = logging.getLogger("offing.desk")
DISK_S = 5.0


class DeskRoom:
    """The desk of one ship's relay. `took` and `sent` tell it what happened, also while a journal is read again."""

    def __init__(self, ship: Aboard, deciding: Deciding, folder: Path, limits: DeskLimits | None = None) -> None:
        """`folder`: the private one, where the token and the journal are."""
        self._folder, self._pipeline = folder, ship.pipeline
        self._seen = Seen([policy.audience for policy in ship.pipeline.plan.policies], self._begun_us)
        self._tracks, self._disk = Tracks(ship.pipeline), Disk()
        limits, page = limits or DeskLimits(), desk_folder()
        self.server = Desk(
            open_token(folder),
            deciding,
            ship.pipeline,
            state=lambda: compose(ship, self._seen, self._tracks, self._disk),
            tracks=lambda: compose_tracks(ship.pipeline, self._seen, self._tracks),
            page={} if page is None else load_site(page, limits.site_octets),
            limits=limits,
        )

    def _begun_us(self, audience: str) -> int | None:
        channels = self._pipeline.channels
        return next(channel.begun_us for channel in channels if channel.policy.audience == audience)

    def took(self, row: Row) -> None:
        """Note that the pipeline has taken a row."""
        self._unharmed(lambda: self._tracks.take(row))

    def sent(self, frame: Frame) -> None:
        """Note that a released record has left, or had before a restart."""
        self._unharmed(lambda: self._seen.take(frame))

    def changed(self) -> None:
        """Let the desks see at once that something was decided."""
        self.server.newest.changed()

    def _unharmed(self, note: Callable[[], None]) -> None:
        try:
            note()
        except Exception as error:  # a fault of the desk's stops no release, and its words may hold a position
            log.error("the desk missed something (%s)", type(error).__name__)

    @property
    def jobs(self) -> list[Callable[[], Awaitable[None]]]:
        """What is to be done over and over while the relay runs."""
        return [self.server.newest.beat, self._look_at_disk]

    async def _look_at_disk(self) -> None:
        try:
            disk = await asyncio.to_thread(_disk_of, self._folder)
            self._disk.octets, self._disk.free_octets = disk.octets, disk.free_octets
        except OSError as error:
            log.error("the journal's disk could not be looked at (%s)", type(error).__name__)
        await asyncio.sleep(DISK_S)


def _disk_of(folder: Path) -> Disk:
    files = [path for path in folder.glob("journal.db*") if path.is_file()]
    return Disk(sum(path.stat().st_size for path in files), shutil.disk_usage(folder).free)
