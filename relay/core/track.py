"""Where, if anywhere, a vehicle is shown: cells with hysteresis, start, radius, zones.

Rules: every judgement (has it moved far enough, is it within the radius, is it in a zone) is made on the snapped
position that is published, never on the exact one, so the moment of a judgement tells no more than the cells do. What
is frozen is a cell outside of every zone, also of one that was laid since it was shown; else nothing is shown.
"""

from math import hypot
from typing import NamedTuple

from relay.core.area import HiddenDisc, ZoneAction
from relay.core.policy import Leg, Policy
from relay.core.quantise import Step


class Bottomed(NamedTuple):
    """Where (snapped, metres) and when a vehicle first reached the bottom in this dive."""

    east_m: float
    north_m: float
    at_us: int


class Shown(NamedTuple):
    """The cell to publish, metres, or None while it is withheld; `moving` unless withheld or frozen."""

    cell: tuple[float, float] | None = None
    moving: bool = False


class Track:
    """The published track of one vehicle in one dive."""

    def __init__(self, policy: Policy) -> None:
        self._policy = policy
        self._east, self._north = Step(policy.cell_m), Step(policy.cell_m)
        self._bottomed: Bottomed | None = None
        self._started = False
        self._held: tuple[float, float] | None = None

    def show(self, east_m: float, north_m: float, leg: Leg, zones: tuple[HiddenDisc, ...], at_us: int) -> Shown:
        """Return what to publish for a position in the frame, metres."""
        cell = self._east.quantise(east_m), self._north.quantise(north_m)
        if leg is Leg.BOTTOM and self._bottomed is None:
            self._bottomed = Bottomed(*cell, at_us)
        if leg not in self._policy.track_legs or not self._may_start(cell, at_us) or self._beyond(cell):
            return Shown()
        covering = [zone for zone in zones if zone.covers(*cell)]
        if any(zone.action is ZoneAction.WITHHOLD for zone in covering):
            return Shown()
        if covering:
            if self._held is not None and any(zone.covers(*self._held) for zone in zones):
                self._held = None  # a zone of the desk, laid where it was already shown
            return Shown(self._held)
        self._held = cell
        return Shown(cell, moving=True)

    def _may_start(self, cell: tuple[float, float], at_us: int) -> bool:
        policy, bottomed = self._policy, self._bottomed
        if self._started or (policy.track_start_m == 0 and policy.track_start_us == 0):
            return True
        if bottomed is None or at_us - bottomed.at_us < policy.track_start_us:
            return False
        self._started = _apart(cell, bottomed) >= policy.track_start_m
        return self._started

    def _beyond(self, cell: tuple[float, float]) -> bool:
        if self._policy.radius_m is None:
            return False
        return self._bottomed is None or _apart(cell, self._bottomed) > self._policy.radius_m


def _apart(cell: tuple[float, float], bottomed: Bottomed) -> float:
    return hypot(cell[0] - bottomed.east_m, cell[1] - bottomed.north_m)
