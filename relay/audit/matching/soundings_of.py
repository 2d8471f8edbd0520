"""From released records of one site to soundings of its seabed: few, and the most telling ones.

Rules: ticks are gathered in tiles; within one the seabed lies where all its ticks agree, allowing for a slope of
`SLOPE`, and where they don't, where they say on average. A tick without a place (the touchdown before a track begins)
counts for the place shown nearest to it in time, spread as far as the vehicle may have gone meanwhile. All soundings of
a site are in its one frame.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import hypot, inf, isfinite

import numpy as np
from scipy.spatial import cKDTree

from relay.audit.attacks.attack import Dive
from relay.audit.charts.chart import Floats
from relay.audit.matching.evidence import Soundings
from relay.audit.matching.seabed_bounds import Bound, bounds_of, steps_of

MOST_PARTS, LEAST_OF_PART = 8, 6
SLOPE = 0.1  # metres of depth to a metre: steeper than most seabeds; common practice, no source
STEEPEST = 0.3  # the same, of what is still believed of a single echo
UNBOUNDED_HEIGHT_M = 200.0  # how high a vehicle may be where nothing bounds it, to play a dive again
WIDEST_M = 400.0  # farther from its place a sounding says nothing of it: the slope there isn't that of the place
SLOWEST_MPS = 0.25  # how fast a vehicle may go unseen, where its track doesn't say more; common practice, no source


@dataclass(frozen=True, slots=True)
class Sounding:
    """Between which depths (metres, positive down) the seabed lies at a place of the frame, and how far off that is.

    Heights and `step_m` are how it was told: see `Soundings`.
    """

    place: tuple[float, float]
    shallowest_m: float
    deepest_m: float
    least_height_m: float
    most_height_m: float
    spread_m: float

    @property
    def width_m(self) -> float:
        """How much of the depth is left open; infinite where nothing bounds it below."""
        return self.deepest_m - self.shallowest_m

    @property
    def step_m(self) -> float:
        """The step of depth that would have left as much open."""
        if not isfinite(self.width_m):
            return 0.0
        return max(0.0, self.width_m - (self.most_height_m - self.least_height_m))


def soundings_of(dives: Sequence[Dive], *, most: int = 24, tile_m: float = 50.0) -> Soundings | None:
    """Return what dives of one site tell of its seabed together; None for nothing.

    `most`: how many soundings are kept; `tile_m`: the side of a tile, about a third of the chart's spacing. Dives may
    be of several audiences. Where all depths are relative each vehicle and dive counts from a depth of its own, so the
    one that tells most is taken: for each of them see `soundings_by_dive`.
    """
    told = _told(dives)
    absolute = _gathered([part for dive, parts in told if not _relative(dive) for part in parts], tile_m)
    if absolute:
        return _kept(absolute, most, tile_m, relative=False)
    return max(_by_dive(told, most, tile_m), key=len, default=None)


def parts_told(dives: Sequence[Dive], *, most: int = 24, tile_m: float = 50.0) -> tuple[Soundings, ...]:
    """Return all that dives of one site tell of its seabed, in parts that each count from a depth of their own.

    One part, of `most` soundings, for all absolute depths; then the relative ones by dive and vehicle, those with most
    soundings first: at most `MOST_PARTS`, which share half as many (they cost more), `LEAST_OF_PART` each at least.
    """
    told = _told(dives)
    absolute = _gathered([part for dive, parts in told if not _relative(dive) for part in parts], tile_m)
    relative = [(dive, parts) for dive, parts in told if _relative(dive)]
    count = min(MOST_PARTS, sum(len(parts) for _, parts in relative))
    each = max(LEAST_OF_PART, most // 2 // max(1, count))
    by_dive = sorted(_by_dive(relative, each, tile_m), key=len, reverse=True)[:MOST_PARTS]
    return (*((_kept(absolute, most, tile_m, relative=False),) if absolute else ()), *by_dive)


def soundings_by_dive(dives: Sequence[Dive], *, most: int = 24, tile_m: float = 50.0) -> tuple[Soundings, ...]:
    """Return the soundings dive by dive, `most` in each; where depths are relative, by dive and vehicle."""
    return tuple(_by_dive(_told(dives), most, tile_m))


def _by_dive(told: Sequence[tuple[Dive, list[list[Bound]]]], most: int, tile_m: float) -> Iterator[Soundings]:
    for dive, parts in told:
        relative = _relative(dive)
        for together in [[part] for part in parts] if relative else [parts]:
            if soundings := _gathered(together, tile_m):
                yield _kept(soundings, most, tile_m, relative)


def _relative(dive: Dive) -> bool:
    return dive.header.get("depth") == "relative"


def _told(dives: Sequence[Dive]) -> list[tuple[Dive, list[list[Bound]]]]:
    """Return each dive with the bounds of each of its vehicles; the steps of depth are those of all its audience's."""
    steps = {
        audience: steps_of([dive for dive in dives if dive.audience == audience])
        for audience in {dive.audience for dive in dives}
    }
    return [
        (dive, [bounds_of(dive, vehicle, known) for vehicle in range(len(dive.header["vehicles"]))])
        for dive in dives
        if (known := steps[dive.audience]) is not None
    ]


