"""The programme for followers as the operator decides it: a pinned message, a schedule, how long until the next dive.

Rules: it replaces the one before it, whole. How long until the next dive is told in coarse steps alone, and rounded
before it is counted down: when a step comes then tells nothing that the first one didn't.
"""

from dataclasses import dataclass, replace

from relay.core.policy import MICROSECONDS
from relay.core.ranges import note_fault

MOST_LINES = 12
LINE_LIMIT = 200
MOST_S = 14 * 86_400
# How long is left, seconds, from which on which step is told.
_STEPS = ((2 * 86_400, 86_400), (12 * 3_600, 6 * 3_600), (2 * 3_600, 3_600), (0, 20 * 60))


@dataclass(frozen=True, slots=True, kw_only=True)
class Programme:
    """What followers are told of what is to come; a programme of nothing takes the last one away."""

    pinned: str | None = None
    schedule: tuple[str, ...] = ()
    next_dive_in_s: int | None = None

    @property
    def texts(self) -> tuple[str, ...]:
        """Every text in it."""
        return (self.pinned, *self.schedule) if self.pinned is not None else self.schedule


NO_PROGRAMME = Programme()


@dataclass(frozen=True, slots=True)
class Told:
    """The last record of an audience's programme.

    `leaves_us`: the moment at which the programme left, or would have but for a hold; `about_s`: how long until the
    dive it was then, in steps (None: none was told, or that dive began); `left_s`: what the record says; `dive`: the
    number of that dive.
    """

    number: int
    leaves_us: int
    pinned: str | None
    schedule: tuple[str, ...]
    about_s: int | None
    left_s: int | None
    dive: int

    @property
    def is_empty(self) -> bool:
        """Whether it tells of nothing."""
        return self.pinned is None and not self.schedule and self.left_s is None

    def stepped(self, left_s: int) -> "Told":
        """Return the next record: less is left."""
        return replace(self, number=self.number + 1, left_s=left_s)

    def begun(self) -> "Told":
        """Return the same record, whose countdown is over."""
        return replace(self, about_s=None)


def coarse_s(left_s: float, extra_us: int) -> int:
    """Return how long is left in the steps in which it is told, seconds; 0 is "soon".

    20 minutes, an hour from two on, six from twelve on, a day from two on; never finer than twice the secret addition
    to the delay (`extra_us`), which hides when a dive began: what is told before must not tell it better.
    """
    step_s = _step_s(left_s, extra_us)
    return int((max(0.0, left_s) + step_s / 2) // step_s) * step_s


def next_step_s(left_s: int, extra_us: int) -> float | None:
    """Return below how long left less than `left_s` is told, seconds; None where "soon" stays."""
    return left_s - _step_s(left_s - 1, extra_us) / 2 if left_s > 0 else None


def _step_s(left_s: float, extra_us: int) -> int:
    step_s = next(step_s for from_s, step_s in _STEPS if left_s >= from_s or from_s == 0)
    wide = [step for _, step in reversed(_STEPS) if step * MICROSECONDS >= 2 * extra_us]
    return max(step_s, wide[0] if wide else _STEPS[0][1])


def pinned_fault(value: object) -> str | None:
    """Return what is wrong with a pinned message."""
    fault = note_fault(value) if isinstance(value, str) else "is not text"
    return None if fault is None else f"the pinned message won't do: {fault}"


def schedule_fault(value: object) -> str | None:
    """Return what is wrong with a schedule."""
    if not isinstance(value, list | tuple) or len(value) > MOST_LINES:
        return f"a schedule is a list of at most {MOST_LINES} texts"
    for line in value:
        fault = note_fault(line) if isinstance(line, str) else "is not text"
        if fault is None and len(line) > LINE_LIMIT:
            fault = f"is longer than {LINE_LIMIT} characters"
        if fault is not None:
            return f"a line of the schedule won't do: {fault}"
    return None


def next_dive_fault(value: object) -> str | None:
    """Return what is wrong with how long it is until the next dive."""
    if type(value) is int and 0 <= value <= MOST_S:
        return None
    return f"next_dive_in_s is how long until the next dive: whole seconds, up to {MOST_S // 86_400} days"
