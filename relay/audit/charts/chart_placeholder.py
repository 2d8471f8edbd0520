"""Charts that write one number for all water whose depth nobody knew.

Rules: a depth of at most two metres that a fifth of all wet cells hold exactly is no sounding but stands for `water`.
Such cells stay wet, as deep as the soundings about them, and as uncertain as the depths of the whole chart are spread.
"""

import numpy as np

from relay.audit.charts.chart import Floats, Mask
from relay.audit.charts.chart_error import about

SHARE, SHALLOWEST_M = 0.2, 2.0


def sounded(elevation_m: Floats) -> tuple[Floats, Floats]:
    """Return elevations (rows, columns; positive up) with placeholders replaced, and each cell's own uncertainty.

    The second, in metres, is 0 for what was sounded.
    """
    made_up = _placeholders(elevation_m)
    soundings = np.where((elevation_m < 0) & ~made_up, elevation_m, np.nan)
    if not made_up.any() or not np.isfinite(soundings).any():
        return elevation_m, np.zeros(elevation_m.shape)
    spread_m = float(np.nanstd(soundings))
    return np.where(made_up, about(soundings), elevation_m), np.where(made_up, spread_m, 0.0)


def _placeholders(elevation_m: Floats) -> Mask:
    wet = elevation_m[elevation_m < 0]
    shallow, count = np.unique(wet[wet >= -SHALLOWEST_M], return_counts=True)
    taken: Mask = np.isin(elevation_m, shallow[count >= SHARE * wet.size])
    return taken
