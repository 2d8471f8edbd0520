"""One audience's side of the door: from what the embargo has let through to released records.

Rules: records leave on a fixed grid of the embargo clock (multiples of the tick, plus a lag that is a whole number of
ticks), whatever arrives; between dives nothing leaves and nothing is remembered; everything is a function of
observations, decisions, plan and secrets. The programme alone leaves between dives, too, as late as a record of the
same tick; the steps of its countdown are counted from then. When a vehicle is outside the declared area the release
stops until the operator resumes it; ticks with a vehicle outside are never shown (R4), nor what was noted in them. A
dive that the operator ended is over: none begins by itself until the vehicles have come up or fallen quiet. The first
tick of each minute of a dive brings the head of the exact record, whatever the policy shows.
"""

from collections.abc import Callable, Iterator
from typing import NamedTuple

from relay.core.decision import Begin, End, LiftZone, Say, SetLeg, Target
from relay.core.disclosure import Disclosure, Ground
from relay.core.dive_phases import DiveWatch
from relay.core.embargo import Embargo
from relay.core.fuse import Fuse, Stamped
from relay.core.geodesy import AnchorSeeker, SiteFrame
from relay.core.hiding import Hiding
from relay.core.minute_tree import MINUTE_US
from relay.core.model import Observation
from relay.core.policy import Disclosed, Plan, Policy
from relay.core.programme import NO_PROGRAMME, Programme
from relay.core.programme_board import Board
from relay.core.record_log import RecordLog
from relay.core.release import ReleasedRecord, ReleaseLog
from relay.core.restart import Standing
from relay.core.sayable import may_post, may_say
from relay.core.seal import Signer
from relay.core.secrets import Secrets
from relay.core.stations import Stations
from relay.core.still import STILLS_A_DIVE


class Due(NamedTuple):
    """A released record and the moment on the embargo clock at which it leaves, microseconds."""

    instant_us: int
    record: ReleasedRecord


def anything(tick_us: int) -> bool:
    """Let every tick leave."""
    return True


class _Dive:
    """The state of a dive under way, forgotten when it ends."""

    def __init__(self, policy: Policy, plan: Plan, number: int, begun_us: int, by_hand: bool, key: bytes) -> None:
        self.begun_us = begun_us
        self.log = ReleaseLog(policy, plan, number, begun_us, key)
        self.watch = DiveWatch(plan.dive, begun_us, by_hand=by_hand)
        self.disclosures = [Disclosure(policy, plan) for _ in plan.vehicles]
        self.stills = 0
        self.sealed_minute = -1


