"""Who has fallen silent: vehicles and feeds that were heard during a dive and aren't any more.

Rules: pure; moments are those of receipt on the embargo clock. Silent is whoever wasn't heard for `SILENT_US`, or for
`MISSING` times its own longest gap lately, whichever is longer: what reports each three minutes isn't silent after one.
Whoever was not heard since the dive began isn't missed. An alarm's words stay the same while it lasts.
"""

from collections import deque
from collections.abc import Collection, Hashable, Iterable

SILENT_US = 60_000_000  # common practice, no source
MISSING = 3
GAPS = 5


def is_silence(gap_us: int, before_us: Collection[int]) -> bool:
    """Return whether a time without a report is a silence, after the gaps before it."""
    return gap_us > max(SILENT_US, MISSING * max(before_us, default=0))


class Silence:
    """When each was heard, by whatever names it."""

    def __init__(self) -> None:
        self._heard_us: dict[Hashable, int] = {}
        self._gaps: dict[Hashable, deque[int]] = {}

    def hear(self, who: Hashable, at_us: int) -> None:
        """Note that somebody was heard; the same moment again, or an earlier one, is nothing new."""
        last_us = self._heard_us.get(who)
        if last_us is not None and at_us <= last_us:
            return
        if last_us is not None:
            self._gaps.setdefault(who, deque(maxlen=GAPS)).append(at_us - last_us)
        self._heard_us[who] = at_us

    def is_silent(self, who: Hashable, now_us: int, begun_us: int) -> bool:
        """Return whether somebody who was heard since `begun_us` is silent."""
        last_us = self._heard_us.get(who)
        if last_us is None or last_us < begun_us:
            return False
        return is_silence(now_us - last_us, self._gaps.get(who, ()))


def silence_alarms(vehicles: Iterable[str], feeds: Iterable[str]) -> list[str]:
    """Return the alarms for those that are silent."""
    return [
        *(f"nothing is heard of {name} any more, and the dive goes on" for name in vehicles),
        *(f"the feed {name} is silent, and the dive goes on" for name in feeds),
    ]
