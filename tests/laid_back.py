"""Invented dives beside an invented AIS track, at random: where the vehicle hung under its ship is known for each."""

import math
from dataclasses import dataclass

import numpy as np

from audited import Point, case_of, in_frame, on_earth
from relay.audit.attacks.attack import Case, Dive
from relay.audit.charts.chart import Floats
from relay.core.secrets import Secrets
from relay.core.wire import WireRecord
from ship_tracks import EVERY_S, of_places

TICK_S, DIVE_S, CELL_M, DEPTH_M = 15.0, 5_400.0, 25.0, 1_100.0
SHOWN_S = 900.0, 4_800.0
STATIONS, STAY = 6, 150


@dataclass(frozen=True)
class LaidBack:
    """A case, and where on the Earth the first told place is."""

    case: Case
    place: Point


def laid_back(draw: np.random.Generator, reach_m: float, *, moving: bool) -> LaidBack:
    """Return a dive at one of six stations, anywhere within reach of the ship, that hangs under her with some slack.

    `moving`: she goes ahead at her stations, two metres a minute, each in a direction of its own.
    """
    way, begin_s = _way(draw, moving)
    moments = np.arange(0, DIVE_S, TICK_S)
    ship = np.column_stack([np.interp(begin_s + moments, EVERY_S * np.arange(len(way)), axis) for axis in way.T])
    reach, bearing = reach_m * math.sqrt(draw.random()), draw.uniform(0, 2 * math.pi)
    slack = np.column_stack([_wandering(draw, len(moments)) for _ in range(2)])
    off = np.array([reach * math.sin(bearing), reach * math.cos(bearing)])
    track = ship + off + slack
    secrets = Secrets(draw.bytes(32))
    told = [in_frame(*(place - track[0]), secrets) for place in track]
    first = int(np.argmax(moments > SHOWN_S[0]))
    track_of_ship = of_places([(float(east), float(north)) for east, north in way], int(draw.integers(10**6)))
    return LaidBack(case_of(_recording(moments, np.array(told)), ship=track_of_ship), on_earth(*track[first]))


def _way(draw: np.random.Generator, moving: bool) -> tuple[Floats, float]:
    """Return the ship's places by the minute, and when the dive begins: some time into the stay at one station."""
    places, chosen, begin_s = [np.array([18_000.0, 15_000.0])], draw.integers(STATIONS), 0.0
    for number, station in enumerate(draw.uniform(-6_000, 6_000, (STATIONS, 2))):
        legs = max(2, round(float(np.hypot(*(station - places[-1]))) / 300))
        places += [places[-1] + (station - places[-1]) * at / legs for at in range(1, legs + 1)]
        if number == chosen:
            begin_s = EVERY_S * len(places) + draw.uniform(300, 1_500)
        ahead = draw.normal(0, 1, 2)
        for _ in range(STAY):
            places.append(places[-1] + moving * (2 * ahead / np.hypot(*ahead) + draw.normal(0, 1, 2)))
    return np.array(places), begin_s


def _wandering(draw: np.random.Generator, count: int) -> Floats:
    """Return a slack of 60 m as a standard deviation that keeps for a quarter of an hour."""
    return np.convolve(draw.normal(0, 60, count + 60), np.ones(60) / math.sqrt(60), "valid")[:count]


def _recording(moments: Floats, told: Floats) -> Dive:
    header = {"audience": "public", "vehicles": ["Lantern"], "tick_s": TICK_S, "cell_m": CELL_M, "depth": "absolute",
              "delay_s": [0, 0]}  # fmt: skip
    records = [WireRecord(1, 0, 0, 0.0, header, b"")]
    for at, (moment, place) in enumerate(zip(moments, told, strict=True), 1):
        shown = SHOWN_S[0] < moment < SHOWN_S[1]
        east, north = (round(value / CELL_M) * CELL_M if shown else None for value in place)
        row = ["reporting", east, north, DEPTH_M, None, None, None, "bottom" if shown else "descent", 0, 0]
        records.append(WireRecord(1, at, 1, float(moment), [row], b""))
    return Dive("recording", header, tuple(records))
