"""How an invented vehicle moves: water that pushes, thrusters that lag, and a pilot who steers.

Rules: a pilot's manoeuvre is a generator of `Order`s, one per `STEP_S`; the body only ever follows orders with
bounded push, so no manoeuvre can make it jump. Values of handling are common practice, no source.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import atan2, copysign, cos, degrees, exp, hypot, pi, radians, sin, sqrt
from random import Random

from relay.core.model import Mode
from relay.shell.demo.seabed import Point, seabed_depth_m

STEP_S = 0.5
WAVE_REACH_M = 12.0


def clamp(value: float, limit: float) -> float:
    """Return `value` held within plus and minus `limit`."""
    return max(-limit, min(limit, value))


def turn_deg(of: float, to: float) -> float:
    """Return the shortest turn from one heading to another, in [-180, 180)."""
    return (to - of + 180.0) % 360.0 - 180.0


class Wander:
    """A first-order Gauss-Markov process: noise that remembers itself for about `memory_s`."""

    def __init__(self, random: Random, spread: float, memory_s: float) -> None:
        self._random, self._spread, self._memory_s = random, spread, memory_s
        self._seconds, self._keep, self._fresh = 0.0, 1.0, 0.0
        self.value = random.gauss(0.0, spread)

    def step(self, seconds: float) -> float:
        """Return the value `seconds` later."""
        if seconds != self._seconds:
            self._seconds, self._keep = seconds, exp(-seconds / self._memory_s)
            self._fresh = self._spread * sqrt(1.0 - self._keep * self._keep)
        self.value = self._keep * self.value + self._random.gauss(0.0, self._fresh)
        return self.value


class Water:
    """The current at a depth, and the waves at the surface."""

    def __init__(self, random: Random) -> None:
        self._set_deg = random.uniform(0.0, 360.0)
        self._swells = [(2 * pi / period_s, random.uniform(0.0, 2 * pi)) for period_s in (7.3, 9.1, 11.4)]

    def current(self, depth_m: float) -> tuple[float, float]:
        """Return the water's motion east and north in m/s: it slows and turns with depth."""
        speed = 0.06 + 0.24 * exp(-depth_m / 180.0) + 0.05 * sin(depth_m / 210.0) ** 2
        towards = radians(self._set_deg + 0.11 * depth_m)
        return speed * sin(towards), speed * cos(towards)

    def swell(self, t_s: float, phase: float) -> float:
        """Return a value within about plus and minus one that goes as the sea does; `phase` tells motions apart."""
        return sum(sin(rate * t_s + start + phase) for rate, start in self._swells) / 3.0


@dataclass(frozen=True, slots=True)
class Order:
    """What the pilot asks of the vehicle: motion over the ground in m/s, and a heading."""

    east_mps: float
    north_mps: float
    down_mps: float
    heading_deg: float


@dataclass(frozen=True, slots=True)
class Handling:
    """How a vehicle answers: lag of the thrusters, greatest push and turn, and how much the water shakes it."""

    lag_s: float
    push_mps2: float
    turn_deg_s: float
    shake_mps: float


@dataclass(frozen=True, slots=True)
class Pose:
    """The exact truth about a vehicle at a moment."""

    place: Point
    depth_m: float
    altitude_m: float
    heading_deg: float
    pitch_deg: float
    roll_deg: float
    east_mps: float
    north_mps: float
    down_mps: float


