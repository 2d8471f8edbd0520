"""Shapes of an export: what crosses the antimeridian is cut, and both well-known forms are read by GEOS (shapely)."""

from array import array

import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import example, given
from hypothesis import strategies as st
from shapely import from_wkb, from_wkt
from shapely.geometry import shape

from relay.shell.exact.shapes import GEOJSON, Shape, area_of, ellipse, point, track_of

degrees = st.tuples(
    st.floats(-180, 180, allow_nan=False, allow_subnormal=False),
    st.floats(-89, 89, allow_nan=False, allow_subnormal=False),
)


@given(st.lists(degrees, min_size=2, max_size=12))
@example([(179.0, 1.0), (180.0, 2.0), (-180.0, 3.0), (-179.0, 4.0)])
@example([(-179.0, 1.0), (-180.0, 1.0), (180.0, 1.0), (-180.0, 2.0), (180.0, 2.0)])
def test_line_keeps_every_point_and_spans_no_half_turn(places: list[tuple[float, float]]) -> None:
    """Whatever the places, all are in the line in their order, bit by bit, and no step of it is longer than 180."""
    line = track_of(places)
    kept = [pair for part in (line.parts if line else ()) for pair in zip(part[0::2], part[1::2], strict=True)]
    left = iter(kept)
    alone = {places[0], places[-1]}  # a single point behind a cut makes no line
    assert all(place in left or place in alone for place in places)
    for part in line.parts if line else ():
        assert all(abs(one - other) <= 180 for one, other in zip(part[0::2], part[2::2], strict=False))


@given(degrees)
def test_three_forms_of_a_point_agree(place: tuple[float, float]) -> None:
    """Well-known binary, text and GeoJSON tell the same double."""
    drawn = point(*place)
    read = [from_wkb(drawn.wkb()), from_wkt(drawn.wkt()), shape({"type": "Point", "coordinates": drawn.coordinates()})]
    assert [(one.x, one.y) for one in read] == [place] * 3


@pytest.mark.parametrize("longitude_deg", [0.0, 179.9999, -179.9999, 180.0])
@pytest.mark.parametrize("latitude_deg", [0.0, -30.25, 78.0])
def test_ellipse_is_whole_on_both_sides_of_the_antimeridian(latitude_deg: float, longitude_deg: float) -> None:
    """Its area by geographiclib is that of the ellipse in the plane less what 72 corners cut off, wherever it lies."""
    drawn = ellipse(latitude_deg, longitude_deg, (50.0, 20.0, 30.0))
    assert drawn is not None
    forms = (from_wkb(drawn.wkb()), from_wkt(drawn.wkt()))
    forms += (shape({"type": GEOJSON[drawn.kind], "coordinates": drawn.coordinates()}),)
    assert all(form.is_valid and form.equals(forms[0]) for form in forms)
    whole = 0.0
    for part in forms[0].geoms:
        ring = Geodesic.WGS84.Polygon()
        for lon, lat in part.exterior.coords[:-1]:
            ring.AddPoint(lat, lon)
        whole += ring.Compute()[2]
    # 72/2 sin(2 pi/72) of pi: the share of a circle that its 72-gon fills.
    assert whole == pytest.approx(50.0 * 20.0 * 36 * 0.08715574274765817, rel=1e-5)


def test_area_of_no_width_is_none() -> None:
    """A target without uncertainty across has no area, nor has a ring that goes there and back."""
    assert ellipse(0.0, 0.0, (5.0, 0.0, 0.0)) is None
    assert area_of([(0.0, 0.0), (1.0, 1.0), (0.0, 0.0), (0.0, 0.0)]) is None


def test_bounds_are_of_all_parts() -> None:
    """The box of a shape holds all of it."""
    line = track_of([(179.0, 1.0), (-179.0, 2.0), (-178.0, -3.0)])
    assert isinstance(line, Shape) and isinstance(line.parts[0], array)
    assert line.bounds == (-180.0, 180.0, -3.0, 2.0)
