"""From recordings to soundings: true ones, few, the most telling; what differs grossly is left out.

Outside: the published track of a glider (data set `glider-shelf`), whose README says how deep the water is wherever it
had an echo; released by the very pipeline of a ship.
"""

from dataclasses import replace
from itertools import pairwise
from math import hypot, sin
from pathlib import Path

import numpy as np
import pytest

from relay.audit.attacks.attack import Dive
from relay.audit.matching.evidence import Soundings
from relay.audit.matching.soundings_of import parts_told, soundings_by_dive, soundings_of, soundings_of_exact
from relay.core.policy import Disclosed, Leg, Place, Policy
from relay.shell.plan.expedition import parse_expedition
from relay.shell.record.secrets_file import seeded_secrets
from relay.shell.released.recording import load_recording
from relay.shell.ship.rehearse import rehearse
from told_dives import SECOND, Moment, course_over, in_frame, policy_of, told_dive
from tracks_to_station_lines import convert, read_rows

ALL = frozenset(Disclosed)
FUNDERS = {
    "audience": "funders", "tick_us": 5 * SECOND, "cell_m": 10.0, "depth_step_m": 10.0, "descent_step_m": None,
    "track_legs": frozenset({Leg.BOTTOM}), "track_start_m": 50.0, "track_start_us": 300 * SECOND,
}  # fmt: skip
PUBLIC = {
    "track_legs": frozenset({Leg.BOTTOM}), "track_start_m": 100.0, "track_start_us": 600 * SECOND, "radius_m": 1_500.0,
}  # fmt: skip


def sloping(east_m: float, north_m: float) -> float:
    """Return the depth of an invented seabed, metres: gentle, with a long slope."""
    return 300 + 0.03 * east_m + 6 * sin(east_m / 400) + 5 * sin(north_m / 300 + 1)


def told(policy: Policy, seed: int, **more: float) -> tuple[list[Moment], Dive]:
    """Return an invented course and the dive that an outsider has of it."""
    course = course_over(sloping, seed, tick_s=policy.tick_us / SECOND, **more)
    return course, told_dive(policy, course)


def seabed_about(course: list[Moment], soundings: Soundings, at: int) -> list[float]:
    """Return how deep the seabed is wherever the vehicle was within a sounding's reach of its place."""
    reach_m = float(soundings.spread_m[at]) + 80
    place = soundings.east_m[at], soundings.north_m[at]
    near = (moment for moment in course if hypot(*np.subtract(in_frame(moment), place)) <= reach_m)
    return [sloping(moment.east_m, moment.north_m) for moment in near]


@pytest.mark.parametrize("changes", [PUBLIC, FUNDERS, {"depth_step_m": 0.1, "descent_step_m": None, "cell_m": 1.0}])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_soundings_hold_the_seabed(changes: dict[str, object], seed: int) -> None:
    """Of every preset's kind, each sounding's depths hold the seabed somewhere about its place."""
    course, dive = told(policy_of(**changes), seed, bottom_s=1_500)
    found = soundings_of([dive])
    assert found is not None
    assert 3 <= len(found) <= 24
    assert not found.relative
    for at in range(len(found)):
        seabed_m = seabed_about(course, found, at)
        assert min(seabed_m) - 0.5 <= found.deepest_m[at]
        assert max(seabed_m) + 0.5 >= found.shallowest_m[at]


def test_widths_are_what_was_told() -> None:
    """A sounding leaves open what its step and its heights leave open, so that it can be played again."""
    _, dive = told(policy_of(**FUNDERS), 4, bottom_s=1_500)
    found = soundings_of([dive])
    assert found is not None
    bounded = np.isfinite(found.deepest_m)
    open_m = found.step_m + found.most_height_m - found.least_height_m
    assert open_m[bounded] == pytest.approx((found.deepest_m - found.shallowest_m)[bounded])
    again = found.observed_over(np.full(len(found), 300.0), np.random.default_rng(1))
    assert (again.deepest_m - again.shallowest_m)[bounded] == pytest.approx(open_m[bounded])


