"""The line a vehicle has run: legs between its positions, without those that nobody can vouch for.

Rules: exact, for the ship alone; geodesics on WGS84. A leg goes from the last position kept to the next one and counts
unless
1. more than `gap_s` passed between the two: the line is broken there and goes on from the later one;
2. the later one is further away than the fastest vehicle could have come (`fastest_mps` times the time, and `noise_m`
   for two fixes that lie apart by their noise alone): it is set aside. If the next position bears it out, the vehicle
   was moved or the earlier ones were wrong: the line is broken and goes on from the one set aside.
Positions less than `every_s` after the last one kept, or nearer than `step_m` to it, are passed over: noise makes a
line longer, the denser the more, and a vehicle that stays where it is runs no line.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from relay.core import given
from relay.core.errors import SurveyError
from relay.core.geodesy import distance_m

US_PER_S = 1_000_000


@dataclass(frozen=True, slots=True)
class TrackPoint:
    """A position with its moment of receipt (microseconds of the embargo clock), true heading and depth if known."""

    at_us: int
    latitude_deg: float
    longitude_deg: float
    heading_deg: float | None = None
    depth_m: float | None = None

    def __post_init__(self) -> None:
        """Refuse, by a SurveyError, what is no place, moment or heading."""
        given.moment("at_us", self.at_us)
        given.position("track's", self.latitude_deg, self.longitude_deg)
        if self.heading_deg is not None:
            given.field("heading_deg", self.heading_deg, "track's")
        if self.depth_m is not None:
            given.field("depth_m", self.depth_m, "track's")

    @property
    def place(self) -> given.Position:
        """Latitude and longitude, degrees."""
        return self.latitude_deg, self.longitude_deg


@dataclass(frozen=True, slots=True, kw_only=True)
class LegRule:
    """When two positions are the ends of a leg (see the module's rules).

    Defaults: a gap of 150 s, 5 m/s (about ten knots, more than a vehicle makes on a line) and 20 m of noise: common
    practice, no source.
    """

    gap_s: float = 150.0
    fastest_mps: float = 5.0
    noise_m: float = 20.0
    every_s: float = 0.0
    step_m: float = 0.0

    def __post_init__(self) -> None:
        """Refuse, by a SurveyError, limits that are none."""
        given.positive("gap_s", self.gap_s)
        given.positive("fastest_mps", self.fastest_mps)
        given.number("noise_m", self.noise_m, 0.0)
        given.number("every_s", self.every_s, 0.0)
        given.number("step_m", self.step_m, 0.0)
        if self.every_s > self.gap_s:
            raise SurveyError(f"every_s is {self.every_s:g}: more than gap_s ({self.gap_s:g}), so no leg would count")


@dataclass(frozen=True, slots=True)
class Leg:
    """A leg that counts: its ends, and its length in metres."""

    start: TrackPoint
    end: TrackPoint
    length_m: float


@dataclass(frozen=True, slots=True)
class LineLength:
    """The length of a line, metres, and what was left out: gaps, jumps borne out, positions set aside."""

    length_m: float
    legs: int
    gaps: int
    jumps: int
    set_aside: int

    @property
    def length_km(self) -> float:
        """Line kilometres."""
        return self.length_m / 1000.0


class Line:
    """The line of one vehicle as its positions come, oldest first."""

    def __init__(self, rule: LegRule | None = None) -> None:
        self._rule = rule or LegRule()
        self._kept: TrackPoint | None = None
        self._aside: TrackPoint | None = None
        self._latest_us = 0
        self._length_m = 0.0
        self._legs = self._gaps = self._jumps = self._set_aside = 0

    def take(self, point: TrackPoint) -> Leg | None:
        """Take the next position; return the leg it adds, if it adds one. SurveyError if it is older than the last."""
        if point.at_us < self._latest_us:
            raise SurveyError(f"a position of {point.at_us} us follows one of {self._latest_us} us: sort by receipt")
        self._latest_us = point.at_us
        if self._kept is None:
            self._kept = point
            return None
        since_s = _seconds(self._kept, point)
        if since_s < self._rule.every_s:
            return None
        if self._rule.step_m and distance_m(self._kept.place, point.place) < self._rule.step_m:
            return None
        if since_s > self._rule.gap_s:
            self._gaps += 1
            self._kept, self._aside = point, None
            return None
        return self._measure(self._kept, point)

    @property
    def kept(self) -> TrackPoint | None:
        """The last position that counts: where the next leg begins."""
        return self._kept

    def length(self) -> LineLength:
        """Return the length so far."""
        return LineLength(self._length_m, self._legs, self._gaps, self._jumps, self._set_aside)

    def _measure(self, kept: TrackPoint, point: TrackPoint) -> Leg | None:
        if self._could_run(kept, point):
            return self._add(kept, point)
        aside, self._aside = self._aside, point
        if aside is None or not self._could_run(aside, point):
            self._set_aside += 1
            return None
        self._jumps += 1
        self._set_aside -= 1
        return self._add(aside, point)

    def _could_run(self, start: TrackPoint, end: TrackPoint) -> bool:
        reach_m = self._rule.fastest_mps * _seconds(start, end) + self._rule.noise_m
        return distance_m(start.place, end.place) <= reach_m

    def _add(self, start: TrackPoint, end: TrackPoint) -> Leg:
        leg = Leg(start, end, distance_m(start.place, end.place))
        self._length_m += leg.length_m
        self._legs += 1
        self._kept, self._aside = end, None
        return leg


def legs_of(track: Iterable[TrackPoint], rule: LegRule | None = None) -> list[Leg]:
    """Return the legs of a track that count, oldest first; SurveyError as for `Line.take`."""
    line = Line(rule)
    return [leg for point in track if (leg := line.take(point)) is not None]


def line_length(track: Iterable[TrackPoint], rule: LegRule | None = None) -> LineLength:
    """Return the length of a track's line; SurveyError as for `Line.take`, and where there is no position at all."""
    line, empty = Line(rule), True
    for point in track:
        line.take(point)
        empty = False
    if empty:
        raise SurveyError("the track is empty: give at least one position")
    return line.length()


def line_lengths(tracks: Mapping[str, Iterable[TrackPoint]], rule: LegRule | None = None) -> dict[str, LineLength]:
    """Return the length of each vehicle's line, by its name; SurveyError names the vehicle."""
    lengths = {}
    for vehicle, track in tracks.items():
        try:
            lengths[vehicle] = line_length(track, rule)
        except SurveyError as error:
            raise SurveyError(f"{vehicle}: {error}") from error
    return lengths


def _seconds(start: TrackPoint, end: TrackPoint) -> float:
    return (end.at_us - start.at_us) / US_PER_S