class Channel:
    """One audience: its place in the embargo, its dives, its release log."""

    def __init__(
        self, index: int, policy: Policy, plan: Plan, secrets: Secrets, embargo: Embargo, record: RecordLog,
        start: Standing,
    ) -> None:  # fmt: skip
        self.policy = policy
        self._index, self._plan, self._secrets, self._embargo, self._record = index, plan, secrets, embargo, record
        self._key = Signer(secrets.signing_seed).key
        self.next_dive = start.next_dive
        self._anchor = start.anchor
        self._seeker = AnchorSeeker()
        self._frame: SiteFrame | None = None
        self.hiding = Hiding(plan.zones, secrets, start.zones)
        self.board = Board(policy, start.told)
        self._dive: _Dive | None = None
        self._fuse, self._stations = self._nothing()
        self._kept: list[Stamped] = []
        self._idle_watch = DiveWatch(plan.dive)
        self._ended: DiveWatch | None = None
        # Another tick in the expedition file than before the restart has another grid.
        self._tick_us = max(0, self._grid(start.had_us + 1))
        self._instant_us = self._grid(start.instant_us)
        self._early_us = -1
        self._lag_us = self._lag()
        self._held = False
        self._halts: dict[int, tuple[int, int | None]] = {}
        # The row of the newest hold, also of one that will come; 0 where none is known.
        self.held_row = 0
        self.outside: str | None = None
        self._excused = False
        # Asked of each tick before it leaves, beside all else: it can keep ticks in, and lets nothing out.
        self.may_leave: Callable[[int], bool] = anything

    @property
    def under_way(self) -> bool:
        """Whether a dive is being released to this audience."""
        return self._dive is not None

    @property
    def begun_us(self) -> int | None:
        """The moment with which the dive that is being released began here, None between dives."""
        return None if self._dive is None else self._dive.begun_us

    @property
    def held(self) -> bool:
        """Whether the operator holds the release to this audience."""
        return self._held or bool(self._halts)

    @property
    def idle(self) -> bool:
        """Whether nothing is under way here that a restart would have to know beyond `standing`."""
        stopped = self.held or self.outside is not None or self._excused
        return not (stopped or self._dive or self._ended or self._kept)

    @property
    def stills(self) -> int:
        """How many stills the dive under way has had here."""
        return self._dive.stills if self._dive is not None else 0

    @property
    def edge_us(self) -> int:
        """The moment up to which input has gone through the door; what came later can still be cut."""
        return self._tick_us - self.policy.tick_us

    @property
    def from_us(self) -> int:
        """The first tick that hasn't left."""
        return self._tick_us

    @property
    def coming_us(self) -> int | None:
        """The next tick with which something may leave, None while there is nothing to wait for."""
        return self._next_tick_us()

    @property
    def standing(self) -> Standing:
        """What a restart has to know of this audience, if it is idle."""
        return Standing(self.next_dive, self.edge_us, self._anchor, self._instant_us, told=self.board.told)

    def halt(self, row: int, from_us: int, number: int | None) -> None:
        """Let no tick from `from_us` on leave: the hold of this journal row will come, and acts before it does.

        Nor a step of a programme from `number` on.
        """
        self._halts[row] = from_us, number
        self.held_row = max(self.held_row, row)

    def hold(self, row: int) -> None:
        """Stop releasing: the hold of this journal row has come."""
        self._halts.pop(row, None)
        self._held, self.held_row = True, max(self.held_row, row)

    def resume(self, row: int, at_us: int, *, outside: bool) -> None:
        """Go on releasing, by this journal row; what fell due meanwhile leaves at the next moment of the grid.

        Where a vehicle was outside the declared area the release goes on only if that is meant (`outside`); what is
        outside is left out then until it is back inside.
        """
        if outside:
            self._excused = self._excused or self.outside is not None
            self.outside = None
        self._held = False
        self._halts = {at: halt for at, halt in self._halts.items() if at > row}
        self._instant_us = max(self._instant_us, self._grid(at_us))

    def release_early(self, upto_us: int, at_us: int) -> None:
        """Let what was received up to `upto_us`, and before now, leave at the next moment of the grid."""
        self._early_us = max(self._early_us, min(upto_us, at_us - 1))
        self._instant_us = max(self._instant_us, self._grid(at_us))

    def next_us(self) -> int | None:
        """Return the embargo moment at which something may be due, or None while there is nothing to wait for."""
        if self._held or self.outside is not None:
            return None
        tick_us, step_us = self._tick_due_us(), None if self.board.told is None else self._step_due_us()
        due_us = step_us if tick_us is None or (step_us is not None and step_us < tick_us) else tick_us
        return due_us if due_us is None or due_us > self._instant_us else self._instant_us

    def advance(self, now_us: int) -> list[Due]:
        """Return everything due up to and including `now_us`, in order."""
        out: list[Due] = []
        while (due_us := self.next_us()) is not None and due_us <= now_us:
            self._instant_us = due_us
            out += [Due(due_us, record) for record in self._next()]
        return out

    def _next(self) -> list[ReleasedRecord]:
        """Return the records of the next tick, or the countdown's next step where that comes first."""
        tick_due_us, step_due_us = self._tick_due_us(), self._step_due_us()
        if tick_due_us is None or (step_due_us is not None and step_due_us < tick_due_us):
            return [self.board.step()]
        tick_us = self._next_tick_us()
        assert tick_us is not None
        records = self._tick(tick_us)
        self._tick_us = tick_us + self.policy.tick_us
        return records

    def _tick_due_us(self) -> int | None:
        """Return when the next tick leaves, if nothing keeps it in."""
        tick_us = self._next_tick_us()
        if tick_us is None or (self._halts and any(tick_us >= from_us for from_us, _ in self._halts.values())):
            return None
        if not self.may_leave(tick_us):
            return None
        return self._leaves_us(tick_us)

    def _leaves_us(self, tick_us: int) -> int:
        return tick_us + (0 if tick_us <= self._early_us else self._lag_us)

    def _step_due_us(self) -> int | None:
        """Return when the countdown's next step leaves, if nothing keeps it in."""
        if self.board.told is None:
            return None
        halts, step_us = self._halts.values(), self.board.next_us()
        halted = halts and any(from_ is not None and self.board.next_number >= from_ for _, from_ in halts)
        return None if halted or step_us is None or self._waits_behind(step_us) else step_us

    def _waits_behind(self, step_us: int) -> bool:
        """Whether a tick that is due before a step may not leave: then nor may the step, or a restart would differ."""
        tick_us = self._next_tick_us()
        return tick_us is not None and self._leaves_us(tick_us) <= step_us and not self.may_leave(tick_us)

    def _next_tick_us(self) -> int | None:
        if self._dive is not None or self._kept:
            return self._tick_us
        moment_us = self._embargo.next_us(self._index)
        return None if moment_us is None else max(self._tick_us, self._grid(moment_us))

    def _lag(self) -> int:
        """Return the delay of the coming dive: the policy's, the secret extra, up to whole ticks."""
        tick = self.policy.tick_us
        extra = self._secrets.extra_ticks(self.policy.audience, self.next_dive, self.policy.extra_us // tick)
        return self._grid(self.policy.delay_us) + extra * tick

    def _longest_lag(self) -> int:
        """Return the delay with the greatest addition that there may be: no secret."""
        return self._grid(self.policy.delay_us) + self.policy.extra_us // self.policy.tick_us * self.policy.tick_us

    def _grid(self, moment_us: int) -> int:
        tick = self.policy.tick_us
        return -(-moment_us // tick) * tick

    def _tick(self, at_us: int) -> list[ReleasedRecord]:
        if self._ended is not None and self._ended.ends(self._fuse, at_us):
            self._ended = None
            self._fuse, self._stations = self._nothing()
        arrived = self._arrived(at_us)
        by_hand = any(isinstance(item.said, Begin) for item in arrived)
        begins = by_hand or (self._ended is None and self._idle_watch.begins(self._fuse, at_us))
        if self._dive is None and not begins:
            self._forget()
            return self._programme(arrived, at_us)
        if self._is_outside(at_us):
            stays = Begin | SetLeg | End | Programme
            self._kept = [item for item in arrived if isinstance(item.said, stays)] + self._kept
            self._forget()
            return []
        opening = []
        if self._dive is None:
            self._dive = _Dive(self.policy, self._plan, self.next_dive, at_us, by_hand, self._key)
            self._ended = None
            opening = [self._dive.log.open(at_us)]
            self.board.begun(self.next_dive)
        return [*opening, *self._under_way(self._dive, arrived, at_us), *self._programme(arrived, at_us)]

    def _arrived(self, at_us: int) -> list[Stamped]:
        """Return what the embargo lets through up to a tick; what follows the end of the dive is kept for the next."""
        arrived = self._kept + self._embargo.due(self._index, at_us)
        ends = [at for at, item in enumerate(arrived, 1) if isinstance(item.said, End)]
        end = ends[0] if ends else len(arrived)
        self._kept = arrived[end:]
        counts = self._stations.sift(arrived[:end]) + self._stations.settle()
        for stamped in counts:
            self._fuse.take(stamped)
            if isinstance(stamped.said, LiftZone):
                self.hiding.lift(stamped.row, stamped.said.name)
        doubted = [doubt.vehicle for doubt in self._stations.doubts(at_us)]
        for vehicle, state in enumerate(self._fuse.states):
            state.in_doubt = vehicle in doubted
        return counts

    def _forget(self) -> None:
        """Between dives nothing is remembered, unless it is still to be seen whether the one that was ended is over."""
        if self._dive is None and self._ended is None:
            self._fuse, self._stations = self._nothing()

    def _nothing(self) -> tuple[Fuse, Stations]:
        """Return what is known of the vehicles, and of the stations, before anything was heard."""
        return Fuse(len(self._plan.vehicles)), Stations(self._plan)

    def _is_outside(self, at_us: int) -> bool:
        """Return whether a vehicle has a fix outside the declared area; if the operator hasn't seen to it, stop."""
        area = self._plan.area
        if area is None:
            return False
        pairs = zip(self._plan.vehicles, self._fuse.states, strict=True)
        fixes = {name: state.fresh("position", at_us, self.policy.stale_us) for name, state in pairs}
        known = {name: fix for name, fix in fixes.items() if fix is not None}
        outside = [name for name, fix in known.items() if not area.contains(fix)]
        if outside and not self._excused:
            self.outside = outside[0]
        self._excused = self._excused and (bool(outside) or not known)
        return bool(outside)

    def _under_way(self, dive: _Dive, arrived: list[Stamped], at_us: int) -> list[ReleasedRecord]:
        for stamped in arrived:
            self._seek(stamped)
            if isinstance(stamped.said, SetLeg) and stamped.vehicle is not None:
                dive.disclosures[stamped.vehicle].legs.by_hand = stamped.said.leg
        ground = self._site()
        pairs = zip(dive.disclosures, self._fuse.states, strict=True)
        records = [dive.log.tick(at_us, [disclosure.report(state, ground, at_us) for disclosure, state in pairs])]
        records += [*self._head(dive, at_us), *self._told(dive, arrived, at_us)]
        by_itself = dive.watch.ends(self._fuse, at_us)
        if by_itself or any(isinstance(stamped.said, End) for stamped in arrived):
            records.append(dive.log.end(at_us))
            self._between_dives(None if by_itself else dive.watch)
        return records

    def _head(self, dive: _Dive, at_us: int) -> list[ReleasedRecord]:
        """Return the head over what the ship had received by this tick, with the first tick of each dive minute."""
        minute = (at_us - dive.begun_us) // MINUTE_US
        if minute == dive.sealed_minute:
            return []
        dive.sealed_minute = minute
        head = self._record.released(at_us // MINUTE_US, self.policy.audience, dive.log.dive, minute)
        return [dive.log.head(at_us, head)]

    def _told(self, dive: _Dive, arrived: list[Stamped], at_us: int) -> Iterator[ReleasedRecord]:
        """Yield annotations and targets that this audience may have and whose words tell no place."""
        if Disclosed.NOTES not in self.policy.fields:
            return
        for stamped in arrived:
            said, vehicle = stamped.said, stamped.vehicle
            if isinstance(said, Observation) and said.note is not None and self._may_say(said.note):
                yield dive.log.note(at_us, vehicle, said.note)
            elif isinstance(said, Say) and self._is_for(said) and self._may_say(said.text):
                yield self._said(dive, at_us, vehicle, said)
            elif isinstance(said, Target) and self._may_say(said.name):
                yield dive.log.target(at_us, vehicle, said.name, said.verdict)

    def _programme(self, arrived: list[Stamped], at_us: int) -> list[ReleasedRecord]:
        """Return the programme that came through; the steps of one that is released early are as late as may be."""
        dive = self.next_dive + (self._dive is not None)
        leaves_us = at_us + (self._longest_lag() if at_us <= self._early_us else self._lag_us)
        told = [item.said for item in arrived if isinstance(item.said, Programme)]
        if Disclosed.NOTES not in self.policy.fields:
            told = [NO_PROGRAMME for _ in told]  # whoever was told one before the expedition file was changed
        records = [self.board.take(item, leaves_us, dive) for item in told if may_post(self.policy, self._plan, item)]
        return [record for record in records if record is not None]

    def _said(self, dive: _Dive, at_us: int, vehicle: int | None, said: Say) -> ReleasedRecord:
        """Return an annotation of the desk, with its still where this audience may have it and there is room."""
        if said.still is None or Disclosed.STILLS not in self.policy.fields or dive.stills >= STILLS_A_DIVE:
            return dive.log.note(at_us, vehicle, said.text)
        dive.stills += 1
        return dive.log.still(at_us, vehicle, said.text, said.still)

    def _is_for(self, said: Say) -> bool:
        return not said.audiences or self.policy.audience in said.audiences

    def _may_say(self, text: str) -> bool:
        return may_say(self.policy, self._plan, text)

    def _between_dives(self, ended: DiveWatch | None) -> None:
        """Forget the dive; `ended` watches on for its end by itself, if the operator ended it before."""
        self._dive, self._ended, self._excused = None, ended, False
        self._seeker = AnchorSeeker()
        self._forget()
        self.next_dive += 1
        self._lag_us = self._lag()

    def _seek(self, stamped: Stamped) -> None:
        fix = stamped.said
        if self._anchor is not None or not isinstance(fix, Observation) or stamped.vehicle is None:
            return
        if self._fuse.states[stamped.vehicle].in_doubt:
            return
        if fix.latitude_deg is not None and fix.longitude_deg is not None:
            self._anchor = self._seeker.offer(fix.latitude_deg, fix.longitude_deg, stamped.embargo_us)

    def _site(self) -> Ground | None:
        """Return the site's frame and zones, once a fix has been confirmed."""
        if self._frame is None:
            if self._anchor is None:
                return None
            self._frame = SiteFrame(self._anchor, self._secrets)
        return Ground(self._frame, self.hiding.discs(self._frame))
