"""Where a target lies by a sighting, against geographiclib; the sighting as plain values."""

import json
import random
from dataclasses import replace

import pytest
from geographiclib.geodesic import Geodesic

from dives import INVENTED_SITE, SECOND, SECRETS, decided, in_order, message, plan, rows
from relay.core.decision import Target
from relay.core.desk_record import Known
from relay.core.errors import SurveyError
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.policy import SourcePlan
from relay.core.sighting import FRESH_US, SeenFrom, Sighted, place_of, read_sighted, write_sighted
from relay.core.target_position import RangeIs

SEES = Sighted(
    bearing_deg=-12.0, range_m=35.0, range_is=RangeIs.HORIZONTAL, bearing_sigma_deg=2.0, range_sigma_m=1.0,
    heading_sigma_deg=1.0, place_sigma_m=5.0,
)  # fmt: skip
SLANT = replace(SEES, range_is=RangeIs.SLANT, depression_deg=60.0, depression_sigma_deg=1.0)
AT_S = 20


def reports(site: tuple[float, float], heading_deg: float, seconds: range = range(1, AT_S)) -> list[Row]:
    """Return what Lantern tells, lying still at a site with the bow in one direction."""
    step = {"east": 0.0, "north": 0.0, "depth": 900.0, "altitude": 3.0, "heading": heading_deg}
    return rows((second * SECOND, message(step, site)) for second in seconds)


def known(sighted: Sighted, *parts: list[Row], at_us: int = AT_S * SECOND, vehicle: str = "Lantern") -> Known:
    """Return what is known of a target that is marked after these reports."""
    pipeline = Pipeline(plan(), SECRETS)
    marked = decided(at_us, Target(name="the bell", verdict="unchecked", vehicle=vehicle, sighting=sighted))
    for row in in_order(*parts, [marked]):
        pipeline.receive(row)
    return pipeline.targets["the bell"]


def off_m(found: Known, there: dict[str, float]) -> float:
    """Return how far a known target is from where geographiclib has it."""
    assert found.position is not None
    place = found.position.latitude_deg, found.position.longitude_deg
    apart: float = Geodesic.WGS84.Inverse(*place, there["lat2"], there["lon2"])["s12"]
    return apart


@pytest.mark.parametrize("site", [INVENTED_SITE, (12.0, 179.9999), (-12.0, -180.0), (89.9, 25.0), (-66.5, 0.0)])
def test_target_of_a_decision_lies_where_geographiclib_has_it(site: tuple[float, float]) -> None:
    """From the vehicle's exact report, along heading plus bearing, by the horizontal range (geographiclib, Direct)."""
    dice = random.Random(str(site))
    for _ in range(12):
        heading, bearing, range_m = dice.uniform(0, 359), dice.uniform(-180, 360), dice.uniform(1, 60)
        sighted = replace(SEES, bearing_deg=bearing, range_m=range_m)
        there = Geodesic.WGS84.Direct(*site, heading + bearing, range_m)
        assert off_m(known(sighted, reports(site, heading)), there) < 1e-4
        slant = Geodesic.WGS84.Direct(*site, heading + bearing, range_m / 2)  # cos 60 degrees is a half
        assert off_m(known(replace(SLANT, bearing_deg=bearing, range_m=range_m), reports(site, heading)), slant) < 1e-4


def test_target_is_seen_from_where_the_vehicle_was_at_that_moment() -> None:
    """Not from where it was before, is afterwards, or from where another vehicle or the ship is."""
    elsewhere = Geodesic.WGS84.Direct(*INVENTED_SITE, 80.0, 500.0)
    far = elsewhere["lat2"], elsewhere["lon2"]
    before, after = reports(far, 200.0, range(1, 10)), reports(far, 200.0, range(AT_S + 1, 40))
    moth = [replace(row, data=row.data.replace(b"Lantern", b"Moth")) for row in reports(far, 10.0)]
    there = Geodesic.WGS84.Direct(*INVENTED_SITE, 40.0 - 12.0, 35.0)
    assert off_m(known(SEES, before, reports(INVENTED_SITE, 40.0, range(10, AT_S)), after, moth), there) < 1e-4


