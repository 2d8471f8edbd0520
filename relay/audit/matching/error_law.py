"""How wrong a chart is, learnt from a finer one, or from itself with every second node left out.

Rules: what is learnt is how the error grows with the chart's own relief and slope, how far it hangs together, and how
much it varies from place to place; a chart's `error_m` goes in as its relief (`chart_error`) and comes out as a
standard deviation, whatever factor it had. Without a finer chart relief is taken to be alike at either spacing.
"""

from dataclasses import replace

import numpy as np
from scipy.optimize import minimize

from relay.audit.charts.chart import Chart, ErrorLaw, Floats
from relay.audit.matching.filled import at_places, filled

SCALES = (0.35, 1.0, 2.2)
PLACES = 20_000
_APART = np.array([0.1, 0.2, 0.35, 0.5, 0.7, 1.0, 1.5, 2.5])
_CLIP, _LEAST_M = 3.0, 0.5


def learn(chart: Chart, draw: np.random.Generator, truth: Chart | None = None) -> Chart:
    """Return `chart` with `error_m` and `law` as its differences from `truth` (finer, of the same place) show them.

    Without one, what the chart with every second node left out misses is learnt, and held to be so in proportion.
    ValueError when the two have no water in common.
    """
    if truth is not None:
        return _with(chart, *_learnt(chart, truth, draw))
    weights, law = _learnt(halved(chart), chart, draw)
    return _with(chart, weights, replace(law, length_m=law.length_m / 2))


def halved(chart: Chart) -> Chart:
    """Return a chart of every second node."""
    every = slice(None, None, 2)
    return Chart(
        f"{chart.name}, every second node", chart.latitude_deg[every], chart.longitude_deg[every],
        chart.depth_m[every, every], 2 * chart.error_m[every, every],
        None if chart.land is None else chart.land[every, every],
    )  # fmt: skip


def _with(chart: Chart, weights: Floats, law: ErrorLaw) -> Chart:
    depth, relief = filled(chart)
    up, across = np.gradient(depth, *chart.spacing_m)
    steep = np.hypot(up, across) * max(chart.spacing_m)
    error = np.sqrt(weights[0] + weights[1] * relief**2 + weights[2] * steep**2)
    return replace(chart, error_m=np.where(np.isfinite(chart.depth_m), error, np.nan), law=law)


def _learnt(chart: Chart, truth: Chart, draw: np.random.Generator) -> tuple[Floats, ErrorLaw]:
    rows, columns = np.nonzero(np.isfinite(truth.depth_m))
    chosen = draw.integers(len(rows), size=PLACES)
    latitude = truth.latitude_deg[rows[chosen]]
    longitude = truth.longitude_deg[columns[chosen]]
    missed = _Missed(chart, truth)
    residual, squares = missed.at(latitude, longitude)
    known = np.isfinite(residual)
    if known.sum() < 100:
        raise ValueError(f"{chart.name} and {truth.name} have no water in common")
    weights = _fitted(residual[known], squares[known])
    score = residual / np.sqrt(squares @ weights)
    scales = _scales(score[known])

    def correlated(apart_m: float) -> float:
        bearing = draw.uniform(0, 2 * np.pi, PLACES)
        row = rows[chosen]
        north, east = truth.metres_per_degree
        other, of_it = missed.at(
            latitude + apart_m * np.cos(bearing) / north[row],
            longitude + apart_m * np.sin(bearing) / east[row],
        )  # fmt: skip
        pair = np.clip([score, other / np.sqrt(of_it @ weights)], -_CLIP, _CLIP)
        return float(np.corrcoef(pair[:, np.isfinite(pair).all(axis=0)])[0, 1])

    apart = _APART * max(chart.spacing_m)
    length_m, power = _kernel(apart, np.array([correlated(float(metres)) for metres in apart]))
    return weights, ErrorLaw(length_m, power, scales)


class _Missed:
    """By how much a chart misses the truth, and what the variance of that may be made of."""

    def __init__(self, chart: Chart, truth: Chart) -> None:
        depth, relief = filled(chart)
        up, across = np.gradient(depth, *chart.spacing_m)
        steep = np.hypot(up, across) * max(chart.spacing_m)
        self._truth = truth
        self._grids = [replace(chart, depth_m=grid) for grid in (depth, relief, steep)]

    def at(self, latitude: Floats, longitude: Floats) -> tuple[Floats, Floats]:
        """Return the errors (places,), and a floor, the relief and the slope of the chart, squared (places, 3)."""
        charted, relief, steep = (at_places(grid, latitude, longitude) for grid in self._grids)
        squares = np.stack([np.ones(len(charted)), relief**2, steep**2], axis=-1)
        return at_places(self._truth, latitude, longitude) - charted, squares


def _fitted(residual: Floats, squares: Floats) -> Floats:
    """Return the weights (3,) of greatest likelihood, each error normal with the variance `squares @ weights`."""

    def badness(logs: Floats) -> float:
        variance = squares @ np.exp(logs)
        return float((np.log(variance) + residual**2 / variance).mean())

    spread = np.log(max(float(np.median(residual**2)), _LEAST_M**2))
    bounds = [(2 * np.log(_LEAST_M), 20.0), (-15.0, 10.0), (-15.0, 10.0)]
    best = minimize(badness, [spread, -1.0, -2.0], method="L-BFGS-B", bounds=bounds)
    weights: Floats = np.exp(best.x)
    return weights


def _scales(score: Floats) -> tuple[tuple[float, float], ...]:
    """Return how often errors are how much larger than the rule says: a mixture's weights (expectation maximised)."""
    scales, weights = np.array(SCALES), np.full(len(SCALES), 1 / len(SCALES))
    density = np.exp(-0.5 * (score[:, None] / scales) ** 2) / scales
    for _ in range(200):
        held = weights * density
        weights = (held / held.sum(axis=1, keepdims=True)).mean(axis=0)
    weights = np.maximum(weights, 0.02)
    return tuple(zip(SCALES, (weights / weights.sum()).tolist(), strict=True))


def _kernel(apart_m: Floats, correlation: Floats) -> tuple[float, float]:
    """Return length and power of exp(-(apart / length) ** power) closest to what was seen."""

    def badness(logs: Floats) -> float:
        law = np.exp(-((apart_m / np.exp(logs[0])) ** logs[1]))
        return float(((law - correlation) ** 2).sum())

    start = [np.log(apart_m[len(apart_m) // 2]), 1.5]
    bounds = [(float(np.log(apart_m[0] / 4)), float(np.log(apart_m[-1] * 4))), (0.6, 2.0)]
    best = minimize(badness, start, method="L-BFGS-B", bounds=bounds)
    return float(np.exp(best.x[0])), float(best.x[1])
