"""The attack by differences: what one recording has that another withholds, of the same dive.

Rules: audiences of a site share one frame and one clock, so two recordings of one dive are laid over each other by the
few lags that their ticks allow; the same record told twice must be the same bytes, live and closed, now and earlier.
Where positions on the Earth were told to anybody, coarse as they may be, every tick bounds where the frame's track can
lie: its turn and its place are what all bounds together leave (`frame_on_earth`).
"""

from collections.abc import Iterator, Sequence
from itertools import combinations, product
from math import gcd
from typing import NamedTuple

import numpy as np

from relay.audit.attacks.attack import Case, Dive, Finding, Progress, quiet
from relay.audit.attacks.earth_tied import earth_tied
from relay.audit.attacks.frame_on_earth import Bounds, bounds_of_told, laid, smallest
from relay.audit.attacks.shown_track import ShownTrack, tracks_of
from relay.audit.attacks.spots import at_spot, within_a_cell
from relay.core.quantise import SLACK

_FEWEST = 5  # ticks in common that are enough to call two recordings the same dive
_AGREE = 0.9
SPEED_MPS = 1.0  # how fast a vehicle goes at the most while nobody is sure of the moment: common practice, no source
_SHOWN = 3


class Overlap(NamedTuple):
    """Two tracks of one vehicle on one dive: whose moments are `lag_s` apart, and which ticks they share.

    `open_s`: by how much the lag may be wrong.
    """

    first: ShownTrack
    second: ShownTrack
    lag_s: float
    pairs: np.ndarray
    open_s: float = 0.0


