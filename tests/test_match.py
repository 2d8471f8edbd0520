"""A dive laid on every cell of a chart: beside brute force, and at places that are known."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from scipy.special import logsumexp
from scipy.stats import multivariate_normal

from match_cases import STRAIT, dive, finest
from relay.audit.charts.chart import Chart, ErrorLaw
from relay.audit.charts.chart_files import read_chart
from relay.audit.matching.evidence import Soundings
from relay.audit.matching.filled import at_places
from relay.audit.matching.match import FLAT_M, Errors, Ground, Match, log_likelihood, reach_m, turns_for
from relay.audit.matching.posterior import Posterior

LAW = ErrorLaw(600.0, 2.0, ((0.5, 0.6), (1.5, 0.4)))


def _level_steps(rows: int = 9, columns: int = 9) -> Chart:
    """Return an invented chart of level ground, each cell of another depth: every error is the chart's own."""
    depth_m = np.full((rows, columns), 80.0) + np.arange(columns) * 0
    return Chart(
        "level", 44 + 0.01 * np.arange(rows), -30 + 0.01 * np.arange(columns), depth_m, 0 * depth_m + 5.0, law=LAW
    )


def _three(seabed_m: list[float], width_m: float = 0.0, *, relative: bool = False, turned: bool = False) -> Soundings:
    middle = np.array(seabed_m)
    none = 0 * middle
    return Soundings(
        np.array([0.0, 100.0, 150.0]), np.array([0.0, 40.0, -60.0]), middle - width_m / 2, middle + width_m / 2,
        none, none, none, none, relative, turned,
    )  # fmt: skip


@pytest.mark.parametrize("relative", [False, True])
def test_values_are_a_mixture_of_scipys_normal_laws(relative: bool) -> None:
    """Brute force: each scale's density by scipy.stats.multivariate_normal with its covariance written out, to 1e-9."""
    told = [84.0, 79.0, 82.5]
    logs = log_likelihood(_level_steps(), _three(told, relative=relative), errors=Errors(2.0, 1.0), threads=1)
    east, north = np.array([0.0, 100.0, 150.0]), np.array([0.0, 40.0, -60.0])
    apart = np.hypot(east[:, None] - east, north[:, None] - north)
    common = FLAT_M if relative else 2.0
    terms = [
        np.log(share)
        + multivariate_normal(
            np.full(3, 80.0),
            (scale * 5.0) ** 2 * np.exp(-((apart / 600.0) ** 2)) + common**2 + 1.0**2 * np.eye(3),
        ).logpdf(told)
        for scale, share in LAW.scales
    ]
    exact = 1e-6 if relative else 1e-9  # an unknown bias of 30 km beside an error of 1 m leaves eight digits
    assert logs[4, 4] == pytest.approx(logsumexp(terms), abs=exact)


def test_turns_are_averaged_by_their_likelihood() -> None:
    """Brute force over every turn and cell of a sloping chart: bilinear depths and scipy's densities."""
    chart = _level_steps()
    slope = np.linspace(0, 60, 9)[:, None] + np.linspace(0, 25, 9)[None, :]
    chart = Chart("slope", chart.latitude_deg, chart.longitude_deg, 60 + slope, chart.error_m, law=LAW)
    told = _three([84.0, 79.0, 82.5], turned=True)
    ground = Ground.of(chart, reach_m(told))
    match = Match(ground, told, 6, Errors())
    logs = match.logs()
    at = int(np.nonzero((ground.row == 4) & (ground.where()[1] == 4))[0][0])
    north_m, east_m = (float(grid[4]) for grid in chart.metres_per_degree)
    apart = np.hypot(told.east_m[:, None] - told.east_m, told.north_m[:, None] - told.north_m)
    terms = []
    for turn in range(match.turns):
        angle = 2 * np.pi * turn / match.turns
        east = told.east_m * np.cos(angle) + told.north_m * np.sin(angle)
        north = told.north_m * np.cos(angle) - told.east_m * np.sin(angle)
        depth = at_places(chart, chart.latitude_deg[4] + north / north_m, chart.longitude_deg[4] + east / east_m)
        _, error, steep = ground.under(east, north, slice(at, at + 1))
        spread = match.parts[0]._spread_m[:, 0]
        size = np.sqrt(np.mean((np.ravel(error)) ** 2 + (np.ravel(steep) * spread) ** 2))
        middle = (told.shallowest_m + told.deepest_m) / 2
        terms += [
            np.log(share / match.turns)
            + multivariate_normal(
                depth,
                (scale * size) ** 2 * np.exp(-((apart / 600.0) ** 2)) + 2.0**2 + np.diag([1.0, 1.0, 1.0]),
            ).logpdf(middle)
            for scale, share in LAW.scales
        ]
    assert match.turns > 1
    # The one thing not written out here is that depths are kept in single precision.
    assert logs[at] == pytest.approx(logsumexp(terms), abs=1e-4)


