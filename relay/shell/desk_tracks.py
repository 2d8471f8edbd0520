"""Where the vehicles have been, exact, for the desk's plan and ribbon, and which leg each is in now.

Rules: looked at once a second of the embargo clock, from the newest state of every vehicle, so that a journal that is
read again gives the same; metres east and north of the desk's own origin, the first fix of the run, with north up.
"""

from typing import Any

from relay.core.decision import SetLeg, read_decision
from relay.core.dive_phases import LegWatch
from relay.core.errors import OperatorError
from relay.core.geodesy import Anchor, plane
from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.policy import Leg
from relay.shell.trail import Trail

EVERY_US, FRESH_US = 1_000_000, 30_000_000


class Tracks:
    """The exact tracks of a run."""

    def __init__(self, pipeline: Pipeline) -> None:
        self._pipeline = pipeline
        self.origin: tuple[float, float] | None = None
        self.exact = {name: Trail() for name in pipeline.plan.vehicles}
        self._legs = self._on_deck()
        self._looked_us = -EVERY_US
        self._under_way = False

    def take(self, row: Row) -> None:
        """Look at the vehicles, if it is time to, after the pipeline has taken a row."""
        if row.kind is RowKind.DECISION:
            self._take_decision(row)
        if row.embargo_us - self._looked_us < EVERY_US:
            return
        self._looked_us = row.embargo_us
        under_way = self._pipeline.present.under_way(row.embargo_us)
        if under_way and not self._under_way:
            self._legs = self._on_deck()
        self._under_way = under_way
        for trail, state, legs in zip(self.exact.values(), self._pipeline.now.states, self._legs, strict=True):
            place, depth_m = self.metres(state.last("position")), state.last("depth_m")
            legs.judge(depth_m, state.fresh("altitude_m", row.embargo_us, FRESH_US), row.embargo_us)
            if place is not None and state.heard_us is not None:
                trail.add(state.heard_us, *place, depth_m)

    def leg(self, vehicle: int) -> Leg | None:
        """Return the leg that a vehicle is in now, None between dives and while nothing was heard of it."""
        if self._pipeline.now.states[vehicle].heard_us is None:
            return None
        return (self._legs[vehicle].by_hand or self._legs[vehicle].leg) if self._under_way else None

    def metres(self, position: tuple[float, float] | None) -> tuple[float, float] | None:
        """Return metres east and north of the desk's origin; the first position that is asked for becomes it."""
        if position is None:
            return None
        if self.origin is None:
            self.origin = position
        east_m, north_m, _, _ = plane(*position, Anchor(*self.origin, 0))
        return round(east_m, 2), round(north_m, 2)

    def lines(self) -> dict[str, Any]:
        """Return the tracks as plain values, a line of points for each vehicle."""
        return {name: trail.points() for name, trail in self.exact.items()}

    def _on_deck(self) -> list[LegWatch]:
        return [LegWatch(self._pipeline.plan.legs) for _ in self._pipeline.plan.vehicles]

    def _take_decision(self, row: Row) -> None:
        try:
            decision = read_decision(row.data)
        except OperatorError:
            return
        if isinstance(decision, SetLeg) and decision.vehicle in self._pipeline.plan.vehicles:
            self._legs[self._pipeline.plan.vehicles.index(decision.vehicle)].by_hand = decision.leg
