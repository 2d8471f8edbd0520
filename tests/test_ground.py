"""Covered ground as it grows: the same in whatever portions it comes, bounded, kept over a restart, drawn simply."""

import random

import pytest
import shapely

from relay.core.errors import SurveyError
from relay.core.ground import Coverage, Ground, Piece, rings_of
from relay.core.survey import Leg, TrackPoint, legs_of
from relay.core.swath import Strip, Swath, Swept, coverage
from test_swath import START, at_metres, line, track_of

SWATH = Swath(200.0, 20.0)


def wandering(points: int, seed: int) -> list[TrackPoint]:
    """Return an invented track that turns at random, with headings now and then, and a jump in the middle."""
    dice = random.Random(seed)
    east = north = 0.0
    metres, bows = [], list[float | None]()
    for at in range(points):
        east, north = east + dice.uniform(-30, 60), north + dice.uniform(-40, 40) + (5_000 if at == points // 2 else 0)
        metres.append((east, north))
        bows.append(dice.uniform(0, 360) if dice.random() < 0.3 else None)
    return track_of(metres, bows)


def as_shape(covered: Coverage) -> shapely.MultiPolygon:
    """Return covered ground as a shape."""
    return shapely.MultiPolygon([shapely.Polygon(piece.outline, piece.holes) for piece in covered.pieces])


@pytest.mark.parametrize("seed", range(6))
def test_ground_is_the_same_in_whatever_portions_it_comes(seed: int) -> None:
    """Legs worked out one by one, by sevens or all at once cover the same, see the same again, in as many passes."""
    track = wandering(40, seed)
    whole = coverage([Swept(track, SWATH)])
    for portion in (1, 7):
        ground = Ground(track[0].place)
        strip = Strip(ground, SWATH)
        for at, leg in enumerate(legs_of(track)):
            strip.take(leg)
            if at % portion == 0:
                ground.work(most=portion)
                ground.covered()
        strip.end()
        while ground.work():
            pass
        found = ground.covered()
        assert found.area_m2 == pytest.approx(whole.area_m2, rel=1e-5)
        assert found.again_share == pytest.approx(whole.again_share, rel=1e-4)
        assert found.passes == whole.passes
        assert as_shape(found).symmetric_difference(as_shape(whole)).area < 1e-4 * whole.area_m2


def test_pass_under_way_counts_already() -> None:
    """Half-way along a line half of it is covered, its last 5 m too, though the pass isn't over."""
    track = track_of(line((0, 0), (1_000, 0)))
    ground = Ground(START)
    strip = Strip(ground, Swath(100.0))
    for leg in legs_of(track[:51]):
        strip.take(leg)
    strip.show(Leg(track[50], TrackPoint(50 * 30_000_000 + 1, *at_metres(505.0, 0.0)), 5.0))
    ground.work()
    assert ground.covered().area_m2 == pytest.approx(50.5 * 10 * 100.0, rel=1e-5)
    assert (ground.covered().passes, ground.covered().again_share) == (1, pytest.approx(0.0, abs=1e-6))


def test_ground_with_too_many_corners_is_loosened_and_says_by_how_much() -> None:
    """An outline of thousands of corners is kept with 400; the area is as good as before, and no edge moved further."""
    dice = random.Random(3)
    metres = [(at * 10.0, dice.gauss(0, 0.3)) for at in range(601)]
    legs = legs_of(track_of(metres))
    loose, exact = Ground(START, most_corners=400), Ground(START)
    for ground in (loose, exact):
        strip = Strip(ground, Swath(1_000.0))
        for at, leg in enumerate(legs):
            strip.take(leg)
            if at % 50 == 0:
                ground.work()
        strip.end()
        ground.work()
    kept, whole = as_shape(loose.covered()), as_shape(exact.covered())
    assert shapely.get_num_coordinates(kept) <= 400 < shapely.get_num_coordinates(whole)
    assert kept.area == pytest.approx(whole.area, rel=5e-3)
    assert 0 < loose.loosened_m < 16
    for one, other in ((kept, whole), (whole, kept)):
        assert one.difference(other.buffer(loose.loosened_m)).area < 1.0
    assert exact.loosened_m == 0.0


def test_ground_saved_and_restored_is_the_same_ground() -> None:
    """A restart half-way loses nothing but that the pass under way becomes two."""
    track = track_of(line((0, 0), (2_000, 0)) + line((2_000, 400), (0, 400)))
    legs, swath = legs_of(track), Swath(500.0)
    ground = Ground(START)
    strip = Strip(ground, swath)
    for leg in legs[:50]:
        strip.take(leg)
    strip.end()
    ground.work()
    again = Ground.restored(START, ground.saved())
    strip = Strip(again, swath)
    for leg in legs[50:]:
        strip.take(leg)
    strip.end()
    again.work()
    whole = coverage([Swept(track, swath)])
    assert again.covered().area_m2 == pytest.approx(whole.area_m2, rel=1e-5)
    assert again.covered().again_share == pytest.approx(whole.again_share, rel=1e-6)
    assert again.covered().passes == whole.passes + 1


@pytest.mark.parametrize("saved", [{}, {"covered": "no wkb", "again": "", "passes": 1, "loosened_m": 0, "next_m": 1}])
def test_ground_that_was_not_saved_is_refused(saved: dict[str, object]) -> None:
    """A file that somebody edited is an error of its own kind, told without a position."""
    with pytest.raises(SurveyError, match="can't be read"):
        Ground.restored(START, saved)


def test_plan_counts_the_ground_of_others_too() -> None:
    """Two vehicles that each do another half have done the plan together (shapely's rectangles)."""
    plan = [at_metres(*corner) for corner in ((0, -50), (2_000, -50), (2_000, 50), (0, 50))]
    grounds = []
    for begin, end in ((0, 1_000), (1_000, 2_000)):
        ground = Ground(START)
        strip = Strip(ground, Swath(100.0))
        for leg in legs_of(track_of(line((begin, 0), (end, 0)))):
            strip.take(leg)
        strip.end()
        ground.work()
        grounds.append(ground)
    assert grounds[0].covered(plan).planned_percent == pytest.approx(50.0, abs=0.1)
    assert grounds[0].covered(plan, grounds[1:]).planned_percent == pytest.approx(100.0, abs=0.1)
    assert grounds[0].covered(plan, grounds[1:]).area_m2 == pytest.approx(100_000.0, rel=1e-3)


def test_rings_for_a_drawing_are_few_points_of_the_same_ground() -> None:
    """A ragged outline of 4,000 points with a hole is drawn with 100; filled by even-odd it is the same ground."""
    dice = random.Random(5)
    whole = shapely.Point(0, 0).buffer(1_000.0, quad_segs=1_000)
    ragged = tuple((x + dice.gauss(0, 0.1), y + dice.gauss(0, 0.1)) for x, y in whole.exterior.coords[:-1])
    hole = tuple(shapely.box(-200, -200, 200, 200).exterior.coords)
    covered = Coverage(START, (Piece((*ragged, ragged[0]), (hole,)),), 1, 0.0, 0.0, None, None)
    rings = rings_of(covered, most=100)
    assert sum(map(len, rings)) <= 100
    assert all(ring[0] == ring[-1] for ring in rings)
    drawn = shapely.Polygon(rings[0]).symmetric_difference(shapely.Polygon(rings[1]))
    assert drawn.symmetric_difference(shapely.Polygon(ragged, [hole])).area < 0.02 * whole.area
    assert rings_of(covered, most=10_000) == [(*ragged, ragged[0]), hole]


def test_ground_that_came_out_with_a_line_in_it_is_gone_on_from() -> None:
    """Where outlines touch, GEOS' unions may hold lines beside areas, and take no such mixture again: areas alone stay.

    So it happened in the demo; a folder may hold ground that was kept so.
    """
    square = ((0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0))
    mixed = shapely.GeometryCollection([shapely.Polygon(square), shapely.LineString([(100.0, 50.0), (130.0, 50.0)])])
    values = {"passes": 1, "loosened_m": 0.0, "next_m": 0.25}
    kept = {"covered": shapely.to_wkb(mixed, hex=True), "again": shapely.to_wkb(mixed, hex=True)}
    ground = Ground.restored(START, kept | values)
    one = ground.begin()
    ground.lay(one, (((50.0, 0.0), (150.0, 0.0), (150.0, 100.0), (50.0, 100.0)),))
    ground.lay(one, ())
    ground.work()
    found = ground.covered()
    assert (found.area_m2, found.passes, len(found.pieces)) == (pytest.approx(15_000.0), 2, 1)


@pytest.mark.parametrize("seed", range(3))
def test_pieces_that_touch_along_edges_are_seen_again_as_areas(seed: int) -> None:
    """Tiles laid in any order, many edge to edge and some over others: areas come out, and nothing breaks."""
    dice, ground = random.Random(seed), Ground(START)
    for _ in range(30):
        east, north, one = 10.0 * dice.randrange(6), 10.0 * dice.randrange(6), ground.begin()
        ground.lay(one, (((east, north), (east + 10, north), (east + 10, north + 15), (east, north + 15)),))
        ground.lay(one, ())
        ground.work()
        ground = Ground.restored(START, ground.saved())
    assert shapely.from_wkb(ground.saved()["again"]).geom_type in ("Polygon", "MultiPolygon")
