"""The relay on the ship: feeds, journal, pipeline, recordings and the public site, wired together.

Rules: rows reach the pipeline only when durable, and the pipeline runs only up to the moment for which what it
needs is durable, so a full disk or a stuck writer stops the release by itself (R4, R5). A fault of ours or of the
record stops the release and says so; it never guesses in favour of showing.
"""

import asyncio
import contextlib
import logging
import os
from collections.abc import Awaitable, Callable
from pathlib import Path
from time import monotonic as time_monotonic
from typing import Any

import shapely  # noqa: F401 - loaded before she starts: at the first find it would hold up what is public (R2)

from relay.core.channel import Due
from relay.core.decision import Hold, read_decision
from relay.core.desk_record import TAKEN_LIMIT
from relay.core.errors import OffingError, OperatorError, RecordingError, RegrownError
from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.seal import Signer
from relay.core.sources import Tally
from relay.core.wire import Recording
from relay.shell.desk.control import Control
from relay.shell.desk.deciding import Deciding
from relay.shell.desk.desk_room import DeskRoom
from relay.shell.desk.inviting import Inviting
from relay.shell.desk.standing import release_alarms, ship_status
from relay.shell.desk.taking import Taking
from relay.shell.feeds.feeds import Feed, open_feeds
from relay.shell.plan.expedition import Expedition
from relay.shell.record.checkpoint import read_checkpoint, write_checkpoint
from relay.shell.record.clock import EmbargoClock, TimeSource
from relay.shell.record.journal import Journal, JournalFile, clock_of
from relay.shell.record.secrets_file import MARK, fingerprint, open_secrets
from relay.shell.released.outlet import Frame, Outlet
from relay.shell.released.recording import load_recording
from relay.shell.ship.audit_gate import NO_LEAVE, Leave
from relay.shell.ship.promises import Promises
from relay.shell.site.site import Figures, Site
from relay.shell.uplink.uplink import Uplink

log = logging.getLogger("offing.ship")
BEAT_S = 2.0
REPORT_S = 30.0


class _Sink:
    """Where feeds put bytes: the journal, with room to wait for."""

    def __init__(self, journal: Journal) -> None:
        self._journal = journal

    def take(self, source: str, data: bytes, whole: bool) -> bool:
        """Queue bytes for the journal; False when it has no room."""
        return self._journal.append(source, RowKind.WHOLE if whole else RowKind.STREAM, data)

    async def room(self) -> None:
        """Wait until there is room."""
        await self._journal.room()


