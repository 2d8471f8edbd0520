"""What an audience may see of a vehicle: steps with hysteresis, deny by default, doubt stays out."""

from dataclasses import replace

import pytest
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st

from relay.core.area import HiddenDisc, ZoneAction
from relay.core.disclosure import AltitudeWords, DepthSteps, Disclosure, Ground, Report
from relay.core.fuse import VehicleState
from relay.core.geodesy import Anchor, SiteFrame
from relay.core.model import Mode, Observation
from relay.core.policy import Disclosed, Leg, Place, Plan, Policy
from relay.core.quantise import Step
from relay.core.release import ReleaseLog
from relay.core.secrets import Secrets
from relay.core.wire import encode

SECOND = 1_000_000
ANCHOR = Anchor(-41.2, 17.5, 0)
FRAME = SiteFrame(ANCHOR, Secrets(bytes(range(32))))
GROUND = Ground(FRAME)


def policy_of(*fields: Disclosed, legs: frozenset[Leg] = frozenset(Leg)) -> Policy:
    """Return a policy that names just these fields."""
    return Policy(audience="public", delay_us=0, extra_us=0, tick_us=SECOND, fields=frozenset(fields), cell_m=25.0,
                  depth_step_m=10.0, track_legs=legs)  # fmt: skip


def report_of(policy: Policy, observation: Observation, age_us: int = 0, ground: Ground | None = GROUND) -> Report:
    """Return the report of a vehicle that sent one observation `age_us` before the tick."""
    plan = Plan(expedition="x", vehicles=("Lantern",), sources=(), policies=(policy,))
    state = VehicleState()
    state.take(observation, 0)
    return Disclosure(policy, plan).report(state, ground, age_us)


FULL = Observation(latitude_deg=-41.201, longitude_deg=17.503, depth_m=1_123.4, altitude_m=3.3, heading_deg=211.0,
                   pitch_deg=7.4, roll_deg=-3.0, speed_mps=0.4, mode=Mode.TETHERED)  # fmt: skip


def test_report_discloses_only_what_the_policy_names() -> None:
    """Each field alone, and nothing at all: whatever isn't named is None (R4)."""
    shown: dict[Disclosed, set[str]] = {
        Disclosed.TRACK: {"east_m", "north_m"},
        Disclosed.DEPTH: {"depth_m"},
        Disclosed.ALTITUDE: {"altitude"},
        Disclosed.HEADING: {"heading_deg"},
        Disclosed.PITCH: {"pitch_deg"},
        Disclosed.ROLL: {"roll_deg"},
        Disclosed.MODE: {"mode"},
        Disclosed.LEG: {"leg"},
        Disclosed.NOTES: set(),
        Disclosed.STILLS: set(),
    }
    assert set(shown) == set(Disclosed)
    for field, names in shown.items():
        report = report_of(policy_of(field), FULL)
        assert {name for name in Report.__slots__ if getattr(report, name) is not None} == {"heard"} | names


def test_report_is_coarse_and_in_the_turned_frame() -> None:
    """East and north are cells of the true place in the frame, depth a step, heading a step of the turned heading."""
    report = report_of(policy_of(*Disclosed), FULL)
    placed = FRAME.place(-41.201, 17.503)
    assert report.east_m == round(placed.east_m / 25) * 25
    assert report.north_m == round(placed.north_m / 25) * 25
    assert (report.depth_m, report.altitude, report.mode, report.leg) == (
        1_120,
        "near the bottom",
        "tethered",
        "descent",
    )
    assert report.heading_deg == round((211.0 + placed.heading_turn_deg) % 360 / 22.5) * 22.5 % 360
    assert (report.pitch_deg, report.roll_deg) == (5, -5)


def test_report_leaves_out_what_is_stale_or_not_placed() -> None:
    """Past the stale limit nothing is told but "no report"; without an anchor no track and no heading."""
    policy = policy_of(*Disclosed)
    assert report_of(policy, FULL, policy.stale_us) != Report(heard=False)
    assert report_of(policy, FULL, policy.stale_us + 1) == Report(heard=False)
    unplaced = report_of(policy, FULL, ground=None)
    assert (unplaced.east_m, unplaced.north_m, unplaced.heading_deg) == (None, None, None)
    assert unplaced.depth_m == 1_120


