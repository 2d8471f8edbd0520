"""A find as it is recorded: what it is, where and how it lies, its drawings and photographs; its form in the journal.

Rules: exact, for the ship alone: no released record knows of a find (R1). A record is never changed: a later one
supersedes it. Files are told by name, size and SHA-256; what is in them is in no journal. Points are
[longitude, latitude] in degrees (WGS84), the order of GeoJSON (RFC 7946, 3.1.1); a depth is positive down.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, fields
from enum import StrEnum
from functools import partial
from itertools import pairwise
from typing import Any, TypeVar

from relay.core.decision_values import flag_fault, number_fault
from relay.core.errors import OperatorError
from relay.core.ranges import NOTE_LIMIT, RANGES

DESCRIPTION_LIMIT, FILE_NAME_LIMIT = 4_000, 255
PHOTOGRAPHS_LIMIT, DRAWINGS_LIMIT, POINTS_LIMIT = 100, 20, 2_000
OCTETS_LIMIT = 1 << 40
Point = tuple[float, float]
Item = TypeVar("Item")
_DIGEST = re.compile(r"[0-9a-f]{64}")
_LENGTH_M = ("m", 0, 100_000)


class Drawn(StrEnum):
    """What a drawing shows."""

    OUTLINE = "outline"
    SECTION = "section"
    PLAN = "plan"


class Shape(StrEnum):
    """What the points of a drawing make."""

    POINT = "point"
    LINE = "line"
    AREA = "area"


@dataclass(frozen=True, slots=True)
class FileReference:
    """A file by the name that the crew knows it by, its SHA-256 in hexadecimal, and its size."""

    name: str
    sha256: str
    octets: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A drawing: points on the Earth that make a shape, or a file. An area is one ring whose last point is its first.

    A section's points are where it was cut.
    """

    kind: Drawn
    shape: Shape | None = None
    points: tuple[Point, ...] = ()
    file: FileReference | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FindPlace:
    """Where a find lies, and the radius of the circle that holds it with 95 %, if that is known.

    Taken from a target (`target`, by the journal row `target_row`), it has the 95 % ellipse, too; see
    `target_position.Spread`.
    """

    latitude_deg: float
    longitude_deg: float
    radius_95_m: float | None = None
    major_95_m: float | None = None
    minor_95_m: float | None = None
    major_azimuth_deg: float | None = None
    target: str | None = None
    target_row: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Find:
    """A record of a find. What is None is as in the record before it (`supersedes`, a journal row), if there is one.

    `target`: take the place of this target. `adds`: the drawings and photographs are added to those of the record
    before, not put in their place. The relay fills all that in before it journals a record: so a row tells the whole
    of what was known.
    """

    name: str
    what: str | None = None
    place: FindPlace | None = None
    target: str | None = None
    depth_m: float | None = None
    description: str | None = None
    vehicle: str | None = None
    drawings: tuple[Drawing, ...] | None = None
    photographs: tuple[FileReference, ...] | None = None
    supersedes: int | None = None
    adds: bool = False

    @property
    def points(self) -> int:
        """How many points its drawings have."""
        return sum(len(drawing.points) for drawing in self.drawings or ())


def write_find(find: Find) -> dict[str, Any]:
    """Return a find as plain values, as in a journal row or a message."""
    return asdict(find)


def together_fault(find: Find) -> str | None:
    """Judge what values that are right by themselves say together."""
    if find.place is not None and find.target is not None:
        return "a find's place is given, or taken from a target: say place or target, not both"
    if len(find.photographs or ()) > PHOTOGRAPHS_LIMIT or len(find.drawings or ()) > DRAWINGS_LIMIT:
        return f"a find has at most {PHOTOGRAPHS_LIMIT} photographs and {DRAWINGS_LIMIT} drawings"
    if find.points > POINTS_LIMIT:
        return f"the drawings of a find have at most {POINTS_LIMIT} points together, not {find.points}: draw coarser"
    return None