class Ship:
    """One site being relayed. `start`, then `serve` until cancelled, then `close`."""

    def __init__(self, expedition: Expedition, time: TimeSource, site: Site, leave: Leave = NO_LEAVE) -> None:
        self.promises = Promises(expedition, leave)
        self.expedition, self.site = expedition, site
        self._file = JournalFile(expedition.private)
        marks = self._file.marks()
        self.promises.remember(marks)
        secrets = open_secrets(expedition.private, marks.get(MARK), expedition.secrets_key)
        self._fingerprint, self.promises.secrets = fingerprint(secrets), secrets
        self._clock: EmbargoClock = clock_of(self._file, time)
        self.pipeline = Pipeline(expedition.plan, secrets, read_checkpoint(marks.get("checkpoint"), expedition.plan))
        signer = Signer(secrets.signing_seed)
        self._outlet = Outlet(expedition.released, signer, self._onward)
        self.uplink = None if expedition.uplink is None else Uplink(expedition.uplink, signer)
        self.feeds: tuple[Feed, ...] = ()
        self._journal: Journal | None = None
        self._taking: Taking | None = None
        self._wake = asyncio.Event()
        invited = [name for name in self._next_dives() if name in expedition.invited_audiences]
        ashore = None if expedition.uplink is None else expedition.uplink.audiences
        self.inviting = Inviting(
            expedition.private, self, signer, site.guests, invited, self._address, time.wall_s, ashore
        )
        if self.uplink is not None:
            self.inviting.outward.append(self.uplink.guests)
            self.uplink.outrun = self.inviting.beyond
            self.uplink.may_go = self._may_go
        self.deciding = Deciding(self, time_monotonic, self.inviting)
        self._control = Control(expedition.private, self.deciding)
        self._warned: set[str] = set()
        self.stopped: str | None = None
        self.desk = DeskRoom(self, expedition.private, self._file.last()[1])

    async def start(self) -> None:
        """Grow the release log again from the journal, then open the public site and the feeds."""
        self.inviting.start()
        self.promises.board(self, self._outlet.owes, self._wake.set)
        self._restore()
        journal = Journal(self._file, self._clock)
        self._go_on(journal)
        self.promises.begin(journal.watermark_us)
        await self._control.start()
        await self._open_site()
        await self.desk.start(self.deciding)
        self.feeds = open_feeds([(feed.name, feed.url) for feed in self.expedition.feeds], _Sink(journal))

    def _address(self) -> str:
        """Return where the page is, as far as the ship knows."""
        host, port = self.site.address
        return self.expedition.address or f"http://{host}:{port}/"

    async def _open_site(self) -> None:
        host, port = self.expedition.listen
        try:
            await self.site.start(host, port)
        except OSError as error:
            remedy = f'stop what listens there, or choose another port: [public] listen = "{host}:{port + 1}"'
            raise OperatorError(
                f"the page can't be given out at {host}:{port} ({os.strerror(error.errno or 0)}): {remedy}"
            ) from error

    async def serve(self) -> None:
        """Run until cancelled; OperatorError if a feed can't be opened as the expedition file has it."""
        jobs: list[Callable[[], Awaitable[None]]] = [self._release, self._beat, self._report, self.inviting.keep]
        jobs += [] if self.uplink is None else [self.uplink.run]
        try:
            async with asyncio.TaskGroup() as group:
                for job in (*jobs, *self.desk.jobs, *self.promises.jobs):
                    group.create_task(_forever(job))
                for feed in self.feeds:
                    group.create_task(feed.run())
        except* OperatorError as faults:
            raise OperatorError("\n".join(str(fault) for fault in faults.exceptions)) from None

    async def close(self) -> None:
        """Stop the site and write what is waiting: each part of it, whatever the others meet with."""
        async with contextlib.AsyncExitStack() as last:  # from the last to the first
            last.callback(self._file.close)
            last.push_async_callback(self._close_journal)
            for part in (self.inviting, self.site, self.desk, self._control):
                last.push_async_callback(part.close)

    async def _close_journal(self) -> None:
        if self._journal is not None:
            self._journal.keep_minutes(self.pipeline.record.take_closed())
            await self._journal.close()

    def decide(self, data: bytes, who: str) -> dict[str, Any]:
        """Check a decision, journal it, and say what it does; OperatorError if it can't be taken."""
        assert self._taking is not None
        return self._taking.take(data, who, self.stopped)

    async def settled(self, within_s: float) -> bool:
        """Wait until the decisions taken are on the disk and act; False if it doesn't take them for so long."""
        assert self._journal is not None and self._taking is not None
        try:
            async with asyncio.timeout(within_s):
                await self._journal.settled()
        except TimeoutError:
            self._taking.was_late()
            return False
        return True

    def now_us(self) -> int:
        """Return the moment on the embargo clock."""
        return self._clock.now_us()

    def wall_s(self) -> float:
        """Return the ship's wall clock, for the exact record alone."""
        return self._clock.wall_s()

    def journal_facts(self) -> tuple[int, str | None]:
        """Return how many rows the journal has, and what is wrong with it."""
        return (0, None) if self._journal is None else (self._journal.rows, self._journal.fault)

    def guests(self) -> list[dict[str, Any]]:
        """Return who is invited, by name: for the operator alone."""
        return self.inviting.shown()

    def figures(self) -> Figures:
        """Return who is on the public site."""
        return self.site.figures()

    def uplink_facts(self) -> dict[str, Any] | None:
        """Return how the link to the shore stands, None where there is none."""
        return None if self.uplink is None else self.uplink.facts()

    def status(self) -> dict[str, Any]:
        """Return how things stand: exact and private, for the operator alone."""
        status = ship_status(self.pipeline, self._clock.now_us(), self.stopped, self.alarms())
        return status | {"uplink": self.uplink_facts()}

    def alarms(self) -> list[str]:
        """Return what is wrong now, in words without a position."""
        out = [f"the release has stopped: {self.stopped}"] if self.stopped else []
        out += [fault] if (fault := self.journal_facts()[1]) else []  # the writer's thread may end it meanwhile
        out += self._outlet.faults
        out += [self.inviting.fault] if self.inviting.fault else []
        out += [] if self.uplink is None else self.uplink.alarms()
        out += self.promises.alarms() + self.desk.alarms(self._clock.now_us())
        return out + release_alarms(self.pipeline, self._clock.counted_us())

    def _go_on(self, journal: Journal) -> None:
        """Journal from now on, and take what is on the disk."""
        self._journal = journal
        self._taking = Taking(self.pipeline, journal, self._clock)
        journal.mark({MARK: self._fingerprint, **self.promises.marks})
        journal.on_durable = self._durable
        journal.beat()

    def _restore(self) -> None:
        """Bring back closed dives from their recordings and the open ones from the journal."""
        checkpoint = self._next_dives()
        for policy in self.expedition.plan.policies:
            for path in sorted((self.expedition.released / policy.audience).glob("dive-*.recording")):
                self._restore_closed(policy.audience, path, checkpoint[policy.audience])
        self._guarded(self._restore_programmes)
        self._guarded(self._regrow)

    def _restore_programmes(self) -> None:
        """Tell again, under its number, what each audience was told by the checkpoint."""
        for channel in self.pipeline.channels:
            if (record := channel.board.in_force) is not None:
                self._outlet.release(Due(0, record))

    def _regrow(self) -> None:
        rows = 0
        for row in self._file.decisions(self.pipeline.first_row, TAKEN_LIMIT, self.pipeline.kept_rows):
            self.pipeline.remember(row)
        for row in self._file.decisions_from(self.pipeline.first_row):
            self._foresee(row)
        for row in self._file.rows(self.pipeline.record_row):
            if row.seq < self.pipeline.first_row:
                self.pipeline.receive(row)
            else:
                self._take(row)
            rows += 1
        self._out(self.pipeline.advance(self._clock.now_us() - 1))
        self._catch_up()
        log.info("read %d rows of the journal again", rows)

    def _foresee(self, row: Row) -> None:
        """Let a hold that is in the journal keep in what it kept in, from the first row on."""
        with contextlib.suppress(OperatorError):
            if isinstance(decision := read_decision(row.data), Hold):
                self.pipeline.halt(row.seq, decision)

    def _catch_up(self) -> None:
        """Release again what had left before a power cut took the newest proof of time: what was told had been due."""
        for channel in self.pipeline.channels:
            audience = channel.policy.audience
            while self._outlet.owes(audience, channel.next_dive, channel.board.may_be_told):
                moment_us = channel.next_us()
                if moment_us is None:
                    raise RegrownError(f"{audience} was told records that the journal doesn't grow again")
                self._out(channel.advance(moment_us))
                # It left after its moment, and whatever comes now comes later than that.
                self._clock.prove(moment_us + 1)

    def _next_dives(self) -> dict[str, int]:
        return {channel.policy.audience: channel.next_dive for channel in self.pipeline.channels}

    def _restore_closed(self, audience: str, path: Path, before: int) -> None:
        """Give the site a dive that ended before the checkpoint; later ones grow from the journal."""
        try:
            recording = load_recording(path)
        except RecordingError as error:
            log.error("%s; it is left out of the dive list", error)
            return
        if recording.records[0].dive < before:
            self._publish_recording(audience, recording, path)

    def _publish_recording(self, audience: str, recording: Recording, path: Path) -> None:
        ashore = self.uplink is not None and self.uplink.is_own(recording.header)
        if not ashore and self.uplink is not None:
            log.warning("%s isn't signed with this site's key: it isn't sent ashore", path)
        for record in recording.records:
            self._onward(Frame(audience, record.dive, record.seq, False, 0, record.data), ashore)

    def _may_go(self, audience: str) -> bool:
        """Whether what was released to an audience may go ashore: not while it is held, nor in doubt."""
        held = (channel.held for channel in self.pipeline.channels if channel.policy.audience == audience)
        return self.stopped is None and not any(held)

    def _onward(self, frame: Frame, ashore: bool = True) -> None:
        self.site.publish(frame)
        if self.uplink is not None and ashore:
            self.uplink.publish(frame)
        self.promises.sent(frame)
        self.desk.sent(frame)

    def _out(self, due: list[Due]) -> None:
        for item in due:
            self._outlet.release(item)

    def _durable(self, rows: list[Row]) -> None:
        """Take rows that are now on the disk."""
        assert self._taking is not None
        if rows:
            self._taking.durable(rows[-1].seq)

        def take() -> None:
            for row in rows:
                self._take(row)

        self._guarded(take)
        self._wake.set()

    def _take(self, row: Row) -> None:
        self._out(self.pipeline.receive(row))
        self.promises.took(row)
        self.desk.took(row)

    def _guarded(self, action: Callable[[], None]) -> None:
        """Do something that releases, unless the release has stopped; any fault stops it for good (R4)."""
        if self.stopped is not None:
            return
        try:
            action()
        except OffingError as error:
            self._stop(str(error))
        except Exception as error:  # whatever broke, going on would be guessing in favour of showing
            self._stop(f"a fault of Offing's own ({type(error).__name__})")

    def _stop(self, why: str) -> None:
        self.stopped = why
        log.critical("the release has stopped, the journal goes on: %s", why)

    async def _release(self) -> None:
        """Release what is due, then wait for the next moment or for new rows; look again at each beat.

        For a machine that was asleep has come nearer to that moment than the clock by which is waited knows.
        """
        self._wake.clear()
        self._release_due()
        due_us = None if self.stopped else self.pipeline.next_us()
        wait_s = None if due_us is None else min(BEAT_S, max(0.001, (due_us - self._clock.now_us()) / 1e6))
        # Not wait_for: cancelled just as rows wake it, that of Python 3.11 forgets it, and nothing stops us any more.
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(wait_s):
                await self._wake.wait()

    def _release_due(self) -> None:
        """Release what is due, as far as the journal lets it."""
        assert self._journal is not None
        upto_us, unread_us = self._journal.release_us(), self._journal.unread_us
        self._guarded(lambda: self._out(self.pipeline.advance(upto_us, unread_us)))

    def _keep(self) -> None:
        """Put clock, checkpoint and closed minutes into the journal; none beyond what isn't kept or never left."""
        assert self._journal is not None
        self._outlet.retry()
        checkpoint = None if self._outlet.faults or self.stopped else self.pipeline.checkpoint()
        self._journal.keep_minutes(self.pipeline.record.take_closed())
        if checkpoint is not None:
            self._journal.mark({"checkpoint": write_checkpoint(checkpoint, self.expedition.plan)})
        self._journal.beat()

    async def _beat(self) -> None:
        """Keep clock and checkpoint in the journal fresh, and say what is newly wrong."""
        self._keep()
        self.promises.beat()
        if self.uplink is not None:
            self.uplink.stir()
        alarms = set(self.alarms())
        for alarm in sorted(alarms - self._warned):
            log.error("%s", alarm)
        self._warned = alarms
        await asyncio.sleep(BEAT_S)

    async def _report(self) -> None:
        """Say now and then how the feeds are: counts and reasons, never a position."""
        await asyncio.sleep(REPORT_S)
        for feed in self.feeds:
            log.info("%s: %s; %s", feed.name, feed.state, tally_words(self.pipeline.tallies[feed.name]))


async def _forever(job: Callable[[], Awaitable[None]]) -> None:
    while True:
        await job()


def tally_words(tally: Tally) -> str:
    """Return the counts of a feed in words: accepted, passed over, rejected by reason."""
    rejected = ", ".join(f"{count} {reason}" for reason, count in tally.rejected.most_common())
    accepted, passed = tally.accepted.total(), tally.passed_over.total()
    return f"{accepted} accepted, {passed} passed over, rejected: {rejected or 'none'}"