@pytest.mark.parametrize(("metres", "placed"), [(19_999.0, True), (20_001.0, False)])
def test_report_withholds_the_place_beyond_the_site(metres: float, placed: bool) -> None:
    """Within the site's radius a vehicle has a track; past it neither track nor heading (R4)."""
    there = Geodesic.WGS84.Direct(ANCHOR.latitude_deg, ANCHOR.longitude_deg, 200.0, metres)
    fix = Observation(latitude_deg=there["lat2"], longitude_deg=there["lon2"], heading_deg=3.0)
    report = report_of(policy_of(*Disclosed), fix)
    assert (report.east_m is not None, report.heading_deg is not None) == (placed, placed)


def test_report_shows_the_track_on_the_named_legs_alone() -> None:
    """A policy that names the bottom leg shows no track while descending, and one at the bottom."""
    policy = policy_of(Disclosed.TRACK, Disclosed.LEG, legs=frozenset({Leg.BOTTOM}))
    plan = Plan(expedition="x", vehicles=("Lantern",), sources=(), policies=(policy,))
    disclosure, state = Disclosure(policy, plan), VehicleState()
    seen = []
    for second, (depth, altitude) in enumerate([(0.0, None), (50.0, None), (1_000.0, 100.0), (1_100.0, 4.0)]):
        place = {"latitude_deg": -41.2, "longitude_deg": 17.5}
        state.take(Observation(depth_m=depth, altitude_m=altitude, **place), second * 40 * SECOND)
        report = disclosure.report(state, GROUND, second * 40 * SECOND)
        seen.append((report.leg, report.east_m is not None))
    assert seen == [("deck", False), ("descent", False), ("descent", False), ("bottom", True)]


def test_altitude_words_have_two_limits_each() -> None:
    """A word is held until the altitude is a quarter past its border; no sounding, no word."""
    words = AltitudeWords()
    said = [words.say(altitude) for altitude in (1.0, 1.8, 1.9, 14.0, 18.0, 19.0, None, 18.0)]
    bottom, near, mid = "on the bottom", "near the bottom", "mid-water"
    assert said == [bottom, bottom, near, near, near, mid, None, mid]


def depths(policy: Policy, *steps: tuple[float, Leg]) -> list[float | None]:
    """Return what is shown of a sequence of depths and legs."""
    shown = DepthSteps(policy)
    return [shown.show(depth_m, leg) for depth_m, leg in steps]


DOWN, THERE, UP = Leg.DESCENT, Leg.BOTTOM, Leg.ASCENT


def test_depth_is_finer_away_from_the_bottom_where_the_policy_says_so() -> None:
    """One step at the bottom, a finer one elsewhere; without a finer one the same everywhere."""
    coarse = replace(policy_of(Disclosed.DEPTH), depth_step_m=50.0)
    steps = ((114.0, DOWN), (1_114.0, THERE), (914.0, UP))
    assert depths(replace(coarse, descent_step_m=10.0), *steps) == [110, 1_100, 910]
    assert depths(coarse, *steps) == [100, 1_100, 900]


@given(st.lists(st.tuples(st.floats(990.0, 1_010.0), st.sampled_from(Leg)), min_size=1, max_size=30))
def test_depth_starts_no_rounding_afresh_at_a_change_of_leg(steps: list[tuple[float, Leg]]) -> None:
    """Each step holds on through legs in which the other is shown, so no change of leg tells the side of an edge."""
    policy = replace(policy_of(Disclosed.DEPTH), depth_step_m=20.0, descent_step_m=10.0)
    bottom, elsewhere = Step(20.0), Step(10.0)
    both = [(bottom.quantise(depth_m), elsewhere.quantise(depth_m)) for depth_m, _ in steps]
    expected = [coarse if leg is THERE else fine for (coarse, fine), (_, leg) in zip(both, steps, strict=True)]
    assert depths(policy, *steps) == expected


