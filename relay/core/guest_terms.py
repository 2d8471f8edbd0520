"""The terms of an invitation: an id, a name that stays on the ship, and a last day.

Rules: a last day is a day of UTC, never a moment, so that it doesn't tell when the invitation was made, or where clocks
are set to what; what the wall clock says is passed in.
"""

import re
from datetime import UTC, date, datetime, timedelta

from relay.core.errors import InvitationError
from relay.core.ranges import note_fault

NAME_LIMIT = 80
_ID = re.compile(r"[0-9a-f]{8}")
_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", re.ASCII)


def is_id(text: object) -> bool:
    """Whether something is the id of a guest."""
    return isinstance(text, str) and _ID.fullmatch(text) is not None


def guest_fault(value: object) -> str | None:
    """Judge the id of a guest."""
    return None if is_id(value) else "guest is an invitation's id: eight hexadecimal digits, as `offing guests` lists"


def invited_fault(value: object) -> str | None:
    """Judge the name of a guest."""
    fault = note_fault(value) if isinstance(value, str) else "is not text"
    fault = "too long" if fault is None and isinstance(value, str) and len(value) > NAME_LIMIT else fault
    return None if fault is None else f"a guest has a name of at most {NAME_LIMIT} characters: {fault}"


def until_fault(value: object) -> str | None:
    """Judge the last day of an invitation."""
    try:
        day_end_s(str(value))
    except InvitationError as error:
        return str(error)
    return None


def day_end_s(day: str) -> int:
    """Return the first second after a day "2026-12-31" of UTC; InvitationError if it is no day."""
    try:
        if _DAY.fullmatch(day) is None:
            raise ValueError
        after = datetime.combine(date.fromisoformat(day), datetime.min.time(), UTC) + timedelta(days=1)
    except (ValueError, OverflowError) as error:
        raise InvitationError(f"{day!r} is no day: write it as 2026-12-31 (an invitation ends with it, UTC)") from error
    return int(after.timestamp())


def last_day(until_s: int | None) -> str | None:
    """Return the last day (UTC) of an invitation."""
    return None if until_s is None else day_of(until_s - 1)


def day_of(wall_s: float) -> str:
    """Return the day (UTC) of a moment of the wall clock."""
    return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=wall_s)).date().isoformat()