class Body:
    """A vehicle in the water (or on deck, at depth zero)."""

    def __init__(self, handling: Handling, at: Point, depth_m: float, random: Random) -> None:
        self._handling = handling
        self.place, self.depth_m, self.heading_deg = at, depth_m, random.uniform(0.0, 360.0)
        self.east_mps = self.north_mps = self.down_mps = self._turning = 0.0
        self._shakes = [Wander(random, handling.shake_mps * part, 9.0) for part in (1.0, 1.0, 0.6)]
        self._lean = [Wander(random, 0.5, 6.0), Wander(random, 0.7, 5.0)]

    @property
    def altitude_m(self) -> float:
        """The height above the seabed."""
        return seabed_depth_m(*self.place) - self.depth_m

    def step(self, order: Order) -> None:
        """Move on by `STEP_S`."""
        wanted = (order.east_mps, order.north_mps, order.down_mps)
        shaken = [want + shake.step(STEP_S) for want, shake in zip(wanted, self._shakes, strict=True)]
        self.east_mps += self._push(shaken[0] - self.east_mps)
        self.north_mps += self._push(shaken[1] - self.north_mps)
        self.down_mps += self._push((shaken[2] if self.depth_m > 1.0 else order.down_mps) - self.down_mps)
        self.place = self.place.plus(self.east_mps * STEP_S, self.north_mps * STEP_S)
        self.depth_m = max(0.0, self.depth_m + self.down_mps * STEP_S)
        self._turn(order.heading_deg)
        for lean in self._lean:
            lean.step(STEP_S)

    def _push(self, difference_mps: float) -> float:
        return clamp(difference_mps / self._handling.lag_s, self._handling.push_mps2) * STEP_S

    def _turn(self, wanted_deg: float) -> None:
        """Turn with lag: the rate of turn follows the error, and is itself slow to change."""
        wanted = clamp(0.22 * turn_deg(self.heading_deg, wanted_deg), self._handling.turn_deg_s)
        self._turning += clamp(wanted - self._turning, 2.0) * 0.5
        self.heading_deg = (self.heading_deg + self._turning * STEP_S) % 360.0

    def pose(self, water: Water, t_s: float) -> Pose:
        """Return the truth at `t_s`, with the motion of the sea on it near the surface."""
        sea = exp(-self.depth_m / WAVE_REACH_M)
        heave = 0.7 * water.swell(t_s, 0.0) * sea if self.depth_m > 1.0 else 0.0
        pitch = self._lean[0].value - 7.0 * self.down_mps + 2.6 * sea * water.swell(t_s, 1.3)
        roll = self._lean[1].value + 0.35 * self._turning + 6.0 * sea * water.swell(t_s, 2.1)
        return Pose(self.place, max(0.0, self.depth_m + heave), self.altitude_m - heave, self.heading_deg, pitch, roll,
                    self.east_mps, self.north_mps, self.down_mps)  # fmt: skip


Manoeuvre = Iterator[Order]


