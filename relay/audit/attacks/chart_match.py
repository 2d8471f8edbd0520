"""The chart match: what recordings tell of the seabed, laid on every cell of the chart at every turn.

Rules: the place that comes out is that of the first sounding; the method is `match`, how far it may be believed
`calibration`.
"""

from relay.audit.attacks.attack import Case, Finding, Progress, quiet
from relay.audit.matching.evidence import Soundings
from relay.audit.matching.match import log_likelihood
from relay.audit.matching.soundings_of import parts_told

TURNS, MOST = 72, 48


def parts_for(case: Case) -> tuple[Soundings, ...]:
    """Return what the case's dives tell of the seabed, in tiles of a third of a chart's cell; none for nothing.

    One part for all depths that count from the surface, and one for each vehicle and dive whose depths are relative.
    """
    return parts_told(case.dives, most=MOST, tile_m=min(case.chart.spacing_m) / 3)


def soundings_for(case: Case) -> Soundings | None:
    """Return the part whose first sounding is the place that is sought; None for nothing."""
    return next(iter(parts_for(case)), None)


class ChartMatch:
    """Depths and heights told of against the charted depths."""

    name = "chart match"

    def __init__(self, turns: int = TURNS) -> None:
        self.turns = turns

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return the likelihood of each cell as the place of the first sounding."""
        parts = parts_for(case)
        if not parts:
            words = "No record bounds the depth of the seabed, so there was nothing to lay on the chart."
            return Finding(self.name, words, worked=False)
        logs = log_likelihood(case.chart, parts, turns=self.turns, where=case.prior, progress=progress)
        count = sum(map(len, parts))
        relative = sum(part.relative for part in parts)
        kind = "from the surface" if relative < len(parts) else "relative to one another"
        also = f", {relative} parts of them relative to one another" if 0 < relative < len(parts) else ""
        many = "1 sounding" if count == 1 else f"{count} soundings"
        words = f"{many} of the seabed, {kind}{also}, laid on {case.chart.name}."
        return Finding(self.name, words, log_likelihood=logs, facts={"soundings": float(count)})
