"""Where an outsider must look: a probability for each cell of a chart, and the smallest area that holds most of it.

Rules: the prior is even over the area the outsider knows of; a region is made of the cells most probable for their area
first; numbers are of the chart's cells, no finer.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from relay.audit.charts.chart import Chart, Floats, Mask


@dataclass(frozen=True)
class Posterior:
    """Probabilities by cell: `mass` (rows, columns) sums to 1; `prior` (rows, columns): where the dive may be."""

    chart: Chart
    mass: Floats
    prior: Mask

    @classmethod
    def of(cls, chart: Chart, log_likelihood: Floats, prior: Mask | None = None) -> "Posterior":
        """Return the posterior of log likelihoods (rows, columns; -inf: impossible) on an even prior by area.

        ValueError when no cell is possible.
        """
        where = chart.candidates if prior is None else prior & chart.candidates
        logs = np.where(where, log_likelihood, -np.inf)
        highest = float(np.max(logs, initial=-np.inf))
        if not np.isfinite(highest):
            raise ValueError("no cell of the chart agrees with the dive")
        weight = np.exp(logs - highest) * chart.cell_km2
        return cls(chart, weight / weight.sum(), where)

    @cached_property
    def rank(self) -> Floats:
        """For each cell the mass of the cells more probable, for their area, than it, and half of its own.

        Cells as probable as each other share the middle of their ranks, so an even posterior has 0.5 everywhere.
        """
        density = np.log(np.maximum(self.mass / self.chart.cell_km2, np.finfo(float).tiny))
        place = np.unique(density.round(9), return_inverse=True)[1]  # what differs by rounding alone is alike
        by_level = np.bincount(place.ravel(), weights=self.mass.ravel())
        above = by_level[::-1].cumsum()[::-1] - by_level / 2
        ranks: Floats = above[place].reshape(self.mass.shape)
        return ranks

    def region(self, level: float = 0.95) -> Mask:
        """Return the smallest set of cells (rows, columns) that holds `level` of the mass."""
        order = np.argsort(-(self.mass / self.chart.cell_km2), axis=None, kind="stable")
        total = np.cumsum(self.mass.ravel()[order])
        needed = int(np.searchsorted(total, min(level, total[-1]))) + 1
        inside = np.zeros(self.mass.size, dtype=bool)
        inside[order[:needed]] = True
        return inside.reshape(self.mass.shape) & self.prior

    def area_km2(self, level: float = 0.95) -> float:
        """Return the area of `region(level)`, square kilometres."""
        return float(self.chart.cell_km2[self.region(level)].sum())

    @cached_property
    def prior_km2(self) -> float:
        """The area in which the dive may be at all, square kilometres."""
        return float(self.chart.cell_km2[self.prior].sum())

    @cached_property
    def lost_bits(self) -> float:
        """How much less uncertain the place is than before, bits: the divergence from the prior (Kullback, Leibler)."""
        held = self.mass > 0
        ratio = self.mass[held] * self.prior_km2 / self.chart.cell_km2[held]
        return float((self.mass[held] * np.log2(ratio)).sum())

    def near(self, latitude_deg: float, longitude_deg: float, within_m: float = 500.0) -> float:
        """Return the probability of the cells whose middle lies within `within_m` of a place."""
        north, east = self.chart.metres_per_degree
        up = (self.chart.latitude_deg - latitude_deg) * north
        turn = (self.chart.longitude_deg - longitude_deg + 180) % 360 - 180
        apart = np.hypot(up[:, None], turn[None, :] * east[:, None])
        return float(self.mass[apart <= within_m].sum())

    @cached_property
    def best(self) -> tuple[float, float]:
        """Latitude and longitude of the most probable cell, degrees."""
        row, column = np.unravel_index(int(np.argmax(self.mass / self.chart.cell_km2)), self.mass.shape)
        return float(self.chart.latitude_deg[row]), float(self.chart.longitude_deg[column])
