"""Invented AIS tracks for tests: stations at which a ship stays, and transits between, about the invented site."""

from collections.abc import Sequence

import numpy as np

from audited import Point, on_earth
from dives import INVENTED_SITE
from relay.audit.attacks.attack import ShipTrack

BEGIN_S = 1_800_000_000.0  # Unix time, in 2027
EVERY_S = 60.0
FIX_M = 3.0  # how far AIS is off: of the order of satellite navigation without correction; common practice, no source


def ais(
    stops: Sequence[tuple[Point, float]], speed_mps: float = 5.0, seed: int = 4, site: Point = INVENTED_SITE
) -> ShipTrack:
    """Return the track of a ship that stays at each place (metres about the site) for a time (seconds), in order."""
    places: list[Point] = []
    for at, (place, stay_s) in enumerate(stops):
        if at:
            places += _way(stops[at - 1][0], place, speed_mps)
        places += [place] * round(stay_s / EVERY_S)
    return of_places(places, seed, site)


def _way(start: Point, end: Point, speed_mps: float) -> list[Point]:
    count = max(1, round(float(np.hypot(end[0] - start[0], end[1] - start[1])) / speed_mps / EVERY_S))
    return [(start[0] + (end[0] - start[0]) * at / count, start[1] + (end[1] - start[1]) * at / count)
            for at in range(1, count)]  # fmt: skip


def of_places(places: Sequence[Point], seed: int = 4, site: Point = INVENTED_SITE) -> ShipTrack:
    """Return the track of a ship that is at each place at each fix."""
    draw = np.random.default_rng(seed)
    fixes = [on_earth(*(np.array(place) + draw.normal(0, FIX_M, 2)), site) for place in places]
    latitude, longitude = np.array(fixes).T
    return ShipTrack(BEGIN_S + EVERY_S * np.arange(len(places)), latitude, longitude)
