"""Which dive and which leg each moment of the journal belongs to, exact: walked through from the first row.

Rules: judged once a second of the embargo clock, as the desk judges (`core.present`, `desk_legs`), with no delay and
from what counts of two stations. What the operator begins, ends or sets holds from the row of that decision. An
audience judges at its own ticks: a dive shorter than one may have no recording, and its recordings count on without it.
"""

from bisect import bisect_right
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from relay.core.decision import Begin, Decision, End, SetLeg
from relay.core.dive_phases import LegWatch
from relay.core.fuse import Fuse, Stamped, VehicleState
from relay.core.model import Observation
from relay.core.policy import MICROSECONDS, Plan
from relay.core.present import Present
from relay.core.stations import Stations
from relay.shell.exact.exact_values import Dive, Heard, Moment, Phase, fields_told, observed_values, own_time_s

FRESH_US = 30 * MICROSECONDS


@dataclass(slots=True)
class _UnderWay:
    """The dive that is being walked through: the tick it was judged to begin at, and the legs that have begun."""

    dive: Dive
    tick_us: int
    legs: dict[int, Phase] = field(default_factory=dict)


class _Waiting(NamedTuple):
    """A report that waits for the second to be judged: an observation is made only of what is taken then."""

    embargo_us: int
    row: int
    vehicle: int
    report: Heard
    source: int

    @property
    def stamped(self) -> Stamped:
        """The report as it is taken."""
        return Stamped(self.embargo_us, self.row, self.vehicle, self.report.observation, self.source)


