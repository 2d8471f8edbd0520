"""Tracks for drawing: few points, all of them reports, and every report near the line; wild fixes set aside."""

import math
import random
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core.kept_track import FixGate, KeptTrack, TrackSpot

SECOND = 1_000_000


def mown(reports: int, every_s: float = 0.1, noise_m: float = 0.0, seed: int = 1) -> list[TrackSpot]:
    """Return an invented survey at 1 m/s: lines of 900 m to and fro, 100 m apart, over a seabed that falls off."""
    dice = random.Random(seed)
    spots = []
    for at in range(reports):
        run, along = divmod(at * every_s, 1_000.0)
        east = min(along, 900.0) if run % 2 == 0 else 900.0 - min(along, 900.0)
        north = 100.0 * run + max(0.0, along - 900.0)
        noise = [dice.gauss(0, noise_m) if noise_m else 0.0 for _ in range(3)]
        depth = 1_000.0 + 0.01 * east + 5.0 * math.sin(north / 300.0)
        spots.append(TrackSpot(round(at * every_s * SECOND), east + noise[0], north + noise[1], depth + noise[2]))
    return spots


def furthest_off(points: list[TrackSpot], reports: list[TrackSpot]) -> float:
    """Return how far any report lies off the line at its own moment, in the worst coordinate; by numpy's interp."""
    moments = [point.at_us for point in points]
    told = [report.at_us for report in reports]
    return max(
        float(np.abs(np.interp(told, moments, [p[axis] for p in points]) - [r[axis] for r in reports]).max())
        for axis in (1, 2, 3)
    )


@pytest.mark.parametrize(("noise_m", "off_m"), [(0.0, 1.0), (1.5, 20.0)])
def test_track_of_a_day_is_few_points_near_every_report(noise_m: float, off_m: float) -> None:
    """Eight hours are 600 points at most, and none of the reports, one a second, lies further off than is told.

    The distances are numpy's, from the points alone. Work is counted: one step a report, and `most` steps
    for each of the few doublings.
    """
    reports = mown(28_800, 1.0, noise_m)
    track, most_steps = KeptTrack(), 0
    for at, report in enumerate(reports):
        before = track.steps
        track.take(report)
        most_steps = max(most_steps, track.steps - before)
        assert at % 1_000 or len(track.points()) <= 600
    points = track.points()
    assert len(points) <= 600
    assert (points[0], points[-1]) == (reports[0], reports[-1])
    assert set(points) <= set(reports)
    assert furthest_off(points, reports) <= min(track.error_m + 1e-6, off_m)
    doublings = math.log2((track.error_m + 0.25) / 0.5)
    assert track.steps <= len(reports) + 601 * doublings
    assert most_steps <= 1 + 601 * doublings


@given(
    st.lists(
        st.tuples(st.integers(1, 100), *[st.floats(-1e4, 1e4, allow_nan=False, width=32)] * 3), min_size=1, max_size=120
    ),
    st.integers(3, 30),
)
def test_any_track_keeps_its_bounds(steps: list[tuple[int, float, float, float]], most: int) -> None:
    """Whatever comes: at most so many points, first and newest among them, in their order, each within the error."""
    track, reports, at_us = KeptTrack(most=most), list[TrackSpot](), 0
    for step, *metres in steps:
        at_us += step * SECOND
        reports.append(TrackSpot(at_us, *metres))
        track.take(reports[-1])
        assert len(track.points()) <= most
    points = track.points()
    assert (points[0], points[-1]) == (reports[0], reports[-1])
    assert all(before.at_us < after.at_us for before, after in pairwise(points))
    if len(points) > 1:
        assert furthest_off(points, reports) <= track.error_m * (1 + 1e-6) + 1e-6


def test_track_kept_over_a_restart_goes_on() -> None:
    """What is saved and restored half-way has the same bounds as what went through."""
    reports = mown(40_000, every_s=0.5, noise_m=0.5)
    first = KeptTrack()
    for report in reports[:20_000]:
        first.take(report)
    second = KeptTrack.restored(first.saved())
    assert (second.points(), second.error_m) == (first.points(), first.error_m)
    for report in reports[20_000:]:
        second.take(report)
    assert len(second.points()) <= 600
    assert furthest_off(second.points(), reports) <= second.error_m + 1e-6