def test_touchdown_without_a_place_is_spread_to_the_first_shown_cell() -> None:
    """The public track begins later; the descent's fine depth still counts, as far off as the vehicle can have gone."""
    course, dive = told(policy_of(**PUBLIC), 5)
    found = soundings_of([dive], most=100)
    assert found is not None
    arrived = next(now for before, now in pairwise(course) if before.altitude_m and before.altitude_m > 15)
    touchdown = next(m for m in course if m.altitude_m is not None and m.altitude_m <= 15)
    assert arrived.at_s <= touchdown.at_s
    spread = np.flatnonzero(found.spread_m > 100)
    assert len(spread) >= 1
    apart_m = [hypot(found.east_m[at] - in_frame(touchdown)[0], found.north_m[at] - in_frame(touchdown)[1])
               for at in spread]  # fmt: skip
    narrowest = min(spread, key=lambda at: found.deepest_m[at] - found.shallowest_m[at])
    assert found.deepest_m[narrowest] - found.shallowest_m[narrowest] < 50
    assert min(apart_m) <= found.spread_m[spread].max()


def test_dives_of_a_site_are_taken_together() -> None:
    """Two dives share the frame of their site: together they tell at least the places that either told."""
    policy = policy_of(**FUNDERS)
    dives = [told(policy, seed, bottom_s=1_200)[1] for seed in (6, 7)]
    together = soundings_of(dives, most=500)
    each = soundings_by_dive(dives, most=500)
    assert together is not None
    assert len(each) == 2
    assert max(len(one) for one in each) < len(together) <= sum(len(one) for one in each)


def test_few_are_kept_and_far_apart() -> None:
    """At most as many as asked for, the outermost among them, none twice."""
    _, dive = told(policy_of(**FUNDERS), 8, bottom_s=3_000)
    every, few = soundings_of([dive], most=1_000), soundings_of([dive], most=12)
    assert every is not None
    assert few is not None
    assert len(few) == 12 < len(every)
    assert len(set(zip(few.east_m, few.north_m, few.shallowest_m, strict=True))) == 12

    def extent(found: Soundings) -> float:
        return float(np.ptp(found.east_m) + np.ptp(found.north_m))

    assert extent(few) > 0.7 * extent(every)


def test_relative_depths_count_from_the_touchdown() -> None:
    """Relative depths give relative soundings, by vehicle and dive, the touchdown among them."""
    _, dive = told(policy_of(**FUNDERS | {"depth_relative": True, "depth_step_m": 5.0}), 9, bottom_s=1_500)
    (found,) = soundings_by_dive([dive])
    assert found.relative
    assert len(found) >= 3
    assert np.abs(found.shallowest_m[np.isfinite(found.shallowest_m)]).max() < 60
    assert soundings_of([dive]) is not None


def test_a_dive_that_never_came_down_says_how_deep_it_is_at_least() -> None:
    """Mid-water at 160 m, without a place: the seabed lies deeper than that, and more isn't known."""
    course = [Moment(15.0 * at, 0.0, 0.0, min(8.0 * at, 160.0), 400.0 - min(8.0 * at, 160.0)) for at in range(60)]
    found = soundings_of([told_dive(policy_of(**PUBLIC), course)])
    assert found is not None and len(found) == 1
    assert 120.0 < found.shallowest_m[0] <= 400.0
    assert found.deepest_m[0] == np.inf


def test_nothing_told_is_thrown_away_for_being_told_otherwise() -> None:
    """Absolute depths are one part, each relative dive another: a tick more of one takes nothing of the other away."""
    relative = policy_of(**FUNDERS, depth_relative=True)
    one, other = (told(relative, seed, bottom_s=1_500)[1] for seed in (1, 2))
    absolute = told(policy_of(**PUBLIC), 3, bottom_s=900)[1]
    alone = parts_told([one])
    assert [True] == [part.relative for part in alone]
    both = parts_told([one, other])
    assert [True, True] == [part.relative for part in both]
    assert sum(map(len, both)) > len(alone[0]) / 2 + 5
    mixed = parts_told([one, absolute, other])
    assert [False, True, True] == [part.relative for part in mixed]
    assert () == parts_told([])


def test_dive_without_places_tells_one_depth() -> None:
    """An audience that sees the declared area alone still learns how deep it is where the vehicle was, once."""
    course, dive = told(policy_of(**FUNDERS | {"place": Place.AREA}), 10, bottom_s=1_500)
    found = soundings_of([dive])
    assert found is not None
    assert len(found) == 1
    assert (found.east_m[0], found.spread_m[0]) == (0.0, 0.0)
    bottom = [moment for moment in course if moment.altitude_m is not None and moment.altitude_m <= 15]
    seabed_m = [sloping(moment.east_m, moment.north_m) for moment in bottom]
    assert min(seabed_m) <= found.deepest_m[0]
    assert max(seabed_m) >= found.shallowest_m[0]


