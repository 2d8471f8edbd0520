"""The counts of a shore, as Prometheus reads them (its text format, by the library `prometheus_client`).

Rules: numbers alone, by audience and by kind; no name, address or token of anybody who follows, and nothing that isn't
released. What is read is read when it is asked for: counting costs followers nothing.
"""

import os
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from prometheus_client import CollectorRegistry, ProcessCollector
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from relay.core.history import History
from relay.shell.site.site import Figures


@dataclass(frozen=True, slots=True)
class LinkCounts:
    """What the port that the ship dials has seen."""

    connected: bool
    connections: int
    strangers: int
    octets: int


@dataclass(frozen=True, slots=True)
class Counted:
    """What of a shore is counted. `link`: None where no ship dials; `came_s`: when a record came last (monotonic)."""

    ready: Callable[[], bool]
    figures: Callable[[], Figures]
    histories: Callable[[], Mapping[str, History]]
    fault: Callable[[], str | None]
    came_s: Callable[[], float | None]
    link: Callable[[], LinkCounts] | None
    folder: Path | None
    certificates: Callable[[], Mapping[str, float]]


def registry_of(counted: Counted) -> CollectorRegistry:
    """Return what Prometheus is given: the shore's counts and those of its process."""
    registry = CollectorRegistry()
    registry.register(_Counts(counted))
    ProcessCollector(registry=registry)
    return registry


class _Counts(Collector):
    def __init__(self, counted: Counted) -> None:
        self._of = counted

    def collect(self) -> Iterator[Metric]:
        """Yield every count as it is now."""
        of = self._of
        yield _gauge("offing_ready", "Whether followers are served.", of.ready())
        yield _gauge(
            "offing_fault", "Whether what came last couldn't be kept; the log says why.", of.fault() is not None
        )
        yield from _following(of.figures())
        yield from _holding(of.histories())
        if (came_s := of.came_s()) is not None:
            yield _gauge("offing_last_record_age_seconds", "Since a record came.", time.monotonic() - came_s)
        if of.folder is not None:
            yield _gauge("offing_disk_free_bytes", "Room where release logs are kept.", _free(of.folder))
        if of.link is not None:
            yield from _linked(of.link())
        ends = GaugeMetricFamily("offing_certificate_end_timestamp_seconds", "When a certificate ends.", labels=["of"])
        for name, ends_s in of.certificates().items():
            ends.add_metric([name], ends_s)
        yield ends


def _following(figures: Figures) -> Iterator[Metric]:
    yield _gauge("offing_connections", "Connections to the site.", figures.connections)
    followers = GaugeMetricFamily("offing_followers", "Who follows live.", labels=["audience"])
    for name, count in figures.viewers.items():
        followers.add_metric([name], count)
    yield followers
    away = CounterMetricFamily("offing_turned_away", "Connections that ended for a reason of ours.", labels=["why"])
    for why, count in asdict(figures.tally).items():
        away.add_metric([why], count)
    yield away


def _holding(histories: Mapping[str, History]) -> Iterator[Metric]:
    dives = GaugeMetricFamily("offing_dives_held", "Dives held.", labels=["audience"])
    records = GaugeMetricFamily("offing_records_held", "Records held, of all dives.", labels=["audience"])
    for name, history in histories.items():
        dives.add_metric([name], len(history.dives))
        records.add_metric([name], sum(len(dive.frames) for dive in history.dives))
    yield from (dives, records)


def _linked(link: LinkCounts) -> Iterator[Metric]:
    yield _gauge("offing_uplink_connected", "Whether the ship is connected.", link.connected)
    yield CounterMetricFamily("offing_uplink_connections", "How often the ship came.", link.connections)
    yield CounterMetricFamily("offing_uplink_strangers", "Peers that proved nothing.", link.strangers)
    yield CounterMetricFamily("offing_uplink_received_bytes", "What came of the ship, deflated.", link.octets)


def _gauge(name: str, what: str, value: float) -> Metric:
    return GaugeMetricFamily(name, what, value)


def _free(folder: Path) -> float:
    try:
        room = os.statvfs(folder)
    except OSError:
        return 0.0
    return float(room.f_bavail * room.f_frsize)