class Pilot:
    """Whoever steers one vehicle: each method is a manoeuvre; `say` leaves an annotation for the next report."""

    def __init__(self, body: Body, water: Water, random: Random) -> None:
        self.body, self.mode, self.notes = body, Mode.SURFACE, list[str]()
        self.report_every_s: tuple[float, float] | None = None
        self._water = water
        self._sway, self._aside = Wander(random, 3.0, 25.0), Wander(random, 2.2, 40.0)

    def say(self, text: str) -> None:
        """Leave an annotation."""
        self.notes.append(text)

    def hold(self, seconds: float, at: Point, *, altitude_m: float, facing: Point) -> Manoeuvre:
        """Hover over a point for a time, looking at another."""
        for _ in range(round(seconds / STEP_S)):
            yield self._toward(at, 0.2, self._follow(altitude_m), self._bearing_to(facing))

    def hold_until(self, done: Callable[[], bool], at: Point, *, altitude_m: float, facing: Point) -> Manoeuvre:
        """Hover until `done` says so."""
        while not done():
            yield self._toward(at, 0.2, self._follow(altitude_m), self._bearing_to(facing))

    def go(
        self, to: Point, speed_mps: float, *, altitude_m: float, facing: Point | None = None, notes: "Notes" = ()
    ) -> Manoeuvre:
        """Run to a point and stop there; `notes` are (part of the way run, text)."""
        yield from self._run(to, speed_mps, altitude_m, facing, notes, short_m=2.0, slowest_mps=0.1)

    def line(self, to: Point, speed_mps: float, *, altitude_m: float, notes: "Notes" = ()) -> Manoeuvre:
        """Run a survey line to its end, and round the corner there without stopping."""
        yield from self._run(to, speed_mps, altitude_m, None, notes, short_m=4.5, slowest_mps=0.6 * speed_mps)

    def _run(
        self, to: Point, speed_mps: float, altitude_m: float, facing: Point | None, notes: "Notes",
        *, short_m: float, slowest_mps: float,
    ) -> Manoeuvre:  # fmt: skip
        start, left = self.body.place, list(notes)
        length = max(start.metres_to(to), 0.1)
        unit_east, unit_north = (to.east_m - start.east_m) / length, (to.north_m - start.north_m) / length
        while True:
            place = self.body.place
            run = (place.east_m - start.east_m) * unit_east + (place.north_m - start.north_m) * unit_north
            while left and run >= left[0][0] * length:
                self.say(left.pop(0)[1])
            if run >= length - short_m:
                return
            ahead, aside = min(run + 9.0, length), self._weave(min(run, length - run))
            aim = start.plus(ahead * unit_east + aside * unit_north, ahead * unit_north - aside * unit_east)
            pace = min(speed_mps, slowest_mps + 0.06 * (length - run))
            yield self._toward(aim, pace, self._follow(altitude_m), self._bearing_to(facing) if facing else None)

    def _weave(self, from_end_m: float) -> float:
        """Return how far aside of a line the pilot steers: little near its ends, and little without a pilot."""
        hand = 0.15 if self.mode is Mode.AUTONOMOUS else 1.0
        return hand * min(1.0, max(0.0, from_end_m / 12.0)) * self._aside.step(STEP_S)

    def circle(self, around: Point, radius_m: float, turns: float, speed_mps: float, *, altitude_m: float) -> Manoeuvre:
        """Go round a point (turns below zero: anticlockwise) facing it; the radius breathes as a pilot's does."""
        body = self.body
        angle = atan2(body.place.east_m - around.east_m, body.place.north_m - around.north_m)
        end = angle + turns * 2 * pi
        while (end - angle) * copysign(1.0, turns) > 0.0:
            reach = radius_m * (1.0 + 0.12 * sin(2.3 * angle))
            aim = around.plus(reach * sin(angle), reach * cos(angle))
            if body.place.metres_to(aim) < 2.5:
                angle += copysign(speed_mps * STEP_S / radius_m, turns)
            yield self._toward(aim, 1.6 * speed_mps, self._follow(altitude_m), self._bearing_to(around))

    def sink(self, to_depth_m: float, rate_mps: float, *, notes: "Notes" = ()) -> Manoeuvre:
        """Go down or up to a depth at about a rate, drifting; `notes` are (depth passed, text)."""
        body, left, sign = self.body, list(notes), copysign(1.0, to_depth_m - self.body.depth_m)
        heading = body.heading_deg
        while (to_depth_m - body.depth_m) * sign > 0.5:
            while left and (body.depth_m - left[0][0]) * sign >= 0.0:
                self.say(left.pop(0)[1])
            rest = abs(to_depth_m - body.depth_m)
            rate = min(rate_mps * (1.0 + 0.06 * sin(body.depth_m / 37.0)), 0.08 + 0.05 * rest)
            heading += 0.06 * self._sway.step(STEP_S) * STEP_S
            yield self._drift(sign * rate, heading)

    def wait(self, seconds: float) -> Manoeuvre:
        """Let the vehicle hang where it is, drifting a little."""
        heading = self.body.heading_deg
        for _ in range(round(seconds / STEP_S)):
            yield self._drift(0.0, heading)

    def _drift(self, down_mps: float, heading_deg: float) -> Order:
        """Return an order that gives way to the current: on deck it stays with the ship."""
        share = 0.55 if self.body.depth_m > 3.0 else 0.05
        east, north = self._water.current(self.body.depth_m)
        return Order(share * east, share * north, down_mps, heading_deg)

    def _bearing_to(self, point: Point) -> float:
        place = self.body.place
        return degrees(atan2(point.east_m - place.east_m, point.north_m - place.north_m))

    def _follow(self, altitude_m: float) -> float:
        """Return the rate down that keeps a height over the seabed here and a few seconds ahead."""
        body = self.body
        ahead = (
            seabed_depth_m(body.place.east_m + body.east_mps * wait_s, body.place.north_m + body.north_mps * wait_s)
            for wait_s in (0.0, 5.0, 10.0)
        )
        return clamp(0.22 * (min(ahead) - body.depth_m - altitude_m), 0.3)

    def _toward(self, aim: Point, speed_mps: float, down_mps: float, heading_deg: float | None) -> Order:
        """Return an order towards a point; without a heading, point the bow so that the current is met."""
        east, north = aim.east_m - self.body.place.east_m, aim.north_m - self.body.place.north_m
        away = max(hypot(east, north), 1e-6)
        pace = min(speed_mps, 0.25 * away)
        if down_mps < -0.2:
            pace *= 0.15  # something stands ahead: climb first
        east, north = pace * east / away, pace * north / away
        if heading_deg is None:
            current = self._water.current(self.body.depth_m)
            heading_deg = degrees(atan2(east - current[0], north - current[1]))
        return Order(east, north, down_mps, heading_deg + self._sway.step(STEP_S))


Notes = tuple[tuple[float, str], ...]
