"""Coarse values with hysteresis: the moment of a change tells a value no better than the step."""

SLACK = 0.25


class Step:
    """Rounds to multiples of `size`, holding the last multiple until the value is `SLACK` past its edge.

    With `period` the value is circular. `quantise` returns a multiple of `size` in the unit of `size`.
    """

    def __init__(self, size: float, period: float | None = None) -> None:
        if size <= 0:
            raise ValueError("a step is greater than zero")
        self._size = size
        self._period = period
        self._held: float | None = None

    def quantise(self, value: float) -> float:
        """Return the step that `value` is in."""
        if self._held is None or abs(self._from_held(value, self._held)) > (0.5 + SLACK) * self._size:
            self._held = round(value / self._size) * self._size
            if self._period is not None:
                self._held %= self._period
        return plain(self._held)

    def _from_held(self, value: float, held: float) -> float:
        off = value - held
        if self._period is None:
            return off
        return (off + self._period / 2) % self._period - self._period / 2


def plain(value: float) -> float:
    """Return an int where the value is whole: shorter on the wire, and no 0.30000000000000004."""
    value = round(value, 6)
    return int(value) if value == int(value) else value
