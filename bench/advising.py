"""What `offing advise` finds on the published charts: more detail than the presets at the promise that each keeps.

Rules: the whole water of a chart is the declared area; a preset's promise is the largest that its trial shows to be
kept, less a tenth for the noise of measuring twice; the advice is audited at fresh places. Charts:
`chart-strait-multires` and `chart-shelf-1min` of the published data.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter

import numpy as np

from relay.audit.advise import Advice, Effort, advise, audit
from relay.audit.chart_files import read_chart
from relay.audit.error_law import learn
from relay.audit.journey import invented_journey
from relay.audit.settings import Lattice, detail
from relay.audit.soundings_of import soundings_of
from relay.audit.trial import Ground, matcher
from relay.shell.expedition import preset_policy

DATA = Path(__file__).resolve().parents[2] / "shared" / "data"
CHARTS = {"strait": "chart-strait-multires/chart-500m.csv.gz", "shelf": "chart-shelf-1min/grid.csv.gz"}
EFFORT, TURNS, MOST = Effort(places=40, fresh=100, most=60), 36, 24


@dataclass(frozen=True, slots=True)
class Compared:
    """A preset on a chart, and the advice at its promise; `seconds` it took."""

    chart: str
    preset: str
    detail: float
    promise_km2: float
    advice: Advice
    seconds: float


def compared() -> Iterator[Compared]:
    """Yield each preset that tells no exact place, on each chart, with the advice for its promise."""
    for name, path in CHARTS.items():
        ground = _ground(DATA / path)
        for preset in ("public", "funders"):
            policy, begun = preset_policy(preset, "public"), perf_counter()
            kept = audit(ground, policy, 100.0, range(EFFORT.places), EFFORT.cells)
            promise_km2 = 0.9 * kept.sure_km2
            advice = advise(ground, policy, promise_km2, Lattice().settings_for(policy), EFFORT)
            yield Compared(name, preset, detail(policy), promise_km2, advice, perf_counter() - begun)


def _ground(path: Path) -> Ground:
    chart = learn(read_chart(path), np.random.default_rng(1))
    where, journey, tile_m = np.isfinite(chart.depth_m), invented_journey(), min(chart.spacing_m) / 3
    match = matcher(chart, where, 2 * journey.reach_m + 500, TURNS)
    return Ground(chart, where, journey, lambda dive: soundings_of([dive], most=MOST, tile_m=tile_m), match)
