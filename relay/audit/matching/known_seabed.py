"""A chart made ready to be matched, and a seabed that is known, on which the match can be tried.

Rules: how wrong the chart is, is learnt from a finer one of the same place where the operator has one, which is the
known seabed then. Without one the chart itself is: what is tried is the match with every second node left out, and its
level is taken for the whole chart's.
"""

from dataclasses import dataclass, replace
from math import prod

import numpy as np

from relay.audit.charts.chart import Chart, Mask
from relay.audit.matching.calibration import grounds

_FINER = 0.9  # of the area of a cell


@dataclass(frozen=True)
class KnownSeabed:
    """`chart`: what the outsider has, its errors learnt; `tried`: what is matched in trials; `truth`: the seabed then.

    `every`: of how many nodes of the chart, by row and column, the tried one has one.
    """

    chart: Chart
    tried: Chart
    truth: Chart
    every: int

    @property
    def words(self) -> str:
        """What the match is tried on, in words."""
        return self.truth.name if self.every == 1 else f"{self.truth.name}, by every second node of it"

    def where(self, prior: Mask | None) -> Mask | None:
        """Return the declared area (rows, columns of `chart`) on the chart that is tried."""
        return None if prior is None else prior[:: self.every, :: self.every]


def known_seabed(
    chart: Chart, draw: np.random.Generator, finer: Chart | None = None, factor: float = 1.0
) -> KnownSeabed:
    """Return a chart with what its trials are made on; `factor`: how many times what was learnt it is wrong.

    ValueError when the finer chart has no water in common with it, or isn't finer.
    """
    if finer is not None and prod(finer.spacing_m) >= _FINER * prod(chart.spacing_m):
        raise ValueError(f"{finer.name} is no finer than {chart.name}")
    ready, tried, truth = grounds(chart, draw, finer)
    return KnownSeabed(_times(ready, factor), _times(tried, factor), truth, 2 if finer is None else 1)


def _times(chart: Chart, factor: float) -> Chart:
    return replace(chart, error_m=factor * chart.error_m)
