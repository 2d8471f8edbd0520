"""Whether the true places of a dive, from the ship's journal, stand in what was released: the operator's own check.

Rules: exact and private; what is said names the recording and the notation, or quotes a text that was released. Some of
the fixes are enough: a leak tells all of them or none.
"""

from collections.abc import Sequence
from pathlib import Path

from relay.audit.attacks.attack import Dive
from relay.audit.attacks.leak_scan import spelled
from relay.core.policy import Plan
from relay.shell.audit.true_place import exact_fixes

MOST_FIXES = 40


def spelled_in(journal: Path, plan: Plan, dives: Sequence[Dive]) -> tuple[str, ...]:
    """Return in which recordings true places stand, and how they are written; OperatorError for no journal."""
    places = []
    for fixes in exact_fixes(journal, plan).values():
        step = max(1, len(fixes) // MOST_FIXES)
        places += [(latitude_deg, longitude_deg) for _, latitude_deg, longitude_deg in fixes[::step]]
    return spelled(dives, places)