def test_nothing_told_is_nothing_found() -> None:
    """Without depth, or without a dive, there are no soundings."""
    _, dive = told(policy_of(**FUNDERS | {"fields": ALL - {Disclosed.DEPTH}}), 1, bottom_s=60)
    assert soundings_of([dive]) is None
    assert soundings_by_dive([dive]) == ()
    assert soundings_of([]) is None


def test_exact_track_gives_exact_soundings_without_its_outliers() -> None:
    """A release that nothing protects tells the seabed to the metre; a false echo and gaps don't change that."""
    course = course_over(sloping, 11, tick_s=5.0, bottom_s=1_800)
    columns = np.array(
        [(m.at_s, m.east_m, m.north_m, m.depth_m, np.nan if m.altitude_m is None else m.altitude_m) for m in course]
    ).T
    columns[4][columns[4] > 30] = np.nan
    columns[4][::40] = 0.0
    columns[1:3, 1::3] = np.nan
    found = soundings_of_exact(*columns, most=40)
    assert found is not None
    assert found.turned
    expected = [sloping(east, north) for east, north in zip(found.east_m, found.north_m, strict=True)]
    assert (found.shallowest_m + found.deepest_m) / 2 == pytest.approx(expected, abs=3.0)
    assert np.all(found.deepest_m - found.shallowest_m <= 1.0 + 1e-9)
    north_up = soundings_of_exact(*columns, turned=False)
    assert north_up is not None
    assert not north_up.turned
    assert soundings_of_exact(*columns[:4], np.full(columns.shape[1], np.nan)) is None


def test_released_glider_holds_the_published_depth_of_its_water(shared_data: Path, tmp_path: Path) -> None:
    """Depth and altitude of `glider-shelf` add up to 143.9 to 148.3 m (its README): its soundings agree, by preset."""
    source = shared_data / "glider-shelf" / "track.csv.gz"
    exact = [row for row in read_rows(source) if row["depth_m"] and row["altitude_m"]]
    seabed_m = [float(row["depth_m"]) + float(row["altitude_m"]) for row in exact]
    assert (min(seabed_m), max(seabed_m)) == pytest.approx((143.9, 148.3), abs=0.05)
    convert(source, tmp_path / "track.jsonl", "Moth")
    plan = parse_expedition(PRESETS, Path("EXPEDITION.toml")).plan
    rehearse(plan, seeded_secrets(1), [str(tmp_path / "track.jsonl")], tmp_path / "out")
    for audience, most_m in (("public", 60.0), ("funders", 45.0)):
        recordings = [load_recording(path) for path in sorted((tmp_path / "out/released" / audience).iterdir())]
        dives = [Dive(audience, recording.header, recording.records) for recording in recordings]
        found = soundings_of(dives)
        assert found is not None
        assert np.all(found.shallowest_m <= min(seabed_m))
        assert np.all(found.deepest_m >= max(seabed_m))
        assert (found.deepest_m - found.shallowest_m).min() < most_m


PRESETS = """\
[expedition]
name = "The search for the Isoline Marr"
ship = "Harrow Tern"

[[vehicle]]
name = "Moth"

[[feed]]
name = "station"
format = "station-json"
from = "tcp-listen://127.0.0.1:4010"

[[audience]]
name = "public"
preset = "public"

[[audience]]
name = "funders"
preset = "funders"
"""


def test_audiences_are_read_by_their_own_headers() -> None:
    """What one audience was told in fine steps isn't read with another's coarse ones."""
    course, fine = told(policy_of(**FUNDERS), 12, bottom_s=1_500)
    coarse = told_dive(policy_of(**PUBLIC | {"tick_us": 5 * SECOND}), course)
    found = [soundings_of(dives, most=200) for dives in ([coarse, replace(fine, name="other")], [fine], [coarse])]
    together_m, fine_m, coarse_m = (
        float(np.median((one.deepest_m - one.shallowest_m)[np.isfinite(one.deepest_m)])) for one in found if one
    )
    assert together_m < 1.5 * fine_m < 0.75 * coarse_m
