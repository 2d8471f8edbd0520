"""What an audience would be told of a dive at a place: the policy's own steps, cells and words, over a charted seabed.

Rules: the rooms that make what is released make it here too (`dive_phases`, `disclosure`, `track`), so that what is
tried is what would be sent; of a record only that is made which an outsider can lay on a chart (place, depth, height,
leg). The instruments are taken as exact, which favours the outsider.
"""

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from relay.audit.advising.journey import Journey
from relay.audit.attacks.attack import Dive
from relay.audit.charts.chart import Floats
from relay.core.disclosure import AltitudeWords, DepthSteps
from relay.core.dive_phases import LegWatch
from relay.core.policy import MICROSECONDS, Disclosed, Leg, LegLimits, Place, Policy
from relay.core.quantise import plain
from relay.core.track import Track
from relay.core.wire import WireRecord

SINK_MPS = 0.5  # a descent of half a metre a second: common practice, no source
ECHO_M = 60.0  # farther off the bottom an altimeter has no echo: common practice, no source
_TICK_KIND = 1

Seabed = Callable[[Floats, Floats], Floats]
"""From metres east and north of the landing, in the journey's own frame, (places,), to depths of the seabed."""


def told_of(policy: Policy, journey: Journey, seabed: Seabed, limits: LegLimits | None = None) -> Dive:
    """Return the recording that `policy` would leave of a journey over a seabed.

    Places are as released, in a frame whose origin is the landing and whose turn is the journey's own.
    """
    track, depths, words = Track(policy), DepthSteps(policy), AltitudeWords()
    legs = LegWatch(limits or LegLimits())
    records = []
    for seq, (at_s, east_m, north_m, depth_m, altitude_m) in enumerate(_ticks(policy, journey, seabed), 1):
        at_us = at_s * MICROSECONDS
        leg = legs.judge(depth_m, altitude_m, at_us)
        word, shown_m = words.say(altitude_m), depths.show(depth_m, leg)
        cell = None if policy.place is Place.AREA else track.show(east_m, north_m, leg, (), at_us).cell
        body = _row(policy, cell, shown_m, word, leg)
        records.append(WireRecord(1, seq, _TICK_KIND, at_s, [body], b""))
    return Dive(journey.name, header_of(policy), tuple(records))


def _ticks(policy: Policy, journey: Journey, seabed: Seabed) -> Iterator[tuple[int, float, float, float, float | None]]:
    """Yield each tick's second, place, depth and height: down at the landing, along the bottom, up at the end."""
    tick_s = policy.tick_us // MICROSECONDS
    under_m = seabed(journey.east_m, journey.north_m)
    top_m = max(float(under_m[0] - journey.height_m[0]), 0.0)
    risen_m = max(float(under_m[-1] - journey.height_m[-1]), 0.0)
    down_s, worked_s, up_s = top_m / SINK_MPS, float(journey.t_s[-1]), risen_m / SINK_MPS
    at_s = np.arange(0, down_s + worked_s + up_s + tick_s, tick_s)
    since_s = np.clip(at_s - down_s, 0.0, worked_s)
    east_m, north_m, height_m = journey.at(since_s)
    ground_m = np.interp(since_s, journey.t_s, under_m)
    after_s = np.maximum(at_s - down_s - worked_s, 0.0)
    depth_m = np.minimum(at_s * SINK_MPS, ground_m - height_m) - after_s * SINK_MPS
    depth_m = np.maximum(depth_m, 0.0)
    altitude_m = ground_m - depth_m
    columns = (at_s, east_m, north_m, depth_m, altitude_m)
    for second, east, north, depth, altitude in zip(*(column.tolist() for column in columns), strict=True):
        yield second, east, north, depth, altitude if altitude <= ECHO_M else None


def _row(
    policy: Policy, cell: tuple[float, float] | None, depth_m: float | None, word: str | None, leg: Leg
) -> list[Any]:
    named = policy.fields
    east_m, north_m = cell if cell is not None and Disclosed.TRACK in named else (None, None)
    depth_m = depth_m if Disclosed.DEPTH in named else None
    word = word if Disclosed.ALTITUDE in named else None
    told_leg = str(leg) if Disclosed.LEG in named else None
    return ["reporting", east_m, north_m, depth_m, None, word, None, told_leg, None, None]


def header_of(policy: Policy) -> dict[str, Any]:
    """Return what the first record of a dive says of a policy, as `core.release` words it."""
    named = policy.fields
    return {
        "audience": policy.audience,
        "vehicles": ["Lantern"],
        "tick_s": policy.tick_us // MICROSECONDS,
        "cell_m": plain(policy.cell_m) if Disclosed.TRACK in named else None,
        "depth_step_m": plain(policy.depth_step_m) if Disclosed.DEPTH in named else None,
        "heading_step_deg": plain(policy.heading_step_deg) if Disclosed.HEADING in named else None,
        "fields": [str(field) for field in Disclosed if field in named],
        "place": str(policy.place),
        "depth": "relative" if policy.depth_relative else "absolute",
    }
