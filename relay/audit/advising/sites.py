"""Random places for a dive in the declared area, and the seabed as it may be there.

Rules: as likely in each square kilometre of the area as in any other; the whole dive lies over water; its direction is
drawn, and so are the water level and how the seabed differs from the chart. Randomness comes in.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from relay.audit.advising.journey import Journey, turned
from relay.audit.charts.chart import Chart, ErrorLaw, Floats, Mask
from relay.audit.matching.filled import at_places

LEAST_DEPTH_M = 8.0
TIDE_M = 1.0  # standard deviation of the water level over chart datum: common practice, no source
_TRIES = 400
_KNOTS = 60


class NoRoomForDiveError(ValueError):
    """The area holds no water in which the dive has room."""


@dataclass(frozen=True)
class Site:
    """A place for a dive: the landing, degrees, and the dive's direction, radians clockwise.

    `knots_m` (knots, 2) are places of the journey's own frame, `off_m` (knots,) how far the seabed differs there from
    the chart, and the water level with it.
    """

    chart: Chart
    latitude_deg: float
    longitude_deg: float
    turn_rad: float
    knots_m: Floats
    off_m: Floats

    def place(self, east_m: float, north_m: float) -> tuple[float, float]:
        """Return latitude and longitude of a place of the journey's frame."""
        latitude, longitude = self._places(np.array([east_m]), np.array([north_m]))
        return float(latitude[0]), float(longitude[0])

    def seabed(self, east_m: Floats, north_m: Floats) -> Floats:
        """Return how deep the seabed lies, metres; NaN where the chart has none."""
        charted = at_places(self.chart, *self._places(east_m, north_m))
        nearest = np.hypot(east_m[:, None] - self.knots_m[:, 0], north_m[:, None] - self.knots_m[:, 1]).argmin(axis=1)
        depth: Floats = charted + self.off_m[nearest]
        return depth

    def error_m(self) -> Floats:
        """Return how far the seabed may differ from the chart at the knots, metres (standard deviation)."""
        latitude, longitude = self._places(self.knots_m[:, 0], self.knots_m[:, 1])
        error: Floats = np.nan_to_num(at_places(self.chart, latitude, longitude, self.chart.error_m))
        return error

    def _places(self, east_m: Floats, north_m: Floats) -> tuple[Floats, Floats]:
        east, north = turned(east_m, north_m, self.turn_rad)
        row = int(np.argmin(np.abs(self.chart.latitude_deg - self.latitude_deg)))
        north_m_deg, east_m_deg = (float(metres[row]) for metres in self.chart.metres_per_degree)
        return self.latitude_deg + north / north_m_deg, self.longitude_deg + east / east_m_deg


def random_site(truth: Chart, where: Mask, chart: Chart, journey: Journey, draw: np.random.Generator) -> Site:
    """Return a place whose cell of `truth` is in `where`, at which all of a journey lies over water.

    `truth`: the chart that the seabed is taken from; `chart`: the outsider's, whose error is drawn where both are one.
    NoRoomForDiveError when hundreds of places have no room.
    """
    weight = (truth.cell_km2 * (where & np.isfinite(truth.depth_m))).ravel()
    if weight.sum() == 0:
        raise NoRoomForDiveError("the declared area holds no charted water: give a chart that covers it")
    knots_m = _knots(journey)
    heaped = np.cumsum(weight)
    for _ in range(_TRIES):
        cell = int(np.searchsorted(heaped, draw.uniform(0, heaped[-1]), side="right"))
        row, column = divmod(cell, truth.shape[1])
        latitude, longitude = _within(truth, row, column, draw)
        turn, off_m = draw.uniform(0, 2 * pi), draw.normal(0, TIDE_M) + np.zeros(len(knots_m))
        site = Site(truth, latitude, longitude, turn, knots_m, off_m)
        if truth is chart:
            off_m += _errors(chart, site.error_m(), knots_m, draw)
        depth_m = site.seabed(journey.east_m, journey.north_m)
        if np.all(depth_m >= LEAST_DEPTH_M + journey.height_m):
            return site
    raise NoRoomForDiveError(
        f"in the declared area the chart has no room for a dive that goes {journey.reach_m:.0f} m over water of "
        f"{LEAST_DEPTH_M:g} m and more: declare a larger area, or give a dive that goes less far"
    )


def _within(chart: Chart, row: int, column: int, draw: np.random.Generator) -> tuple[float, float]:
    """Return a place at random in a cell."""
    steps = [(axis[-1] - axis[0]) / (len(axis) - 1) for axis in (chart.latitude_deg, chart.longitude_deg)]
    off = draw.uniform(-0.5, 0.5, size=2)
    return float(chart.latitude_deg[row] + off[0] * steps[0]), float(chart.longitude_deg[column] + off[1] * steps[1])


def _knots(journey: Journey) -> Floats:
    """Return places along a journey, (knots, 2) metres, evenly spread over its time."""
    chosen = np.unique(np.linspace(0, len(journey.t_s) - 1, _KNOTS).astype(int))
    knots: Floats = np.stack([journey.east_m[chosen], journey.north_m[chosen]], axis=1)
    return knots


def _errors(chart: Chart, error_m: Floats, knots_m: Floats, draw: np.random.Generator) -> Floats:
    """Return how a seabed differs from a chart at places (knots, 2), as the law of its errors says."""
    law = chart.law or ErrorLaw(0.8 * max(chart.spacing_m))
    apart = np.hypot(*(knots_m[:, None, :] - knots_m[None, :, :]).transpose(2, 0, 1))
    correlation = np.exp(-((apart / law.length_m) ** law.power))
    values, vectors = np.linalg.eigh(correlation)
    scales, shares = zip(*law.scales, strict=True)
    scale = draw.choice(scales, p=np.array(shares) / sum(shares))
    alike = vectors @ (np.sqrt(np.maximum(values, 0.0)) * draw.normal(size=len(knots_m)))
    drawn: Floats = scale * error_m * alike
    return drawn
