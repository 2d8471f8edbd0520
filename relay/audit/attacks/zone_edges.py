"""Hidden zones found by their holes: a circle fitted to where a track vanishes and comes back.

Rules: a hole is a stretch without a moving track between two shown places, on the bottom where legs are told; the
vehicle crossed the zone's edge between the last cell before and the first behind it, and every other shown place lies
outside. Where the track is limited to a radius, the places lie inside, and the circle's centre is where the bottom was
reached. Found is the centre of the hole: Offing moves a zone within its hole by a secret margin of at least half its
radius (`shell.expedition_form`), so that its own centre is no better known than that.

The fit is linear least squares first (Kåsa, "A circle fitting procedure and its error analysis", IEEE Transactions on
Instrumentation and Measurement 25, 1976; from memory), then by distance from the circle. On sports tracks such circles
found 84 % of the athletes' hidden homes (Hassan et al., "Analysis of Privacy Protections in Fitness Tracking Social
Networks", USENIX Security 2018; from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial import cKDTree

from relay.audit.attacks.attack import Case, Finding, Progress, quiet
from relay.audit.attacks.earth_tied import Tied, earth_tied
from relay.audit.attacks.shown_track import ShownTrack, all_tracks, stretches
from relay.audit.attacks.spots import at_spot, within_a_cell
from relay.audit.charts.chart import Floats, Mask

LEAST_EDGES = 6
LEAST_MARGIN = 0.5  # of the zone's radius: the rule of the expedition file
MOST_HOLES = 400


@dataclass(frozen=True)
class Hole:
    """Where a track vanished and came back: the cells (2,) on either side, metres, and how many ticks lie between."""

    before: Floats
    behind: Floats
    ticks: int


@dataclass(frozen=True)
class Circle:
    """A circle fitted to the edges of holes: centre (2,) and radius, metres.

    `off_m`: the standard error of the centre; `missed_m`: how far edges lie from it, in the median. `within`: shown
    places lie inside of it. `edges`: how many made it.
    """

    centre: Floats
    radius_m: float
    off_m: float
    missed_m: float
    within: bool
    edges: int


def holes(track: ShownTrack) -> list[Hole]:
    """Return the holes of a track: cells unseen or frozen (a heading is told only while cells move) amid shown ones."""
    shown = track.placed & ~_frozen(track)
    found = []
    for begin, end in stretches(~shown):
        if begin == 0 or end == len(shown) or not all(leg in (None, "bottom") for leg in track.leg[begin:end]):
            continue
        found.append(Hole(track.points[begin - 1], track.points[end], end - begin))
    return found


def _frozen(track: ShownTrack) -> Mask:
    """Where a cell was told without a heading, though this track tells headings."""
    told = np.isfinite(track.heading_deg)
    if not told.any():
        return np.zeros(len(told), dtype=bool)
    frozen: Mask = track.placed & ~told
    return frozen


def grouped(found: Sequence[Hole]) -> list[list[Hole]]:
    """Return holes by zone: those whose chords' middles lie within the longest of their chords of each other."""
    groups: list[list[Hole]] = []
    rest = sorted(found, key=lambda hole: -_chord(hole))[:MOST_HOLES]
    while rest:
        group, ahead = [], [rest[0]]
        reach = max(_chord(rest[0]), 1.0)
        rest = rest[1:]
        while ahead:
            hole = ahead.pop()
            group.append(hole)
            near = [other for other in rest if np.hypot(*(_middle(other) - _middle(hole))) < reach]
            rest = [other for other in rest if all(other is not one for one in near)]
            ahead += near
        groups.append(group)
    return groups


def _chord(hole: Hole) -> float:
    return float(np.hypot(*(hole.behind - hole.before)))


def _middle(hole: Hole) -> Floats:
    middle: Floats = (hole.before + hole.behind) / 2
    return middle


