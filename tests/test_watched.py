"""One vehicle as the desk watches it: tether margin with its warnings, overdue dives, and what is said of them."""

import math
from typing import Any

import pytest
from geographiclib.geodesic import Geodesic

from relay.core.kept_track import TrackSpot
from relay.core.overdue import Expectation
from relay.core.reach import Tether
from relay.core.survey_day import Surveyed
from relay.core.swath import Swath, Swept, coverage
from relay.core.watch_words import survey_words
from relay.core.watched import Fix, Watched
from test_swath import START, at_metres, line, track_of

SECOND = 1_000_000
FEET_M = 0.3048  # the international foot, exact since 1959
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE


def down(depth_m: float, east_m: float = 0.0, at_us: int = 0, length_m: float = 1_000.0, **values: Any) -> Watched:
    """Return a vehicle with its tether, heard at a depth and so far east of the ship, which lies at START."""
    known = Watched("Lantern", Tether(length_m))
    move(known, depth_m, east_m, at_us, **values)
    return known


def move(known: Watched, depth_m: float, east_m: float, at_us: int, **values: Any) -> None:
    """Let it be heard of twice at a place, which is when it is believed."""
    for moment_us in (at_us, at_us + SECOND):
        known.hear(moment_us, {"depth_m": depth_m, **values})
        known.place(TrackSpot(moment_us, east_m, 0.0, depth_m), Fix(at_metres(east_m, 0.0)))


def test_margin_is_the_straight_line_from_the_ship() -> None:
    """800 m down and 300 m off are 854.4 m of 1,000 (Pythagoras; the 300 m are geographiclib's)."""
    found = down(800.0, 300.0).tether((0, START), 2 * SECOND)
    assert found is not None
    horizontal_m = Geodesic.WGS84.Inverse(*START, *at_metres(300.0, 0.0))["s12"]
    assert found["horizontal_m"] == pytest.approx(horizontal_m, abs=1e-6)
    assert found["slant_m"] == pytest.approx(math.hypot(800.0, horizontal_m), abs=1e-6)
    assert found["margin_m"] == pytest.approx(145.6, abs=0.05)
    assert (found["length_m"], found["word"]) == (1_000.0, "within")
    assert found["share"] == pytest.approx(0.8544, abs=1e-4)


def test_tether_of_the_trade_reaches_its_working_depth() -> None:
    """A tether of 1,000 m is spoken of as 3,300 ft, and work goes deeper than 3,000 ft (common practice, no source)."""
    assert round(1_000.0 / FEET_M, -2) == 3_300
    found = down(3_000 * FEET_M, length_m=3_300 * FEET_M).tether((0, START), 2 * SECOND)
    assert found is not None
    assert found["margin_m"] == pytest.approx(300 * FEET_M, abs=1e-6)
    assert found["word"] == "near its end"


@pytest.mark.parametrize(
    ("depth_m", "word", "alarm"),
    [
        (899.9, "within", None),
        (
            900.1,
            "near its end",
            "Lantern is near the end of its tether: the straight line from the ship is about 90 % of ",
        ),
        (999.9, "near its end", "Lantern is near the end of its tether"),
        (1_000.1, "longer than the tether", "Lantern would be further from the ship than its tether is long (1,000 m)"),
    ],
)
def test_tether_warns_at_its_limits(depth_m: float, word: str, alarm: str | None) -> None:
    """At nine tenths and at the whole, each 10 cm before and past it; the words hold no figure that moves."""
    known = down(depth_m)
    found = known.tether((0, START), 2 * SECOND)
    assert found is not None
    assert found["word"] == word
    alarms = known.alarms((0, START), 2 * SECOND)
    assert [] == alarms if alarm is None else alarms[0].startswith(alarm)
    assert len(alarms) == (alarm is not None)
    assert alarms == known.alarms((0, START), 3 * SECOND)


def test_alarm_at_the_border_does_not_flap() -> None:
    """Once sounded it lasts until the line is shorter by a fiftieth of the tether."""
    known, sounded = down(905.0), []
    for at, depth_m in enumerate([905.0, 899.0, 901.0, 881.0, 879.0, 899.0, 901.0]):
        move(known, depth_m, 0.0, (at + 1) * 10 * SECOND)
        sounded.append(bool(known.alarms(((at + 1) * 10 * SECOND, START), ((at + 1) * 10 + 2) * SECOND)))
    assert sounded == [True, True, True, True, False, False, True]


