"""A record of a find as values and as a journal row; the shapes of drawings against exact arithmetic."""

import json
from fractions import Fraction
from itertools import combinations
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core.decision import read_decision, who_took, write_decision
from relay.core.errors import OperatorError
from relay.core.find import (
    DESCRIPTION_LIMIT,
    DRAWINGS_LIMIT,
    FILE_NAME_LIMIT,
    OCTETS_LIMIT,
    PHOTOGRAPHS_LIMIT,
    POINTS_LIMIT,
    Drawing,
    Drawn,
    FileReference,
    Find,
    FindPlace,
    Shape,
    shape_fault,
)

DIGEST = "0123456789abcdef" * 4
PHOTO = {"name": "IMG_0031.JPG", "sha256": DIGEST, "octets": 4_200_000}
RING = [[-21.9331, -38.6147], [-21.9330, -38.6147], [-21.9330, -38.6146], [-21.9331, -38.6147]]
AREA = {"kind": "outline", "shape": "area", "points": RING}
PLACE = {"latitude_deg": -38.61472, "longitude_deg": -21.93306, "radius_95_m": 4.5}
# RFC 7946, appendix A: a point, a line and a polygon without holes.
OF_THE_RFC = [
    (Shape.POINT, ((100.0, 0.0),)),
    (Shape.LINE, ((100.0, 0.0), (101.0, 1.0))),
    (Shape.AREA, ((100.0, 0.0), (101.0, 0.0), (101.0, 1.0), (100.0, 1.0), (100.0, 0.0))),
]

TEXTS = st.text(st.characters(exclude_categories=("Cc", "Cs")), min_size=1, max_size=60).filter(str.strip)
FILES = st.builds(
    FileReference,
    TEXTS.filter(lambda name: not set("/\\") & set(name)),
    st.binary(min_size=32, max_size=32).map(bytes.hex),
    st.integers(1, 1 << 40),
)
POINTS = st.tuples(st.floats(-80, 80), st.floats(-90, 90))
DRAWINGS = st.one_of(
    st.builds(Drawing, kind=st.sampled_from(Drawn), file=FILES),
    st.builds(
        Drawing, kind=st.sampled_from(Drawn), shape=st.just(Shape.LINE),
        points=st.lists(POINTS, min_size=2, max_size=6, unique=True).map(tuple),
    ),
    st.builds(
        Drawing, kind=st.sampled_from(Drawn), shape=st.just(Shape.AREA),
        points=st.just(tuple((east, north) for east, north in RING)),
    ),
)  # fmt: skip
PLACES = st.builds(
    FindPlace, latitude_deg=st.floats(-90, 90), longitude_deg=st.floats(-180, 180),
    radius_95_m=st.none() | st.floats(0, 100_000), major_95_m=st.none() | st.floats(0, 100),
    major_azimuth_deg=st.none() | st.floats(0, 180), target=st.none() | TEXTS,
    target_row=st.none() | st.integers(1, 99),
)  # fmt: skip
FINDS = st.builds(
    Find, name=TEXTS, what=st.none() | TEXTS, place=st.none() | PLACES, depth_m=st.none() | st.floats(-10, 12_000),
    description=st.none() | TEXTS, vehicle=st.none() | st.just("Lantern"),
    drawings=st.none() | st.lists(DRAWINGS, max_size=3).map(tuple),
    photographs=st.none() | st.lists(FILES, max_size=3).map(tuple), supersedes=st.none() | st.integers(1, 2**63 - 1),
    adds=st.booleans(),
)  # fmt: skip


def read(**values: Any) -> Find:
    """Return the find of a message that has a name and these values."""
    decision = read_decision(json.dumps({"do": "find", "name": "the bell", **values}).encode())
    assert isinstance(decision, Find)
    return decision


@given(FINDS, TEXTS)
def test_find_comes_back_from_its_journal_row(find: Find, who: str) -> None:
    """Any values survive the row to the last bit of every number, and so does who recorded them."""
    row = write_decision(find, who)
    assert read_decision(row) == find
    assert who_took(row) == who


@pytest.mark.parametrize(("shape", "points"), OF_THE_RFC)
def test_shapes_of_the_geojson_standard_are_taken(shape: Shape, points: tuple[tuple[float, float], ...]) -> None:
    """The geometries of RFC 7946, appendix A, are drawings as they stand there: longitude first, rings closed."""
    drawing = {"kind": "plan", "shape": str(shape), "points": [list(point) for point in points]}
    assert read(drawings=[drawing]).drawings == (Drawing(kind=Drawn.PLAN, shape=shape, points=points),)


