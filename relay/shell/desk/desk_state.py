"""The state of a running relay as the desk is shown it: exact, whole, as plain values.

Rules: private, for whoever has the desk's token; what an audience sees comes from its released records alone (R7);
every desk gets the same bytes, for a state is composed once; nothing here changes anything.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Protocol

from relay.core.decision import VERDICTS
from relay.core.notices import LinkForecast, Released, StationNow, StorageForecast, link_forecast, notices
from relay.core.pipeline import Pipeline
from relay.core.policy import Leg
from relay.core.silence import Silence
from relay.shell.desk.desk_audiences import audience_parts
from relay.shell.desk.desk_decided import annotations, decided_parts
from relay.shell.desk.desk_disk import Disk
from relay.shell.desk.desk_feeds import feed_parts
from relay.shell.desk.desk_legs import Legs
from relay.shell.desk.desk_seen import LATELY_US, Seen
from relay.shell.desk.desk_vehicles import vehicle_parts
from relay.shell.desk.desk_watch import Watch
from relay.shell.desk.standing import programme_section
from relay.shell.feeds.feeds import Feed
from relay.shell.plan.expedition import Expedition
from relay.shell.ship.promises import Promises
from relay.shell.site.site import Figures

QUEUE_BUCKETS = 120
FROZEN = (
    "what the desk shows of vehicles is frozen, for nothing that comes in is read: neither tether nor silence nor "
    "what is overdue is watched"
)


class Aboard(Protocol):
    """What the desk is shown of the ship's relay."""

    expedition: Expedition
    pipeline: Pipeline
    feeds: tuple[Feed, ...]
    stopped: str | None
    promises: Promises

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

    def guests(self) -> list[dict[str, Any]]:
        """Return who is invited, by name."""
        ...

    def figures(self) -> Figures:
        """Return who is on the public site."""
        ...

    def uplink_facts(self) -> dict[str, Any] | None:
        """Return how the link to the shore stands, None where there is none."""
        ...


@dataclass(frozen=True, slots=True)
class Memory:
    """What the desk itself remembers of a run."""

    seen: Seen
    legs: Legs
    watch: Watch
    disk: Disk
    silence: Silence


def is_frozen(ship: Aboard) -> bool:
    """Return whether rows aren't taken, so that what is known of vehicles stands still."""
    return ship.stopped is not None or ship.journal_facts()[1] is not None


def compose(ship: Aboard, memory: Memory) -> dict[str, Any]:
    """Return the whole state of this moment."""
    now_us, pipeline, figures = ship.now_us(), ship.pipeline, ship.figures()
    feeds = feed_parts(ship.feeds, pipeline, now_us)
    watched_us = memory.watch.looked_us if (frozen := is_frozen(ship)) else now_us
    storage, link = memory.disk.forecast(), _link(figures, memory.seen, now_us)
    return {
        "now_us": now_us,
        "expedition": pipeline.plan.expedition,
        "ship": ship.expedition.ship,
        "clock": {"wall": datetime.fromtimestamp(ship.wall_s(), UTC).astimezone().isoformat(timespec="seconds")},
        "language": ship.expedition.language,
        "dive": {"under_way": pipeline.present.under_way(now_us), "begun_us": pipeline.present.begun_us(now_us)},
        "stopped": ship.stopped,
        "alarms": ship.alarms(),
        "notices": _notices(ship, memory.watch, feeds, storage, link, now_us),
        "frozen": frozen,
        "vehicles": vehicle_parts(pipeline, memory.legs, memory.watch, now_us, watched_us),
        "audiences": audience_parts(
            pipeline.channels,
            memory.seen,
            stopped=ship.stopped,
            open_audiences=ship.expedition.open_audiences,
            followers=figures.viewers,
            now_us=now_us,
            invited=ship.expedition.invited_audiences,
        ),
        "queue": _queue(pipeline, now_us),
        "feeds": feeds,
        "journal": _journal(ship, memory.disk, storage),
        "link": _link_part(figures, link),
        "uplink": ship.uplink_facts(),
        **decided_parts(pipeline, memory.watch, now_us),
        "programme": programme_section(pipeline),
        "promises": ship.promises.told(),
        "guests": ship.guests(),
        "verdicts": list(VERDICTS),
        "legs": [str(leg) for leg in Leg],
    }


def _queue(pipeline: Pipeline, now_us: int) -> dict[str, Any]:
    """Return what the embargo still holds for the slowest audience, oldest first."""
    from_us, bucket_us, counts = pipeline.embargo.counts.buckets(now_us, QUEUE_BUCKETS)
    return {"from_us": from_us, "to_us": from_us + bucket_us * len(counts), "bucket_us": bucket_us, "counts": counts}


def _journal(ship: Aboard, disk: Disk, storage: StorageForecast | None) -> dict[str, Any]:
    (rows, fault), last = ship.journal_facts(), disk.last
    return {
        "rows": rows,
        "bytes": 0 if last is None else last.journal,
        "free_bytes": None if last is None else last.free,
        "fault": fault,
        "fills_in_s": None if storage is None else storage.fills_in_s,
        "words": None if storage is None else storage.words,
    }


def _link(figures: Figures, seen: Seen, now_us: int) -> LinkForecast:
    """Return what the followers take of the link, by what was released within the last minute."""
    lately = {name: seen.lately(name, now_us) for name in figures.viewers}
    over_s = LATELY_US / 1e6
    released = {name: Released(octets / over_s, records / over_s) for name, (octets, records) in lately.items()}
    return link_forecast(released, figures.viewers)


def _link_part(figures: Figures, link: LinkForecast) -> dict[str, Any]:
    return {
        "connections": figures.connections,
        "followers": sum(figures.viewers.values()),
        "bits_per_s": round(link.bits_per_s),
        "words": link.words,
    }


def _notices(
    ship: Aboard,
    watch: Watch,
    feeds: list[dict[str, Any]],
    storage: StorageForecast | None,
    link: LinkForecast,
    now_us: int,
) -> list[dict[str, str]]:
    """Return what the operator should know though nothing is wrong yet."""
    plan = ship.pipeline.plan
    stations = [
        StationNow(source.name, source.standby_for, feed["station"]["counting"], feed["station"]["healthy"])
        if feed["station"] is not None
        else StationNow(source.name)
        for source, feed in zip(plan.sources, feeds, strict=True)
        if not source.of_ship
    ]
    told = notices(plan, ship.expedition.open_audiences, stations, storage, link, watch.expecting())
    return [{"key": notice.key, "text": notice.text} for notice in [*told, *watch.notices(now_us)]]


def compose_tracks(ship: Aboard, memory: Memory) -> dict[str, Any]:
    """Return the lines of the desk's plans: exact ones, and those that each audience has been sent."""
    sees = {
        name: {vehicle: trail.points() for vehicle, trail in shown.trails.items()}
        for name, shown in memory.seen.shown.items()
    }
    return {**memory.watch.tracks(), "sees": sees, "annotations": annotations(ship.pipeline, memory.seen)}
