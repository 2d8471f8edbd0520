"""Whether a recording that somebody hands on can be read as one at all, before an attack meets it.

Rules: only what no release writes and no attack can work with is a fault: a header without what it must say or with
something else in its place, a number that isn't finite. What is merely more than the policy allows (a name, a column, a
kind of record) is none: the leak scan must see it. Header and records as `core.release` and `core.wire` write them.
"""

from collections.abc import Callable, Mapping
from itertools import chain
from math import isfinite
from typing import Any

from relay.audit.attacks.attack import Dive
from relay.core.policy import Place

MOST = 1e30  # no instrument, clock or count gives as much; squares and products of such stay finite
LONGEST_S = 1e9  # of dive time, and of a tick: thirty years


def _text(value: object) -> bool:
    return isinstance(value, str)


def _texts(value: object) -> bool:
    return isinstance(value, list) and all(map(_text, value))


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and _finite(value)


def _positive(value: object) -> bool:
    return isinstance(value, int | float) and _number(value) and 0 < value <= LONGEST_S


def _step(value: object) -> bool:
    return value is None or (isinstance(value, int | float) and _number(value) and 0 <= value <= LONGEST_S)


def _delays(value: object) -> bool:
    return isinstance(value, list) and len(value) == 2 and all(_step(one) and one is not None for one in value)


_MUST: Mapping[str, tuple[str, Callable[[object], bool]]] = {
    "expedition": ("a name", _text),
    "audience": ("a name", _text),
    "vehicles": ("a list of names", _texts),
    "fields": ("a list of names", _texts),
    "tick_s": ("seconds, more than none", _positive),
}
_MAY: Mapping[str, tuple[str, Callable[[object], bool]]] = {
    "cell_m": ("metres, or nothing", _step),
    "depth_step_m": ("metres, or nothing", _step),
    "heading_step_deg": ("degrees, or nothing", _step),
    "swath_m": ("metres, or nothing", _step),
    "delay_s": ("the least and the most delay in seconds", _delays),
    "place": (" or ".join(Place), lambda value: value in list(Place)),
    "depth": ("absolute or relative", lambda value: value in ("absolute", "relative")),
    "area": ("a name, or nothing", lambda value: value is None or _text(value)),
}


def fault_in(dive: Dive) -> str | None:
    """Return in words what makes a recording unreadable, with the record's number; None where nothing does."""
    return next(chain(_in_header(dive.header), _in_records(dive)), None)


def _in_header(header: Mapping[str, Any]) -> "chain[str]":
    missing = (f"record 0, the header, has no “{name}”" for name in _MUST if name not in header)
    wrong = (
        f"record 0, the header, has for “{name}” {_shown(header[name])}, where {due} is due"
        for name, (due, fits) in {**_MUST, **_MAY}.items()
        if name in header and not fits(header[name])
    )
    return chain(missing, wrong)


def _in_records(dive: Dive) -> "chain[str]":
    def of(number: int, elapsed_s: object, body: object) -> list[str]:
        if not (isinstance(elapsed_s, int | float) and _number(elapsed_s) and abs(elapsed_s) <= LONGEST_S):
            return [f"record {number} has for its moment {_shown(elapsed_s)}, where seconds of the dive are due"]
        odd = _odd_number(body)
        return [] if odd is None else [f"record {number} holds {_shown(odd)}, which is no number that can be told"]

    return chain.from_iterable(of(record.seq, record.elapsed_s, record.body) for record in dive.records)


def _odd_number(body: object) -> object:
    """Return a number in a body, however deep, that isn't finite; None where all are."""
    left = [body]
    while left:
        value = left.pop()
        if isinstance(value, list | tuple):
            left += value
        elif isinstance(value, dict):
            left += value.values()
        elif isinstance(value, float) and not _finite(value):
            return value
    return None


def _finite(value: float) -> bool:
    return isfinite(value) and abs(value) < MOST


def _shown(value: object) -> str:
    return ascii(value)[:40]
