"""The records of finds in a dive's exact report: each with its row, its place, its files and what was drawn of it.

Rules: exact and private; a function of the records. Every record is told by its journal row, so that what supersedes
it can be followed, and shown to somebody (`offing prove`). Degrees are WGS84, latitude first.
"""

from collections.abc import Iterator

from relay.core.find import Drawing
from relay.core.finds import FindRecord
from relay.shell.report.report_drawing import metres

MOST_POINTS = 24


def degrees(latitude_deg: float, longitude_deg: float) -> str:
    """Return a position in words, to 7 digits: a centimetre."""
    return f"{latitude_deg:.7f}°, {longitude_deg:.7f}°".replace("-", "−")


def find_row(record: FindRecord, utc: str) -> tuple[str, ...]:
    """Return the row of a record: find, which record, what, when, by whom, where, files and drawings."""
    find = record.find
    stands = "as found" if record.as_found else f"supersedes row {record.supersedes}"
    what = ". ".join(text for text in (find.what, find.description) if text)
    files = [f"{file.name} (SHA-256 {file.sha256})" for file in find.photographs or ()]
    drawn = [_drawing(drawing) for drawing in find.drawings or ()]
    return find.name, f"row {record.row}, {stands}", what, utc, record.who, _where(record), "; ".join([*files, *drawn])


def _where(record: FindRecord) -> str:
    return ", ".join(_place(record))


def _place(record: FindRecord) -> Iterator[str]:
    place, depth_m = record.find.place, record.find.depth_m
    if place is not None:
        yield degrees(place.latitude_deg, place.longitude_deg)
        if place.radius_95_m is not None:
            yield f"within {place.radius_95_m:,.1f} m"
    if depth_m is not None:
        yield f"{metres(depth_m)} deep"


def _drawing(drawing: Drawing) -> str:
    """Return a drawing in words: its file, or its points; of more than MOST_POINTS the corners that hold them."""
    if drawing.file is not None:
        return f"{drawing.kind}: {drawing.file.name} (SHA-256 {drawing.file.sha256})"
    points = drawing.points
    if len(points) <= MOST_POINTS:
        return f"{drawing.kind}, {drawing.shape}: {' / '.join(degrees(lat, lon) for lon, lat in points)}"
    lons, lats = zip(*points, strict=True)
    south_west, north_east = degrees(min(lats), min(lons)), degrees(max(lats), max(lons))
    return f"{drawing.kind}, {drawing.shape} of {len(points)} points, from {south_west} to {north_east}"
