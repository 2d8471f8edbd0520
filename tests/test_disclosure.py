"""What an audience may see of a vehicle: steps with hysteresis, deny by default, doubt stays out."""


import pytest
from geographiclib.geodesic import Geodesic

from relay.core.disclosure import AltitudeWords, Disclosure, Ground, Report
from relay.core.fuse import VehicleState
from relay.core.geodesy import Anchor, SiteFrame
from relay.core.model import Mode, Observation
from relay.core.policy import Disclosed, Leg, Plan, Policy
from relay.core.secrets import Secrets

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
