"""A policy tried at random places: the areas left, and how many places it takes to be sure.

Outside references: scipy's binomial distribution; a posterior of which the areas are known by hand.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import binom

from relay.audit.advising.advise import audit
from relay.audit.advising.journey import Journey
from relay.audit.advising.trial import LADDER, Left, Proving, calibrated, keeps, level_for, spare, working_low
from relay.audit.attacks.attack import Dive
from relay.audit.charts.chart import Chart, Floats, Mask
from relay.audit.matching.evidence import Soundings
from relay.shell.plan.expedition import preset_policy

PUBLIC = preset_policy("public", "public")
JOURNEY = Journey("a line", np.arange(0.0, 900.0), np.arange(0.0, 900.0) * 0.4, np.zeros(900), np.full(900, 3.0))
ROWS, COLUMNS = 60, 80


def _chart() -> Chart:
    latitude, longitude = 10 + np.arange(ROWS) * 0.005, 20 + np.arange(COLUMNS) * 0.005
    return Chart("level", latitude, longitude, np.full((ROWS, COLUMNS), 90.0), np.full((ROWS, COLUMNS), 0.5))


def _soundings(_: Dive) -> Soundings:
    one = np.zeros(1)
    return Soundings(one, one, one + 85, one + 95, one + 10, one, one + 15, one)


def _ground(match_m: float | None, level: float = 0.95) -> Proving:
    """Return a ground whose outsider holds a disc about the true place possible, metres; None: he learns nothing."""
    chart = _chart()

    def match(_: Soundings, where: Mask) -> Floats:
        assert match_m is not None
        site = ground.site(match.number)  # type: ignore[attr-defined]
        north, east = (float(metres[0]) for metres in chart.metres_per_degree)
        up = (chart.latitude_deg - site.latitude_deg) * north
        across = (chart.longitude_deg - site.longitude_deg) * east
        near = np.hypot(up[:, None], across[None, :]) <= match_m
        return np.where(near & where, 0.0, -np.inf)

    def read(dive: Dive) -> Soundings | None:
        return None if match_m is None else _soundings(dive)

    where = np.ones(chart.shape, dtype=bool)
    ground = Proving(chart, where, JOURNEY, read, match, level=level)
    return ground


def test_area_is_that_of_what_stays_possible() -> None:
    """A disc of 5 km in which all is as probable leaves 95 % of its area; counted on every third cell it's the same."""
    ground = _ground(5_000.0)
    for number in range(6):
        ground.match.number = number  # type: ignore[attr-defined]
        site = ground.site(number)
        cell = ground.chart.index(site.latitude_deg, site.longitude_deg)
        assert cell is not None
        if not (12 < cell[0] < ROWS - 12 and 12 < cell[1] < COLUMNS - 12):
            continue
        whole, thinned = ground.left(PUBLIC, number), ground.left(PUBLIC, number, [3])
        assert whole.area_km2 == pytest.approx(0.95 * np.pi * 25, rel=0.05)
        assert thinned.area_km2 == pytest.approx(whole.area_km2, rel=0.12)
        assert 0 < whole.rank < 1 and 0 < thinned.rank < 1


def test_who_learns_nothing_is_left_everything() -> None:
    """A recording that tells nothing of the seabed leaves 95 % of the area, whatever the level of others."""
    left = _ground(None).left(PUBLIC, 0, [2])
    assert left.area_km2 == pytest.approx(0.95 * _chart().cell_km2.sum(), rel=0.01)


def test_peak_at_the_truth_is_never_missed() -> None:
    """On every seventh cell the true one is among those that count, so a place that is found counts as found."""
    ground = _ground(450.0)
    for number in range(5):
        ground.match.number = number  # type: ignore[attr-defined]
        assert ground.left(PUBLIC, number, [7]).area_km2 <= 49 * _chart().cell_km2.max() * 1.05
        assert ground.left(PUBLIC, number, [7]).rank < 1


def test_place_of_a_number_is_always_the_same() -> None:
    """Two grounds of one seed try the same places, another seed others."""
    first, again = _ground(None).site(3), _ground(None).site(3)
    assert (first.latitude_deg, first.turn_rad) == (again.latitude_deg, again.turn_rad)
    assert first.latitude_deg != _ground(None).site(4).latitude_deg


@pytest.mark.parametrize("places", [20, 40, 60, 100, 200])
def test_few_enough_may_fall_short(places: int) -> None:
    """A policy that keeps its promise at 95 % of places or fewer gets by with a chance of 20 % at most (binomial)."""
    allowed = spare(places)
    assert binom.cdf(allowed + 1, places, 0.05) > 0.2
    assert allowed == 0 or binom.cdf(allowed, places, 0.05) <= 0.2


