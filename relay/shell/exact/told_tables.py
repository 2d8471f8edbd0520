"""The tables of what people said and decided: annotations, targets with their uncertainty, finds, decisions."""

from collections.abc import Iterator
from typing import Any

from relay.core.find import Drawing, Find
from relay.core.find import Shape as Drawn
from relay.core.finds import FindRecord
from relay.shell.exact.exact_dives import ExactDives
from relay.shell.exact.exact_values import Decided, TargetSeen
from relay.shell.exact.shapes import Shape, ShapeKind, area_of, ellipse, point, track_of
from relay.shell.exact.tables import Choice, Clock, Row, Table, flag, moment, real, text, whole

_DIVE = whole("dive", "number of the dive; empty between dives")
_ROW = whole("journal_row", "the row of the journal; `offing prove` proves a row")
_TAKEN = (
    moment("taken", "when it was decided, by the ship's wall clock"),
    whole("embargo_us", "the same on the embargo clock", "us"),
)
_WHO = text("who", "who decided it")
_PLACE = (
    real("latitude_deg", "latitude (WGS84), north positive", "deg"),
    real("longitude_deg", "longitude (WGS84), east positive", "deg"),
)
_SPREAD = (
    real("major_95_m", "greater semi-axis of the ellipse that holds it with 95 %", "m"),
    real("minor_95_m", "lesser semi-axis of that ellipse", "m"),
    real("major_azimuth_deg", "true azimuth of the greater semi-axis, from 0 up to 180", "deg"),
    real("radius_95_m", "radius of the circle that holds it with 95 %", "m"),
)


def _annotations(dives: ExactDives, choice: Choice) -> Iterator[Row]:
    clock = Clock()
    for said in dives.annotations(choice.dive):
        if choice.takes(said.dive, said.vehicle):
            where = said.where
            shape = None if where is None else point(where.longitude_deg, where.latitude_deg)
            place = (None,) * 3 if where is None else (where.latitude_deg, where.longitude_deg, where.depth_m)
            known = (said.dive, said.row, clock(said.moment.wall_s), said.moment.embargo_us, said.text, said.vehicle)
            whom = said.who or None, said.feed, ", ".join(said.audiences) or None, said.state, said.still
            yield shape, (*known, *whom, *place)


def _targets(dives: ExactDives, choice: Choice) -> Iterator[Row]:
    clock = Clock()
    for seen in _chosen_targets(dives, choice):
        placed = seen.placed
        shape = None if placed is None else point(placed.longitude_deg, placed.latitude_deg)
        yield shape, (*_target(seen, clock), *_placed(seen))


def _chosen_targets(dives: ExactDives, choice: Choice) -> list[TargetSeen]:
    """Return all decisions on each target that any of them chooses, or a find that is chosen was placed by."""
    every = dives.targets()
    names = {seen.name for seen in every if choice.takes(seen.dive, seen.vehicle)}
    places = (record.find.place for record in chosen_finds(dives, choice))
    names.update(place.target for place in places if place is not None and place.target is not None)
    return [seen for seen in every if seen.name in names]


def _target(seen: TargetSeen, clock: Clock) -> tuple[Any, ...]:
    at = (clock(seen.moment.wall_s), seen.moment.embargo_us)
    return seen.dive, seen.row, *at, seen.who, seen.name, seen.verdict, seen.vehicle, seen.current


def _placed(seen: TargetSeen) -> tuple[Any, ...]:
    placed = seen.placed
    if placed is None:
        return (None,) * 10
    spread = placed.spread
    axes = spread.major_95_m, spread.minor_95_m, spread.major_azimuth_deg, spread.radius_95_m
    covariance = spread.east_m2, spread.north_m2, spread.east_north_m2
    return placed.latitude_deg, placed.longitude_deg, *axes, *covariance, placed.first_order


def _ellipses(dives: ExactDives, choice: Choice) -> Iterator[Row]:
    for seen in _chosen_targets(dives, choice):
        placed = seen.placed
        if placed is not None and seen.current:
            spread = placed.spread
            axes = spread.major_95_m, spread.minor_95_m, spread.major_azimuth_deg
            shape = ellipse(placed.latitude_deg, placed.longitude_deg, axes)
            yield shape, (seen.name, seen.verdict, seen.row, seen.placed_row, *axes)


def _records(dives: ExactDives, choice: Choice) -> Iterator[tuple[FindRecord, bool, int | None]]:
    """Yield the records of the finds that are chosen, whether each is the current one, and the dive it was made in."""
    current = {known.current.row for known in dives.finds}
    for record in chosen_finds(dives, choice):
        yield record, record.row in current, dives.dive_of(record.at_us)


