"""What a restart has to know: where in the journal it may begin, and how each audience stood there.

Rules: values alone; exact and private. They hold only for a moment at which no audience had a dive under way.
"""

from dataclasses import dataclass

from relay.core.geodesy import Anchor
from relay.core.hiding import InForce
from relay.core.programme import Programme, Told
from relay.core.record_log import LogStart


@dataclass(frozen=True, slots=True)
class Standing:
    """Where an audience stands between two dives.

    `had_us`: the moment up to which it has had everything (-1: nothing). `anchor`: what its frame is laid about, of
    its own, so that nothing that is decided for another audience can move what this one sees. `instant_us`: the
    moment before which nothing more leaves, as after a resume. `zones`: which of the desk were in force; None:
    whichever the journal tells of. `told`: the programme it was told.
    """

    next_dive: int = 1
    had_us: int = -1
    anchor: Anchor | None = None
    instant_us: int = 0
    zones: InForce | None = None
    told: Told | None = None


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """Where in the journal a restart may begin, and what was known by then.

    Valid only at a moment when no audience had a dive under way: then nothing of what came before matters. A quick
    audience may have had a whole dive of which a slow one has had nothing yet, and must not get it again: so each
    has its own standing, in the order of the plan. `row` is one before which no feed had begun a frame. `desk`: the
    rows of decisions before it that still count, of which the restart is to be told (`Pipeline.remember`).
    `programme`: the last one that was decided, for the operator. `record`: where the log of the exact record goes on,
    at `row` or before it; None: from the first row of the journal on, as where nobody had written one down.
    """

    row: int
    standings: tuple[Standing, ...]
    desk: tuple[int, ...] = ()
    programme: tuple[int, Programme] | None = None
    record: LogStart | None = None
