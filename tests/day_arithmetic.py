"""From the hand-written tables of `day_expected` to whole records, by arithmetic that is the test's own.

Positions, distances and azimuths: geographiclib (Karney's own library, not the relay's). The secrets: HMAC-SHA256 (RFC
2104) by the standard library, as `SECURITY.md` and the module of the secrets describe them. Frame: a complex number.
"""

import cmath
import hashlib
import hmac
import math
from bisect import bisect_right
from collections.abc import Iterator
from functools import cache
from typing import Any

from geographiclib.geodesic import Geodesic

import day_expected as paper
import ed25519_by_the_book
from day_expected import Changes, Dive, Seen

EARTH = Geodesic.WGS84
Place = tuple[float, float]
DIVE, TICK, END, HEAD = 0, 1, 3, 7
SEAL = ["32 bytes"]
STEPS = {
    "public": (15, 25.0, 22.5),
    "funders": (5, 10.0, 22.5),
    "heritage": (1, 1.0, 1.0),
    "families": (60, 25.0, 22.5),
}
DEEPER_M, FURTHER_M, DEEPEST_M = 10.0, 15.0, 800.0  # Moth, from one report to the next


def seconds(text: str) -> float:
    """Return a time of day in seconds."""
    hours, minutes, rest = text.split(":")
    return 3_600 * int(hours) + 60 * int(minutes) + float(rest)


@cache
def beyond(start: Place, bearing_deg: float, distance_m: float) -> Place:
    """Return the place that lies so far away in a direction."""
    there = EARTH.Direct(*start, bearing_deg, distance_m)
    return there["lat2"], there["lon2"]


_A = (-30.25, -22.5)
_B = beyond(_A, 70.0, 200.0)
_E = beyond(_A, 300.0, 900.0)
POSTS = {"A": _A, "B": _B, "C": beyond(_B, 160.0, 300.0), "F": (-(30 + 14.5 / 60), -(22 + 29.5 / 60))}


def line_at(tick_s: float) -> Place:
    """Return where Lantern was on its line when it last reported: half a metre a second from B at 1:10:00."""
    often = seconds("1:12:32") < tick_s <= seconds("1:14:32")
    told_s = tick_s - 0.1 if often else (tick_s - 1) // 4 * 4
    return beyond(_B, 160.0, 0.5 * (told_s - seconds("1:10:00")))


def _arrivals() -> tuple[list[float], list[int]]:
    own_s = {k: seconds("3:10:00") + 30 * k + paper.ARRIVES_AFTER_S for k in paper.ARRIVED}
    moments = [seconds(paper.ARRIVES_LATE[k]) if k in paper.ARRIVES_LATE else own_s[k] for k in paper.ARRIVED]
    assert moments == sorted(moments)
    return moments, list(paper.ARRIVED)


_MOMENTS, _REPORTS = _arrivals()


def moth_report(tick_s: float) -> int:
    """Return the number of Moth's report that came last."""
    return _REPORTS[bisect_right(_MOMENTS, tick_s) - 1]


class Nearest:
    """A step that is kept until the value is more than three quarters of one away."""

    def __init__(self, size: float, around: float | None = None) -> None:
        self._size, self._around, self._kept = size, around, math.inf

    def of(self, value: float) -> float:
        off = abs(value - self._kept)
        if self._around is not None and off < math.inf:
            off = min(off % self._around, -off % self._around)
        if off > 0.75 * self._size:
            self._kept = math.floor(value / self._size + 0.5) * self._size
            if self._around is not None:
                self._kept %= self._around
        return self._kept


class Frame:
    """The site's frame: metres about A, shifted and then turned clockwise by what the key says."""

    def __init__(self, key: bytes) -> None:
        self._key = key
        reach, bearing = 5_000 * math.sqrt(self.share("datum reach")), 2 * math.pi * self.share("datum bearing")
        self._shift = cmath.rect(reach, math.pi / 2 - bearing)
        self._turn_deg = 360 * self.share("turn")

    def share(self, label: str) -> float:
        """Return the number from 0 to 1 that belongs to a label."""
        digest = hmac.new(self._key, label.encode(), hashlib.sha256).digest()
        return int.from_bytes(digest[:7], "big") / (1 << 56)

    @cache  # noqa: B019 (a few frames, a few hundred places)
    def of(self, place: Place) -> tuple[complex, float]:
        """Return east and north as one number, and what to add to a true heading there."""
        there = EARTH.Inverse(*_A, *place)
        about_a = cmath.rect(there["s12"], math.radians(90 - there["azi1"]))
        turned = (about_a + self._shift) * cmath.exp(-1j * math.radians(self._turn_deg))
        return turned, there["azi1"] - there["azi2"] + self._turn_deg


