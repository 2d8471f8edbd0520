"""How much area is left to an outsider by what has left of a site so far: the chart match, asked again and again.

Rules: of released records alone; the same records give the same area, and what adds no sounding costs nothing; an area
is that of the chart's cells in the declared area. What can't be worked out is an error, never a large area.
"""

from collections.abc import Callable, Sequence
from dataclasses import fields

import numpy as np

from relay.audit.attacks.attack import Dive
from relay.audit.charts.chart import Chart, Floats, Mask
from relay.audit.declared import declared_cells
from relay.audit.matching.evidence import Soundings
from relay.audit.matching.match import log_likelihood
from relay.audit.matching.posterior import Posterior
from relay.audit.matching.soundings_of import parts_told
from relay.core.area import Area
from relay.core.errors import OperatorError

Matching = Callable[[Chart, Sequence[Soundings], int, Mask], Floats]
THIRD = 3.0  # a tile is about a third of the chart's spacing


def chart_match(chart: Chart, soundings: Sequence[Soundings], turns: int, where: Mask) -> Floats:
    """Return the log likelihood of each cell of `where`, (rows, columns), on one thread: a dive is under way."""
    return log_likelihood(chart, soundings, turns=turns, where=where, threads=1)


class Residual:
    """The area left on one chart, by the dives of one site for one audience."""

    def __init__(
        self, chart: Chart, area: Area | None, level: float, *, turns: int = 72, match: Matching = chart_match
    ) -> None:
        """`level`: the mass of the posterior that is a 95 % region. OperatorError: chart and area lie apart."""
        self._chart, self._level, self._turns, self._match = chart, level, turns, match
        self._prior = chart.candidates if area is None else declared_cells(chart, area) & chart.candidates
        if not self._prior.any():
            raise OperatorError("the charts tell nothing of the declared area: give one that covers it")
        self._known: dict[bytes, float] = {}

    @property
    def most_km2(self) -> float:
        """What is left to somebody who knows the declared area alone, km2."""
        return float(self._chart.cell_km2[self._prior].sum())

    def area_km2(self, dives: Sequence[Dive]) -> float:
        """Return the area of the 95 % region by these dives, km2; OperatorError where the match fails."""
        tile_m = max(1.0, min(self._chart.spacing_m) / THIRD)
        soundings = parts_told(dives, tile_m=tile_m)
        if not soundings:
            return self.most_km2
        key = b"\1".join(map(_key, soundings))
        if key not in self._known:
            self._known[key] = self._worked_out(soundings)
        return self._known[key]

    def _worked_out(self, soundings: Sequence[Soundings]) -> float:
        logs = self._match(self._chart, soundings, self._turns, self._prior)
        try:
            return Posterior.of(self._chart, logs, self._prior).area_km2(self._level)
        except ValueError as error:
            raise OperatorError(f"the chart match says nothing: {error}") from error


def _key(soundings: Soundings) -> bytes:
    values = [getattr(soundings, field.name) for field in fields(soundings)]
    return b"\0".join(value.tobytes() if isinstance(value, np.ndarray) else repr(value).encode() for value in values)
