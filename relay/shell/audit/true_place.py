"""Where a recorded dive really was, from the ship's journal: so that an audit can say whether it would have been found.

Rules: exact and private, and used for nothing but that. The journal's fixes are laid over the released track: at each
tick of the journal's clock the recording might have begun at, the turn and shift that fit best (least squares, a
rotation without reflection); the best of all is the dive, if it fits as closely as the recording's cells allow.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import atan2, degrees
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from relay.audit.attacks.attack import Dive
from relay.audit.charts.chart import Floats
from relay.core.errors import OperatorError
from relay.core.geodesy import Anchor, plane, point_at
from relay.core.model import Accepted
from relay.core.policy import Plan
from relay.core.release import Kind
from relay.core.sources import Source
from relay.shell.record.journal import NAME, read_rows

MOST_POINTS = 120
STALE_S = 30.0  # how long a fix is shown where the plan doesn't know the audience
LEAST_FRESH = 0.8
_SLACK_M = 15.0

Place = tuple[float, float]
_Complex = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class ExactTrack:
    """A vehicle's fixes by the embargo clock: seconds, and metres east and north (complex) of `origin`.

    `stale_s`: how long a fix was shown to the audience.
    """

    t_s: Floats
    at: _Complex
    origin: Anchor
    stale_s: float = STALE_S

    def when(self, moments_s: Floats) -> tuple[_Complex, NDArray[np.bool_]]:
        """Return the last fix at or before each moment, and whether it was fresh."""
        last = np.searchsorted(self.t_s, moments_s, side="right") - 1
        age_s = moments_s - self.t_s[np.maximum(last, 0)]
        return self.at[np.maximum(last, 0)], (last >= 0) & (age_s <= self.stale_s)

    def place(self, at: complex) -> Place:
        """Return latitude and longitude of a point on the plane."""
        start = (self.origin.latitude_deg, self.origin.longitude_deg)
        return point_at(start, degrees(atan2(at.real, at.imag)), abs(at))


def true_place(journal: Path, plan: Plan, dives: Sequence[Dive], reference: tuple[float, float] | None) -> Place:
    """Return latitude and longitude of a point of the published frame (metres east and north).

    None as `reference`, or dives without a track: the middle of what the first dive's vehicle reported.
    OperatorError when the journal can't be read, holds no fixes, or isn't of these dives.
    """
    fixes = exact_fixes(journal, plan)
    if not fixes:
        raise OperatorError(f"{journal}: no position of a vehicle is in it: name the journal of these dives")
    shown = next(((dive, vehicle) for dive in dives for vehicle in _tracked(dive)), None)
    if reference is None or shown is None:
        track = exact_track(next(iter(fixes.values())))
        return track.place(complex(np.median(track.at.real), np.median(track.at.imag)))
    dive, vehicle = shown
    name = str(dive.header["vehicles"][vehicle])
    if name not in fixes:
        raise OperatorError(f"{journal}: no position of {name} is in it: name the journal of {dive.name}")
    stale_s = next((policy.stale_us / 1e6 for policy in plan.policies if policy.audience == dive.audience), STALE_S)
    return _found(journal, dive, vehicle, exact_track(fixes[name], stale_s), complex(*reference))


def exact_fixes(journal: Path, plan: Plan) -> dict[str, list[tuple[float, float, float]]]:
    """Return each vehicle's fixes: seconds of the embargo clock, latitude, longitude."""
    path = journal / NAME if journal.is_dir() else journal
    if not path.is_file():
        raise OperatorError(f"{path}: there is no such journal: give the journal.db of the ship's private folder")
    fixes: dict[str, list[tuple[float, float, float]]] = {}
    try:
        for at_s, name, place in _reported(path, plan):
            fixes.setdefault(name, []).append((at_s, *place))
    except (sqlite3.Error, ValueError) as error:
        raise OperatorError(f"{path} can't be read as a journal ({error}): give the ship's journal.db") from error
    return fixes


