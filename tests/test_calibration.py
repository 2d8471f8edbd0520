"""Whether the region of 95 % holds the truth at 93 to 97 places of 100, on published charts."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from match_cases import charts, dive
from relay.audit.charts.chart import Chart
from relay.audit.matching.calibration import Calibration, Trials, calibrate, judged, level_of
from relay.audit.matching.match import Errors, Ground, Match, log_likelihood, reach_m
from relay.audit.matching.posterior import Posterior

VALUES: dict[str, Any] = {"step_m": 0.0}
BANDS: dict[str, Any] = {"step_m": 10.0, "heights_m": (1.5, 15.0), "turned": True}
PLACES, CELLS = 700, 300


@pytest.mark.parametrize(
    ("which", "kind", "told"),
    [
        ("500m", "wreck", VALUES), ("500m", "wreck", BANDS),
        ("2min", "line", VALUES), ("2min", "line", BANDS), ("shelf", "line", VALUES), ("shelf", "wreck", BANDS),
    ],
)  # fmt: skip
def test_level_holds_the_truth_at_93_to_97_of_100_fresh_places(
    which: str, kind: str, told: dict[str, Any], shared_data: Path
) -> None:
    """Truth from the finest published grid, the attack on a coarser one; the level is of other places than judge it."""
    truth, chart = charts(shared_data, which)
    base = dive(kind, **told)
    chosen, fresh = (
        calibrate(chart, base, truth, np.random.default_rng(seed), trials=PLACES, cells=CELLS) for seed in (1, 2)
    )
    assert chosen.trials == fresh.trials == PLACES
    assert 0.93 <= (fresh.scores <= chosen.level).mean() <= 0.97
    assert chosen.holds and 0.93 <= chosen.covered <= 0.97


def test_a_wrong_model_is_said_to_mislead(shared_data: Path) -> None:
    """An outsider who takes a chart for ten times as good as it is is sure of wrong places, and that is seen."""
    truth, chart = charts(shared_data, "500m")
    base = dive("wreck", **VALUES)
    vain = replace(chart, error_m=chart.error_m / 10)
    right, wrong = (
        calibrate(each, base, truth, np.random.default_rng(1), trials=200, cells=CELLS) for each in (chart, vain)
    )
    assert wrong.misled and wrong.level > right.level
    assert wrong.half > right.half


def test_level_holds_on_fresh_places_and_every_cell(shared_data: Path) -> None:
    """A level chosen at some places holds the truth at 200 others, by the whole posterior that an audit takes."""
    truth, chart = charts(shared_data, "500m")
    base = dive("wreck", step_m=10.0, heights_m=(1.5, 15.0))
    level = calibrate(chart, base, truth, np.random.default_rng(1), trials=600, cells=CELLS).level
    draw = np.random.default_rng(2)
    inside = []
    ground = Ground.of(chart, reach_m(base))
    for place in Trials(chart, base, truth, 72, Errors(), None, 1).places(200, draw):
        seabed_m = place.seabed_m[0] + draw.normal(0, 2.0) + draw.normal(0, 1.0, len(base))
        logs = np.full(chart.shape, -np.inf)
        logs[ground.where()] = Match(ground, base.observed_over(seabed_m, draw), 72, Errors()).logs()
        cell = chart.index(place.latitude_deg, place.longitude_deg)
        inside.append(Posterior.of(chart, logs).region(level)[cell])
    assert 0.93 <= np.mean(inside) <= 0.97


def test_an_even_score_needs_no_other_level() -> None:
    """Scores as a right posterior gives them (even from 0 to 1) have the level 0.95 and are covered as often."""
    found = judged(np.random.default_rng(3).permutation((np.arange(2_000) + 0.5) / 2_000))
    assert found.level == pytest.approx(0.95, abs=0.002)
    assert found.covered == pytest.approx(0.95, abs=0.012)
    assert found.holds


def test_what_fails_says_so_and_holds_nothing() -> None:
    """Places that have nothing in common with those that chose the level are no calibration, and words say why."""
    scores = np.empty(400)
    scores[::2], scores[1::2] = np.linspace(0, 0.2, 200), np.linspace(0, 1, 200)
    found = judged(scores)
    assert not found.holds
    assert "93 to 97 % are asked" in found.why


def test_level_of_few_places_is_the_most_of_them() -> None:
    """With fewer than 20 places only the largest score can hold 95 of 100."""
    assert level_of(np.array([0.2, 0.9, 0.4])) == 0.9


def test_a_dive_that_fits_nowhere_has_no_calibration() -> None:
    """Where the dive is wider than the water there are no places to try, and that is said."""
    depth_m = np.full((8, 8), 50.0)
    chart = Chart("pond", 44 + 0.001 * np.arange(8), -30 + 0.001 * np.arange(8), depth_m, 0 * depth_m + 1)
    found = calibrate(chart, dive("line"), chart, np.random.default_rng(1), trials=20)
    assert found == Calibration(1.0, 0.0, found.scores, found.why)
    assert found.trials == 0 and not found.holds
    assert "the dive fits in 0 alone" in found.why


def test_a_dive_of_another_seabed_fits_nowhere(shared_data: Path) -> None:
    """What is told of a seabed of steps that the chart hasn't fits worse than at nearly all places of the chart."""
    truth, chart = charts(shared_data, "500m")
    base = dive("line")
    found = calibrate(chart, base, truth, np.random.default_rng(1), trials=100, cells=1_000)
    draw = np.random.default_rng(4)
    there = next(Trials(chart, base, truth, 72, Errors(), None, 1).places(1, draw))
    here, elsewhere = there.seabed_m[0], np.where(np.arange(len(base)) % 2, 30.0, 230.0)
    best = [float(log_likelihood(chart, base.observed_over(seabed, draw)).max()) for seabed in (here, elsewhere)]
    assert best[1] < found.fit < best[0]
