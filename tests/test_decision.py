"""The operator's decisions as values and as journal rows."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core.decision import (
    VERDICTS,
    Begin,
    Cut,
    Decision,
    Early,
    End,
    Hold,
    Resume,
    Say,
    SetLeg,
    Target,
    read_decision,
    write_decision,
)
from relay.core.errors import OperatorError
from relay.core.policy import Leg

NAMES = st.none() | st.sampled_from(["public", "funders"])
TEXTS = st.text(st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), min_size=1, max_size=80).filter(str.strip)
MOMENTS = st.integers(0, 10**13)
DECISIONS = st.one_of(
    st.builds(Hold, audience=NAMES),
    st.builds(Resume, audience=NAMES),
    st.tuples(MOMENTS, st.integers(1, 10**9)).map(lambda pair: Cut(from_us=pair[0], to_us=pair[0] + pair[1])),
    st.builds(Early, audience=st.just("public"), upto_us=MOMENTS),
    st.builds(SetLeg, vehicle=st.just("Lantern"), leg=st.none() | st.sampled_from(Leg)),
    st.builds(Say, text=TEXTS, vehicle=NAMES, audiences=st.lists(st.just("public"), max_size=2).map(tuple)),
    st.builds(Target, name=TEXTS, verdict=st.sampled_from(VERDICTS), vehicle=NAMES),
    st.builds(Begin),
    st.builds(End),
)


@given(DECISIONS, TEXTS)
def test_decision_comes_back_from_its_journal_row(decision: Decision, who: str) -> None:
    """Every kind with any values survives the row, which also keeps who took it."""
    row = write_decision(decision, who)
    assert read_decision(row) == decision
    assert json.loads(row)["who"] == who


@pytest.mark.parametrize(
    ("message", "why"),
    [
        (b"hold", "a decision is a JSON object"),
        (b"[]", 'what to "do"'),
        (b"{}", 'what to "do"'),
        (b'{"do": "explode"}', "one of hold, resume, cut"),
        (b'{"do": "hold", "until": 3}', '"hold" has no until; it takes audience'),
        (b'{"do": "begin", "audience": "public"}', '"begin" has no audience; it takes nothing'),
        (b'{"do": "cut", "from_us": 5}', "something is missing"),
        (b'{"do": "cut", "from_us": 5, "to_us": 5}', "from an earlier moment to a later one"),
        (b'{"do": "cut", "from_us": -1, "to_us": 5}', "from an earlier moment to a later one"),
        (b'{"do": "leg", "vehicle": "Lantern", "leg": "sideways"}', "'sideways' is not a leg; one of deck"),
        (b'{"do": "say", "text": " "}', "note is empty"),
        (b'{"do": "say", "text": 5}', "is not text"),
        (b'{"do": "say", "text": "a\\nb"}', "control characters"),
        (b'{"do": "target", "name": "one", "verdict": "gold"}', "'gold' is not a verdict; one of unchecked"),
    ],
)
def test_decision_that_makes_no_sense_is_refused_with_the_reason(message: bytes, why: str) -> None:
    """Each malformed message says what is wrong and what would be right."""
    with pytest.raises(OperatorError) as caught:
        read_decision(message)
    assert why in str(caught.value)


def test_cut_of_values_that_are_no_numbers_is_refused() -> None:
    """Text where a moment belongs, or a number where a name does, is the author's fault, not ours."""
    with pytest.raises(OperatorError, match="whole microseconds"):
        read_decision(b'{"do": "cut", "from_us": "now", "to_us": "later"}')
    with pytest.raises(OperatorError, match="audience is a name"):
        read_decision(b'{"do": "hold", "audience": ["public"]}')
