"""From what is known of a vehicle to what one audience may see of it.

Rules: deny by default; a value that the policy does not name, that is stale, or whose place is in doubt stays
out; every step has hysteresis; a heading is given in the same turned frame as the track, and only where the
track would be shown, so that nobody steers by it through what is withheld.
"""

from dataclasses import dataclass

from relay.core.area import HiddenDisc
from relay.core.dive_phases import LegWatch
from relay.core.fuse import VehicleState
from relay.core.geodesy import SiteFrame
from relay.core.policy import Disclosed, Leg, Place, Plan, Policy
from relay.core.quantise import SLACK, Step
from relay.core.track import Track

ON_THE_BOTTOM_M = 1.5
NEAR_THE_BOTTOM_M = 15.0


@dataclass(frozen=True, slots=True)
class Report:
    """What is released of one vehicle at one tick; None is withheld or unknown.

    `position` (latitude_deg, longitude_deg) is set for an audience with exact place alone.
    """

    heard: bool
    east_m: float | None = None
    north_m: float | None = None
    depth_m: float | None = None
    heading_deg: float | None = None
    altitude: str | None = None
    mode: str | None = None
    leg: str | None = None
    pitch_deg: float | None = None
    roll_deg: float | None = None
    position: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class Ground:
    """The site as one audience's disclosure needs it at a tick: the frame and the zones in it."""

    frame: SiteFrame
    zones: tuple[HiddenDisc, ...] = ()


class AltitudeWords:
    """Height above the seabed in words, with hysteresis; None without a sounding."""

    _BORDERS = (("on the bottom", ON_THE_BOTTOM_M), ("near the bottom", NEAR_THE_BOTTOM_M))

    def __init__(self) -> None:
        self._held: str | None = None

    def say(self, altitude_m: float | None) -> str | None:
        """Return the word for an altitude in metres."""
        self._held = None if altitude_m is None else self._word(altitude_m)
        return self._held

    def _word(self, altitude_m: float) -> str:
        for word, border_m in self._BORDERS:
            if altitude_m <= border_m * (1 + SLACK if word == self._held else 1):
                return word
        return "mid-water"


class DepthSteps:
    """Depth in steps: one step on the bottom, perhaps a finer one elsewhere, perhaps relative to the bottom."""

    def __init__(self, policy: Policy) -> None:
        self._bottom = Step(policy.depth_step_m)
        self._elsewhere = Step(policy.descent_step_m or policy.depth_step_m)
        self._relative = policy.depth_relative
        self._first_m: float | None = None

    def show(self, depth_m: float, leg: Leg) -> float | None:
        """Return the depth to publish, metres; relative depths exist on the bottom alone."""
        if self._relative:
            return self._from_first(depth_m, leg)
        # Both hold on through the whole dive, so that neither starts afresh, without hysteresis, at a change of leg.
        bottom, elsewhere = self._bottom.quantise(depth_m), self._elsewhere.quantise(depth_m)
        return bottom if leg is Leg.BOTTOM else elsewhere

    def _from_first(self, depth_m: float, leg: Leg) -> float | None:
        if leg is not Leg.BOTTOM:
            return None
        if self._first_m is None:
            self._first_m = depth_m
        return self._bottom.quantise(depth_m - self._first_m)


class Disclosure:
    """One vehicle of one dive as one audience may see it."""

    def __init__(self, policy: Policy, plan: Plan) -> None:
        self._policy = policy
        self._site_radius_m = plan.site_radius_m
        self.legs = LegWatch(plan.legs)
        self._words = AltitudeWords()
        self._track, self._depth = Track(policy), DepthSteps(policy)
        self._heading = Step(policy.heading_step_deg, period=360.0)
        self._pitch, self._roll = Step(policy.tilt_step_deg), Step(policy.tilt_step_deg)

    def report(self, state: VehicleState, ground: Ground | None, at_us: int) -> Report:
        """Return what may be told of `state` at a tick; `ground` is None while the site has no anchor."""
        heard = state.heard_us is not None and at_us - state.heard_us <= self._policy.stale_us
        depth_m, altitude_m = self._known(state, "depth_m", at_us), self._known(state, "altitude_m", at_us)
        leg = self.legs.judge(depth_m, altitude_m, at_us)
        word = self._words.say(altitude_m)
        if not heard:
            return Report(heard=False)
        cell, heading_deg = self._placed(state, ground, leg, at_us)
        depth_shown_m = None if depth_m is None else self._depth.show(depth_m, leg)
        mode = self._known(state, "mode", at_us)
        return Report(
            heard=True,
            east_m=cell[0] if cell else None,
            north_m=cell[1] if cell else None,
            depth_m=depth_shown_m if self._names(Disclosed.DEPTH) else None,
            heading_deg=heading_deg,
            altitude=word if self._names(Disclosed.ALTITUDE) else None,
            mode=str(mode) if mode is not None and self._names(Disclosed.MODE) else None,
            leg=str(leg) if self._names(Disclosed.LEG) else None,
            pitch_deg=self._stepped(Disclosed.PITCH, self._pitch, self._known(state, "pitch_deg", at_us)),
            roll_deg=self._stepped(Disclosed.ROLL, self._roll, self._known(state, "roll_deg", at_us)),
            position=self._exact(state, at_us),
        )

    def _names(self, field: Disclosed) -> bool:
        return field in self._policy.fields

    def _known(self, state: VehicleState, name: str, at_us: int) -> float | None:
        value: float | None = state.fresh(name, at_us, self._policy.stale_us)
        return value

    def _stepped(self, field: Disclosed, step: Step, value: float | None) -> float | None:
        return step.quantise(value) if value is not None and self._names(field) else None

    def _exact(self, state: VehicleState, at_us: int) -> tuple[float, float] | None:
        if self._policy.place is not Place.EXACT or not self._names(Disclosed.TRACK):
            return None
        position: tuple[float, float] | None = state.fresh("position", at_us, self._policy.stale_us)
        return position

    def _placed(
        self, state: VehicleState, ground: Ground | None, leg: Leg, at_us: int
    ) -> tuple[tuple[float, float] | None, float | None]:
        """Return cell and heading in the frame; nothing without a fresh fix near the site's anchor."""
        position = state.fresh("position", at_us, self._policy.stale_us)
        if position is None or ground is None or self._policy.place is Place.AREA:
            return None, None
        placed = ground.frame.place(*position)
        if placed.from_anchor_m > self._site_radius_m:
            return None, None
        zones = () if self._policy.place is Place.EXACT else ground.zones
        shown = self._track.show(placed.east_m, placed.north_m, leg, zones, at_us)
        cell = shown.cell if self._names(Disclosed.TRACK) else None
        heading_deg = self._known(state, "heading_deg", at_us)
        if heading_deg is None or not shown.moving:
            return cell, None
        turned = (heading_deg + placed.heading_turn_deg) % 360.0
        return cell, self._stepped(Disclosed.HEADING, self._heading, turned)
