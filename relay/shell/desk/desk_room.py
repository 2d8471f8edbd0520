"""Everything of the desk aboard one running relay: what it remembers, and its server, if it has one.

Rules: the desk looks on and never stands in the way: whatever goes wrong in here is told by its kind, and neither the
journal nor the release notices; nothing that is released asks it anything. What it shows is private.
"""

import logging
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.silence import Silence, silence_alarms
from relay.shell.desk.deciding import Deciding
from relay.shell.desk.desk import Desk
from relay.shell.desk.desk_disk import Disk
from relay.shell.desk.desk_legs import Legs
from relay.shell.desk.desk_line import DeskLimits
from relay.shell.desk.desk_seen import Seen
from relay.shell.desk.desk_state import FROZEN, Aboard, Memory, compose, compose_tracks, is_frozen
from relay.shell.desk.desk_token import open_token
from relay.shell.desk.desk_watch import Watch
from relay.shell.released.outlet import Frame
from relay.shell.site.pages import load_site
from relay.shell.site.site_files import desk_folder

log = logging.getLogger("offing.desk")


class DeskRoom:
    """The desk of one ship's relay. `took` and `sent` tell it what happened, also while a journal is read again."""

    def __init__(self, ship: Aboard, folder: Path, journal_us: int) -> None:
        """`folder`: the private one, with the token and the journal, whose last row is of the moment `journal_us`."""
        self._ship, self._folder = ship, folder
        plan = ship.pipeline.plan
        self._memory = Memory(
            Seen([policy.audience for policy in plan.policies], self._begun_us),
            Legs(ship.pipeline),
            Watch(plan.vehicles, ship.expedition.survey, folder, journal_us),
            Disk(folder, time.monotonic),
            Silence(),
        )
        self.server: Desk | None = None

    @property
    def _pipeline(self) -> Pipeline:
        return self._ship.pipeline

    def _begun_us(self, audience: str) -> int | None:
        channels = self._pipeline.channels
        return next(channel.begun_us for channel in channels if channel.policy.audience == audience)

    async def start(self, deciding: Deciding, limits: DeskLimits | None = None) -> None:
        """Listen where the expedition file says, if it has a desk; OperatorError if that can't be."""
        where = self._ship.expedition.desk
        if where is None:
            return
        limits, page = limits or DeskLimits(), desk_folder()
        self.server = Desk(
            open_token(self._folder),
            deciding,
            self._pipeline,
            state=self.state,
            tracks=lambda: compose_tracks(self._ship, self._memory),
            page={} if page is None else load_site(page, limits.site_octets),
            limits=limits,
        )
        await self.server.start(*where)

    async def close(self) -> None:
        """End every connection, and keep what the watch knows."""
        if self.server is not None:
            await self.server.close()
        self._memory.watch.close()

    def state(self) -> dict[str, Any]:
        """Return the state of this moment."""
        return compose(self._ship, self._memory)

    def took(self, row: Row) -> None:
        """Note that the pipeline has taken a row."""
        self._unharmed(lambda: self._look(row))

    def _look(self, row: Row) -> None:
        pipeline = self._pipeline
        self._memory.watch.look(pipeline.now.states, pipeline.ship.states[0], pipeline.expected, row.embargo_us)
        self._memory.legs.take(row)
        if row.kind is not RowKind.DECISION:
            self._memory.silence.hear(("feed", row.source), row.embargo_us)
        for name, state in zip(pipeline.plan.vehicles, pipeline.now.states, strict=True):
            if state.heard_us is not None:
                self._memory.silence.hear(("vehicle", name), state.heard_us)
        if row.kind is RowKind.DECISION and self.server is not None:
            self.server.newest.changed()

    def sent(self, frame: Frame) -> None:
        """Note that a released record has left, or had before a restart."""
        self._unharmed(lambda: self._memory.seen.take(frame))

    def _unharmed(self, note: Callable[[], None]) -> None:
        try:
            note()
        except Exception as error:  # a fault of the desk's stops no release, and its words may hold a position
            log.error("the desk missed something (%s)", type(error).__name__)

    def alarms(self, now_us: int) -> list[str]:
        """Return what is wrong with vehicles now: overdue, silent, or at the end of their tether. Never raises."""
        try:
            if is_frozen(self._ship):
                return [FROZEN]
            return [*self._memory.watch.alarms(now_us), *self._silent(now_us)]
        except Exception as error:  # the relay asks for this while it runs: an exception would end it
            return [f"tether and overdue aren't watched: a fault of Offing's own ({type(error).__name__})"]

    def _silent(self, now_us: int) -> list[str]:
        """Return who has fallen silent in the dive that is under way; whoever is expected back is watched for that."""
        pipeline, silence = self._pipeline, self._memory.silence
        begun_us = pipeline.present.begun_us(now_us)
        if begun_us is None:
            return []
        awaited = [name for name, agreed in pipeline.expected.items() if agreed.back_us is None]
        vehicles = [name for name in pipeline.plan.vehicles if name not in awaited]
        feeds = [source.name for source in pipeline.plan.sources]
        return silence_alarms(
            [name for name in vehicles if silence.is_silent(("vehicle", name), now_us, begun_us)],
            [name for name in feeds if silence.is_silent(("feed", name), now_us, begun_us)],
        )

    @property
    def jobs(self) -> list[Callable[[], Awaitable[None]]]:
        """What is to be done over and over while the relay runs."""
        jobs: list[Callable[[], Awaitable[None]]] = [self._memory.watch.beat, self._memory.disk.beat]
        return jobs if self.server is None else [*jobs, self.server.newest.beat]