@pytest.mark.parametrize(
    ("ship", "now_us", "why"),
    [
        (None, 2 * SECOND, "for a minute nothing has told the ship's position"),
        ((0, START), MINUTE, ""),
        ((0, START), MINUTE + 1, "for a minute nothing has told the ship's position"),
        ((5 * MINUTE, START), 5 * MINUTE, "for a minute nothing has told its position and its depth"),
    ],
)
def test_margin_of_what_is_old_is_none_and_says_why(ship: Any, now_us: int, why: str) -> None:
    """At a minute it still counts, and a moment later it doesn't: an old margin would be worse than none."""
    known = down(950.0)
    assert known.tether_unknown(ship, now_us) == why
    assert (known.tether(ship, now_us) is None) == bool(why)
    assert bool(known.alarms(ship, now_us)) != bool(why)


@pytest.mark.parametrize("values", [{"mode": "autonomous"}, {}])
def test_tether_is_watched_while_its_vehicle_is_down_and_on_it(values: dict[str, str]) -> None:
    """On deck, or out on its own, there is no margin to know, and no notice that it isn't known."""
    known = down(950.0 if values else 2.9, **values)
    assert known.tether((0, START), 2 * SECOND) is None
    assert known.tether_unknown(None, 2 * SECOND) == ""
    assert Watched("Moth", None).tether((0, START), 0) is None


def test_wild_fix_sounds_no_alarm() -> None:
    """One fix kilometres away is not believed, so the tether doesn't part by it."""
    known = down(800.0)
    known.place(TrackSpot(5 * SECOND, 9_000.0, 0.0, 800.0), Fix(at_metres(9_000.0, 0.0)))
    assert known.alarms((5 * SECOND, START), 6 * SECOND) == []


LATE = "expected back 11 min ago: overdue"
AGREED = Expectation(
    begun_us=0,
    return_us=60 * MINUTE,
    return_grace_us=10 * MINUTE,
    report_every_us=30 * SECOND,
    report_grace_us=120 * SECOND,
)


@pytest.mark.parametrize(
    ("now_us", "heard_us", "back_us", "words", "alarms"),
    [
        (10 * MINUTE, 10 * MINUTE - 5 * SECOND, None, "expected back in 50 min; next report in 25 s", 0),
        (10 * MINUTE, 9 * MINUTE, None, "expected back in 50 min; report expected 30 s ago, within its grace", 0),
        (10 * MINUTE, 390 * SECOND, None, "expected back in 50 min; report expected 3 min ago, 7 missing: overdue", 1),
        (65 * MINUTE, 65 * MINUTE, None, "expected back 5 min ago, within its grace; next report in 30 s", 0),
        (71 * MINUTE, 71 * MINUTE, None, f"{LATE}; next report in 30 s", 1),
        (71 * MINUTE, HOUR, None, f"{LATE}; report expected 10 min ago, 22 missing: overdue", 2),
        (71 * MINUTE, HOUR, 61 * MINUTE, "back", 0),
    ],
)  # fmt: skip
def test_autonomous_dive_is_told_in_words(
    now_us: int, heard_us: int, back_us: int | None, words: str, alarms: int
) -> None:
    """What is expected, how late it is, and whether that is still within what was agreed."""
    known = Watched("Moth", None)
    known.hear(heard_us, {"mode": "autonomous", "depth_m": 900.0})
    known.expected, known.back_us = AGREED, back_us
    told = known.overdue(now_us)
    assert told is not None
    assert (told["words"], told["sounds"]) == (words, alarms > 0)
    assert told["return_in_s"] == (60 * MINUTE - now_us) / 1e6
    assert len(known.alarms(None, now_us)) == alarms
    assert all(alarm.startswith("Moth is overdue") for alarm in known.alarms(None, now_us))


