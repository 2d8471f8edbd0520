"""What `offing advise` finds on the published charts: more detail than the presets at the promise that each keeps.

Rules: the water of a part of a chart is the declared area; a preset's promise is the largest that it is shown to keep
at the very places at which the advice is audited first; whether the advice keeps it is told of places that neither has
seen. Charts: `chart-strait-multires` and `chart-shelf-1min` of the published data.
"""

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from time import perf_counter

import numpy as np

from relay.audit.advising.advise import Advice, Effort, advise, audit
from relay.audit.advising.journey import invented_journey
from relay.audit.advising.settings import Lattice, applied, detail
from relay.audit.advising.trial import Proving, matcher
from relay.audit.charts.chart import Chart
from relay.audit.charts.chart_files import read_chart
from relay.audit.matching.error_law import learn
from relay.audit.matching.soundings_of import soundings_of
from relay.core.policy import Policy
from relay.shell.plan.expedition import preset_policy

DATA = Path(__file__).resolve().parents[2] / "shared" / "data"
CHARTS = {
    "strait": ("chart-strait-multires/chart-500m.csv.gz", (48.6, 48.9), (-123.45, -123.0)),
    "shelf": ("chart-shelf-1min/grid.csv.gz", (47.1, 48.4), (-6.9, -5.0)),
}
EFFORT, TURNS, MOST = Effort(places=40, fresh=100, most=30, audits=3), 36, 12


@dataclass(frozen=True, slots=True)
class Compared:
    """A preset on a chart, and the advice at its promise; `share`: of unseen places at which that kept it."""

    chart: str
    preset: str
    detail: float
    promise_km2: float
    advice: Advice
    share: float
    seconds: float


def compared() -> Iterator[Compared]:
    """Yield each preset that tells no exact place, on each chart, with the advice for its promise; two at a time."""
    both = [(chart, preset) for preset in ("public", "funders") for chart in CHARTS]
    with ProcessPoolExecutor(2, get_context("spawn")) as pool:
        yield from pool.map(_compared, *zip(*both, strict=True))


def _compared(chart: str, preset: str) -> Compared:
    policy, begun = preset_policy(preset, "public"), perf_counter()
    path, latitudes, longitudes = CHARTS[chart]
    ground = _ground(DATA / path, latitudes, longitudes)
    promise_km2 = audit(ground, policy, 100.0, EFFORT.fresh_places(0), None).sure_km2
    advice = advise(ground, policy, promise_km2, Lattice().settings_for(policy), EFFORT)
    share = _share(ground, policy, advice)
    return Compared(chart, preset, detail(policy), promise_km2, advice, share, perf_counter() - begun)


def _share(ground: Proving, policy: Policy, advice: Advice) -> float:
    """Return at how many of places that nothing was chosen on the advice keeps the promise."""
    if advice.choice is None:
        return 0.0
    unseen = EFFORT.unseen
    return audit(ground, applied(advice.choice.settings, policy), advice.promise_km2, unseen, None).share


def _ground(path: Path, latitudes: tuple[float, float], longitudes: tuple[float, float]) -> Proving:
    whole = read_chart(path)
    rows = slice(*np.searchsorted(whole.latitude_deg, latitudes))
    columns = slice(*np.searchsorted(whole.longitude_deg, longitudes))
    part = Chart(
        whole.name, whole.latitude_deg[rows], whole.longitude_deg[columns],
        whole.depth_m[rows, columns], whole.error_m[rows, columns],
    )  # fmt: skip
    chart = learn(part, np.random.default_rng(1))
    where, journey, tile_m = np.isfinite(chart.depth_m), invented_journey(), min(chart.spacing_m) / 3
    match = matcher(chart, where, 2 * journey.reach_m + 500, TURNS)
    return Proving(chart, where, journey, lambda dive: soundings_of([dive], most=MOST, tile_m=tile_m), match)
