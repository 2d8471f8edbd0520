"""The freshest value of each field of each vehicle, with its age.

Rules: last received wins, field by field; a position is one value, and none where it is in doubt; pressure becomes
depth here (TEOS-10, which needs the latitude), and only where the same report has no depth of its own.

What is released goes by receipt alone, so that no clock but the embargo's has a say in it (R2). The exact state, for
the ship, may go by the vehicle's own clock: a report that an acoustic link brings late or out of order then replaces
nothing newer. It replaces it all the same when it is older by more than `LATE_S`, or comes that long after: then the
clock was set, and one wrong time must not freeze the state.
"""

from operator import attrgetter
from typing import Any, NamedTuple

from relay.core.decision import Told
from relay.core.model import Observation

_SCALARS = ("depth_m", "altitude_m", "heading_deg", "pitch_deg", "roll_deg", "rate_of_turn_deg_min",
            "speed_mps", "course_deg", "water_speed_mps", "mode")  # fmt: skip
_scalars = attrgetter(*_SCALARS)
LATE_S = 300.0  # common practice, no source: acoustic links bring reports up to some minutes late
_DAY_S = 86_400.0


class Stamped(NamedTuple):
    """An observation of a known vehicle, or a decision that tells something, with its moment of receipt.

    `row` is the journal row that completed it; `vehicle` its place in the plan, None where a decision names none;
    `source` the place of its feed in the plan, None for a decision.
    """

    embargo_us: int
    row: int
    vehicle: int | None
    said: Observation | Told
    source: int | None = None


class Value(NamedTuple):
    """A value, when it was received, and the time of day of the vehicle's own clock, if the report told it."""

    value: Any
    embargo_us: int
    own_s: float | None = None

    def is_late_beside(self, known: "Value") -> bool:
        """Return whether this value was true before the known one was, by the vehicle's own clock."""
        if self.own_s is None or known.own_s is None:
            return False
        older_s, since_s = (known.own_s - self.own_s) % _DAY_S, (self.embargo_us - known.embargo_us) / 1e6
        return 0.0 < older_s <= LATE_S and since_s <= LATE_S


def depth_from_pressure(pressure_dbar: float, latitude_deg: float) -> float:
    """Return depth in metres, positive down, from sea pressure: TEOS-10 `gsw.z_from_p` (IOC manual 56, 2010)."""
    import gsw  # numpy comes with it: only where a feed sends pressure

    return -float(gsw.z_from_p(pressure_dbar, latitude_deg))


class VehicleState:
    """What is known of one vehicle; `by_own_clock`: what its own clock calls older replaces nothing newer."""

    def __init__(self, *, by_own_clock: bool = False) -> None:
        self._by_own_clock = by_own_clock
        self._values: dict[str, Value] = {}
        self.heard_us: int | None = None
        self.own_s: float | None = None
        self.in_doubt = False

    def take(self, observation: Observation, embargo_us: int) -> None:
        """Let every field the observation reports replace the older value."""
        self.heard_us = embargo_us
        own_s = observation.time_of_day_s if observation.clock_s is None else observation.clock_s
        self.own_s = self.own_s if own_s is None else own_s
        if observation.latitude_deg is not None and observation.longitude_deg is not None:
            place = (observation.latitude_deg, observation.longitude_deg)
            self._put("position", Value(place, embargo_us, own_s))
        put = self._put if self._by_own_clock else self._values.__setitem__
        for name, value in zip(_SCALARS, _scalars(observation), strict=True):
            if value is not None:
                put(name, Value(value, embargo_us, own_s))
        position = self._values.get("position")
        if observation.pressure_dbar is not None and observation.depth_m is None and position is not None:
            depth_m = depth_from_pressure(observation.pressure_dbar, position.value[0])
            self._put("depth_m", Value(depth_m, embargo_us, own_s))

    def _put(self, name: str, value: Value) -> None:
        if self._by_own_clock:
            known = self._values.get(name)
            if known is not None and value.is_late_beside(known):
                return
        self._values[name] = value

    def fresh(self, name: str, at_us: int, stale_us: int) -> Any:
        """Return the value of a field, or None if it was never reported, is older than `stale_us`, or is in doubt."""
        value = None if self.in_doubt and name == "position" else self._values.get(name)
        if value is None or at_us - value.embargo_us > stale_us:
            return None
        return value.value

    def last(self, name: str) -> Any:
        """Return the value of a field however old, or None if it was never reported."""
        value = self._values.get(name)
        return None if value is None else value.value

    def age_us(self, name: str, at_us: int) -> int | None:
        """Return how old the value of a field is, in microseconds, or None if it was never reported."""
        value = self._values.get(name)
        return None if value is None else at_us - value.embargo_us


class Fuse:
    """The states of all vehicles of an expedition, by their place in its list."""

    def __init__(self, vehicles: int, *, by_own_clock: bool = False) -> None:
        self.states = [VehicleState(by_own_clock=by_own_clock) for _ in range(vehicles)]

    def take(self, stamped: Stamped) -> None:
        """Let an observation replace older values of its vehicle; a decision changes none."""
        if isinstance(stamped.said, Observation) and stamped.vehicle is not None:
            self.states[stamped.vehicle].take(stamped.said, stamped.embargo_us)

    def heard_us(self) -> int | None:
        """Return when any vehicle was last heard, or None."""
        latest_us = None
        for state in self.states:
            if state.heard_us is not None and (latest_us is None or state.heard_us > latest_us):
                latest_us = state.heard_us
        return latest_us