def test_depth_relative_is_of_the_bottom_alone_and_from_where_it_was_first_reached() -> None:
    """No depth on the way down or up, zero where the bottom was reached, steps from there, for the whole dive."""
    relative = replace(policy_of(Disclosed.DEPTH), depth_step_m=5.0, depth_relative=True)
    steps = [(500.0, DOWN), (1_103.2, THERE), (1_106.0, THERE), (1_110.0, THERE), (800.0, UP), (1_098.0, THERE)]
    assert depths(relative, *steps) == [None, 0, 0, 5, None, -5]


# Centimetres that lie on no edge of a step of 5 m, nor a quarter of one past it.
OFFSETS = st.integers(-600, 600).map(lambda at: at / 10 + 0.03)


@given(st.floats(50.0, 10_000.0), st.lists(OFFSETS, min_size=1, max_size=20))
def test_depth_relative_is_the_same_at_any_depth(first_m: float, offsets_m: list[float]) -> None:
    """How deep the seabed lies changes nothing that is shown (R3)."""
    relative = replace(policy_of(Disclosed.DEPTH), depth_step_m=5.0, depth_relative=True)
    runs = [[(base, THERE), *((base + offset, THERE) for offset in offsets_m)] for base in (0.0, first_m)]
    assert depths(relative, *runs[0]) == depths(relative, *runs[1])


@pytest.mark.parametrize(("action", "shown"), [(ZoneAction.WITHHOLD, False), (ZoneAction.FREEZE, True)])
def test_heading_is_withheld_with_the_track_and_while_it_is_frozen(action: ZoneAction, shown: bool) -> None:
    """Nobody steers by a heading through what is hidden: outside the zone it is told, within it is not."""
    policy = policy_of(Disclosed.TRACK, Disclosed.HEADING, Disclosed.DEPTH)
    plan = Plan(expedition="x", vehicles=("Lantern",), sources=(), policies=(policy,))
    placed = FRAME.place(-41.201, 17.503)
    ground = Ground(FRAME, (HiddenDisc(placed.east_m, placed.north_m, 60.0, action),))
    disclosure, state, seen = Disclosure(policy, plan), VehicleState(), []
    for second, longitude_deg in enumerate((17.506, 17.503, 17.500)):
        fix = Observation(latitude_deg=-41.201, longitude_deg=longitude_deg, heading_deg=211.0, depth_m=12.0)
        state.take(fix, second * SECOND)
        report = disclosure.report(state, ground, second * SECOND)
        seen.append((report.east_m is not None, report.heading_deg is not None, report.depth_m))
    assert seen == [(True, True, 10), (shown, False, 10), (True, True, 10)]


@pytest.mark.parametrize(("place", "columns"), [(Place.LOCAL, 10), (Place.AREA, 10), (Place.EXACT, 12)])
def test_rows_and_ticks_have_one_size_for_each_kind_of_place(place: Place, columns: int) -> None:
    """Ten columns, twelve with an exact position; with the area alone no place; the octets of a tick are constant."""
    policy = replace(policy_of(*Disclosed), place=place)
    plan = Plan(expedition="x", vehicles=("Lantern",), sources=(), policies=(policy,))
    log = ReleaseLog(policy, plan, 1, 0)
    reports = [report_of(policy, FULL), report_of(policy, Observation(depth_m=1.0)), Report(heard=False)]
    ticks = [log.tick(0, [report]) for report in reports]
    assert {len(tick.body[0]) for tick in ticks} == {columns}
    assert len({len(encode(tick)) for tick in ticks}) == 1
    told = ticks[0].body[0]
    assert (told[1] is None, told[4] is None) == (place is Place.AREA,) * 2
    assert told[10:] == ([-41.201, 17.503] if place is Place.EXACT else [])
    assert all(tick.body[0][10:] == [None] * (columns - 10) for tick in ticks[1:])


def test_exact_position_needs_the_track_to_be_named() -> None:
    """Deny by default holds for exact audiences too (R4)."""
    unnamed = replace(policy_of(*(set(Disclosed) - {Disclosed.TRACK})), place=Place.EXACT)
    assert report_of(unnamed, FULL).position is None
    assert report_of(replace(policy_of(Disclosed.TRACK), place=Place.EXACT), FULL).position == (-41.201, 17.503)
