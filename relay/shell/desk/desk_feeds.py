"""Each feed as it stands: what it does, what became of its frames, and whose reports count where two are mirrored."""

from collections.abc import Iterable
from typing import Any

from relay.core.pipeline import Pipeline
from relay.core.sources import Tally
from relay.core.stations import PRIMARY, STANDBY, Mirror
from relay.shell.feeds.feeds import Feed

REASONS = 12


def feed_parts(feeds: Iterable[Feed], pipeline: Pipeline, now_us: int) -> list[dict[str, Any]]:
    """Return how every feed stands, in the order of the plan."""
    running = {feed.name: feed for feed in feeds}
    return [
        {
            "name": source.name,
            "format": source.format,
            "vehicle": source.vehicle,
            "of_ship": getattr(source, "of_ship", False),
            "state": running[source.name].state if source.name in running else "not started",
            "heard_ago_s": _heard_ago_s(running.get(source.name)),
            **_counts(pipeline.tallies[source.name]),
            "station": _station(pipeline, at, now_us),
        }
        for at, source in enumerate(pipeline.plan.sources)
    ]


def _heard_ago_s(feed: Feed | None) -> float | None:
    ago_s = None if feed is None else feed.heard_ago_s()
    return None if ago_s is None else round(ago_s, 3)


def _counts(tally: Tally) -> dict[str, Any]:
    return {
        "accepted": tally.accepted.total(),
        "passed_over": tally.passed_over.total(),
        "rejected": dict(tally.rejected.most_common(REASONS)),
        "bytes": tally.bytes,
    }


def _station(pipeline: Pipeline, source: int, now_us: int) -> dict[str, Any] | None:
    """Return the standing of a mirrored feed: over its vehicles, whether its reports count and whether it is well."""
    place = pipeline.stations.role_of(source)
    if place is None:
        return None
    pair, role = place
    mirrors = [mirror for (of, _), mirror in pipeline.stations.mirrors.items() if of == pair]
    return {
        "role": "primary" if role == PRIMARY else "standby",
        "counting": any(mirror.counting == role for mirror in mirrors) if mirrors else role == PRIMARY,
        "healthy": bool(mirrors) and all(_healthy(mirror, role, now_us) for mirror in mirrors),
    }


def _healthy(mirror: Mirror, role: int, now_us: int) -> bool:
    return mirror.pulses[role].healthy(now_us, mirror.pulses[STANDBY if role == PRIMARY else PRIMARY])
