"""Totals beside a track: a running one gives a hidden spot away, Offing's own numbers count what is shown alone."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from shapely import LineString

from audited import Point, apart, case_of, dive_of, in_frame, lay_public_grid, on_earth, shows, step
from dives import INVENTED_SITE, SECOND, SECRETS, message, rows, run
from relay.audit.attacks.attack import Dive
from relay.audit.attacks.shown_track import tracks_of
from relay.audit.attacks.totals import Passage, Totals, spot_of, stated
from relay.core import channel, release
from relay.core.area import Zone, ZoneAction
from relay.core.disclosure import Disclosure, Ground, Report
from relay.core.figures import figures
from relay.core.fuse import VehicleState
from relay.core.pipeline import Pipeline

SPOT = (90.0, 130.0)
CELL_M = 10.0


def star(turns: Sequence[float] = (10, 80, 130, 200, 260, 320)) -> list[Point]:
    """Return ways to a spot and out again on other sides, a metre a second, a point each two seconds."""
    corners: list[Point] = [(0.0, 0.0)]
    for turn in turns:
        way = math.radians(turn)
        corners += [SPOT, (SPOT[0] + 420 * math.sin(way), SPOT[1] + 420 * math.cos(way))]
    line = LineString(corners)
    return [(there.x, there.y) for there in (line.interpolate(at) for at in range(0, int(line.length), 2))]


def dived(points: Sequence[Point], notes: dict[int, str] | None = None) -> Dive:
    """Return the recording of a dive over points with a hidden zone about the spot, and annotations at some of them."""
    place = on_earth(*SPOT)
    zone = Zone(name="the kiln", latitude_deg=place[0], longitude_deg=place[1], radius_m=100, margin_m=60,
                action=ZoneAction.WITHHOLD)  # fmt: skip
    shown = replace(shows(cell_m=CELL_M), zones=(zone,))
    sent = (
        (SECOND * (1 + 2 * at), message(step(*point), INVENTED_SITE, note=(notes or {}).get(at)))
        for at, point in enumerate(points)
    )
    return dive_of(run(Pipeline(shown, SECRETS), rows(sent)))


@dataclass(frozen=True, slots=True)
class Totalled(Report):
    """A report with the leak: the exact way run so far."""

    total_m: float = 0.0


class Totalling(Disclosure):
    """The leak: it counts the exact way, wherever that went, and tells it."""

    _run_m, _last = 0.0, None

    def report(self, state: VehicleState, ground: Ground | None, at_us: int) -> Report:
        """Return the report with the way so far."""
        told = super().report(state, ground, at_us)
        position = state.fresh("position", at_us, self._policy.stale_us)
        if position is not None and ground is not None:
            there = ground.frame.place(*position)[:2]
            self._run_m += math.dist(there, self._last or there)
            self._last = there
        return Totalled(
            **{name: getattr(told, name) for name in Report.__dataclass_fields__}, total_m=round(self._run_m, 1)
        )


def tell_totals(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let each row of a tick end with the exact way run so far."""
    honest = release._row

    def row(report: Report) -> list[Any]:
        return [*honest(report), getattr(report, "total_m", None)]

    monkeypatch.setattr(channel, "Disclosure", Totalling)
    monkeypatch.setattr(release, "_row", row)


def test_running_total_gives_the_hidden_spot_away(monkeypatch: pytest.MonkeyPatch) -> None:
    """With an exact total beside a track in a public grid, the spot in the zone's hole is found within 50 m."""
    lay_public_grid(monkeypatch)
    tell_totals(monkeypatch)
    found = Totals().play(case_of(dived(star())))
    assert found.outright and found.place is not None and found.leaks and found.log_likelihood is not None
    assert apart(found.place, on_earth(*SPOT)) < 50


def test_running_total_gives_the_spot_in_the_secret_frame_and_no_place(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same total in Offing's frame gives the spot within it, which is a leak, and no place on the Earth."""
    tell_totals(monkeypatch)
    found = Totals().play(case_of(dived(star())))
    assert found.place is None and found.log_likelihood is None and found.leaks
    assert math.dist((found.facts["spot_east_m"], found.facts["spot_north_m"]), in_frame(*SPOT)) < 50


def test_released_numbers_are_nothing_to_work_on() -> None:
    """What Offing releases has no total; the page's distance is far less than was run, by what went on in the zone."""
    points = star()
    dive = dived(points)
    found = Totals().play(case_of(dive))
    assert not found.worked and not found.leaks and "Nothing to work on" in found.words
    run_m = sum(math.dist(*pair) for pair in pairwise(points))
    assert (figures(dive.records).vehicles[0].distance_m or 0.0) < 0.75 * run_m


def test_total_in_an_annotation_tells_how_much_is_hidden() -> None:
    """A way of 5.0 km and 240 minutes at the bottom in words: what the records don't show of them is told."""
    points = star()
    notes = {len(points) - 40: "We have run a total of 5.0 km so far, and 240 minutes on the bottom."}
    dive = dived(points, notes)
    found = Totals().play(case_of(dive))
    assert found.leaks and found.place is None
    shown = figures(dive.records[:-40]).vehicles[0]
    assert shown.distance_m is not None and found.facts["hidden_way_m"] == pytest.approx(
        5_000 - shown.distance_m, rel=0.15
    )
    assert found.facts["hidden_bottom_s"] == pytest.approx(240 * 60 - 2 * (len(points) - 40), abs=60)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("Distance run: 3.4 km.", [("way", 3_400.0)]),
        ("We covered 2,5 nautical miles", [("way", 4_630.0)]),
        ("Insgesamt 800 m gelaufen, 2 Stunden am Grund", [("way", 800.0), ("bottom", 7_200.0)]),
        ("A plate of 3 m, and a lamp", []),
        ("45 min on the bottom by now", [("bottom", 2_700.0)]),
    ],
)
def test_totals_are_read_in_words(text: str, told: list[tuple[str, float]]) -> None:
    """Ways and times at the bottom are read with their units (nautical mile: 1,852 m, ISO 80000-3), others not."""
    dive = dived([(0.0, 0.0)] * 20, {10: text})
    assert [(one.what, pytest.approx(one.told)) for one in stated(dive)] == told


def test_spot_lies_on_all_ellipses() -> None:
    """Ways by way of one spot, made by shapely's lengths, give it back; ways by way of others give none."""
    ends = [((0, 300), (260, -150)), ((-280, 90), (10, -310)), ((300, 20), (-200, 220)), ((120, 270), (-50, -300))]

    def passage(pair: tuple[Point, Point], spot: Point) -> Passage:
        return Passage(np.array(pair[0], float), np.array(pair[1], float), LineString([pair[0], spot, pair[1]]).length)

    met = spot_of([passage(pair, (40.0, -25.0)) for pair in ends], 10.0)
    assert met is not None and met[0] == pytest.approx((40.0, -25.0), abs=0.5)
    strange = [replace(passage(pair, (0.0, 0.0)), way_m=600.0 + 400.0 * at) for at, pair in enumerate(ends)]
    assert spot_of(strange, 10.0) is None
    assert tracks_of(dived([(0.0, 0.0)] * 10))[0].more.shape[1] == 0
