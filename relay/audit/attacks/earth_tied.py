"""Whether what was told is tied to the Earth: positions in degrees, or metres of a public grid, no secret frame.

Rules: Offing's own frame never goes further from its datum than `FRAME_REACH_M` (`core.secrets`, the site's radius), so
metres beyond that are of a grid that everybody has; which one is tried on the chart. The grids are UTM (zones of 6
degrees, EPSG 32601 to 32660 and 32701 to 32760) and the web's Mercator (EPSG 3857), by PROJ.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from pyproj import Transformer

from relay.audit.attacks.attack import Case
from relay.audit.attacks.shown_track import ShownTrack, reference_m, tick_at
from relay.audit.charts.chart import Chart, Floats

FRAME_REACH_M = 26_000.0

Turned = Callable[[float, float], tuple[float, float]]


@dataclass(frozen=True)
class Tied:
    """A track whose metres belong to the Earth: `to_earth` gives latitude and longitude, degrees, of east and north.

    `from_earth`: the same backwards. `framed`: the track as it was told. `how`: in words. `by_degrees`: it was told as
    latitude and longitude.
    """

    how: str
    track: ShownTrack
    to_earth: Turned
    from_earth: Turned
    framed: ShownTrack
    by_degrees: bool = False

    def reference_deg(self, case: Case) -> tuple[float, float]:
        """Return where the case's reference lies, degrees: the told place at the tick that came nearest to it."""
        at = tick_at(self.framed, reference_m(case))
        at = at if self.track.placed[at] else int(np.argmax(self.track.placed))
        return self.to_earth(float(self.track.east_m[at]), float(self.track.north_m[at]))


def earth_tied(track: ShownTrack, chart: Chart) -> Tied | None:
    """Return a track tied to the Earth, or None where it says nothing of the kind."""
    return _by_degrees(track) or _by_grid(track, chart)


def _by_degrees(track: ShownTrack) -> Tied | None:
    """Return a track whose records hold latitude and longitude beyond their ten fields."""
    if track.more.shape[1] < 2:
        return None
    latitude, longitude = track.more[:, 0], track.more[:, 1]
    told = np.isfinite(latitude) & np.isfinite(longitude)
    if not told.any() or np.abs(latitude[told]).max() > 90 or np.abs(longitude[told]).max() > 180:
        return None
    origin = float(latitude[told][0]), float(longitude[told][0])
    north, east = _metres_per_degree(origin[0])
    across = (longitude - origin[1] + 180) % 360 - 180
    plane = np.column_stack([across * east, (latitude - origin[0]) * north])

    def to_earth(east_m: float, north_m: float) -> tuple[float, float]:
        return origin[0] + north_m / north, (origin[1] + east_m / east + 180) % 360 - 180

    def from_earth(latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
        return ((longitude_deg - origin[1] + 180) % 360 - 180) * east, (latitude_deg - origin[0]) * north

    return Tied(
        "the records hold latitude and longitude", track.at(plane), to_earth, from_earth, track, by_degrees=True
    )


def _metres_per_degree(latitude_deg: float) -> tuple[float, float]:
    around = np.array([latitude_deg - 1e-3, latitude_deg, latitude_deg + 1e-3])
    blank = np.zeros((3, 3))
    north, east = Chart("", around, around, blank, blank).metres_per_degree
    return float(north[1]), float(east[1])


def _by_grid(track: ShownTrack, chart: Chart) -> Tied | None:
    """Return a track in metres of a public grid: the one that lays it on the chart."""
    points = track.points[track.placed]
    if not len(points) or float(np.median(np.abs(points).max(axis=1))) <= FRAME_REACH_M:
        return None
    middle = np.median(points, axis=0)
    for name, code in _grids(chart):
        longitude, latitude = _inverse(code).transform(middle[0], middle[1])
        where = chart.index(latitude, longitude) if np.isfinite(latitude) and np.isfinite(longitude) else None
        if where is not None and chart.candidates[where]:
            return Tied(f"the metres are those of {name}", track, *_by_code(code), track)
    return None


def _grids(chart: Chart) -> Iterator[tuple[str, int]]:
    zones = sorted({int(((longitude + 180) % 360) // 6) + 1 for longitude in chart.longitude_deg})
    for south in sorted({bool(latitude < 0) for latitude in chart.latitude_deg}):
        for zone in zones:
            yield f"UTM zone {zone}{' south' if south else ' north'}", (32700 if south else 32600) + zone
    yield "the web's Mercator map", 3857


@lru_cache(maxsize=64)
def _inverse(code: int) -> Transformer:
    return Transformer.from_crs(code, 4326, always_xy=True)


def _by_code(code: int) -> tuple[Turned, Turned]:
    def to_earth(east_m: float, north_m: float) -> tuple[float, float]:
        longitude, latitude = _inverse(code).transform(east_m, north_m)
        return float(latitude), float(longitude)

    def from_earth(latitude_deg: float, longitude_deg: float) -> tuple[float, float]:
        east_m, north_m = _inverse(code).transform(longitude_deg, latitude_deg, direction="INVERSE")
        return float(east_m), float(north_m)

    return to_earth, from_earth


def step_of(values: Floats) -> float | None:
    """Return the step of which all values are multiples away from each other, metres; None where there is none.

    It is the smallest difference between distinct values, if nearly all the others are whole multiples of it.
    """
    distinct = np.unique(np.round(values[np.isfinite(values)], 2))
    if len(distinct) < 3:
        return None
    steps = np.diff(distinct)
    step = float(np.median(steps[steps <= 1.5 * steps.min()]))
    off = np.abs(steps / step - np.round(steps / step))
    return step if step > 1.0 and float(np.quantile(off, 0.9)) < 0.02 else None
