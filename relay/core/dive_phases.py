"""When a dive begins and ends, and which leg of it a vehicle is in.

Rules: both are judged once a tick, from values that the embargo has let through; each border has two limits.
"""

from relay.core.fuse import Fuse
from relay.core.policy import DiveLimits, Leg, LegLimits


class LegWatch:
    """The leg of one vehicle.

    from      to        when
    deck      descent   deeper than deck_leave_m
    descent   bottom    altitude within bottom_enter_m, or (no altitude) depth level for level_us
    descent   deck      shallower than deck_enter_m
    bottom    ascent    altitude beyond bottom_leave_m, or that far above the deepest of this bottom leg
    ascent    bottom    altitude within bottom_enter_m
    ascent    deck      shallower than deck_enter_m
    """

    def __init__(self, limits: LegLimits) -> None:
        self._limits = limits
        self.leg = Leg.DECK
        self.by_hand: Leg | None = None
        self._deepest_m = 0.0
        self._level: tuple[float, int] | None = None

    def judge(self, depth_m: float | None, altitude_m: float | None, at_us: int) -> Leg:
        """Return the leg after seeing depth and altitude (metres, None if unknown) at a tick."""
        if depth_m is not None:
            self.leg = self._next(depth_m, altitude_m, at_us)
        elif self.leg in (Leg.DESCENT, Leg.ASCENT) and self._near(altitude_m):
            self.leg = Leg.BOTTOM
        if self.by_hand is not None:
            self.leg = self.by_hand
        return self.leg

    def _near(self, altitude_m: float | None) -> bool:
        return altitude_m is not None and altitude_m <= self._limits.bottom_enter_m

    def _next(self, depth_m: float, altitude_m: float | None, at_us: int) -> Leg:
        limits = self._limits
        if self.leg is Leg.DECK:
            self._level = None
            return Leg.DESCENT if depth_m > limits.deck_leave_m else Leg.DECK
        if depth_m < limits.deck_enter_m:
            return Leg.DECK
        if self.leg is Leg.BOTTOM:
            return self._from_bottom(depth_m, altitude_m)
        if self._near(altitude_m) or (self.leg is Leg.DESCENT and self._is_level(depth_m, altitude_m, at_us)):
            self._deepest_m = depth_m
            return Leg.BOTTOM
        return self.leg

    def _from_bottom(self, depth_m: float, altitude_m: float | None) -> Leg:
        limits = self._limits
        self._deepest_m = max(self._deepest_m, depth_m)
        far = altitude_m is not None and altitude_m > limits.bottom_leave_m
        risen = not self._near(altitude_m) and self._deepest_m - depth_m > limits.bottom_leave_m
        return Leg.ASCENT if far or risen else Leg.BOTTOM

    def _is_level(self, depth_m: float, altitude_m: float | None, at_us: int) -> bool:
        if self._level is None or abs(depth_m - self._level[0]) > self._limits.level_m:
            self._level = (depth_m, at_us)
        return altitude_m is None and at_us - self._level[1] >= self._limits.level_us


class DiveWatch:
    """Whether a dive is under way.

    One that the operator began counts as quiet from `begun_us`, if nothing is heard, and as surfaced only after it
    was down: he begins it on deck.
    """

    def __init__(self, limits: DiveLimits, begun_us: int = 0, *, by_hand: bool = False) -> None:
        self._limits = limits
        self.begun_us = begun_us
        self._was_down = not by_hand
        self._surfaced_us: int | None = None

    def begins(self, fuse: Fuse, at_us: int) -> bool:
        """Return whether what `fuse` has heard begins a dive at tick `at_us`."""
        least = self._limits.begin_depth_m
        if least is None:
            return fuse.heard_us() is not None
        return any(depth > least for depth in self._depths(fuse, at_us))

    def ends(self, fuse: Fuse, at_us: int) -> bool:
        """Return whether the dive is over at tick `at_us`."""
        heard_us = fuse.heard_us()
        if at_us - (self.begun_us if heard_us is None else heard_us) >= self._limits.quiet_us:
            return True
        self._was_down = self._was_down or self.begins(fuse, at_us)
        if self._limits.begin_depth_m is None or not self._was_down:
            return False
        return self._surfaced(fuse, at_us, self._limits.begin_depth_m)

    def _surfaced(self, fuse: Fuse, at_us: int, begin_depth_m: float) -> bool:
        depths = self._depths(fuse, at_us)
        if not depths or max(depths) > begin_depth_m / 2:
            self._surfaced_us = None
            return False
        if self._surfaced_us is None:
            self._surfaced_us = at_us
        return at_us - self._surfaced_us >= self._limits.surfaced_us

    def _depths(self, fuse: Fuse, at_us: int) -> list[float]:
        depths = (state.fresh("depth_m", at_us, self._limits.quiet_us) for state in fuse.states)
        return [depth for depth in depths if depth is not None]