def test_bands_are_scipys_rectangle_to_nine_digits(monkeypatch: pytest.MonkeyPatch) -> None:
    """The whole likelihood of two soundings, in double precision and finely: scipy's normal law over a rectangle."""
    monkeypatch.setattr("relay.audit.matching.match.KIND", np.float64)
    monkeypatch.setattr("relay.audit.matching.match.NODES", 61)
    east, none = np.array([0.0, 450.0]), np.zeros(2)
    told = Soundings(east, none, np.array([70.0, 74.0]), np.array([95.0, 99.0]), none, none, none, none, turned=False)
    logs = log_likelihood(_level_steps(), told, errors=Errors(2.0, 1.0), threads=1)
    shared = np.exp(-((450 / 600.0) ** 2))
    terms = []
    for scale, share in LAW.scales:
        variance = (scale * 5.0) ** 2
        covariance = np.array([[variance, shared * variance], [shared * variance, variance]]) + 2.0**2 + np.eye(2)
        law = multivariate_normal(np.zeros(2), covariance)
        terms.append(np.log(share * law.cdf([15.0, 19.0], lower_limit=[-10.0, -6.0])))
    assert logs[4, 4] == pytest.approx(logsumexp(terms), abs=1e-9)


@pytest.mark.parametrize("relative", [False, True])
def test_bands_are_scipys_probability_of_lying_between(relative: bool) -> None:
    """Source of the reference: scipy's normal law of two dimensions over a rectangle, for each scale."""
    east, none = np.array([0.0, 450.0]), np.zeros(2)
    told = Soundings(
        east, none, np.array([70.0, 74.0]), np.array([95.0, 99.0]), none, none, none, none, relative, turned=False
    )
    logs = log_likelihood(_level_steps(), told, errors=Errors(2.0, 1.0), threads=1)
    shared = np.exp(-((450 / 600.0) ** 2))
    common = FLAT_M if relative else 2.0
    terms = []
    for scale, share in LAW.scales:
        covariance = (scale * 5.0) ** 2 * np.eye(2) + common**2 + np.eye(2) * 1.0
        if not relative:
            covariance += (scale * 5.0) ** 2 * shared * (1 - np.eye(2))
        law = multivariate_normal(np.zeros(2), covariance)
        terms.append(np.log(share * law.cdf([15.0, 19.0], lower_limit=[-10.0, -6.0])))
    assert logs[4, 4] == pytest.approx(logsumexp(terms), abs=0.05)  # of five and seven nodes, as it is used


def test_where_a_bias_is_hardly_probable_one_point_stands_for_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """Relative bands over relief, few points where they hardly fit: the posterior that seven points everywhere give."""
    draw = np.random.default_rng(11)
    north, east = np.meshgrid(np.arange(30), np.arange(30), indexing="ij")
    relief = 120 + 40 * np.sin(east / 3) * np.cos(north / 4) + draw.normal(scale=4, size=(30, 30))
    chart = Chart("relief", 10 + np.arange(30) / 200, 20 + np.arange(30) / 200, relief, np.full((30, 30), 4.0), law=LAW)
    away, none = np.linspace(0, 6_000, 12), np.zeros(12)
    told = Soundings(away, none, none, none, none + 10, none, none + 15, none, relative=True, turned=True)
    told = told.observed_over(relief[12, (5 + away / 548).astype(int)], draw)
    ground = Ground.of(chart, reach_m(told))
    few = Match(ground, told, 24, Errors()).logs()
    monkeypatch.setattr("relay.audit.matching.match.POINTS", ((-np.inf, 7),))
    all_points = Match(ground, told, 24, Errors()).logs()
    posteriors = [np.exp(logs - logs.max()) / np.exp(logs - logs.max()).sum() for logs in (few, all_points)]
    assert (few != all_points).any()  # some of it was cut short
    assert np.abs(posteriors[0] - posteriors[1]).sum() / 2 < 1e-4