class DiveWalk:
    """The dives and legs of a journal: told its rows in their order, asked when all are told."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._present, self.stations = Present(plan), Stations(plan)
        self.now = Fuse(len(plan.vehicles), by_own_clock=True)
        self.dives: list[Dive] = []
        self.phases: list[Phase] = []
        self._legs = self._on_deck()
        self._heard_us = [-1] * len(plan.vehicles)
        self._under_way: _UnderWay | None = None
        self._tick_us = 0
        self._wall_off_s = 0.0
        self._told = False
        self._pending: list[dict[bytes, Stamped | _Waiting]] = [{} for _ in plan.vehicles]
        self._own_s = [0.0] * len(plan.vehicles)
        self._by_hand: dict[type[Decision], tuple[Moment, str]] = {}
        self._late: list[Stamped] = []

    def advance(self, now: Moment) -> list[Stamped]:
        """Judge every second up to the moment of a row, before the row is told; return what counts only since then."""
        last_us = (now.embargo_us - 1) // MICROSECONDS * MICROSECONDS
        while self._tick_us < last_us:
            step_us = self._tick_us + MICROSECONDS
            # Between dives nothing changes until something is told: the last tick is enough.
            waits = self._under_way is not None or self._told
            self._judge(step_us if waits else max(step_us, last_us))
        self._wall_off_s = now.wall_s - now.embargo_us / MICROSECONDS
        late, self._late = self._late, []
        return late

    def report(self, stamped: Stamped) -> list[Stamped]:
        """Take what a vehicle reported; return what counts by now, perhaps of before."""
        if stamped.vehicle is not None:
            self._heard_us[stamped.vehicle] = stamped.embargo_us
        self._told = True
        counting = self.stations.sift([stamped])
        self._hear(counting)
        return counting

    def _hear(self, counting: list[Stamped]) -> None:
        for counts in counting:
            if isinstance(counts.said, Observation) and counts.vehicle is not None:
                fields = fields_told(observed_values(counts.said))
                self._put_off(counts, counts.vehicle, fields, own_time_s(counts.said))

    def report_alone(self, embargo_us: int, row: int, vehicle: int, report: Heard, source: int) -> None:
        """Take what a vehicle reported, without a note and by a feed without a mirror: as `report` does."""
        self._heard_us[vehicle] = embargo_us
        self._told = True
        waits = _Waiting(embargo_us, row, vehicle, report, source)
        self._put_off(waits, vehicle, report.fields, report.own_s)

    def _put_off(self, counts: "Stamped | _Waiting", vehicle: int, fields: bytes, own_s: float | None) -> None:
        """Keep what counts until the second is judged: of two that tell the same fields the later one stands for both.

        That changes nothing, as long as the vehicle's clock doesn't go back; when it does, all is taken in its order.
        """
        pending = self._pending[vehicle]
        if own_s is not None:
            if own_s < self._own_s[vehicle]:
                self._settle()
            self._own_s[vehicle] = own_s
        pending.pop(fields, None)
        pending[fields] = counts

    def _settle(self) -> None:
        """Take what was put off."""
        waiting = [counts for pending in self._pending for counts in pending.values()]
        for waits in sorted(waiting, key=lambda counts: counts.embargo_us):
            counts = waits.stamped if isinstance(waits, _Waiting) else waits
            self.now.take(counts)
            self._present.take(counts)
        for pending in self._pending:
            pending.clear()

    def state(self, vehicle: int) -> VehicleState:
        """Return what is known of a vehicle now."""
        self._settle()
        return self.now.states[vehicle]

    def decide(self, stamped: Stamped, moment: Moment, who: str) -> None:
        """Take a decision that tells something."""
        decision = stamped.said
        if isinstance(decision, Observation):
            return
        if isinstance(decision, Begin | End):
            self._by_hand[type(decision)] = moment, who
        elif isinstance(decision, SetLeg) and decision.vehicle in self._plan.vehicles:
            self._legs[self._plan.vehicles.index(decision.vehicle)].by_hand = decision.leg
        self._told = True
        self._settle()
        self._present.take(stamped)

    def end(self, now: Moment) -> list[Stamped]:
        """Judge up to the end of the journal; what is under way stays so. Return what counts only since then."""
        late = self.advance(Moment(now.embargo_us + MICROSECONDS, now.wall_s + 1.0))
        if (under_way := self._under_way) is not None:
            self.phases += under_way.legs.values()
            self.dives.append(replace(under_way.dive, vehicles=self._vehicles(under_way.dive)))
        self._under_way = None
        self.phases.sort(
            key=lambda phase: (phase.dive, self._plan.vehicles.index(phase.vehicle), phase.begun.embargo_us)
        )
        return late

    def dive_of(self, embargo_us: int) -> int | None:
        """Return the dive that what was received then belongs to, once the journal has ended."""
        at = bisect_right(self.dives, embargo_us, key=lambda dive: dive.first_us)
        return at if at and self.dives[at - 1].holds(embargo_us) else None

    def _judge(self, tick_us: int) -> None:
        self._tick_us, self._told = tick_us, False
        settled = self.stations.settle()  # what of a standby had to wait for the end of a tick, as an audience has it
        self._hear(settled)
        self._late += settled
        self._settle()
        begun_us = self._present.begun_us(tick_us) if self._present.under_way(tick_us) else None
        if self._under_way is not None and begun_us != self._under_way.tick_us:
            self._finish(self._under_way, tick_us)
        if self._under_way is None and begun_us is not None:
            self._begin(tick_us)
        for vehicle, legs in enumerate(self._legs):
            state = self.now.states[vehicle]
            depth_m, altitude_m = (state.fresh(name, tick_us, FRESH_US) for name in ("depth_m", "altitude_m"))
            legs.judge(depth_m, altitude_m, tick_us)
            if self._under_way is not None and self._heard_us[vehicle] >= self._under_way.dive.first_us:
                self._note_leg(self._under_way, vehicle, tick_us)

    def _begin(self, tick_us: int) -> None:
        moment, who = self._decided(Begin, tick_us)
        first_us = tick_us - MICROSECONDS + 1 if not who else moment.embargo_us
        number = len(self.dives) + 1
        self._under_way = _UnderWay(Dive(number=number, first_us=first_us, begun=moment, begun_by=who), tick_us)

    def _finish(self, under_way: _UnderWay, tick_us: int) -> None:
        moment, who = self._decided(End, tick_us)
        vehicles = self._vehicles(under_way.dive)
        self.dives.append(replace(under_way.dive, ended=moment, ended_by=who, vehicles=vehicles))
        self.phases += (replace(phase, ended=moment) for phase in under_way.legs.values())
        self._under_way, self._legs = None, self._on_deck()

    def _note_leg(self, under_way: _UnderWay, vehicle: int, tick_us: int) -> None:
        """Let a leg go on, or end it and begin the next."""
        watch, known = self._legs[vehicle], under_way.legs.get(vehicle)
        leg, by_hand = watch.by_hand or watch.leg, watch.by_hand is not None
        if known is not None and (known.leg, known.by_hand) == (leg, by_hand):
            return
        moment = under_way.dive.begun if known is None and tick_us == under_way.tick_us else self._moment(tick_us)
        if known is not None:
            self.phases.append(replace(known, ended=moment))
        name = self._plan.vehicles[vehicle]
        number = under_way.dive.number
        under_way.legs[vehicle] = Phase(dive=number, vehicle=name, leg=leg, begun=moment, by_hand=by_hand)

    def _decided(self, kind: type[Decision], tick_us: int) -> tuple[Moment, str]:
        """Return the moment and the author of a decision of the last second, else the tick and nobody."""
        told = self._by_hand.pop(kind, None)
        if told is not None and tick_us - MICROSECONDS < told[0].embargo_us <= tick_us:
            return told
        return self._moment(tick_us), ""

    def _moment(self, tick_us: int) -> Moment:
        return Moment(tick_us, tick_us / MICROSECONDS + self._wall_off_s)

    def _vehicles(self, dive: Dive) -> tuple[str, ...]:
        """Return the vehicles heard since the dive began: asked when it ends, so not after."""
        pairs = zip(self._plan.vehicles, self._heard_us, strict=True)
        return tuple(name for name, heard_us in pairs if heard_us >= dive.first_us)

    def _on_deck(self) -> list[LegWatch]:
        return [LegWatch(self._plan.legs) for _ in self._plan.vehicles]
