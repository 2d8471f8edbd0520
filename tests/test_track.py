"""Where a vehicle is shown: start, radius and zones, judged on the published cell and on nothing finer."""

import random
from functools import partial

from hypothesis import given, settings
from hypothesis import strategies as st

from relay.core.area import HiddenDisc, ZoneAction
from relay.core.policy import Disclosed, Leg, Policy
from relay.core.track import Shown, Track

SECOND = 1_000_000
CELL_M = 10.0


def track(**changes: object) -> Track:
    """Return the track of a policy with cells of 10 m."""
    values: dict[str, object] = {
        "audience": "public", "delay_us": 0, "extra_us": 0, "tick_us": SECOND, "fields": frozenset(Disclosed),
        "cell_m": CELL_M, "depth_step_m": 1.0,
    }  # fmt: skip
    return Track(Policy(**{**values, **changes}))  # type: ignore[arg-type]


def along(path: list[tuple[float, float]], zones: tuple[HiddenDisc, ...] = (), **changes: object) -> list[Shown]:
    """Return what is published along a path at the bottom, a position a second."""
    shown = track(**changes)
    return [shown.show(*point, Leg.BOTTOM, zones, at * SECOND) for at, point in enumerate(path)]


def zone(action: ZoneAction, east_m: float = 0.0, radius_m: float = 50.0) -> HiddenDisc:
    """Return a hidden disc on the path's line."""
    return HiddenDisc(east_m, 0.0, radius_m, action)


def test_zone_is_judged_on_the_published_cell() -> None:
    """Two paths in the same cells, metres apart across the edge of a zone, are shown alike at every moment."""
    jitter = partial(random.Random(8).uniform, -2.4, 2.4)
    cells = [(10.0 * step - 200.0, 0.0) for step in range(41)]
    for radius_m in (47.0, 50.0, 53.0):
        paths = [[(east + jitter(), jitter()) for east, _ in cells] for _ in range(60)]
        for action in ZoneAction:
            shown = [along(path, (zone(action, radius_m=radius_m),)) for path in paths]
            assert all(other == shown[0] for other in shown)
            assert 5 <= sum(not one.moving for one in shown[0]) <= 13


def test_withheld_in_a_zone_nothing_is_shown_and_frozen_the_last_cell_outside() -> None:
    """Entering a zone the cell is withheld, or stays the last one outside; behind the zone the track goes on."""
    path = [(10.0 * step - 100.0, 0.0) for step in range(21)]
    withheld = along(path, (zone(ZoneAction.WITHHOLD),))
    assert [one.cell is None for one in withheld] == [abs(east) <= 50.0 for east, _ in path]
    frozen = along(path, (zone(ZoneAction.FREEZE),))
    assert [one.cell for one in frozen if not one.moving] == [(-60, 0)] * 11
    assert frozen[-1] == Shown((100, 0), moving=True)


def test_zones_that_overlap_withhold_before_they_freeze() -> None:
    """Where one zone freezes and another withholds, nothing is shown."""
    both = (zone(ZoneAction.FREEZE), zone(ZoneAction.WITHHOLD, radius_m=20.0))
    path = [(-60.0, 0.0), (-40.0, 0.0), (0.0, 0.0)]
    assert [one.cell for one in along(path, both)] == [(-60, 0), (-60, 0), None]


def test_frozen_from_the_start_shows_nothing() -> None:
    """A dive that begins inside a freezing zone has no last cell outside, so it shows none."""
    assert along([(0.0, 0.0)], (zone(ZoneAction.FREEZE),)) == [Shown()]


def test_zone_laid_over_the_frozen_cell_withholds_it() -> None:
    """A zone of the desk comes when the vehicle is in it already, or lies over the cell held at another's edge."""
    before = zone(ZoneAction.FREEZE)
    for laid in (zone(ZoneAction.FREEZE, radius_m=70.0), zone(ZoneAction.FREEZE, east_m=-100.0, radius_m=45.0)):
        shows, steps = (
            track(),
            ((-60.0, (before,)), (-40.0, (before,)), (-40.0, (before, laid)), (90.0, (before, laid))),
        )
        seen = [shows.show(east_m, 0.0, Leg.BOTTOM, zones, 0) for east_m, zones in (*steps, (0.0, (before, laid)))]
        held, again = (-60.0, 0.0), (90.0, 0.0)
        assert seen == [Shown(held, moving=True), Shown(held), Shown(), Shown(again, moving=True), Shown(again)]


