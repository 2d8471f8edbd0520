"""The programme as its readers see it: read from a released record, for files and pages (R7).

Rules: only what the record says; a reader shows the countdown until the dive it is for has begun.
"""

from dataclasses import dataclass

from relay.core.errors import RecordingError
from relay.core.wire import WireRecord


@dataclass(frozen=True, slots=True)
class ProgrammeTold:
    """A programme that was released.

    `left_s`: about how long until the dive of number `dive`, 0 for "soon", None where nothing is said of it.
    """

    number: int
    pinned: str | None
    schedule: tuple[str, ...]
    left_s: int | None
    dive: int

    def until_next_s(self, newest: int) -> int | None:
        """Return about how long until the next dive, where dive `newest` was the last that began."""
        return None if newest >= self.dive else self.left_s


def programme_told(record: WireRecord) -> ProgrammeTold:
    """Return what a record of a programme says; RecordingError if it says something else."""
    body = record.body
    if not isinstance(body, list) or len(body) < 4 or not isinstance(body[1], list):
        raise RecordingError("not a programme: expected [pinned, schedule, next_dive_in_s, dive]")
    pinned, schedule, left_s, dive = body[:4]
    fits = (
        isinstance(pinned, str | None)
        and all(isinstance(line, str) for line in schedule)
        and isinstance(left_s, int | None)
        and isinstance(dive, int)
    )
    if not fits:
        raise RecordingError("not a programme: a value of it is of another type")
    return ProgrammeTold(record.seq, pinned, tuple(schedule), left_s, dive)
