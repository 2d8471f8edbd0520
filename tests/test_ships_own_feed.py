"""A feed of the ship itself: how the expedition file says so, and who is told what of it."""

from pathlib import Path

import pytest

from dives import SECOND, dive_rows
from expeditions import RIGHT, changed, line_with
from relay.core.errors import ExpeditionError
from relay.core.own_time import live_reports
from relay.core.policy import SourcePlan
from relay.shell.plan.expedition import Expedition, parse_expedition
from relay.shell.plan.plain_ground import describe_feed
from test_what_stays_on_the_ship import BRIDGE, PLAN, bridge

POSITION = 'from = "udp://127.0.0.1:10110"\nvehicle = "Lantern"\nsounder = "altitude"'
OF_SHIP = 'from = "udp://127.0.0.1:10110"\nof = "ship"'


def read(text: str) -> Expedition:
    """Return the expedition of a file's text."""
    return parse_expedition(text, Path("EXPEDITION.toml"))


def test_feed_of_the_ship_needs_no_vehicle_and_is_planned_as_hers() -> None:
    """Also in a format that names none; the others are planned as before."""
    first, second = read(changed(POSITION, OF_SHIP)).plan.sources
    assert (first.of_ship, first.vehicle, second.of_ship) == (True, None, False)
    assert not any(source.of_ship for source in read(RIGHT).plan.sources)


STANDBY = f'{OF_SHIP}\n\n[[feed]]\nname = "mirror"\nformat = "nmea0183"\nfrom = "udp://127.0.0.1:10111"\n'


@pytest.mark.parametrize(("feed", "line", "why"), [
    (f'{OF_SHIP}\nvehicle = "Lantern"', "[[feed]]", "take of or vehicle away"),
    (OF_SHIP.replace('"ship"', '"boat"'), '"boat"', "ship"),
    ('from = "udp://127.0.0.1:10110"', "[[feed]]", "doesn't name its vehicle"),
    (f'{STANDBY}vehicle = "Moth"\nstandby_for = "position"', "standby_for", "stands by for a vehicle's feed alone"),
    (f'{STANDBY}of = "ship"\nstandby_for = "station"', "standby_for", "stands by for a vehicle's feed alone"),
])  # fmt: skip
def test_feed_that_is_the_ships_and_something_else_is_refused(feed: str, line: str, why: str) -> None:
    """With the line and what to change."""
    text = changed(POSITION, feed)
    with pytest.raises(ExpeditionError) as caught:
        read(text)
    assert why in str(caught.value)
    assert f"line {line_with(text, line)}: " in str(caught.value)


def test_check_says_that_the_ships_position_stays_on_the_desk() -> None:
    """In plain words, beside where it comes from, and nothing of a vehicle's sounder."""
    expedition = read(changed(POSITION, OF_SHIP))
    said = describe_feed(expedition.plan.sources[0], expedition.feeds[0].url)
    assert said.startswith("Feed position: nmea0183, the ship's own position, which stays on the desk, from udp://")
    assert "sounder" not in said
    assert "vehicle" not in said


def test_exact_record_of_a_vehicle_has_nothing_of_the_ships_feed() -> None:
    """Neither her own reports, nor one on her feed that names the vehicle, in any format."""
    named = dive_rows(3)
    rows = [*bridge([1, 2]), *(type(row)(row.seq, 9 * SECOND, 9.0, "bridge", row.kind, row.data) for row in named)]
    assert list(live_reports(rows, PLAN, "Lantern")) == []
    assert len(list(live_reports(named, PLAN, "Lantern"))) == 3
    assert SourcePlan(name="bridge", format="station-json", of_ship=True) == BRIDGE
