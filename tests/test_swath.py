"""Side-scan coverage: areas by geographiclib and shapely, the trade's check value, and what must not count."""

import math
import random
import re
from itertools import pairwise
from typing import Any

import pytest
import shapely
from geographiclib.geodesic import Geodesic
from geographiclib.polygonarea import PolygonArea

from relay.core.errors import SurveyError
from relay.core.ground import Coverage
from relay.core.survey import TrackPoint
from relay.core.swath import Swath, Swept, coverage

WGS84 = Geodesic.WGS84
START = (-30.1, -22.2)
PLACES = [START, (0.0, 180.0), (12.0, 179.97), (-64.0, -179.99), (84.9, 179.9), (-89.0, 20.0)]
SECOND = 1_000_000
Place = tuple[float, float]


def away(place: Place, azimuth_deg: float, metres: float) -> Place:
    """Return the place that geographiclib has so far away."""
    there = WGS84.Direct(*place, azimuth_deg, metres)
    return there["lat2"], there["lon2"]


def at_metres(east_m: float, north_m: float, origin: Place = START) -> Place:
    """Return the place at these metres in the azimuthal equidistant plane about an origin (geographiclib's Direct)."""
    return away(origin, math.degrees(math.atan2(east_m, north_m)), math.hypot(east_m, north_m))


def track_of(
    metres: list[tuple[float, float]],
    headings: list[float | None] | None = None,
    origin: Place = START,
    begin_s: int = 0,
    every_s: int = 30,
) -> list[TrackPoint]:
    """Return positions at metres east and north of an origin, 30 s apart, with headings if given."""
    bows = headings or [None] * len(metres)
    return [
        TrackPoint((begin_s + every_s * at) * SECOND, *at_metres(*point, origin), bow)
        for at, (point, bow) in enumerate(zip(metres, bows, strict=True))
    ]


def line(begin: tuple[float, float], end: tuple[float, float], pieces: int = 100) -> list[tuple[float, float]]:
    """Return points along a straight line, both ends included."""
    return [
        (begin[0] + (end[0] - begin[0]) * at / pieces, begin[1] + (end[1] - begin[1]) * at / pieces)
        for at in range(pieces + 1)
    ]


def covered(*tracks: list[TrackPoint], swath: Swath | None = None, **more: Any) -> Coverage:
    """Return what vehicles with one swath, 1,000 m unless given, cover on these tracks."""
    return coverage([Swept(track, swath or Swath(1_000.0)) for track in tracks], **more)


def area_m2(ring: list[Place]) -> float:
    """Return the area of a ring of places, per geographiclib."""
    polygon = PolygonArea(WGS84)
    for place in ring:
        polygon.AddPoint(*place)
    return abs(float(polygon.Compute(False, True)[2]))


@pytest.mark.parametrize("start", PLACES)
@pytest.mark.parametrize("azimuth_deg", [0.0, 67.0])
def test_swath_of_a_straight_line_is_what_geographiclib_has(start: Place, azimuth_deg: float) -> None:
    """1,000 m over a 10 km line cover 10 km² to 0.1 % (common practice, no source), flat at both ends.

    The rectangle is laid out by geographiclib at the line's ends and along both sides, and measured by it to 0.01 %.
    """
    stops = [WGS84.Direct(*start, azimuth_deg, along) for along in range(0, 10_001, 100)]
    track = [TrackPoint(at * 30 * SECOND, stop["lat2"], stop["lon2"]) for at, stop in enumerate(stops)]
    found = covered(track)
    assert found.area_m2 == pytest.approx(10e6, rel=1e-3)
    sides = [
        [away((stop["lat2"], stop["lon2"]), stop["azi2"] + across, 500.0) for stop in stops] for across in (-90.0, 90.0)
    ]
    assert found.area_m2 == pytest.approx(area_m2(sides[0] + sides[1][::-1]), rel=1e-4)
    assert (found.passes, found.again_share, len(found.pieces)) == (1, 0.0, 1)


