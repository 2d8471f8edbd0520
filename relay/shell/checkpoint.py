"""The checkpoint as a mark of the journal: JSON, with each audience's standing by name."""

import json
from typing import Any

from relay.core.channel import Standing
from relay.core.geodesy import Anchor
from relay.core.pipeline import Checkpoint
from relay.core.policy import Plan


def write_checkpoint(checkpoint: Checkpoint, plan: Plan) -> str:
    """Return the checkpoint as text."""
    pairs = zip(plan.policies, checkpoint.standings, strict=True)
    audiences = {policy.audience: _written(standing) for policy, standing in pairs}
    return json.dumps({"row": checkpoint.row, "audiences": audiences})


def read_checkpoint(text: str | None, plan: Plan) -> Checkpoint | None:
    """Return the checkpoint in a mark; an audience that is new since then begins with dive 1."""
    if text is None:
        return None
    value = json.loads(text)
    return Checkpoint(value["row"], tuple(_read(value["audiences"].get(policy.audience)) for policy in plan.policies))


def _written(standing: Standing) -> dict[str, Any]:
    anchor = standing.anchor
    place = None if anchor is None else [anchor.latitude_deg, anchor.longitude_deg, anchor.confirmed_us]
    return {
        "next_dive": standing.next_dive,
        "had_us": standing.had_us,
        "anchor": place,
        "instant_us": standing.instant_us,
    }


def _read(value: dict[str, Any] | None) -> Standing:
    if value is None:
        return Standing()
    anchor = None if value["anchor"] is None else Anchor(*value["anchor"])
    return Standing(value["next_dive"], value["had_us"], anchor, value["instant_us"])