def fit(group: Sequence[Hole], shown: Floats, cell_m: float) -> Circle | None:
    """Return the circle through the edges of holes that shown places (n, 2) lie outside, or else inside, of."""
    edge = np.array([point for hole in group for point in (hole.before, hole.behind)])
    if len(edge) < LEAST_EDGES or np.linalg.matrix_rank(edge - edge.mean(axis=0), tol=cell_m) < 2:
        return None
    columns = np.column_stack([2 * edge, np.ones(len(edge))])
    solved, *_ = np.linalg.lstsq(columns, (edge**2).sum(axis=1), rcond=None)
    radius = float(np.sqrt(max(0.0, solved[2] + solved[0] ** 2 + solved[1] ** 2)))
    within = float((np.hypot(*(shown - solved[:2]).T) < radius).mean()) > 0.5
    sign = -1.0 if within else 1.0
    near = shown[cKDTree(shown).query_ball_point(solved[:2], 1.5 * radius + 5 * cell_m)] if not within else shown
    near = near[:: max(1, len(near) // 2_000)]

    def off(guess: Floats) -> Floats:
        beside = sign * (np.hypot(*(edge - guess[:2]).T) - guess[2]) - cell_m / 2
        wrong = np.minimum(0.0, sign * (np.hypot(*(near - guess[:2]).T) - guess[2]))
        together: Floats = np.concatenate([beside, wrong]) / cell_m
        return together

    better = least_squares(off, [*solved[:2], max(radius, cell_m)], loss="soft_l1", max_nfev=200)
    missed_m = float(np.median(np.abs(np.hypot(*(edge - better.x[:2]).T) - better.x[2])))
    return Circle(better.x[:2], float(better.x[2]), _error(better, cell_m), missed_m, within, len(edge))


def _error(solution: object, cell_m: float) -> float:
    """Return the standard error of the centre, from the curvature of a least-squares solution."""
    jacobian, residual = solution.jac, solution.fun  # type: ignore[attr-defined]
    covariance = np.linalg.pinv(jacobian.T @ jacobian) * max(1e-3, float((residual**2).mean()))
    return float(np.sqrt(covariance[0, 0] + covariance[1, 1])) * cell_m


@dataclass(frozen=True)
class ZoneEdges:
    """The attack."""

    name: str = "zone edges"

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return the centre of the best fitted hole: a place where tracks are tied to the Earth, else of the frame."""
        tracks = all_tracks(case)
        tied = [found for track in tracks if (found := earth_tied(track, case.chart)) is not None]
        seen = [one.track for one in tied if one.how == tied[0].how] if tied else list(tracks)
        if tied and tied[0].by_degrees:
            seen = seen[:1]  # each such track has metres of its own
        circles = circles_of(seen)
        if not circles:
            why = "no place was told" if not tracks else "no track vanishes and comes back often enough for a circle"
            return Finding(self.name, f"Nothing to work on: {why}.", worked=False)
        circle = max(circles, key=lambda one: (not one.within, one.edges))
        facts = {
            "radius_m": circle.radius_m, "known_to_m": circle.off_m, "edges": float(circle.edges),
            "holes": float(len(circles)), "centre_east_m": float(circle.centre[0]),
            "centre_north_m": float(circle.centre[1]), "zone_known_to_m": zone_known_to_m(circle),
        }  # fmt: skip
        return self._placed(case, tied[0], circle, facts) if tied else self._within_frame(circle, facts)

    def _placed(self, case: Case, tied: Tied, circle: Circle, facts: dict[str, float]) -> Finding:
        place = tied.to_earth(float(circle.centre[0]), float(circle.centre[1]))
        return Finding(
            self.name,
            f"A hole of {circle.radius_m:.0f} m radius in a track that is tied to the Earth ({tied.how}) has its "
            f"centre known to about {max(circle.off_m, 1):.0f} m.",
            log_likelihood=at_spot(case.chart, *tied.reference_deg(case), tied.track.cell_m or 1.0),
            place=place,
            outright=within_a_cell(case.chart, circle.off_m),
            leaks=(f"a hidden zone in a track tied to the Earth: {tied.how}",),
            facts=facts,
        )

    def _within_frame(self, circle: Circle, facts: dict[str, float]) -> Finding:
        if circle.within:
            words = (
                f"The track ends along a circle of {circle.radius_m:.0f} m radius: where the bottom was reached is its "
                f"centre, known to about {max(circle.off_m, 1):.0f} m"
            )
        else:
            words = (
                f"A hole of {circle.radius_m:.0f} m radius has its centre known to about {max(circle.off_m, 1):.0f} m; "
                f"the zone's own centre lies anywhere within {facts['zone_known_to_m']:.0f} m of that"
            )
        return Finding(
            self.name,
            f"{words}. All of it is in a frame whose place and turn are secret: nothing of where on the Earth.",
            facts=facts,
        )


def zone_known_to_m(circle: Circle) -> float:
    """Return the least margin that a hole of that radius may have: r + m(1 + u) with m >= r / 2 and u from 0 to 1.

    The hole's radius is at most r + 2 m, and so 2 r with the least margin, which is then a quarter of it.
    """
    return circle.radius_m / (1 / LEAST_MARGIN + 2) if not circle.within else circle.off_m


def circles_of(tracks: Sequence[ShownTrack]) -> list[Circle]:
    """Return the circles of all holes of some tracks in one plane."""
    shown = np.concatenate([track.points[track.placed & ~_frozen(track)] for track in tracks] or [np.empty((0, 2))])
    found = [hole for track in tracks for hole in holes(track)]
    cell_m = max((track.cell_m or 1.0 for track in tracks), default=1.0)
    fitted = [fit(group, shown, cell_m) for group in grouped(found)]
    around = fit(found, shown, cell_m) if found else None
    limit = around if around is not None and around.within and around.missed_m < 2 * cell_m else None
    return [circle for circle in [*fitted, limit] if circle is not None]
