"""`offing tell`: what is typed becomes the decision that was meant, and is answered in words."""

import json
import re
from pathlib import Path

import pytest

from dives import SECOND
from expeditions import RIGHT
from relay.__main__ import _parser, main
from relay.core.area import ZoneAction
from relay.core.decision import (
    Approve,
    Back,
    Decision,
    Dismiss,
    Expect,
    HideZone,
    LiftZone,
    Say,
    Target,
    read_decision,
    write_decision,
)
from relay.core.errors import OperatorError
from relay.core.sighting import Sighted
from relay.core.target_position import RangeIs
from relay.shell.desk.standing import ship_status
from relay.shell.desk.tell import _message
from relay.shell.desk.tell_words import say_status, say_taken
from test_desk_sense import NOW_US, SEEN, WAITS, ZONE, answer, site

SEES = Sighted(
    bearing_deg=-12.0, range_m=35.0, range_is=RangeIs.HORIZONTAL, bearing_sigma_deg=2.0, range_sigma_m=1.0,
    heading_sigma_deg=1.0, place_sigma_m=5.0,
)  # fmt: skip
TYPED: list[tuple[list[str], Decision]] = [
    (["say", "silt", "--wait"], Say(text="silt", wait=True)),
    (["say", "silt", "--vehicle", "Moth", "--audience", "public"],
     Say(text="silt", vehicle="Moth", audiences=("public",))),
    (["approve", "41"], Approve(say=41)),
    (["dismiss", "41"], Dismiss(say=41)),
    (["target", "the bell", "rock"], Target(name="the bell", verdict="rock")),
    (["target", "the bell", "rock", "--vehicle", "Moth", "--bearing", "-12", "--range", "35 m"],
     Target(name="the bell", verdict="rock", vehicle="Moth", sighting=SEES)),
    (["zone", "the hold", "--centre", "-30.1", "-22.2", "--radius", "100 ft", "--margin", "60 m"],
     HideZone(name="the hold", centre=(-30.1, -22.2), radius_m=30.48, margin_m=60, action=ZoneAction.WITHHOLD)),
    (["zone", "a", "--centre", "0", "180", "--radius", "9 m", "--margin", "9 m", "--freeze"],
     HideZone(name="a", centre=(0, 180), radius_m=9, margin_m=9, action=ZoneAction.FREEZE)),
    (["unzone", "the hold"], LiftZone(name="the hold")),
    (["expect", "Moth", "--returns-in", "6 h"], Expect(vehicle="Moth", return_in_s=21_600, return_grace_s=0)),
    (["expect", "Moth", "--returns-in", "90 min", "--grace", "20 min", "--reports-every", "30 s",
      "--reports-grace", "2 min"],
     Expect(vehicle="Moth", return_in_s=5_400, return_grace_s=1_200, report_every_s=30, report_grace_s=120)),
    (["back", "Moth"], Back(vehicle="Moth")),
]  # fmt: skip


def message(typed: list[str]) -> dict[str, object]:
    """Return what `offing tell` sends for what is typed."""
    return _message(_parser().parse_args(["tell", "x.toml", *typed]), None)


@pytest.mark.parametrize(("typed", "meant"), TYPED, ids=range(len(TYPED)))
def test_what_is_typed_is_the_decision_that_was_meant(typed: list[str], meant: Decision) -> None:
    """With negative degrees, other units and what may be left out."""
    assert read_decision(json.dumps(message(typed)).encode()) == meant
    assert read_decision(write_decision(meant, "Ines")) == meant


def test_slant_range_is_typed_with_its_depression() -> None:
    """Each uncertainty can be said."""
    typed = ["target", "a", "rock", "--bearing", "4", "--range", "35 m", "--range-is", "slant", "--depression", "20"]
    sigmas = {"bearing": 3, "heading": 4, "depression": 5, "range": 6, "place": 7}
    more = [word for name, value in sigmas.items() for word in (f"--{name}-sigma", str(value))]
    seen = message([*typed, *more])["sighting"]
    assert seen == {
        "bearing_deg": 4.0, "range_m": 35.0, "range_is": "slant", "bearing_sigma_deg": 3.0, "range_sigma_m": 6.0,
        "heading_sigma_deg": 4.0, "place_sigma_m": 7.0, "depression_deg": 20.0, "depression_sigma_deg": 5.0,
    }  # fmt: skip


