"""What the operator decides, as values, and their form in the journal (JSON, one object a row).

Rules: every decision is a journal row before it acts, with who took it; hold, cut and stop act at once because they
only remove; leg, note, target, begin, end and programme tell something, so they wait out the embargo like any input.
"""

import json
from collections.abc import Callable, Iterable
from dataclasses import MISSING, dataclass, fields
from functools import partial
from typing import Any

from relay.core.errors import OperatorError
from relay.core.policy import Leg
from relay.core.programme import Programme, next_dive_fault, pinned_fault, schedule_fault
from relay.core.ranges import note_fault
from relay.core.still import Still, read_still, write_still


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """Stop releasing to an audience (None: to all)."""

    audience: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Resume:
    """Go on releasing to an audience (None: to all)."""

    audience: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """Remove what was received from `from_us` up to but not including `to_us` (embargo clock), for every audience."""

    from_us: int
    to_us: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Early:
    """Release to an audience what was received up to `upto_us` without waiting for its delay."""

    audience: str
    upto_us: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SetLeg:
    """Set the leg of a vehicle by hand; None: judge it automatically again."""

    vehicle: str
    leg: Leg | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Say:
    """An annotation from the desk, for some audiences (empty: all that get annotations), perhaps with a still."""

    text: str
    vehicle: str | None = None
    audiences: tuple[str, ...] = ()
    still: Still | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """A target and what it was found to be."""

    name: str
    verdict: str
    vehicle: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Begin:
    """Begin a dive now."""


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """End the dive now."""


Decision = Hold | Resume | Cut | Early | SetLeg | Say | Target | Begin | End | Programme
Told = SetLeg | Say | Target | Begin | End | Programme
VERDICTS = ("unchecked", "rock", "modern debris", "of interest", "withheld")
_NAMES: dict[str, type[Decision]] = {
    "hold": Hold,
    "resume": Resume,
    "cut": Cut,
    "early": Early,
    "leg": SetLeg,
    "say": Say,
    "target": Target,
    "begin": Begin,
    "end": End,
    "programme": Programme,
}
_WORDS: dict[type[Decision], str] = {kind: word for word, kind in _NAMES.items()}


def write_decision(decision: Decision, who: str) -> bytes:
    """Return a decision as its journal row."""
    values = {field.name: getattr(decision, field.name) for field in fields(decision)}
    if values.get("still") is not None:
        values["still"] = write_still(values["still"])
    return json.dumps({"do": _WORDS[type(decision)], "who": who, **values}, ensure_ascii=False).encode()


def read_decision(data: bytes) -> Decision:
    """Return the decision in a journal row or a message; OperatorError says what is wrong with it."""
    try:
        value = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise OperatorError(f"a decision is a JSON object: {error}") from error
    word = value.get("do") if isinstance(value, dict) else None
    if not isinstance(word, str) or word not in _NAMES:
        raise OperatorError(f'a decision says what to "do": one of {", ".join(_NAMES)}')
    kind = _NAMES[word]
    known = {field.name for field in fields(kind)}
    given = {name: item for name, item in value.items() if name not in ("do", "who")}
    if unknown := set(given) - known:
        raise OperatorError(
            f'"{word}" has no {", ".join(sorted(unknown))}; it takes {", ".join(sorted(known)) or "nothing"}'
        )
    return _checked(kind, given)


def _checked(kind: type[Decision], given: dict[str, Any]) -> Decision:
    if missing := [field.name for field in fields(kind) if field.default is MISSING and field.name not in given]:
        raise OperatorError(f"something is missing: {', '.join(missing)}")
    for field in fields(kind):
        value = given.get(field.name, field.default)
        if value is None and field.default is None:
            continue
        if (fault := _FAULTS[field.name](value)) is not None:
            raise OperatorError(fault)
    if given.get("leg") is not None:
        given["leg"] = Leg(given["leg"])
    for name in ("audiences", "schedule"):
        if name in given:
            given[name] = tuple(given[name])
    if given.get("still") is not None:
        given["still"] = read_still(given["still"])
    decision = kind(**given)
    if isinstance(decision, Cut) and not 0 <= decision.from_us < decision.to_us:
        raise OperatorError("a cut goes from an earlier moment to a later one")
    return decision


def _moment_fault(name: str, value: object) -> str | None:
    return None if type(value) is int else f"{name} is a moment of the embargo clock: whole microseconds"


def _name_fault(name: str, value: object) -> str | None:
    return None if isinstance(value, str) else f"{name} is a name"


def _names_fault(value: object) -> str | None:
    if isinstance(value, list | tuple) and all(isinstance(item, str) for item in value):
        return None
    return "audiences is a list of names"


def _text_fault(value: object) -> str | None:
    fault = note_fault(value) if isinstance(value, str) else "is not text"
    return None if fault is None else f"the text won't do: {fault}"


def _still_fault(value: object) -> str | None:
    try:
        read_still(value)
    except OperatorError as error:
        return str(error)
    return None


def _one_of(words: Iterable[str], what: str, value: object) -> str | None:
    choices = list(words)
    return None if value in choices else f"{value!r} is not {what}; one of {', '.join(choices)}"


_FAULTS: dict[str, Callable[[object], str | None]] = {
    "from_us": partial(_moment_fault, "from_us"),
    "to_us": partial(_moment_fault, "to_us"),
    "upto_us": partial(_moment_fault, "upto_us"),
    "audience": partial(_name_fault, "audience"),
    "vehicle": partial(_name_fault, "vehicle"),
    "audiences": _names_fault,
    "text": _text_fault,
    "name": _text_fault,
    "still": _still_fault,
    "leg": partial(_one_of, Leg, "a leg"),
    "verdict": partial(_one_of, VERDICTS, "a verdict"),
    "pinned": pinned_fault,
    "schedule": schedule_fault,
    "next_dive_in_s": next_dive_fault,
}
