"""The dive that a policy is tried on: an invented one, or one that a recording shows."""

from typing import Any

import numpy as np
import pytest

from relay.audit.advising.journey import HEIGHT_BY_WORD_M, SPEED_MPS, invented_journey, journey_of, turned
from relay.core.wire import WireRecord

HEADER: dict[str, Any] = {"vehicles": ["Lantern", "Moth"]}


def _tick(at_s: int, *rows: list[Any]) -> WireRecord:
    return WireRecord(1, at_s, 1, at_s, list(rows), b"")


def _row(east: float | None, north: float | None, leg: str | None = "bottom", word: str | None = None) -> list[Any]:
    return ["reporting", east, north, 100, None, word, None, leg, None, None]


def test_invented_dive_has_lines_and_a_long_way() -> None:
    """It begins at its landing, keeps its speed, works over 300 by 200 m and then goes 2 km on."""
    journey = invented_journey()
    steps = np.hypot(np.diff(journey.east_m), np.diff(journey.north_m))
    assert (journey.east_m[0], journey.north_m[0]) == (0.0, 0.0)
    assert np.median(steps) == pytest.approx(SPEED_MPS, rel=0.01) and steps.max() < 1.01 * SPEED_MPS
    assert 1_500 < journey.reach_m < 3_000
    assert 2.5 * 3600 < journey.t_s[-1] < 3.5 * 3600
    assert journey.height_m.min() >= 2.0 and journey.height_m.max() <= 6.0
    work = journey.t_s < 2_200 / SPEED_MPS
    assert np.ptp(journey.east_m[work]) > 300 and np.ptp(journey.north_m[work]) > 200


def test_recording_gives_its_track_at_the_bottom() -> None:
    """Places are metres from the first one shown at the bottom, heights what the words stand for."""
    records = [
        _tick(0, _row(5, 5, "descent")),
        _tick(60, _row(None, None)),
        _tick(75, _row(100, 200, word="near the bottom")),
        _tick(90, _row(125, 175, word="on the bottom")),
        _tick(105, _row(999, 999, "ascent")),
    ]
    journey = journey_of("dive", HEADER, records)
    assert journey.t_s.tolist() == [0, 15]
    assert journey.east_m.tolist() == [0, 25] and journey.north_m.tolist() == [0, -25]
    assert journey.height_m.tolist() == [HEIGHT_BY_WORD_M["near the bottom"], HEIGHT_BY_WORD_M["on the bottom"]]
    east, north, _ = journey.at(np.array([7.5, 900.0]))
    assert east.tolist() == [12.5, 25.0] and north.tolist() == [-12.5, -25.0]


def test_recording_of_another_vehicle() -> None:
    """The second vehicle's track is its own."""
    records = [_tick(at, _row(None, None), _row(at, 0, None)) for at in (0, 15, 30)]
    assert journey_of("dive", HEADER, records, vehicle=1).east_m.tolist() == [0, 15, 30]


@pytest.mark.parametrize("records", [[], [_tick(0, _row(1, 1))], [_tick(at, _row(None, None)) for at in range(9)]])
def test_recording_without_a_track_is_refused(records: list[WireRecord]) -> None:
    """What shows fewer than two places at the bottom is no dive to try, and says of whom."""
    with pytest.raises(ValueError, match="no track of Lantern at the bottom"):
        journey_of("dive-001.recording", HEADER, records)


def test_turning_is_clockwise_and_keeps_distances() -> None:
    """A quarter turn takes north to east."""
    east, north = turned(np.array([0.0, 3.0]), np.array([2.0, 4.0]), np.pi / 2)
    assert east == pytest.approx([2.0, 4.0]) and north == pytest.approx([0.0, -3.0])