@pytest.mark.parametrize(
    ("new", "counts"),
    [
        ({"depth_m": 900.0}, False),
        ({"latitude_deg": START[0], "longitude_deg": START[1], "own_s": 5.0, "mode": "autonomous"}, False),
        ({}, False),
        ({"depth_m": 900.5}, True),
        ({"latitude_deg": START[0] + 1e-7}, True),
        ({"own_s": 6.0}, True),
    ],
)
def test_report_that_repeats_what_was_known_is_no_sign_of_life(new: dict[str, float], counts: bool) -> None:
    """A station goes on sending what it knew last: only another place, depth or clock keeps the alarm from sounding."""
    known = Watched("Moth", None)
    known.expected = AGREED
    known.hear(SECOND, {"latitude_deg": START[0], "longitude_deg": START[1], "depth_m": 900.0, "own_s": 5.0})
    for at in range(2, 200):
        known.hear(at * SECOND, {"depth_m": 900.0})
    known.hear(200 * SECOND, new)
    told = known.overdue(200 * SECOND)
    assert told is not None
    assert told["sounds"] != counts
    assert len(known.alarms(None, 200 * SECOND)) == (not counts)


def test_reports_from_before_a_restart_are_not_missing() -> None:
    """What a checkpoint cut off isn't known to be missing: counted from the first row that is read again."""
    known = Watched("Moth", None)
    known.expected = AGREED
    known.begin(20 * MINUTE)
    told, later = known.overdue(20 * MINUTE + SECOND), known.overdue(23 * MINUTE)
    assert told is not None and later is not None
    assert (told["missing_reports"], told["sounds"]) == (0, False)
    assert (later["missing_reports"], later["sounds"]) == (6, True)


def test_tether_alarm_stays_when_it_is_not_known_any_more() -> None:
    """It sounded, then the ship's position is a minute old: it says so, and ends when the vehicle is known to be up."""
    known = down(950.0)
    assert known.alarms((0, START), 2 * SECOND)
    stale = known.alarms((0, START), MINUTE + 1)
    why = "for a minute nothing has told the ship's position"
    assert stale == [f"Lantern was at the end of its tether (1,000 m) when that was last known: {why}"]
    assert known.alarms(None, MINUTE + 1) == stale
    move(known, 700.0, 0.0, 2 * MINUTE)
    assert known.alarms((2 * MINUTE, START), 2 * MINUTE + 2 * SECOND) == []
    assert known.alarms(None, 2 * MINUTE + 2 * SECOND) == []


def test_mode_of_a_minute_ago_ends_no_watch_of_a_tether() -> None:
    """One report of a vehicle on its own counts for a minute; after that its tether is watched again."""
    known = down(950.0, mode="autonomous")
    for at in range(2, 70):
        known.hear(at * SECOND, {"depth_m": 950.0})
        known.place(TrackSpot(at * SECOND, 0.0, 0.0, 950.0), Fix(START))
    assert known.alarms((61 * SECOND, START), 61 * SECOND) == []
    assert known.alarms((61 * SECOND, START), 61 * SECOND + 1)


def test_nothing_is_overdue_where_nothing_was_agreed() -> None:
    """Nor before the dive begins by the clock, nor by a report from the clock's future."""
    known = Watched("Moth", None)
    assert known.overdue(0) is None
    known.expected = Expectation(begun_us=5, return_us=10, return_grace_us=0)
    assert known.overdue(4) is None
    known.hear(9, {})
    told = known.overdue(6)
    assert told is not None
    assert told["next_report_in_s"] is None


def test_survey_is_told_in_words() -> None:
    """Kilometres, ground, what was seen again and the plan's share, each only where there is one."""
    there, back = line((0, 0), (10_000, 0)), line((10_000, 500), (0, 500))
    one = coverage([Swept(track_of(there), Swath(1_000.0))])
    both = coverage(
        [Swept(track_of(there), Swath(1_000.0)), Swept(track_of(back), Swath(1_000.0))],
        [at_metres(*corner) for corner in ((0, -500), (10_000, -500), (10_000, 1_500), (0, 1_500))],
    )
    assert survey_words(Surveyed(), 1_000.0, False) == "0.0 line km; nothing covered yet"
    assert survey_words(Surveyed(10_000.0, 0, one), 1_000.0, False) == "10.0 line km, 10.00 km² covered, 1 km wide"
    said = "20.0 line km, 15.00 km² covered, 33 % of it more than once, 1 km wide; 75 % of the plan"
    assert survey_words(Surveyed(20_000.0, 0, both), 1_000.0, False) == said
    far = f"{said} (all vehicles together); 3 legs not counted, they lie too far from the plan"
    assert survey_words(Surveyed(20_000.0, 3, both), 1_000.0, True) == far