@pytest.mark.parametrize(("late_us", "is_known"), [(FRESH_US, True), (FRESH_US + 1, False)])
def test_target_has_no_place_by_an_old_report(late_us: int, is_known: bool) -> None:
    """At the limit the last report counts, a microsecond later nothing does: no place is guessed."""
    at_us = (AT_S - 1) * SECOND + late_us
    assert (known(SEES, reports(INVENTED_SITE, 40.0), at_us=at_us).position is not None) is is_known


def test_target_has_no_place_without_a_heading_or_by_a_vehicle_that_was_never_heard() -> None:
    """What isn't known isn't north."""
    whole = reports(INVENTED_SITE, 40.0)
    headless = [replace(row, data=_without(row.data, "heading_deg")) for row in whole]
    assert known(SEES, headless).position is None
    assert known(SEES, whole, vehicle="Moth").position is None
    assert known(SEES, whole).position is not None


def test_target_has_no_place_by_a_vehicle_of_which_two_stations_tell_two() -> None:
    """Neither is guessed to be right."""
    feeds = (SourcePlan(name="station", format="station-json"), MIRROR)
    far = Geodesic.WGS84.Direct(*INVENTED_SITE, 80.0, 500.0)
    one, other = reports(INVENTED_SITE, 40.0), reports((far["lat2"], far["lon2"]), 40.0)
    pipeline = Pipeline(replace(plan(), sources=feeds), SECRETS)
    marked = Target(name="the bell", verdict="rock", vehicle="Lantern", sighting=SEES)
    for row in in_order(one, [replace(row, source="mirror") for row in other], [decided(AT_S * SECOND, marked)]):
        pipeline.receive(row)
    assert pipeline.seen_from("Lantern", AT_S * SECOND) is None
    assert pipeline.targets["the bell"].position is None


MIRROR = SourcePlan(name="mirror", format="station-json", standby_for="station")


def _without(line: bytes, name: str) -> bytes:
    return json.dumps({key: value for key, value in json.loads(line).items() if key != name}).encode() + b"\n"


def test_row_that_says_from_where_is_believed_at_any_time() -> None:
    """Read again without the reports, as after a restart, it gives the same place."""
    whole = known(SEES, reports(INVENTED_SITE, 40.0))
    row = replace(SEES, seen_from=SeenFrom(*INVENTED_SITE, 40.0))
    again = known(row)
    assert again.position is not None
    assert whole.position is not None
    assert off_m(again, {"lat2": whole.position.latitude_deg, "lon2": whole.position.longitude_deg}) < 1e-6


@pytest.mark.parametrize("sighted", [SEES, SLANT, replace(SLANT, seen_from=SeenFrom(-38.5, 179.99999999999997, 0.1))])
def test_sighting_comes_back_from_plain_values(sighted: Sighted) -> None:
    """To the last bit, through JSON."""
    assert read_sighted(json.loads(json.dumps(write_sighted(sighted)))) == sighted


def test_place_of_a_sighting_is_the_surveys() -> None:
    """Uncertainties go where they belong: those of place, heading, bearing, range and depression all widen it."""
    start = SeenFrom(*INVENTED_SITE, 40.0)
    narrow = place_of(SLANT, start).spread.radius_95_m
    wider = [
        replace(SLANT, place_sigma_m=10.0), replace(SLANT, heading_sigma_deg=20.0),
        replace(SLANT, bearing_sigma_deg=20.0), replace(SLANT, range_sigma_m=20.0),
        replace(SLANT, depression_sigma_deg=20.0),
    ]  # fmt: skip
    assert all(place_of(item, start).spread.radius_95_m > narrow * 1.05 for item in wider)


def test_depression_without_its_uncertainty_is_refused() -> None:
    """Nothing is taken to be exact."""
    with pytest.raises(SurveyError, match="give both"):
        read_sighted(write_sighted(replace(SLANT, depression_sigma_deg=None)))
