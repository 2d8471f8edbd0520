"""What is released is a function of the steps that are shown: paired runs that differ within them (R7)."""

import json
import math
import random
from collections.abc import Callable

from geographiclib.geodesic import Geodesic

from dives import INVENTED_SITE, SECOND, SECRETS, plan, policy, rows, run, sent
from heads import but_for_heads
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.policy import Disclosed, Leg, Policy
from relay.core.release import Kind

CELL_M, DEPTH_STEP_M, HEADING_STEP_DEG, TILT_STEP_DEG = 10.0, 5.0, 22.5, 5.0
Jitter = Callable[[float], float]


def place_of(east_m: float, north_m: float) -> tuple[float, float]:
    """Return latitude and longitude of a point of the secret frame about the invented site (geographiclib)."""
    turn, (shift_east, shift_north) = math.radians(SECRETS.turn_deg), SECRETS.shift_m
    east = east_m * math.cos(turn) - north_m * math.sin(turn) - shift_east
    north = north_m * math.cos(turn) + east_m * math.sin(turn) - shift_north
    there = Geodesic.WGS84.Direct(*INVENTED_SITE, math.degrees(math.atan2(east, north)), math.hypot(east, north))
    return there["lat2"], there["lon2"]


def report(
    position: tuple[float, float], depth_m: float, altitude_m: float, heading_deg: float, tilt_deg: float
) -> bytes:
    """Return a station message that says everything a vehicle can say."""
    values = {
        "vehicle": "Lantern", "latitude_deg": position[0], "longitude_deg": position[1], "depth_m": depth_m,
        "altitude_m": altitude_m, "heading_deg": heading_deg % 360, "pitch_deg": tilt_deg, "roll_deg": -tilt_deg,
        "speed_mps": abs(tilt_deg) / 10, "mode": "tethered",
    }  # fmt: skip
    return json.dumps(values).encode() + b"\n"


def stepping_dive(seconds: int, within: Jitter, between: Jitter) -> list[Row]:
    """Return a dive that goes from step to step every 2 s, which is the tick.

    `within(step)` is added to what the tick shows, `between(step)` to the reports that a later one replaces before
    any tick; the first two fixes, which make the anchor, are the site itself.
    """
    chance, cell = random.Random(4), [round(value / CELL_M) for value in SECRETS.shift_m]
    messages = [(SECOND + at, report(INVENTED_SITE, 5.0, 900.0, 90.0, 0.0)) for at in range(2)]
    for second in range(2, seconds):
        add = within if second % 2 == 0 else between
        if second % 2 == 0:
            cell = [value + chance.choice((-1, 0, 1)) for value in cell]
        depth_m = DEPTH_STEP_M * min(220, 2 + 4 * (second // 2))
        altitude_m = 8.0 if depth_m >= 1_100.0 else 900.0 if depth_m < 1_000.0 else 70.0
        messages.append((
            second * SECOND,
            report(
                place_of(*(CELL_M * value + add(CELL_M) for value in cell)),
                depth_m + add(DEPTH_STEP_M),
                altitude_m * (1 + add(1.0)),
                HEADING_STEP_DEG * (second // 6) - SECRETS.turn_deg + add(HEADING_STEP_DEG),
                TILT_STEP_DEG * (second // 10 % 3) + add(TILT_STEP_DEG),
            ),
        ))  # fmt: skip
    return rows(messages)


def told(journal: list[Row]) -> list[tuple[int, str, bytes]]:
    """Return what leaves of a dive, but for the heads, which are over its very rows."""
    return but_for_heads(sent(run(Pipeline(plan(), SECRETS), journal)))


def test_nothing_finer_than_the_steps_is_released() -> None:
    """Dives that differ by less than the hysteresis at each tick, and by anything between ticks, send the same bytes.

    So no distance, speed, time or text can have been made from what is finer than the records show.
    """
    chance = random.Random(6)
    plain = told(stepping_dive(259, lambda _: 0.0, lambda _: 0.0))
    assert len({frame for *_, frame in plain}) > 120
    for _ in range(3):
        shaken = stepping_dive(
            259, lambda step: chance.uniform(-0.24, 0.24) * step, lambda step: chance.uniform(-0.9, 0.9) * step
        )
        assert told(shaken) == plain


def winding_dive(bend: float) -> list[Row]:
    """Return a dive with one bottom leg, whose way down and up depends on `bend` and whose way there doesn't.

    The ways meet some seconds before the bottom: a step holds on, so the cell just before may show in the next one.
    """
    messages = [(SECOND + at, report(INVENTED_SITE, 5.0, 900.0, 90.0, 0.0)) for at in range(2)]
    for second in range(2, 240):
        down, up = second < 72, second > 166
        depth_m = min(1_100.0, 14.0 * second, 1_100.0 - 12.0 * (second - 160))
        away = math.sin(math.pi * (second - 2) / 70) if down else math.sin((second - 166) / 30) if up else 0.0
        east, north = 3.0 * (second - 78), 300.0 * bend * away
        position = place_of(SECRETS.shift_m[0] + east, SECRETS.shift_m[1] + north)
        heading_deg = 40.0 + (90.0 * bend if down or up else 0.0)
        messages.append((second * SECOND, report(position, depth_m, max(3.0, 1_103.0 - depth_m), heading_deg, 0.0)))
    return rows(messages)


def hiding() -> Policy:
    """Return a policy that shows the track at the bottom alone, and not at all which way was taken there."""
    return policy(track_legs=frozenset({Leg.BOTTOM}), fields=frozenset(Disclosed) - {Disclosed.NOTES})


def test_hidden_legs_leave_nothing_in_what_is_released() -> None:
    """Dives that differ in where they went while no track was shown send the same bytes, to the last total (R3)."""
    released = [run(Pipeline(plan(hiding()), SECRETS), winding_dive(bend)) for bend in (0.0, 0.4, -1.0)]
    assert [but_for_heads(sent(due)) for due in released] == [but_for_heads(sent(released[0]))] * 3
    ticks = [item.record.body[0] for item in released[0] if item.record.kind is Kind.TICK]
    assert {row[1] is not None for row in ticks if row[7] == "bottom"} == {True}
    assert {row[1] for row in ticks if row[7] in ("descent", "ascent")} == {None}
    assert {row[7] for row in ticks} >= {"descent", "bottom", "ascent"}
