"""The checkpoint as a mark of the journal: JSON, with each audience's next dive and edge by name."""

import json

from relay.core.geodesy import Anchor
from relay.core.pipeline import Checkpoint
from relay.core.policy import Plan


def write_checkpoint(checkpoint: Checkpoint, plan: Plan) -> str:
    """Return the checkpoint as text."""
    names = [policy.audience for policy in plan.policies]
    anchor = checkpoint.anchor
    value = {
        "row": checkpoint.row,
        "next_dives": dict(zip(names, checkpoint.next_dives, strict=True)),
        "had_us": dict(zip(names, checkpoint.had_us, strict=True)),
        "anchor": None if anchor is None else [anchor.latitude_deg, anchor.longitude_deg, anchor.confirmed_us],
    }
    return json.dumps(value)


def read_checkpoint(text: str | None, plan: Plan) -> Checkpoint | None:
    """Return the checkpoint in a mark; an audience that is new since then begins with dive 1."""
    if text is None:
        return None
    value = json.loads(text)
    names = [policy.audience for policy in plan.policies]
    return Checkpoint(
        value["row"],
        tuple(value["next_dives"].get(name, 1) for name in names),
        tuple(value["had_us"].get(name, -1) for name in names),
        None if value["anchor"] is None else Anchor(*value["anchor"]),
    )
