"""Numbers for followers, from released records alone."""

import pytest

import make_figures_vectors
from dives import SECOND, SECRETS, dive_rows, plan, policy, run
from relay.core.disclosure import Report
from relay.core.figures import figures
from relay.core.pipeline import Pipeline
from relay.core.policy import Disclosed, Plan, Policy
from relay.core.release import ReleaseLog
from relay.core.wire import WireRecord, decode, encode


def dive_of(
    points: list[tuple[float, float] | None], tick_s: int = 60, swath_m: float | None = None
) -> list[WireRecord]:
    """Return the records of a vehicle that is shown at these points, one a tick."""
    shown = Policy(audience="public", delay_us=0, extra_us=0, tick_us=tick_s * SECOND, fields=frozenset(Disclosed),
                   cell_m=10.0, depth_step_m=10.0)  # fmt: skip
    whole = Plan(expedition="x", vehicles=("Lantern",), sources=(), policies=(shown,), swath_m=swath_m)
    log = ReleaseLog(shown, whole, 1, 0)
    records = [log.open(0)]
    for at, point in enumerate(points):
        east, north = point or (None, None)
        records.append(log.tick(at * tick_s * SECOND, [Report(heard=True, east_m=east, north_m=north, leg="bottom")]))
    records.append(log.target(len(points) * tick_s * SECOND, 0, "first", "unchecked"))
    records.append(log.target(len(points) * tick_s * SECOND, 0, "second", "rock"))
    return [decode(encode(record)) for record in records]


def test_figures_of_a_straight_line() -> None:
    """Ten kilometres of line at a swath of 1,000 m (common practice, no source) cover 10 km2 to 0.1 %."""
    seen = figures(dive_of([(at * 100.0, 0.0) for at in range(101)], swath_m=1_000.0))
    assert seen.vehicles[0].distance_m == pytest.approx(10_000)
    assert seen.area_m2 == pytest.approx(10e6, rel=1e-3)
    assert seen.vehicles[0].speed_mps == pytest.approx(100 / 60)
    assert seen.vehicles[0].bottom_s == 101 * 60


def test_figures_count_area_once_where_the_swath_overlaps() -> None:
    """There and back covers no more than there."""
    there = [(at * 100.0, 0.0) for at in range(50)]
    assert figures(dive_of(there + there[::-1], swath_m=200.0)).area_m2 == pytest.approx(49 * 100 * 200, rel=1e-3)


def test_figures_break_where_the_track_is_withheld() -> None:
    """No distance is made up over a gap of more than a couple of minutes."""
    points: list[tuple[float, float] | None] = [
        (0.0, 0.0),
        (60.0, 0.0),
        None,
        None,
        None,
        (5_000.0, 0.0),
        (5_060.0, 0.0),
    ]
    assert figures(dive_of(points)).vehicles[0].distance_m == pytest.approx(120.0)


def test_figures_of_a_vehicle_that_wavers_in_place() -> None:
    """A vehicle at the edge of a cell, flickering every second, runs at most one step a minute."""
    flicker = [(0.0, 0.0) if at % 2 else (10.0, 0.0) for at in range(3_600)]
    distance_m = figures(dive_of(list(flicker), tick_s=1)).vehicles[0].distance_m
    assert distance_m is not None
    assert distance_m <= 600.0


def test_figures_count_targets_by_their_last_verdict() -> None:
    """An unchecked target isn't counted as checked."""
    seen = figures(dive_of([(0.0, 0.0)]))
    assert seen.targets == {"first": "unchecked", "second": "rock"}
    assert seen.targets_checked == 1


def test_figures_change_nothing_when_hidden_values_do() -> None:
    """R7: two dives whose released records are equal have equal figures, though the exact tracks differ."""
    hidden = policy(fields=frozenset({Disclosed.DEPTH}))
    seen = []
    for seed in (1, 2):
        due = run(Pipeline(plan(hidden), SECRETS), dive_rows(60, seed=seed))
        seen.append(figures(decode(encode(item.record)) for item in due))
    assert seen[0] == seen[1]
    assert seen[0].vehicles[0].distance_m is None
    assert seen[0].targets_checked == 0


def test_figures_are_those_of_the_vectors_that_the_page_is_held_to() -> None:
    """The committed file is what its script makes: page and relay are compared on the relay's present numbers."""
    assert make_figures_vectors.PATH.read_text() == make_figures_vectors.text()