def test_report_that_is_no_newer_changes_nothing() -> None:
    """Two reports of one moment would divide by nothing."""
    track = KeptTrack()
    for at_us in (0, 5, 5, 3):
        track.take(TrackSpot(at_us, float(at_us), 0.0, 0.0))
    assert [spot.at_us for spot in track.points()] == [0, 5]


def passed(metres: list[float], every_s: float = 1.0) -> list[float]:
    """Return what of some metres east, reported so often, the gate lets through."""
    gate = FixGate[None]()
    spots = (TrackSpot(round(at * every_s * SECOND), east, 0.0, 0.0) for at, east in enumerate(metres))
    return [spot.east_m for one in spots for spot, _ in gate.take(one, None)]


def test_wild_fix_is_set_aside() -> None:
    """One fix kilometres off is neither the first of a track nor in the middle of it."""
    assert passed([0, 1, 2, 9_000, 4, 5]) == [0, 1, 2, 4, 5]
    assert passed([9_000, 0, 1, 2]) == [0, 1, 2]


def test_move_that_the_next_fix_bears_out_is_believed() -> None:
    """A vehicle that was carried elsewhere is there with the second fix, and nothing of it is lost."""
    assert passed([0, 1, 9_000, 9_001, 9_002]) == [0, 1, 9_000, 9_001, 9_002]


def test_limit_of_what_can_be_reached() -> None:
    """In a second 15 m, and 50 m of noise; the longer nothing was heard, the further off it may be."""
    assert passed([0, 1, 66]) == [0, 1, 66]
    assert passed([0, 1, 66.1]) == [0, 1]
    assert passed([0, 1, 2_751], every_s=180.0) == [0, 1, 2_751]
    assert passed([0, 1, 2_751.1], every_s=180.0) == [0, 1]


def straight(*spans: tuple[int, int, int]) -> KeptTrack:
    """Return the track of one straight line at 1 m/s, reported from a second to another, each so many seconds."""
    track = KeptTrack()
    for begin_s, end_s, every_s in spans:
        for at in range(begin_s, end_s, every_s):
            track.take(TrackSpot(at * SECOND, float(at), 0.0, 900.0))
    return track


def breaks(track: KeptTrack) -> list[tuple[int, int]]:
    """Return between which seconds a track is broken."""
    line = track.broken()
    moments = [None if spot is None else spot.at_us // SECOND for spot in line]
    return [(moments[i - 1], moments[i + 1]) for i, at in enumerate(moments) if at is None]  # type: ignore[misc]


def test_straight_line_is_whole_and_a_silence_on_it_breaks_it() -> None:
    """Ten minutes of reports on a straight line are two points and no break; four minutes without one are a break."""
    whole = straight((0, 600, 1))
    assert ([spot.at_us // SECOND for spot in whole.points()], breaks(whole)) == ([0, 599], [])
    assert breaks(straight((0, 600, 1), (840, 1200, 1))) == [(599, 840)]
    assert breaks(straight((0, 600, 1), (650, 1200, 1))) == []


def test_vehicle_that_reports_each_three_minutes_is_not_silent_in_between() -> None:
    """What counts is its own beat (as for the alarm of a silent vehicle), over a restart as well."""
    slow = straight((0, 3600, 180))
    assert breaks(slow) == [(0, 180)]  # nothing told yet that this is its beat
    again = KeptTrack.restored(slow.saved())
    for at in (3600, 3780, 7000):
        again.take(TrackSpot(at * SECOND, float(at), 0.0, 900.0))
    assert breaks(again) == [(0, 180), (3780, 7000)]


def test_silences_survive_thinning_and_are_bounded() -> None:
    """With room for twelve points the three longest of many silences are told, each between its own two reports."""
    track, at_us = KeptTrack(most=12), 0
    told = []
    for leg in range(30):
        for _ in range(20):
            at_us += SECOND
            track.take(TrackSpot(at_us, math.sin(at_us / 7e6) * 300, at_us / 1e6, 0.0))
        quiet_s = 100 + (leg * 7) % 30
        told.append((quiet_s, at_us // SECOND))
        at_us += quiet_s * SECOND
    longest = sorted(told[:-1])[-3:]
    assert breaks(track) == sorted((since, since + quiet + 1) for quiet, since in longest)
    assert len(track.points()) <= 12