def hidden(point: complex, audience: str, tick_s: float, frame: Frame) -> bool:
    """Return whether the zone hides a place that would be shown: its centre moved, its radius widened by the key."""
    name, report, radius_m, margin_m = paper.ZONE
    if audience not in paper.ZONE_LIFTED or tick_s >= seconds(paper.ZONE_LIFTED[audience]):
        return False
    reach, bearing = math.sqrt(frame.share(f"zone reach {name}")), 2 * math.pi * frame.share(f"zone bearing {name}")
    centre = frame.of(beyond(_E, 200.0, FURTHER_M * report))[0] + cmath.rect(margin_m * reach, math.pi / 2 - bearing)
    return abs(point - centre) <= radius_m + margin_m * (1 + frame.share(f"zone margin {name}"))


class Vehicle:
    """What one audience is shown of one vehicle in one dive, tick by tick."""

    def __init__(self, seen: Seen, audience: str, frame: Frame) -> None:
        self._tables = {name: _table(getattr(seen, name)) for name in Seen._fields}
        self._audience, self._frame = audience, frame
        _, cell_m, heading_deg = STEPS[audience]
        self._east, self._north = Nearest(cell_m), Nearest(cell_m)
        self._heading = Nearest(heading_deg, 360.0)
        self._framed = False

    def _now(self, name: str, tick_s: float) -> Any:
        moments, values = self._tables[name]
        at = bisect_right(moments, tick_s) - 1
        return values[at] if at >= 0 else None

    def row(self, tick_s: float) -> list[Any]:
        """Return the vehicle's part of a tick."""
        exact = [None, None] if self._audience == "heritage" else []
        if not self._now("heard", tick_s):
            return ["no report", *[None] * 9, *exact]
        cell, heading, fix = self._placed(tick_s)
        depth = self._now("depth", tick_s)
        if depth == "moth":
            depth = min(200.0 + DEEPER_M * moth_report(tick_s), DEEPEST_M)
        named = (self._now(name, tick_s) for name in ("altitude", "mode", "leg", "pitch", "roll"))
        if exact and fix is not None:
            exact = [round(degrees, 9) for degrees in fix]
        return ["reporting", *cell, depth, heading, *named, *exact]

    def _placed(self, tick_s: float) -> tuple[list[float | None], float | None, Place | None]:
        name = self._now("fix", tick_s)
        if name is None:
            return [None, None], None, None
        fix = {"line": line_at, "moth": _moth_place}.get(name, lambda _: POSTS[name])(tick_s)
        point, turn_deg = self._frame.of(fix)
        east, north = self._east.of(point.real), self._north.of(point.imag)
        if not self._now("shown", tick_s) or hidden(complex(east, north), self._audience, tick_s, self._frame):
            return [None, None], None, fix
        return [east, north], self._heading.of((self._now("heading", tick_s) + turn_deg) % 360), fix


def _moth_place(tick_s: float) -> Place:
    return beyond(_E, 200.0, FURTHER_M * moth_report(tick_s))


def _table(changes: Changes) -> tuple[list[float], list[Any]]:
    moments = [seconds(moment) for moment, _ in changes]
    assert moments == sorted(set(moments))
    return moments, [value for _, value in changes]


def records_of(audience: str, number: int, key: bytes) -> Iterator[list[Any]]:
    """Yield the records of a dive as they must be: [dive, seq, kind, seconds of the dive, body]."""
    dive = paper.DIVES[audience][number - 1]
    vehicles = [Vehicle(seen, audience, Frame(key)) for seen in (dive.lantern, dive.moth)]
    for seq, (kind, tick_s, told) in enumerate(_kinds(audience, dive)):
        body = [vehicle.row(tick_s) for vehicle in vehicles] if kind == TICK else told
        if kind == DIVE:
            body = {**told, "key": ed25519_by_the_book.public_key(signing_seed(key)).hex()}
        yield [number, seq, kind, tick_s - seconds(dive.first), body]


def _kinds(audience: str, dive: Dive) -> Iterator[tuple[int, int, Any]]:
    """Yield kind and tick of each record of a dive, and its body but for a tick."""
    first_s, last_s = round(seconds(dive.first)), round(seconds(dive.last))
    told: dict[float, list[tuple[int, Any]]] = {}
    for moment, kind, body in dive.told:
        told.setdefault(seconds(moment), []).append((kind, body))
    yield DIVE, first_s, paper.HEADERS[audience]
    sealed = -1
    for tick_s in range(first_s, last_s + 1, STEPS[audience][0]):
        yield TICK, tick_s, None
        if (minute := (tick_s - first_s) // 60) != sealed:
            sealed = minute
            yield HEAD, tick_s, SEAL
        yield from ((kind, tick_s, body) for kind, body in told.pop(tick_s, ()))
    yield END, last_s, None
    assert not told


def signing_seed(key: bytes) -> bytes:
    """Return the secret from which the signatures of a site are made."""
    return hmac.digest(key, b"signing", "sha256")


def leaves_s(audience: str, number: int) -> Iterator[float]:
    """Yield the moments at which the records of a dive leave, seconds of the day."""
    dive = paper.DIVES[audience][number - 1]
    for _, tick_s, _ in _kinds(audience, dive):
        due_s = tick_s + dive.lag_s
        held = audience == "public" and due_s > paper.HELD_FROM_S
        yield max(due_s, seconds(paper.LEAVES)) if held else due_s
