"""Dives whose exact course is known, told through the real disclosure, as an outsider has them.

Places are put on the Earth by geographiclib (an independent library) about an invented site.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, radians, sin
from typing import Any

import numpy as np
from geographiclib.geodesic import Geodesic

from dives import INVENTED_SITE, SECRETS
from relay.audit.attacks.attack import Dive
from relay.core.disclosure import Disclosure, Ground
from relay.core.fuse import VehicleState
from relay.core.geodesy import Anchor, SiteFrame
from relay.core.model import Observation
from relay.core.policy import Disclosed, Plan, Policy
from relay.core.release import ReleasedRecord, ReleaseLog
from relay.core.wire import WireRecord, decode, encode

SECOND = 1_000_000
FRAME = SiteFrame(Anchor(*INVENTED_SITE, 0), SECRETS)


@dataclass(frozen=True, slots=True)
class Moment:
    """Where a vehicle is: seconds, metres east and north of the site, depth, height over the seabed (None: no echo)."""

    at_s: float
    east_m: float
    north_m: float
    depth_m: float
    altitude_m: float | None


def policy_of(**changes: Any) -> Policy:
    """Return a policy that names every field: a 15 s tick, 25 m cells, 50 m of depth (10 m while descending)."""
    values: dict[str, Any] = {
        "audience": "public", "delay_us": 0, "extra_us": 0, "tick_us": 15 * SECOND, "fields": frozenset(Disclosed),
        "cell_m": 25.0, "depth_step_m": 50.0, "descent_step_m": 10.0,
    }  # fmt: skip
    return Policy(**values | changes)


def told_dive(policy: Policy, course: Sequence[Moment], number: int = 1) -> Dive:
    """Return the released dive of one vehicle that reported each moment of `course` at a tick of the policy."""
    plan = Plan(expedition="The search for the Isoline Marr", vehicles=("Lantern",), sources=(), policies=(policy,))
    log, disclosure, state = ReleaseLog(policy, plan, number, 0), Disclosure(policy, plan), VehicleState()
    records = [log.open(0)]
    for moment in course:
        at_us = round(moment.at_s * SECOND)
        state.take(_observed(moment), at_us)
        if moment.altitude_m is None:
            state = _without_echo(moment, at_us)
        records.append(log.tick(at_us, [disclosure.report(state, Ground(FRAME), at_us)]))
    records.append(log.end(round(course[-1].at_s * SECOND)))
    read = tuple(_read(record) for record in records)
    return Dive(f"dive-{number:03d}.recording", read[0].body, read)


def _without_echo(moment: Moment, at_us: int) -> VehicleState:
    state = VehicleState()
    state.take(_observed(moment), at_us)
    return state


def _observed(moment: Moment) -> Observation:
    azimuth = degrees(atan2(moment.east_m, moment.north_m))
    there = Geodesic.WGS84.Direct(*INVENTED_SITE, azimuth, hypot(moment.east_m, moment.north_m))
    return Observation(
        latitude_deg=there["lat2"], longitude_deg=there["lon2"], depth_m=moment.depth_m,
        altitude_m=moment.altitude_m, heading_deg=0.0,
    )  # fmt: skip


def _read(record: ReleasedRecord) -> WireRecord:
    return decode(encode(record))


def in_frame(moment: Moment) -> tuple[float, float]:
    """Return where a moment lies in the secret frame, metres: what an outsider's soundings are held against."""
    observed = _observed(moment)
    assert observed.latitude_deg is not None and observed.longitude_deg is not None
    placed = FRAME.place(observed.latitude_deg, observed.longitude_deg)
    return placed.east_m, placed.north_m


def course_over(
    seabed_m: Callable[[float, float], float], seed: int, *, tick_s: float = 15.0, bottom_s: float = 3_600.0,
    sink_mps: float = 0.5,
) -> list[Moment]:  # fmt: skip
    """Return an invented dive: straight down, a wandering walk 0.5 to 12 m over the seabed, straight up.

    Its depth changes by at most 0.25 m/s at the bottom: the vehicle goes slowly, and holds on where it is steep.
    """
    return list(_course(seabed_m, np.random.default_rng(seed), tick_s, bottom_s, sink_mps))


def _course(
    seabed_m: Callable[[float, float], float], chance: np.random.Generator, tick_s: float, bottom_s: float, sink: float
) -> Iterator[Moment]:
    at_s, east, north, depth = 0.0, 0.0, 0.0, 0.0
    while depth < seabed_m(east, north) - 8:
        yield Moment(at_s, east, north, depth, seabed_m(east, north) - depth)
        depth, at_s = min(depth + sink * tick_s, seabed_m(east, north) - 8), at_s + tick_s
    heading, height, end_s = chance.uniform(0, 360), 8.0, at_s + bottom_s
    while at_s < end_s:
        yield Moment(at_s, east, north, depth, seabed_m(east, north) - depth)
        heading += chance.normal(0, 10)
        height = float(np.clip(height + chance.normal(0, 1), 0.5, 12.0))
        step = 0.3 * tick_s
        there = east + step * sin(radians(heading)), north + step * cos(radians(heading))
        reach = 0.25 * tick_s
        wanted = float(np.clip(seabed_m(*there) - height, depth - reach, depth + reach))
        if 0.2 <= seabed_m(*there) - wanted <= 14.5:
            (east, north), depth = there, wanted
        at_s += tick_s
    while depth > 0:
        yield Moment(at_s, east, north, depth, seabed_m(east, north) - depth)
        depth, at_s = depth - sink * tick_s, at_s + tick_s
