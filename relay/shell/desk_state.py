"""The state of a running relay as the desk is shown it: exact, whole, as plain values.

Rules: private, for whoever has the desk's token; what an audience sees comes from its released records alone (R7);
every desk gets the same bytes, for a state is composed once; nothing here changes anything.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Protocol

from relay.core.channel import Channel
from relay.core.decision import VERDICTS
from relay.core.pipeline import Pipeline
from relay.core.policy import Leg
from relay.core.reach import FORWARD_SONAR_M
from relay.shell.desk_decided import annotations, decided_parts
from relay.shell.desk_feeds import feed_parts
from relay.shell.desk_seen import Seen
from relay.shell.desk_tracks import Tracks
from relay.shell.desk_vehicles import vehicle_parts
from relay.shell.expedition import Expedition
from relay.shell.feeds import Feed
from relay.shell.quantities import say_duration
from relay.shell.site import Figures

QUEUE_BUCKETS = 120


@dataclass(slots=True)
class Disk:
    """What is known of the journal's disk: octets of the journal's files, and octets that are free."""

    octets: int = 0
    free_octets: int | None = None


class Aboard(Protocol):
    """What the desk is shown of the ship's relay."""

    stopped: str | None
    feeds: tuple[Feed, ...]
    pipeline: Pipeline

    @property
    def expedition(self) -> Expedition:
        """What is being relayed."""
        ...

    def now_us(self) -> int:
        """Return the moment on the embargo clock."""
        ...

    def wall_s(self) -> float:
        """Return the ship's wall clock, Unix seconds."""
        ...

    def alarms(self) -> list[str]:
        """Return what is wrong now."""
        ...

    def journal_facts(self) -> tuple[int, str | None]:
        """Return how many rows the journal has, and what is wrong with it, None where nothing is."""
        ...

    def figures(self) -> Figures:
        """Return who is on the public site."""
        ...


def seconds(microseconds: int | None) -> float | None:
    """Return seconds, to the millisecond."""
    return None if microseconds is None else round(microseconds / 1e6, 3)


def compose(ship: Aboard, seen: Seen, tracks: Tracks, disk: Disk) -> dict[str, Any]:
    """Return the whole state of this moment."""
    now_us, pipeline, figures = ship.now_us(), ship.pipeline, ship.figures()
    return {
        "now_us": now_us,
        "expedition": pipeline.plan.expedition,
        "ship": ship.expedition.ship,
        "clock": {"wall": _wall(ship.wall_s())},
        "language": ship.expedition.language,
        "dive": {"under_way": pipeline.present.under_way(now_us), "begun_us": pipeline.present.begun_us(now_us)},
        "stopped": ship.stopped,
        "alarms": ship.alarms(),
        "notices": [],
        "vehicles": vehicle_parts(pipeline, tracks, now_us),
        "audiences": [_audience(ship, seen, channel, now_us) for channel in pipeline.channels],
        "queue": _queue(pipeline, now_us),
        "feeds": feed_parts(ship.feeds, pipeline, now_us),
        "journal": _journal(ship, disk),
        "link": _link(figures, seen, now_us),
        **decided_parts(pipeline, tracks, now_us),
        "programme": None,
        "verdicts": list(VERDICTS),
        "legs": [str(leg) for leg in Leg],
    }


def _wall(wall_s: float) -> str:
    return datetime.fromtimestamp(wall_s, UTC).astimezone().isoformat(timespec="seconds")


def _audience(ship: Aboard, seen: Seen, channel: Channel, now_us: int) -> dict[str, Any]:
    policy, name = channel.policy, channel.policy.audience
    shown, next_us = seen.shown[name], channel.next_us()
    state = _standing(ship.stopped, channel)
    return {
        "name": name,
        "open": name in ship.expedition.open_audiences,
        "state": state,
        "words": _words(state, channel, now_us),
        "held": channel.held,
        "outside": channel.outside,
        "delay_s": seconds(policy.delay_us),
        "edge_us": channel.edge_us,
        "lag_s": seconds(now_us - channel.edge_us),
        "next_in_s": None if next_us is None else seconds(max(0, next_us - now_us)),
        "under_way": channel.under_way,
        "dive": channel.next_dive,
        "records": 0 if shown.over else shown.records,
        "followers": ship.figures().viewers.get(name, 0),
        "bytes": shown.octets,
        "fields": sorted(map(str, policy.fields)),
        "checked": policy.check_text,
        "sees": _sees(seen, name, now_us),
    }


def _standing(stopped: str | None, channel: Channel) -> str:
    if stopped is not None or (channel.outside is not None and not channel.held):
        return "stopped"
    if channel.held:
        return "held"
    return "releasing" if channel.under_way else "between dives"


def _words(state: str, channel: Channel, now_us: int) -> str:
    """Return how an audience stands, in words."""
    if state == "held":
        return "held: nothing leaves until it is resumed"
    if state == "stopped":
        return "stopped: " + (
            f"{channel.outside} was outside the declared area" if channel.outside else "see the alarm"
        )
    if state == "between dives":
        return "between dives: nothing is being shown"
    return f"releasing what was received until {say_duration(now_us - channel.edge_us)} ago"


def _sees(seen: Seen, audience: str, now_us: int) -> dict[str, Any] | None:
    shown = seen.shown[audience]
    if not shown.reports:
        return None
    return {
        "age_s": None if shown.at_us is None else seconds(now_us - shown.at_us),
        "dive_time_s": shown.elapsed_s,
        "over": shown.over,
        "vehicles": [{"name": name, **report} for name, report in zip(shown.vehicles, shown.reports, strict=True)],
    }


def _queue(pipeline: Pipeline, now_us: int) -> dict[str, Any]:
    """Return what the embargo still holds for the slowest audience, oldest first."""
    from_us, bucket_us, counts = pipeline.embargo.counts.buckets(now_us, QUEUE_BUCKETS)
    return {"from_us": from_us, "to_us": from_us + bucket_us * len(counts), "bucket_us": bucket_us, "counts": counts}


def _journal(ship: Aboard, disk: Disk) -> dict[str, Any]:
    rows, fault = ship.journal_facts()
    return {"rows": rows, "bytes": disk.octets, "free_bytes": disk.free_octets, "fault": fault, "fills_in_s": None}


def _link(figures: Figures, seen: Seen, now_us: int) -> dict[str, Any]:
    """Return what the followers take: what was released within the last minute, to each of them."""
    followers = sum(figures.viewers.values())
    octets = sum(count * seen.octets_lately(name, now_us) for name, count in figures.viewers.items())
    rate = round(8 * octets / 60)
    who = "1 follower" if followers == 1 else f"{followers} followers"
    words = f"{who}, {rate} bits a second in all"
    return {"connections": figures.connections, "followers": followers, "bits_per_s": rate, "words": words}


def compose_tracks(pipeline: Pipeline, seen: Seen, tracks: Tracks) -> dict[str, Any]:
    """Return the lines of the desk's plans: exact ones, and those that each audience has been sent."""
    sees = {
        name: {vehicle: trail.points() for vehicle, trail in shown.trails.items()} for name, shown in seen.shown.items()
    }
    return {
        "origin": None if tracks.origin is None else list(tracks.origin),
        "exact": tracks.lines(),
        "sees": sees,
        "ship": tracks.metres(pipeline.ship.states[0].last("position")) if tracks.origin is not None else None,
        "ring_m": FORWARD_SONAR_M,
        "covered": [],
        "plan": None,
        "annotations": annotations(pipeline, seen),
    }