def _reported(path: Path, plan: Plan) -> Iterator[tuple[float, str, Place]]:
    sources = {source.name: Source(at, source) for at, source in enumerate(plan.sources) if not source.of_ship}
    for row in read_rows(path):
        if (source := sources.get(row.source)) is None:
            continue
        for event in source.read(row):
            if not isinstance(event, Accepted):
                continue
            seen = event.observation
            name = seen.vehicle or source.plan.vehicle
            if name in plan.vehicles and seen.latitude_deg is not None and seen.longitude_deg is not None:
                yield row.embargo_us / 1e6, str(name), (seen.latitude_deg, seen.longitude_deg)


def exact_track(fixes: Sequence[tuple[float, float, float]], stale_s: float = STALE_S) -> ExactTrack:
    """Return fixes on a plane about the first."""
    origin = Anchor(fixes[0][1], fixes[0][2], 0)
    metres = np.array([complex(*plane(latitude, longitude, origin)[:2]) for _, latitude, longitude in fixes])
    return ExactTrack(np.array([at_s for at_s, *_ in fixes]), metres, origin, stale_s)


def _tracked(dive: Dive) -> list[int]:
    """Return the vehicles of which a track is shown."""
    vehicles = range(len(dive.header["vehicles"]))
    ticks = [record.body for record in dive.records if record.kind == Kind.TICK]
    return [at for at in vehicles if any(rows[at][1] is not None for rows in ticks)]


def _found(journal: Path, dive: Dive, vehicle: int, track: ExactTrack, reference: complex) -> Place:
    """Return where the reference is, by the best fit of the released track on the exact one."""
    moments_s, shown = _shown(dive, vehicle)
    tick_s = float(dive.header["tick_s"])
    first = np.floor((track.t_s[0] - moments_s[0]) / tick_s)
    last = np.ceil((track.t_s[-1] + track.stale_s - moments_s[-1]) / tick_s)
    fits = (_fit(track, moments_s + at * tick_s, shown) for at in np.arange(first, last + 1))
    best = min(fits, key=lambda fit: fit[0], default=None)
    allowed_m = float(dive.header["cell_m"] or 0.0) + _SLACK_M
    if best is None or best[0] > allowed_m:
        off = "nowhere" if best is None or best[0] == np.inf else f"only to {best[0]:.0f} m"
        raise OperatorError(
            f"{journal}: its track fits that of {dive.name} {off}: it is the journal of another dive, or part of it is "
            "missing. Name the journal that this recording was made from."
        )
    _, turn_rad, middle_shown, middle_exact = best
    return track.place(complex((reference - middle_shown) * np.exp(1j * turn_rad) + middle_exact))


def _shown(dive: Dive, vehicle: int) -> tuple[Floats, _Complex]:
    """Return seconds of dive time and places of a released track, some of them if there are many."""
    points = [
        (record.elapsed_s, complex(record.body[vehicle][1], record.body[vehicle][2]))
        for record in dive.records
        if record.kind == Kind.TICK and record.body[vehicle][1] is not None
    ]
    chosen = np.unique(np.linspace(0, len(points) - 1, MOST_POINTS).round().astype(int))
    return np.array([points[at][0] for at in chosen]), np.array([points[at][1] for at in chosen])


def _fit(track: ExactTrack, moments_s: Floats, shown: _Complex) -> tuple[float, float, complex, complex]:
    """Return how far off the best fit is (root of the mean square, metres), its turn, and the middles of both."""
    exact, fresh = track.when(moments_s)
    if fresh.mean() < LEAST_FRESH:
        return float("inf"), 0.0, 0j, 0j
    exact, shown = exact[fresh], shown[fresh]
    middle_exact, middle_shown = complex(exact.mean()), complex(shown.mean())
    one, other = shown - middle_shown, exact - middle_exact
    product = complex((np.conj(one) * other).sum())
    square = float((np.abs(one) ** 2).sum() + (np.abs(other) ** 2).sum()) - 2 * abs(product)
    turn_rad = atan2(product.imag, product.real)
    return float(np.sqrt(max(square, 0.0) / len(shown))), turn_rad, middle_shown, middle_exact
