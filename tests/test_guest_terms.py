"""The terms of an invitation: its last day against the standard library's calendar, ids and names at their limits."""

from calendar import timegm

import pytest

from relay.core.errors import InvitationError
from relay.core.guest_terms import (
    NAME_LIMIT,
    day_end_s,
    day_of,
    guest_fault,
    invited_fault,
    is_id,
    last_day,
    until_fault,
)


@pytest.mark.parametrize(("day", "year", "month", "date"), [("2026-12-31", 2027, 1, 1), ("2028-02-28", 2028, 2, 29)])
def test_day_ends_with_utcs(day: str, year: int, month: int, date: int) -> None:
    """The first second of the next day, as the standard library's `timegm` has it; and back again."""
    ends_s = timegm((year, month, date, 0, 0, 0))
    assert day_end_s(day) == ends_s
    assert last_day(ends_s) == day
    assert last_day(None) is None
    assert (day_of(ends_s - 1), day_of(ends_s)) == (day, f"{year}-{month:02d}-{date:02d}")


@pytest.mark.parametrize(
    "day", ["", "2026-02-30", "20261231", "2026-W52-5", "31.12.2026", "2026-12-31T00:00", "9999-12-31"]
)
def test_what_is_no_day_is_refused(day: str) -> None:
    """With how it is written."""
    with pytest.raises(InvitationError, match="write it as 2026-12-31"):
        day_end_s(day)


def test_id_is_eight_hexadecimal_digits() -> None:
    """And nothing else is one."""
    assert is_id("0123abcd")
    assert not any(map(is_id, ("0123ABCD", "0123abcd ", "123abcd", 7, None)))


def test_guest_has_a_name_of_so_many_characters_and_not_one_more() -> None:
    """Text alone, without what would break a line of the journal's reader or of the desk."""
    assert invited_fault("M" * NAME_LIMIT) is None
    assert invited_fault("M" * (NAME_LIMIT + 1)) is not None
    for value in ("", None, 7, "a\nb"):
        assert invited_fault(value) is not None


def test_faults_say_what_would_be_right() -> None:
    """Of an id and of a last day."""
    assert guest_fault("0123abcd") is None
    assert "eight hexadecimal digits" in str(guest_fault("Ada"))
    assert until_fault("2026-12-31") is None
    assert "2026-12-31" in str(until_fault("tomorrow"))
    assert until_fault(20261231) is not None
