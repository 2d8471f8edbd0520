"""The journal and the recovered logs, read once from the first row: everything in them put where it can be asked for.

Rules: read-only; a relay may be writing the journal meanwhile, and what it writes after the begin isn't read. Memory
stays bounded: reports and notes go to the store. A feed that the expedition file no longer names is told, not guessed.
"""

from collections.abc import Callable, Iterable

from relay.core.decision import (
    Approve,
    Begin,
    Decision,
    Dismiss,
    End,
    Say,
    SetLeg,
    Target,
    read_decision,
    who_took,
    word_for,
)
from relay.core.errors import OperatorError
from relay.core.find import Find
from relay.core.finds import Finds
from relay.core.fuse import Stamped
from relay.core.model import Observation, Row, RowKind
from relay.core.policy import MICROSECONDS, Plan
from relay.core.sighting import FRESH_US, SeenFrom, place_of
from relay.core.target_position import Target as Placed
from relay.shell.exact.decoding import Decode
from relay.shell.exact.decoding import Told as Decoded
from relay.shell.exact.dive_walk import DiveWalk
from relay.shell.exact.exact_store import ExactStore
from relay.shell.exact.exact_values import Annotation, Decided, FeedTold, Heard, Moment, TargetSeen, Where

Told = Callable[[int], None]
EVERY_ROWS = 2_000
_NO_LIMIT = 2**63
_ROW_BITS = 20


