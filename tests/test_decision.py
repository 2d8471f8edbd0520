"""The operator's decisions as values and as journal rows."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core.area import Zone, ZoneAction
from relay.core.decision import (
    VERDICTS,
    Approve,
    Back,
    Begin,
    Cut,
    Decision,
    Dismiss,
    Early,
    End,
    Expect,
    HideZone,
    Hold,
    LiftZone,
    Resume,
    Say,
    SetLeg,
    Target,
    read_decision,
    who_took,
    word_for,
    write_decision,
)
from relay.core.errors import OperatorError
from relay.core.overdue import Expectation
from relay.core.policy import Leg
from relay.core.sighting import SeenFrom, Sighted
from relay.core.target_position import RangeIs

NAMES = st.none() | st.sampled_from(["public", "funders"])
TEXTS = st.text(st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp")), min_size=1, max_size=80).filter(str.strip)
MOMENTS = st.integers(0, 10**13)
SIGMAS = st.floats(0.0, 90.0)
SEEN = st.builds(SeenFrom, st.floats(-90, 90), st.floats(-180, 180), st.floats(0, 360))
SIGHTED = st.builds(
    Sighted, bearing_deg=st.floats(-180, 360), range_m=st.floats(0.1, 900), range_is=st.just(RangeIs.SLANT),
    bearing_sigma_deg=SIGMAS, range_sigma_m=SIGMAS, heading_sigma_deg=SIGMAS, place_sigma_m=SIGMAS,
    depression_deg=st.floats(-80, 80), depression_sigma_deg=SIGMAS, seen_from=st.none() | SEEN,
)  # fmt: skip
ROWS = st.integers(1, 2**63 - 1)
DURATIONS = st.floats(1, 2_000_000)
DECISIONS = st.one_of(
    st.builds(Hold, audience=NAMES),
    st.builds(Resume, audience=NAMES, seen=st.none() | st.integers(0, 2**63 - 1), outside=st.booleans()),
    st.tuples(MOMENTS, st.integers(1, 10**9)).map(lambda pair: Cut(from_us=pair[0], to_us=pair[0] + pair[1])),
    st.builds(Early, audience=st.just("public"), upto_us=MOMENTS),
    st.builds(SetLeg, vehicle=st.just("Lantern"), leg=st.none() | st.sampled_from(Leg)),
    st.builds(
        Say, text=TEXTS, vehicle=NAMES, audiences=st.lists(st.just("public"), max_size=2).map(tuple), wait=st.booleans()
    ),
    st.builds(Target, name=TEXTS, verdict=st.sampled_from(VERDICTS), vehicle=NAMES),
    st.builds(Target, name=TEXTS, verdict=st.sampled_from(VERDICTS), vehicle=st.just("Lantern"), sighting=SIGHTED),
    st.builds(Approve, say=ROWS),
    st.builds(Dismiss, say=ROWS),
    st.builds(
        HideZone,
        name=TEXTS,
        centre=st.tuples(st.floats(-90, 90), st.floats(-180, 180)),
        radius_m=st.floats(1, 1_000),
        margin_m=st.floats(500, 100_000),
        action=st.sampled_from(ZoneAction),
    ),
    st.builds(LiftZone, name=TEXTS),
    st.builds(
        Expect,
        vehicle=st.just("Moth"),
        return_in_s=DURATIONS,
        return_grace_s=DURATIONS,
        report_every_s=st.none() | DURATIONS,
        report_grace_s=DURATIONS,
    ),
    st.builds(Back, vehicle=st.just("Moth")),
    st.builds(Begin),
    st.builds(End),
)


@given(DECISIONS, TEXTS)
def test_decision_comes_back_from_its_journal_row(decision: Decision, who: str) -> None:
    """Every kind with any values survives the row, which also keeps who took it."""
    row = write_decision(decision, who)
    assert read_decision(row) == decision
    assert (json.loads(row)["who"], json.loads(row)["do"]) == (who, word_for(decision))
    assert who_took(row) == who


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
        (b'{"do": "approve", "say": 0}', "the journal row of what waits"),
        (b'{"do": "zone", "name": "a"}', "something is missing: centre, radius_m, margin_m, action"),
        (b'{"do": "unzone", "name": "a", "centre": [1, 2]}', '"unzone" has no centre; it takes name'),
        (b'{"do": "expect", "vehicle": "Moth", "return_in_s": 5}', "something is missing: return_grace_s"),
        (b'{"do": "target", "name": "one", "verdict": "gold"}', "'gold' is not a verdict; one of unchecked"),
    ],
)
def test_decision_that_makes_no_sense_is_refused_with_the_reason(message: bytes, why: str) -> None:
    """Each malformed message says what is wrong and what would be right."""
    with pytest.raises(OperatorError) as caught:
        read_decision(message)
    assert why in str(caught.value)


SEES: dict[str, object] = {
    "bearing_deg": -12.0, "range_m": 35, "range_is": "horizontal", "bearing_sigma_deg": 2.0, "range_sigma_m": 1.0,
    "heading_sigma_deg": 1.0, "place_sigma_m": 5.0,
}  # fmt: skip
RIGHT: dict[str, dict[str, object]] = {
    "hold": {"audience": "public"},
    "resume": {"audience": "public", "seen": 0, "outside": True},
    "cut": {"from_us": 5, "to_us": 6},
    "early": {"audience": "public", "upto_us": 5},
    "leg": {"vehicle": "Lantern", "leg": "bottom"},
    "say": {"text": "silt", "vehicle": "Lantern", "audiences": ["public"], "wait": True},
    "target": {"name": "No. 4", "verdict": "rock", "vehicle": "Lantern", "sighting": SEES},
    "approve": {"say": 5},
    "dismiss": {"say": 5},
    "zone": {"name": "the hold", "centre": [-30.1, -22.2], "radius_m": 100, "margin_m": 60.0, "action": "freeze"},
    "unzone": {"name": "the hold"},
    "expect": {
        "vehicle": "Moth",
        "return_in_s": 21_600,
        "return_grace_s": 0,
        "report_every_s": 30.5,
        "report_grace_s": 200,
    },
    "back": {"vehicle": "Moth"},
    "begin": {},
    "end": {},
}
MAY_BE_LEFT_OUT = set(
    "hold audience/resume audience/resume seen/resume outside/leg leg/say vehicle/say audiences/say wait/"
    "target vehicle/target sighting/"
    "expect report_every_s/expect report_grace_s".split("/")
)
LEFT_OUT = (None, (), False, 0.0)
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
    "wait": "wait is true or false",
    "say": "the journal row of what waits",
    "seen": "the journal row of the newest hold that was seen, 0 if none was",
    "outside": "outside is true or false",
    "sighting": "sighting is a JSON object|sighting has no|sighting lacks|give a|say slant or horizontal|give both|"
    "needs depression_deg|seen_from lacks",
    "centre": r"centre is \[latitude, longitude\]",
    "radius_m": "radius_m is a number from 1 to 100000 m",
    "margin_m": "margin_m is a number from 1 to 100000 m|at least half the radius, 50 m",
    "action": "is not what a zone does; one of withhold, freeze",
    **{
        name: f"{name} is a number from"
        for name in ("return_in_s", "return_grace_s", "report_every_s", "report_grace_s")
    },
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
    "wait": ["true", 1, 0, None, []],
    "say": ["5", 0, -1, 5.0, True, None, 2**63],
    "seen": ["5", -1, 5.0, True, [], 2**63],
    "outside": ["true", 1, 0, None, []],
    "sighting": ["a", 5, [], {}, {**SEES, "radius": 5}, {**SEES, "range_m": "35"}, {**SEES, "range_m": -1},
                 {**SEES, "range_is": "slant"}, {**SEES, "range_is": None}, {**SEES, "bearing_deg": 361},
                 {**SEES, "range_sigma_m": -1}, {**SEES, "depression_deg": 10}, {**SEES, "seen_from": {}},
                 {**SEES, "seen_from": {"latitude_deg": 91, "longitude_deg": 0, "heading_deg": 0}},
                 {**SEES, "bearing_deg": 1e400}, {**SEES, "bearing_deg": 10**400}, {**SEES, "place_sigma_m": True}],
    "centre": [5, None, [], [1], [91, 0], [0, 181], ["1", "2"], [1, 2, 3], [True, 0], [1e400, 0], [10**400, 0]],
    "radius_m": [0.9, 10**400, 100_001, "100 m", None, True, 1e400],
    "margin_m": [0, 49.9, 100_001, "60 m", None, False],
    "action": ["hide", 5, None, [], "Freeze"],
    "return_in_s": [0, -5, "6 h", None, 2_592_001, True, 1e400],
    "return_grace_s": [-1, "0", None, 2_592_001],
    "report_every_s": [0, "30 s", 2_592_001, True],
    "report_grace_s": [-0.1, "30 s", None, 2_592_001],
}  # fmt: skip


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
    if (word, key) == ("target", "vehicle"):
        del message["sighting"]  # which is some vehicle's
    left_out = json.dumps(message).encode()
    if f"{word} {key}" in MAY_BE_LEFT_OUT:
        assert getattr(read_decision(left_out), key) in LEFT_OUT
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


def test_sighting_names_whose_it_is() -> None:
    """A bearing from a bow is nothing without the vehicle."""
    with pytest.raises(OperatorError, match="a sighting is some vehicle's"):
        read_decision(asked("target", vehicle=None))


def test_zone_and_what_is_expected_are_what_was_asked_for() -> None:
    """Degrees, metres and seconds arrive where they belong, as moments of the embargo clock."""
    zone = read_decision(asked("zone"))
    assert isinstance(zone, HideZone)
    assert zone.zone == Zone(
        name="the hold",
        latitude_deg=-30.1,
        longitude_deg=-22.2,
        radius_m=100.0,
        margin_m=60.0,
        action=ZoneAction.FREEZE,
    )
    expect = read_decision(asked("expect"))
    assert isinstance(expect, Expect)
    assert expect.expectation(7_000_000) == Expectation(
        begun_us=7_000_000, return_us=21_607_000_000, return_grace_us=0, report_every_us=30_500_000,
        report_grace_us=200_000_000,
    )  # fmt: skip


def test_say_of_a_journal_that_knew_no_waiting_is_told_at_once() -> None:
    """A row of before the update means what it meant."""
    row = b'{"do": "say", "who": "Ines", "text": "silt", "vehicle": null, "audiences": [], "still": null}'
    assert read_decision(row) == Say(text="silt", wait=False)
    assert read_decision(
        b'{"do": "target", "who": "Ines", "name": "No. 4", "verdict": "rock", "vehicle": null}'
    ) == Target(name="No. 4", verdict="rock")
