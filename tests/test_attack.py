"""What every attack keeps to, whichever it is."""

from math import inf, nan

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from relay.audit.attacks.attack import Attack, Case, Dive
from relay.audit.attacks.attacks import ATTACKS
from relay.audit.attacks.well_formed import fault_in
from relay.audit.charts.chart import Chart
from relay.core.release import Kind
from relay.core.wire import WireRecord
from told_dives import course_over, policy_of, told_dive

SIDE = 24
DEPTH_M = 300 + 40 * np.sin(np.arange(SIDE))[:, None] + 30 * np.cos(np.arange(SIDE) / 2)[None, :]
CHART = Chart("invented", -39 + 0.01 * np.arange(SIDE), -22 + 0.01 * np.arange(SIDE), DEPTH_M, 0 * DEPTH_M + 2)
WHOLE = told_dive(policy_of(depth_step_m=5.0), course_over(lambda east, north: 290.0, 1, bottom_s=300.0))
HEADER = told_dive(policy_of(), course_over(lambda east, north: 120.0, 1, bottom_s=60.0)).header


def test_names_are_their_own() -> None:
    """No two attacks have one name, by which the report tells them apart."""
    assert len({attack.name for attack in ATTACKS}) == len(ATTACKS) >= 13


@pytest.mark.parametrize("attack", ATTACKS, ids=lambda attack: attack.name)
def test_with_nothing_in_hand_an_attack_says_why(attack: Attack) -> None:
    """A recording that was begun and tells nothing leaves every attack with words and without a place."""
    finding = attack.play(Case(CHART, (Dive("empty", HEADER, (WireRecord(1, 0, Kind.DIVE, 0, HEADER, b"x"),)),)))
    assert finding.attack == attack.name
    assert finding.words.strip().endswith(".")
    assert finding.place is None and finding.log_likelihood is None


@pytest.mark.parametrize("attack", ATTACKS, ids=lambda attack: attack.name)
def test_a_likelihood_is_of_every_cell(attack: Attack) -> None:
    """Whatever an attack says of the place, it says for the chart's cells, and never that it is not a number."""
    dive = told_dive(policy_of(depth_step_m=5.0), course_over(lambda east, north: 290.0, 2, bottom_s=1_800.0))
    finding = attack.play(Case(CHART, (dive,)))
    if finding.log_likelihood is not None:
        assert finding.log_likelihood.shape == CHART.shape
        assert not np.isnan(finding.log_likelihood).any()


_VALUES = st.none() | st.booleans() | st.integers(-9, 9) | st.floats() | st.text(max_size=9)
_BODIES = st.recursive(_VALUES, lambda inner: st.lists(inner, max_size=12), max_leaves=24)


@pytest.mark.parametrize("attack", ATTACKS, ids=lambda attack: attack.name)
@settings(max_examples=15)
@given(bodies=st.lists(st.tuples(st.sampled_from([int(kind) for kind in Kind] + [99]), _BODIES), max_size=8))
def test_odd_records_never_raise(attack: Attack, bodies: list[tuple[int, object]]) -> None:
    """A recording of a later version, or a forged one, is something to say words about."""
    records = [WireRecord(1, 0, Kind.DIVE, 0, HEADER, b"x")]
    records += [WireRecord(1, at, kind, 15 * at, body, b"x") for at, (kind, body) in enumerate(bodies, 1)]
    assert attack.play(Case(CHART, (Dive("odd", HEADER, tuple(records)),))).words


# What the format has in a place, what it hasn't, and numbers that are none or too large to be one.
_ODD = st.sampled_from([nan, inf, -inf, 1e300, 1e29, -1e9, 2**64 - 1, 1e-300, 0, -1, True, None, "x", [1.0], {}])
_CELLS = st.dictionaries(st.integers(0, 11), _ODD, max_size=3)
_NAMES = st.sampled_from(sorted(HEADER))
_HEADERS = st.one_of(st.just({}), st.dictionaries(_NAMES, _ODD | st.sampled_from(["", [], ["x"]]), max_size=2))
_GONE = st.one_of(st.just(set()), st.sets(_NAMES, max_size=2))
_MOMENTS = st.one_of(st.none(), st.floats())


@pytest.mark.parametrize("attack", ATTACKS, ids=lambda attack: attack.name)
@settings(max_examples=30, deadline=None)
@given(ticks=st.lists(st.tuples(_CELLS, _MOMENTS), max_size=4), changed=_HEADERS, gone=_GONE)
def test_what_is_let_through_is_answered_with_numbers(
    attack: Attack, ticks: list[tuple[dict[int, object], float | None]], changed: dict[str, object], gone: set[str]
) -> None:
    """NaN, infinity, odd headers: a recording is refused in words, or each attack takes it and makes no NaN of it."""
    header = {name: value for name, value in {**HEADER, **changed}.items() if name not in gone}
    records = list(WHOLE.records)
    for at, (cells, moment) in enumerate(ticks, 3):
        row = {**dict(enumerate(records[at].body[0])), **cells}
        elapsed_s = records[at].elapsed_s if moment is None else moment
        records[at] = records[at]._replace(body=[[row[column] for column in sorted(row)]], elapsed_s=elapsed_s)
    odd = Dive("odd", header, tuple(records))
    if (fault := fault_in(odd)) is not None:
        assert fault.startswith("record ")
        return
    finding = attack.play(Case(CHART, (odd,)))
    assert finding.words
    assert finding.log_likelihood is None or not np.isnan(finding.log_likelihood).any()
