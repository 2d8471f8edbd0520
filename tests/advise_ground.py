"""Charts and grounds for tests of `offing advise`: a part of a published chart, few places, few soundings."""

from functools import cache
from pathlib import Path

import numpy as np

from relay.audit.advising.journey import Journey, invented_journey
from relay.audit.advising.settings import Lattice
from relay.audit.advising.trial import Proving, matcher
from relay.audit.charts.chart import Chart
from relay.audit.charts.chart_files import read_chart
from relay.audit.matching.error_law import learn
from relay.audit.matching.soundings_of import soundings_of

CHARTS = {
    "strait": ("chart-strait-multires/chart-500m.csv.gz", (48.6, 48.9), (-123.45, -123.0)),
    "shelf": ("chart-shelf-1min/grid.csv.gz", (47.1, 48.4), (-6.9, -5.0)),
}
LATTICE = Lattice(
    tick_s=(60, 15, 5),
    cell_m=(100.0, 25.0, 10.0),
    depth_step_m=(None, 100.0, 50.0, 20.0, 10.0, 5.0, 1.0),
    descent_step_m=(None, 10.0),
    radius_m=(250.0, 500.0, 1500.0, None),
)


@cache
def part_of_chart(shared_data: Path, name: str) -> Chart:
    """Return a part of a chart, with its errors learnt from itself."""
    path, latitudes, longitudes = CHARTS[name]
    whole = read_chart(shared_data / path)
    rows = slice(*np.searchsorted(whole.latitude_deg, latitudes))
    columns = slice(*np.searchsorted(whole.longitude_deg, longitudes))
    part = Chart(
        whole.name, whole.latitude_deg[rows], whole.longitude_deg[columns],
        whole.depth_m[rows, columns], whole.error_m[rows, columns],
    )  # fmt: skip
    return learn(part, np.random.default_rng(1))


def short_journey() -> Journey:
    """Return the invented dive without its last kilometre, a sample every five seconds."""
    whole = invented_journey()
    part = slice(0, -2_500, 5)
    return Journey(whole.name, whole.t_s[part], whole.east_m[part], whole.north_m[part], whole.height_m[part])


def ground_on(chart: Chart, seed: int = 1, turns: int = 6) -> Proving:
    """Return all the charted water of a chart as the declared area."""
    where, journey = np.isfinite(chart.depth_m), short_journey()
    tile_m = min(chart.spacing_m) / 3
    match = matcher(chart, where, 2 * journey.reach_m + 500, turns)
    return Proving(chart, where, journey, lambda dive: soundings_of([dive], most=8, tile_m=tile_m), match, seed=seed)
