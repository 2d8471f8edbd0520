"""One dive as it was, gathered for its exact report: each vehicle's track and depths in few points, and its figures.

Rules: exact and private. Reports are taken as they stream from the record, so memory is bounded however long the dive;
the lines that are drawn pass every report within some decimetres to metres (`kept_track`), the figures are of all.
A fix that nothing under way could have reached is counted and not drawn. The plan is azimuthal equidistant about the
first position that the next one confirms (`geodesy.plane`), so north is up. Times are seconds since the dive began: by
the embargo clock of what came live without a time of its own, else by the vehicle's clock.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from math import dist
from typing import Generic, TypeVar

from relay.core.fuse import depth_from_pressure
from relay.core.geodesy import Anchor, AnchorSeeker, plane
from relay.core.kept_track import FixGate, KeptTrack, TrackSpot
from relay.core.model import Observation
from relay.core.policy import MICROSECONDS, Leg
from relay.shell.exact.exact_dives import ExactDives, Progress, in_silence
from relay.shell.exact.exact_values import Dive, ExactReport, Phase, Where
from relay.shell.report.report_drawing import Drawn, Spot

MOST_POINTS, EVERY_REPORTS = 1_500, 5_000
NEAR_S = 60.0
Told = TypeVar("Told")


class Ground:
    """The plan's plane: laid about an anchor, or about the first position that it is asked for."""

    def __init__(self, anchor: Anchor | None = None) -> None:
        self.anchor = anchor

    def spot(self, latitude_deg: float, longitude_deg: float) -> Spot:
        """Return metres east and north of the first position."""
        if self.anchor is None:
            self.anchor = Anchor(latitude_deg, longitude_deg, 0)
        east_m, north_m, *_ = plane(latitude_deg, longitude_deg, self.anchor)
        return east_m, north_m


@dataclass(frozen=True, slots=True)
class Fixed:
    """A position at a moment of the dive, in seconds; its depth may be one that was told up to NEAR_S before it."""

    at_s: float
    where: Where
    depth_age_s: float = 0.0


@dataclass(slots=True)
class LegExact:
    """A leg with its times in seconds of the dive, and the deepest that was reported in it."""

    phase: Phase
    from_s: float
    to_s: float
    most_m: float | None = None


@dataclass(slots=True)
class VehicleExact:
    """One vehicle of a dive.

    `wild`: fixes that aren't drawn; `by`: reports by feed and station, or by log; `behind_s`: by how much its own clock
    lay behind the ship's (`ExactDives.begun_s`), 0 where none of its reports told a time.
    """

    name: str
    legs: list[LegExact]
    behind_s: float = 0.0
    reports: int = 0
    positions: int = 0
    wild: int = 0
    first: Fixed | None = None
    last: Fixed | None = None
    deepest: Fixed | None = None
    deepest_m: float | None = None
    by: Counter[tuple[str, str]] = field(default_factory=Counter)
    corners: tuple[float, float, float, float] | None = None
    track: KeptTrack = field(default_factory=lambda: KeptTrack(MOST_POINTS))
    depths: KeptTrack = field(default_factory=lambda: KeptTrack(MOST_POINTS))

    @property
    def bottom_s(self) -> float:
        """Seconds in legs at the bottom."""
        return sum(leg.to_s - leg.from_s for leg in self.legs if leg.phase.leg is Leg.BOTTOM)

    @property
    def way_m(self) -> float:
        """Metres along the line that is drawn."""
        return sum(dist(one, other) for piece in self.drawn().track for one, other in pairwise(piece))

    def widen(self, where: Where) -> None:
        """Let the corners of the track (south, west, north, east) hold a position."""
        latitude_deg, longitude_deg = where.latitude_deg, where.longitude_deg
        south, west, north, east = self.corners or (latitude_deg, longitude_deg) * 2
        self.corners = (
            *(min(south, latitude_deg), min(west, longitude_deg)),
            *(max(north, latitude_deg), max(east, longitude_deg)),
        )

    def drawn(self) -> Drawn:
        """Return the vehicle as it is drawn."""
        depths = [[(spot.at_us / MICROSECONDS, spot.depth_m) for spot in piece] for piece in _pieces(self.depths)]
        track = [[(spot.east_m, spot.north_m) for spot in piece] for piece in _pieces(self.track)]
        return Drawn(self.name, depths, track)