def test_parts_of_one_frame_are_independent_but_for_their_place() -> None:
    """A second dive two rows farther north, from an unknown depth of its own, counts as it does alone, two rows on."""
    chart = _level_steps()
    bowl = 60 + np.linspace(-5, 5, 9)[:, None] ** 2 + 2 * np.linspace(-4, 5, 9)[None, :] ** 2
    chart = Chart("bowl", chart.latitude_deg, chart.longitude_deg, bowl, chart.error_m, law=LAW)
    one = _three([84.0, 79.0, 82.5], relative=True)
    other = replace(one, shallowest_m=one.shallowest_m[::-1] - 40, deepest_m=one.deepest_m[::-1] - 40)
    farther = replace(other, north_m=other.north_m + 2 * chart.spacing_m[0])
    both, first, second = (log_likelihood(chart, told, threads=1) for told in ([one, farther], one, other))
    np.testing.assert_allclose(both[:7] - first[:7], second[2:], atol=1e-3)
    assert np.ptp(second[2:]) > 0.5


def test_likelihood_doesnt_depend_on_threads_or_on_other_cells() -> None:
    """The same cells tried alone, or by two threads, come out the same."""
    told = _three([84.0, 79.0, 82.5], 12.0, turned=True)
    whole = log_likelihood(_level_steps(), told, threads=1)
    where = np.zeros((9, 9), dtype=bool)
    where[2:5] = True
    part = log_likelihood(_level_steps(), told, where=where, threads=2)
    np.testing.assert_allclose(part[where], whole[where], rtol=1e-6)
    assert np.all(part[~where] == -np.inf)


def test_turns_are_as_many_as_the_dive_is_wide() -> None:
    """A dive at one place has one turn; a wide one at most as many as asked; a frame that isn't turned has one."""
    chart = _level_steps()
    told = _three([80, 80, 80], turned=True)
    assert turns_for(_three([80, 80, 80]), chart, 72) == 1
    assert 1 <= turns_for(told, chart, 72) < 10
    wide = Soundings(*(np.array(part) for part in ([0.0, 9e5], [0.0] * 2, *([[1.0] * 2] * 6))))
    assert turns_for(wide, chart, 72) == 72


def _told_exactly(chart: Chart, place: tuple[float, float], kind: str, turn: float, seed: int) -> Soundings:
    """Return what a dive at a place tells with depth and altitude to 0.1 m, in a frame turned by `turn` radians."""
    base = dive(kind, turned=True)
    north_m, east_m = chart.metres_per_degree
    row = int(np.argmin(np.abs(chart.latitude_deg - place[0])))
    north = base.north_m * np.cos(turn) - base.east_m * np.sin(turn)
    east = base.east_m * np.cos(turn) + base.north_m * np.sin(turn)
    seabed_m = at_places(chart, place[0] + north / north_m[row], place[1] + east / east_m[row])
    return base.observed_over(seabed_m, np.random.default_rng(seed))


def test_unprotected_dive_is_found_within_a_cell(shared_data: Path) -> None:
    """Positive control: depth and altitude to 0.1 m over 2 km, with unknown place and turn, give the place away."""
    chart = finest(shared_data)
    place = (48.5505, -123.2512)
    told = _told_exactly(chart, place, "line", 1.1, 1)
    where = np.zeros(chart.shape, dtype=bool)
    row, column = chart.index(*place) or (0, 0)
    where[row - 50 : row + 70, column - 80 : column + 40] = True
    posterior = Posterior.of(chart, log_likelihood(chart, told, where=where), where)
    off_m = Geodesic.WGS84.Inverse(*place, *posterior.best)["s12"]
    assert off_m <= np.hypot(*chart.spacing_m)
    assert posterior.area_km2() < 1.0 < 200 < posterior.prior_km2


def test_coarser_telling_leaves_more(shared_data: Path) -> None:
    """The same dive in steps of 10 m, and then without an altitude, leaves more and more area."""
    chart = read_chart(shared_data / STRAIT / "chart-500m.csv.gz")
    place = (48.5505, -123.2512)
    exact = _told_exactly(chart, place, "area", 0.4, 2)
    where = np.zeros(chart.shape, dtype=bool)
    row, column = chart.index(*place) or (0, 0)
    where[row - 40 : row + 30, column - 30 : column + 40] = True
    areas = []
    for step_m, heights_m in ((0.0, (0.0, 0.0)), (10.0, (1.5, 15.0)), (50.0, (0.0, 40.0))):
        base = dive("area", step_m=step_m, heights_m=heights_m, turned=True)
        told = base.observed_over(exact.deepest_m, np.random.default_rng(7))
        areas.append(Posterior.of(chart, log_likelihood(chart, told, turns=24, where=where), where).area_km2())
    assert areas[0] < areas[1] < 0.5 * areas[2]
