"""Whether what a recording holds is of the form that a release log writes: for whoever makes something of one.

Rules: what somebody hands on and nobody signed may hold anything in any place; each value that a reader works with is
checked for its type, its bounds and that it is there, and the first one that is wrong is told with its record's number.
What is more than the form has (a name, a column, a kind that isn't known) is left alone, as every reader does.
"""

from collections.abc import Callable, Mapping
from typing import Any

from relay.core.errors import RecordingError
from relay.core.policy import Place
from relay.core.release import HEAD_BYTES, Kind
from relay.core.wire import Recording, WireRecord

MOST = 1e30  # no instrument, clock or count gives as much; squares and products of such stay finite
LONGEST_S = 1e9  # of dive time, and of a tick: thirty years
_NUMBERS, _WORDS = (1, 2, 3, 4, 8, 9), (5, 6, 7)  # the columns of a tick's row, as `release` writes them
_COLUMNS = 10
_EXACT = slice(10, 12)


def check_form(recording: Recording) -> None:
    """Raise RecordingError where a recording holds what no release log writes."""
    for name, fits in _HEADER.items():
        if not fits(recording.header.get(name)):  # one that may be nothing may be missing: older ones have fewer names
            raise RecordingError(f"record 0, which begins the dive, doesn't say its {name} as a recording does")
    vehicles = len(recording.header["vehicles"])
    for record in recording.records:
        if not _is_moment(record.elapsed_s) or not _FORMS.get(record.kind, _anything)(record, vehicles):
            raise RecordingError(f"record {record.seq} isn't of the form that a recording has")


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < MOST


def _is_moment(value: Any) -> bool:
    return _is_number(value) and abs(value) <= LONGEST_S


def _is_text(value: object) -> bool:
    return isinstance(value, str)


def _maybe(fits: Callable[[Any], bool]) -> Callable[[Any], bool]:
    return lambda value: value is None or fits(value)


def _list_of(fits: Callable[[Any], bool]) -> Callable[[Any], bool]:
    return lambda value: isinstance(value, list) and all(map(fits, value))


def _are_delays(value: Any) -> bool:
    return isinstance(value, list) and len(value) == 2 and all(map(_is_moment, value))


_HEADER: Mapping[str, Callable[[Any], bool]] = {
    **dict.fromkeys(("expedition", "audience"), _is_text),
    **dict.fromkeys(("vehicles", "fields"), _list_of(_is_text)),
    **dict.fromkeys(("cell_m", "depth_step_m", "heading_step_deg", "swath_m"), _maybe(_is_number)),
    "tick_s": lambda value: _is_moment(value) and value > 0,
    "delay_s": _are_delays,
    "place": lambda value: value in list(Place),
    "depth": lambda value: value in ("relative", "absolute"),
    "area": _maybe(_is_text),
}


def _anything(record: WireRecord, vehicles: int) -> bool:
    return True


def _tick(record: WireRecord, vehicles: int) -> bool:
    return isinstance(record.body, list) and len(record.body) == vehicles and all(map(_is_row, record.body))


def _is_row(row: Any) -> bool:
    if not isinstance(row, list) or len(row) < _COLUMNS or not _is_text(row[0]):
        return False
    told = [*(row[at] for at in _NUMBERS), *row[_EXACT]]
    words = (row[at] for at in _WORDS)
    paired = len({value is None for value in row[_EXACT]}) < 2
    return paired and all(map(_maybe(_is_number), told)) and all(map(_maybe(_is_text), words))


def _said(*more: Callable[[Any], bool]) -> Callable[[WireRecord, int], bool]:
    """Return what judges a record that begins with whose it is, and then has these values."""

    def judge(record: WireRecord, vehicles: int) -> bool:
        body = record.body
        if not isinstance(body, list) or len(body) <= len(more):
            return False
        whose = body[0]
        known = whose is None or (type(whose) is int and 0 <= whose < vehicles)
        return known and all(fits(value) for fits, value in zip(more, body[1:], strict=False))

    return judge


def _is_size(value: Any) -> bool:
    return type(value) is int and 0 < value < 1 << 16


def _head(record: WireRecord, vehicles: int) -> bool:
    return isinstance(record.body, list) and _is_head(next(iter(record.body), None))


def _is_head(value: object) -> bool:
    return isinstance(value, bytes) and len(value) == HEAD_BYTES


_FORMS: Mapping[int, Callable[[WireRecord, int], bool]] = {
    Kind.TICK: _tick,
    Kind.NOTE: _said(_is_text),
    Kind.STILL: _said(_is_text, _is_size, _is_size, lambda value: isinstance(value, bytes)),
    Kind.TARGET: _said(_is_text, _is_text),
    Kind.HEAD: _head,
}
