"""What is wrong with a value in a decision: at each limit and past it, and never an exception."""

from collections.abc import Callable
from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core import decision_values as values
from test_decision import JSON

ALL: dict[str, Callable[[object], str | None]] = {
    "moment": partial(values.moment_fault, "upto_us"),
    "name": partial(values.name_fault, "audience"),
    "names": values.names_fault,
    "text": values.text_fault,
    "still": values.still_fault,
    "row": values.row_fault,
    "flag": partial(values.flag_fault, "wait"),
    "sighting": values.sighting_fault,
    "number": partial(values.number_fault, "radius_m", "m", 1, 100),
    "centre": values.centre_fault,
    "word": partial(values.one_of, ("withhold", "freeze"), "what a zone does"),
}


@pytest.mark.parametrize(
    ("kind", "value", "is_right"),
    [
        ("number", 1, True), ("number", 100.0, True), ("number", 0.999, False), ("number", 100.001, False),
        ("number", float("nan"), False), ("number", 10**400, False), ("number", True, False), ("number", "5", False),
        ("centre", [90, -180], True), ("centre", (-90.0, 180.0), True), ("centre", [90.001, 0], False),
        ("centre", [0, 180.001], False), ("centre", [0, 0, 0], False), ("centre", {"0": 1, "1": 2}, False),
        ("row", 1, True), ("row", 2**63 - 1, True), ("row", 0, False), ("row", 2**63, False), ("row", True, False),
        ("flag", True, True), ("flag", 1, False), ("word", "freeze", True), ("word", "", False), ("word", [], False),
        ("moment", -5, True), ("moment", True, False), ("names", [], True), ("names", "ab", False),
    ],
)  # fmt: skip
def test_value_at_its_limit_and_past_it(kind: str, value: object, is_right: bool) -> None:
    """What is right has no reason, what isn't has one that says more than no."""
    fault = ALL[kind](value)
    assert (fault is None) is is_right
    assert fault is None or len(fault) > 10


@given(st.sampled_from(sorted(ALL)), JSON | st.integers() | st.binary(max_size=3))
def test_any_value_is_judged(kind: str, value: object) -> None:
    """Whatever comes, the answer is a reason or none."""
    assert ALL[kind](value) is None or isinstance(ALL[kind](value), str)
