"""How much may go on the link, and how much has gone: a token bucket, and a count of the last minute.

Rules: the limit is over everything that the link carries, in both directions, with every header; what is only counted
afterwards (headers, what was sent again, what came back) is owed, and nothing goes until it is paid; no more than
a minute of the limit is ever owed, so that whoever floods the link can't silence it for hours. Times are seconds
of a clock that only grows, passed in.
"""

from collections import deque
from math import inf

LATELY_S = 60.0
OWED_S, OWED_OCTETS = 60.0, 16_384


class Allowance:
    """A token bucket: `bits_per_s` on average, `burst` octets at once. None for no limit."""

    def __init__(self, bits_per_s: float | None, burst: float, now_s: float) -> None:
        self.bits_per_s = bits_per_s
        self._burst, self._left, self._at_s = burst, burst, now_s
        self._most_owed = inf if bits_per_s is None else max(OWED_S * bits_per_s / 8, OWED_OCTETS)

    def spend(self, octets: float, now_s: float) -> None:
        """Take octets off, be it below zero."""
        self._fill(now_s)
        self._left = max(self._left - octets, -self._most_owed)

    def wait_s(self, now_s: float) -> float:
        """Return for how long nothing may go; 0 when something may."""
        if self.bits_per_s is None:
            return 0.0
        self._fill(now_s)
        return max(0.0, -self._left * 8 / self.bits_per_s)

    def _fill(self, now_s: float) -> None:
        if self.bits_per_s is not None:
            self._left = min(self._burst, self._left + (now_s - self._at_s) * self.bits_per_s / 8)
        self._at_s = now_s


class Lately:
    """What has gone within the last minute, noted now and then; bounded by `most` notes."""

    def __init__(self, most: int = 128) -> None:
        self.total = 0
        self._notes: deque[tuple[float, int]] = deque(maxlen=most)

    def note(self, octets: int, now_s: float) -> None:
        """Count octets that have gone since the last note."""
        self.total += octets
        self._notes.append((now_s, self.total))
        while len(self._notes) > 2 and self._notes[1][0] <= now_s - LATELY_S:
            self._notes.popleft()

    def bits_per_s(self, now_s: float) -> float:
        """Return the rate over the last minute, or over the time there was."""
        if not self._notes:
            return 0.0
        since_s, before = self._notes[0]
        return (self.total - before) * 8 / max(1.0, now_s - since_s)
