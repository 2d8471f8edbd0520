"""The line that was run, against geographiclib; gaps, jumps and noise left out by the stated rule."""

import math
import random
from itertools import pairwise
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic

from relay.core.errors import SurveyError
from relay.core.survey import Leg, LegRule, LineLength, TrackPoint, legs_of, line_length, line_lengths

WGS84 = Geodesic.WGS84
SECOND = 1_000_000
START = (-30.1, -22.2)


def run_of(
    metres: list[float], seconds: list[float] | None = None, start: tuple[float, float] = START, azimuth: float = 70.0
) -> list[TrackPoint]:
    """Return positions that lie so many metres along a geodesic (geographiclib's), ten seconds apart unless told."""
    times = seconds or [10.0 * at for at in range(len(metres))]
    places = [WGS84.Direct(*start, azimuth, along) for along in metres]
    return [TrackPoint(round(s * SECOND), p["lat2"], p["lon2"]) for s, p in zip(times, places, strict=True)]


@pytest.mark.parametrize(
    "start", [START, (0.0, 179.995), (12.0, -180.0), (78.0, 179.99), (-89.99, 10.0), (89.995, -120.0)]
)
def test_length_is_the_sum_of_geodesics(start: tuple[float, float]) -> None:
    """A winding line anywhere, across the antimeridian and past a pole: geographiclib's sum to a millimetre."""
    dice = random.Random(8)
    places, azimuth = [start], 80.0
    for _ in range(100):
        azimuth += dice.uniform(-30, 30)
        there = WGS84.Direct(*places[-1], azimuth, dice.uniform(5, 20))
        places.append((there["lat2"], there["lon2"]))
    track = [TrackPoint(at * 10 * SECOND, *place) for at, place in enumerate(places)]
    found = line_length(track)
    wanted = sum(WGS84.Inverse(*a, *b)["s12"] for a, b in pairwise(places))
    assert found.length_m == pytest.approx(wanted, abs=1e-3)
    assert found.length_km == pytest.approx(wanted / 1000)
    assert found == LineLength(found.length_m, 100, 0, 0, 0)


@pytest.mark.parametrize(("seconds", "length_m", "gaps"), [(150.0, 120.0, 0), (150.1, 20.0, 1)])
def test_gap_at_its_limit_and_past_it(seconds: float, length_m: float, gaps: int) -> None:
    """A leg counts across 150 s; across a tenth more it doesn't, and the line goes on behind it."""
    track = run_of([0, 10, 110, 120], [0, 10, 10 + seconds, 20 + seconds])
    found = line_length(track)
    assert found.length_m == pytest.approx(length_m, abs=1e-3)
    assert found.gaps == gaps


@pytest.mark.parametrize(("metres", "legs"), [(69.99, 1), (70.01, 0)])
def test_leg_at_the_fastest_speed_and_past_it(metres: float, legs: int) -> None:
    """In ten seconds a vehicle comes 50 m at most, and noise adds 20 m; more is set aside."""
    found = line_length(run_of([0, metres]))
    assert (found.legs, found.set_aside) == (legs, 1 - legs)


def test_wild_position_adds_no_length() -> None:
    """A fix 3 km off is set aside, and the line goes on from the last good one, as if it hadn't come."""
    found = line_length(run_of([0, 10, 3_000, 30, 40]))
    assert found.length_m == pytest.approx(40.0, abs=1e-3)
    assert (found.legs, found.jumps, found.set_aside) == (3, 0, 1)


def test_two_wild_positions_apart_are_both_set_aside() -> None:
    """Wild fixes that don't bear each other out never carry the line away."""
    found = line_length(run_of([0, 10, 3_000, -5_000, 40, 50]))
    assert found.length_m == pytest.approx(50.0, abs=1e-3)
    assert (found.jumps, found.set_aside) == (0, 2)


