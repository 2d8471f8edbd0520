"""Charts that write one number for all water that nobody sounded."""

import numpy as np
import pytest

from relay.audit.charts.chart_placeholder import sounded


def written(share: float, value: float = -1.0) -> np.ndarray:
    """Return elevations of 100 wet cells of which some hold one value, and land."""
    cells = -np.linspace(50, 150, 100)
    cells[: round(100 * share)] = value
    return np.append(np.random.default_rng(6).permutation(cells), np.full(20, 30.0)).reshape(10, 12)


def test_a_fifth_of_all_water_at_one_metre_is_a_placeholder() -> None:
    """Such cells become as deep as those about them and doubtful by the spread of all; soundings and land stay."""
    raw = written(0.2)
    elevation, doubt = sounded(raw)
    made_up = raw == -1
    assert (elevation[~made_up] == raw[~made_up]).all() and not doubt[~made_up].any()
    assert (elevation[made_up] < -50).all()
    assert doubt[made_up] == pytest.approx(raw[(raw < 0) & ~made_up].std())


@pytest.mark.parametrize(("share", "value"), [(0.19, -1.0), (0.5, -2.1), (1.0, -1.0)])
def test_less_than_that_or_deeper_is_a_depth(share: float, value: float) -> None:
    """A little below a fifth, a flat deeper than two metres, or a chart of nothing else is left as it is."""
    raw = written(share, value)
    elevation, doubt = sounded(raw)
    assert (elevation == raw).all() and not doubt.any()
