"""Attacks on what is told besides the track never raise, whatever a recording holds that somebody hands on."""

from functools import cache
from typing import Any

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from audited import chart_about, journal, on_earth
from dives import INVENTED_SITE, plan, policy
from relay.audit.attacks.attack import Attack, Case, Dive, Finding, ShipTrack, Wreck
from relay.audit.attacks.differencing import Differencing
from relay.audit.attacks.environment import Environment
from relay.audit.attacks.free_text import FreeText
from relay.audit.attacks.known_wrecks import KnownWrecks
from relay.audit.attacks.leak_scan import LeakScan, spelled
from relay.audit.attacks.leak_shape import HEADER
from relay.audit.attacks.send_times import SendTimes
from relay.core.wire import WireRecord
from told_besides import released, survey

ATTACKS: tuple[Attack, ...] = (Differencing(), Environment(), FreeText(), KnownWrecks(), LeakScan(), SendTimes())
WRECKS = (Wreck("Isoline Keel", *INVENTED_SITE, 1_100.0, 90.0), Wreck("", *on_earth(900, 0)))
VALUES = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**40), 2**40)
    | st.floats()
    | st.text(max_size=20)
    | st.binary(max_size=20),
    lambda inner: st.lists(inner, max_size=12) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)


@cache
def sound() -> Dive:
    """Return a real dive."""
    return released(journal(survey(120), 4), plan(policy(cell_m=5.0)))["public"]


CHANGES = st.fixed_dictionaries(
    {
        "cells": st.lists(st.tuples(st.integers(1, 40), st.integers(0, 9), VALUES), max_size=4),
        "bodies": st.lists(st.tuples(st.integers(1, 40), st.integers(0, 8), VALUES), max_size=3),
        "header": st.dictionaries(st.sampled_from(sorted(HEADER)), VALUES, max_size=2),
        "sent": st.none() | st.lists(st.floats(-1e10, 1e10), max_size=9).map(tuple),
        "live": st.booleans(),
    }
)


def spoilt(changes: dict[str, Any]) -> Dive:
    """Return a real dive of which some cells, records or names of the header are anything else."""
    dive = sound()
    records: list[WireRecord] = list(dive.records)
    for at, column, value in changes["cells"]:
        row, *others = dive.records[at].body if dive.records[at].kind == 1 else [["reporting"] * 10]
        records[at] = records[at]._replace(body=[[*row[:column], value, *row[column + 1 :]], *others])
    for at, kind, body in changes["bodies"]:
        records[at] = records[at]._replace(body=body, kind=kind)
    header = {**dive.header, **changes["header"]}
    return Dive("odd", header, tuple(records), changes["sent"], changes["live"])


@pytest.mark.parametrize("attack", ATTACKS, ids=lambda attack: attack.name)
@settings(max_examples=15, phases=(Phase.explicit, Phase.generate))
@given(changes=CHANGES, another=st.booleans())
def test_odd_recordings_are_answered_in_words(attack: Attack, changes: dict[str, Any], another: bool) -> None:
    """Every attack says something of every recording, and its likelihood, if any, is of the chart's shape."""
    chart, odd = chart_about(cells=21), spoilt(changes)
    ship = ShipTrack(*(chart.latitude_deg[:3] * 0 + value for value in (1e9, *INVENTED_SITE)))
    case = Case(chart, (sound(), odd) if another else (odd,), ship=ship, wrecks=WRECKS)
    finding = attack.play(case)
    assert isinstance(finding, Finding) and finding.words and finding.attack == attack.name
    assert finding.log_likelihood is None or finding.log_likelihood.shape == chart.shape
    if attack.name == "leak scan":
        assert isinstance(spelled(case.dives, [INVENTED_SITE]), tuple)
