"""The ship's AIS track laid over the vehicle's: where and when she was such that a dive like the told one fits.

Rules: a tethered vehicle keeps within reach of its ship and mostly follows her, or she it; on deck it is where she is.
So for every lag the vehicle's track is turned and moved onto hers by least squares (the angle that makes the sum of
conjugate products real: Procrustes in the plane), misfit counts against what a tether gives, and where a track is shown
on deck the place follows to her length. Lags at which she stayed still are all alike: what they leave is the floor that
no policy can beat. AIS may lack the very dive, so a small share of the probability stays anywhere else.

Reach, slack and lengths are common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ive, logsumexp

from relay.audit.attacks.attack import Case, Dive, Finding, Progress, quiet
from relay.audit.attacks.ship_path import Complexes, ShipPath, correlate
from relay.audit.attacks.shown_track import ShownTrack, reference_m, tracks_of
from relay.audit.attacks.spots import blurred, gathered, or_elsewhere
from relay.audit.charts.chart import Floats, Mask

REACH_SHARE, LEAST_REACH_M, MOST_REACH_M = 0.5, 150.0, 2_000.0  # how far a vehicle goes from under its ship, of depth
HULL_M = 25.0
LAYBACK = 1 / np.sqrt(-2 * np.log(0.05))  # of the reach, a deviation: 95 % of a round Gaussian lie within the reach
APART_S = 600.0  # between moments at which tether and drift are independent
ELSEWHERE = 0.01
TURNS = 36
MOST_LAGS = 4_000
ON_DECK_M = 3.0


@dataclass(frozen=True)
class Told:
    """A dive on the ship's grid of time: places (samples,) east + i north in the frame, 0 where `shown` is not."""

    place: Complexes
    shown: Mask
    deck: Mask
    seconds: float


@dataclass(frozen=True)
class Fits:
    """Lags (lags,) at which a dive fits: their log weights, the turn (radians) and how sharply it is known."""

    lag: NDArray[np.intp]
    log_weight: Floats
    turn: Floats
    sharp: Floats
    mean_told: Complexes
    mean_ship: Complexes


def reach_m(case: Case) -> float:
    """Return how far from under the ship the vehicle may have been: a share of the depth told, or charted."""
    told = [float(np.nanmax(track.depth_m)) for dive in case.dives if dive.header.get("depth") != "relative"
            for track in tracks_of(dive) if np.isfinite(track.depth_m).any()]  # fmt: skip
    where = case.chart.candidates if case.prior is None else case.prior & case.chart.candidates
    charted = case.chart.depth_m[where & np.isfinite(case.chart.depth_m)]
    depth_m = max(told) if told else float(np.median(charted)) if charted.size else 0.0
    return float(np.clip(REACH_SHARE * depth_m, LEAST_REACH_M, MOST_REACH_M))


def told_by(dive: Dive, path: ShipPath) -> Told | None:
    """Return the dive's best told track on the ship's grid of time; None where no place was told."""
    placed = [track for track in tracks_of(dive) if track.placed.any()]
    if not placed:
        return None
    track = max(placed, key=lambda one: int(one.placed.sum()))
    length = int((track.elapsed_s[-1] - track.elapsed_s[0]) / path.every_s) + 1
    at = np.minimum(((track.elapsed_s - track.elapsed_s[0]) / path.every_s).astype(int), length - 1)
    count = np.bincount(at[track.placed], minlength=length)
    shown = count > 0
    sums = [np.bincount(at[track.placed], weights=values[track.placed], minlength=length)
            for values in (track.east_m, track.north_m)]  # fmt: skip
    place = np.where(shown, (sums[0] + 1j * sums[1]) / np.maximum(count, 1), 0)
    deck = np.bincount(at[track.placed & _on_deck(track)], minlength=length) > 0
    return Told(place, shown, deck, float(track.elapsed_s[-1] - track.elapsed_s[0]))


