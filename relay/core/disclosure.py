"""From what is known of a vehicle to what one audience may see of it.

Rules: deny by default; a value that the policy does not name, that is stale, or whose place is in doubt stays
out; every step has hysteresis, so the moment of a change does not tell a position to better than the step; a
heading is given in the same turned frame as the track.
"""

from dataclasses import dataclass

from relay.core.dive_phases import LegWatch
from relay.core.fuse import VehicleState
from relay.core.geodesy import SiteFrame
from relay.core.policy import Disclosed, Leg, Plan, Policy

SLACK = 0.25
ON_THE_BOTTOM_M = 1.5
NEAR_THE_BOTTOM_M = 15.0


@dataclass(frozen=True, slots=True)
class Report:
    """What is released of one vehicle at one tick; None is withheld or unknown."""

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


class Step:
    """Rounds to multiples of `size`, holding the last multiple until the value is `SLACK` past its edge.

    With `period` the value is circular. `quantise` returns a multiple of `size` in the unit of `size`.
    """

    def __init__(self, size: float, period: float | None = None) -> None:
        if size <= 0:
            raise ValueError("a step is greater than zero")
        self._size = size
        self._period = period
        self._held: float | None = None

    def quantise(self, value: float) -> float:
        """Return the step that `value` is in."""
        if self._held is None or abs(self._from_held(value)) > (0.5 + SLACK) * self._size:
            self._held = round(value / self._size) * self._size
            if self._period is not None:
                self._held %= self._period
        return self._held

    def _from_held(self, value: float) -> float:
        assert self._held is not None
        off = value - self._held
        if self._period is None:
            return off
        return (off + self._period / 2) % self._period - self._period / 2


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


class Disclosure:
    """One vehicle of one dive as one audience may see it."""

    def __init__(self, policy: Policy, plan: Plan) -> None:
        self._policy = policy
        self._site_radius_m = plan.site_radius_m
        self._legs = LegWatch(plan.legs)
        self._words = AltitudeWords()
        self._east, self._north = Step(policy.cell_m), Step(policy.cell_m)
        self._depth = Step(policy.depth_step_m)
        self._heading = Step(policy.heading_step_deg, period=360.0)
        self._pitch, self._roll = Step(policy.tilt_step_deg), Step(policy.tilt_step_deg)

    def report(self, state: VehicleState, frame: SiteFrame | None, at_us: int) -> Report:
        """Return what may be told of `state` at a tick; `frame` is None while the site has no anchor."""
        heard = state.heard_us is not None and at_us - state.heard_us <= self._policy.stale_us
        depth_m, altitude_m = self._known(state, "depth_m", at_us), self._known(state, "altitude_m", at_us)
        leg = self._legs.judge(depth_m, altitude_m, at_us)
        word = self._words.say(altitude_m)
        if not heard:
            return Report(heard=False)
        east_m, north_m, heading_deg = self._placed(state, frame, leg, at_us)
        mode = self._known(state, "mode", at_us)
        return Report(
            heard=True,
            east_m=east_m,
            north_m=north_m,
            depth_m=self._stepped(Disclosed.DEPTH, self._depth, depth_m),
            heading_deg=heading_deg,
            altitude=word if self._names(Disclosed.ALTITUDE) else None,
            mode=str(mode) if mode is not None and self._names(Disclosed.MODE) else None,
            leg=str(leg) if self._names(Disclosed.LEG) else None,
            pitch_deg=self._stepped(Disclosed.PITCH, self._pitch, self._known(state, "pitch_deg", at_us)),
            roll_deg=self._stepped(Disclosed.ROLL, self._roll, self._known(state, "roll_deg", at_us)),
        )

    def _names(self, field: Disclosed) -> bool:
        return field in self._policy.fields

    def _known(self, state: VehicleState, name: str, at_us: int) -> float | None:
        value: float | None = state.fresh(name, at_us, self._policy.stale_us)
        return value

    def _stepped(self, field: Disclosed, step: Step, value: float | None) -> float | None:
        if value is None or not self._names(field):
            return None
        return _plain(step.quantise(value))

    def _placed(
        self, state: VehicleState, frame: SiteFrame | None, leg: Leg, at_us: int
    ) -> tuple[float | None, float | None, float | None]:
        """Return east, north and heading in the frame; nothing without a fresh fix near the site's anchor."""
        position = state.fresh("position", at_us, self._policy.stale_us)
        if position is None or frame is None:
            return None, None, None
        placed = frame.place(*position)
        if placed.from_anchor_m > self._site_radius_m:
            return None, None, None
        heading_deg = self._known(state, "heading_deg", at_us)
        turned = None if heading_deg is None else (heading_deg + placed.heading_turn_deg) % 360.0
        shown = self._stepped(Disclosed.HEADING, self._heading, turned)
        if not self._names(Disclosed.TRACK) or leg not in self._policy.track_legs:
            return None, None, shown
        return _plain(self._east.quantise(placed.east_m)), _plain(self._north.quantise(placed.north_m)), shown


def _plain(value: float) -> float:
    """Return an int where the value is whole: shorter on the wire, and no 0.30000000000000004."""
    value = round(value, 6)
    return int(value) if value == int(value) else value
