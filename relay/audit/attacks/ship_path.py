"""The ship's way as AIS tells it, evenly in time, and where she stayed long enough for a dive.

Rules: places are complex numbers on the ellipsoid's Mercator plane (EPSG 3395; Snyder, "Map Projections: A Working
Manual", USGS Professional Paper 1395, equation 7-7, from memory), which keeps angles, so that a stretch of way differs
from the true one by its scale alone; longitudes go on past 180. Between two fixes at most `GAP_S` apart she went
straight; in longer gaps nothing is known of her, so a dive in one can't be found, and the words say so.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from relay.audit.attacks.attack import ShipTrack
from relay.audit.charts.chart import WGS84_AREA, Chart, Floats, Mask

GAP_S = 1_800.0
EVERY_S = 30.0
MOST_SAMPLES = 400_000
Complexes = NDArray[np.complexfloating[Any]]


@dataclass(frozen=True)
class ShipPath:
    """Samples every `every_s` from `begin_s` (Unix time): `place` (samples,), `known`: whether AIS covers it."""

    begin_s: float
    every_s: float
    place: Complexes
    known: Mask
    latitude_deg: Floats
    longitude_deg: Floats

    @classmethod
    def of(cls, ship: ShipTrack) -> "ShipPath":
        """Return the path of a track, fixes in any order; ValueError with fewer than two fixes."""
        order = np.argsort(ship.t_s, kind="stable")
        t_s = np.asarray(ship.t_s, float)[order]
        latitude = np.asarray(ship.latitude_deg, float)[order]
        longitude = np.degrees(np.unwrap(np.radians(np.asarray(ship.longitude_deg, float)[order])))
        if len(t_s) < 2 or t_s[-1] <= t_s[0]:
            raise ValueError("the ship's track has fewer than two fixes")
        every_s = max(EVERY_S, float(t_s[-1] - t_s[0]) / MOST_SAMPLES)
        times = np.arange(t_s[0], t_s[-1] + every_s / 2, every_s)
        behind = np.clip(np.searchsorted(t_s, times), 1, len(t_s) - 1)
        known = t_s[behind] - t_s[behind - 1] <= GAP_S
        filled_lat, filled_lon = np.interp(times, t_s, latitude), np.interp(times, t_s, longitude)
        return cls(float(t_s[0]), every_s, _mercator(filled_lat, filled_lon), known, filled_lat, filled_lon)

    def __len__(self) -> int:
        return len(self.place)

    @cached_property
    def scale(self) -> Floats:
        """Metres to a metre of the plane, by sample: the radius of the parallel over the semi-major axis."""
        blank = np.zeros((len(self), 1))
        _, east = Chart("", self.latitude_deg, self.longitude_deg, blank, blank).metres_per_degree
        shrink: Floats = east / np.radians(WGS84_AREA[0] * 1e3)
        return shrink

    @cached_property
    def speed_mps(self) -> Floats:
        """Her speed by sample, metres a second, over some minutes so that the noise of fixes hardly counts."""
        apart = max(1, min(len(self) - 1, round(180.0 / self.every_s)))
        begin = np.clip(np.arange(len(self)) - apart // 2, 0, len(self) - 1 - apart)
        moved: Floats = np.abs(self.place[begin + apart] - self.place[begin]) * self.scale
        return moved / (apart * self.every_s)

    @cached_property
    def gaps_s(self) -> float:
        """How long AIS doesn't cover altogether, seconds."""
        return float((~self.known).sum() * self.every_s)

    def moved(self, sample: NDArray[np.intp], by_m: Complexes) -> tuple[Floats, Floats]:
        """Return latitude and longitude, degrees, of places some metres (east + i north) from those of samples."""
        latitude = self.latitude_deg[sample]
        blank = np.zeros((latitude.size, 1))
        north, east = Chart("", latitude.ravel(), latitude.ravel(), blank, blank).metres_per_degree
        up = by_m.imag / north.reshape(latitude.shape)
        across = by_m.real / east.reshape(latitude.shape)
        return latitude + up, (self.longitude_deg[sample] + across + 180) % 360 - 180

    def stays(self, seconds: float, within_m: float) -> list[tuple[int, int]]:
        """Return first and last beginning (samples) of each run of windows of that length in which she kept within.

        She keeps within when the root mean square of her distance from the window's mean place is at most half of it.
        """
        length = max(2, round(seconds / self.every_s))
        if length > len(self):
            return []
        ones = np.ones(length)
        count = correlate(ones, self.known.astype(float))
        centred = np.where(self.known, self.place - self.place.mean(), 0)
        total, square = correlate(ones, centred), correlate(ones, np.abs(centred) ** 2)
        least = np.maximum(count, 1)
        spread = np.sqrt(np.maximum(0.0, square / least - np.abs(total / least) ** 2)).real
        begins = np.arange(len(count))
        still = (count > 0.9 * length) & (spread * self.scale[begins + length // 2] <= within_m / 2)
        edges = np.flatnonzero(np.diff(np.concatenate([[False], still, [False]]).astype(np.int8)))
        return [(int(first), int(end) - 1) for first, end in edges.reshape(-1, 2)]

    def floor_km2(self, seconds: float, within_m: float) -> tuple[float, int]:
        """Return the area within reach of her where she stayed that long, square kilometres, and how many stays.

        That is what is left to look at by AIS and the dive's length alone: no policy can leave more.
        """
        from shapely import MultiPoint, difference, simplify, union_all

        length, found = max(2, round(seconds / self.every_s)), self.stays(seconds, within_m)
        pieces: list[tuple[Any, float]] = []
        for first, last in found:
            middles = np.arange(first, last + 1, max(1, length // 4)) + length // 2
            scale = float(self.scale[middles].mean())
            places, close_m = self.place[middles] * scale, max(within_m / 100, 5.0)
            apart = np.unique(np.round(np.column_stack([places.real, places.imag]) / close_m), axis=0) * close_m
            disc = MultiPoint(apart).buffer(within_m, quad_segs=32)
            alike = [piece for piece, theirs in pieces if abs(theirs / scale - 1) < 1e-3]
            pieces.append((difference(simplify(disc, 1.0), union_all(alike)), scale))
        return sum(piece.area for piece, _ in pieces) / 1e6, len(found)


def correlate(short: Any, long: Any) -> Any:
    """Return, for each lag, the sum of `short` times `long` from there on (len(long) - len(short) + 1 lags)."""
    return fftconvolve(long, short[::-1], mode="valid")


def _mercator(latitude_deg: Floats, longitude_deg: Floats) -> Complexes:
    semi_major_m, squared = WGS84_AREA[0] * 1e3, WGS84_AREA[1]
    latitude, first = np.radians(latitude_deg), np.sqrt(squared)
    north = semi_major_m * (np.arcsinh(np.tan(latitude)) - first * np.arctanh(first * np.sin(latitude)))
    plane: Complexes = semi_major_m * np.radians(longitude_deg) + 1j * north
    return plane