def _pieces(track: KeptTrack) -> Iterator[list[TrackSpot]]:
    piece = list[TrackSpot]()
    for spot in (*track.broken(), None):
        if spot is not None:
            piece.append(spot)
        elif piece:
            yield piece
            piece = []


class _Newest(Generic[Told]):
    """What was told last up to a moment, in whatever order it comes; nothing older than NEAR_S counts."""

    def __init__(self, until_s: float) -> None:
        self.until_s, self.at_s = until_s, until_s - NEAR_S
        self.told: Told | None = None

    def offer(self, at_s: float, told: Told) -> None:
        """Take what was told at a moment, if it is newer than what is known."""
        if self.at_s <= at_s <= self.until_s:
            self.at_s, self.told = at_s, told


class _Gathering:
    """Takes the reports of one vehicle in the order of its time."""

    def __init__(self, vehicle: VehicleExact, ground: Ground) -> None:
        self.vehicle, self._ground = vehicle, ground
        self._gate: FixGate[Fixed] = FixGate()
        self._latitude_deg: float | None = None
        self._fixed_us: int | None = None
        self._deepest_s = 0.0

    def take(self, report: ExactReport, at_s: float) -> None:
        """Take a report of the exact record: what of it stands, and when in the dive it was made."""
        if report.kept is None:
            return
        told, vehicle = report.kept.observation, self.vehicle
        vehicle.reports += 1
        vehicle.by[_came_by(report)] += 1
        where = _where(told)
        self._latitude_deg = where.latitude_deg if where is not None else self._latitude_deg
        depth_m = self._depth_m(told)
        if depth_m is not None:
            self._deep(depth_m, at_s, where)
        if where is not None and report.counts:
            self._fix(Fixed(at_s, Where(where.latitude_deg, where.longitude_deg, depth_m)), at_s)

    @property
    def lacks(self) -> bool:
        """Whether a position has no depth, or the deepest no position: stations tell the two in different sentences."""
        ends = (self.vehicle.first, self.vehicle.last)
        unplaced = self.vehicle.deepest is None and self.vehicle.first is not None
        deep = self.vehicle.deepest_m is not None
        return deep and (unplaced or any(fixed is not None and fixed.where.depth_m is None for fixed in ends))

    def complete(self, timed: Iterator[tuple[ExactReport, float]]) -> None:
        """Give the first and the last position the newest depth, and the deepest a position, from all reports again.

        Two clocks may be hours apart, so what is newest isn't known while reports come in the order of either.
        """
        vehicle = self.vehicle
        ends = [_Newest[float](fixed.at_s if fixed is not None else 0.0) for fixed in (vehicle.first, vehicle.last)]
        place = _Newest[Where](self._deepest_s)
        for report, at_s in timed:
            if report.kept is None:
                continue
            told = report.kept.observation
            depth_m, where = self._depth_m(told), _where(told)
            for end in ends if depth_m is not None else ():
                end.offer(at_s, depth_m or 0.0)
            if where is not None and report.counts:
                place.offer(at_s, where)
        vehicle.first, vehicle.last = _with_depth(vehicle.first, ends[0]), _with_depth(vehicle.last, ends[1])
        if vehicle.deepest is None and place.told is not None:
            at = place.told
            vehicle.deepest = Fixed(self._deepest_s, Where(at.latitude_deg, at.longitude_deg, vehicle.deepest_m))

    def _depth_m(self, told: Observation) -> float | None:
        if told.depth_m is not None or told.pressure_dbar is None or self._latitude_deg is None:
            return told.depth_m
        return depth_from_pressure(told.pressure_dbar, self._latitude_deg)

    def _deep(self, depth_m: float, at_s: float, where: Where | None) -> None:
        vehicle = self.vehicle
        vehicle.depths.take(TrackSpot(round(at_s * MICROSECONDS), 0.0, 0.0, depth_m))
        if vehicle.deepest_m is None or depth_m > vehicle.deepest_m:
            vehicle.deepest_m, self._deepest_s = depth_m, at_s
            known = None if where is None else Where(where.latitude_deg, where.longitude_deg, depth_m)
            vehicle.deepest = None if known is None else Fixed(at_s, known)
        for leg in vehicle.legs:
            if leg.from_s <= at_s <= leg.to_s:
                leg.most_m = depth_m if leg.most_m is None else max(leg.most_m, depth_m)

    def _fix(self, fixed: Fixed, at_s: float) -> None:
        vehicle, at_us = self.vehicle, round(at_s * MICROSECONDS)
        vehicle.positions += 1
        if self._fixed_us is not None and at_us <= self._fixed_us:
            return  # another sentence of the same instant, or one that came late: the line goes through it already
        self._fixed_us = at_us
        east_m, north_m = self._ground.spot(fixed.where.latitude_deg, fixed.where.longitude_deg)
        believed = self._gate.take(TrackSpot(at_us, east_m, north_m, 0.0), fixed)
        vehicle.wild += 1 - len(believed)
        for spot, known in believed:
            vehicle.track.take(spot)
            vehicle.first, vehicle.last = vehicle.first or known, known
            vehicle.widen(known.where)