def side(one: tuple[int, int], other: tuple[int, int], point: tuple[int, int]) -> int:
    """Return on which side of a line a point lies: -1, 0 or 1, exactly."""
    turn = (other[0] - one[0]) * (point[1] - one[1]) - (other[1] - one[1]) * (point[0] - one[0])
    return (turn > 0) - (turn < 0)


def share_a_point(first: list[tuple[int, int]], second: list[tuple[int, int]]) -> bool:
    """Whether two closed segments share a point, by exact arithmetic (orientation test, from memory)."""
    (a, b), (c, d) = first, second
    if side(a, b, c) != side(a, b, d) and side(c, d, a) != side(c, d, b):
        return True
    on = [(a, b, c), (a, b, d), (c, d, a), (c, d, b)]
    return any(side(p, q, r) == 0 and _between(p, q, r) for p, q, r in on)


def _between(p: tuple[int, int], q: tuple[int, int], r: tuple[int, int]) -> bool:
    return all(min(p[axis], q[axis]) <= r[axis] <= max(p[axis], q[axis]) for axis in (0, 1))


def is_simple(corners: list[tuple[int, int]]) -> bool:
    """Whether a closed way through different corners meets itself nowhere else, and has an area."""
    edges = [[corners[at], corners[(at + 1) % len(corners)]] for at in range(len(corners))]
    for at, other in combinations(range(len(edges)), 2):
        if (at + 1) % len(edges) == other or (other + 1) % len(edges) == at:
            first, second = (edges[at], edges[other]) if (at + 1) % len(edges) == other else (edges[other], edges[at])
            if side(first[0], first[1], second[1]) == 0 and _turns_back(first, second):
                return False
        elif share_a_point(edges[at], edges[other]):
            return False
    doubled = sum(Fraction(a[0]) * b[1] - Fraction(b[0]) * a[1] for a, b in edges)
    return doubled != 0


def _turns_back(first: list[tuple[int, int]], second: list[tuple[int, int]]) -> bool:
    ahead = [(edge[1][0] - edge[0][0], edge[1][1] - edge[0][1]) for edge in (first, second)]
    return ahead[0][0] * ahead[1][0] + ahead[0][1] * ahead[1][1] < 0


@given(st.lists(st.tuples(st.integers(-4, 4), st.integers(-4, 4)), min_size=3, max_size=7, unique=True))
def test_area_is_taken_exactly_if_its_outline_meets_itself_nowhere(corners: list[tuple[int, int]]) -> None:
    """Small rings on a grid: judged as segments that exact integers say share a point or don't."""
    ring = [(float(east), float(north)) for east, north in [*corners, corners[0]]]
    assert (shape_fault(Shape.AREA, ring) is None) == is_simple(corners)