def _on_deck(track: ShownTrack) -> Mask:
    by_leg = np.array([leg == "deck" for leg in track.leg])
    deck: Mask = by_leg | (~np.array([leg is not None for leg in track.leg]) & (track.depth_m < ON_DECK_M))
    return deck


def aligned(told: Told, path: ShipPath, reach: float) -> Fits | None:
    """Return the lags at which a dive may have been, each with its best turn; None where AIS never covers it."""
    if len(told.place) > len(path):
        return None
    origin, centre = path.place.mean(), told.place[told.shown].mean()
    ship, seen = np.where(path.known, path.place - origin, 0), told.shown.astype(float)
    own = np.where(told.shown, told.place - centre, 0)
    known = path.known.astype(float)
    count = correlate(seen, known).real
    least = np.maximum(count, 1.0)
    scale = path.scale[np.arange(len(count)) + len(told.place) // 2]
    ship_sum, own_sum = correlate(seen, ship) * scale, correlate(own, known)
    cross = correlate(own.conj(), ship) * scale - own_sum.conj() * ship_sum / least
    ship_square = correlate(seen, np.abs(ship) ** 2).real * scale**2 - np.abs(ship_sum) ** 2 / least
    own_square = correlate(np.abs(own) ** 2, known).real - np.abs(own_sum) ** 2 / least
    misfit = np.maximum(0.0, own_square + ship_square - 2 * np.abs(cross))
    slack = max(20.0, reach / 4)
    weigh = max(1.0, told.shown.sum() * path.every_s / APART_S) / least / slack**2
    sharp = np.abs(cross) * weigh
    log = np.where(count > 0.9 * told.shown.sum(), -misfit * weigh / 2 + np.log(ive(0, sharp)), -np.inf)
    kept = np.argsort(-log)[:MOST_LAGS]
    kept = kept[np.isfinite(log[kept]) & (log[kept] > log.max() - 30)]
    if not kept.size:
        return None
    return Fits(kept, log[kept], np.angle(cross[kept]), sharp[kept], centre + own_sum[kept] / least[kept],
                origin * scale[kept] + ship_sum[kept] / least[kept])  # fmt: skip


@dataclass(frozen=True)
class Candidates:
    """Where the reference may be: (lags, turns) latitude, longitude, log weight; `spread_m` about each of them.

    `deck`: where the vehicle may have been on deck, if its track is told there.
    """

    latitude_deg: Floats
    longitude_deg: Floats
    log_weight: Floats
    spread_m: float
    deck: "Candidates | None" = None

    def share_near_best(self, within_m: float) -> tuple[tuple[float, float], float]:
        """Return the weighted mean of the places about the best one, and their share of all weight."""
        weight = np.exp(self.log_weight - logsumexp(self.log_weight))
        best = np.unravel_index(int(np.argmax(weight)), weight.shape)
        up = (self.latitude_deg - self.latitude_deg[best]) * 111_120.0
        turn = (self.longitude_deg - self.longitude_deg[best] + 180) % 360 - 180
        across = turn * 111_120.0 * np.cos(np.radians(self.latitude_deg[best]))
        near = np.where(np.hypot(up, across) <= within_m, weight, 0.0)
        place = (
            float(np.average(self.latitude_deg, weights=near)),
            float(self.longitude_deg[best] + np.average(turn, weights=near)),
        )
        return place, float(near.sum())


_BINS = np.arange(TURNS) * 2 * np.pi / TURNS
_SHARPEST = (TURNS / np.pi) ** 2  # a turn known better than half a bin counts as known to that


def candidates(fits: Fits, told: Told, path: ShipPath, wanted: complex, reach: float) -> Candidates:
    """Return where a point `wanted` of the frame may be on the Earth; a track on deck pins it to the ship's length."""
    known = fits.sharp > _SHARPEST
    angle = np.where(known[:, None], fits.turn[:, None], _BINS)
    about = np.minimum(fits.sharp, _SHARPEST)[:, None] * np.cos(_BINS - fits.turn[:, None])
    log = fits.log_weight[:, None] + about - logsumexp(about, axis=1, keepdims=True)
    sample = np.minimum(fits.lag + len(told.place) // 2, len(path) - 1)
    scale = path.scale[sample]
    turning = np.exp(1j * angle)
    centre = np.repeat(fits.mean_ship[:, None], TURNS, axis=1)
    samples, base = np.repeat(sample[:, None], TURNS, axis=1), (path.place[sample] * scale)[:, None]
    on_deck = None
    deck = np.flatnonzero(told.deck)
    if deck.size:
        deck = deck[np.linspace(0, deck.size - 1, min(deck.size, 40)).astype(int)]
        under = path.place[fits.lag[:, None] + deck] * scale[:, None]
        own = told.place[deck] - fits.mean_told[:, None]
        pinned = under.mean(axis=1)[:, None] - turning * own.mean(axis=1)[:, None]
        residual = under[:, None, :] - turning[:, :, None] * own[:, None, :] - pinned[:, :, None]
        log = log - np.abs(pinned - centre) ** 2 / (2 * reach**2)
        log = log - (np.abs(residual) ** 2).mean(axis=2) / (2 * HULL_M**2)
        on_deck = Candidates(*path.moved(samples, under.mean(axis=1)[:, None] - base + 0 * pinned), log, HULL_M)
        centre = pinned
    moved = centre + turning * (wanted - fits.mean_told[:, None]) - base
    return Candidates(*path.moved(samples, moved), log, HULL_M if deck.size else reach * LAYBACK, on_deck)


@dataclass(frozen=True)
class ShipAlignment:
    """The attack."""

    name: str = "ship alignment"

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return where the ship was when a dive like the told ones fits, and the floor that her stays set.

        The place, where it is sure, is that of the vehicle on deck.
        """
        if case.ship is None:
            return self._nothing("no AIS track of the ship was given.")
        try:
            path = ShipPath.of(case.ship)
        except ValueError as error:
            return self._nothing(f"{error}.")
        reach, found = reach_m(case), []
        each = each_once(case.dives)
        for at, dive in enumerate(each):
            progress(self.name, at / len(each))
            placed = self._of_dive(case, dive, path, reach)
            found += [placed] if placed is not None else []
        if not found:
            return self._nothing("at no time does her AIS track cover a dive as long as the told ones, and fit.")
        seconds = max(length_s(dive) for dive in case.dives)
        floor_km2, stays = path.floor_km2(seconds, reach)
        return self._told(case, path, found, {"floor_km2": floor_km2, "stays": float(stays), "reach_m": reach})

    def _nothing(self, why: str) -> Finding:
        return Finding(self.name, f"Nothing to work on: {why}", worked=False)

    def _of_dive(self, case: Case, dive: Dive, path: ShipPath, reach: float) -> Candidates | None:
        told, wanted = told_by(dive, path), reference_m(case)
        if told is None or wanted is None:
            return under_stays(path, length_s(dive), reach)
        fits = aligned(told, path, reach)
        fits = None if fits is None else in_time(fits, dive, path)
        return None if fits is None else candidates(fits, told, path, complex(*wanted), reach)

    def _told(self, case: Case, path: ShipPath, found: Sequence[Candidates], facts: dict[str, float]) -> Finding:
        best = min((one.deck or one for one in found), key=lambda one: one.spread_m)
        place, share = best.share_near_best(4 * HULL_M)
        sure = share > 0.5 and best.spread_m <= HULL_M
        floor = (
            f"She stayed {facts['stays']:.0f} times long enough for it; within {facts['reach_m']:.0f} m of those "
            f"places lie {facts['floor_km2']:.2f} km2, a floor that no policy can beat."
        )
        if path.gaps_s > 0:
            floor += f" AIS leaves {path.gaps_s / 3600:.1f} h open, in which a dive can't be found."
        if sure:
            words = (
                f"The track is shown where the vehicle is on deck, so the ship's own gives the place to {HULL_M:.0f} m."
            )
        else:
            words = "The dive may have been wherever the ship's track fits it."
        return Finding(
            self.name,
            f"{words} {floor}",
            log_likelihood=joint(case, found),
            place=place if sure else None,
            leaks=("a track shown on deck, beside the ship's AIS",) if sure else (),
            facts=facts | {"known_to_m": best.spread_m, "share_of_best": share},
        )


def each_once(dives: Sequence[Dive]) -> list[Dive]:
    """Return of all recordings of one dive (other audiences, live and replayed) the one that tells most places."""
    best: dict[int, tuple[int, Dive]] = {}
    for dive in dives:
        number = dive.records[0].dive if dive.records else 0
        told = sum(int(track.placed.sum()) for track in tracks_of(dive))
        if number not in best or told > best[number][0]:
            best[number] = told, dive
    return [dive for _, dive in best.values()]


def length_s(dive: Dive) -> float:
    """Return how long a dive lasted as told, seconds."""
    return float(dive.records[-1].elapsed_s) if dive.records else 0.0


def under_stays(path: ShipPath, seconds: float, reach: float) -> Candidates | None:
    """Return the places under the ship in all stays of that length, for a dive that tells no place, if any."""
    length = max(2, round(seconds / path.every_s))
    runs = [np.arange(first, last + 1) + length // 2 for first, last in path.stays(seconds, reach)]
    if not runs:
        return None
    sample = np.concatenate(runs)[:, None]
    latitude, longitude = path.moved(sample, np.zeros(sample.shape, complex))
    return Candidates(latitude, longitude, np.zeros(sample.shape), reach * LAYBACK)


def in_time(fits: Fits, dive: Dive, path: ShipPath) -> Fits | None:
    """Return the lags that agree with when the records came; None where none does."""
    kept = np.isin(fits.lag, in_time_window(fits.lag, dive, path))
    if not kept.any():
        return None
    return Fits(*(getattr(fits, name)[kept] for name in Fits.__dataclass_fields__))


def in_time_window(lag: NDArray[np.intp], dive: Dive, path: ShipPath) -> NDArray[np.intp]:
    """Return the lags that agree with when a dive's records came; all of them where that isn't on the clock of AIS."""
    delay = dive.header.get("delay_s")
    if not dive.sent_s or not isinstance(delay, list) or len(delay) != 2:
        return lag
    first, last = dive.sent_s[0] - float(delay[1]) - 120.0, dive.sent_s[0] - float(delay[0]) + 120.0
    begins = path.begin_s + lag * path.every_s
    if last < path.begin_s or first > path.begin_s + len(path) * path.every_s:
        return lag
    return lag[(begins >= first) & (begins <= last)]


def joint(case: Case, found: Sequence[Candidates]) -> Floats:
    """Return the log likelihood over the chart's cells of all dives: for each turn together, then over all turns."""
    turned = [one for one in found if one.log_weight.shape[1] == TURNS]
    still = [_density(case, one, None) for one in found if one.log_weight.shape[1] != TURNS]
    if len(turned) == 1:
        still, turned = [*still, _density(case, turned[0], None)], []
    together: Floats = np.sum(still, axis=0) if still else np.zeros(case.chart.shape)
    if turned:
        together = together + logsumexp(
            [np.sum([_density(case, one, at) for one in turned], axis=0) for at in range(TURNS)], axis=0
        )
    return together


def _density(case: Case, one: Candidates, turn: int | None) -> Floats:
    """Return the log density by cell of a dive's candidates, of all turns together or of one."""
    which = slice(None) if turn is None else slice(turn, turn + 1)
    weight = np.exp(one.log_weight - logsumexp(one.log_weight))[:, which]
    mass = gathered(case.chart, one.latitude_deg[:, which].ravel(), one.longitude_deg[:, which].ravel(), weight.ravel())
    share = 1.0 if turn is None else 1.0 / TURNS
    return or_elsewhere(case.chart, blurred(case.chart, mass, one.spread_m), ELSEWHERE, share)