def chosen_finds(dives: ExactDives, choice: Choice) -> list[FindRecord]:
    """Return all records of each find that any of them chooses, so that it stands there as found and as known now."""
    chosen = (
        known
        for known in dives.finds
        if any(choice.takes(dives.dive_of(record.at_us), record.find.vehicle) for record in known.records)
    )
    return sorted((record for known in chosen for record in known.records), key=lambda record: record.row)


def _find_rows(dives: ExactDives, choice: Choice, current: bool | None) -> Iterator[Row]:
    """Yield the current records of finds (True), those as found (False), or all (None)."""
    clock = Clock()
    for record, is_current, dive in _records(dives, choice):
        if current is None or (is_current if current else record.as_found):
            place = record.find.place
            shape = None if place is None else point(place.longitude_deg, place.latitude_deg)
            yield shape, _find(record, is_current, dive, clock)


def _find(record: FindRecord, current: bool, dive: int | None, clock: Clock) -> tuple[Any, ...]:
    find, place = record.find, record.find.place
    at = (clock(record.wall_s), record.at_us)
    known = (dive, record.row, *at, record.who, find.name, find.what, find.description, find.vehicle, find.depth_m)
    states = record.as_found, current, record.supersedes
    if place is None:
        return (*known, *states, *(None,) * 8)
    axes = place.major_95_m, place.minor_95_m, place.major_azimuth_deg, place.radius_95_m
    return (*known, *states, place.latitude_deg, place.longitude_deg, *axes, place.target, place.target_row)


def _find_ellipses(dives: ExactDives, choice: Choice) -> Iterator[Row]:
    for record, current, _ in _records(dives, choice):
        shape = _find_ellipse(record.find) if current else None
        if shape is not None and record.find.place is not None:
            place = record.find.place
            yield shape, (record.find.name, record.row, place.major_95_m, place.minor_95_m, place.major_azimuth_deg)


def _find_ellipse(find: Find) -> Shape | None:
    """Return the area that holds a find with 95 %: an ellipse or a circle, None where neither is known."""
    place = find.place
    if place is None:
        return None
    major_m, minor_m = place.major_95_m or place.radius_95_m, place.minor_95_m or place.radius_95_m
    if not major_m or not minor_m:
        return None
    return ellipse(place.latitude_deg, place.longitude_deg, (major_m, minor_m, place.major_azimuth_deg or 0.0))


def _drawings(dives: ExactDives, choice: Choice) -> Iterator[Row]:
    for record, current, _ in _records(dives, choice):
        for number, drawing in enumerate(record.find.drawings or (), 1):
            file = drawing.file
            told = (None,) * 3 if file is None else (file.name, file.sha256, file.octets)
            states = record.as_found, current
            yield _drawn(drawing), (record.find.name, record.row, number, str(drawing.kind), *states, *told)


def _drawn(drawing: Drawing) -> Shape | None:
    if drawing.shape is None:
        return None
    if drawing.shape is Drawn.POINT:
        return point(*drawing.points[0])
    return track_of(drawing.points) if drawing.shape is Drawn.LINE else area_of(drawing.points)


def _photographs(dives: ExactDives, choice: Choice) -> Iterator[Row]:
    for record, current, _ in _records(dives, choice):
        for file in record.find.photographs or ():
            yield None, (record.find.name, record.row, record.as_found, current, file.name, file.sha256, file.octets)


def _decisions(dives: ExactDives, choice: Choice) -> Iterator[Row]:
    clock = Clock()
    for decided in dives.decisions(choice.dive):
        if choice.vehicle is None or decided.vehicle == choice.vehicle or _is_of_all(decided):
            at = (clock(decided.moment.wall_s), decided.moment.embargo_us)
            known = (decided.dive, decided.row, *at, decided.who or None, decided.what or None)
            yield None, (*known, decided.vehicle, decided.text)


def _is_of_all(decided: Decided) -> bool:
    """Return whether a decision is about no vehicle and goes along with each: none on a zone or a guest."""
    return decided.vehicle is None and decided.what in _OF_ALL


_OF_ALL = ("begin", "end", "hold", "resume", "early", "cut", "say", "approve", "dismiss", "target", "find")
_FIND = (
    _DIVE, _ROW, *_TAKEN, _WHO,
    text("name", "what the find is called"),
    text("what", "what it is"),
    text("description", "its description"),
    text("vehicle", "the vehicle that found it"),
    real("depth_m", "its depth below the surface, positive down", "m"),
    flag("as_found", "whether this is the first record of the find, which nothing overwrites"),
    flag("current", "whether no later record supersedes this one"),
    whole("supersedes", "the journal row of the record that this one supersedes"),
    *_PLACE, *_SPREAD,
    text("target", "the target whose place was taken over"),
    whole("target_row", "the journal row of that target"),
)  # fmt: skip
_FILE = (
    text("file", "the file's name, as the crew knows it"),
    text("sha256", "SHA-256 of the file"),
    whole("octets", "its size", "B"),
)

