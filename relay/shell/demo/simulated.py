"""The invented expedition: the dive of Lantern and Moth to the Isoline Marr, as the stations on Harrow Tern send it.

Rules: everything follows from the seed; `dive` is the exact truth, second by second, and `simulate` what the
instruments make of it. An annotation never holds a figure, a compass word or a place: followers' frame is turned,
and a word like "north" would turn it back.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import Enum, auto
from itertools import count
from random import Random

from relay.core.model import Mode
from relay.shell.demo.seabed import (
    BOILERS,
    BOW,
    DEPTH_AT_PLACE_M,
    DRUM,
    OUTCROP,
    PLATES,
    STERN_BREAK,
    Point,
    along_hull,
    on_plan,
    seabed_depth_m,
)
from relay.shell.demo.station_reports import Fixes, PositionFeed, Sent, lantern_line, moth_line
from relay.shell.demo.vehicle_motion import STEP_S, Body, Handling, Manoeuvre, Notes, Pilot, Pose, Water

LANTERN_HANDLING = Handling(lag_s=4.0, push_mps2=0.08, turn_deg_s=7.0, shake_mps=0.022)
MOTH_HANDLING = Handling(lag_s=2.0, push_mps2=0.14, turn_deg_s=14.0, shake_mps=0.03)
SINK_MPS = 0.73
RISE_MPS = 0.72
SURVEY_MPS = 0.42
LANDING = on_plan(-84.0, -34.0)
SIGHTS = (BOW, PLATES, BOILERS, STERN_BREAK, along_hull(31.0, 4.0), along_hull(12.0, -6.0))
STEPS_A_SECOND = round(1.0 / STEP_S)

FOURTH_LINE_NOTE = "Fourth line. More clinker on the mud than on the last one: we are getting warmer."


class Garage(Enum):
    """Where Moth is: in her garage under Lantern, out, or called back to it."""

    CLOSED = auto()
    OUT = auto()
    RECALLED = auto()


@dataclass(frozen=True, slots=True)
class Moment:
    """The exact truth at a whole second of the dive; `moth` is None while she is in her garage.

    `report_every_s` is None where reports come every second, else the shortest and longest wait between them.
    """

    t_s: int
    lantern: Pose
    mode: Mode
    notes: tuple[str, ...]
    moth: Pose | None
    report_every_s: tuple[float, float] | None


class Scene:
    """Everything that moves, and the two scripts that say how."""

    def __init__(self, seed: int) -> None:
        self._random = Random(f"{seed} dive")
        self.water = Water(self._random)
        body = Body(LANTERN_HANDLING, self._launch_point(), 0.0, self._random)
        self.lantern = Pilot(body, self.water, self._random)
        self.moth: Pilot | None = None
        self.garage = Garage.CLOSED

    def _launch_point(self) -> Point:
        """Return where to launch so that the drift of the descent ends over the landing: up-current, as ships do."""
        launch, layer_m = LANDING, 5
        for depth in range(3, round(DEPTH_AT_PLACE_M), layer_m):
            east, north = self.water.current(depth)
            share = -0.55 * layer_m / SINK_MPS
            launch = launch.plus(share * east, share * north)
        return launch

    def lantern_script(self) -> Manoeuvre:
        """The whole dive, from deck to deck."""
        yield from self._down()
        yield from self._outcrop()
        yield from self._survey()
        yield from self._wreck()
        yield from self._alone()
        yield from self._up()

    def _down(self) -> Manoeuvre:
        pilot = self.lantern
        yield from pilot.wait(60.0)
        pilot.say("Deck checks under way: lamps, cameras and the fibre all answer.")
        yield from pilot.wait(240.0)
        pilot.mode = Mode.TETHERED
        yield from pilot.sink(12.0, 0.25)
        pilot.say("Lantern is in the water and clear of the ship's side.")
        yield from pilot.wait(70.0)
        yield from pilot.sink(DEPTH_AT_PLACE_M - 65.0, SINK_MPS, notes=DESCENT_NOTES)
        yield from pilot.sink(seabed_depth_m(*pilot.body.place) - 9.0, 0.42)
        pilot.say("Seabed in sight: pale mud with ripples, a sea cucumber, and our own shadow.")
        yield from pilot.hold(45.0, LANDING, altitude_m=4.0, facing=OUTCROP)

    def _outcrop(self) -> Manoeuvre:
        pilot = self.lantern
        yield from pilot.go(OUTCROP.plus(-9.0, -8.0), 0.4, altitude_m=3.5)
        pilot.say("The first echo is a basalt outcrop, rounded and overgrown. Not a ship.")
        yield from pilot.circle(OUTCROP, 13.0, 0.85, 0.3, altitude_m=3.0)
        yield from pilot.hold(40.0, pilot.body.place, altitude_m=2.0, facing=OUTCROP)

    def _survey(self) -> Manoeuvre:
        pilot = self.lantern
        yield from pilot.go(on_plan(-70.0, 0.0), SURVEY_MPS, altitude_m=4.0)
        pilot.say("Starting the survey lines. Clear water: we see well past the lamps' edge.")
        yield from self._line(on_plan(70.0, 0.0), 4.0)
        yield from self._line(on_plan(70.0, 60.0), 4.5)
        yield from self._line(on_plan(10.0, 61.0), 4.0)
        yield from self._drum()
        yield from self._line(on_plan(-6.0, 62.0), 4.0)
        yield from self._line(on_plan(-70.0, 60.0), 4.0)
        yield from self._line(on_plan(-70.0, 120.0), 5.0)
        yield from self._line(on_plan(70.0, 120.0), 4.0, THIRD_LINE_NOTES)
        yield from self._line(on_plan(70.0, 180.0), 4.5)
        pilot.say(FOURTH_LINE_NOTE)
        yield from self._line(on_plan(30.0, 180.0), 4.0, FOURTH_LINE_NOTES)

    def _line(self, to: Point, altitude_m: float, notes: Notes = ()) -> Manoeuvre:
        yield from self.lantern.line(to, SURVEY_MPS, altitude_m=altitude_m, notes=notes)

    def _drum(self) -> Manoeuvre:
        pilot = self.lantern
        yield from pilot.go(DRUM.plus(5.0, -7.0), 0.3, altitude_m=3.0, facing=DRUM)
        pilot.say("A lost fishing net around a cable drum: modern, decades younger than our ship. We keep clear of it.")
        yield from pilot.circle(DRUM, 8.0, -0.45, 0.22, altitude_m=2.6)
        yield from pilot.hold(50.0, pilot.body.place, altitude_m=2.0, facing=DRUM)

    def _wreck(self) -> Manoeuvre:
        """About forty minutes at the ship, with Moth out."""
        pilot = self.lantern
        yield from pilot.go(along_hull(16.0, 13.0), 0.45, altitude_m=3.0, facing=PLATES, notes=APPROACH_NOTES)
        self.garage = Garage.OUT
        pilot.say("Moth leaves her garage and swims free on her own thin tether.")
        yield from pilot.go(along_hull(4.0, 11.0), 0.26, altitude_m=2.4, facing=BOILERS)
        pilot.say("Two boilers side by side, just as on the builder's drawing.")
        yield from pilot.hold(35.0, along_hull(4.0, 11.0), altitude_m=2.0, facing=BOILERS)
        pilot.say("Furnace doors still shut. A white anemone sits on each hinge.")
        yield from pilot.circle(BOILERS, 11.0, 0.9, 0.2, altitude_m=2.6)
        pilot.say("From here Moth's lamps shine through between the boilers.")
        yield from pilot.hold(210.0, pilot.body.place, altitude_m=2.0, facing=BOILERS)
        yield from self._bow()
        yield from self._stern_break()
        self.garage = Garage.RECALLED
        yield from pilot.hold_until(self._closed, pilot.body.place, altitude_m=2.4, facing=STERN_BREAK)
        pilot.say("Moth is back in her garage. Nothing was touched and nothing was taken.")
        yield from pilot.hold(30.0, pilot.body.place, altitude_m=3.0, facing=STERN_BREAK)

    def _bow(self) -> Manoeuvre:
        pilot = self.lantern
        yield from pilot.go(along_hull(24.0, -11.0), 0.25, altitude_m=2.6, facing=PLATES)
        yield from pilot.go(along_hull(40.0, -9.0), 0.22, altitude_m=2.6, facing=BOW)
        pilot.say("The bow stands upright in the mud. Lantern gives light from one side while Moth goes in close.")
        yield from pilot.hold(200.0, along_hull(41.0, -8.5), altitude_m=2.0, facing=BOW)
        pilot.say("Raised letters under the rust spell out her name. Nobody in the control van says a word.")
        yield from pilot.circle(BOW, 10.0, 0.6, 0.18, altitude_m=2.8)
        pilot.say("It is the Isoline Marr. She lies as she fell, and we leave her so.")
        yield from pilot.hold(300.0, pilot.body.place, altitude_m=2.2, facing=BOW)

    def _stern_break(self) -> Manoeuvre:
        pilot = self.lantern
        yield from pilot.go(along_hull(22.0, 12.0), 0.24, altitude_m=2.6, facing=PLATES)
        yield from pilot.go(along_hull(-12.0, 13.0), 0.24, altitude_m=2.8, facing=BOILERS)
        pilot.say("Behind the boilers she is broken open. The mail room is empty but for a brass lamp.")
        yield from pilot.circle(STERN_BREAK, 12.0, 0.45, 0.2, altitude_m=2.6)
        yield from pilot.hold(300.0, pilot.body.place, altitude_m=2.0, facing=STERN_BREAK)
        yield from pilot.go(along_hull(-34.0, -12.0), 0.2, altitude_m=2.6, facing=STERN_BREAK)
        yield from pilot.hold(120.0, along_hull(-34.0, -12.0), altitude_m=2.2, facing=STERN_BREAK)

    def _closed(self) -> bool:
        return self.garage is Garage.CLOSED

    def _alone(self) -> Manoeuvre:
        """The autonomous stretch: long lines around the ship, few reports."""
        pilot = self.lantern
        pilot.mode, pilot.report_every_s = Mode.AUTONOMOUS, (20.0, 28.0)
        pilot.say("Lantern now runs by herself: long lines over the ground around the ship, a report now and then.")
        yield from pilot.go(on_plan(-120.0, 215.0), 0.55, altitude_m=6.0)
        yield from pilot.go(on_plan(-120.0, 300.0), 0.55, altitude_m=6.0)
        yield from pilot.go(on_plan(150.0, 300.0), 0.55, altitude_m=6.0, notes=ALONE_NOTES)
        yield from pilot.go(on_plan(150.0, 170.0), 0.55, altitude_m=6.0)
        pilot.mode, pilot.report_every_s = Mode.TETHERED, None
        pilot.say("Back under the pilot's hands, the ground around the ship all covered. Weights off: coming up.")
        yield from pilot.hold(40.0, pilot.body.place, altitude_m=4.0, facing=BOILERS)

    def _up(self) -> Manoeuvre:
        pilot = self.lantern
        yield from pilot.sink(14.0, RISE_MPS, notes=ASCENT_NOTES)
        yield from pilot.wait(150.0)
        yield from pilot.sink(0.6, 0.2)
        pilot.mode = Mode.SURFACE
        yield from pilot.sink(0.0, 0.2)
        pilot.body.depth_m = 0.0
        yield from pilot.wait(120.0)
        pilot.say("Lantern is on deck and made fast. A good dive: thank you for coming with us.")
        yield from pilot.wait(60.0)

    def moth_script(self) -> Manoeuvre:
        """Moth's own round of what lies about Lantern, mostly of what is nearest, until she is called back."""
        assert self.moth is not None
        pilot, home, random = self.moth, self.lantern.body, self._random
        while self.garage is Garage.OUT:
            near = sorted(SIGHTS, key=home.place.metres_to)[:3]
            sight = near[0] if random.random() < 0.5 else random.choice(near)
            beside = sight.plus(random.uniform(-5.0, 5.0), random.uniform(-5.0, 5.0))
            yield from pilot.go(beside, 0.35, altitude_m=random.uniform(1.8, 3.0), facing=sight)
            yield from pilot.circle(sight, random.uniform(4.0, 6.5), random.uniform(-0.6, 0.6), 0.22, altitude_m=1.8)
            yield from pilot.hold(random.uniform(15.0, 45.0), pilot.body.place, altitude_m=1.4, facing=sight)
        yield from pilot.go(home.place, 0.35, altitude_m=2.4)
        self.garage = Garage.CLOSED

    def step_moth(self, script: Manoeuvre | None) -> Manoeuvre | None:
        """Move Moth on by one step and return her script, or None while she is in her garage."""
        if self.garage is Garage.CLOSED:
            self.moth = None
            return None
        if self.moth is None or script is None:
            home = self.lantern.body
            self.moth = Pilot(Body(MOTH_HANDLING, home.place, home.depth_m, self._random), self.water, self._random)
            script = self.moth_script()
        order = next(script, None)
        if order is not None:
            self.moth.body.step(order)
        return script


