"""A frame laid on the Earth by coarse cells: turn and place are found, by geographiclib's measure."""

import math

import numpy as np
import pytest

from audited import apart, chart_about, in_frame, on_earth, recorded
from relay.audit.attacks.attack import Dive
from relay.audit.attacks.earth_tied import earth_tied
from relay.audit.attacks.frame_on_earth import Row, bounds_of_told, laid, smallest
from relay.audit.attacks.shown_track import ShownTrack, tracks_of
from told_besides import beyond_the_row, exact_place, in_cells_of, survey


def dive(seconds: int = 3_000) -> Dive:
    """Return a survey as it was recorded."""
    return recorded(survey(seconds), every_s=4)


def track() -> ShownTrack:
    """Return what Offing shows of a survey."""
    return tracks_of(dive())[0]


def test_told_cells_are_as_wide_as_their_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    """Positions in steps of 0.005 degrees are cells of 557 m by 435 m at 38.6 S (geographiclib); exact ones of none."""
    beyond_the_row(monkeypatch, in_cells_of(0.005))
    told = tracks_of(dive())[0]
    tied = earth_tied(told, chart_about())
    assert tied is not None
    bounds = bounds_of_told(tied)
    there = np.nanmedian(bounds.latitude_deg), np.nanmedian(bounds.longitude_deg)
    wide = apart(there, (there[0], there[1] + 0.005)), apart(there, (there[0] + 0.005, there[1]))
    assert 2 * bounds.half_m == pytest.approx(wide, rel=0.02)
    monkeypatch.undo()
    beyond_the_row(monkeypatch, exact_place)
    tied = earth_tied(tracks_of(dive(200))[0], chart_about())
    assert tied is not None and bounds_of_told(tied).half_m.max() <= 1.0
    place, within_m = smallest([bounds, bounds_of_told(tied)])
    assert within_m < 2 and apart(place, on_earth(0, 0)) < 50


def test_frame_is_laid_by_cells_of_hundreds_of_metres() -> None:
    """Cells of 600 m, told at every tick, lay the first place shown to within 50 m, and the error is as claimed."""
    shown = track()
    there = [on_earth(*back(point)) for point in shown.points[shown.placed]]
    step = 0.006
    ticks = np.flatnonzero(shown.placed)
    latitude, longitude = (np.round(np.array(column) / step) * step for column in zip(*there, strict=True))
    half = np.array([apart((-38.6, 0), (-38.6, step)) / 2, apart((-38.6, 0), (-38.6 + step, 0)) / 2])
    found = laid([Row(ticks, latitude, longitude, half)], shown)
    assert found is not None
    place, within_m = found
    assert apart(place, there[0]) < min(50.0, 3 * within_m)


def back(point: np.ndarray) -> tuple[float, float]:
    """Return metres about the first fix of a point of the frame: the secrets undone by a search over one turn."""
    origin = np.array(in_frame(0.0, 0.0))
    east = np.array(in_frame(1.0, 0.0)) - origin
    north = np.array(in_frame(0.0, 1.0)) - origin
    metres = np.linalg.solve(np.column_stack([east, north]), np.asarray(point) - origin)
    return float(metres[0]), float(metres[1])


def test_single_tick_lays_the_frame_to_its_cell() -> None:
    """One tick leaves the turn open and the place as wide as its cell; none leaves nothing."""
    shown = track()
    first = int(np.flatnonzero(shown.placed)[0])
    half = np.array([200.0, 300.0])
    found = laid([Row(np.array([first]), np.array([-38.6]), np.array([-21.9]), half)], shown)
    assert found is not None and found[1] == pytest.approx(math.hypot(200, 300) / math.sqrt(3), rel=0.15)
    assert apart(found[0], (-38.6, -21.9)) < 1
    assert laid([], shown) is None
