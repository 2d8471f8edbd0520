"""Where on a chart a dive can have been: what it told of the seabed, laid on every cell at every turn.

Rules: the likelihood of a cell is the mean over the turns; all that is exact is the dive's own geometry, so a turn or a
cell that stands for its neighbours is paid for by an error of its own (slope times distance). Depths between nodes are
bilinear; beyond the shore the chart is filled, with an error that grows.
"""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from math import ceil, pi

import numpy as np
from numpy.typing import NDArray
from scipy.cluster.hierarchy import fcluster, linkage

from relay.audit.attacks.attack import Progress, quiet
from relay.audit.charts.chart import Chart, ErrorLaw, Floats, Mask
from relay.audit.matching.evidence import Soundings
from relay.audit.matching.filled import filled
from relay.audit.matching.likelihood import NormalLaw, log_between, log_mean_over, log_sum, log_within, wanted

# Cells that are worked out together, and how many where several turns of few cells are.
CHUNK, AT_ONCE = 16_384, 4_096
VALUE_M = 1.0
FLAT_M = 30_000.0
BLOCK_LENGTHS, ALIKE, WIDE = 1.5, 0.8, 8.0
HOPELESS = 7.0
KIND, NODES = np.float32, 5  # of bands: as precise as their model is, and quick
POINTS = (-30.0, 3), (-15.0, 7)  # from which log probability on a bias is integrated over so many points


@dataclass(frozen=True)
class Errors:
    """What separates soundings from the seabed, metres (standard deviations), beside the chart's own error.

    `common_m`: of the bias that all soundings of a dive share (tide, datum of the chart); `sounding_m`: of each alone.
    """

    common_m: float = 2.0
    sounding_m: float = 1.0


