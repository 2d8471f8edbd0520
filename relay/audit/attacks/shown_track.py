"""The tracks of a recording as columns: what an outsider sees of each vehicle, tick by tick.

Rules: made of released records alone; NaN (and None for words) where nothing was told; a value that is no number counts
as not told, so that no recording, however odd, stops an attack.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

import numpy as np

from relay.audit.attacks.attack import Case, Dive
from relay.audit.attacks.chart_match import soundings_for
from relay.audit.charts.chart import Floats, Mask
from relay.core.release import Kind

NEAR_M = 250.0
FIELDS = 10  # of a vehicle's row in a tick record, see `core.release`; an audience with exact place has two more


@dataclass(frozen=True)
class ShownTrack:
    """One vehicle of one dive; arrays (ticks,): seconds, metres, degrees. `more` (ticks, numbers): beyond FIELDS."""

    dive: str
    audience: str
    vehicle: str
    tick_s: float
    cell_m: float | None
    elapsed_s: Floats
    east_m: Floats
    north_m: Floats
    depth_m: Floats
    heading_deg: Floats
    leg: tuple[str | None, ...]
    more: Floats

    @property
    def placed(self) -> Mask:
        """Where a place was told."""
        return np.isfinite(self.east_m) & np.isfinite(self.north_m)

    @property
    def points(self) -> Floats:
        """The places (ticks, 2), metres east and north."""
        return np.column_stack([self.east_m, self.north_m])

    def at(self, points: Floats) -> "ShownTrack":
        """Return the track with other places (ticks, 2)."""
        return ShownTrack(
            self.dive, self.audience, self.vehicle, self.tick_s, self.cell_m, self.elapsed_s,
            points[:, 0], points[:, 1], self.depth_m, self.heading_deg, self.leg, self.more,
        )  # fmt: skip


def tracks_of(dive: Dive) -> tuple[ShownTrack, ...]:
    """Return the track of each vehicle of a dive that has tick records."""
    ticks = [record for record in dive.records if record.kind == Kind.TICK and isinstance(record.body, list)]
    names = dive.header.get("vehicles")
    if not isinstance(names, list | tuple) or not ticks:
        return ()
    return tuple(_track(dive, str(name), at, ticks) for at, name in enumerate(names))


def all_tracks(case: Case) -> tuple[ShownTrack, ...]:
    """Return the tracks of all dives in which a place was told at all."""
    return tuple(track for dive in case.dives for track in tracks_of(dive) if track.placed.any())


def reference_m(case: Case) -> tuple[float, float] | None:
    """Return the place in the site's frame, metres, of whose position on the Earth likelihoods are.

    It is that of the chart match, the first sounding; where none bounds the seabed, or it is of a dive that tells no
    place and so lies about an origin of its own, the first place that was told.
    """
    tracks = all_tracks(case)
    if not tracks:
        return None
    soundings = soundings_for(case)
    if soundings is not None and len(soundings):
        place = float(soundings.east_m[0]), float(soundings.north_m[0])
        near_m = min(float(np.nanmin(np.hypot(*(track.points - place).T))) for track in tracks)
        if near_m < NEAR_M:
            return place
    first = int(np.argmax(tracks[0].placed))
    return float(tracks[0].east_m[first]), float(tracks[0].north_m[first])


def tick_at(track: ShownTrack, place: tuple[float, float] | None) -> int:
    """Return the tick at which a track came nearest to a place of its frame, metres; the first told one for None."""
    if place is None or not track.placed.any():
        return int(np.argmax(track.placed))
    return int(np.nanargmin(np.hypot(track.east_m - place[0], track.north_m - place[1])))


def stretches(mask: Mask) -> Iterator[tuple[int, int]]:
    """Yield begin and end (one behind) of each unbroken stretch in which a mask holds."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    for begin, end in edges.reshape(-1, 2):
        yield int(begin), int(end)


def number(value: object) -> float:
    """Return a number as told, NaN for whatever is none."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        return float("nan")
    return float(value)


def _track(dive: Dive, vehicle: str, at: int, ticks: Sequence[Any]) -> ShownTrack:
    rows = [_row(record.body, at) for record in ticks]
    most = max(FIELDS, *(len(row) for row in rows))
    table = np.array([[number(row[column]) if column < len(row) else np.nan for column in range(most)] for row in rows])
    legs = tuple(row[7] if len(row) > 7 and isinstance(row[7], str) else None for row in rows)
    tick_s, cell_m = number(dive.header.get("tick_s")), number(dive.header.get("cell_m"))
    return ShownTrack(
        dive.name, dive.audience, vehicle, tick_s if tick_s > 0 else 1.0, cell_m if cell_m > 0 else None,
        np.array([number(record.elapsed_s) for record in ticks]),
        table[:, 1], table[:, 2], table[:, 3], table[:, 4], legs, table[:, FIELDS:],
    )  # fmt: skip


def _row(body: Sequence[Any], at: int) -> Sequence[Any]:
    return body[at] if at < len(body) and isinstance(body[at], list) else []
