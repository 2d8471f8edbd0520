"""The programme as its readers see it: what a record says, and nothing that isn't one."""

import pytest

from relay.core.errors import RecordingError
from relay.core.programme_told import programme_told
from relay.core.release import ProgrammeLog
from relay.core.wire import WireRecord, decode, encode


def record(body: object) -> WireRecord:
    """Return a record as a reader might be given it."""
    return WireRecord(0, 3, 6, 0, body, b"")


def test_programme_is_read_as_it_was_released() -> None:
    """Through the wire: words, countdown and the dive it is for."""
    told = programme_told(decode(encode(ProgrammeLog("public").programme(3, "The boiler.", ["bow"], 7_200, 2))))
    assert (told.number, told.pinned, told.schedule, told.left_s, told.dive) == (3, "The boiler.", ("bow",), 7_200, 2)


@pytest.mark.parametrize(("newest", "left_s"), [(0, 7_200), (1, 7_200), (2, None), (3, None)])
def test_countdown_is_told_until_its_dive_has_begun(newest: int, left_s: int | None) -> None:
    """The dive that it is for, and any later one, ends it."""
    assert programme_told(record([None, [], 7_200, 2])).until_next_s(newest) == left_s


@pytest.mark.parametrize("body", [None, [], [None, [], 1], [3, [], 1, 1], [None, [3], 1, 1], [None, [], "1", 1],
                                  [None, [], 1, None], [None, "bow", 1, 1]])  # fmt: skip
def test_anything_else_is_no_programme(body: object) -> None:
    """A reader is given no value of another type."""
    with pytest.raises(RecordingError):
        programme_told(record(body))


def test_reader_that_knows_less_reads_a_longer_body() -> None:
    """What a later Offing puts behind is ignored (the version rule)."""
    assert programme_told(record(["x", [], None, 1, "later"])).pinned == "x"
