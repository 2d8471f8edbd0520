"""A body follows orders with lag, within what thrusters and hull allow."""

import itertools
from math import hypot
from random import Random
from statistics import mean, pstdev

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from relay.core.model import Mode
from relay.shell.demo.seabed import Point, seabed_depth_m
from relay.shell.demo.vehicle_motion import STEP_S, Body, Handling, Order, Pilot, Wander, Water, turn_deg

HANDLING = Handling(lag_s=4.0, push_mps2=0.08, turn_deg_s=7.0, shake_mps=0.02)
ORDERS = st.builds(Order, st.floats(-2, 2), st.floats(-2, 2), st.floats(-1, 1), st.floats(-720, 720))


def body_at(altitude_m: float, seed: int = 1) -> Body:
    """Return a body over the invented place."""
    return Body(HANDLING, Point(0.0, 0.0), seabed_depth_m(0.0, 0.0) - altitude_m, Random(seed))


@given(st.lists(ORDERS, min_size=1, max_size=40), st.integers(0, 99))
def test_body_never_pushes_or_turns_harder_than_its_handling(orders: list[Order], seed: int) -> None:
    """Whatever is ordered, speed changes by at most the push on each axis, and heading by at most the turn."""
    body = body_at(100.0, seed)
    for order in orders:
        before = (body.east_mps, body.north_mps, body.down_mps, body.heading_deg)
        body.step(order)
        for was, now in zip(before[:3], (body.east_mps, body.north_mps, body.down_mps), strict=True):
            assert abs(now - was) <= HANDLING.push_mps2 * STEP_S + 1e-12
        assert abs(turn_deg(before[3], body.heading_deg)) <= HANDLING.turn_deg_s * STEP_S + 1e-9
        assert 0.0 <= body.heading_deg < 360.0


def test_heading_lags_behind_the_order() -> None:
    """A quarter turn is not done after 5 s, is done after 60 s, and does not overshoot by more than 10 degrees."""
    body = body_at(100.0)
    wanted = body.heading_deg + 90.0
    left = []
    for _ in range(round(60.0 / STEP_S)):
        body.step(Order(0.0, 0.0, 0.0, wanted))
        left.append(turn_deg(body.heading_deg, wanted))
    assert left[round(5.0 / STEP_S)] > 30.0
    assert abs(left[-1]) < 1.0
    assert min(left) > -10.0


def test_line_is_run_to_its_end_within_its_height() -> None:
    """A pilot's line ends near its end, no further aside than a few metres, near the altitude asked for."""
    random = Random(5)
    body = Body(HANDLING, Point(100.0, -200.0), seabed_depth_m(100.0, -200.0) - 4.0, random)
    pilot, end = Pilot(body, Water(random), random), Point(100.0, -80.0)
    pilot.mode = Mode.TETHERED
    asides, altitudes = [], []
    for order in pilot.line(end, 0.42, altitude_m=4.0):
        body.step(order)
        asides.append(abs(body.place.east_m - 100.0))
        altitudes.append(body.altitude_m)
    assert body.place.metres_to(end) < 6.0
    assert max(asides) < 7.0
    assert min(altitudes) > 3.0
    assert max(altitudes) < 5.5


def test_notes_of_a_line_are_said_once_and_in_order() -> None:
    """Each annotation of a run is left when its part of the way is done."""
    random = Random(6)
    body = Body(HANDLING, Point(0.0, -200.0), 1_000.0, random)
    pilot, said = Pilot(body, Water(random), random), []
    for order in pilot.go(Point(0.0, -150.0), 0.4, altitude_m=5.0, notes=((0.2, "first"), (0.8, "second"))):
        body.step(order)
        said += [(text, body.place.north_m) for text in pilot.notes]
        pilot.notes.clear()
    assert [text for text, _ in said] == ["first", "second"]
    assert [north for _, north in said] == pytest.approx([-190.0, -160.0], abs=1.5)


def test_current_slows_with_depth() -> None:
    """The surface current is a fraction of a knot to a knot, that of the deep less (common practice, no source)."""
    water = Water(Random(3))
    surface, deep = hypot(*water.current(0.0)), hypot(*water.current(1_100.0))
    assert 0.1 < deep + 0.05 < surface < 0.6


@settings(max_examples=20)
@given(st.integers(0, 10_000))
def test_wander_keeps_its_spread_and_its_memory(seed: int) -> None:
    """A Gauss-Markov process has the spread and the lag-one correlation exp(-step / memory) of its definition."""
    wander = Wander(Random(seed), 2.0, 10.0)
    values = [wander.step(1.0) for _ in range(6_000)]
    pairs = mean(a * b for a, b in itertools.pairwise(values)) / mean(a * a for a in values)
    assert pstdev(values) == pytest.approx(2.0, rel=0.25)
    assert pairs == pytest.approx(0.9048, abs=0.03)  # exp(-0.1)
