"""How each audience stands, and what it sees: the latter from its released records alone (R7)."""

from collections.abc import Collection, Mapping
from typing import Any

from relay.core.channel import Channel
from relay.shell.desk.desk_seen import Seen
from relay.shell.plan.quantities import say_duration


def audience_parts(
    channels: Collection[Channel],
    seen: Seen,
    *,
    stopped: str | None,
    open_audiences: Collection[str],
    followers: Mapping[str, int],
    now_us: int,
    invited: Collection[str] = (),
) -> list[dict[str, Any]]:
    """Return how every audience stands, in the order of the plan; `followers`: how many each that is shown has.

    `invited`: those that are shown to whoever has a link.
    """
    return [
        {
            **_audience(channel, stopped, now_us),
            "open": channel.policy.audience in open_audiences,
            "invited": channel.policy.audience in invited,
            "followers": followers.get(channel.policy.audience, 0),
            **_seen(seen, channel.policy.audience, now_us),
        }
        for channel in channels
    ]


def _audience(channel: Channel, stopped: str | None, now_us: int) -> dict[str, Any]:
    policy, next_us, state = channel.policy, channel.next_us(), _state(channel, stopped)
    return {
        "name": policy.audience,
        "state": state,
        "words": _words(state, channel, now_us),
        "held": channel.held,
        "held_row": channel.held_row,
        "outside": channel.outside,
        "delay_s": seconds(policy.delay_us),
        "edge_us": channel.edge_us,
        "lag_s": seconds(now_us - channel.edge_us),
        "next_in_s": None if next_us is None or stopped is not None else seconds(max(0, next_us - now_us)),
        "under_way": channel.under_way,
        "dive": channel.next_dive,
        "fields": sorted(map(str, policy.fields)),
        "checked": policy.check_text,
    }


def _state(channel: Channel, stopped: str | None) -> str:
    if stopped is not None:
        return "stopped"
    if channel.held:
        return "held"
    if channel.outside is not None:
        return "stopped"
    return "releasing" if channel.under_way else "between dives"


def _words(state: str, channel: Channel, now_us: int) -> str:
    """Return how an audience stands, in words."""
    if state == "held":
        return "held: nothing leaves until it is resumed"
    if state == "stopped":
        why = "see the alarm" if channel.outside is None else f"{channel.outside} was outside the declared area"
        return f"stopped: {why}"
    if state == "between dives":
        return "between dives: nothing is being shown"
    return f"releasing what was received until {say_duration(now_us - channel.edge_us)} ago"


def _seen(seen: Seen, audience: str, now_us: int) -> dict[str, Any]:
    shown = seen.shown[audience]
    vehicles = [{"name": name, **report} for name, report in zip(shown.vehicles, shown.reports, strict=False)]
    sees = {
        "age_s": None if shown.at_us is None else seconds(now_us - shown.at_us),
        "dive_time_s": shown.elapsed_s,
        "over": shown.over,
        "vehicles": vehicles,
    }
    return {"records": 0 if shown.over else shown.records, "bytes": shown.octets, "sees": sees if vehicles else None}


def seconds(microseconds: int) -> float:
    """Return seconds, to the millisecond."""
    return round(microseconds / 1e6, 3)
