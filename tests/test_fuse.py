"""The freshest value of each field: order, age, and pressure to depth against TEOS-10 and UNESCO 44."""

import csv
from pathlib import Path

import gsw

from relay.core.fuse import LATE_S, Fuse, Stamped, VehicleState, depth_from_pressure
from relay.core.model import Mode, Observation

SECOND = 1_000_000


def test_fuse_keeps_the_last_received_value_of_each_field() -> None:
    """A later report replaces only the fields it has."""
    state = VehicleState()
    state.take(Observation(depth_m=10.0, heading_deg=90.0), 1)
    state.take(Observation(depth_m=11.0, mode=Mode.TETHERED), 2)
    assert state.fresh("depth_m", 2, SECOND) == 11.0
    assert state.fresh("heading_deg", 2, SECOND) == 90.0
    assert state.fresh("mode", 2, SECOND) is Mode.TETHERED
    assert state.fresh("pitch_deg", 2, SECOND) is None


def test_fuse_shows_a_value_until_it_is_stale_and_not_past_it() -> None:
    """At the limit a value is still fresh; one microsecond past it, it isn't."""
    state = VehicleState()
    state.take(Observation(depth_m=10.0), 0)
    assert state.fresh("depth_m", 30 * SECOND, 30 * SECOND) == 10.0
    assert state.fresh("depth_m", 30 * SECOND + 1, 30 * SECOND) is None
    assert state.age_us("depth_m", 31 * SECOND) == 31 * SECOND


def test_fuse_takes_a_position_as_one_value() -> None:
    """Latitude and longitude are never mixed from two reports."""
    state = VehicleState()
    state.take(Observation(latitude_deg=1.0, longitude_deg=2.0), 0)
    state.take(Observation(latitude_deg=3.0, longitude_deg=4.0), 1)
    assert state.fresh("position", 1, SECOND) == (3.0, 4.0)


def test_fuse_tells_when_any_vehicle_was_heard() -> None:
    """The last heard moment is over all vehicles."""
    fuse = Fuse(2)
    assert fuse.heard_us() is None
    fuse.take(Stamped(5, 1, 1, Observation(depth_m=1.0)))
    assert fuse.heard_us() == 5


def test_pressure_becomes_depth_only_with_a_latitude_and_without_a_depth_of_its_own() -> None:
    """Without a fix the depth isn't guessed; a reported depth wins over pressure in the same report."""
    state = VehicleState()
    state.take(Observation(pressure_dbar=1_000.0), 0)
    assert state.fresh("depth_m", 0, SECOND) is None
    state.take(Observation(latitude_deg=-41.0, longitude_deg=17.0), 1)
    state.take(Observation(pressure_dbar=1_000.0), 2)
    assert state.fresh("depth_m", 2, SECOND) == -gsw.z_from_p(1_000.0, -41.0)
    state.take(Observation(pressure_dbar=1_000.0, depth_m=5.0), 3)
    assert state.fresh("depth_m", 3, SECOND) == 5.0


def test_depth_from_pressure_agrees_with_the_teos10_check_values(shared_data: Path) -> None:
    """TEOS-10 (IOC manual 56) height from pressure: 98 check values of GSW, each within its own tolerance."""
    with (shared_data / "vectors" / "teos10-z-from-p.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 98
    for row in rows:
        depth_m = depth_from_pressure(float(row["p_dbar"]), float(row["lat_deg"]))
        assert abs(-depth_m - float(row["z_m"])) <= float(row["z_tol_m"])


def test_depth_from_pressure_lies_where_unesco_44_differs_as_published(shared_data: Path) -> None:
    """For comparison: UNESCO 44 (Fofonoff, Millard 1983) and TEOS-10 differ by less than 0.3 m to 6,000 dbar."""
    with (shared_data / "vectors" / "unesco44-depth.csv").open() as file:
        rows = [row for row in csv.DictReader(file) if not row["note"]]
    compared = [row for row in rows if float(row["p_dbar"]) <= 6_000]
    assert len(compared) > 15
    for row in compared:
        difference = depth_from_pressure(float(row["p_dbar"]), float(row["lat_deg"])) - float(row["depth_m"])
        assert abs(difference) < 0.3


def told(state: VehicleState, depth_m: float, own_s: float | None, received_s: float) -> object:
    """Let a state take a depth with the vehicle's own time; return the depth it then knows."""
    state.take(Observation(depth_m=depth_m, clock_s=own_s), round(received_s * SECOND))
    return state.last("depth_m")


def test_fuse_by_own_clock_lets_a_late_report_replace_nothing_newer() -> None:
    """Field by field: what a late report alone has is news; what it had sooner than a newer one isn't."""
    state = VehicleState(by_own_clock=True)
    assert told(state, 20.0, 1_000.0, 0.0) == 20.0
    state.take(Observation(depth_m=10.0, heading_deg=90.0, clock_s=970.0), SECOND)
    assert (state.last("depth_m"), state.last("heading_deg"), state.heard_us) == (20.0, 90.0, SECOND)
    assert told(state, 21.0, 1_000.0, 2.0) == 21.0


def test_fuse_by_receipt_takes_a_late_report_as_it_comes() -> None:
    """What is released goes by receipt: there the vehicle's clock has no say (R2)."""
    state = VehicleState()
    assert told(state, 20.0, 1_000.0, 0.0) == 20.0
    assert told(state, 10.0, 970.0, 1.0) == 10.0


def test_fuse_by_own_clock_takes_a_report_of_a_clock_that_was_set() -> None:
    """Older by more than the limit, or so long after: the state follows, and one wrong time can't freeze it."""
    for own_s, received_s, depth_m in (
        (10_000.0 - LATE_S, 1.0, 20.0),
        (10_000.0 - LATE_S - 0.1, 1.0, 10.0),
        (9_999.0, LATE_S, 20.0),
        (9_999.0, LATE_S + 0.1, 10.0),
    ):
        state = VehicleState(by_own_clock=True)
        told(state, 20.0, 10_000.0, 0.0)
        assert told(state, 10.0, own_s, received_s) == depth_m


def test_fuse_by_own_clock_compares_times_of_day_across_midnight() -> None:
    """NMEA 0183 positions tell no date: 23:59:50 is before 00:00:10 of the next day, whether that has a date or not."""
    state = VehicleState(by_own_clock=True)
    state.take(Observation(latitude_deg=1.0, longitude_deg=2.0, clock_s=20 * 86_400.0 + 10.0), 0)
    state.take(Observation(latitude_deg=3.0, longitude_deg=4.0, time_of_day_s=86_390.0), SECOND)
    assert state.last("position") == (1.0, 2.0)
    state.take(Observation(latitude_deg=5.0, longitude_deg=6.0, time_of_day_s=12.0), SECOND)
    assert state.last("position") == (5.0, 6.0)
    state.take(Observation(latitude_deg=7.0, longitude_deg=8.0), SECOND)
    assert state.last("position") == (7.0, 8.0)
