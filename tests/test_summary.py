"""What a dive comes to: from released records, the same whether they are read at once or as they come."""

from math import sin
from pathlib import Path

import pytest
from shapely import LineString, MultiPoint

from relay.core.errors import RecordingError
from relay.core.figures import figures
from relay.core.summary import MOST_POINTS, Gathering, VehicleNow, summary
from relay.core.wire import decode, read_recording
from released import dive, dive_with_everything, with_heads, without_heads

DEMO = Path(__file__).resolve().parents[1] / "recordings/demo-dive.recording"


def test_summary_of_a_whole_dive_agrees_with_its_records() -> None:
    """Length, deepest, last note, tracks and figures are those of the records, counted here by hand."""
    records = read_recording(DEMO.read_bytes()).records
    seen = summary(records)
    rows = [row for record in records if record.kind == 1 for row in record.body]
    assert (seen.closed, seen.length_s) == (True, records[-1].elapsed_s)
    assert seen.deepest_m == max(row[3] for row in rows if row[3] is not None)
    assert seen.note == [record.body[1] for record in records if record.kind == 2][-1]
    assert seen.figures == figures(records)
    shown = {(row[1], row[2]) for row in rows if row[1] is not None}
    assert {point for track in seen.tracks for piece in track for point in piece} == shown
    assert seen.bottom_s == sum(vehicle.bottom_s or 0 for vehicle in seen.figures.vehicles) > 0
    assert seen.distance_m == sum(vehicle.distance_m or 0 for vehicle in seen.figures.vehicles) > 0


def test_summary_on_the_way_is_that_of_the_records_so_far() -> None:
    """At every record the gathering says what reading all of them again would."""
    records = read_recording(DEMO.read_bytes()).records[:400]
    gathering = Gathering(records[0])
    for at, record in enumerate(records[1:], 2):
        gathering.take(record)
        if at % 57 == 0:
            assert gathering.summary() == summary(records[:at])


def test_tree_heads_change_no_summary_and_no_figure() -> None:
    """What the ship seals is no part of what a dive comes to."""
    for records in (read_recording(DEMO.read_bytes()).records, [decode(f.data) for f in dive_with_everything(3)]):
        assert summary(with_heads(records)) == summary(without_heads(records))


def test_summary_of_a_dive_says_what_each_vehicle_did_last() -> None:
    """A vehicle that isn't heard has no depth, one that is has what its row says."""
    records = [decode(frame.data) for frame in dive_with_everything(3)]
    assert summary(records[:2]).vehicles[0] == VehicleNow("Lantern", True, 10, None, None, None)
    assert summary(records).vehicles[0] == VehicleNow("Lantern", heard=False)
    assert summary(records).dive == 3


def test_track_breaks_where_none_is_shown_and_holds_a_cell_once() -> None:
    """Two pieces with a gap between them; standing still is one point."""
    records = [decode(frame.data) for frame in dive(1, 4)]
    records[2].body[0][1:3] = [None, None]
    records[4].body[0][1:3] = records[3].body[0][1:3] = [50, 0]
    records[1].body[0][1:3] = [0, 0]
    assert summary(records).tracks[0] == (((0, 0),), ((50, 0),))


@pytest.mark.parametrize("gap_every", [0, 5, 2])
def test_track_of_a_long_dive_is_thinned_alike_whoever_asks(gap_every: int) -> None:
    """At most so many points however long it is; ends and whereabouts stay; asking on the way changes nothing."""
    header, tick, *_ = (decode(frame.data) for frame in dive(1, 1))
    points: list[tuple[float, float]] = []
    once, often = Gathering(header), Gathering(header)
    for at in range(3 * MOST_POINTS):
        point = (at * 0.5, 30.0 * sin(at / 40))
        shown = gap_every == 0 or at % gap_every != 1
        points += [point] if shown else []
        record = tick._replace(body=[["reporting", *(point if shown else (None, None)), *tick.body[0][3:]]])
        once.take(record)
        often.take(record)
        if at % 997 == 0:
            often.summary()
    tracks = once.summary().tracks
    kept = [point for piece in tracks[0] for point in piece]
    assert tracks == often.summary().tracks
    assert MOST_POINTS // 8 < len(kept) <= MOST_POINTS
    assert set(kept) <= set(points)
    assert (kept[0], kept[-1]) == (points[0], points[-1])
    assert LineString(kept).hausdorff_distance(MultiPoint(points)) < 5.0


def test_track_within_the_limit_keeps_every_point() -> None:
    """Nothing is thinned before there is too much of it."""
    header, tick, *_ = (decode(frame.data) for frame in dive(1, 1))
    gathering = Gathering(header)
    for at in range(MOST_POINTS):
        gathering.take(tick._replace(body=[["reporting", at, 0, *tick.body[0][3:]]]))
    assert gathering.summary().tracks == ((tuple((at, 0) for at in range(MOST_POINTS)),),)


def test_records_that_begin_no_dive_are_refused() -> None:
    """A dive is gathered from its first record on."""
    with pytest.raises(RecordingError, match="doesn't begin"):
        Gathering(decode(dive(1, 2)[1].data))
