"""A slope and its bounds, beside scipy's own line and by counting how often the truth lies between them."""

import numpy as np
import pytest
from scipy import signal, stats

from drift import slope, thirds

HOUR_S = 3600.0
TIMES_S = [10.0 * at for at in range(720)]


def walk(alike: float, seed: int, per_hour: float = 0.0) -> list[float]:
    """Return measures that grow, and of which each keeps something of the one before (an AR(1) series)."""
    noise = np.random.default_rng(seed).normal(size=len(TIMES_S))
    swing = signal.lfilter([1.0], [1.0, -alike], noise)
    return list(60.0 + per_hour * np.asarray(TIMES_S) / HOUR_S + swing)


def test_slope_is_the_line_of_least_squares() -> None:
    """`scipy.stats.linregress` finds the same slope over the blocks, and nearly the same bounds of strangers."""
    values = walk(0.0, 1, per_hour=0.5)
    found, whole = slope(TIMES_S, values), stats.linregress(np.asarray(TIMES_S) / HOUR_S, values)
    blocks = [np.reshape(one, (24, 30)).mean(axis=1) for one in (np.asarray(TIMES_S) / HOUR_S, values)]
    line = stats.linregress(*blocks)
    assert found.per_hour == pytest.approx(line.slope)
    assert found.per_hour == pytest.approx(whole.slope, abs=2 * whole.stderr)
    reach = stats.t.ppf(0.995, 22) * line.stderr
    assert reach * 0.99 <= found.high - found.per_hour <= reach * 1.6
    assert found.per_hour - found.low == pytest.approx(found.high - found.per_hour)


@pytest.mark.parametrize("alike", [0.0, 0.8, 0.95])
def test_bounds_hold_the_truth_as_often_as_they_say(alike: float) -> None:
    """Of 150 series with no slope some one in a hundred is held for a drifting one, though neighbours be alike.

    With five allowed; scipy's own bounds, which take measures for strangers, miss far more often.
    """
    found = [slope(TIMES_S, walk(alike, seed)) for seed in range(150)]
    assert sum(not one.low <= 0 <= one.high for one in found) <= 5
    lines = [stats.linregress(TIMES_S, walk(alike, seed)).pvalue for seed in range(150)]
    assert alike == 0.0 or sum(value < 0.01 for value in lines) > 25


def test_leak_is_found_and_its_absence_is_not() -> None:
    """What grows steadily is told from what only swings, by far more."""
    swing = [60.0 + 0.5 * float(np.sin(at / 100.0)) for at in TIMES_S]
    leak = [value + 0.5 * at / HOUR_S for at, value in zip(TIMES_S, swing, strict=True)]
    assert slope(TIMES_S, swing).low < 0 < slope(TIMES_S, swing).high
    assert 0 < slope(TIMES_S, leak).low < 0.5 < slope(TIMES_S, leak).high


def test_what_never_changes_has_no_slope() -> None:
    """Measures all alike: a slope of nothing, between nothing."""
    found = slope(TIMES_S, [5.0] * len(TIMES_S))
    assert (found.per_hour, found.low, found.high) == pytest.approx((0.0, 0.0, 0.0))


def test_too_few_measures_tell_no_slope() -> None:
    """Two dozen are enough, one less is refused."""
    slope(TIMES_S[:24], [1.0] * 24)
    with pytest.raises(ValueError, match="23 measures are too few"):
        slope(TIMES_S[:23], [1.0] * 23)


def test_thirds_are_medians() -> None:
    """The median of the first third and of the last; one outlier in either changes nothing."""
    assert thirds([3, 3, 90, 5, 5, 5, 4, 4, 90]) == (3.0, 4.0)
    assert thirds([7]) == (7.0, 7.0)
