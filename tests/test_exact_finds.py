"""A find's row of the exact report: its own journal row, its place, and whatever was drawn of it."""

from relay.core.find import Drawing, Drawn, FileReference, Find, FindPlace, Shape
from relay.core.finds import FindRecord
from relay.shell.report.exact_finds import MOST_POINTS, degrees, find_row

RING = ((-22.0, -30.0), (-21.5, -30.0), (-21.5, -30.5), (-22.0, -30.0))


def row(*drawings: Drawing, supersedes: int | None = None) -> tuple[str, ...]:
    """Return the row of a find with these drawings."""
    place = FindPlace(latitude_deg=-30.0, longitude_deg=-22.0, radius_95_m=12.55)
    find = Find(name="Bell", what="a bell", description="Bronze", place=place, depth_m=1_103.0, drawings=drawings)
    record = FindRecord(row=7, at_us=0, wall_s=0.0, who="Ines", find=find, supersedes=supersedes)
    return find_row(record, "00:00:00")


def line_of(count: int) -> Drawing:
    """Return a plan of so many points."""
    return Drawing(kind=Drawn.PLAN, shape=Shape.LINE, points=tuple((-22.0 + at / 8, -30.0) for at in range(count)))


def test_a_record_is_told_by_its_row() -> None:
    """What supersedes it can be followed: its own row, and the one that it supersedes."""
    assert "row 7, as found" == row()[1]
    assert "row 7, supersedes row 3" == row(supersedes=3)[1]


def test_place_and_depth_stand_together() -> None:
    """Latitude first, the radius, the depth."""
    assert "−30.0000000°, −22.0000000°, within 12.6 m, 1103 m deep" == row()[5].replace("1,103", "1103")
    assert ("Bell", "a bell. Bronze", "00:00:00", "Ines") == (row()[0], *row()[2:5])


def test_points_of_an_outline_are_told() -> None:
    """Each point, latitude first, though a drawing keeps longitude first (RFC 7946)."""
    told = row(Drawing(kind=Drawn.OUTLINE, shape=Shape.AREA, points=RING))[6]
    assert told.startswith("outline, area: −30.0000000°, −22.0000000° / −30.0000000°, −21.5000000° / ")
    assert len(RING) == len(told.split(" / "))


def test_long_drawing_is_told_by_its_corners() -> None:
    """All points at the limit, from one past it the corners that hold them."""
    assert MOST_POINTS == len(row(line_of(MOST_POINTS))[6].split(" / "))
    told = row(line_of(MOST_POINTS + 1))[6]
    east = degrees(-30.0, -22.0 + MOST_POINTS / 8)
    assert f"plan, line of {MOST_POINTS + 1} points, from −30.0000000°, −22.0000000° to {east}" == told


def test_file_of_a_drawing_is_told_by_its_digest() -> None:
    """Name and SHA-256, as with photographs."""
    file = FileReference("bell.svg", "cd" * 32, 10)
    assert f"section: bell.svg (SHA-256 {'cd' * 32})" == row(Drawing(kind=Drawn.SECTION, file=file))[6]