@pytest.mark.parametrize("start", PLACES)
def test_heading_gives_the_same_area_as_the_course_on_a_straight_line(start: Place) -> None:
    """A vehicle that heads along its geodesic (its true azimuth changes on the way) covers 10 km² as well."""
    stops = [WGS84.Direct(*start, 67.0, along) for along in range(0, 10_001, 100)]
    track = [TrackPoint(at * 30 * SECOND, s["lat2"], s["lon2"], s["azi2"] % 360) for at, s in enumerate(stops)]
    assert covered(track).area_m2 == pytest.approx(10e6, rel=1e-4)


@pytest.mark.parametrize(("gap_m", "part"), [(0.0, 1.0), (100.0, 0.9), (999.0, 0.001)])
def test_nadir_gap_takes_its_part(gap_m: float, part: float) -> None:
    """A gap of 100 m of 1,000 leaves nine tenths, in two pieces of one pass."""
    found = covered(track_of(line((0, 0), (10_000, 0))), swath=Swath(1_000.0, gap_m))
    assert found.area_m2 == pytest.approx(part * 10e6, rel=1e-3)
    assert (found.passes, len(found.pieces), found.again_share) == (1, 2 if gap_m else 1, 0.0)


def test_second_line_fills_the_first_ones_gap() -> None:
    """Lines 400 m apart with 1,000 m of swath and a gap of 100 m: each sees the other's gap.

    Both together reach over 1,400 m; seen twice are 600 m less the two gaps (shapely's rectangles).
    """
    there, back = line((0, 0), (10_000, 0)), line((10_000, 400), (0, 400))
    found = covered(track_of(there), track_of(back), swath=Swath(1_000.0, 100.0))
    strips = [shapely.box(0, y + side, 10_000, y + side + 450) for y in (0, 400) for side in (-500, 50)]
    first, second = shapely.union_all(strips[:2]), shapely.union_all(strips[2:])
    assert found.area_m2 == pytest.approx(first.union(second).area, rel=1e-3)
    assert found.area_m2 == pytest.approx(14e6, rel=1e-3)
    assert found.again_share == pytest.approx(first.intersection(second).area / 14e6, rel=1e-3)
    assert len(found.pieces) == 1


def test_overlap_of_two_lines() -> None:
    """Two lines of 10 km, 800 m apart: 18 km² covered, 2 of them twice, whichever vehicle ran them."""
    there, back = line((0, 0), (10_000, 0)), line((10_000, 800), (0, 800))
    apart = covered(track_of(there), track_of(back))
    assert apart.area_m2 == pytest.approx(18e6, rel=1e-3)
    assert apart.again_share == pytest.approx(2 / 18, rel=1e-3)
    later = track_of(there) + track_of(back, begin_s=5_000)
    assert covered(later).again_share == pytest.approx(2 / 18, rel=1e-3)
    assert covered(later).area_m2 == pytest.approx(18e6, rel=1e-3)


def test_there_and_back_covers_no_more_than_there() -> None:
    """Each spot counts once, and all of it was seen again, though the vehicle turns on the spot without a heading."""
    there = line((0, 0), (5_000, 0), 50)
    found = covered(track_of(there + there[-2::-1]))
    assert found.area_m2 == pytest.approx(5e6, rel=1e-3)
    assert found.again_share == pytest.approx(1.0, rel=1e-3)
    assert found.passes == 2


def test_three_times_is_seen_again_once() -> None:
    """Ground that three passes saw counts once as seen again, and stays so whatever other ground comes after."""
    tracks = [track_of(line((0, 0), (5_000, 0), 50)) for _ in range(3)]
    assert covered(*tracks).again_share == pytest.approx(1.0, rel=1e-3)
    elsewhere = track_of(line((0, 3_000), (5_000, 3_000), 50))
    assert covered(*tracks, elsewhere).again_share == pytest.approx(0.5, rel=1e-3)


def test_yaw_sees_nothing_again() -> None:
    """A vehicle that yaws by some degrees about its line covers it once: no overlap, and no holes within."""
    dice = random.Random(6)
    points = line((0, 0), (1_000, 0), 500)
    bows: list[float | None] = [90.0 + dice.gauss(0, 3) for _ in points]
    found = covered(track_of(points, bows, every_s=1), swath=Swath(400.0))
    assert (found.passes, found.again_share) == (1, 0.0)
    assert found.area_m2 == pytest.approx(400e3, rel=0.06)
    inner = shapely.box(50, -150, 950, 150)
    ground = shapely.union_all([shapely.Polygon(piece.outline, piece.holes) for piece in found.pieces])
    assert inner.difference(ground).area == pytest.approx(0.0, abs=1.0)


