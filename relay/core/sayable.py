"""Whether a text may be told to an audience: what tells a place, or when something is at the ship, is kept back.

Rules: a text is blocked, never edited; an audience whose texts aren't checked is told all.
"""

from relay.core.place_in_text import find_places
from relay.core.policy import Plan, Policy
from relay.core.programme import Programme
from relay.core.time_in_text import find_times


def may_say(policy: Policy, plan: Plan, text: str) -> bool:
    """Whether an annotation, or the name of a target, may be told."""
    if not policy.check_text:
        return True
    return not find_places(text, forbidden=plan.forbidden_words, scene=plan.scene_names)


def may_post(policy: Policy, plan: Plan, programme: Programme) -> bool:
    """Whether a programme may be told: none of its texts tells a place or a time."""
    times = policy.check_text and any(map(find_times, programme.texts))
    return not times and all(may_say(policy, plan, text) for text in programme.texts)
