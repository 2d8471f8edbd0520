"""What a record may hold by its audience's policy (R4), read by its numbers alone: nothing of `disclosure` is used."""

import math
from collections.abc import Iterator
from typing import Any

from relay.core.policy import Disclosed, Leg, Place, Policy
from relay.core.wire import WireRecord

DIVE, TICK, NOTE, END, TARGET, STILL, _PROGRAMME, HEAD = range(8)
# Of a tick's row, by their place in it: `relay/asyncapi.yaml`.
COLUMNS = (
    None, Disclosed.TRACK, Disclosed.TRACK, Disclosed.DEPTH, Disclosed.HEADING, Disclosed.ALTITUDE, Disclosed.MODE,
    Disclosed.LEG, Disclosed.PITCH, Disclosed.ROLL,
)  # fmt: skip
WORDS = {"no report", "reporting"}
ALTITUDES = {"on the bottom", "near the bottom", "mid-water"}
MODES = {"tethered", "autonomous", "surface"}
KEYS = {
    "format", "version", "expedition", "audience", "vehicles", "tick_s", "delay_s", "cell_m", "depth_step_m",
    "heading_step_deg", "fields", "place", "depth", "area", "swath_m", "key",
}  # fmt: skip


def wrong_fields(policy: Policy, record: WireRecord) -> Iterator[str]:
    """Yield what a record of a dive holds that the policy doesn't name, or finer than it says."""
    body = record.body
    match record.kind:
        case 0 if not isinstance(body, dict) or set(body) - KEYS:
            yield "its header says more than a header may"
        case 0 if body["fields"] != [str(field) for field in Disclosed if field in policy.fields]:
            yield f"its header names other fields: {body['fields']}"
        case 1:
            for row in body:
                yield from _wrong_row(policy, row)
        case 2 if Disclosed.NOTES not in policy.fields or len(body) != 2:
            yield "a note, or more than one"
        case 5 if Disclosed.STILLS not in policy.fields or len(body) != 5:
            yield "a still, or more than one"
        case 4 if Disclosed.NOTES not in policy.fields or len(body) != 3:
            yield "a target, or more than one"
        case 7 if not isinstance(body, list) or [len(part) for part in body] != [32]:
            yield "more than a head"
        case 3 if body is not None:
            yield "something besides the end of the dive"
        case kind if kind not in (DIVE, NOTE, END, TARGET, STILL, HEAD):
            yield f"a kind that there is not: {kind}"


def _wrong_row(policy: Policy, row: list[Any]) -> Iterator[str]:
    exact = policy.place is Place.EXACT
    if len(row) != len(COLUMNS) + 2 * exact:
        yield f"{len(row)} values of a vehicle"
        return
    for field, value in zip(COLUMNS, row, strict=False):
        if field is not None and value is not None and field not in policy.fields:
            yield f"{field} is told"
    tilt = policy.tilt_step_deg
    steps = (policy.cell_m, policy.cell_m, None, policy.heading_step_deg, None, None, None, tilt, tilt)
    finest = {policy.depth_step_m, policy.descent_step_m or policy.depth_step_m}
    for field, value, step in zip(COLUMNS[1:], row[1:], steps, strict=False):
        allowed = finest if field is Disclosed.DEPTH else {step}
        if step is None and field is not Disclosed.DEPTH:
            continue
        if value is not None and not any(_is_multiple(value, one) for one in allowed if one is not None):
            yield f"{field} is finer than its step: {value}"
    for values, at in ((WORDS, 0), (ALTITUDES, 5), (MODES, 6), ({str(leg) for leg in Leg}, 7)):
        if row[at] is not None and row[at] not in values:
            yield f"a word that there is not: {row[at]!r}"


def _is_multiple(value: float, step: float) -> bool:
    return math.isclose(value / step, round(value / step), abs_tol=1e-6)
