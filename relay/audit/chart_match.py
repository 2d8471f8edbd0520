"""The chart match: what recordings tell of the seabed, laid on every cell of the chart at every turn.

Rules: the place that comes out is that of the first sounding; the method is `match`, how far it may be believed
`calibration`.
"""

from relay.audit.attack import Case, Finding, Progress, quiet
from relay.audit.evidence import Soundings
from relay.audit.match import log_likelihood
from relay.audit.soundings_of import soundings_of

TURNS, MOST = 72, 24


def soundings_for(case: Case) -> Soundings | None:
    """Return what the case's dives tell of the seabed, in tiles of a third of a chart's cell; None for nothing."""
    return soundings_of(case.dives, most=MOST, tile_m=min(case.chart.spacing_m) / 3)


class ChartMatch:
    """Depths and heights told of against the charted depths."""

    name = "chart match"

    def __init__(self, turns: int = TURNS) -> None:
        self.turns = turns

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return the likelihood of each cell as the place of the first sounding."""
        soundings = soundings_for(case)
        if soundings is None:
            words = "No record bounds the depth of the seabed, so there was nothing to lay on the chart."
            return Finding(self.name, words, worked=False)
        logs = log_likelihood(case.chart, soundings, turns=self.turns, where=case.prior, progress=progress)
        kind = "relative to one another" if soundings.relative else "from the surface"
        many = "1 sounding" if len(soundings) == 1 else f"{len(soundings)} soundings"
        words = f"{many} of the seabed, {kind}, laid on {case.chart.name}."
        return Finding(self.name, words, log_likelihood=logs, facts={"soundings": float(len(soundings))})
