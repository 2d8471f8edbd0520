"""The way of the data, from journal rows to released records of every audience.

Rules: a pure function of the rows in their order (input and decisions), the plan and the secrets: run again,
it gives the same bytes at the same moments. `receive` first lets everything happen that was due before the
row; `advance` may only be called up to a moment before which no further row can come, but for input it is told of.
"""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, replace

from relay.core.channel import Channel, Due
from relay.core.decision import (
    Cut,
    Decision,
    Early,
    HideZone,
    Hold,
    LiftZone,
    Private,
    Resume,
    Say,
    Target,
    Told,
    read_decision,
    who_took,
)
from relay.core.desk_record import DeskRecord, Expected, Known, Taken, Waiting
from relay.core.embargo import Embargo
from relay.core.errors import OperatorError, RegrownError
from relay.core.find import Find
from relay.core.finds import Finds
from relay.core.fuse import Fuse, Stamped
from relay.core.hiding import ZoneInForce, zones_in_force
from relay.core.minute_tree import Evidence
from relay.core.model import Accepted, Event, Rejected, Row, RowKind
from relay.core.place_in_text import Finding, find_places
from relay.core.policy import MICROSECONDS, Disclosed, Plan
from relay.core.present import Present
from relay.core.programme import Programme
from relay.core.ranges import NOTE_LIMIT
from relay.core.record_log import LogStart, RecordLog
from relay.core.restart import Checkpoint, Standing
from relay.core.secrets import Secrets
from relay.core.sighting import FRESH_US, SeenFrom
from relay.core.sources import Source, Tally
from relay.core.stations import Doubt, Stations
from relay.core.time_in_text import find_times

_APART_ROWS = 64
_PROGRAMMES = 32


@dataclass(frozen=True, slots=True)
class Blocked:
    """An annotation that will not be released to `audiences`, and why; for the desk alone."""

    embargo_us: int
    text: str
    findings: tuple[Finding, ...]
    audiences: tuple[str, ...]


