"""Each vehicle as it is known now, exact: for the desk alone."""

from typing import Any

from relay.core.fuse import VehicleState
from relay.core.pipeline import Pipeline
from relay.shell.desk.desk_legs import Legs
from relay.shell.desk.desk_watch import Watch

_PLAIN = ("depth_m", "altitude_m", "heading_deg", "pitch_deg", "roll_deg", "speed_mps")


def vehicle_parts(pipeline: Pipeline, legs: Legs, watch: Watch, now_us: int, watched_us: int) -> list[dict[str, Any]]:
    """Return what is known of every vehicle, in the order of the plan.

    `watched_us`: the moment of which the watch is asked: an earlier one where what is known stands still.
    """
    doubted = {doubt.vehicle for doubt in pipeline.doubts(now_us)}
    return [
        {
            "name": name,
            **_known(state, watch, now_us),
            "leg": None if (leg := legs.leg(at)) is None else str(leg),
            "in_doubt": at in doubted,
            **watch.section(at, watched_us),
        }
        for at, (name, state) in enumerate(zip(pipeline.plan.vehicles, pipeline.now.states, strict=True))
    ]


def _known(state: VehicleState, watch: Watch, now_us: int) -> dict[str, Any]:
    position, mode = state.last("position"), state.last("mode")
    latitude_deg, longitude_deg = position or (None, None)
    east_m, north_m = watch.metres(position)
    return {
        "heard_ago_s": None if state.heard_us is None else round((now_us - state.heard_us) / 1e6, 3),
        "mode": None if mode is None else str(mode),
        "latitude_deg": latitude_deg,
        "longitude_deg": longitude_deg,
        "east_m": east_m,
        "north_m": north_m,
        **{name: state.last(name) for name in _PLAIN},
    }
