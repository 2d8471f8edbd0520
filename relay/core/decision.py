"""What the operator decides, as values, and their form in the journal (JSON, one object a row).

Rules: every decision is a journal row before it acts, with who took it; hold, cut, stop and a new zone act at once
because they only remove; leg, note, target, begin, end, programme and the lifting of a zone tell or show something, so
they wait out the embargo like any input. What is said but waits for approval, a target's sighting, a find, what is
expected of a vehicle, who is invited by what name, and who goes without an audit stay on the ship.
"""

import json
from collections.abc import Callable
from dataclasses import MISSING, dataclass, fields
from functools import partial
from typing import Any

from relay.core.area import Zone, ZoneAction
from relay.core.decision_values import (
    centre_fault,
    flag_fault,
    moment_fault,
    name_fault,
    names_fault,
    number_fault,
    one_of,
    row_fault,
    seen_fault,
    sighting_fault,
    since_fault,
    still_fault,
    text_fault,
)
from relay.core.errors import OperatorError
from relay.core.find import FIND_FAULTS, FIND_READ, Find, together_fault, write_find
from relay.core.guest_terms import guest_fault, invited_fault, until_fault
from relay.core.overdue import Expectation
from relay.core.policy import MICROSECONDS, Leg
from relay.core.programme import Programme, next_dive_fault, pinned_fault, schedule_fault
from relay.core.sighting import Sighted, read_sighted, write_sighted
from relay.core.still import Still, read_still, write_still


