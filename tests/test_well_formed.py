"""What of a recording can't be read at all, in words; what is merely too much goes to the leak scan."""

from math import inf, nan
from typing import Any

import pytest

from relay.audit.attacks.attack import Case, Dive
from relay.audit.attacks.leak_scan import LeakScan
from relay.audit.attacks.well_formed import fault_in
from test_attack import CHART
from told_dives import course_over, policy_of, told_dive

SOUND = told_dive(policy_of(), course_over(lambda east, north: 120.0, 1, bottom_s=60.0))
HEADERS: dict[str, tuple[Any, ...]] = {
    "expedition": (None, 5, ["a"]), "audience": (None, 5), "vehicles": (None, 5, "Lantern", [5]),
    "fields": (None, "track", [None]), "tick_s": (None, 0, -1, "x", True, nan, inf),
    "cell_m": (-1, "x", nan, inf, 1e300), "depth_step_m": (nan, [50]), "heading_step_deg": (inf, True),
    "swath_m": ("x",), "delay_s": (None, [0], [0, nan], 5),
    "place": ("???", None, [1]), "depth": ("???", {}), "area": (5,),
}  # fmt: skip


def with_header(**changes: Any) -> Dive:
    """Return the sound dive with other things in its header."""
    return Dive(SOUND.name, {**SOUND.header, **changes}, SOUND.records)


def with_cell(value: Any, column: int = 1) -> Dive:
    """Return the sound dive with a value in a column of its second tick."""
    tick = SOUND.records[2]
    row = [*tick.body[0][:column], value, *tick.body[0][column + 1 :]]
    return Dive(SOUND.name, SOUND.header, (*SOUND.records[:2], tick._replace(body=[row]), *SOUND.records[3:]))


def test_what_the_relay_writes_has_no_fault() -> None:
    """A dive through the real disclosure, whatever the policy names."""
    assert fault_in(SOUND) is None
    assert fault_in(told_dive(policy_of(fields=frozenset()), course_over(lambda east, north: 120.0, 1))) is None


@pytest.mark.parametrize("name", HEADERS)
def test_header_with_something_else_in_a_place_is_named(name: str) -> None:
    """The name, what stands there, what is due."""
    for value in HEADERS[name]:
        fault = fault_in(with_header(**{name: value}))
        assert fault is not None and fault.startswith(f"record 0, the header, has for “{name}” "), value


@pytest.mark.parametrize("name", ["expedition", "audience", "vehicles", "fields", "tick_s"])
def test_header_without_what_it_must_say_is_named(name: str) -> None:
    """Nothing can be made of ticks of unknown length, or of nobody."""
    header = {key: value for key, value in SOUND.header.items() if key != name}
    assert f"record 0, the header, has no “{name}”" == fault_in(Dive("odd", header, SOUND.records))


@pytest.mark.parametrize("value", [nan, inf, -inf, 1e300, [[nan]], {"a": [inf]}])
def test_number_that_is_none_is_named_with_its_record(value: Any) -> None:
    """In any column, however deep; and as the moment of a record."""
    for column in range(10):
        fault = fault_in(with_cell(value, column))
        assert fault is not None and fault.startswith("record 2 holds ")
    late = SOUND.records[3]._replace(elapsed_s=value)
    fault = fault_in(Dive("odd", SOUND.header, (*SOUND.records[:3], late)))
    assert fault is not None and fault.startswith("record 3 has for its moment ")


def test_what_is_too_much_is_left_to_the_leak_scan() -> None:
    """A name in the header, a column, a position in a cell: each is no fault, and is found."""
    wide = SOUND.records[2]._replace(body=[[*SOUND.records[2].body[0], -38.9, -21.9]])
    columns = Dive("odd", SOUND.header, (*SOUND.records[:2], wide))
    for dive in (with_header(latitude=-38.9), columns, with_cell(-38.91234, 1), with_cell("-38.9", 2)):
        assert fault_in(dive) is None
        assert LeakScan().play(Case(CHART, (dive,))).leaks


@pytest.mark.parametrize("value", [nan, inf])
def test_leak_scan_itself_answers_what_no_check_stood_before(value: float) -> None:
    """A number that lies on no step is finer than the header says."""
    for column in (1, 2, 4):
        assert any(
            "finer than the header" in leak for leak in LeakScan().play(Case(CHART, (with_cell(value, column),))).leaks
        )
