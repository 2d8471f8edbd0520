"""Who may start: an audience with a promise needs a passed audit, or somebody's word that it goes without one.

Rules (R4): the gate is asked by the relay itself, not by a command, so nothing starts past it. Going without is said at
each start anew, names audience and reason, is journalled with who said it, and stands on the desk until the end. So is
that a promise was taken out of the file: the journal remembers which there ever were, and what it let leave was theirs.
"""

import json
import os
import pwd
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.util import find_spec

from relay.core.decision import Unaudited
from relay.core.errors import OperatorError
from relay.core.ranges import NOTE_LIMIT, note_fault
from relay.shell.plan.expedition import Expedition
from relay.shell.ship.audit_result import say_area, why_not


@dataclass(frozen=True, slots=True)
class Leave:
    """Somebody's word that audiences start without a passed audit: why, by audience, and who says so."""

    reasons: Mapping[str, str]
    who: str


NEEDED = ("numpy", "scipy")
NO_LEAVE = Leave({}, "")
PROMISED = "promises"
GONE = "its promise of {} was taken out of the expedition file"


def without_audit(expedition: Expedition, leave: Leave) -> list[Unaudited]:
    """Return the decisions by which audiences start without a passed audit; OperatorError names those that may not."""
    standing = why_not(expedition)
    for audience, reason in leave.reasons.items():
        _check(audience, reason, standing)
    refused = {name: why for name, why in standing.items() if why is not None and name not in leave.reasons}
    if refused:
        lines = [_refusal(expedition, name, why) for name, why in refused.items()]
        raise OperatorError("\n".join(lines))
    if standing.keys() - leave.reasons.keys():
        _check_installed()
    return [Unaudited(audience=name, reason=reason) for name, reason in leave.reasons.items()]


def promised_ever(marks: Mapping[str, str], promises: Mapping[str, float]) -> dict[str, float]:
    """Return the promises of the file, and before them those that the journal's marks tell of beside them, km2."""
    return {**json.loads(marks.get(PROMISED, "{}")), **promises}


def marks_of(promises: Mapping[str, float]) -> dict[str, str]:
    """Return the mark by which the journal remembers promises."""
    return {PROMISED: json.dumps(dict(promises))} if promises else {}


def taken_away(marks: Mapping[str, str], promises: Mapping[str, float]) -> list[Unaudited]:
    """Return the decisions by which audiences go on without a promise that the journal tells of."""
    ever = promised_ever(marks, promises)
    return [Unaudited(audience=name, reason=GONE.format(say_area(ever[name]))) for name in ever if name not in promises]


def whose_process() -> str:
    """Return the name of the account that this process runs as, whatever its environment says."""
    try:
        return pwd.getpwuid(os.getuid()).pw_name
    except KeyError:
        return f"uid {os.getuid()}"


def _refusal(expedition: Expedition, audience: str, why: str) -> str:
    promise = say_area(expedition.audit.promises[audience])
    return (
        f'{expedition.path}: audience "{audience}": {promise} are promised, and {why}. To start without, on your own '
        f'word, which is journalled: offing ship {expedition.path} --without-audit {audience} "why"'
    )


def _check_installed() -> None:
    """Refuse a start in which nothing could be worked out, so that nothing would ever leave."""
    missing = [name for name in NEEDED if find_spec(name) is None]
    if missing:
        raise OperatorError(
            f"a promise is watched with {', '.join(missing)}, which this machine hasn't: pip install "
            "--require-hashes -r requirements.lock -r requirements-audit.lock"
        )


def _check(audience: str, reason: str, standing: Mapping[str, str | None]) -> None:
    if audience not in standing:
        known = ", ".join(standing) or "none has one"
        raise OperatorError(f'--without-audit: no audience "{audience}" has a promise; those with one: {known}')
    if standing[audience] is None:
        raise OperatorError(f'--without-audit: the audit of "{audience}" has passed: leave the option away')
    if not reason.strip() or len(reason) > NOTE_LIMIT or note_fault(reason) is not None:
        raise OperatorError(f"--without-audit: say why, in a line of at most {NOTE_LIMIT} characters")