class Differencing:
    """Holds recordings against each other."""

    name = "differencing"

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return what recordings tell together that none tells alone, and the place where they tell it."""
        if not any(dive.records for dive in case.dives):
            return Finding(self.name, "There are no recordings to hold against each other.", worked=False)
        leaks = list(_told_twice(case.dives))
        progress("holding recordings against each other", 0.2)
        tracks = [tracks_of(dive) for dive in case.dives]
        overlaps = list(_overlaps(tracks))
        progress("holding recordings against each other", 0.6)
        found = _on_earth(case, [track for each in tracks for track in each], overlaps)
        sure = [overlap for overlap in overlaps if not overlap.open_s]
        if found is None and not sure and not leaks:
            alone = "Only one recording was given" if len(case.dives) == 1 else "No two recordings are of the same dive"
            return Finding(self.name, f"{alone}, so there is nothing to hold it against.", worked=False)
        words, facts = _together(sure)
        if found is None:
            return Finding(self.name, f"{_of_leaks(leaks)}{words}", leaks=tuple(leaks), facts=facts)
        place, within_m = found
        leaks.append("a position on the Earth was told to one audience, and fixes the frame of all")
        return Finding(
            self.name,
            f"{_of_leaks(leaks)}{words} Positions on the Earth in one of them lay the track of the others: it began at "
            f"{place[0]:.5f}, {place[1]:.5f}, to about {within_m:.0f} m.",
            log_likelihood=at_spot(case.chart, *place, within_m),
            place=place,
            outright=within_a_cell(case.chart, within_m),
            leaks=tuple(leaks),
            facts={**facts, "place_within_m": within_m},
        )


def _of_leaks(leaks: list[str]) -> str:
    return f"{'; '.join(leaks[:_SHOWN])}. " if leaks else ""


def _told_twice(dives: Sequence[Dive]) -> Iterator[str]:
    """Yield where one dive of one audience was told differently: live and closed, or in two releases."""
    for one, other in combinations(dives, 2):
        if one.audience != other.audience or not one.records or not other.records:
            continue
        if one.records[0].dive != other.records[0].dive:
            continue
        told = {record.seq: record.body for record in other.records}
        differs = [record.seq for record in one.records if record.seq in told and told[record.seq] != record.body]
        if differs:
            how = "live and in the recording" if one.live != other.live else "in two releases"
            yield (
                f"{one.name} and {other.name} tell dive {one.records[0].dive} differently {how}: {len(differs)} "
                f"records, the first is number {differs[0]}"
            )
        yield from _taken_back(one, other)
        yield from _taken_back(other, one)


def _taken_back(live: Dive, closed: Dive) -> Iterator[str]:
    if live.live and not closed.live:
        kept = {record.seq for record in closed.records}
        gone = [record.seq for record in live.records if record.seq not in kept]
        if gone:
            yield f"{live.name} told {len(gone)} records live that {closed.name} doesn't have: they can't be taken back"


def _overlaps(tracks: Sequence[tuple[ShownTrack, ...]]) -> Iterator[Overlap]:
    for one, other in combinations(tracks, 2):
        for first, second in product(one, other):
            if first.vehicle != second.vehicle or first.audience == second.audience:
                continue
            if (overlap := _laid_over(first, second)) is not None:
                yield overlap


def _laid_over(first: ShownTrack, second: ShownTrack) -> Overlap | None:
    """Find the lag at which two tracks say the same: a dive begins for each audience with a tick of its own."""
    step_s = gcd(max(1, round(first.tick_s)), max(1, round(second.tick_s)))
    most_s = round(max(first.tick_s, second.tick_s))
    best: Overlap | None = None
    score = 0.0
    comparable = False
    for lag_s in sorted(range(-most_s, most_s + 1, step_s), key=abs):
        pairs = _common(first, second, lag_s)
        agreed = _agreement(first, second, pairs)
        comparable = comparable or agreed is not None
        if agreed is not None and agreed > score:
            best, score = Overlap(first, second, float(lag_s), pairs), agreed
    return best if comparable else _by_length(first, second, most_s)


def _by_length(first: ShownTrack, second: ShownTrack, most_s: float) -> Overlap | None:
    """Take tracks that share no field for one dive if they last alike; their lag stays open by up to a tick."""
    ends_apart_s = abs(float(first.elapsed_s[-1] - second.elapsed_s[-1]))
    if not (first.placed.any() or second.placed.any()) or len(first.elapsed_s) < _FEWEST or ends_apart_s > 2 * most_s:
        return None
    return Overlap(first, second, 0.0, _common(first, second, 0.0), open_s=float(most_s))


def _common(first: ShownTrack, second: ShownTrack, lag_s: float) -> np.ndarray:
    _, one, other = np.intersect1d(np.round(first.elapsed_s), np.round(second.elapsed_s + lag_s), return_indices=True)
    return np.column_stack([one, other])


def _agreement(first: ShownTrack, second: ShownTrack, pairs: np.ndarray) -> float | None:
    """Return the share of ticks at which both can be true, by place or else by depth; 0 where they aren't, None where
    they share neither.

    Weighed by how many ticks there are, slightly, so that of equally good lags the one with the most in common wins.
    """
    one, other = pairs[:, 0], pairs[:, 1]
    shares, weights = [], []
    apart_m = np.abs(first.points[one] - second.points[other]).max(axis=1)
    known = np.isfinite(apart_m)
    if first.cell_m and second.cell_m and known.sum() >= _FEWEST:
        near = apart_m[known] <= (0.5 + SLACK) * (first.cell_m + second.cell_m)
        shares.append(float(near.mean()))
        weights.append(float(apart_m[known].mean()) / (first.cell_m + second.cell_m))
    depth_m = np.abs(first.depth_m[one] - second.depth_m[other])
    known = np.isfinite(depth_m)
    if not shares and known.sum() >= _FEWEST and len(np.unique(first.depth_m[one][known])) > 3:
        shares.append(float((depth_m[known] <= 10.0).mean()))
        weights.append(float(depth_m[known].mean()) / 10.0)
    if not shares:
        return None
    if min(shares) < _AGREE:
        return 0.0
    return float(np.mean(shares) - 0.01 * np.mean(weights))


def _together(overlaps: list[Overlap]) -> tuple[str, dict[str, float]]:
    """Say what overlapping recordings tell together beyond the finest of them alone."""
    if not overlaps:
        return "", {}
    words, facts = [], dict[str, float]()
    for overlap in overlaps:
        first, second = overlap.first, overlap.second
        one, other = overlap.pairs[:, 0], overlap.pairs[:, 1]
        placed = first.placed[one], second.placed[other]
        more = int((placed[0] & ~placed[1]).sum()), int((placed[1] & ~placed[0]).sum())
        both = _finer(overlap, placed[0] & placed[1])
        what = [f"{first.audience} and {second.audience} are the same dive of {first.vehicle}"]
        if max(more):
            which = first.audience if more[0] >= more[1] else second.audience
            what.append(f"{which} shows {max(more)} ticks of track that the other withholds")
            facts["ticks_withheld_from_one_alone"] = facts.get("ticks_withheld_from_one_alone", 0) + max(more)
        if both is not None:
            together_m, finest_m = both
            what.append(f"their cells together are {together_m:.3g} m wide, the finer alone {finest_m:.3g} m")
            facts["cells_together_m"] = min(facts.get("cells_together_m", np.inf), together_m)
        words.append("; ".join(what) + ".")
    return "They share a frame, so whoever has both has the sum: " + " ".join(words), facts


def _finer(overlap: Overlap, both: np.ndarray) -> tuple[float, float] | None:
    """Return the typical width of two cells' intersection, and that of the finer cell alone, metres."""
    first, second = overlap.first, overlap.second
    if not both.any() or not first.cell_m or not second.cell_m:
        return None
    half = (0.5 + SLACK) * first.cell_m, (0.5 + SLACK) * second.cell_m
    one, other = first.points[overlap.pairs[both, 0]], second.points[overlap.pairs[both, 1]]
    width = np.minimum(one + half[0], other + half[1]) - np.maximum(one - half[0], other - half[1])
    return float(np.median(np.sqrt(np.clip(width, 0, None).prod(axis=1)))), 2 * min(half)


