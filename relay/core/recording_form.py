"""Whether what a recording tells is told as a relay tells it: asked before a command works with what others hand on.

Rules: types, lengths and sizes as the page reads them (`web/src/decode.ts`), so that what a command takes opens in a
page as well; a kind that isn't known keeps its place, and further keys and items are left alone, but everything in
them is finite, of known types and nested no deeper than `DEEPEST`. Nothing is mended: the first fault is told, with its
record. Order, footer and signatures are judged elsewhere (`wire`, `verification`).
"""

from collections.abc import Callable, Mapping
from math import isfinite
from typing import Any

from relay.core.errors import OperatorError, RecordingError
from relay.core.policy import Place
from relay.core.release import HEAD_BYTES, Kind
from relay.core.still import jpeg_size
from relay.core.wire import Recording, WireRecord

DEEPEST = 8
MOST_VEHICLES, NAME_LIMIT, TEXT_LIMIT, WORD_LIMIT = 16, 500, 1_000, 100
LONGEST_S = 1e8
MOST_DIVES = 2**53 - 1
Fits = Callable[[Any], bool]


def check_form(recording: Recording) -> None:
    """Return where every record is of a form that a relay writes; RecordingError names the first that isn't."""
    for record in recording.records:
        fault = _fault(record, recording.header)
        if fault is not None:
            raise RecordingError(f"record {record.seq} isn't as a relay writes it: {fault}")


def _fault(record: WireRecord, header: Mapping[str, Any]) -> str | None:
    if not _is_plain(record.body):
        return "it holds something that is no text, number or list, or is nested too deep"
    if not (_whole(record.dive, 1, MOST_DIVES) and _within(record.elapsed_s, 0, LONGEST_S)):
        return "its dive or its moment is none"
    if (record.kind == Kind.DIVE) != (record.seq == 0):
        return "a dive begins with its header, and there alone"
    fits = _BODIES.get(record.kind)
    return None if fits is None else fits(record.body, header)


def _is_plain(body: Any) -> bool:
    """Whether a value is made of what JSON has, and bytes, finite and not too deep; without recursion."""
    left = [(body, 0)]
    while left:
        value, depth = left.pop()
        if isinstance(value, dict):
            if not all(isinstance(name, str) for name in value):
                return False
            value = list(value.values())
        if type(value) is list:
            if depth == DEEPEST:
                return False
            left += [(item, depth + 1) for item in value]
        elif (isinstance(value, float) and not isfinite(value)) or not (
            value is None or isinstance(value, bool | int | float | str | bytes)
        ):
            return False
    return True


def _whole(value: Any, least: int, most: int) -> bool:
    return type(value) is int and least <= value <= most


def _within(value: Any, least: float, most: float) -> bool:
    return type(value) in (int, float) and least <= value <= most


def _text(value: Any, most: int) -> bool:
    return isinstance(value, str) and len(value) <= most


def _measure(least: float, most: float) -> Fits:
    return lambda value: value is None or _within(value, least, most)


def _word(value: Any) -> bool:
    return value is None or _text(value, WORD_LIMIT)


def _words(most: int) -> Fits:
    return lambda value: type(value) is list and len(value) <= most and all(_text(it, WORD_LIMIT) for it in value)


def _delays(value: Any) -> bool:
    if type(value) is not list or len(value) != 2:
        return False
    return all(_within(it, 0, LONGEST_S) for it in value) and bool(value[0] <= value[1])


_HEADER: Mapping[str, Fits] = {
    "expedition": lambda value: _text(value, NAME_LIMIT),
    "audience": lambda value: _text(value, WORD_LIMIT),
    "vehicles": _words(MOST_VEHICLES),
    "tick_s": lambda value: _within(value, 1e-6, 1e6),
    "delay_s": _delays,
    "fields": _words(256),
    "place": lambda value: value in list(Place),
    "cell_m": _measure(1e-3, 1e6),
    "depth_step_m": _measure(1e-3, 1e5),
    "heading_step_deg": _measure(1e-3, 360),
    "depth": lambda value: value in ("relative", "absolute"),
    "area": lambda value: value is None or _text(value, NAME_LIMIT),
    "swath_m": _measure(1e-3, 1e5),
}
_EXACT = slice(10, 12)
_REPORT: tuple[tuple[str, Fits], ...] = (
    ("status", lambda value: _text(value, WORD_LIMIT)),
    ("metres east", _measure(-1e7, 1e7)),
    ("metres north", _measure(-1e7, 1e7)),
    ("depth", _measure(-100, 12_100)),
    ("heading", _measure(0, 360)),
    ("height above the bottom", _word),
    ("mode", _word),
    ("leg", _word),
    ("pitch", _measure(-90, 90)),
    ("roll", _measure(-180, 180)),
)


def _of_dive(body: Any, _header: Mapping[str, Any]) -> str | None:
    return next((f"its {name} is none" for name, fits in _HEADER.items() if not fits(body.get(name))), None)


def _of_tick(body: Any, header: Mapping[str, Any]) -> str | None:
    if type(body) is not list or len(body) != len(header["vehicles"]):
        return "it doesn't tell of each vehicle"
    for row in body:
        if type(row) is not list or len(row) < len(_REPORT):
            return "it tells less of a vehicle than is due"
        for value, (name, fits) in zip(row, _REPORT, strict=False):
            if not fits(value):
                return f"a vehicle's {name} is none"
        if not _is_exact(row[_EXACT]):
            return "a vehicle's exact place is none"
    return None


def _is_exact(told: list[Any]) -> bool:
    """Whether it is latitude and longitude in degrees, both or neither; an older relay writes neither column."""
    nowhere = all(value is None for value in told)
    return nowhere or (len(told) == 2 and _within(told[0], -90, 90) and _within(told[1], -180, 180))


def _said(body: Any, header: Mapping[str, Any], items: int) -> bool:
    """Whether a body is a list of so many items or more, the first a vehicle's number or nothing, the second a text."""
    if type(body) is not list or len(body) < items or not _text(body[1], TEXT_LIMIT):
        return False
    return body[0] is None or _whole(body[0], 0, len(header["vehicles"]) - 1)


def _of_note(body: Any, header: Mapping[str, Any]) -> str | None:
    return None if _said(body, header, 2) else "it is no annotation"


def _of_target(body: Any, header: Mapping[str, Any]) -> str | None:
    return None if _said(body, header, 3) and _text(body[2], WORD_LIMIT) else "it is no target"


def _of_still(body: Any, header: Mapping[str, Any]) -> str | None:
    if not _said(body, header, 5) or not isinstance(body[4], bytes):
        return "it is no still"
    try:
        size = jpeg_size(body[4])
    except OperatorError as error:
        return str(error)
    return None if list(size) == body[2:4] else "its still has another size than it says"


def _of_end(body: Any, _header: Mapping[str, Any]) -> str | None:
    return None if body is None else "a dive's end says nothing"


def _of_head(body: Any, _header: Mapping[str, Any]) -> str | None:
    is_head = type(body) is list and bool(body) and isinstance(body[0], bytes) and len(body[0]) == HEAD_BYTES
    return None if is_head else "it is no tree head"


_BODIES: Mapping[int, Callable[[Any, Mapping[str, Any]], str | None]] = {
    Kind.DIVE: _of_dive,
    Kind.TICK: _of_tick,
    Kind.NOTE: _of_note,
    Kind.TARGET: _of_target,
    Kind.STILL: _of_still,
    Kind.END: _of_end,
    Kind.HEAD: _of_head,
}
