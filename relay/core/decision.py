"""What the operator decides, as values, and their form in the journal (JSON, one object a row).

Rules: every decision is a journal row before it acts, with who took it; hold, cut and stop act at once because they
only remove; leg, note, target, begin and end tell something, so they wait out the embargo like any input.
"""

import json
from dataclasses import asdict, dataclass, fields
from typing import Any

from relay.core.errors import OperatorError
from relay.core.policy import Leg
from relay.core.ranges import note_fault


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
    """An annotation from the desk, for some audiences (empty: all that get annotations)."""

    text: str
    vehicle: str | None = None
    audiences: tuple[str, ...] = ()


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


Decision = Hold | Resume | Cut | Early | SetLeg | Say | Target | Begin | End
Told = SetLeg | Say | Target | Begin | End
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
}
_WORDS: dict[type[Decision], str] = {kind: word for word, kind in _NAMES.items()}


def write_decision(decision: Decision, who: str) -> bytes:
    """Return a decision as its journal row."""
    value = {"do": _WORDS[type(decision)], "who": who, **asdict(decision)}
    return json.dumps(value, ensure_ascii=False).encode()


def read_decision(data: bytes) -> Decision:
    """Return the decision in a journal row or a message; OperatorError says what is wrong with it."""
    try:
        value = json.loads(data)
    except ValueError as error:
        raise OperatorError(f"a decision is a JSON object: {error}") from error
    if not isinstance(value, dict) or value.get("do") not in _NAMES:
        raise OperatorError(f'a decision says what to "do": one of {", ".join(_NAMES)}')
    kind = _NAMES[value["do"]]
    known = {field.name for field in fields(kind)}
    given = {name: item for name, item in value.items() if name not in ("do", "who")}
    if unknown := set(given) - known:
        raise OperatorError(
            f'"{value["do"]}" has no {", ".join(sorted(unknown))}; it takes {", ".join(sorted(known)) or "nothing"}'
        )
    return _checked(kind, given)


def _checked(kind: type[Decision], given: dict[str, Any]) -> Decision:
    if "leg" in given and given["leg"] is not None:
        if given["leg"] not in list(Leg):
            raise OperatorError(f"{given['leg']!r} is not a leg; one of {', '.join(Leg)}")
        given["leg"] = Leg(given["leg"])
    if "audiences" in given:
        given["audiences"] = tuple(given["audiences"])
    try:
        decision = kind(**given)
    except TypeError as error:
        raise OperatorError(f"something is missing: {str(error).removeprefix(kind.__name__)}") from error
    _check_values(decision)
    return decision


def _check_values(decision: Decision) -> None:
    for name in ("from_us", "to_us", "upto_us"):
        if type(getattr(decision, name, 0)) is not int:
            raise OperatorError(f"{name} is a moment of the embargo clock: whole microseconds")
    for name in ("audience", "vehicle"):
        if not isinstance(getattr(decision, name, None), str | None):
            raise OperatorError(f"{name} is a name")
    if isinstance(decision, Cut) and not 0 <= decision.from_us < decision.to_us:
        raise OperatorError("a cut goes from an earlier moment to a later one")
    texts = [getattr(decision, name) for name in ("text", "name") if hasattr(decision, name)]
    for text in texts:
        fault = note_fault(text) if isinstance(text, str) else "is not text"
        if fault is not None:
            raise OperatorError(f"the text won't do: {fault}")
    if isinstance(decision, Target) and decision.verdict not in VERDICTS:
        raise OperatorError(f"{decision.verdict!r} is not a verdict; one of {', '.join(VERDICTS)}")
