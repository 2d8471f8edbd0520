"""Dead reckoning: from the launch under the ship, through what is withheld, to the first place that is told.

Rules: the launch is where the ship stayed; a vehicle that goes down drifts, and where headings are told although no
place is, it went along them at the speed that it has where it is seen. Headings that differ from the courses of the
shown track by one angle are not in the frame's turn: they are from north, and tell the turn. Without them the direction
of what was reckoned is unknown, and without any heading the drift alone is. A hole in the track is bounded in the same
way: by an ellipse about its ends, as long as what can be run in it.

Drift, shares and lengths are common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from relay.audit.attacks.attack import Case, Finding, Progress, quiet
from relay.audit.attacks.ship_alignment import HULL_M, Candidates, in_time_window, length_s, reach_m
from relay.audit.attacks.ship_path import Complexes, ShipPath
from relay.audit.attacks.shown_track import ShownTrack, all_tracks, reference_m, stretches
from relay.audit.attacks.spots import blurred, gathered, or_elsewhere
from relay.audit.charts.chart import Floats

DRIFT_MPS = 0.15  # how fast a vehicle drifts at least while it goes down, as a standard deviation; half its own speed
LAUNCH_MPS = 1.0  # a ship that launches is slower
RECKONED_SHARE = 0.07  # of the way reckoned: how far off its end is
SAMPLE_S = 60.0
OFF_DEG = 20.0
SURE = 0.9
RING = 72
ELSEWHERE = 0.01


@dataclass(frozen=True)
class Reckoned:
    """What is known of the way from the launch to the first told place.

    `launch_s`: when it began, from the dive's begin; `seconds`: how long it took. `way_m`: (east, north) by told
    headings, in the frame or (`from_north`) on the Earth; None where none were told. `off_deg`: by how much headings
    differ from courses on the shown track, NaN if unknown. `speed_mps`: the usual one where it was shown.
    """

    launch_s: float
    seconds: float
    way_m: tuple[float, float] | None
    from_north: bool
    off_deg: float
    speed_mps: float

    @property
    def spread_m(self) -> float:
        """How far off the reckoned end is, as a standard deviation."""
        if self.way_m is None:
            return float(np.hypot(HULL_M, max(DRIFT_MPS, self.speed_mps / 2) * self.seconds))
        return float(np.hypot(HULL_M, RECKONED_SHARE * self.speed_mps * self.seconds))


def courses(track: ShownTrack) -> tuple[Floats, Floats, Floats]:
    """Return speed (m/s), course and heading (degrees) over each minute in which the track was shown throughout."""
    apart = max(1, round(SAMPLE_S / track.tick_s))
    if len(track.elapsed_s) <= apart:
        return np.empty(0), np.empty(0), np.empty(0)
    moved = track.points[apart:] - track.points[:-apart]
    seconds = track.elapsed_s[apart:] - track.elapsed_s[:-apart]
    heading = np.exp(1j * np.radians(track.heading_deg))
    mean = np.array([heading[at : at + apart + 1].mean() for at in range(len(moved))])
    good = np.isfinite(moved).all(axis=1) & (seconds > 0)
    speed = np.hypot(*moved[good].T) / seconds[good]
    return speed, np.degrees(np.arctan2(*moved[good].T)), np.degrees(np.angle(mean[good]))


def heading_off_deg(track: ShownTrack) -> float:
    """Return by how much headings differ from courses, degrees from -180 to 180; NaN where they don't agree by any."""
    speed, course, heading = courses(track)
    running = np.isfinite(heading) & (speed > max(0.1, 0.5 * float(np.median(speed, axis=0)) if speed.size else 0.1))
    if running.sum() < 5:
        return float("nan")
    mean = np.exp(1j * np.radians(heading[running] - course[running])).mean()
    return float(np.degrees(np.angle(mean))) if abs(mean) > SURE - 0.15 else float("nan")


def reckoned(track: ShownTrack) -> Reckoned:
    """Return what is known of the way from the launch to the first place that a track tells."""
    first = int(np.argmax(track.placed))
    under = np.array([leg != "deck" for leg in track.leg[:first]], dtype=bool)
    begin = int(np.argmax(under)) if under.any() else first
    launch, seconds = float(track.elapsed_s[begin]), float(track.elapsed_s[first] - track.elapsed_s[begin])
    speed, _, _ = courses(track)
    usual = float(np.median(speed[speed > 0.05])) if (speed > 0.05).any() else 0.0
    off = heading_off_deg(track)
    heading = track.heading_deg[begin:first]
    if first - begin < 3 or np.isfinite(heading).mean() < SURE or usual == 0:
        return Reckoned(launch, seconds, None, False, off, usual)
    radians = np.radians(np.interp(np.arange(len(heading)), np.flatnonzero(np.isfinite(heading)),
                                   np.degrees(np.unwrap(np.radians(heading[np.isfinite(heading)])))))  # fmt: skip
    step = usual * np.diff(track.elapsed_s[begin : first + 1])
    way = float((step * np.sin(radians)).sum()), float((step * np.cos(radians)).sum())
    return Reckoned(launch, seconds, way, bool(abs(off) > OFF_DEG), off, usual)


