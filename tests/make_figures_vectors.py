"""Write tests/vectors/figures.json: numbers of a few dives as the relay makes them of released records.

Run after a change of `relay/core/figures.py` or of the demo's recording: python tests/make_figures_vectors.py. The page
works the same numbers out for itself and is tested on the file; `test_figures.py` holds the file to this script. Areas
there come from shapely, which the page does not have.
"""

import json
from itertools import pairwise
from math import cos, dist, pi, sin
from pathlib import Path
from random import Random
from typing import Any

from followers_page import demo_records
from relay.core.disclosure import Report
from relay.core.figures import figures
from relay.core.policy import Disclosed, Plan, Policy
from relay.core.release import ReleaseLog
from relay.core.wire import WireRecord, decode, encode

SECOND = 1_000_000
TICK_S = 30
PATH = Path(__file__).parent / "vectors" / "figures.json"

Point = tuple[float, float] | None


def snapped(point: tuple[float, float], cell_m: float) -> tuple[float, float]:
    """Return the middle of the cell that a point is in."""
    return round(point[0] / cell_m) * cell_m, round(point[1] / cell_m) * cell_m


def lawnmower() -> list[Point]:
    """Return six lines of 400 m, 40 m apart, at half a metre a second."""
    corners = [corner for line in range(6) for corner in _ends(line)]
    return [
        snapped((a[0] + (b[0] - a[0]) * at / steps, a[1] + (b[1] - a[1]) * at / steps), 10)
        for a, b in pairwise(corners)
        for steps in [int(dist(a, b) / (0.5 * TICK_S))]
        for at in range(steps)
    ]


def _ends(line: int) -> list[tuple[float, float]]:
    ends = [(-200.0, 40.0 * line), (200.0, 40.0 * line)]
    return ends if line % 2 == 0 else ends[::-1]


def spiral() -> list[Point]:
    """Return a spiral of three turns that ends 150 m from its middle, in cells of 5 m."""
    return [snapped((at / 2 * cos(at * pi / 50), at / 2 * sin(at * pi / 50)), 5) for at in range(300)]


def wandering() -> list[Point]:
    """Return a track that crosses itself, wavers in place, and is withheld for a while, twice."""
    random, point, points = Random(7), (0.0, 0.0), list[Point]()
    for at in range(400):
        turned = (at // 40) * 1.9
        point = point[0] + 9 * cos(turned) + random.gauss(0, 4), point[1] + 9 * sin(turned) + random.gauss(0, 4)
        points.append(None if 100 <= at < 110 or 250 <= at < 253 else snapped(point, 25))
    return points


def records_of(tracks: dict[str, list[Point]], swath_m: float | None) -> list[WireRecord]:
    """Return the records of vehicles that are shown at these points, one a tick; five ticks below, five not."""
    policy = Policy(audience="public", delay_us=0, extra_us=0, tick_us=TICK_S * SECOND, fields=frozenset(Disclosed),
                    cell_m=10.0, depth_step_m=10.0)  # fmt: skip
    plan = Plan(expedition="x", vehicles=tuple(tracks), sources=(), policies=(policy,), swath_m=swath_m)
    log = ReleaseLog(policy, plan, 1, 0)
    begin = log.open(0)
    ticks = [
        log.tick(at * TICK_S * SECOND, [_report(points, at) for points in tracks.values()])
        for at in range(max(map(len, tracks.values())))
    ]
    return [decode(encode(record)) for record in [begin, *ticks]]


def _report(points: list[Point], at: int) -> Report:
    east_m, north_m = (points[at] if at < len(points) else None) or (None, None)
    return Report(heard=True, east_m=east_m, north_m=north_m, leg="bottom" if at // 5 % 2 == 0 else "descent")


INVENTED: dict[str, tuple[dict[str, list[Point]], float | None]] = {
    "lines whose swaths touch": ({"Lantern": lawnmower()}, 40.0),
    "lines whose swaths overlap": ({"Lantern": lawnmower()}, 90.0),
    "a spiral": ({"Lantern": spiral()}, 30.0),
    "two vehicles over the same ground": ({"Lantern": wandering(), "Moth": spiral()}, 60.0),
    "no swath": ({"Lantern": spiral()}, None),
}


def numbers(records: list[WireRecord]) -> dict[str, Any]:
    """Return the relay's numbers of these records."""
    seen = figures(records)
    vehicles = [{"distance_m": _tenths(each.distance_m), "bottom_s": each.bottom_s} for each in seen.vehicles]
    return {"vehicles": vehicles, "area_m2": _tenths(seen.area_m2), "checked": seen.targets_checked}


def _tenths(value: float | None) -> float | None:
    """Leave out digits in which machines and versions of a library differ."""
    return None if value is None else round(value, 1)


def vectors() -> dict[str, Any]:
    """Return the content of the vector file."""
    return {
        "provenance": "made by tests/make_figures_vectors.py with relay/core/figures.py; areas by shapely",
        "demo": [{"upto_s": upto_s, **numbers(demo_records(upto_s))} for upto_s in (2_500, 5_000, 7_000, 10_000)],
        "invented": [
            {"name": name, "tick_s": TICK_S, "swath_m": swath_m, "tracks": tracks}
            | numbers(records_of(tracks, swath_m))
            for name, (tracks, swath_m) in INVENTED.items()
        ],
    }


def text() -> str:
    """Return the vector file as it is written."""
    return json.dumps(vectors(), separators=(",", ":")).replace('{"', '\n{"') + "\n"


if __name__ == "__main__":
    PATH.write_text(text())
