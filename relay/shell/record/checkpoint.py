"""The checkpoint as a mark of the journal: JSON, with each audience's standing by name."""

import json
from dataclasses import asdict
from typing import Any

from relay.core.geodesy import Anchor
from relay.core.hiding import InForce
from relay.core.policy import Plan
from relay.core.programme import Programme, Told
from relay.core.record_log import LogStart
from relay.core.restart import Checkpoint, Standing


def write_checkpoint(checkpoint: Checkpoint, plan: Plan) -> str:
    """Return the checkpoint as text."""
    pairs = zip(plan.policies, checkpoint.standings, strict=True)
    audiences = {policy.audience: _written(standing) for policy, standing in pairs}
    at_us, programme = checkpoint.programme or (0, None)
    decided = None if programme is None else [at_us, asdict(programme)]
    kept = {"desk": checkpoint.desk, "programme": decided, "record": _log_written(checkpoint.record)}
    return json.dumps({"row": checkpoint.row, "audiences": audiences, **kept})


def read_checkpoint(text: str | None, plan: Plan) -> Checkpoint | None:
    """Return the checkpoint in a mark; an audience that is new since then begins with dive 1, and all zones."""
    if text is None:
        return None
    value = json.loads(text)
    standings = tuple(_read(value["audiences"].get(policy.audience)) for policy in plan.policies)
    decided = value.get("programme")
    programme = None if decided is None else (int(decided[0]), Programme(**_lines(decided[1])))
    return Checkpoint(value["row"], standings, tuple(value.get("desk", ())), programme, _log_read(value.get("record")))


def _log_written(start: LogStart | None) -> list[Any] | None:
    if start is None:
        return None
    return [start.minute, start.row, start.leaves, start.silent, [peak.hex() for peak in start.peaks]]


def _log_read(value: list[Any] | None) -> LogStart | None:
    """Return where the exact record's log goes on, None where that wasn't kept yet, or without its leaves."""
    if value is None or len(value) != 5:
        return None
    minute, row, leaves, silent, peaks = value
    return LogStart(minute, row, leaves, silent, tuple(map(bytes.fromhex, peaks)))


def _written(standing: Standing) -> dict[str, Any]:
    anchor = standing.anchor
    place = None if anchor is None else [anchor.latitude_deg, anchor.longitude_deg, anchor.confirmed_us]
    return {
        "next_dive": standing.next_dive,
        "had_us": standing.had_us,
        "anchor": place,
        "instant_us": standing.instant_us,
        "zones": None if standing.zones is None else {"rows": sorted(standing.zones.rows), "upto": standing.zones.upto},
        "told": None if standing.told is None else asdict(standing.told),
    }


def _read(value: dict[str, Any] | None) -> Standing:
    if value is None:
        return Standing()
    anchor = None if value["anchor"] is None else Anchor(*value["anchor"])
    zones = value.get("zones")
    in_force = None if zones is None else InForce(frozenset(zones["rows"]), zones["upto"])
    told = value.get("told")
    told = None if told is None else Told(**_lines(told))
    return Standing(value["next_dive"], value["had_us"], anchor, value["instant_us"], in_force, told)


def _lines(value: dict[str, Any]) -> dict[str, Any]:
    """Return the values with the schedule as it is kept."""
    return {**value, "schedule": tuple(value["schedule"])}
