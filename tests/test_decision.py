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


RIGHT: dict[str, dict[str, object]] = {
    "hold": {"audience": "public"},
    "resume": {"audience": "public"},
    "cut": {"from_us": 5, "to_us": 6},
    "early": {"audience": "public", "upto_us": 5},
    "leg": {"vehicle": "Lantern", "leg": "bottom"},
    "say": {"text": "silt", "vehicle": "Lantern", "audiences": ["public"]},
    "target": {"name": "No. 4", "verdict": "rock", "vehicle": "Lantern"},
    "begin": {},
    "end": {},
}
MAY_BE_LEFT_OUT = set("hold audience/resume audience/leg leg/say vehicle/say audiences/target vehicle".split("/"))
MOMENT = "whole microseconds|from an earlier moment to a later one"
WHY = {
    "audience": "audience is a name",
    "vehicle": "vehicle is a name",
    "audiences": "audiences is a list of names",
    "from_us": MOMENT,
    "to_us": MOMENT,
    "upto_us": MOMENT,
    "leg": "is not a leg; one of deck, descent",
    "text": "the text won't do: ",
    "name": "the text won't do: ",
    "verdict": "is not a verdict; one of unchecked, rock",
}
WRONG: dict[str, list[object]] = {
    "audience": [5, ["public"], {}, True],
    "vehicle": [5, ["Lantern"], {}, False],
    "audiences": ["public", 5, None, {}, ["public", 5], [["public"]]],
    "from_us": ["5", 5.0, None, True, -1],
    "to_us": ["6", 6.5, None, [6], 5, 1e400],
    "upto_us": ["5", 5.0, None, True],
    "leg": ["sideways", 5, [], "BOTTOM"],
    "text": ["", " ", 5, None, "a\x00b", "a\x9fb", "x" * 501, "\ud800", ["a"]],
    "name": ["", 5, None, "a\tb"],
    "verdict": ["gold", 5, None, ["rock"], "Rock"],
}


def asked(word: str, **changes: object) -> bytes:
    """Return a right message with some of its values changed."""
    return json.dumps({"do": word, "who": "Ines", **RIGHT[word], **changes}).encode()


@pytest.mark.parametrize(
    ("word", "key", "value"),
    [(word, key, value) for word, right in RIGHT.items() for key in right for value in WRONG[key]],
)
def test_decision_with_a_value_of_the_wrong_kind_is_refused(word: str, key: str, value: object) -> None:
    """Each key of each decision in turn, all else being right: the author is told, and nothing of ours breaks."""
    assert read_decision(asked(word))
    with pytest.raises(OperatorError, match=WHY[key]):
        read_decision(asked(word, **{key: value}))


@pytest.mark.parametrize(("word", "key"), [(word, key) for word, right in RIGHT.items() for key in right])
def test_decision_without_what_it_needs_is_refused(word: str, key: str) -> None:
    """What may be left out means "all" or "none in particular"; nobody is meant by leaving out whom it is for."""
    message = json.loads(asked(word))
    del message[key]
    left_out = json.dumps(message).encode()
    if f"{word} {key}" in MAY_BE_LEFT_OUT:
        assert getattr(read_decision(left_out), key) in (None, ())
        return
    with pytest.raises(OperatorError, match=f"something is missing: {key}"):
        read_decision(left_out)
    with pytest.raises(OperatorError, match=WHY[key]):
        read_decision(asked(word, **{key: None}))


def test_early_release_is_never_for_everybody() -> None:
    """No audience named is no early release: it would be one to all."""
    for message in (asked("early", audience=None), b'{"do": "early", "upto_us": 5}'):
        with pytest.raises(OperatorError, match="audience"):
            read_decision(message)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda part: st.lists(part, max_size=3) | st.dictionaries(st.text(max_size=3), part, max_size=3),
    max_leaves=5,
)


@given(st.dictionaries(st.sampled_from(["do", *WRONG]), JSON, max_size=4), st.sampled_from([*RIGHT, None]))
def test_decision_of_any_values_is_read_or_refused(values: dict[str, object], word: str | None) -> None:
    """Whatever JSON comes, in a message or a row: a decision that can be written again, or a refusal in words."""
    message = json.dumps(values if word is None else {**values, "do": word}).encode()
    try:
        decision = read_decision(message)
    except OperatorError:
        return
    assert read_decision(write_decision(decision, "Ines")) == decision


HOSTILE = [b"[" * 100_000, b'{"do": ' * 50_000, b"\xff\xfe", b"", b"9" * 10_000, b'{"do": ["hold"]}']


@pytest.mark.parametrize("message", HOSTILE, ids=range(len(HOSTILE)))
def test_decision_from_hostile_bytes_is_refused(message: bytes) -> None:
    """Depth, length and bytes that are no text are the sender's fault."""
    with pytest.raises(OperatorError):
        read_decision(message)
