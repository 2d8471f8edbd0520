"""Drawings of a find out of a GeoJSON file (RFC 7946).

Rules: what can't be kept as it is drawn is refused, with where it stands: heights, holes, another coordinate reference
system, a member that isn't there. Nothing is simplified, turned or left away but properties and ids.
"""

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from relay.core.errors import OperatorError
from relay.core.find import Drawing, Drawn, Shape, read_drawing
from relay.shell.record.whole_file import open_regular

FILE_LIMIT = 16 * 1024 * 1024
_DEPTH = 32
# The names of WGS84 in the older form of the format, which named a system; RFC 7946, section 4, knows no other.
_WGS84 = ("urn:ogc:def:crs:OGC:1.3:CRS84", "urn:ogc:def:crs:OGC::CRS84", "EPSG:4326", "urn:ogc:def:crs:EPSG::4326")


def read_outlines(path: Path, kind: Drawn) -> tuple[Drawing, ...]:
    """Return the drawings in a GeoJSON file; OperatorError says what is wrong with it, and where."""
    try:
        with open_regular(path) as file:
            data = file.read(FILE_LIMIT + 1)
    except OSError as error:
        raise OperatorError(f"{path} can't be read: {error.strerror}") from error
    if len(data) > FILE_LIMIT:
        raise OperatorError(f"{path} has more than {FILE_LIMIT >> 20} MiB: draw coarser")
    try:
        value = json.loads(data)
        drawings = [_drawing(kind, shape, points, where) for shape, points, where in _shapes(value, "", 0)]
    except (ValueError, RecursionError) as error:
        raise OperatorError(f"{path} is no GeoJSON: {error}") from error
    except OperatorError as error:
        raise OperatorError(f"{path}: {error}") from error
    if not drawings:
        raise OperatorError(f"{path}: there is no geometry in it")
    return tuple(drawings)


def _drawing(kind: Drawn, shape: Shape, points: Any, where: str) -> Drawing:
    try:
        return read_drawing({"kind": kind, "shape": shape, "points": points})
    except OperatorError as error:
        raise OperatorError(f"{where or 'geometry'}: {error}") from error


def _shapes(value: object, where: str, depth: int) -> Iterator[tuple[Shape, Any, str]]:
    """Yield the shapes in an object of GeoJSON, each with its points and where it stands."""
    if not isinstance(value, dict) or depth > _DEPTH:
        raise OperatorError(f"{where or 'the file'} is no object of GeoJSON")
    _check_system(value.get("crs"))
    name = value.get("type")
    if name == "FeatureCollection":
        yield from _each(value, "features", where, depth)
    elif name == "GeometryCollection":
        yield from _each(value, "geometries", where, depth)
    elif name == "Feature":
        if value.get("geometry") is not None:
            yield from _shapes(value["geometry"], f"{where} geometry".strip(), depth + 1)
    elif isinstance(name, str) and name in _GEOMETRIES:
        yield from _GEOMETRIES[name](value.get("coordinates"), f"{where} {name}".strip())
    else:
        raise OperatorError(f"{where or 'the file'}: {name!r} is no type of GeoJSON (RFC 7946, 1.4)")


def _each(value: dict[str, Any], member: str, where: str, depth: int) -> Iterator[tuple[Shape, Any, str]]:
    for number, item in enumerate(_list(value.get(member), f"{where} {member}".strip()), 1):
        yield from _shapes(item, f"{where} {member} {number}".strip(), depth + 1)


def _check_system(value: object) -> None:
    named = value.get("properties") if isinstance(value, dict) else None
    if value is not None and (not isinstance(named, dict) or named.get("name") not in _WGS84):
        raise OperatorError("it names another coordinate reference system than WGS84: save it in EPSG:4326")


def _list(value: object, what: str) -> list[Any]:
    if not isinstance(value, list):
        raise OperatorError(f"{what} is no list")
    return value


def _polygon(rings: object, where: str) -> Iterator[tuple[Shape, Any, str]]:
    parts = _list(rings, where)
    if len(parts) != 1:
        raise OperatorError(f"{where} has {len(parts)} rings: an area is one outline; draw its holes as areas apart")
    yield Shape.AREA, parts[0], where


def _several(
    one: Callable[[Any, str], Iterator[tuple[Shape, Any, str]]], value: object, where: str
) -> Iterator[tuple[Shape, Any, str]]:
    for number, part in enumerate(_list(value, where), 1):
        yield from one(part, f"{where}, part {number}")


def _point(value: object, where: str) -> Iterator[tuple[Shape, Any, str]]:
    yield Shape.POINT, [value], where


def _line(value: object, where: str) -> Iterator[tuple[Shape, Any, str]]:
    yield Shape.LINE, value, where


_GEOMETRIES: dict[str, Callable[[Any, str], Iterator[tuple[Shape, Any, str]]]] = {
    "Point": _point,
    "LineString": _line,
    "Polygon": _polygon,
    "MultiPoint": lambda value, where: _several(_point, value, where),
    "MultiLineString": lambda value, where: _several(_line, value, where),
    "MultiPolygon": lambda value, where: _several(_polygon, value, where),
}