DESCENT_NOTES: Notes = (
    (190.0, "Daylight is gone. Marine snow in the lamps, nothing else."),
    (610.0, "A siphonophore longer than the vehicle drifts past the lamps."),
    (1000.0, "Past one thousand metres. Tether and depth gauge agree."),
)
THIRD_LINE_NOTES: Notes = ((0.55, "Third line. Small dark lumps on the mud: clinker, from a coal fire."),)
FOURTH_LINE_NOTES: Notes = (
    (0.4, "Sonar shows a long hard echo to one side, with a shadow behind it."),
    (0.85, "The pilot leaves the line. We are going to look."),
)
APPROACH_NOTES: Notes = ((0.5, "A riveted plate standing on its edge. Then another. This was a ship."),)
ALONE_NOTES: Notes = ((0.45, "Bare mud and ripples again: the scatter of wreckage ends here."),)
ASCENT_NOTES: Notes = ((640.0, "Halfway up, lamps off to spare the batteries. Small blue lights outside."),)


def dive(seed: int) -> Iterator[Moment]:
    """Yield the exact truth of the dive that a seed stands for, once a second from zero."""
    scene = Scene(seed)
    script, moth_script = scene.lantern_script(), None
    for step in count():
        order = next(script, None)
        if order is None:
            return
        scene.lantern.body.step(order)
        moth_script = scene.step_moth(moth_script)
        if step % STEPS_A_SECOND == 0:
            yield _moment(scene, step // STEPS_A_SECOND)


def _moment(scene: Scene, t_s: int) -> Moment:
    pilot, moth = scene.lantern, scene.moth
    notes = tuple(pilot.notes)
    pilot.notes.clear()
    lantern_pose = pilot.body.pose(scene.water, t_s)
    moth_pose = None if moth is None else moth.body.pose(scene.water, t_s)
    return Moment(t_s, lantern_pose, pilot.mode, notes, moth_pose, pilot.report_every_s)


class Stations:
    """The two feeds of the ship over one dive."""

    def __init__(self, seed: int) -> None:
        self._random = Random(f"{seed} stations")
        self._position = PositionFeed(Random(f"{seed} position"))
        self._moth_fixes = Fixes(Random(f"{seed} moth"))
        self._notes: list[str] = []
        self._next_report_s = 0.0

    def second(self, moment: Moment) -> Iterator[Sent]:
        """Yield what is sent in the second that begins at a moment, in order."""
        self._notes.extend(moment.notes)
        if moment.t_s >= self._next_report_s:
            wait = moment.report_every_s
            self._next_report_s = moment.t_s + (self._random.uniform(*wait) if wait else 1.0)
            yield from self._lantern(moment)
        if moment.moth is not None and moment.t_s % 2 == 0:
            fix = self._moth_fixes.take(moment.moth, moment.t_s)
            yield Sent(moment.t_s + 0.7, "station", moth_line(moment.moth, fix, self._random))

    def _lantern(self, moment: Moment) -> Iterator[Sent]:
        for place, datagram in enumerate(self._position.second(moment.lantern, moment.t_s)):
            yield Sent(moment.t_s + 0.03 + 0.05 * place, "position", datagram)
        note = self._notes.pop(0) if self._notes else None
        yield Sent(moment.t_s + 0.45, "station", lantern_line(moment.lantern, moment.mode, note, self._random))


def simulate(seed: int, *, start_s: float = 0.0) -> Iterator[Sent]:
    """Yield everything the two stations send over the dive, in order of time.

    `t_s` begins at `start_s`; the bytes depend on the seed alone. Feeds are "position" (one NMEA 0183 datagram
    each) and "station" (one JSON line each).
    """
    stations = Stations(seed)
    for moment in dive(seed):
        for sent in stations.second(moment):
            yield Sent(start_s + sent.t_s, sent.feed, sent.data)


def notes_of(moments: Iterable[Moment]) -> list[tuple[int, str]]:
    """Return the annotations of a dive with the second each was made."""
    return [(moment.t_s, note) for moment in moments for note in moment.notes]
