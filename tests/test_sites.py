"""Random places for a dive: as likely in each square kilometre, over water, on a seabed as far off as the chart says.

Outside reference: scipy's chi-squared test for evenness.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import chisquare

from relay.audit.advising.journey import Journey
from relay.audit.advising.sites import LEAST_DEPTH_M, TIDE_M, NoRoomForDiveError, random_site
from relay.audit.charts.chart import Chart, ErrorLaw
from relay.audit.matching.filled import at_places

LAW = ErrorLaw(400.0, 1.5, ((1.0, 1.0),))


def _chart(rows: int = 20, columns: int = 24, north_deg: float = 60.0, error_m: float = 0.0) -> Chart:
    draw = np.random.default_rng(2)
    depth = 200 + 40 * draw.normal(size=(rows, columns))
    latitude = north_deg + np.arange(rows) * 0.01
    longitude = 10 + np.arange(columns) * 0.02
    return Chart("invented", latitude, longitude, depth, np.full((rows, columns), error_m), law=LAW)


def _journey(reach_m: float = 200.0) -> Journey:
    t_s = np.arange(0.0, 400.0)
    return Journey("a line", t_s, t_s / 400 * reach_m, 0 * t_s, 0 * t_s + 3.0)


def test_places_are_even_by_area() -> None:
    """Counts of landings by quarter of the area agree with the quarters' areas; nothing lies outside of it."""
    chart, draw = _chart(north_deg=70.0), np.random.default_rng(4)
    where = np.zeros(chart.shape, dtype=bool)
    where[2:18, 2:22] = True
    counts = np.zeros((2, 2))
    for _ in range(400):
        site = random_site(chart, where, chart, _journey(10.0), draw)
        cell = chart.index(site.latitude_deg, site.longitude_deg)
        assert cell is not None and where[cell]
        counts[int(cell[0] >= 10), int(cell[1] >= 12)] += 1
    quarter_km2 = np.array([[chart.cell_km2[2:10, 2:12].sum(), chart.cell_km2[2:10, 12:22].sum()],
                            [chart.cell_km2[10:18, 2:12].sum(), chart.cell_km2[10:18, 12:22].sum()]])  # fmt: skip
    expected = 400 * quarter_km2 / quarter_km2.sum()
    assert chisquare(counts.ravel(), expected.ravel()).pvalue > 1e-3


def test_all_of_the_dive_lies_over_water() -> None:
    """Beside land the direction is drawn so that the whole way has water under it."""
    chart = _chart()
    depth = chart.depth_m.copy()
    depth[:, :12] = np.nan
    chart, journey, draw = replace(chart, depth_m=depth), _journey(1_500.0), np.random.default_rng(5)
    where = np.ones(chart.shape, dtype=bool)
    for _ in range(40):
        seabed = random_site(chart, where, chart, journey, draw).seabed(journey.east_m, journey.north_m)
        assert np.all(seabed >= LEAST_DEPTH_M + 3.0)


def test_seabed_differs_from_the_chart_by_its_law() -> None:
    """Over many places the differences have the chart's size, the tide in it, and fall apart over the law's length."""
    chart, journey, draw = _chart(error_m=6.0), _journey(1_200.0), np.random.default_rng(6)
    where = np.ones(chart.shape, dtype=bool)
    off = np.array([random_site(chart, where, chart, journey, draw).off_m for _ in range(600)])
    knots = random_site(chart, where, chart, journey, draw).knots_m
    variance = (6.0**2) + TIDE_M**2
    assert off.std() == pytest.approx(np.sqrt(variance), rel=0.08)
    apart = np.hypot(*(knots[-1] - knots[0]))
    expected = (36.0 * np.exp(-((apart / LAW.length_m) ** LAW.power)) + TIDE_M**2) / variance
    assert np.corrcoef(off[:, 0], off[:, -1])[0, 1] == pytest.approx(expected, abs=0.12)


def test_finer_seabed_is_taken_as_it_is() -> None:
    """Where the truth is another chart no error is drawn: the depths are its own, and the water level."""
    chart, finer, draw = _chart(error_m=50.0), _chart(), np.random.default_rng(7)
    site = random_site(finer, np.ones(finer.shape, dtype=bool), chart, _journey(), draw)
    level = site.off_m[0]
    assert np.all(site.off_m == level)
    here = at_places(finer, np.array([site.latitude_deg]), np.array([site.longitude_deg]))
    assert site.seabed(np.zeros(1), np.zeros(1)) == pytest.approx(here + level)


def test_place_of_the_frame_is_turned_and_true_to_distance() -> None:
    """A kilometre in the dive's frame is one on the Earth, in the direction of the turn."""
    chart = _chart()
    site = random_site(chart, np.ones(chart.shape, dtype=bool), chart, _journey(), np.random.default_rng(8))
    latitude, longitude = site.place(0.0, 1_000.0)
    north, east = (float(metres[10]) for metres in chart.metres_per_degree)
    up, across = (latitude - site.latitude_deg) * north, (longitude - site.longitude_deg) * east
    assert np.hypot(up, across) == pytest.approx(1_000, rel=0.01)
    assert np.arctan2(across, up) % (2 * np.pi) == pytest.approx(site.turn_rad, abs=0.01)


def test_area_without_room_is_refused() -> None:
    """An area on land, or with water too small for the dive, says so."""
    chart, draw = _chart(), np.random.default_rng(9)
    dry = replace(chart, depth_m=np.full(chart.shape, np.nan))
    where = np.ones(chart.shape, dtype=bool)
    with pytest.raises(NoRoomForDiveError, match="no charted water"):
        random_site(dry, where, dry, _journey(), draw)
    pond = np.full(chart.shape, np.nan)
    pond[5:7, 5:7] = 100.0
    with pytest.raises(NoRoomForDiveError, match="no room for a dive that goes 49875 m"):
        random_site(replace(chart, depth_m=pond), where, chart, _journey(50_000.0), draw)
