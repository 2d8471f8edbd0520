"""Noise averaged away: over the ticks at which a vehicle stays, and over dives and audiences of one site.

Rules: a mean of n places with independent noise is off by the noise over the root of n; steps with hysteresis are no
noise, so where places hold in their cells there is nothing to average. Of several recordings the means are averaged
again, and what they scatter by is counted as noise that was drawn once for each.
"""

from dataclasses import dataclass

import numpy as np

from relay.audit.attacks.attack import Case, Finding, Progress, quiet
from relay.audit.attacks.earth_tied import Tied, earth_tied
from relay.audit.attacks.shown_track import ShownTrack, all_tracks, reference_m, tick_at
from relay.audit.attacks.spots import at_spot, within_a_cell
from relay.audit.charts.chart import Floats

FLICKERS = 0.5  # of ticks at which a place goes forth and back: more than steps with hysteresis ever do
LEAST_TICKS = 16
SAME_SPOT_M = 3_000.0


@dataclass(frozen=True)
class Stay:
    """Where a vehicle stayed: the mean place (2,), metres, how far off it may be, and the noise of one place of it.

    `at_s`: dive time in the middle of it; `ticks`: how many places were averaged.
    """

    point: Floats
    off_m: float
    noise_m: float
    at_s: float
    ticks: int


def noise_m(track: ShownTrack) -> float:
    """Return the standard deviation of independent noise on each place and axis, metres; 0 where places hold still.

    Of second differences, which a steady run leaves out: their median absolute deviation is 0.6745 sigma root 6.
    """
    points = track.points[track.placed]
    if len(points) < LEAST_TICKS:
        return 0.0
    second = np.diff(points, 2, axis=0)
    step = np.diff(points, axis=0)
    flickers = ((step[1:] * step[:-1]).sum(axis=1) < 0).mean()
    sigma = float(np.median(np.abs(second))) / (0.6745 * np.sqrt(6))
    return sigma if flickers > FLICKERS else 0.0


def stay_of(track: ShownTrack, noise: float) -> Stay | None:
    """Return the stay that gives the surest mean: long, and with halves whose means agree as far as noise lets them."""
    points, times = track.points[track.placed], track.elapsed_s[track.placed]
    if len(points) < LEAST_TICKS:
        return None
    total = np.concatenate([np.zeros((1, 2)), np.cumsum(points - points[0], axis=0)])
    best: Stay | None = None
    length = LEAST_TICKS
    while length <= len(points):
        begin = np.arange(len(points) - length + 1)
        half = length // 2
        first = (total[begin + half] - total[begin]) / half
        last = (total[begin + length] - total[begin + length - half]) / half
        moved = ((last - first) ** 2).sum(axis=1)
        off = np.sqrt(2 * noise**2 / length + np.maximum(0.0, moved - 8 * noise**2 / length) / 4)
        at = int(np.argmin(off))
        mean = points[0] + (total[at + length] - total[at]) / length
        if best is None or off[at] < best.off_m:
            best = Stay(mean, float(off[at]), noise, float(times[at + half]), length)
        length = max(length + 1, int(length * 1.25))
    return best


def pooled(stays: list[Stay]) -> Stay:
    """Return the mean of stays at one spot; how far off it is follows from what they scatter by, where that is more."""
    points = np.array([stay.point for stay in stays])
    formal = float(np.sqrt(sum(stay.off_m**2 for stay in stays))) / len(stays)
    scatter = float(np.sqrt(points.var(axis=0, ddof=1).sum() / len(stays))) if len(stays) > 1 else 0.0
    noise = max(*(stay.noise_m for stay in stays), scatter * np.sqrt(len(stays) / 2))
    return Stay(points.mean(axis=0), max(formal, scatter), float(noise), stays[0].at_s, sum(s.ticks for s in stays))


@dataclass(frozen=True)
class Averaging:
    """The attack."""

    name: str = "averaging"

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return where a vehicle stayed, if places are tied to the Earth; else how much a mean gains in the frame."""
        tracks = all_tracks(case)
        if not tracks:
            return Finding(self.name, "Nothing to work on: no place was told.", worked=False)
        tied = [found for track in tracks if (found := earth_tied(track, case.chart)) is not None]
        return self._placed(case, tied) if tied else self._within_frame(tracks)

    def _placed(self, case: Case, tied: list[Tied]) -> Finding:
        """Average the stays of all recordings that are tied in the same way; of each plane the first's metres count."""
        base = tied[0]
        stays = []
        for one in tied:
            stay = stay_of(one.track, noise_m(one.track)) if one.how == base.how else None
            if stay is not None:
                moved = np.array(base.from_earth(*one.to_earth(float(stay.point[0]), float(stay.point[1]))))
                stays.append(Stay(moved, stay.off_m, stay.noise_m, stay.at_s, stay.ticks))
        if not stays:
            return Finding(self.name, f"{_upper(base.how)}, but too few places were told to average.", worked=False)
        near = [stay for stay in stays if np.hypot(*(stay.point - stays[0].point)) < SAME_SPOT_M]
        mean = pooled(near)
        at = tick_at(base.framed, reference_m(case))
        around = base.track.points[max(0, at - LEAST_TICKS // 2) : at + LEAST_TICKS // 2]
        start = np.nanmean(around, axis=0) if np.isfinite(around).any() else base.track.points[base.track.placed][0]
        place = base.to_earth(float(mean.point[0]), float(mean.point[1]))
        spread_m = max(mean.off_m, mean.noise_m / 2)
        return Finding(
            self.name,
            f"{_upper(base.how)}. Each place is off by about {mean.noise_m:.0f} m; the mean of {mean.ticks} places in "
            f"{len(near)} recordings, where the vehicle stayed, is off by about {max(mean.off_m, 1):.0f} m.",
            log_likelihood=at_spot(case.chart, *base.to_earth(float(start[0]), float(start[1])), spread_m),
            place=place,
            outright=within_a_cell(case.chart, mean.off_m),
            leaks=(f"noise that can be averaged away: {base.how}",),
            facts={"noise_m": mean.noise_m, "known_to_m": mean.off_m, "places": float(mean.ticks),
                   "recordings": float(len(near)), "place_at_s": mean.at_s},
        )  # fmt: skip

    def _within_frame(self, tracks: tuple[ShownTrack, ...]) -> Finding:
        noises = [(noise_m(track), track) for track in tracks]
        noise, track = max(noises, key=lambda pair: pair[0])
        stay = stay_of(track, noise) if noise > 0 else None
        if stay is None:
            return Finding(
                self.name,
                "Nothing to work on: places hold in their cells, so there is no noise that a mean would take away.",
                worked=False, facts={"noise_m": 0.0},
            )  # fmt: skip
        return Finding(
            self.name,
            f"In {track.dive} places are off by about {noise:.0f} m each, and the mean of {stay.ticks} of them by "
            f"about {stay.off_m:.0f} m, but only in a frame whose place and turn are secret: nothing of the Earth.",
            facts={"noise_m": noise, "known_to_m": stay.off_m, "places": float(stay.ticks), "place_at_s": stay.at_s},
        )


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]