def soundings_of_exact(
    time_s: Floats, east_m: Floats, north_m: Floats, depth_m: Floats, altitude_m: Floats,
    *, most: int = 24, tile_m: float = 50.0, off_m: float = 0.5, turned: bool = True,
) -> Soundings | None:  # fmt: skip
    """Return the soundings of an exact track, as of a release that nothing protects; None where there are none.

    All arrays are (reports,), NaN where a report lacks the value; `time_s` ascends. Places and depths between two
    reports at most ten minutes apart are filled in evenly, altitudes never. A false echo is left out (`_believed`).
    `off_m`: how far off depth and altitude together may be.
    """
    told = np.isfinite(altitude_m) & (altitude_m >= 0)
    filled = [_filled(time_s, values)[told] for values in (east_m, north_m, depth_m)]
    rows = np.column_stack([*filled, altitude_m[told]])
    rows = _believed(rows[np.isfinite(rows).all(axis=1)])
    tiles: dict[tuple[int, int], list[Floats]] = {}
    for row in rows:
        tiles.setdefault(_tile((row[0], row[1]), tile_m), []).append(row)
    soundings = [_of_exact(np.array(tile), off_m) for tile in tiles.values()]
    if not soundings:
        return None
    kept = _kept(soundings, most, tile_m, relative=False)
    return kept if turned else _as_table(_rows_of(kept), relative=False, turned=False)


def _believed(rows: Floats, about: int = 9) -> Floats:
    """Return the exact rows (reports, 4: east, north, depth, altitude) whose seabed fits that of the nearest ones.

    Left out is what differs from the median of the `about` nearest in place, itself among them, by more than 3.5
    robust deviations (of the median; Iglewicz and Hoaglin, from memory) and than they lie apart times `STEEPEST`.
    """
    if len(rows) < 3:
        return rows
    seabed_m = rows[:, 2] + rows[:, 3]
    near_m, near = cKDTree(rows[:, :2]).query(rows[:, :2], k=min(about, len(rows)))
    off_m = np.abs(seabed_m - np.median(seabed_m[near], axis=1))
    usual_m = 3.5 * 1.4826 * float(np.median(off_m))
    believed: Floats = rows[off_m <= np.maximum(usual_m, 1.0) + STEEPEST * np.median(near_m, axis=1)]
    return believed


def _of_exact(rows: Floats, off_m: float) -> Sounding:
    """Return the sounding of a tile's exact rows: the middle of them all."""
    east_m, north_m, _, height_m = np.median(rows, axis=0).tolist()
    seabed_m = float(np.median(rows[:, 2] + rows[:, 3]))
    return Sounding(
        (east_m, north_m), seabed_m - off_m, seabed_m + off_m, height_m - off_m, height_m + off_m, 0.0
    )  # fmt: skip


