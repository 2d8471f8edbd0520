"""The likelihood of what a dive told, beside scipy's normal laws and its quadrature."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

from relay.audit.matching.likelihood import NormalLaw, log_between, log_mean_over, log_sum, log_within, wanted


def _covariance(draw: np.random.Generator, size: int) -> np.ndarray:
    root = draw.normal(size=(size, size))
    covariance: np.ndarray = root @ root.T + 0.5 * np.eye(size)
    return covariance


@pytest.mark.parametrize("soundings", [1, 2, 5, 24])
def test_density_is_that_of_scipy_at_every_size(soundings: int) -> None:
    """Source of the reference: scipy.stats.multivariate_normal with each place's covariance, to 1e-9."""
    draw = np.random.default_rng(soundings)
    scaled, fixed = _covariance(draw, soundings), _covariance(draw, soundings)
    residual, size = draw.normal(size=(soundings, 40)) * 3, draw.uniform(0, 9, 40)
    law = NormalLaw(scaled, fixed)
    expected = [
        multivariate_normal(np.zeros(soundings), size[place] ** 2 * scaled + fixed).logpdf(residual[:, place])
        for place in range(40)
    ]
    np.testing.assert_allclose(law.log_density(law.squared(residual), size), expected, rtol=1e-9, atol=1e-9)


@pytest.mark.parametrize("seed", range(20))
def test_log_within_is_scipys_probability_of_a_rectangle(seed: int) -> None:
    """Source of the reference: scipy.stats.multivariate_normal.cdf between two limits, to 1e-9."""
    draw = np.random.default_rng(seed)
    shared, own = draw.uniform(3, 8, (2, 1)), draw.uniform(3, 8, (2, 1))
    low = draw.uniform(-15, 5, (2, 1))
    high = low + draw.uniform(5, 30, (2, 1))
    covariance = shared @ shared.T + np.diag(own[:, 0] ** 2)
    expected = np.log(multivariate_normal(np.zeros(2), covariance).cdf(high[:, 0], lower_limit=low[:, 0]))
    assert log_within(low, high, shared, own, nodes=41)[0] == pytest.approx(expected, abs=1e-9)
    assert log_within(low, high, shared, own)[0] == pytest.approx(expected, abs=0.02)  # as quick as it is used


def test_log_within_takes_bands_without_a_bound() -> None:
    """A band open below is the probability of being deep enough (scipy.stats.norm), alone and with a bounded one."""
    one = log_within(np.array([[2.0]]), np.array([[np.inf]]), np.array([[3.0]]), np.array([[4.0]]), nodes=41)
    assert one[0] == pytest.approx(norm(0, 5).logsf(2), abs=1e-9)
    low, high = np.array([[2.0], [-4.0]]), np.array([[np.inf], [9.0]])
    shared, own = np.array([[3.0], [3.0]]), np.array([[4.0], [5.0]])
    covariance = shared @ shared.T + np.diag([16.0, 25.0])
    law = multivariate_normal(np.zeros(2), covariance)
    expected = np.log(law.cdf([1e3, 9.0], lower_limit=[2.0, -4.0]))
    assert log_within(low, high, shared, own, nodes=41)[0] == pytest.approx(expected, abs=1e-9)


def test_far_tails_stay_finite_and_in_order() -> None:
    """What can hardly be is less likely the farther off it is, and never not a number."""
    low = np.array([[1.0, 5.0, 20.0, 1e4]])
    logs = log_within(low, low + 3, np.ones((1, 4)), np.ones((1, 4)))
    assert np.isfinite(logs).all()
    assert logs[0] > logs[1] > logs[2] >= logs[3]


def test_log_between_is_a_product_of_normal_probabilities() -> None:
    """Source of the reference: scipy.stats.norm."""
    draw = np.random.default_rng(3)
    low, spread = draw.normal(size=(4, 30)) * 5, draw.uniform(1, 6, (4, 30))
    high = low + draw.uniform(1, 9, (4, 30))
    upper = norm.sf(low / spread) - norm.sf(high / spread)  # keeps its digits above the middle, cdf below
    expected = np.log(np.where(low > 0, upper, norm.cdf(high / spread) - norm.cdf(low / spread))).sum(axis=0)
    np.testing.assert_allclose(log_between(low / spread, high / spread), expected, rtol=1e-9)


@pytest.mark.parametrize("width", [0.05, 1.0, 6.0])
def test_single_precision_is_nearly_as_good(width: float) -> None:
    """What is worked out quickly agrees with scipy.stats.norm to 0.001 in the log, into both tails."""
    low = np.linspace(-7.9, 7.9 - width, 2_001)[None, :]
    high = low + width
    upper = norm.sf(low) - norm.sf(high)
    expected = np.log(np.where(low > 0, upper, norm.cdf(high) - norm.cdf(low)))[0]
    quick = log_between(low.astype(np.float32), high.astype(np.float32))
    assert quick.dtype == np.float32
    rounding = np.abs(low[0]) * 1e-6 / width  # of a narrow band's ends, by single precision itself
    assert np.all(np.abs(quick - expected) < 0.001 + 8 * rounding)


def test_mean_over_a_factor_is_scipys_integral() -> None:
    """Source of the reference: scipy.integrate.quad of the integrand times the normal density."""

    def given(factor: np.ndarray) -> np.ndarray:
        logs: np.ndarray = -((factor - 1.7) ** 2) / 0.08 + 0.3 * np.cos(factor)
        return logs

    expected = np.log(quad(lambda t: np.exp(given(np.array(t))) * norm.pdf(t), 0, 4, epsabs=1e-13)[0])
    centre, width = np.array([1.63]), np.array([0.2])
    assert log_mean_over(given, centre, width, 31)[0] == pytest.approx(expected, abs=1e-9)


def test_wanted_is_the_normal_law_given_normal_values() -> None:
    """Bands taken for values of a twelfth of their squared width give the factor's law as linear algebra does."""
    draw = np.random.default_rng(8)
    low, shared, own = draw.normal(size=(5, 1)), draw.uniform(1, 4, (5, 1)), draw.uniform(1, 4, (5, 1))
    high = low + draw.uniform(0.5, 3, (5, 1))
    noise = np.diag((own**2 + (high - low) ** 2 / 12)[:, 0])
    precision = np.linalg.inv(np.linalg.inv(shared.T @ np.linalg.inv(noise) @ shared + 1))
    mean = np.linalg.inv(precision) @ shared.T @ np.linalg.inv(noise) @ ((low + high) / 2)
    centre, width = wanted(low, high, shared, own)
    assert (centre[0], width[0] ** -2) == pytest.approx((float(mean[0, 0]), float(precision[0, 0])))


def test_log_sum_neither_overflows_nor_vanishes() -> None:
    """Sums far from 1 keep their digits."""
    logs = np.array([[-2_000.0, 900.0], [-2_000.0 + np.log(3), 900.0]])
    np.testing.assert_allclose(log_sum(logs), [-2_000.0 + np.log(4), 900.0 + np.log(2)])
