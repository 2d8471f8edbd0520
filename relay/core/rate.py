"""How quickly a counter grows: by how much over the last minutes, in bounded memory.

Rules: moments and counts come in and never go backwards; a count that does (a file begun anew) begins the window anew.
"""

from collections import deque

US_PER_S = 1_000_000


class Rate:
    """The growth of one counter over a window, from samples no closer than a sixtieth of it."""

    def __init__(self, window_s: float = 600.0, samples: int = 60) -> None:
        self._window_us = round(window_s * US_PER_S)
        self._apart_us = self._window_us // samples
        self._kept: deque[tuple[int, float]] = deque()
        self._last: tuple[int, float] | None = None

    def take(self, at_us: int, count: float) -> None:
        """Take what the counter shows at a moment."""
        if self._last is not None and (at_us < self._last[0] or count < self._last[1]):
            self._kept.clear()
        self._last = (at_us, count)
        if not self._kept or at_us - self._kept[-1][0] >= self._apart_us:
            self._kept.append(self._last)
        while len(self._kept) > 1 and at_us - self._kept[1][0] >= self._window_us:
            self._kept.popleft()

    def per_s(self) -> float | None:
        """Return the growth per second over the window, None before two moments are known."""
        if self._last is None or not self._kept or self._last[0] <= self._kept[0][0]:
            return None
        since_us, count = self._kept[0]
        return (self._last[1] - count) * US_PER_S / (self._last[0] - since_us)