def hole_km2(track: ShownTrack) -> float:
    """Return the area in which the vehicle was in the largest hole of its track, square kilometres: an ellipse's."""
    speed, _, _ = courses(track)
    fastest = float(np.quantile(speed, 0.95)) if speed.size else 0.0
    areas = [0.0]
    for begin, end in stretches(~track.placed):
        if 0 < begin and end < len(track.elapsed_s):
            way = fastest * float(track.elapsed_s[end] - track.elapsed_s[begin - 1])
            apart = float(np.hypot(*(track.points[end] - track.points[begin - 1])))
            areas.append(np.pi / 4 * way * float(np.sqrt(max(0.0, way**2 - apart**2))))
    return max(areas) / 1e6


@dataclass(frozen=True)
class DeadReckoning:
    """The attack."""

    name: str = "dead reckoning"

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return where the first told place is, reckoned from the ship's stays; without AIS, what the way tells."""
        tracks = all_tracks(case)
        if not tracks:
            return Finding(self.name, "Nothing to work on: no place was told to reckon to.", worked=False)
        progress(self.name, 0.0)
        way = reckoned(tracks[0])
        facts = {"descent_s": way.seconds, "hole_km2": hole_km2(tracks[0]), "known_to_m": way.spread_m}
        if np.isfinite(way.off_deg):
            facts["heading_off_deg"] = way.off_deg
        leaks = _leaks(way)
        told, first = reference_m(case), tracks[0].points[int(np.argmax(tracks[0].placed))]
        beyond = complex(*(np.array(told or first) - first))
        found = None if case.ship is None else self._from_ship(case, way, beyond)
        if found is None:
            why = "no AIS track of the ship was given" if case.ship is None else "AIS has no stay as long as the dive"
            words = f"Nothing to reckon from: {why}. {_upper(_way(way))}."
            return Finding(self.name, words, worked=bool(leaks), leaks=leaks, facts=facts)
        place, share = found.share_near_best(4 * HULL_M)
        sure = share > 0.5 and way.from_north and way.way_m is not None
        weight = np.exp(found.log_weight - logsumexp(found.log_weight)).ravel()
        mass = gathered(case.chart, found.latitude_deg.ravel(), found.longitude_deg.ravel(), weight)
        return Finding(
            self.name,
            f"From under the ship, where she stayed, {_way(way)}: where that ends is known to about "
            f"{way.spread_m:.0f} m.",
            log_likelihood=or_elsewhere(case.chart, blurred(case.chart, mass, found.spread_m), ELSEWHERE),
            place=place if sure else None,
            leaks=leaks,
            facts=facts,
        )

    def _from_ship(self, case: Case, way: Reckoned, beyond: complex) -> Candidates | None:
        """Return where the reference, `beyond` the way's end in the frame, may be: from all her stays, every way."""
        assert case.ship is not None
        try:
            path = ShipPath.of(case.ship)
        except ValueError:
            return None
        dive = next(dive for dive in case.dives if dive.name == all_tracks(case)[0].dive)
        runs = [np.arange(first, last + 1) for first, last in path.stays(length_s(dive), reach_m(case))]
        if not runs:
            return None
        sample = in_time_window(np.concatenate(runs), dive, path) + round(way.launch_s / path.every_s)
        sample = sample[path.speed_mps[sample] < LAUNCH_MPS]
        if not sample.size:
            return None
        moved = _ends(way, beyond)
        grid = np.repeat(sample[:, None], len(moved), axis=1)
        latitude, longitude = path.moved(grid, np.repeat(moved[None, :], len(sample), axis=0))
        return Candidates(latitude, longitude, np.zeros(grid.shape), way.spread_m)


def _ends(way: Reckoned, beyond: complex) -> Complexes:
    """Return where a point `beyond` the way's end in the frame lies from the launch: one place, or a ring of them."""
    reckoned_m = 0j if way.way_m is None else complex(*way.way_m)
    if way.from_north and way.way_m is not None:
        return np.array([reckoned_m + beyond * np.exp(-1j * np.radians(way.off_deg))])
    turned: Complexes = (reckoned_m + beyond) * np.exp(2j * np.pi * np.arange(RING) / RING)
    return turned


def _leaks(way: Reckoned) -> tuple[str, ...]:
    told = ("headings where no place is told",) if way.way_m is not None else ()
    return (*told, "headings from north beside a turned track") if abs(way.off_deg) > OFF_DEG else told


def _way(way: Reckoned) -> str:
    if way.way_m is None:
        return f"the way of {way.seconds / 60:.0f} min to the first told place is withheld, its direction unknown"
    length = float(np.hypot(*way.way_m))
    where = "and from north" if way.from_north else "in the frame's own turn alone"
    return f"headings told on the withheld way of {way.seconds / 60:.0f} min, {where}, reckon {length:.0f} m"


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]