class Pipeline:
    """Everything between the journal and the release logs."""

    def __init__(
        self, plan: Plan, secrets: Secrets, start: Checkpoint | None = None, limit: int = 1_000_000,
        record: RecordLog | None = None,
    ) -> None:  # fmt: skip
        """`limit`: of what is held; `record`: another log of the exact record than that of the site's secrets."""
        self.plan = plan
        self.record = record or RecordLog(Evidence(secrets.evidence_key), start.record if start else None)
        self._sources = {source.name: Source(at, source) for at, source in enumerate(plan.sources)}
        self._vehicles = {name: index for index, name in enumerate(plan.vehicles)}
        standings = start.standings if start else (Standing(),) * len(plan.policies)
        self.embargo = Embargo(len(plan.policies), limit, [standing.had_us for standing in standings])
        self.channels = [
            Channel(index, policy, plan, secrets, self.embargo, self.record, standing)
            for index, (policy, standing) in enumerate(zip(plan.policies, standings, strict=True))
        ]
        self.now = Fuse(len(plan.vehicles), by_own_clock=True)
        self.ship = Fuse(1)
        self.desk = DeskRecord()
        self.present = Present(plan)
        self.stations = Stations(plan)
        self.blocked: deque[Blocked] = deque(maxlen=200)
        self.first_row = start.row if start else 1
        self._row, self._row_us = self.first_row - 1, 0
        self._programmes = deque([start.programme] if start and start.programme else [], maxlen=_PROGRAMMES)
        self._starts = deque([self.first_row])
        self._to_remember = set(start.desk) if start else set[int]()
        self.kept_rows = tuple(sorted(self._to_remember))

    @property
    def tallies(self) -> dict[str, Tally]:
        """The counts of every feed, by its name."""
        return {name: source.tally for name, source in self._sources.items()}

    @property
    def waiting(self) -> dict[int, Waiting]:
        """What is said but waits for approval, by its journal row."""
        return self.desk.waiting

    @property
    def targets(self) -> dict[str, Known]:
        """The targets by their names, exact."""
        return self.desk.targets

    @property
    def finds(self) -> Finds:
        """The finds, exact."""
        return self.desk.finds

    @property
    def expected(self) -> dict[str, Expected]:
        """What was agreed about vehicles on their own, by their names."""
        return self.desk.expected

    @property
    def taken(self) -> deque[Taken]:
        """The last decisions, oldest first."""
        return self.desk.taken

    @property
    def zones(self) -> tuple[ZoneInForce, ...]:
        """The zones that hide something from somebody, the file's first, then the desk's by their rows."""
        return zones_in_force(self.plan.zones, {channel.policy.audience: channel.hiding for channel in self.channels})

    def remember(self, row: Row) -> None:
        """Take a decision of before the row at which a restart begins: for the desk and the zones; nothing is told.

        Owed, in their order, before anything else: the rows of `kept_rows`. Others of the time since then may be among
        them, if all that followed them are.
        """
        try:
            decision = read_decision(row.data)
        except OperatorError:
            return
        self.desk.take(_as_taken(row, decision))
        if row.seq in self._to_remember:
            self._to_remember.discard(row.seq)
            if isinstance(decision, HideZone):
                self._hide(row, decision)

    @property
    def record_row(self) -> int:
        """The first row that is owed to `receive`: those before `first_row` are for the exact record's log alone."""
        return self.record.first_for(self.first_row)

    def receive(self, row: Row) -> list[Due]:
        """Take the next row of the journal, from `record_row` on; return what was due before it."""
        if row.seq < self.first_row:
            self.record.add(row)
            return []
        due = self.advance(row.embargo_us - 1)
        if row.seq - self._starts[-1] >= _APART_ROWS and self._at_rest():
            self._starts.append(row.seq)
        if row.embargo_us // MICROSECONDS > self._row_us // MICROSECONDS:
            self._see(self.stations.settle())  # what of a standby waited for its primary, which never came
        self._row, self._row_us = row.seq, row.embargo_us
        source = self._sources.get(row.source)
        if row.kind is RowKind.DECISION:
            self._decide(row)
        elif source is not None:
            self._read(source, row)
        self._seal(row)
        return due

    def check_text(self, text: str) -> list[Finding]:
        """Return what in a text tells a place; empty means it may be released. OperatorError if it is no annotation's.

        A longer text would hold up everything else for as long as it is read.
        """
        if len(text) > NOTE_LIMIT:
            raise OperatorError(f"the text is longer than {NOTE_LIMIT} characters, the most that an annotation has")
        return find_places(text, forbidden=self.plan.forbidden_words, scene=self.plan.scene_names)

    def check_programme(self, text: str) -> list[Finding]:
        """Return what in a text of a programme tells a place, or when it is at the ship."""
        return [*self.check_text(text), *find_times(text)]

    @property
    def programme(self) -> tuple[int, Programme] | None:
        """The last programme that was decided and not cut, exact, with its moment."""
        return self._programmes[-1] if self._programmes else None

    def stills_waiting(self) -> int:
        """Return how many stills some audience hasn't had."""
        return sum(isinstance(held.said, Say) and held.said.still is not None for held in self.embargo.waiting())

    def outside(self) -> list[str]:
        """Return the vehicles whose last fix, exact and now, lies outside the declared area."""
        area = self.plan.area
        if area is None:
            return []
        fixes = [state.last("position") for state in self.now.states]
        pairs = zip(self.plan.vehicles, fixes, strict=True)
        return [name for name, fix in pairs if fix is not None and not area.contains(fix)]

    def doubts(self, at_us: int) -> list[Doubt]:
        """Return the vehicles of which two stations tell contradicting places, now."""
        return self.stations.doubts(at_us)

    def _decide(self, row: Row) -> None:
        """Let a decision act: at once if it removes, after the embargo if it tells something."""
        try:
            decision = read_decision(row.data)
        except OperatorError:
            return  # was refused to its author before it was journalled; a row from elsewhere changes nothing
        if isinstance(decision, Target) and decision.sighting is not None and decision.sighting.seen_from is None:
            decision = self.completed(decision, row.embargo_us)
        approved = self.desk.take(_as_taken(row, decision))
        if isinstance(decision, Hold | Resume | Early):
            self._steer(decision, row)
        elif isinstance(decision, Cut):
            self.embargo.cut(decision.from_us, min(decision.to_us, row.embargo_us))
            stays = [item for item in self._programmes if not decision.from_us <= item[0] < decision.to_us]
            self._programmes = deque(stays, maxlen=_PROGRAMMES)
        elif isinstance(decision, HideZone):
            self._hide(row, decision)
        elif isinstance(decision, LiftZone):
            self.embargo.hold(Stamped(row.embargo_us, row.seq, None, decision))
        elif approved is not None:
            self._tell(row, replace(approved, wait=False))
        elif not isinstance(decision, Private) and not (isinstance(decision, Say) and decision.wait):
            self._tell(row, decision)

    def completed(self, decision: Decision, at_us: int) -> Decision:
        """Return a decision with what the relay alone can say: where a target is seen from, what has left, a find."""
        if isinstance(decision, Hold):
            return self.completed_hold(decision)
        if isinstance(decision, Find):
            return self.desk.completed_find(decision)
        if not isinstance(decision, Target) or decision.sighting is None:
            return decision
        seen_from = self.seen_from(decision.vehicle, at_us)
        return replace(decision, sighting=replace(decision.sighting, seen_from=seen_from))

    def completed_hold(self, hold: Hold) -> Hold:
        """Return a hold with what has left, from the channels alone."""
        since = {channel.policy.audience: channel.from_us for channel in self.channels}
        told = {channel.policy.audience: channel.board.next_number for channel in self.channels}
        return replace(hold, since=since, told=told)

    def seen_from(self, vehicle: str | None, at_us: int) -> SeenFrom | None:
        """Return a vehicle's exact position and heading at a moment, None where they are old, unknown or in doubt."""
        index = self._vehicles.get(vehicle or "")
        if index is None or any(doubt.vehicle == index for doubt in self.doubts(at_us)):
            return None
        state = self.now.states[index]
        position, heading_deg = (state.fresh(name, at_us, FRESH_US) for name in ("position", "heading_deg"))
        return None if position is None or heading_deg is None else SeenFrom(position[0], position[1], heading_deg)

    def _hide(self, row: Row, decision: HideZone) -> None:
        for channel in self.channels:
            channel.hiding.hide(row.seq, decision.zone)

    def _tell(self, row: Row, decision: Told) -> None:
        """Let something be told once each audience's embargo has passed; a target's sighting never is."""
        if isinstance(decision, Say):
            self._watch_text(decision.text, row.embargo_us, decision.audiences)
        elif isinstance(decision, Target):
            decision = replace(decision, sighting=None)
            self._watch_text(decision.name, row.embargo_us)
        elif isinstance(decision, Programme):
            self._programmes.append((row.embargo_us, decision))
        vehicle = self._vehicles.get(getattr(decision, "vehicle", None) or "")
        told = Stamped(row.embargo_us, row.seq, vehicle, decision)
        self.present.take(told)
        self.embargo.hold(told)

    def halt(self, row: int, hold: Hold) -> None:
        """Let a hold act before its row is received: what had not left when it was taken stays in until then.

        Owed of every hold as soon as it is taken, and of those in a journal that is read again before any row is.
        """
        for channel in self._meant(hold):
            if hold.since is not None and channel.policy.audience in hold.since:
                channel.halt(row, hold.since[channel.policy.audience], (hold.told or {}).get(channel.policy.audience))

    def _meant(self, decision: Hold | Resume | Early) -> list[Channel]:
        return [channel for channel in self.channels if decision.audience in (None, channel.policy.audience)]

    def _steer(self, decision: Hold | Resume | Early, row: Row) -> None:
        for channel in self._meant(decision):
            if isinstance(decision, Hold):
                channel.hold(row.seq)
            elif isinstance(decision, Resume):
                channel.resume(row.seq, row.embargo_us, outside=decision.means_outside)
            else:
                channel.release_early(decision.upto_us, row.embargo_us)

    def _watch_text(self, text: str | None, at_us: int, aimed: tuple[str, ...] = ()) -> None:
        """Remember a text that is kept back from those who are shown annotations, but checked ones."""
        if text is None or not (findings := self.check_text(text)):
            return
        checked = [policy for policy in self.plan.policies if policy.check_text and Disclosed.NOTES in policy.fields]
        kept_from = tuple(policy.audience for policy in checked if not aimed or policy.audience in aimed)
        if kept_from:
            self.blocked.append(Blocked(at_us, text, tuple(findings), kept_from))

    def advance(self, now_us: int, unread_us: int | None = None) -> list[Due]:
        """Return what is due up to and including `now_us`, in the order in which it leaves.

        `unread_us`: the moment of the oldest input that will still be received; an audience gets nothing that might
        need it, and everything else at its moment, or the moments would tell that there is input now (R2).
        """
        if self._to_remember:
            raise RegrownError("decisions of before the restart still count, and weren't told again")
        if self.record.owes(self.first_row):
            raise RegrownError("rows of before the restart belong to the exact record's log, and weren't read again")
        self.record.upto(now_us if unread_us is None else min(now_us, unread_us))
        due: list[Due] = []
        for channel in self.channels:
            upto_us = now_us if unread_us is None else min(now_us, unread_us + channel.policy.delay_us - 1)
            due += channel.advance(upto_us)
        due.sort(key=lambda item: item.instant_us)
        return due

    def _seal(self, row: Row) -> None:
        """Put a row into the exact record; with the first of a minute, forget what no head is made of any more."""
        minute = self.record.minute
        self.record.add(row)
        if self.record.minute != minute:
            self.record.forget(self._record_start(self._start_row()))

    def _record_start(self, row: int) -> LogStart:
        """Return where the exact record's log has to go on for a restart at a row."""
        coming = [coming_us for channel in self.channels if (coming_us := channel.coming_us) is not None]
        return self.record.start_for(row, min([self._row_us, *coming]))

    def next_us(self) -> int | None:
        """Return the next moment at which something may be due, or None."""
        moments = [moment for channel in self.channels if (moment := channel.next_us()) is not None]
        return min(moments, default=None)

    def checkpoint(self) -> Checkpoint | None:
        """Return where a restart may begin, or None while some audience has a dive under way."""
        if not all(channel.idle for channel in self.channels):
            return None
        row = self._start_row()
        standings = tuple(
            replace(channel.standing, zones=channel.hiding.in_force(self._row)) for channel in self.channels
        )
        hiding = {at for channel in self.channels for at in channel.hiding.of_desk if at < row}
        desk = tuple(sorted(hiding.union(self.desk.kept(row))))
        return Checkpoint(row, standings, desk, self.programme, self._record_start(row))

    def _start_row(self) -> int:
        """Return a row before which every feed was at rest, up to which all that follows is still to be had."""
        held = self.embargo.oldest_row()
        if held is None and self._at_rest():
            self._starts = deque([self._row + 1])
        least = self._row + 1 if held is None else held
        while len(self._starts) > 1 and self._starts[1] <= least:
            self._starts.popleft()
        return self._starts[0]

    def _at_rest(self) -> bool:
        return all(source.decoder.at_rest for source in self._sources.values())

    def _read(self, source: Source, row: Row) -> None:
        for read in source.read(row):
            event = self._named(source, read)
            source.tally.count(event)
            if isinstance(event, Accepted) and not event.observation.tells_only_time:
                self._hold(source, event, row)

    def _named(self, source: Source, event: Event) -> Event:
        """Reject an observation of a vehicle that the expedition file doesn't know."""
        if not isinstance(event, Accepted):
            return event
        name = event.observation.vehicle or source.plan.vehicle
        if source.plan.of_ship:
            return Rejected(event.raw, "a vehicle's report on the ship's feed") if name in self._vehicles else event
        if name is None:
            return Rejected(event.raw, "no vehicle named")
        return event if name in self._vehicles else Rejected(event.raw, "vehicle not in the expedition file")

    def _hold(self, source: Source, event: Accepted, row: Row) -> None:
        """Keep what was said of a vehicle until each embargo has passed; what was said of the ship is the desk's."""
        if source.plan.of_ship:
            self.ship.take(Stamped(row.embargo_us, row.seq, 0, event.observation, source.number))
            return
        vehicle = self._vehicles[event.observation.vehicle or source.plan.vehicle or ""]
        stamped = Stamped(row.embargo_us, row.seq, vehicle, event.observation, source.number)
        self._watch_text(event.observation.note, row.embargo_us)
        self._see(self.stations.sift([stamped]))
        self.embargo.hold(stamped)

    def _see(self, counting: Iterable[Stamped]) -> None:
        """Take what counts of the stations' reports, for the desk."""
        for stamped in counting:
            self.now.take(stamped)
            self.present.take(stamped)


def _as_taken(row: Row, decision: Decision) -> Taken:
    return Taken(row.seq, row.embargo_us, row.wall_s, who_took(row.data), decision)
