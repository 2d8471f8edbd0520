"""Drawings out of GeoJSON: the standard's own example, what GEOS writes, and what is refused with where it stands."""

import json
import os
from pathlib import Path
from typing import Any

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from relay.core.errors import OperatorError
from relay.core.find import Drawing, Drawn, Shape
from relay.shell.finds.outlines import FILE_LIMIT, read_outlines

# RFC 7946, section 1.5: the example of a FeatureCollection.
OF_THE_RFC = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [102.0, 0.5]},
            "properties": {"prop0": "value0"},
        },
        {
            "type": "Feature",
            "geometry": {"type": "LineString", "coordinates": [[102.0, 0.0], [103.0, 1.0], [104.0, 0.0], [105.0, 1.0]]},
            "properties": {"prop0": "value0", "prop1": 0.0},
        },
        {
            "type": "Feature",
            "geometry": {
                "type": "Polygon",
                "coordinates": [[[100.0, 0.0], [101.0, 0.0], [101.0, 1.0], [100.0, 1.0], [100.0, 0.0]]],
            },
            "properties": {"prop0": "value0", "prop1": {"this": "that"}},
        },
    ],
}  # fmt: skip
RING = [[0, 0], [1, 0], [1, 1], [0, 0]]


def read(folder: Path, value: object) -> tuple[Drawing, ...]:
    """Return the drawings in a file that holds this."""
    path = folder / "bell.geojson"
    path.write_bytes(value if isinstance(value, bytes) else json.dumps(value).encode())
    return read_outlines(path, Drawn.OUTLINE)


def test_example_of_the_standard_is_read(tmp_path: Path) -> None:
    """Each feature of RFC 7946, section 1.5, is a drawing of its shape with its points as they stand there."""
    read_ = read(tmp_path, OF_THE_RFC)
    assert [(drawing.shape, drawing.points) for drawing in read_] == [
        (Shape.POINT, ((102.0, 0.5),)),
        (Shape.LINE, ((102.0, 0.0), (103.0, 1.0), (104.0, 0.0), (105.0, 1.0))),
        (Shape.AREA, ((100.0, 0.0), (101.0, 0.0), (101.0, 1.0), (100.0, 1.0), (100.0, 0.0))),
    ]
    assert {drawing.kind for drawing in read_} == {Drawn.OUTLINE}


NUMBERS = st.floats(-80, 80, allow_subnormal=False)
PLACES = st.lists(st.tuples(NUMBERS, NUMBERS), min_size=2, max_size=5, unique=True)


@given(st.lists(PLACES, min_size=1, max_size=4))
def test_what_geos_writes_is_read_to_the_last_bit(tmp_path_factory: pytest.TempPathFactory, lines: Any) -> None:
    """Lines, points and many of them, written by GEOS (shapely.to_geojson): the same coordinates, none lost."""
    folder = tmp_path_factory.mktemp("geos")
    whole = shapely.MultiLineString(lines)
    points = shapely.MultiPoint(lines[0])
    both = shapely.GeometryCollection([whole, points])
    read_ = read(folder, shapely.to_geojson(both).encode())
    assert [drawing.points for drawing in read_ if drawing.shape is Shape.LINE] == [
        tuple(line.coords) for line in whole.geoms
    ]
    assert [drawing.points[0] for drawing in read_ if drawing.shape is Shape.POINT] == lines[0]


@pytest.mark.parametrize(
    ("value", "why"),
    [
        (b"{", "is no GeoJSON"),
        (b"[" * 100_000, "is no GeoJSON"),
        ([], "the file is no object of GeoJSON"),
        ({"type": "Circle"}, "the file: 'Circle' is no type of GeoJSON"),
        ({"type": ["Point"]}, "is no type of GeoJSON"),
        ({"type": "FeatureCollection", "features": []}, "there is no geometry in it"),
        ({"type": "Feature", "geometry": None}, "there is no geometry in it"),
        ({"type": "FeatureCollection"}, "features is no list"),
        ({"type": "Polygon", "coordinates": [RING, RING]}, "Polygon has 2 rings: an area is one outline"),
        ({"type": "Polygon", "coordinates": []}, "Polygon has 0 rings"),
        ({"type": "MultiPolygon", "coordinates": [[RING], [RING[:3]]]}, "MultiPolygon, part 2: an area is a ring"),
        ({"type": "LineString", "coordinates": [[0, 0, -31], [1, 1, -31]]}, "LineString: point 1 is [longitude"),
        ({"type": "Point", "coordinates": [0, 95]}, "Point: point 1: latitude_deg is a number from -90 to 90"),
        ({"type": "Point", "coordinates": [0, 0], "crs": {"type": "name", "properties": {"name": "EPSG:32725"}}},
         "another coordinate reference system than WGS84: save it in EPSG:4326"),
        ({"type": "Point", "coordinates": [0, 0], "crs": None}, ""),
        ({"type": "Point", "coordinates": [0, 0], "crs": {"type": "name", "properties": {"name": "EPSG:4326"}}}, ""),
        ({"type": "FeatureCollection", "features": [OF_THE_RFC["features"][0], {"type": "Feature", "geometry": 5}]},  # type: ignore[index]
         "features 2 geometry is no object of GeoJSON"),
    ],
)  # fmt: skip
def test_file_that_cannot_be_kept_as_drawn_is_refused(value: object, why: str, tmp_path: Path) -> None:
    """The message names the file and the part; nothing is left away silently."""
    if not why:
        assert len(read(tmp_path, value)) == 1
        return
    with pytest.raises(OperatorError) as caught:
        read(tmp_path, value)
    assert why in str(caught.value)
    assert "bell.geojson" in str(caught.value)


def test_nesting_and_size_are_bounded_and_missing_files_named(tmp_path: Path) -> None:
    """Collections in collections end somewhere; a file beyond the limit isn't read."""
    deep: dict[str, Any] = {"type": "Point", "coordinates": [0, 0]}
    for _ in range(40):
        deep = {"type": "GeometryCollection", "geometries": [deep]}
    with pytest.raises(OperatorError, match="is no object of GeoJSON"):
        read(tmp_path, deep)
    with pytest.raises(OperatorError, match="more than 16 MiB"):
        read(tmp_path, b" " * (FILE_LIMIT + 1))
    with pytest.raises(OperatorError, match=r"nothing\.geojson can't be read"):
        read_outlines(tmp_path / "nothing.geojson", Drawn.PLAN)
    os.mkfifo(tmp_path / "pipe.geojson")
    with pytest.raises(OperatorError, match="is not a file"):
        read_outlines(tmp_path / "pipe.geojson", Drawn.PLAN)
