"""Tracks as an outsider has them: what was told and nothing else, however odd the recording."""

import numpy as np
import pytest

from audited import case_of, chart_about, in_frame, recorded, shows, step
from relay.audit.attacks.attack import Attack, Dive
from relay.audit.attacks.averaging import Averaging
from relay.audit.attacks.cell_edges import CellEdges
from relay.audit.attacks.chart_match import soundings_for
from relay.audit.attacks.dead_reckoning import DeadReckoning
from relay.audit.attacks.ship_alignment import ShipAlignment
from relay.audit.attacks.shown_track import reference_m, stretches, tick_at, tracks_of
from relay.audit.attacks.totals import Totals
from relay.audit.attacks.zone_edges import ZoneEdges
from relay.core.policy import Disclosed
from relay.core.wire import WireRecord
from ship_tracks import ais

ATTACKS: list[Attack] = [Averaging(), CellEdges(), DeadReckoning(), ShipAlignment(), Totals(), ZoneEdges()]
TICK, NOTE = 1, 2


def odd(*bodies: object, kind: int = TICK, **header: object) -> Dive:
    """Return a recording whose records hold anything."""
    head = {"audience": "public", "vehicles": ["Lantern"], "tick_s": 2, "cell_m": 10} | header
    records = [WireRecord(1, 0, 0, 0.0, head, b"")]
    records += [WireRecord(1, at, kind, 2.0 * at, body, b"") for at, body in enumerate(bodies, 1)]
    return Dive("odd", head, tuple(records))


ROW = ["reporting", 10, 20, 1_000, 90, None, None, "bottom", 0, 0]
ODD = {
    "no records of ticks": odd(),
    "no vehicles": odd([ROW] * 3, vehicles=[]),
    "vehicles that are a number": odd([ROW] * 3, vehicles=True),
    "a single tick": odd([ROW]),
    "short rows": odd([["reporting"]], [[]], [ROW[:2]]),
    "rows that are none": odd([None], None, [7], "text"),
    "words for numbers": odd(*[[["reporting", "here", "there", {}, [], None, None, 3, "x", b""]]] * 30),
    "numbers without an end": odd(
        *[[["reporting", float("nan"), float("inf"), 0, 0, None, None, "bottom", 0, 0]]] * 30
    ),
    "one place for ever": odd(*[[ROW]] * 200),
    "places that jump": odd(
        *[[["reporting", 10 * (-1) ** at * at, 0, 5, 0, None, None, "bottom"]] for at in range(90)]
    ),
    "a grid that is none": odd(*[[["reporting", 1e9 + at, -1e9, 5, 0, None, None, "deck"]] for at in range(60)]),
    "positions that are none": odd(*[[[*ROW, 500.0, -900.0]]] * 60),
    "a counter that falls": odd(*[[[*ROW, 90.0 - at]] for at in range(60)]),
    "notes that are none": odd(None, [], [None, 5], [None, "1e999 km run, 4 min on the bottom"], kind=NOTE),
    "a tick of no length": odd(*[[ROW]] * 30, tick_s=0, cell_m=None),
}


@pytest.mark.parametrize("name", ODD)
@pytest.mark.parametrize("attack", ATTACKS, ids=lambda attack: attack.name)
def test_no_recording_stops_an_attack(attack: Attack, name: str) -> None:
    """Whatever a recording holds, an attack says what it made of it, in words."""
    case = case_of(ODD[name], ODD[name], chart=chart_about(cells=31), ship=ais([((0.0, 0.0), 900)]))
    found = attack.play(case)
    assert found.attack == attack.name and found.words
    assert found.log_likelihood is None or np.isfinite(found.log_likelihood).all()


@pytest.mark.parametrize("attack", ATTACKS, ids=lambda attack: attack.name)
def test_no_recording_at_all_is_nothing_to_work_on(attack: Attack) -> None:
    """Without a recording, or without AIS, an attack says that there is nothing to work on."""
    for case in (case_of(), case_of(ODD["a single tick"])):
        found = attack.play(case)
        assert not found.worked and "othing to" in found.words and found.place is None


def test_track_is_what_the_records_hold() -> None:
    """Places, depths, headings and legs are those released; what is withheld is NaN and None."""
    walked = [step(7.0 * at, 0.0, heading=90.0) for at in range(30)]
    (track, moth) = tracks_of(recorded(walked, shows(fields=frozenset({Disclosed.TRACK, Disclosed.LEG}))))
    assert not moth.placed.any()
    assert track.placed.sum() > 25 and np.isnan(track.depth_m).all() and np.isnan(track.heading_deg).all()
    assert set(track.leg) - {None} == {"descent", "bottom"}
    last = track.points[track.placed][-1]
    assert np.hypot(*(last - in_frame(7.0 * 29, 0.0))) < 0.75 * 10 * np.sqrt(2)


def test_reference_is_that_of_the_chart_match() -> None:
    """It is the first sounding's place; without depths the first one that was told; without places there is none."""
    run = [step(7.0 * at, 0.0) for at in range(30)]
    fields = {name: frozenset(Disclosed) - {Disclosed(name)} for name in ("track", "depth", "altitude")}
    whole, blind, bare = (recorded(run, shows(fields=kept)) for kept in (frozenset(Disclosed), fields["track"],
                          fields["depth"] & fields["altitude"] - {Disclosed.LEG}))  # fmt: skip
    soundings = soundings_for(case_of(whole))
    assert soundings is not None
    assert reference_m(case_of(whole)) == (soundings.east_m[0], soundings.north_m[0])
    assert reference_m(case_of(blind)) is None
    first = reference_m(case_of(blind, bare))
    assert first is not None and np.hypot(*(np.array(first) - in_frame(0.0, 0.0))) < 2 * 10 * np.sqrt(2)
    (track, _) = tracks_of(whole)
    assert tick_at(track, in_frame(7.0 * 20, 0.0)) == pytest.approx(20, abs=2)


def test_stretches_are_unbroken() -> None:
    """Begin and one behind the end of each run of truth."""
    assert list(stretches(np.array([True, True, False, True]))) == [(0, 2), (3, 4)]
    assert list(stretches(np.zeros(3, dtype=bool))) == []