def shape_fault(shape: Shape, points: Sequence[Point]) -> str | None:
    """Judge whether points make a shape (RFC 7946, 3.1.6 and 3.1.9; OGC 06-103r4, 6.1.11)."""
    if shape is Shape.POINT:
        return None if len(points) == 1 else f"a point is one point, not {len(points)}"
    if any(abs(one[0] - other[0]) > 180 for one, other in pairwise(points)):
        return "a drawing doesn't cross the antimeridian: cut it there in two (RFC 7946, 3.1.9)"
    if shape is Shape.LINE:
        return None if len(set(points)) >= 2 else "a line has at least two different points"
    if len(points) < 4 or points[0] != points[-1]:
        return "an area is a ring of at least four points, the last of which is the first"
    from shapely import Polygon, is_valid_reason  # it brings numpy, which a shore or a reader of recordings never needs

    if not Polygon(points).is_valid:
        return f"the outline of an area goes round it and doesn't meet itself: {is_valid_reason(Polygon(points))}"
    return None


def read_place(value: object) -> FindPlace:
    """Return the place of a find; OperatorError says what is wrong with it."""
    known = _members(value, "place", FindPlace, ("latitude_deg", "longitude_deg"))
    faults = [_NUMBERS[name](item) for name, item in known.items() if name in _NUMBERS and item is not None]
    faults += [_NUMBERS[name](known[name]) for name in ("latitude_deg", "longitude_deg")]
    if known.get("target") is not None:
        faults.append(_words_fault("target", NOTE_LIMIT, known["target"]))
    if known.get("target_row") is not None:
        faults.append(_row_fault("target_row", known["target_row"]))
    _raise_first(faults)
    values: dict[str, Any] = {
        name: float(item) if name in _NUMBERS and item is not None else item for name, item in known.items()
    }
    return FindPlace(**values)


def read_file(value: object) -> FileReference:
    """Return a file by reference; OperatorError says what is wrong with it."""
    known = _members(value, "a file", FileReference, ("name", "sha256", "octets"))
    name, digest, octets = known["name"], known["sha256"], known["octets"]
    _raise_first([_words_fault("the name of a file", FILE_NAME_LIMIT, name)])
    if "/" in name or "\\" in name:
        raise OperatorError(f"{name!r} is a path: a file is told by its name alone")
    if not isinstance(digest, str) or not _DIGEST.fullmatch(digest):
        raise OperatorError(f"the sha256 of {name} is not the SHA-256 of a file in hexadecimal: 64 digits")
    if type(octets) is not int or not 0 < octets <= OCTETS_LIMIT:
        raise OperatorError(f"octets of {name} is the size of the file in bytes, more than none")
    return FileReference(name, digest, octets)


def read_drawing(value: object) -> Drawing:
    """Return a drawing; OperatorError says what is wrong with it."""
    known = _members(value, "a drawing", Drawing, ("kind",))
    if known["kind"] not in list(Drawn):
        raise OperatorError(f"{known['kind']!r} is no kind of drawing; one of {', '.join(Drawn)}")
    kind, file, shape = Drawn(known["kind"]), known.get("file"), known.get("shape")
    if (file is None) == (shape is None):
        raise OperatorError("a drawing has a shape and points, or a file: one of the two")
    if file is not None:
        if known.get("points"):
            raise OperatorError("a drawing that is a file has no points")
        return Drawing(kind=kind, file=read_file(file))
    if shape not in list(Shape):
        raise OperatorError(f"{shape!r} is no shape; one of {', '.join(Shape)}")
    points = _read_points(known.get("points"))
    _raise_first([shape_fault(Shape(shape), points)])
    return Drawing(kind=kind, shape=Shape(shape), points=points)


def _read_points(value: object) -> tuple[Point, ...]:
    if not isinstance(value, list | tuple) or not 0 < len(value) <= POINTS_LIMIT:
        raise OperatorError(f"points is a list of [longitude, latitude], at most {POINTS_LIMIT}")
    points = []
    for number, point in enumerate(value, 1):
        if not isinstance(point, list | tuple) or len(point) != 2:
            raise OperatorError(f"point {number} is [longitude, latitude] in degrees, and nothing else")
        faults = (_NUMBERS["longitude_deg"](point[0]), _NUMBERS["latitude_deg"](point[1]))
        if fault := next((fault for fault in faults if fault is not None), None):
            raise OperatorError(f"point {number}: {fault} (longitude comes first)")
        points.append((float(point[0]), float(point[1])))
    return tuple(points)


