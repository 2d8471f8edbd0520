"""Moments of change undo cells: on a public grid to the place itself, in Offing's frame to a finer track alone."""

import math

import pytest

from audited import Point, apart, case_of, in_frame, lay_public_grid, on_earth, recorded, shows, step
from relay.audit.attacks.attack import Dive
from relay.audit.attacks.cell_edges import CellEdges, cells_of, longest_course
from relay.audit.attacks.shown_track import tracks_of
from relay.core import release
from relay.core.disclosure import Report
from relay.core.policy import Place
from relay.core.quantise import SLACK

EVERY_S = 10


def winding(number: int) -> Point:
    """Return where a vehicle is at a step of a winding run of an hour and a half at about 0.8 m/s, metres."""
    t = number * EVERY_S
    return 0.55 * t + 150 * math.sin(t / 900), 0.5 * t - 120 * math.cos(t / 700)


def run_of(cell_m: float, steps: int = 540) -> Dive:
    """Return the recording of the winding run in cells of a size."""
    walked = [step(*winding(number)) for number in range(steps)]
    return recorded(walked, shows(cell_m=cell_m, tick_us=10_000_000), every_s=EVERY_S)


def truth_at(elapsed_s: float) -> Point:
    """Return where on the Earth the vehicle was at a moment of dive time: reports and ticks are ten seconds apart."""
    return on_earth(*winding(round(elapsed_s / EVERY_S)))


def test_cells_of_a_public_grid_are_undone(monkeypatch: pytest.MonkeyPatch) -> None:
    """With cells of 250 m in a UTM zone, it finds the place within 50 m, without being told which grid it is."""
    lay_public_grid(monkeypatch)
    found = CellEdges().play(case_of(run_of(250.0)))
    assert found.place is not None and found.leaks
    assert apart(found.place, truth_at(found.facts["place_at_s"])) < 50
    assert found.log_likelihood is not None


def test_rounded_degrees_are_undone(monkeypatch: pytest.MonkeyPatch) -> None:
    """With latitude and longitude rounded to 0.005 degrees beside the track, it finds the place within 50 m."""

    def rounded(report: Report) -> list[float | None]:
        return [None, None] if report.position is None else [round(value / 0.005) * 0.005 for value in report.position]

    monkeypatch.setattr(release, "_exact", rounded)
    walked = [step(*winding(number)) for number in range(540)]
    shown = shows(cell_m=500.0, tick_us=10_000_000, place=Place.EXACT)
    found = CellEdges().play(case_of(recorded(walked, shown, every_s=EVERY_S)))
    assert found.place is not None and found.facts["cell_m"] > 400
    assert apart(found.place, truth_at(found.facts["place_at_s"])) < 50


def test_cells_of_the_secret_frame_give_a_finer_track_and_no_place() -> None:
    """What Offing releases gives no place on the Earth; within the frame the true track is as near as it says."""
    dive = run_of(100.0)
    found = CellEdges().play(case_of(dive))
    assert found.worked and found.place is None and found.log_likelihood is None and not found.leaks
    assert found.facts["known_to_m"] < 5
    (track, _) = tracks_of(dive)
    course = longest_course(track, (100.0, 100.0), SLACK)
    assert course is not None
    errors = []
    for at in range(course.first, course.last):
        there = winding(round(float(track.elapsed_s[course.begin + at]) / EVERY_S))
        truth = in_frame(there[0] - winding(0)[0], there[1] - winding(0)[1])
        errors.append(math.dist(course.points[at], truth))
    assert sorted(errors)[len(errors) // 2] < 5


def test_cells_that_hardly_change_are_nothing_to_work_on() -> None:
    """A vehicle that stays in its cell gives no moments; the attack says so."""
    found = CellEdges().play(case_of(recorded([step(1, 1)] * 40)))
    assert not found.worked and "Nothing to work on" in found.words


def test_cells_are_found_from_the_places_alone() -> None:
    """The step of a grid is read off the places, without the header's word."""
    track = tracks_of(run_of(40.0, 120))[0]
    assert cells_of(track) == pytest.approx((40.0, 40.0))
