"""The roots of a journal's minutes at once: those that the log grows row by row, whatever the rows."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core import minute_roots, minute_tree
from relay.core.minute_roots import closed_minutes, root_of
from relay.core.minute_tree import MINUTE_US, SEATS, Evidence
from relay.core.model import Row, RowKind
from relay.core.record_log import Closed, RecordLog

EVIDENCE = Evidence(bytes(range(32)))


def rows_at(moments_us: list[int]) -> list[Row]:
    """Return journal rows with these moments, numbered from 1."""
    return [Row(seq, us, seq / 7, "usbl", RowKind.WHOLE, b"%d" % seq) for seq, us in enumerate(moments_us, 1)]


def grown(evidence: Evidence, rows: list[Row], upto_us: int) -> list[Closed]:
    """Return what the log makes of the same rows, one by one."""
    log = RecordLog(evidence)
    for row in rows:
        log.add(row)
    log.upto(upto_us)
    return log.take_closed()


@given(st.lists(st.integers(0, 5 * MINUTE_US), max_size=40), st.integers(0, 7 * MINUTE_US))
def test_roots_are_those_that_the_log_grows(moments_us: list[int], upto_us: int) -> None:
    """Minutes without a row, many rows in one, an end before or after the last row."""
    rows = rows_at(sorted(moments_us))
    assert list(closed_minutes(EVIDENCE, rows, upto_us)) == grown(EVIDENCE, rows, upto_us)


class Crowded(Evidence):
    """Every row is drawn the last seat of all: each takes the next free one, round the end."""

    def seat(self, seq: int) -> int:
        """Return the last seat."""
        return SEATS - 1


def test_rows_that_were_drawn_the_same_seat_sit_as_in_the_log() -> None:
    """One behind the other, from the last seat on to the first."""
    rows = rows_at([0, 1, 2, 3, MINUTE_US])
    evidence = Crowded(bytes(32))
    assert list(closed_minutes(evidence, rows)) == grown(evidence, rows, 0)


def test_full_minute_goes_over_into_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    """At the bound and one past it, as the log does."""
    for module in (minute_roots, minute_tree):
        monkeypatch.setattr(module, "MOST_ROWS", 3)
    for count in (3, 4, 7):
        rows = rows_at([5] * count + [MINUTE_US + 1])
        assert list(closed_minutes(EVIDENCE, rows, 4 * MINUTE_US)) == grown(EVIDENCE, rows, 4 * MINUTE_US)


def test_minute_without_a_row_has_its_drawn_root() -> None:
    """Nobody can tell it from one with rows."""
    assert root_of(EVIDENCE, 7, {}) == EVIDENCE.empty(7, 20, 0)
