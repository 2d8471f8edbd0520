"""Which leg of its dive each vehicle is in now, exact: for the desk alone.

Rules: judged once a second of the embargo clock from the newest state, as an audience without a delay would judge it,
so that a journal that is read again gives the same; what the operator set by hand holds until the dive is over.
"""

from relay.core.decision import SetLeg, read_decision
from relay.core.dive_phases import LegWatch
from relay.core.errors import OperatorError
from relay.core.model import Row, RowKind
from relay.core.pipeline import Pipeline
from relay.core.policy import Leg

EVERY_US, FRESH_US = 1_000_000, 30_000_000


class Legs:
    """The legs of all vehicles of an expedition, by their places in the plan."""

    def __init__(self, pipeline: Pipeline) -> None:
        self._pipeline = pipeline
        self._legs = self._on_deck()
        self._judged_us = -EVERY_US
        self._under_way = False

    def take(self, row: Row) -> None:
        """Judge, if it is time to, after the pipeline has taken a row."""
        if row.kind is RowKind.DECISION:
            self._take_decision(row)
        if row.embargo_us - self._judged_us < EVERY_US:
            return
        self._judged_us = row.embargo_us
        under_way = self._pipeline.present.under_way(row.embargo_us)
        if self._under_way and not under_way:
            self._legs = self._on_deck()
        self._under_way = under_way
        for state, legs in zip(self._pipeline.now.states, self._legs, strict=True):
            depth_m, altitude_m = (state.fresh(name, row.embargo_us, FRESH_US) for name in ("depth_m", "altitude_m"))
            legs.judge(depth_m, altitude_m, row.embargo_us)

    def leg(self, vehicle: int) -> Leg | None:
        """Return the leg that a vehicle is in now, None between dives and while nothing was heard of it."""
        if not self._under_way or self._pipeline.now.states[vehicle].heard_us is None:
            return None
        return self._legs[vehicle].by_hand or self._legs[vehicle].leg

    def _on_deck(self) -> list[LegWatch]:
        return [LegWatch(self._pipeline.plan.legs) for _ in self._pipeline.plan.vehicles]

    def _take_decision(self, row: Row) -> None:
        try:
            decision = read_decision(row.data)
        except OperatorError:
            return
        if isinstance(decision, SetLeg) and decision.vehicle in self._pipeline.plan.vehicles:
            self._legs[self._pipeline.plan.vehicles.index(decision.vehicle)].by_hand = decision.leg