def test_jump_that_is_borne_out_breaks_the_line() -> None:
    """A vehicle set down 3 km away goes on there: the way between isn't line, all legs after it are."""
    found = line_length(run_of([0, 10, 3_000, 3_010, 3_020]))
    assert found.length_m == pytest.approx(30.0, abs=1e-3)
    assert (found.legs, found.jumps, found.set_aside) == (3, 1, 0)


def test_wild_first_position_costs_nothing_else() -> None:
    """The very first fix may be the wild one."""
    assert line_length(run_of([9_000, 10, 20, 30])).length_m == pytest.approx(20.0, abs=1e-3)


def test_noise_of_a_resting_vehicle_is_thinned() -> None:
    """A vehicle at rest whose fixes scatter by 2 m each second runs kilometres in an hour, but not once a minute."""
    dice = random.Random(4)
    places = [WGS84.Direct(*START, dice.uniform(0, 360), abs(dice.gauss(0, 2))) for _ in range(3_600)]
    track = [TrackPoint(at * SECOND, place["lat2"], place["lon2"]) for at, place in enumerate(places)]
    assert line_length(track).length_km > 5
    thinned = line_length(track, LegRule(every_s=60.0))
    assert thinned.legs == 59
    assert thinned.length_m < 59 * 8


def test_thinning_keeps_the_length_of_a_straight_line() -> None:
    """On a straight run it makes no difference how often the position is asked for."""
    track = run_of([float(at) for at in range(601)], [float(at) for at in range(601)])
    assert line_length(track, LegRule(every_s=60.0)).length_m == pytest.approx(600.0, abs=1e-3)


def test_legs_are_the_positions_they_join() -> None:
    """What counts is handed on with its ends, so that a swath knows where it lay."""
    track = run_of([0, 10, 3_000, 30])
    legs = legs_of(track)
    assert [(leg.start, leg.end) for leg in legs] == [(track[0], track[1]), (track[1], track[3])]
    assert all(isinstance(leg, Leg) and leg.length_m > 9.9 for leg in legs)


def test_line_kilometres_of_each_vehicle() -> None:
    """Each vehicle has its own line; a fault names the vehicle."""
    lengths = line_lengths({"Lantern": run_of([0, 40, 80]), "Moth": run_of([0, 30])})
    assert {name: round(line.length_m, 3) for name, line in lengths.items()} == {"Lantern": 80.0, "Moth": 30.0}
    with pytest.raises(SurveyError, match="Moth: the track is empty"):
        line_lengths({"Lantern": run_of([0, 40]), "Moth": []})


def test_one_position_makes_no_line() -> None:
    """A line begins with its second position."""
    assert line_length(run_of([0])) == LineLength(0.0, 0, 0, 0, 0)


def test_positions_out_of_order_are_refused() -> None:
    """Moments of receipt never go back; two positions of one moment are taken."""
    track = run_of([0, 10, 20], [0, 10, 9])
    with pytest.raises(SurveyError, match="sort by receipt"):
        line_length(track)
    assert line_length(run_of([0, 10, 20], [0, 10, 10])).length_m == pytest.approx(20.0, abs=1e-3)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ((0, math.nan, 0.0), "latitude_deg"),
        ((0, 0.0, 181.0), "longitude_deg"),
        ((0, 0.0, 0.0, 361.0), "heading_deg"),
        ((-1, 0.0, 0.0), "at_us"),
        ((0.5, 0.0, 0.0), "at_us"),
    ],
)
def test_what_is_no_position_is_refused(values: tuple[Any, ...], said: str) -> None:
    """A track holds no impossible place, moment or heading."""
    with pytest.raises(SurveyError, match=said):
        TrackPoint(*values)


@pytest.mark.parametrize(
    "limits", [{"gap_s": 0.0}, {"fastest_mps": -1.0}, {"noise_m": math.nan}, {"every_s": -1.0}, {"every_s": 150.1}]
)
def test_limits_that_are_none_are_refused(limits: dict[str, float]) -> None:
    """A rule that would count nothing, or anything, isn't taken."""
    with pytest.raises(SurveyError, match=next(iter(limits))):
        LegRule(**limits)