@pytest.mark.parametrize("crab_deg", [0.0, 20.0, -20.0])
def test_crabbing_narrows_the_swath(crab_deg: float) -> None:
    """Set sideways by a current the swath is narrower by the cosine of the crab angle (the parallelogram's area)."""
    points = line((0, 0), (10_000, 0))
    found = covered(track_of(points, [90.0 + crab_deg] * len(points)))
    assert found.area_m2 == pytest.approx(10e6 * math.cos(math.radians(crab_deg)), rel=1e-3)


def test_winding_line_without_heading_is_shapelys_buffer() -> None:
    """A gently winding line: the area and the ground of shapely's flat-ended buffer of the whole line, to 0.1 %."""
    points = [(100.0 * at, 600 * math.sin(at / 15)) for at in range(150)]
    found = covered(track_of(points), swath=Swath(600.0))
    buffer = shapely.LineString(points).buffer(300.0, cap_style="flat", quad_segs=64)
    ground = shapely.union_all([shapely.Polygon(piece.outline, piece.holes) for piece in found.pieces])
    assert found.area_m2 == pytest.approx(buffer.area, rel=1e-3)
    assert ground.symmetric_difference(buffer).area < 1e-3 * buffer.area


def test_square_corner_without_heading_ends_each_leg_square() -> None:
    """At a corner of 90 degrees both legs end flat: shapely's two rectangles, what they share is seen again."""
    points = [*line((0, 0), (2_000, 0), 20), *line((2_000, 0), (2_000, 2_000), 20)[1:]]
    found = covered(track_of(points), swath=Swath(400.0))
    legs = shapely.box(0, -200, 2_000, 200), shapely.box(1_800, 0, 2_200, 2_000)
    assert found.area_m2 == pytest.approx(legs[0].union(legs[1]).area, rel=1e-3)
    assert found.again_share * found.area_m2 == pytest.approx(legs[0].intersection(legs[1]).area, rel=1e-3)


def test_gap_is_not_covered() -> None:
    """Ground between positions ten minutes apart stays uncovered, and it makes another pass."""
    track = track_of(line((0, 0), (1_000, 0), 10)) + track_of(line((3_000, 0), (4_000, 0), 10), begin_s=900)
    found = covered(track)
    assert found.area_m2 == pytest.approx(2e6, rel=1e-3)
    assert (found.passes, len(found.pieces)) == (2, 2)


def test_leg_that_turns_too_far_covers_nothing() -> None:
    """Between headings 70 degrees apart nobody knows what was seen; 50 degrees are taken."""
    points = line((0, 0), (200, 0), 2)
    bows: list[float | None] = [90.0, 90.0, 160.0]
    assert covered(track_of(points, bows)).area_m2 == pytest.approx(100e3, rel=1e-3)
    bows[2] = 140.0
    assert covered(track_of(points, bows)).area_m2 > 150e3


def test_vehicle_at_rest_covers_nothing() -> None:
    """One position, and two of one place, have no area; nor has the overlap then a share."""
    for points in ([(0.0, 0.0)], [(0.0, 0.0)] * 3):
        found = covered(track_of(points))
        assert (found.area_m2, found.again_share, found.pieces) == (0.0, 0.0, ())
    assert covered(track_of([(0.0, 0.0)] * 2, [90.0, 90.0])).area_m2 == 0.0