@pytest.mark.parametrize(
    ("values", "why"),
    [
        ({"what": " "}, "what is a text that is not empty"),
        ({"what": "a\nb"}, "what has control characters"),
        ({"description": "a\x07"}, "description has control characters"),
        ({"description": "x" * (DESCRIPTION_LIMIT + 1)}, f"at most {DESCRIPTION_LIMIT} characters"),
        ({"depth_m": "30"}, "depth_m is a number from -10 to 12000 m"),
        ({"depth_m": 12_001}, "depth_m is a number from -10 to 12000 m"),
        ({"depth_m": float("nan")}, "depth_m is a number"),
        ({"supersedes": 0}, "supersedes is the number of a journal row"),
        ({"supersedes": True}, "supersedes is the number of a journal row"),
        ({"place": [1, 2]}, "place is a JSON object of latitude_deg"),
        ({"place": {"latitude_deg": 1}}, "place lacks longitude_deg"),
        ({"place": {**PLACE, "latitude_deg": None}}, "latitude_deg is a number from -90 to 90 degrees"),
        ({"place": {**PLACE, "latitude_deg": 91}}, "latitude_deg is a number from -90 to 90 degrees"),
        ({"place": {**PLACE, "radius_95_m": -1}}, "radius_95_m is a number from 0 to 100000 m"),
        ({"place": {**PLACE, "height": 3}}, "place has no height"),
        ({"place": PLACE, "target": "the bell"}, "place or target, not both"),
        ({"photographs": PHOTO}, "photographs is a list"),
        ({"photographs": [PHOTO, {**PHOTO, "sha256": DIGEST.upper()}]}, "photographs, number 2: the sha256 of IMG_00"),
        ({"photographs": [{**PHOTO, "name": "home/ada/IMG.JPG"}]}, "is a path: a file is told by its name alone"),
        ({"photographs": [{**PHOTO, "name": "x" * (FILE_NAME_LIMIT + 1)}]}, "at most 255 characters"),
        ({"photographs": [{**PHOTO, "octets": 0}]}, "octets of IMG_0031.JPG is the size of the file in bytes"),
        ({"photographs": [{**PHOTO, "octets": OCTETS_LIMIT + 1}]}, "octets of IMG_0031.JPG is the size of the file"),
        ({"photographs": [{"name": "a.jpg"}]}, "a file lacks sha256, octets"),
        ({"photographs": [PHOTO] * (PHOTOGRAPHS_LIMIT + 1)}, "photographs is a list, of at most 100"),
        ({"drawings": [AREA] * (DRAWINGS_LIMIT + 1)}, "drawings is a list, of at most 20"),
        ({"drawings": [{"kind": "sketch"}]}, "'sketch' is no kind of drawing; one of outline, section, plan"),
        ({"drawings": [{"kind": "plan"}]}, "a shape and points, or a file: one of the two"),
        ({"drawings": [{**AREA, "file": PHOTO}]}, "a shape and points, or a file: one of the two"),
        ({"drawings": [{"kind": "plan", "file": PHOTO, "points": RING}]}, "a drawing that is a file has no points"),
        ({"drawings": [{**AREA, "shape": "circle"}]}, "'circle' is no shape; one of point, line, area"),
        ({"drawings": [{**AREA, "points": RING[:3]}]}, "a ring of at least four points, the last of which is the"),
        ({"drawings": [{**AREA, "points": [[1, 1, 5], *RING]}]}, "point 1 is [longitude, latitude] in degrees"),
        ({"drawings": [{**AREA, "points": [[1, 95], *RING]}]}, "point 1: latitude_deg is a number from -90 to 90"),
        ({"drawings": [{**AREA, "shape": "point"}]}, "a point is one point, not 4"),
        ({"drawings": [{**AREA, "shape": "line", "points": [[1, 1], [1, 1]]}]}, "at least two different points"),
        ({"drawings": [{**AREA, "shape": "line", "points": [[179.9, 1], [-179.9, 1]]}]}, "cut it there in two"),
        ({"drawings": [{**AREA, "points": [[0, 0], [1, 1], [1, 0], [0, 1], [0, 0]]}]}, "doesn't meet itself"),
        ({"drawings": [{**AREA, "points": [[0, 0], [1, 1], [2, 2], [0, 0]]}]}, "doesn't meet itself"),
    ],
)  # fmt: skip
def test_record_that_makes_no_sense_is_refused_with_the_reason(values: dict[str, Any], why: str) -> None:
    """Each wrong value is named, and what would be right is said."""
    with pytest.raises(OperatorError) as caught:
        read(**values)
    assert why in str(caught.value)


def test_points_are_counted_over_all_drawings_of_a_find() -> None:
    """At the limit they are taken, one past it refused, however they are shared out."""
    line = {"kind": "section", "shape": "line", "points": [[0, at / 100] for at in range(POINTS_LIMIT // 2)]}
    assert read(drawings=[line, line]).points == POINTS_LIMIT
    with pytest.raises(OperatorError, match=f"at most {POINTS_LIMIT} points together, not {POINTS_LIMIT + 1}"):
        read(drawings=[line, line, {"kind": "plan", "shape": "point", "points": [[0, 0]]}])


MEMBERS = st.sampled_from(["kind", "shape", "points", "file", "name", "latitude_deg"])
JSON = st.recursive(
    st.none() | st.booleans() | st.floats() | st.text(max_size=4),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(MEMBERS, inner, max_size=3),
)
VALUES = ["what", "place", "target", "depth_m", "description", "drawings", "photographs", "supersedes"]


@given(JSON, st.sampled_from(VALUES))
def test_values_of_any_kind_are_read_or_refused(value: object, name: str) -> None:
    """Whatever JSON stands in a member, the answer is a find or an OperatorError."""
    try:
        find = read(**{name: value})
    except OperatorError:
        return
    assert read_decision(write_decision(find, "Ada")) == find


def test_file_elsewhere_may_be_a_tebibyte_large() -> None:
    """At the limit a reference is taken (one past it is refused above)."""
    assert OCTETS_LIMIT == 1 << 40
    (photograph,) = read(photographs=[{**PHOTO, "octets": OCTETS_LIMIT}]).photographs or ()
    assert photograph.octets == OCTETS_LIMIT
