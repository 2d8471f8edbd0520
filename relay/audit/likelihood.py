"""How probable what a dive told of the seabed is, were the dive at a place: normal errors, values or bands.

Rules: pure arithmetic on arrays, the places last; logarithms of densities per metre for values, of probabilities for
bands. Errors that soundings share are factors, integrated over; what each has of its own is independent.
"""

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from scipy.special import ndtr, roots_hermitenorm

from relay.audit.chart import Floats


def log_density(residual_m: Floats, covariance: Floats) -> Floats:
    """Return the log density (places,) of residuals (soundings, places) under a normal law of mean 0."""
    root = np.linalg.cholesky(covariance)
    white = np.linalg.solve(root, residual_m)
    constant = np.log(np.diag(root)).sum() + len(root) / 2 * np.log(2 * np.pi)
    log: Floats = -0.5 * np.einsum("sp,sp->p", white, white) - constant
    return log


def log_within(low_m: Floats, high_m: Floats, shared_m: Floats, own_m: Floats, nodes: int = 5) -> Floats:
    """Return the log probability (places,) that every error lies from `low_m` to `high_m` (soundings, places).

    Each error is `shared_m` (soundings, places; with sign) times one standard normal factor of the place, plus one of
    standard deviation `own_m` (soundings, places; above 0) of its own.
    """
    low, high, slope = low_m / own_m, high_m / own_m, shared_m / own_m

    def given(factor: Floats) -> Floats:
        moved = slope * factor
        return _log_between(low - moved, high - moved)

    return log_mean_over(given, *wanted(low_m, high_m, shared_m, own_m), nodes)


def log_inside(low_m: Floats, high_m: Floats, spread_m: Floats) -> Floats:
    """Return the log probability (places,) that independent errors of deviation `spread_m` (soundings, places) do."""
    return _log_between(low_m / spread_m, high_m / spread_m)


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


def _log_between(low: Floats, high: Floats) -> Floats:
    """Return the log of the product of what lies between standard scores, in the tail where it keeps its digits."""
    flip = low > 0
    between = ndtr(np.where(flip, -low, high)) - ndtr(np.where(flip, -high, low))
    logs: Floats = np.log(np.maximum(between, np.finfo(between.dtype).tiny)).sum(axis=0)
    return logs