@dataclass(frozen=True)
class Ground:
    """A chart made ready: flat arrays of depth, error and slope with a margin, and the cells to try.

    `cells`: their index in the flat arrays; `row`: their row in the chart; `east_columns`: columns to a metre, by row.
    """

    chart: Chart
    margin: int
    width: int
    depth_m: Floats
    error_m: Floats
    slope: Floats
    cells: NDArray[np.int64]
    row: NDArray[np.int64]
    north_rows: float
    east_columns: Floats

    @classmethod
    def of(cls, chart: Chart, reach_m: float, where: Mask | None = None) -> "Ground":
        """Prepare a chart for dives that reach `reach_m` from their first sounding; `where`: the cells to try."""
        depth_m, error_m = filled(chart)
        north_m, east_m = chart.spacing_m
        narrowest = float(np.min(chart.metres_per_degree[1])) * chart.step_deg[1]
        margin = ceil(reach_m / min(north_m, narrowest)) + 2
        up, across = np.gradient(depth_m, north_m, east_m)
        padded = [np.pad(grid, margin, mode="edge").astype(np.float32) for grid in (depth_m, error_m)]
        slope = np.pad(np.hypot(up, across), margin, mode="edge").astype(np.float32)
        row, column = np.nonzero(chart.candidates if where is None else where & chart.candidates)
        width = chart.shape[1] + 2 * margin
        return cls(
            chart, margin, width, padded[0].ravel(), padded[1].ravel(), slope.ravel(),
            (row + margin) * width + column + margin, row,
            1 / north_m, 1 / (chart.metres_per_degree[1] * chart.step_deg[1]),
        )  # fmt: skip

    def where(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return row and column in the chart of the cells to try (cells,), in their order."""
        return self.row, self.cells - (self.row + self.margin) * self.width - self.margin

    def of_cells(self, chosen: NDArray[np.int64]) -> "Ground":
        """Return the same ground with some of its cells to try, by their place in `cells`."""
        return replace(self, cells=self.cells[chosen], row=self.row[chosen])

    def under(self, east_m: Floats, north_m: Floats, part: slice) -> tuple[Floats, Floats, Floats]:
        """Return depth, error and slope (soundings, cells of `part`), so far (soundings,) east and north of each."""
        columns = (east_m[:, None] * self.east_columns)[:, self.row[part]]
        down = north_m * self.north_rows
        whole_row, whole_column = np.floor(down).astype(np.int64), np.floor(columns).astype(np.int64)
        up, across = (down - whole_row).astype(np.float32)[:, None], (columns - whole_column).astype(np.float32)
        at = whole_column + (self.cells[part] + whole_row[:, None] * self.width)
        depth = self.depth_m
        south = depth[at] + across * (depth[at + 1] - depth[at])
        north = depth[at + self.width] + across * (depth[at + self.width + 1] - depth[at + self.width])
        nearest = at + np.where(up >= 0.5, self.width, 0) + (across >= 0.5)
        return south + up * (north - south), self.error_m[nearest], self.slope[nearest]


def parts_of(told: Soundings | Sequence[Soundings]) -> tuple[Soundings, ...]:
    """Return what is laid on the chart together: soundings of one frame, each part with a bias of its own."""
    return (told,) if isinstance(told, Soundings) else tuple(told)


def turns_for(told: Soundings | Sequence[Soundings], chart: Chart, most: int) -> int:
    """Return how many turns a dive is tried at: each moves its outermost sounding by half a cell; `most` at most."""
    if not parts_of(told)[0].turned:
        return 1
    return int(np.clip(ceil(2 * pi * reach_m(told) / (0.5 * min(chart.spacing_m))), 1, most))


def reach_m(told: Soundings | Sequence[Soundings]) -> float:
    """Return how far a dive's soundings lie from its first, metres."""
    parts = parts_of(told)
    return max(float(np.hypot(*from_first(parts, part)).max()) for part in parts)


def from_first(parts: Sequence[Soundings], part: Soundings) -> tuple[Floats, Floats]:
    """Return metres east and north (soundings,) of a part from the first sounding of all."""
    return part.east_m - parts[0].east_m[0], part.north_m - parts[0].north_m[0]


def log_likelihood(
    chart: Chart,
    told: Soundings | Sequence[Soundings],
    *,
    turns: int = 72,
    errors: Errors | None = None,
    where: Mask | None = None,
    progress: Progress = quiet,
    threads: int = 2,
) -> Floats:
    """Return the log likelihood (rows, columns) of each cell as the place of the first sounding; -inf: not tried.

    `told`: the soundings of one frame; several where their depths count from unknown depths of their own. `turns`: the
    most that are tried where the frame's turn is unknown; `where`: cells to try, of those that may be wet.
    """
    ground = Ground.of(chart, reach_m(told), where)
    values = Match(ground, told, turns, errors or Errors()).logs(progress, threads)
    grid = np.full(chart.shape, -np.inf)
    grid[ground.where()] = values
    return grid


class Match:
    """What one frame tells, on a prepared chart."""

    def __init__(self, ground: Ground, told: Soundings | Sequence[Soundings], turns: int, errors: Errors) -> None:
        parts = parts_of(told)
        self._cells = len(ground.cells)
        self.turns = turns_for(parts, ground.chart, turns)
        self.parts = [PartMatch(ground, part, from_first(parts, part), self.turns, errors) for part in parts]

    def logs(self, progress: Progress = quiet, threads: int = 1) -> Floats:
        """Return the log likelihood of each of the ground's cells (cells,): the mean over the turns."""
        chunks = [slice(at, at + CHUNK) for at in range(0, self._cells, CHUNK)]
        done = []
        with ThreadPoolExecutor(threads) as pool:
            for at, logs in enumerate(pool.map(self._chunk, chunks), 1):
                done.append(logs)
                progress("laying the dive on the chart", at / len(chunks))
        return np.concatenate(done)

    def _chunk(self, chunk: slice) -> Floats:
        """Return the mean over the turns; of few cells many turns are worked out at once, up to `AT_ONCE`."""
        total: Floats | None = None
        cells = len(self.parts[0].ground.cells[chunk])
        at_once = max(1, AT_ONCE // max(1, cells))
        for first in range(0, self.turns, at_once):
            turns = range(first, min(first + at_once, self.turns))
            together = sum((part.logs(chunk, turns) for part in self.parts), start=np.zeros(1))
            for logs in together.reshape(len(turns), cells):
                total = logs if total is None else np.logaddexp(total, logs)
        assert total is not None
        mean: Floats = total - np.log(self.turns)
        return mean


class PartMatch:
    """Soundings that share a bias, on a prepared chart."""

    def __init__(
        self, ground: Ground, soundings: Soundings, from_first_m: tuple[Floats, Floats], turns: int, errors: Errors
    ) -> None:
        """`from_first_m`: metres east and north (soundings,) from the sounding whose place is sought."""
        self.ground, self.soundings, self.turns = ground, soundings, turns
        self.errors = replace(errors, common_m=FLAT_M) if soundings.relative else errors
        self.law = ground.chart.law or ErrorLaw(0.8 * max(ground.chart.spacing_m))
        self.east_m, self.north_m = from_first_m
        self._width_m = soundings.deepest_m - soundings.shallowest_m
        self._values = self._are_values()
        # What a cell and a turn stand for: their neighbours, up to halfway to the next.
        cell_m = np.hypot(*ground.chart.spacing_m) / np.sqrt(24)
        turned_m = np.hypot(self.east_m, self.north_m) * (2 * pi / turns) / np.sqrt(12) * soundings.turned
        self._spread_m = np.sqrt(cell_m**2 + turned_m**2 + soundings.spread_m**2).astype(np.float32)[:, None]
        apart = np.hypot(self.east_m[:, None] - self.east_m, self.north_m[:, None] - self.north_m)
        self._correlation = np.exp(-((apart / self.law.length_m) ** self.law.power))
        if self._values:
            own = self.errors.sounding_m**2 + self._width_m**2 / 12
            self._law = NormalLaw(self._correlation, self.errors.common_m**2 + np.diag(own))
        self._blocks = self._in_blocks()
        self._scales = self._telling_scales()

    def logs(self, chunk: slice, turns: range) -> Floats:
        """Return the log likelihood of a chunk of the ground's cells at turns of the frame (turns * cells,)."""
        depth_m, error_m, slope = self._under(chunk, turns)
        error_m = np.sqrt(error_m**2 + (slope * self._spread_m) ** 2)
        return self._of_values(depth_m, error_m) if self._values else self._of_bands(depth_m, error_m)

    def _under(self, chunk: slice, turns: range) -> list[Floats]:
        """Return depth, error and slope (soundings, turns * cells) under each sounding at turns of the frame."""
        angle = 2 * pi * np.array(turns)[:, None] / self.turns
        east_m = self.east_m * np.cos(angle) + self.north_m * np.sin(angle)
        north_m = self.north_m * np.cos(angle) - self.east_m * np.sin(angle)
        grids = self.ground.under(east_m.T.ravel(), north_m.T.ravel(), chunk)
        return [grid.reshape(len(self.east_m), -1) for grid in grids]

    def _are_values(self) -> bool:
        """Return whether bands are so narrow, beside the chart's error, that they are as good as normal values."""
        error_m = float(np.median(self.ground.error_m[self.ground.cells]))
        return bool(np.sqrt((self._width_m**2).mean() / 12) <= max(error_m, VALUE_M))

    def _telling_scales(self) -> tuple[tuple[float, float], ...]:
        """Return the scales of the chart's error that bands can tell apart: one, where they are wide beside it."""
        bounded = self._width_m[np.isfinite(self._width_m)]
        typical_m = float(np.median(self.ground.error_m[self.ground.cells]))
        if len(bounded) and bounded.min() < WIDE * typical_m:
            return self.law.scales
        return ((float(np.sqrt(sum(share * scale**2 for scale, share in self.law.scales))), 1.0),)

    def _of_values(self, depth_m: Floats, error_m: Floats) -> Floats:
        """Return the log density (cells,) of values: all of a cell's soundings have the mean of its errors."""
        middle = (self.soundings.shallowest_m + self.soundings.deepest_m) / 2
        size = np.sqrt((error_m.astype(float) ** 2).mean(axis=0))
        squared = self._law.squared(middle[:, None] - depth_m)
        logs = [self._law.log_density(squared, scale * size) + np.log(share) for scale, share in self.law.scales]
        return log_sum(np.array(logs))

    def _of_bands(self, depth_m: Floats, error_m: Floats) -> Floats:
        """Return the log probability (cells,) of bands; where they can't be, of how far they are from it."""
        low = (self.soundings.shallowest_m[:, None] - depth_m).astype(KIND)
        high = (self.soundings.deepest_m[:, None] - depth_m).astype(KIND)
        error_m = error_m.astype(KIND)
        largest = max(scale for scale, _ in self.law.scales)
        sure_m = np.sqrt(self.errors.sounding_m**2 + (largest * error_m) ** 2)
        bias, width = self._bias(low, high, sure_m)
        missed = np.maximum(np.maximum(low - bias, bias - high) / sure_m, 0)
        near = missed.max(axis=0) < HOPELESS
        logs: Floats = -0.5 * (missed.astype(float) ** 2).sum(axis=0) - 2 * HOPELESS
        if near.any():
            logs[near] = self._of_near(low[:, near], high[:, near], error_m[:, near], bias[near], width[near])
        return logs

    def _bias(self, low: Floats, high: Floats, sure_m: Floats) -> tuple[Floats, Floats]:
        """Return bias and its spread (cells,), metres, as the bands want it, if there is one to speak of."""
        if not self.soundings.relative:
            return np.zeros(low.shape[1], dtype=low.dtype), np.zeros(low.shape[1], dtype=low.dtype)
        crowd = np.sqrt(len(self._correlation) / len(self._blocks))
        shared = np.full(low.shape, self.errors.common_m, dtype=low.dtype)
        centre, width = wanted(low, high, shared, (crowd * sure_m).astype(low.dtype))
        return centre * self.errors.common_m, width * self.errors.common_m

    def _of_near(self, low: Floats, high: Floats, error_m: Floats, bias: Floats, width: Floats) -> Floats:
        logs = []
        for scale, share in self._scales:
            if self.soundings.relative:
                whole = self._over_bias(low, high, scale * error_m, bias, width)
            else:
                whole = self._of_blocks(low, high, scale * error_m)
            logs.append(whole + np.log(share))
        return log_sum(np.array(logs))

    def _over_bias(self, low: Floats, high: Floats, error_m: Floats, bias: Floats, width: Floats) -> Floats:
        """Return the log probability (cells,) of bands, the bias of all integrated over: the finer, the likelier.

        Where the bands are hardly probable even at the bias that they want, one point stands for all (Laplace). What
        neighbours share goes with the unknown depth that all count from, so each errs by itself.
        """
        kept = [int(block[0]) for block, _ in self._blocks]
        spread_m = np.sqrt(self.errors.sounding_m**2 + error_m[kept] ** 2).astype(low.dtype)
        low, high = low[kept] / spread_m, high[kept] / spread_m
        unit = low.dtype.type(self.errors.common_m) / spread_m
        centre, width = bias / low.dtype.type(self.errors.common_m), width / low.dtype.type(self.errors.common_m)
        at_best = log_between(low - unit * centre, high - unit * centre)
        whole: Floats = at_best + np.log(width) - centre.astype(float) ** 2 / 2
        limits = [limit for limit, _ in POINTS] + [np.inf]
        for (limit, points), above in zip(POINTS, limits[1:], strict=True):
            some = (at_best >= limit) & (at_best < above)
            if some.any():
                given = partial(_at_bias, low[:, some], high[:, some], unit[:, some])
                whole[some] = log_mean_over(given, centre[some], width[some], points)
        return whole

    def _of_blocks(self, low: Floats, high: Floats, error_m: Floats) -> Floats:
        """Return the log probability (cells,) of bands whose depths count from the surface, block by block."""
        alone = [int(block[0]) for block, _ in self._blocks if len(block) == 1]
        fixed_m2 = self.errors.common_m**2 + self.errors.sounding_m**2
        spread_m = np.sqrt(fixed_m2 + error_m[alone] ** 2).astype(low.dtype)
        total = log_between(low[alone] / spread_m, high[alone] / spread_m).astype(float)
        for block, share in self._blocks:
            if len(block) > 1:
                error = error_m[block]
                shared = np.sqrt(self.errors.common_m**2 + share * error**2).astype(low.dtype)
                own = np.sqrt(self.errors.sounding_m**2 + (1 - share) * error**2).astype(low.dtype)
                total += log_within(low[block], high[block], shared, own, NODES)
        return total

    def _in_blocks(self) -> list[tuple[NDArray[np.int64], float]]:
        """Return which soundings lie within a correlation length or so, and how much of their error they share.

        Of soundings so near each other that they err alike the one with the narrowest band stands for all: together
        they would be believed as if each erred by itself.
        """
        alike_m = self.law.length_m * float(-np.log(ALIKE)) ** (1 / self.law.power)
        narrowest = [
            group[np.argmin(self._width_m[group])] for group in self._within(np.arange(len(self.east_m)), alike_m)
        ]
        kept = np.sort(np.array(narrowest))
        if self.soundings.relative:
            return [(kept[at : at + 1], 1.0) for at in range(len(kept))]
        blocks = self._within(kept, BLOCK_LENGTHS * self.law.length_m)
        return [(block, self._shared(block)) for block in blocks]

    def _within(self, chosen: NDArray[np.int64], apart_m: float) -> list[NDArray[np.int64]]:
        """Return groups of soundings that lie at most `apart_m` from each other."""
        if len(chosen) == 1:
            return [chosen]
        tree = linkage(np.stack([self.east_m[chosen], self.north_m[chosen]], axis=1), "complete")
        group = fcluster(tree, apart_m, "distance")
        return [chosen[group == at] for at in range(1, int(group.max()) + 1)]

    def _shared(self, block: NDArray[np.int64]) -> float:
        if len(block) == 1:
            return 1.0
        within = self._correlation[np.ix_(block, block)]
        mean = (within.sum() - len(block)) / (len(block) * (len(block) - 1))
        return float(np.clip(mean, 0.0, 0.98))


def _at_bias(low: Floats, high: Floats, unit: Floats, factor: Floats) -> Floats:
    """Return the log probability (cells,) of bands in standard scores (soundings, cells), moved by a bias."""
    moved = unit * factor
    return log_between(low - moved, high - moved)