@pytest.mark.parametrize("origin", PLACES)
@pytest.mark.parametrize("closed", [False, True])
def test_percent_of_a_plan(origin: Place, closed: bool) -> None:
    """A line along one half of a planned 10 by 2 km covers half of it; the plan's area is geographiclib's to 0.01 %."""
    plan = [at_metres(*corner, origin) for corner in [(0, -1_000), (10_000, -1_000), (10_000, 1_000), (0, 1_000)]]
    track = track_of(line((-1_000, 500), (11_000, 500), 120), origin=origin)
    found = covered(track, plan=plan + plan[:1] * closed, origin=origin)
    assert found.planned_m2 == pytest.approx(area_m2(plan), rel=1e-4)
    assert found.planned_percent == pytest.approx(50.0, abs=0.05)
    assert found.area_m2 == pytest.approx(12e6, rel=1e-3)
    about_its_corner = covered(track, plan=plan)
    assert about_its_corner.origin == plan[0]
    assert about_its_corner.planned_percent == pytest.approx(50.0, abs=0.05)


def test_plane_keeps_areas_as_far_as_it_goes() -> None:
    """Two kilometres square 99 km from the origin: geographiclib's area to 0.01 %."""
    plan = [at_metres(*corner) for corner in [(97_000, 0), (99_000, 0), (99_000, 2_000), (97_000, 2_000)]]
    found = covered(track_of([(0.0, 0.0)]), plan=plan, origin=START)
    assert found.planned_m2 == pytest.approx(area_m2(plan), rel=1e-4)
    assert found.planned_percent == 0.0


def test_pieces_are_the_ground() -> None:
    """A closed circuit leaves a hole in its middle; outline less hole is the area that was told."""
    circuit = [(0, 0), (4_000, 0), (4_000, 4_000), (0, 4_000), (0, 0)]
    points = [p for a, b in pairwise(circuit) for p in line(a, b, 40)[1:]]
    found = covered(track_of([(0.0, 0.0), *points]))
    assert len(found.pieces) == 1
    assert len(found.pieces[0].holes) == 1
    piece = shapely.Polygon(found.pieces[0].outline, found.pieces[0].holes)
    assert piece.is_valid and piece.area == pytest.approx(found.area_m2)
    assert not piece.contains(shapely.Point(2_000, 2_000))


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ((0.0,), "width_m"),
        ((math.nan,), "width_m"),
        ((20_000.1,), "width_m"),
        ((100.0, -1.0), "nadir_gap_m"),
        ((100.0, 100.0), "leaves nothing"),
    ],
)
def test_swath_that_is_none_is_refused(values: tuple[Any, ...], said: str) -> None:
    """A width of nothing, and a gap as wide as the swath, are no swath."""
    with pytest.raises(SurveyError, match=said):
        Swath(*values)


@pytest.mark.parametrize(
    ("plan", "said"),
    [
        ([], "0 different corners"),
        ([(0.0, 0.0), (0.0, 0.1), (0.0, 0.0)], "2 different corners"),
        ([(0.0, 0.0), (0.0, 0.1), (0.0, 0.2)], "no ring"),
        ([(0.0, 0.0), (0.1, 0.1), (0.0, 0.1), (0.1, 0.0)], "no ring"),
        ([(0.0, 0.0), (0.1, 0.1), (math.nan, 0.1)], "plan's corner 3"),
        ([(0.0, 0.0), (0.1, 0.1), (0.0, 2.0)], "plan's corner 3 lies .* m from the origin"),
    ],
)
def test_plan_that_is_no_ring_is_refused(plan: list[Place], said: str) -> None:
    """Corners too few, on one line, crossing, far away or of no place: the message says which."""
    with pytest.raises(SurveyError, match=said):
        covered(track_of([(0.0, 0.0)], origin=(0.0, 0.0)), plan=plan)


def test_tracks_that_are_none_are_refused() -> None:
    """Neither no track, nor one without a position, nor one that leaves the plane."""
    for swept in ([], [Swept([], Swath(1.0))]):
        with pytest.raises(SurveyError, match="empty"):
            coverage(swept)
    with pytest.raises(SurveyError, match=r"a position of the track lies .* m from the origin") as refused:
        covered(track_of([(0.0, 0.0), (0.0, 100.0)]), origin=(-30.1, -20.0))
    assert not re.search(r"30\.|22\.|20\.0", str(refused.value)), "the message holds no position"
    with pytest.raises(SurveyError, match="origin's latitude_deg"):
        covered(track_of([(0.0, 0.0)]), origin=(91.0, 0.0))
