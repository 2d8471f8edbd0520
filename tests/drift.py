"""Whether what was measured again and again stays as it was: a straight line through it, and how sure its slope is.

Measures of a process hang together: one that is high is followed by a high one, so that they tell less than their
number. They are averaged in blocks, and the line's standard error counts only as many blocks as stand for themselves,
n (1 - r) / (1 + r) with r the correlation of neighbouring residuals (B. D. Santer et al., "Statistical significance of
trends and trend differences in layer-average atmospheric temperature time series", J. Geophys. Res. 105, 2000,
equations 2 to 6), six at the least, below which those authors find the correction to go too far (from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

LEVEL = 0.99
BLOCKS, FEWEST = 24, 6.0


@dataclass(frozen=True, slots=True)
class Slope:
    """How much a measure grows in an hour, and between what bounds that lies at the level asked for."""

    per_hour: float
    low: float
    high: float

    def __str__(self) -> str:
        return f"{self.per_hour:+.3g} an hour ({self.low:+.3g} to {self.high:+.3g})"


def slope(times_s: Sequence[float], values: Sequence[float], level: float = LEVEL) -> Slope:
    """Return the slope of the line of least squares; ValueError where there are too few measures to tell."""
    if len(times_s) < BLOCKS:
        raise ValueError(f"{len(times_s)} measures are too few for a slope")
    hours, found = (_averaged(np.asarray(one, dtype=float)) for one in (times_s, values))
    middle = (hours - hours.mean()) / 3600
    per_hour = float(middle @ found / (middle @ middle))
    left = found - found.mean() - per_hour * middle
    count = _counting(left)
    error = np.sqrt(left @ left / (count - 2) / (middle @ middle))
    reach = float(stats.t.ppf(0.5 + level / 2, count - 2) * error)
    return Slope(per_hour, per_hour - reach, per_hour + reach)


def _averaged(values: np.ndarray) -> np.ndarray:
    return np.array([part.mean() for part in np.array_split(values, BLOCKS)])


def _counting(left: np.ndarray) -> float:
    """Return how many residuals stand for themselves: all where neighbours have nothing in common."""
    before, after = left[:-1], left[1:]
    spread = np.sqrt((before @ before) * (after @ after))
    alike = max(0.0, float(before @ after / spread)) if spread > 0 else 0.0
    return max(FEWEST, len(left) * (1 - alike) / (1 + alike))


def thirds(values: Sequence[float]) -> tuple[float, float]:
    """Return the medians of the first and of the last third."""
    part = max(1, len(values) // 3)
    return float(np.median(values[:part])), float(np.median(values[-part:]))