ANNOTATIONS = Table(
    "annotations",
    "Annotations",
    "what was said at the desk and noted by stations; the point is where the vehicle was then, if that is known",
    ShapeKind.POINT,
    (
        _DIVE, _ROW,
        moment("said", "when, by the ship's wall clock"),
        whole("embargo_us", "the same on the embargo clock", "us"),
        text("text", "the words"),
        text("vehicle", "the vehicle they are about"),
        text("who", "who said it at the desk"),
        text("feed", "the feed by which a station noted it"),
        text("audiences", "for these audiences alone; empty: for all that get annotations"),
        text("state", "told; or of one that waited for approval: waits, approved, dismissed"),
        text("still_sha256", "SHA-256 of the picture's original"),
        *_PLACE,
        real("depth_m", "depth of the vehicle then, positive down", "m"),
    ),
    _annotations,
)  # fmt: skip
TARGETS = Table(
    "targets",
    "Targets",
    "each decision on a target, with where it lies by the newest sighting up to then",
    ShapeKind.POINT,
    (
        _DIVE, _ROW, *_TAKEN, _WHO,
        text("name", "what the target is called"),
        text("verdict", "unchecked, rock, modern debris, of interest or withheld"),
        text("vehicle", "the vehicle that found it"),
        flag("current", "whether no later decision is about this target"),
        *_PLACE, *_SPREAD,
        real("east_m2", "variance of its position to the east", "m2"),
        real("north_m2", "variance of its position to the north", "m2"),
        real("east_north_m2", "covariance of the two", "m2"),
        flag("first_order", "whether the ellipse is right to first order; if not, it is mostly too small"),
    ),
    _targets,
)  # fmt: skip
TARGET_ELLIPSES = Table(
    "target_ellipses",
    "Targets: 95 % ellipses",
    "the area that holds each target with 95 %, by what is known of it now",
    ShapeKind.AREAS,
    (
        text("name", "the target"),
        text("verdict", "what it was found to be"),
        _ROW,
        whole("sighting_row", "the journal row of the sighting that places it"),
        *_SPREAD[:3],
    ),
    _ellipses,
)
FINDS = Table(
    "finds",
    "Finds",
    "each find as it is known now",
    ShapeKind.POINT,
    _FIND,
    lambda dives, choice: _find_rows(dives, choice, True),
)
FINDS_AS_FOUND = Table(
    "finds_as_found",
    "Finds, as found",
    "the first record of each find, which nothing overwrites",
    ShapeKind.POINT,
    _FIND,
    lambda dives, choice: _find_rows(dives, choice, False),
)
FIND_RECORDS = Table(
    "find_records",
    "Finds: all records",
    "every record of every find, those that were superseded, too",
    ShapeKind.POINT,
    _FIND,
    lambda dives, choice: _find_rows(dives, choice, None),
)
FIND_ELLIPSES = Table(
    "find_ellipses",
    "Finds: 95 % areas",
    "the area that holds each find with 95 %, where its uncertainty is known",
    ShapeKind.AREAS,
    (text("name", "the find"), _ROW, *_SPREAD[:3]),
    _find_ellipses,
)
DRAWINGS = Table(
    "find_drawings",
    "Finds: drawings",
    "drawings of finds: points, lines and areas on the Earth, or files by reference",
    ShapeKind.AREAS,
    (
        text("name", "the find"), _ROW,
        whole("number", "which drawing of the record"),
        text("kind", "outline, section or plan"),
        flag("as_found", "whether it is of the first record of the find"),
        flag("current", "whether it is of the record that holds now"),
        *_FILE,
    ),
    _drawings,
    mixed=True,
)  # fmt: skip
PHOTOGRAPHS = Table(
    "find_photographs",
    "Finds: photographs",
    "photographs of finds, by reference",
    None,
    (
        text("name", "the find"), _ROW,
        flag("as_found", "whether it is of the first record of the find"),
        flag("current", "whether it is of the record that holds now"),
        *_FILE,
    ),
    _photographs,
)  # fmt: skip
DECISIONS = Table(
    "decisions",
    "Decisions",
    "every decision of the operators, word for word as it is in the journal",
    None,
    (
        _DIVE, _ROW, *_TAKEN, _WHO,
        text("what", "which decision; empty: a row that is none"),
        text("vehicle", "the vehicle that it is about"),
        text("row_text", "the row of the journal, JSON"),
    ),
    _decisions,
)  # fmt: skip
TOLD = (
    ANNOTATIONS, TARGETS, TARGET_ELLIPSES, FINDS, FINDS_AS_FOUND, FIND_RECORDS, FIND_ELLIPSES, DRAWINGS,
    PHOTOGRAPHS, DECISIONS,
)  # fmt: skip