def _with_depth(fixed: Fixed | None, newest: _Newest[float]) -> Fixed | None:
    if fixed is None or fixed.where.depth_m is not None or newest.told is None:
        return fixed
    where = Where(fixed.where.latitude_deg, fixed.where.longitude_deg, newest.told)
    return Fixed(fixed.at_s, where, fixed.at_s - newest.at_s)


def _where(told: Observation) -> Where | None:
    if told.latitude_deg is None or told.longitude_deg is None:
        return None
    return Where(told.latitude_deg, told.longitude_deg, told.depth_m)


def _came_by(report: ExactReport) -> tuple[str, str]:
    if report.receipt is not None:
        return report.receipt.feed, report.receipt.station
    return f"log {report.log}", ""


def known_in(exact: ExactDives, dive: Dive) -> tuple[str, ...]:
    """Return the vehicles of a dive in the plan's order: those heard, and those that only their own logs tell of."""
    logged = {log.vehicle for log in exact.logs}
    return tuple(
        name
        for name in exact.plan.vehicles
        if name in dive.vehicles or (name in logged and any(True for _ in exact.record(name, dive.number)))
    )


def ground_of(exact: ExactDives, dive: Dive) -> Ground:
    """Return the plane of a dive: about its first position that the next one confirms (`AnchorSeeker`)."""
    for name in known_in(exact, dive):
        seeker = AnchorSeeker()
        for report in exact.track(name, dive.number):
            told = report.told
            if told.latitude_deg is None or told.longitude_deg is None:
                continue
            if (anchor := seeker.offer(told.latitude_deg, told.longitude_deg, 0)) is not None:
                return Ground(anchor)
    return Ground()


def vehicles_of(
    exact: ExactDives, dive: Dive, ground: Ground, progress: Progress = in_silence
) -> Iterator[VehicleExact]:
    """Yield each vehicle of a dive, gathered from its exact record; `progress` hears how many reports were taken."""
    length_s = exact.length_s(dive)
    for name in known_in(exact, dive):
        legs = [_leg(phase, dive, length_s) for phase in exact.phases(dive.number) if phase.vehicle == name]
        begun_s = exact.begun_s(name, dive.number)
        gathering = _Gathering(VehicleExact(name, legs, dive.begun.wall_s - begun_s), ground)
        for count, report in enumerate(exact.record(name, dive.number), 1):
            gathering.take(report, _at_s(report, dive, begun_s))
            if count % EVERY_REPORTS == 0:
                progress(f"drawing {name}", count, exact.reports)
        if gathering.lacks:
            gathering.complete((report, _at_s(report, dive, begun_s)) for report in exact.record(name, dive.number))
        yield gathering.vehicle


def _at_s(report: ExactReport, dive: Dive, begun_s: float) -> float:
    if report.receipt is not None and not report.report.own:
        return (report.receipt.moment.embargo_us - dive.begun.embargo_us) / MICROSECONDS
    return report.report.t_s - begun_s


def _leg(phase: Phase, dive: Dive, length_s: float) -> LegExact:
    def since_s(embargo_us: int) -> float:
        return (embargo_us - dive.begun.embargo_us) / MICROSECONDS

    ended_s = length_s if phase.ended is None else since_s(phase.ended.embargo_us)
    return LegExact(phase, since_s(phase.begun.embargo_us), ended_s)
