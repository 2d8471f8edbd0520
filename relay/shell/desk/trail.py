"""A line of points that stays short enough to be drawn, however long it grows: at most `MOST` points, evenly thinned.

Rules: the first point and the newest are always there; thinning drops every second of the others, so that what is left
is points that came, never something in between.
"""

from collections.abc import Sequence

MOST = 600

Point = tuple[float | None, ...]


class Trail:
    """Points in the order of their first value, which is when they were."""

    def __init__(self, most: int = MOST) -> None:
        self._most = most
        self._kept: list[Point] = []
        self._apart: float = 0
        self._newest: Point | None = None

    def add(self, at: float, *values: float | None) -> None:
        """Take the next point; one that is not later than the last is none."""
        if self._newest is not None and at <= (self._newest[0] or 0):
            return
        self._newest = (at, *values)
        if not self._kept or at - (self._kept[-1][0] or 0) >= self._apart:
            self._kept.append(self._newest)
        if len(self._kept) >= self._most:
            self._apart = max(self._apart * 2, 2 * (at - (self._kept[0][0] or 0)) / self._most)
            self._kept = self._kept[::2]

    def points(self) -> Sequence[Point]:
        """Return what is kept, and the newest."""
        if self._newest is None or self._kept[-1] is self._newest:
            return self._kept
        return [*self._kept, self._newest]