def test_trial_ends_once_too_many_fell_short() -> None:
    """Broken off, what is left at 19 places in 20 is told as a bound from above; tried to the end it is measured."""
    areas = [5.0, 50.0, 3.0, 50.0, 4.0, *[50.0] * 95]

    def left(at: int) -> Left:
        return Left(areas[at], 0.5)

    broken = keeps(left, range(100), 10.0, allowed=2)
    assert (len(broken.left), broken.short, broken.enough, broken.whole) == (5, 3, False, False)
    assert broken.fifth_km2 == 5.0
    whole = keeps(left, range(100), 10.0, allowed=2, to_the_end=True)
    assert (whole.share, whole.enough, whole.whole) == (0.97, False, True)
    assert whole.fifth_km2 == pytest.approx(np.quantile(areas, 0.05))
    assert spare(100) == 2 and whole.sure_km2 == 5.0
    assert keeps(left, range(100), 10.0, allowed=3).enough


def test_level_holds_the_truth_as_often_as_it_says() -> None:
    """Where 95 % of the belief hold the truth at 95 % of places the level stays; else it is the one that does."""
    good = np.linspace(0, 1, 201)
    assert level_for(good) == 0.95
    sure = good**0.2
    assert np.mean(sure <= 0.95) < 0.93
    assert np.mean(sure <= level_for(sure)) == pytest.approx(0.95, abs=0.01)


def test_audited_areas_are_those_of_a_level_that_holds_the_truth() -> None:
    """Of an outsider who is too sure of himself more is left than he believes: each half is measured by the other's."""
    ladder = tuple(10 * level for level in LADDER)
    sure = [Left(9.5, float(rank) ** 0.2, ladder) for rank in np.random.default_rng(1).uniform(size=200)]
    left, calibration = calibrated(sure)
    assert calibration.level > 0.97 and calibration.holds
    assert all(9.8 < one.area_km2 <= 10 for one in left)
    assert sure[0].at(0.96).area_km2 == pytest.approx(9.6)


def test_limits_of_a_leg_are_those_of_the_expedition() -> None:
    """A dive on the bottom from 1 m alone, which works higher, is never there, and is told so."""
    legs = []

    def read(dive: Dive) -> None:
        legs.append({record.body[0][7] for record in dive.records})

    ground = replace(_ground(None), read=read)
    ground.left(PUBLIC, 0)
    replace(ground, legs=replace(ground.legs, bottom_enter_m=1.0)).left(PUBLIC, 0)
    assert "bottom" in legs[0] and "bottom" not in legs[1]


def test_vehicle_at_work_is_taken_to_be_low() -> None:
    """Heights up to 40 m become 10 m, and the seabed with them; a haul, words for a height, and no bound stay."""
    most = np.array([40.0, 65.0, 5.0, 40.0])
    base = np.full(4, 100.0)
    told = Soundings(base, base, base, base + np.array([50, 75, 15, np.inf]), base * 0 + 10, base * 0, most, base * 0)
    low = working_low(told)
    assert low.most_height_m.tolist() == [10, 65, 5, 40]
    assert low.deepest_m.tolist() == [120, 175, 115, np.inf]


def test_lesser_area_of_two_readings_counts() -> None:
    """At each level; a reading that no cell agrees with is none."""
    one, other = Left(5.0, 0.3, (1.0, 4.0)), Left(3.0, 0.9, (2.0, 3.0))
    assert one.beside(other).areas_km2 == (1.0, 3.0) and one.beside(other).rank == 0.3
    assert one.beside(Left(0.0, 1.0)) == one


def test_known_seabed_gives_the_level_and_the_chart_the_areas() -> None:
    """Where the truth lies well inside on a known seabed, the level is less than what the chart's own dice show."""
    ground = _ground(None)
    known = replace(_ground(None), seed=9)
    found = audit(replace(ground, known=known), PUBLIC, 1.0, range(40), None)
    ranks = np.array([known.rank(PUBLIC, number) for number in range(40)])
    assert found.calibration is not None
    assert found.calibration.scores.tolist() == ranks.tolist()
    whole_km2 = float(ground.chart.cell_km2[ground.where].sum())
    expected = np.interp(found.calibration.level, LADDER, np.array(LADDER) * whole_km2)
    assert found.left[0].area_km2 == pytest.approx(expected, rel=0.01)