def _filled(time_s: Floats, values: Floats, gap_s: float = 600.0) -> Floats:
    """Return values (reports,) with gaps of up to `gap_s` filled in evenly."""
    known = np.isfinite(values)
    if not known.any():
        return values
    times = time_s[known]
    filled: Floats = np.interp(time_s, times, values[known], left=np.nan, right=np.nan)
    after = np.clip(np.searchsorted(times, time_s), 0, len(times) - 1)
    gap = times[after] - times[np.clip(after - 1, 0, None)]
    return np.where(known, values, np.where(gap <= gap_s, filled, np.nan))


def _tile(place: tuple[float, float], tile_m: float) -> tuple[int, int]:
    return int(place[0] // tile_m), int(place[1] // tile_m)


def _gathered(parts: Sequence[list[Bound]], tile_m: float) -> list[Sounding]:
    """Return a sounding for each touchdown and ascent without a place, and for each tile that any vehicle was in.

    A part is a vehicle's bounds in a dive. One that is never shown a place tells something only where none is.
    """
    tiles: dict[tuple[int, int], list[Bound]] = {}
    for part in parts:
        for bound in part:
            if bound.place is not None:
                tiles.setdefault(_tile(bound.place, tile_m), []).append(bound)
    if not tiles:
        return _nowhere(parts)
    return [
        *(sounding for part in parts for sounding in _near(part)),
        *(_agreed(tile) for tile in tiles.values()),
    ]


def _agreed(tile: Sequence[Bound]) -> Sounding:
    """Return where the ticks of a tile, each allowed its distance from their middle times the slope, agree."""
    places = [bound.place for bound in tile if bound.place is not None]
    middle = sum(east for east, _ in places) / len(places), sum(north for _, north in places) / len(places)
    apart_m = [SLOPE * hypot(east - middle[0], north - middle[1]) for east, north in places]
    low_m = max(bound.shallowest_m - far for bound, far in zip(tile, apart_m, strict=True))
    high_m = min(bound.deepest_m + far for bound, far in zip(tile, apart_m, strict=True))
    if low_m > high_m:
        bounded = [bound for bound in tile if isfinite(bound.deepest_m)]
        low_m = sum(bound.shallowest_m for bound in bounded) / len(bounded)
        high_m = sum(bound.deepest_m for bound in bounded) / len(bounded)
    narrowest = min(tile, key=lambda bound: bound.deepest_m - bound.shallowest_m)
    return _sounding(middle, low_m, high_m, narrowest, min(bound.off_m for bound in tile))


def _sounding(place: tuple[float, float], low_m: float, high_m: float, told: Bound, spread_m: float) -> Sounding:
    """Return a sounding with the heights of the tick that told most, no farther apart than its depths."""
    least_m, most_m = told.least_height_m, told.most_height_m
    if not isfinite(high_m):
        return Sounding(place, low_m, inf, least_m, least_m + UNBOUNDED_HEIGHT_M, spread_m)
    if not isfinite(most_m) or most_m - least_m > high_m - low_m:
        most_m = least_m + (high_m - low_m)
    return Sounding(place, low_m, high_m, least_m, most_m, spread_m)


def _turns(part: Sequence[Bound]) -> list[Bound]:
    """Return the ticks at which a vehicle came to the bottom or left it, without a place but with a depth of it."""
    turns = [now for before, now in pairwise(part) if before.bottom != now.bottom]
    turns = list(part[:1]) + turns if part and part[0].bottom else turns
    return [now for now in turns if now.place is None and isfinite(now.deepest_m)]


def _near(part: Sequence[Bound]) -> Iterator[Sounding]:
    """Yield what a vehicle's touchdowns and ascents tell, at the place shown nearest in time."""
    placed = [bound for bound in part if bound.place is not None]
    fast_mps = _speed_mps(placed)
    for now in _turns(part) if placed else []:
        near = min(placed, key=lambda bound: abs(bound.at_s - now.at_s))
        assert near.place is not None
        spread_m = near.off_m + fast_mps * abs(near.at_s - now.at_s)
        if spread_m <= WIDEST_M:
            yield _sounding(near.place, now.shallowest_m, now.deepest_m, now, spread_m)


def _nowhere(parts: Sequence[list[Bound]]) -> list[Sounding]:
    """Return what vehicles tell whose place is never shown: one sounding, which is itself the place.

    The narrowest; or, where none came near the bottom, that it lies deeper than they went.
    """
    told = [bound for part in parts for bound in part if isfinite(bound.deepest_m) or bound.shallowest_m > 0]
    if not told:
        return []
    now = min(told, key=lambda bound: (bound.deepest_m - bound.shallowest_m, -bound.shallowest_m))
    return [_sounding((0.0, 0.0), now.shallowest_m, now.deepest_m, now, 0.0)]


def _speed_mps(placed: Sequence[Bound], over_s: float = 120.0) -> float:
    """Return how fast a vehicle goes where it is shown: nine tenths of its two-minute legs were no faster, m/s."""
    found: list[float] = []
    start: Bound | None = None
    for bound in sorted(placed, key=lambda item: item.at_s):
        if start is None or bound.at_s - start.at_s > 2 * over_s:
            start = bound
        elif bound.at_s - start.at_s >= over_s and start.place is not None and bound.place is not None:
            gone_m = hypot(bound.place[0] - start.place[0], bound.place[1] - start.place[1])
            found.append(gone_m / (bound.at_s - start.at_s))
            start = bound
    return max(SLOWEST_MPS, float(np.quantile(found, 0.9))) if found else SLOWEST_MPS


def _kept(soundings: Sequence[Sounding], most: int, tile_m: float, relative: bool) -> Soundings:
    """Return the most telling soundings: the narrowest, then whatever differs most from those that are in already.

    Two differ by their distance in tiles and in depth, by as much as they leave open; one that nothing bounds below
    counts as a very wide one.
    """
    if len(soundings) > most:
        width_m = np.array([min(one.width_m, 500.0) + SLOPE * one.spread_m + 1.0 for one in soundings])
        low_m = np.array([one.shallowest_m for one in soundings])
        places = np.array([one.place for one in soundings]) / (10 * tile_m)
        weight = 1 / np.sqrt(width_m)
        chosen = [int(np.argmin(width_m))]
        nearest = np.full(len(soundings), inf)
        while len(chosen) < most:
            last = chosen[-1]
            apart = np.hypot(*(places - places[last]).T) + np.abs(low_m - low_m[last]) / np.maximum(width_m, 5.0)
            nearest = np.minimum(nearest, apart)
            nearest[last] = 0.0
            chosen.append(int(np.argmax(nearest * weight)))
        soundings = [soundings[at] for at in sorted(set(chosen))]
    return _as_table(soundings, relative)


def _rows_of(soundings: Soundings) -> list[Sounding]:
    return [
        Sounding(
            (float(soundings.east_m[at]), float(soundings.north_m[at])),
            float(soundings.shallowest_m[at]), float(soundings.deepest_m[at]),
            float(soundings.least_height_m[at]), float(soundings.most_height_m[at]), float(soundings.spread_m[at]),
        )
        for at in range(len(soundings))
    ]  # fmt: skip


def _as_table(soundings: Sequence[Sounding], relative: bool, turned: bool = True) -> Soundings:
    rows = [
        (*one.place, one.shallowest_m, one.deepest_m, one.step_m, one.least_height_m, one.most_height_m, one.spread_m)
        for one in soundings
    ]
    east_m, north_m, shallowest_m, deepest_m, step_m, least_m, most_m, spread_m = np.array(rows).T
    return Soundings(east_m, north_m, shallowest_m, deepest_m, step_m, least_m, most_m, spread_m, relative, turned)
