"""What a dive tells of the seabed: at places in its own frame, between which depths it lies.

Rules: made of released records alone; `Soundings` is all that the chart match sees of a dive. A frame's origin and turn
are unknown; distances in it are true.
"""

from dataclasses import dataclass

import numpy as np

from relay.audit.charts.chart import Floats


@dataclass(frozen=True)
class Soundings:
    """Where (metres in the dive's frame) the seabed lies between which depths (metres, positive down).

    All arrays are (soundings,). The vehicle's depth was told in steps of `step_m` (0: exactly) and its height above the
    seabed lay between `least_height_m` and `most_height_m`, so the seabed lies from `shallowest_m` to `deepest_m`
    (infinite: no bound). `spread_m`: how far from its place a sounding may have been made. `relative`: depths count
    from an unknown one. `turned`: the frame's turn is unknown.
    """

    east_m: Floats
    north_m: Floats
    shallowest_m: Floats
    deepest_m: Floats
    step_m: Floats
    least_height_m: Floats
    most_height_m: Floats
    spread_m: Floats
    relative: bool = False
    turned: bool = True

    def __len__(self) -> int:
        return len(self.east_m)

    def observed_over(self, seabed_m: Floats, draw: np.random.Generator) -> "Soundings":
        """Return what the same dive would have told over another seabed: (soundings,) depths in metres.

        The vehicle keeps to one height, drawn between its limits, with a tenth of their distance to and fro.
        """
        share = np.clip(draw.uniform() + draw.normal(0, 0.1, len(self)), 0, 1)
        height_m = self.least_height_m + share * (self.most_height_m - self.least_height_m)
        depth_m = seabed_m - height_m
        if self.relative:
            depth_m = depth_m - depth_m[0]
        stepped = self.step_m > 0
        step_m = np.where(stepped, self.step_m, 1.0)
        told_m = np.where(stepped, np.round(depth_m / step_m) * step_m, depth_m)
        half_m = np.where(stepped, step_m / 2, 0.0)
        bounded = np.isfinite(self.deepest_m)
        return Soundings(
            self.east_m, self.north_m,
            told_m - half_m + self.least_height_m,
            np.where(bounded, told_m + half_m + self.most_height_m, np.inf),
            self.step_m, self.least_height_m, self.most_height_m, self.spread_m, self.relative, self.turned,
        )  # fmt: skip