class ExactReading:
    """One reading of a journal: the walk through its dives, its feeds, and who is where when something is said."""

    def __init__(self, plan: Plan, store: ExactStore) -> None:
        self._plan, self._store = plan, store
        self.walk = DiveWalk(plan)
        self.feeds = [_feed_told(plan, at) for at in range(len(plan.sources))]
        self.unknown: dict[str, int] = {}
        self.targets: list[TargetSeen] = []
        self.said: dict[int, str] = {}
        self.finds = Finds(_NO_LIMIT, _NO_LIMIT)
        self._numbers = {source.name: at for at, source in enumerate(plan.sources)}
        self._vehicles = {name: at for at, name in enumerate(plan.vehicles)}
        self._mirrored = [self.walk.stations.role_of(at) is not None for at in range(len(plan.sources))]
        self._placed: dict[str, tuple[Placed, int]] = {}
        self._found_by: dict[str, str | None] = {}
        self._said_of: dict[int, str | None] = {}
        self._notes = 0
        self.rows = self.until_us = 0

    def read(self, rows: Iterable[Row], decode: Decode, clock_us: int, told: Told) -> None:
        """Read all rows; `decode` tells what is in one, `told` hears every now and then how many there have been.

        `clock_us`: how far the embargo clock had come, by the journal's last beat, for a dive may end in silence.
        """
        now = None
        for row in rows:
            now = Moment(row.embargo_us, row.wall_s)
            self._count(self.walk.advance(now), now)
            if row.kind is RowKind.DECISION:
                self._decide(row, now)
            elif (feed := self._numbers.get(row.source)) is not None:
                self._hear(row, feed, decode(row, feed), now)
            else:
                self.unknown[row.source] = self.unknown.get(row.source, 0) + 1
            self.rows = row.seq
            if row.seq % EVERY_ROWS == 0:
                told(row.seq)
        if now is not None:
            silent_us = max(0, clock_us - now.embargo_us)
            self.until_us = now.embargo_us + silent_us
            end = Moment(now.embargo_us + silent_us, now.wall_s + silent_us / MICROSECONDS)
            self._count(self.walk.end(end), end)
        self._store.flush()

    def _hear(self, row: Row, feed: int, decoded: Decoded, now: Moment) -> None:
        """Put aside what a row tells of vehicles, and count the rest."""
        tally = self.feeds[feed]
        tally.rows += 1
        tally.octets += len(row.data)
        tally.passed_over += decoded.passed_over
        tally.rejected += decoded.rejected
        for report in decoded.reports:
            vehicle = self._vehicles.get(report.vehicle or "")
            if (vehicle is None) != tally.of_ship:
                tally.others += 1
                continue
            tally.reports += 1
            self._take(report, vehicle, feed, row, now)

    def _take(self, report: Heard, vehicle: int | None, feed: int, row: Row, now: Moment) -> None:
        """Put a report aside, of a vehicle or (None) of the ship herself, and let what it tells count."""
        mirrored = self._mirrored[feed]
        moment = (row.seq, row.embargo_us, row.wall_s)
        if vehicle is None:
            self._store.add_live(len(self._plan.vehicles), report, moment, feed, True)
            return
        number = self._store.add_live(vehicle, report, moment, feed, not mirrored)
        if report.noted:
            self._store.keep_receipt(number, row.seq, row.wall_s)
        if mirrored or report.noted:
            stamped = Stamped(row.embargo_us, number, vehicle, report.observation, feed)
            self._count(self.walk.report(stamped), now)
        else:
            self.walk.report_alone(row.embargo_us, number, vehicle, report, feed)

    def _count(self, counting: list[Stamped], now: Moment) -> None:
        """Note what counts since now, be it received before."""
        for counts in counting:
            said, vehicle, feed = counts.said, counts.vehicle, counts.source
            if not isinstance(said, Observation) or vehicle is None or feed is None:
                continue
            if self._mirrored[feed] and said != Observation(vehicle=said.vehicle, note=said.note):
                self._store.count(counts.row)
            if said.note is not None:
                self._note(said.note, counts, now)

    def _note(self, text: str, counts: Stamped, now: Moment) -> None:
        """Put a station's note aside as an annotation: with the row and the feed that it came by."""
        row, wall_s = self._store.receipt(counts.row)
        self._notes += 1
        note = Annotation(
            row=row,
            moment=Moment(counts.embargo_us, wall_s),
            text=text,
            vehicle=self._plan.vehicles[counts.vehicle or 0],
            who="",
            feed=self._plan.sources[counts.source or 0].name,
            where=self._where(counts.vehicle or 0, now),
        )
        self._store.add_item("annotation", self._in_order(row), note)

    def _in_order(self, row: int) -> int:
        """Return a number that no other annotation has: they are asked for in the order of their rows."""
        return row << _ROW_BITS | self._notes % (1 << _ROW_BITS)

    def _decide(self, row: Row, now: Moment) -> None:
        try:
            decision, who = read_decision(row.data), who_took(row.data)
        except OperatorError:
            text = row.data.decode("utf-8", errors="backslashreplace")
            self._store.add_item("decision", row.seq, Decided(row=row.seq, moment=now, who="", what="", text=text))
            return
        if isinstance(decision, Say):
            self._say(decision, row, now, who)
        elif isinstance(decision, Approve | Dismiss):
            self.said[decision.say] = "approved" if isinstance(decision, Approve) else "dismissed"
        elif isinstance(decision, Target):
            self._target(decision, row, now, who)
        elif isinstance(decision, Find):
            self.finds.take(row.seq, row.embargo_us, row.wall_s, who, decision)
        elif isinstance(decision, Begin | End | SetLeg):
            self.walk.decide(Stamped(row.embargo_us, row.seq, None, decision), now, who)
        told = Decided(
            row=row.seq,
            moment=now,
            who=who,
            what=word_for(decision),
            text=row.data.decode("utf-8"),
            vehicle=self._whose(decision),
        )
        self._store.add_item("decision", row.seq, told)

    def _whose(self, decision: Decision) -> str | None:
        """Return the vehicle that a decision is about: a later one on a target, a find or a say is about the same."""
        if isinstance(decision, Target):
            return self._found_by[decision.name]
        if isinstance(decision, Approve | Dismiss):
            return self._said_of.get(decision.say)
        if isinstance(decision, Find):
            known = self.finds.get(decision.name)
            return decision.vehicle if known is None else known.current.find.vehicle
        return getattr(decision, "vehicle", None)

    def _say(self, say: Say, row: Row, now: Moment, who: str) -> None:
        vehicle = self._vehicles.get(say.vehicle or "")
        self._said_of[row.seq] = say.vehicle
        self._notes += 1
        said = Annotation(
            row=row.seq,
            moment=now,
            text=say.text,
            vehicle=say.vehicle,
            who=who,
            feed=None,
            audiences=say.audiences,
            state="waits" if say.wait else "told",
            still=None if say.still is None else say.still.original,
            where=None if vehicle is None else self._where(vehicle, now),
        )
        self._store.add_item("annotation", self._in_order(row.seq), said)

    def _target(self, target: Target, row: Row, now: Moment, who: str) -> None:
        """Keep a decision on a target, with its place: by this sighting, else by the one before."""
        self._found_by[target.name] = target.vehicle or self._found_by.get(target.name)
        sighting = target.sighting
        if sighting is not None:
            seen_from = sighting.seen_from or self._seen_from(target.vehicle, now)
            if seen_from is not None:
                self._placed[target.name] = place_of(sighting, seen_from), row.seq
        placed, placed_row = self._placed.get(target.name, (None, None))
        self.targets.append(
            TargetSeen(
                row=row.seq,
                moment=now,
                who=who,
                name=target.name,
                verdict=target.verdict,
                vehicle=self._found_by[target.name],
                placed=placed,
                placed_row=placed_row,
            )
        )

    def _seen_from(self, name: str | None, now: Moment) -> SeenFrom | None:
        """Return where a vehicle is and heads, as `Pipeline.seen_from` does, None where that is in doubt."""
        vehicle = self._vehicles.get(name or "")
        doubts = self.walk.stations.doubts(now.embargo_us)
        if vehicle is None or any(doubt.vehicle == vehicle for doubt in doubts):
            return None
        state = self.walk.state(vehicle)
        place, heading_deg = (state.fresh(of, now.embargo_us, FRESH_US) for of in ("position", "heading_deg"))
        return None if place is None or heading_deg is None else SeenFrom(place[0], place[1], heading_deg)

    def _where(self, vehicle: int, now: Moment) -> Where | None:
        state = self.walk.state(vehicle)
        place, depth_m = (state.fresh(of, now.embargo_us, FRESH_US) for of in ("position", "depth_m"))
        return None if place is None else Where(place[0], place[1], depth_m)


def _feed_told(plan: Plan, at: int) -> FeedTold:
    source = plan.sources[at]
    beside = next((other.name for other in plan.sources if other.standby_for == source.name), None)
    if source.standby_for is not None:
        station = f"standby for {source.standby_for}"
    else:
        station = "alone" if beside is None else f"primary, standby {beside}"
    return FeedTold(source.name, source.format, source.vehicle, station, source.of_ship)