def _on_earth(
    case: Case, every: Sequence[ShownTrack], overlaps: Sequence[Overlap]
) -> tuple[tuple[float, float], float] | None:
    """Lay the frame on the Earth by positions told beside it, or take the finest of those."""
    tied = [(track, bounds) for track in every if (bounds := _told_bounds(case, track)) is not None]
    if not tied:
        return None
    for track in every:
        if not track.placed.any() or _by_metres(case, track):
            continue
        rows = [bounds.of(*_ticks_of(track, told, overlaps)) for told, bounds in tied]
        found = laid([row for row in rows if row is not None], track)
        if found is not None:
            return found
    return smallest([bounds for _, bounds in tied])


def _by_metres(case: Case, track: ShownTrack) -> bool:
    """Say if the track's own metres are those of a public grid."""
    tied = earth_tied(track, case.chart)
    return tied is not None and not tied.by_degrees


def _told_bounds(case: Case, track: ShownTrack) -> Bounds | None:
    tied = earth_tied(track, case.chart)
    if tied is None:
        return None
    middle = tied.track.points[tied.track.placed].mean(axis=0)
    return bounds_of_told(tied) if case.chart.index(*tied.to_earth(*middle)) is not None else None


def _ticks_of(track: ShownTrack, told: ShownTrack, overlaps: Sequence[Overlap]) -> tuple[np.ndarray, np.ndarray, float]:
    """Return which rows of `track` and of `told` are of one moment, (ticks,) each, and the metres that is off by."""
    if told is track:
        at = np.arange(len(track.elapsed_s))
        return at, at, 0.0
    for overlap in overlaps:
        if overlap.first is track and overlap.second is told:
            return overlap.pairs[:, 0], overlap.pairs[:, 1], SPEED_MPS * overlap.open_s
        if overlap.second is track and overlap.first is told:
            return overlap.pairs[:, 1], overlap.pairs[:, 0], SPEED_MPS * overlap.open_s
    return np.array([], dtype=int), np.array([], dtype=int), 0.0