def test_start_needs_both_time_and_way_and_then_stays() -> None:
    """The track starts once both limits are reached, at them and not before, and doesn't stop on the way back."""
    path = [(10.0 * min(step, 20), 0.0) for step in range(25)] + [(0.0, 0.0)]
    by_way = along(path, track_start_m=100.0)
    assert [one.cell is not None for one in by_way] == [at >= 10 for at in range(26)]
    by_time = along(path, track_start_us=15 * SECOND)
    assert [one.cell is not None for one in by_time] == [at >= 15 for at in range(26)]
    assert along(path, track_start_m=100.0, track_start_us=15 * SECOND) == by_time


def test_radius_is_about_where_the_bottom_was_reached() -> None:
    """At the radius the track is shown, a cell beyond it is not, and before the bottom nothing is."""
    path = [(500.0 + 10.0 * step, 0.0) for step in range(8)]
    assert [one.cell is not None for one in along(path, radius_m=50.0)] == [True] * 6 + [False] * 2
    assert track(radius_m=50.0).show(0.0, 0.0, Leg.DESCENT, (), 0) == Shown()


def test_legs_that_are_not_named_show_nothing() -> None:
    """A policy that names the bottom alone shows no cell on any other leg."""
    shown = track(track_legs=frozenset({Leg.BOTTOM}))
    assert [shown.show(0.0, 0.0, leg, (), 0).cell for leg in Leg] == [None, None, (0, 0), None]


CELLS = st.lists(st.tuples(st.integers(-12, 12), st.integers(-12, 12)), min_size=1, max_size=40)
LEGS = st.lists(st.sampled_from(Leg), min_size=40, max_size=40)
ZONES = st.lists(
    st.builds(HiddenDisc, st.floats(-120, 120), st.floats(-120, 120), st.floats(5, 80), st.sampled_from(ZoneAction)),
    max_size=3,
).map(tuple)
POLICIES = st.fixed_dictionaries({
    "track_start_m": st.sampled_from([0.0, 25.0, 60.0]),
    "track_start_us": st.sampled_from([0, 3 * SECOND]),
    "radius_m": st.sampled_from([None, 35.0, 80.0]),
    "track_legs": st.sets(st.sampled_from(Leg), min_size=1).map(frozenset),
})  # fmt: skip


@settings(max_examples=60)
@given(CELLS, LEGS, ZONES, POLICIES, st.randoms(use_true_random=False))
def test_every_judgement_is_made_on_the_cell(
    cells: list[tuple[int, int]],
    legs: list[Leg],
    zones: tuple[HiddenDisc, ...],
    changes: dict[str, object],
    chance: random.Random,
) -> None:
    """Start, radius, zones, legs in any mixture: moving about within a cell changes nothing that is published."""
    runs = []
    for reach_m in (0.0, 2.4):
        shown = track(**changes)
        runs.append([
            shown.show(CELL_M * east + chance.uniform(-reach_m, reach_m),
                       CELL_M * north + chance.uniform(-reach_m, reach_m), leg, zones, at * SECOND)
            for at, ((east, north), leg) in enumerate(zip(cells, legs, strict=False))
        ])  # fmt: skip
    assert runs[0] == runs[1]


@given(CELLS, ZONES)
def test_what_is_published_lies_outside_every_zone(cells: list[tuple[int, int]], zones: tuple[HiddenDisc, ...]) -> None:
    """Withheld or frozen: no cell within a zone is ever shown, and what stands still is a cell that was shown."""
    path = [(CELL_M * east, CELL_M * north) for east, north in cells]
    before = None
    for one in along(path, zones):
        assert one.cell is None or not any(covering.covers(*one.cell) for covering in zones)
        assert one.moving or one.cell in (None, before)
        before = one.cell if one.moving else before


def test_cell_is_held_until_the_position_is_well_into_the_next() -> None:
    """Hysteresis: on the way out the cell changes a quarter of a cell past its edge, on the way back likewise."""
    path = [(float(metre), 0.0) for metre in (*range(21), *range(20, -1, -1))]
    east = [one.cell[0] for one in along(path) if one.cell]
    assert east[:21] == [0] * 8 + [10] * 10 + [20] * 3
    assert east[21:] == [20] * 8 + [10] * 10 + [0] * 3
