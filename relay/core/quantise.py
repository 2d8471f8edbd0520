"""Coarse values with hysteresis: what hovers at the edge of a step doesn't flutter.

Rules: what is shown is off by up to a half and `SLACK` of a step. Steps make coarse, they hide nothing by themselves:
at the moment of a change the value is known to be just past an edge, and a value that jitters by much of a step is
found by averaging (both measured in tests/test_attacks.py). What hides the place is that the frame is secret.
"""

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
