"""How probable what a dive told of the seabed is, were the dive at a place: normal errors, values or bands.

Rules: pure arithmetic on arrays, the places last; logarithms of densities per metre for values, of probabilities for
bands. Errors that soundings share are factors, integrated over; what each has of its own is independent.
"""

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import eigh
from scipy.special import log_ndtr, ndtr, roots_hermitenorm

from relay.audit.charts.chart import Floats

FAR = 8.0


class NormalLaw:
    """Residuals whose covariance is a squared size, by place, times one matrix, plus another: all sizes at once."""

    def __init__(self, scaled: Floats, fixed: Floats) -> None:
        """`scaled` and `fixed` (soundings, soundings): what grows with the size, and what doesn't (positive definite).

        By the two matrices' common eigenvectors the covariance is diagonal whatever the size.
        """
        values, self._vectors = eigh(scaled, fixed)
        self._values = np.maximum(values, 0)
        self._constant = np.linalg.slogdet(fixed)[1] + len(fixed) * np.log(2 * np.pi)

    def squared(self, residual_m: Floats) -> Floats:
        """Return residuals (soundings, places) along the common eigenvectors, squared."""
        along: Floats = self._vectors.T @ residual_m
        return along**2

    def log_density(self, squared: Floats, size: Floats) -> Floats:
        """Return the log density (places,) of what `squared` made of residuals, where the size is `size` (places,)."""
        variance = 1 + self._values[:, None] * size**2
        logs: Floats = -0.5 * ((squared / variance).sum(axis=0) + np.log(variance).sum(axis=0) + self._constant)
        return logs


def log_within(low_m: Floats, high_m: Floats, shared_m: Floats, own_m: Floats, nodes: int = 5) -> Floats:
    """Return the log probability (places,) that every error lies from `low_m` to `high_m` (soundings, places).

    Each error is `shared_m` (soundings, places; with sign) times one standard normal factor of the place, plus one of
    standard deviation `own_m` (soundings, places; above 0) of its own.
    """
    low, high, slope = low_m / own_m, high_m / own_m, shared_m / own_m

    def given(factor: Floats) -> Floats:
        moved = slope * factor
        return log_between(low - moved, high - moved)

    return log_mean_over(given, *wanted(low_m, high_m, shared_m, own_m), nodes)


def log_between(low: Floats, high: Floats) -> Floats:
    """Return the log probability (places,) of lying between standard scores (soundings, places), each by itself.

    In single precision it is worked out three times as quickly from odds, to 0.001 as far as `FAR` deviations.
    """
    between = _between_quickly(low, high) if low.dtype == np.float32 else _between(low, high)
    logs: Floats = np.log(np.maximum(between, np.finfo(between.dtype).tiny)).sum(axis=0)
    return logs


def log_mean_over(given: Callable[[Floats], Floats], centre: Floats, width: Floats, nodes: int) -> Floats:
    """Return the log (places,) of the mean, over a standard normal factor, of what `given(factor)` is the log of.

    By Gauss and Hermite's rule of `nodes` points, laid about `centre` with `width` (places,), where the integrand is
    large (adaptive quadrature; from memory: Naylor and Smith 1982).
    """
    terms = np.empty((nodes, len(centre)), dtype=centre.dtype)
    for at, (point, weight) in enumerate(zip(*_rule(nodes), strict=True)):
        factor = (centre + width * point).astype(centre.dtype)
        terms[at] = given(factor) + np.log(weight) + (point**2 - factor**2) / 2
    mean: Floats = log_sum(terms) + np.log(width) - np.log(2 * np.pi) / 2
    return mean


@lru_cache
def _rule(nodes: int) -> tuple[Floats, Floats]:
    points, weights = roots_hermitenorm(nodes)
    return points, weights


def wanted(low_m: Floats, high_m: Floats, shared_m: Floats, own_m: Floats) -> tuple[Floats, Floats]:
    """Return middle and spread (places,) of the shared factor, were each band a normal law of its own variance."""
    bounded = np.isfinite(low_m) & np.isfinite(high_m)
    middle = np.where(bounded, (low_m + high_m) / 2, 0)
    weight = np.where(bounded, 1 / (own_m**2 + np.where(bounded, high_m - low_m, 0) ** 2 / 12), 0)
    precision = 1 + (weight * shared_m**2).sum(axis=0)
    return (weight * shared_m * middle).sum(axis=0) / precision, 1 / np.sqrt(precision)


def log_sum(logs: Floats) -> Floats:
    """Return the logarithm of the sum over the first axis of what `logs` are logarithms of."""
    highest = logs.max(axis=0)
    total: Floats = highest + np.log(np.exp(logs - highest).sum(axis=0))
    return total


def _between(low: Floats, high: Floats) -> Floats:
    """Return the probability between standard scores, taken in the tail where it keeps its digits."""
    flip = low > 0
    between: Floats = ndtr(np.where(flip, -low, high)) - ndtr(np.where(flip, -high, low))
    return between


def _between_quickly(low: Floats, high: Floats) -> Floats:
    """Return the probability between standard scores by the odds against each: no digit is lost in either tail."""
    against_low, against_high = _odds_against(low), _odds_against(high)
    between = against_low - against_high
    between /= 1 + against_low
    between /= 1 + against_high
    return between


def _odds_against(score: Floats) -> Floats:
    """Return the odds against lying below standard scores: the exponential of an odd function, fitted once."""
    score = np.clip(score, -FAR, FAR)
    size = np.abs(score)
    total = np.full_like(score, _log_odds()[-1])
    for coefficient in _log_odds()[-2::-1]:
        total *= size
        total += coefficient
    total *= -score
    odds: Floats = np.exp(total, out=total)
    return odds


@lru_cache
def _log_odds() -> NDArray[np.float32]:
    """Return the polynomial (ascending) in the size of a score that, times the score, is the log of its odds."""
    score = FAR * (1 - np.cos(np.linspace(0, np.pi, 4_001)[1:])) / 2
    law = (log_ndtr(score) - log_ndtr(-score)) / score
    return np.polynomial.polynomial.polyfit(score, law, 7, w=score + 0.05).astype(np.float32)