def _read_all(read: Callable[[object], Item], what: str, limit: int, value: object) -> tuple[Item, ...]:
    if not isinstance(value, list | tuple) or len(value) > limit:
        raise OperatorError(f"{what} is a list, of at most {limit}")
    items = []
    for number, item in enumerate(value, 1):
        try:
            items.append(read(item))
        except OperatorError as error:
            raise OperatorError(f"{what}, number {number}: {error}") from error
    return tuple(items)


def _members(value: object, what: str, kind: type[Any], needs: tuple[str, ...]) -> dict[str, Any]:
    """Return the members of a JSON object that has what it needs and nothing that `kind` doesn't know."""
    names = [field.name for field in fields(kind)]
    if not isinstance(value, dict):
        raise OperatorError(f"{what} is a JSON object of {', '.join(names)}")
    if unknown := set(value) - set(names):
        raise OperatorError(f"{what} has no {', '.join(sorted(unknown))}; it takes {', '.join(names)}")
    if missing := [name for name in needs if name not in value]:
        raise OperatorError(f"{what} lacks {', '.join(missing)}")
    return dict(value)


def _raise_first(faults: Sequence[str | None]) -> None:
    if fault := next((fault for fault in faults if fault is not None), None):
        raise OperatorError(fault)


def _words_fault(name: str, limit: int, value: object, lines: bool = False) -> str | None:
    if not isinstance(value, str) or not value.strip():
        return f"{name} is a text that is not empty"
    if len(value) > limit:
        return f"{name} has at most {limit} characters, not {len(value)}"
    codes = [ord(character) for character in value if not (lines and character == "\n")]
    if any(code < 32 or 0x7F <= code < 0xA0 or 0xD800 <= code < 0xE000 for code in codes):
        return f"{name} has control characters, or halves of characters"
    return None


def _row_fault(name: str, value: object) -> str | None:
    right = type(value) is int and 0 < value < 2**63
    return None if right else f"{name} is the number of a journal row"


def _fault_of(read: Callable[[object], object], value: object) -> str | None:
    try:
        read(value)
    except OperatorError as error:
        return str(error)
    return None


_NUMBERS: dict[str, Callable[[object], str | None]] = {
    "latitude_deg": partial(number_fault, "latitude_deg", "degrees", *RANGES["latitude_deg"]),
    "longitude_deg": partial(number_fault, "longitude_deg", "degrees", *RANGES["longitude_deg"]),
    "radius_95_m": partial(number_fault, "radius_95_m", *_LENGTH_M),
    "major_95_m": partial(number_fault, "major_95_m", *_LENGTH_M),
    "minor_95_m": partial(number_fault, "minor_95_m", *_LENGTH_M),
    "major_azimuth_deg": partial(number_fault, "major_azimuth_deg", "degrees", 0, 180),
}
# How each value of a find is read, and what is wrong with one.
FIND_READ: dict[str, Callable[[Any], Any]] = {
    "place": read_place,
    "drawings": partial(_read_all, read_drawing, "drawings", DRAWINGS_LIMIT),
    "photographs": partial(_read_all, read_file, "photographs", PHOTOGRAPHS_LIMIT),
}
FIND_FAULTS: dict[str, Callable[[object], str | None]] = {
    "what": partial(_words_fault, "what", NOTE_LIMIT),
    "target": partial(_words_fault, "target", NOTE_LIMIT),
    "description": partial(_words_fault, "description", DESCRIPTION_LIMIT, lines=True),
    "depth_m": partial(number_fault, "depth_m", "m", *RANGES["depth_m"]),
    "supersedes": partial(_row_fault, "supersedes"),
    "adds": partial(flag_fault, "adds"),
    **{name: partial(_fault_of, read) for name, read in FIND_READ.items()},
}