@pytest.mark.parametrize(("typed", "why"), [
    (["target", "a", "rock", "--bearing", "4"], "by --bearing and --range: give both, or neither"),
    (["target", "a", "rock", "--depression", "4"], "by --bearing and --range"),
    (["target", "a", "rock", "--bearing", "4", "--range", "35"], "is not a length"),
    (["zone", "a", "--centre", "0", "0", "--radius", "far", "--margin", "9 m"], "is not a length"),
    (["expect", "Moth", "--returns-in", "soon"], "is not a duration"),
])  # fmt: skip
def test_what_makes_no_sense_is_refused_before_it_is_sent(typed: list[str], why: str) -> None:
    """It says how it is written."""
    with pytest.raises(OperatorError, match=re.escape(why)):
        message(typed)


def said(decision: Decision, *before: Decision) -> str:
    """Return what is answered in words to a decision at a site that took others before."""
    pipeline = site(*before)
    words = json.loads(write_decision(decision, "Ines"))
    return say_taken(words, answer(decision, pipeline), NOW_US)


def test_decisions_of_the_desk_are_answered_in_words() -> None:
    """What each does, to whom, and what stays on the ship."""
    row = next(iter(site(WAITS).waiting))
    assert said(WAITS).startswith(
        "Kept for approval: told to nobody. `status` says its row; `approve ROW` tells it to all"
    )
    assert said(Approve(say=row), WAITS) == "Approved. It goes out as late as everything else."
    assert said(Dismiss(say=row), WAITS) == "Dismissed: it is told to nobody."
    assert said(ZONE) == (
        'Zone "the hold": hidden at once, in all that hasn\'t left, from public. NOT from heritage, who are told the '
        "exact place. What has left can't be taken back."
    )
    assert said(LiftZone(name="the hold"), ZONE).startswith('Zone "the hold" lifted for heritage, public: from now on')
    expect = Expect(vehicle="Moth", return_in_s=5_400, return_grace_s=5)
    assert said(expect) == "Expected: Moth back in 1 h 30 min. Nobody ashore is told of it."
    assert said(Back(vehicle="Moth"), expect) == "Moth is back: nothing is awaited of it any more."
    assert re.search(r"It lies at -38\.61\d{4}, -21\.93\d{4}, with 95 % within 1\d\.?\d* m\. That stays", said(SEEN))


def test_status_lists_what_waits_targets_zones_and_who_is_awaited() -> None:
    """What waits with its row, for that is what is approved."""
    pipeline = site(WAITS, SEEN, ZONE, Expect(vehicle="Moth", return_in_s=60, return_grace_s=5))
    lines = say_status(ship_status(pipeline, NOW_US + 30 * SECOND, None, [])).splitlines()
    row = next(iter(pipeline.waiting))
    assert f'waits for approval: row {row}, by a test, 30 s ago: "silt"' in lines
    assert 'zone "the hold" of the desk' in lines
    assert "Moth is to be back in 30 s" in lines
    assert any(line.startswith('target "the bell": rock; -38.61') for line in lines)
    late = say_status(ship_status(pipeline, NOW_US + 90 * SECOND, None, [])).splitlines()
    assert "Moth is to be back 30 s AGO" in late


def test_site_s_folder_is_taken_for_its_expedition_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As `offing journal` takes it: what is missing is the relay, not the file."""
    (tmp_path / "EXPEDITION.toml").write_text(RIGHT)
    assert main(["tell", str(tmp_path), "status"]) == 2
    assert "no relay runs" in capsys.readouterr().err