@dataclass(frozen=True, slots=True, kw_only=True)
class Hold:
    """Stop releasing to an audience (None: to all).

    `since`: by audience, the first tick that had not left when it was taken. The relay writes it: a hold acts before
    it is on the disk, and a journal that is read again lets nothing out that was kept in. `told`: by audience, the
    first record of its programme that had not left, for a step of the countdown is of no tick.
    """

    audience: str | None = None
    since: dict[str, int] | None = None
    told: dict[str, int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Resume:
    """Go on releasing to an audience (None: to all).

    `seen`: the row of the newest hold that whoever takes it has seen (0: none); None: it doesn't say. `outside`: also
    where the release stopped because a vehicle left the declared area, which to resume all doesn't mean by itself.
    """

    audience: str | None = None
    seen: int | None = None
    outside: bool = False

    @property
    def means_outside(self) -> bool:
        """Whether the release that stopped because a vehicle left the declared area goes on, too."""
        return self.outside or self.audience is not None


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
    """An annotation from the desk, for some audiences (empty: all that get annotations), perhaps with a still.

    `wait`: it is told to nobody until somebody approves it.
    """

    text: str
    vehicle: str | None = None
    audiences: tuple[str, ...] = ()
    still: Still | None = None
    wait: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Approve:
    """Tell the say of this journal row, which waits, now."""

    say: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Dismiss:
    """Forget the say of this journal row, which waits: it is never told."""

    say: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """A target, what it was found to be and, for the ship alone, how the vehicle sees it."""

    name: str
    verdict: str
    vehicle: str | None = None
    sighting: Sighted | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HideZone:
    """Hide a zone at once, in everything that hasn't left."""

    name: str
    centre: tuple[float, float]
    radius_m: float
    margin_m: float
    action: ZoneAction

    @property
    def zone(self) -> Zone:
        """The zone."""
        latitude_deg, longitude_deg = self.centre
        return Zone(
            name=self.name,
            latitude_deg=latitude_deg,
            longitude_deg=longitude_deg,
            radius_m=self.radius_m,
            margin_m=self.margin_m,
            action=self.action,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftZone:
    """Show again what a zone of the desk hides, from now on and as late as everything else."""

    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Expect:
    """What was agreed about an autonomous vehicle's dive that begins now, in seconds; see `overdue.Expectation`."""

    vehicle: str
    return_in_s: float
    return_grace_s: float
    report_every_s: float | None = None
    report_grace_s: float = 0.0

    def expectation(self, begun_us: int) -> Expectation:
        """Return it as moments of the embargo clock, begun at one of it."""
        every_s = self.report_every_s
        return Expectation(
            begun_us=begun_us,
            return_us=begun_us + _us(self.return_in_s),
            return_grace_us=_us(self.return_grace_s),
            report_every_us=None if every_s is None else _us(every_s),
            report_grace_us=_us(self.report_grace_s),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Back:
    """A vehicle that was expected is back."""

    vehicle: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Invite:
    """A link to an audience was made for a person; what lets them in is in no journal. `until`: the last day (UTC)."""

    guest: str
    audience: str
    invited: str
    until: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Uninvite:
    """An invitation is taken back."""

    guest: str
    invited: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Unaudited:
    """An audience with a promise goes without a passed audit until the relay ends, on the word of who takes it."""

    audience: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Begin:
    """Begin a dive now."""


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """End the dive now."""


Told = SetLeg | Say | Target | Begin | End | LiftZone | Programme
ActsAtOnce = Hold | Resume | Cut | Early | HideZone
Private = Approve | Dismiss | Expect | Back | Invite | Uninvite | Unaudited | Find
Decision = Told | ActsAtOnce | Private
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
    "approve": Approve,
    "dismiss": Dismiss,
    "zone": HideZone,
    "unzone": LiftZone,
    "expect": Expect,
    "back": Back,
    "invite": Invite,
    "uninvite": Uninvite,
    "unaudited": Unaudited,
    "programme": Programme,
    "find": Find,
}
_WORDS: dict[type[Decision], str] = {kind: word for word, kind in _NAMES.items()}


def write_decision(decision: Decision, who: str) -> bytes:
    """Return a decision as its journal row."""
    values = {field.name: getattr(decision, field.name) for field in fields(decision)}
    if values.get("still") is not None:
        values["still"] = write_still(values["still"])
    if values.get("sighting") is not None:
        values["sighting"] = write_sighted(values["sighting"])
    if isinstance(decision, Find):
        values = write_find(decision)
    return json.dumps({"do": _WORDS[type(decision)], "who": who, **values}, ensure_ascii=False).encode()


def word_for(decision: Decision) -> str:
    """Return the word that says what a decision does."""
    return _WORDS[type(decision)]


def who_took(row: bytes) -> str:
    """Return who took the decision in a journal row."""
    return str(json.loads(row).get("who", ""))


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
    decision = kind(**{name: _read(name, value) for name, value in given.items()})
    if (fault := _together(decision)) is not None:
        raise OperatorError(fault)
    return decision


def _read(name: str, value: Any) -> Any:
    """Return a value that is right as the decision has it."""
    return value if value is None or name not in _READ else _READ[name](value)


def _together(decision: Decision) -> str | None:
    """Return why values that are right by themselves don't go together."""
    if isinstance(decision, Cut) and not 0 <= decision.from_us < decision.to_us:
        return "a cut goes from an earlier moment to a later one"
    if isinstance(decision, Target) and decision.sighting is not None and decision.vehicle is None:
        return "a sighting is some vehicle's: name the vehicle"
    if isinstance(decision, Find):
        return together_fault(decision)
    if isinstance(decision, HideZone) and decision.margin_m < decision.radius_m / 2:
        return (
            f"a margin of {decision.margin_m:g} m about a zone of {decision.radius_m:g} m lets the hole point at its "
            f"centre: make it at least half the radius, {decision.radius_m / 2:g} m"
        )
    return None


def _us(seconds: float) -> int:
    return round(seconds * MICROSECONDS)


_LENGTH = ("m", 1, 100_000)
_LONG_S = 30 * 86_400.0
_FAULTS: dict[str, Callable[[object], str | None]] = {
    "from_us": partial(moment_fault, "from_us"),
    "to_us": partial(moment_fault, "to_us"),
    "upto_us": partial(moment_fault, "upto_us"),
    "since": partial(since_fault, "since says of each audience from which tick of the embargo clock nothing leaves"),
    "told": partial(since_fault, "told says of each audience from which record of its programme nothing leaves"),
    "seen": seen_fault,
    "outside": partial(flag_fault, "outside"),
    "audience": partial(name_fault, "audience"),
    "vehicle": partial(name_fault, "vehicle"),
    "audiences": names_fault,
    "text": text_fault,
    "reason": text_fault,
    "name": text_fault,
    "still": still_fault,
    "wait": partial(flag_fault, "wait"),
    "say": row_fault,
    "sighting": sighting_fault,
    "leg": partial(one_of, Leg, "a leg"),
    "verdict": partial(one_of, VERDICTS, "a verdict"),
    "centre": centre_fault,
    "radius_m": partial(number_fault, "radius_m", *_LENGTH),
    "margin_m": partial(number_fault, "margin_m", *_LENGTH),
    "action": partial(one_of, ZoneAction, "what a zone does"),
    "return_in_s": partial(number_fault, "return_in_s", "s", 1, _LONG_S),
    "return_grace_s": partial(number_fault, "return_grace_s", "s", 0, _LONG_S),
    "report_every_s": partial(number_fault, "report_every_s", "s", 1, _LONG_S),
    "report_grace_s": partial(number_fault, "report_grace_s", "s", 0, _LONG_S),
    "pinned": pinned_fault,
    "schedule": schedule_fault,
    "next_dive_in_s": next_dive_fault,
    "guest": guest_fault,
    "invited": invited_fault,
    "until": until_fault,
    **FIND_FAULTS,
}
_READ: dict[str, Callable[[Any], Any]] = {
    "leg": Leg,
    "audiences": tuple,
    "schedule": tuple,
    "still": read_still,
    "sighting": read_sighted,
    "centre": tuple,
    "action": ZoneAction,
    **FIND_READ,
}
