"""Recordings and charts as an outsider has them, for tests of the attacks: from real runs of the pipeline.

A leaky build is the relay with a defence taken out (by `monkeypatch`), run like any other; what it releases is then
attacked. Places are compared on the Earth, by geographiclib (Karney 2013), which the relay does not use.
"""

import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from pyproj import Transformer

from dives import INVENTED_SITE, SECOND, SECRETS, message, plan, policy, rows, run
from relay.audit.attacks.attack import Case, Dive
from relay.audit.charts.chart import Chart
from relay.core import channel
from relay.core.channel import Due
from relay.core.geodesy import Anchor, Placed, SiteFrame
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.policy import Plan
from relay.core.record_log import Unsealed
from relay.core.secrets import Secrets
from relay.core.wire import decode, encode

Point = tuple[float, float]


def chart_about(
    place: Point = INVENTED_SITE, cells: int = 121, step_deg: float = 1 / 600, depth_m: float = 1_100.0
) -> Chart:
    """Return an even chart about a place: square in degrees, a cell of a tenth of an arc-minute."""
    half = step_deg * (cells - 1) / 2
    latitude, longitude = (np.linspace(middle - half, middle + half, cells) for middle in place)
    return Chart("invented", latitude, longitude, np.full((cells, cells), depth_m), np.full((cells, cells), 10.0))


def step(east: float, north: float, **said: float) -> dict[str, float]:
    """Return a step of a dive: on the bottom unless it says otherwise, metres about the site."""
    return {"depth": 1_098.0, "altitude": 3.0, "heading": 0.0} | said | {"east": east, "north": north}


def journal(steps: Iterable[dict[str, float]], every_s: int = 2, site: Point = INVENTED_SITE) -> list[Row]:
    """Return the journal of a dive of Lantern: a step each `every_s`."""
    return rows((SECOND * (1 + every_s * at), message(told, site)) for at, told in enumerate(steps))


def recorded(
    steps: Iterable[dict[str, float]], shown: Plan | None = None, *, every_s: int = 2, secrets: Secrets = SECRETS,
    site: Point = INVENTED_SITE, name: str = "recording",
) -> Dive:  # fmt: skip
    """Return the recording of a dive, as the relay as it is now releases it; its heads, which tell no place, blank."""
    due = run(Pipeline(shown or plan(), secrets, record=Unsealed()), journal(steps, every_s, site))
    return dive_of(due, name)


def dive_of(due: Sequence[Due], name: str = "recording", audience: str = "public") -> Dive:
    """Return what was released to an audience, as its reader decodes it, with when each record came."""
    theirs = [item for item in due if item.record.audience == audience]
    records = tuple(decode(encode(item.record)) for item in theirs)
    return Dive(name, records[0].body, records, tuple(item.instant_us / SECOND for item in theirs))


def case_of(*dives: Dive, chart: Chart | None = None, **more: Any) -> Case:
    """Return the case of some recordings on an even chart about the invented site."""
    return Case(chart or chart_about(), dives, **more)


def on_earth(east_m: float, north_m: float, site: Point = INVENTED_SITE) -> Point:
    """Return latitude and longitude of a point about a site, metres (geographiclib)."""
    there = Geodesic.WGS84.Direct(*site, math.degrees(math.atan2(east_m, north_m)), math.hypot(east_m, north_m))
    return there["lat2"], there["lon2"]


def apart(first: Point, second: Point) -> float:
    """Return the distance between two places in metres (geographiclib)."""
    return float(Geodesic.WGS84.Inverse(*first, *second)["s12"])


def in_frame(east_m: float, north_m: float, secrets: Secrets = SECRETS) -> Point:
    """Return where a point about the first fix lies in the published frame: the secrets applied by hand."""
    turn, (shift_east, shift_north) = math.radians(secrets.turn_deg), secrets.shift_m
    east, north = east_m + shift_east, north_m + shift_north
    return east * math.cos(turn) + north * math.sin(turn), north * math.cos(turn) - east * math.sin(turn)


def from_frame(east_m: float, north_m: float, secrets: Secrets = SECRETS) -> Point:
    """Return where a point of the published frame lies about the first fix: `in_frame` undone."""
    turn, (shift_east, shift_north) = math.radians(secrets.turn_deg), secrets.shift_m
    east = east_m * math.cos(turn) - north_m * math.sin(turn)
    return east - shift_east, north_m * math.cos(turn) + east_m * math.sin(turn) - shift_north


class PublicGrid(SiteFrame):
    """The leak: metres of the UTM zone that the site lies in, by PROJ, instead of a secret frame."""

    _utm = Transformer.from_crs(4326, 32727, always_xy=True)

    def place(self, latitude_deg: float, longitude_deg: float) -> Placed:
        """Return the position in the zone's metres."""
        kept = super().place(latitude_deg, longitude_deg)
        return Placed(*self._utm.transform(longitude_deg, latitude_deg), 0.0, kept.from_anchor_m)


class NorthUp(SiteFrame):
    """The leak: a frame with its secret shift, but not turned."""

    def __init__(self, anchor: Anchor, secrets: Secrets) -> None:
        super().__init__(anchor, secrets)
        self._turn_deg, self._sin, self._cos = 0.0, 0.0, 1.0


def lay_public_grid(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take the secret frame away."""
    monkeypatch.setattr(channel, "SiteFrame", PublicGrid)


def shows(**changes: object) -> Plan:
    """Return the plan of one audience with a policy changed."""
    return plan(policy(**changes))
