"""What the operator should know though nothing is wrong: short sentences that say what, why, and what to do.

Rules: pure; plain values in, words out; no position and nothing exact in them. An advice without a source says so. A
notice stops nothing. Forecasts go by what was measured, and say what they were measured over.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from relay.core.in_words import size, span, speed
from relay.core.policy import MICROSECONDS, Plan

ADVISED_DELAY_US = 20 * 60 * MICROSECONDS
FULL_SOON_S = 24 * 3600.0
FULL_NOW_S = 2 * 3600.0


@dataclass(frozen=True, slots=True)
class Notice:
    """A notice by a key that stays the same while it holds."""

    key: str
    text: str


@dataclass(frozen=True, slots=True)
class StationNow:
    """How a feed stands: its name, whose standby it is, whether it counts, is well, and was heard since the start."""

    name: str
    standby_for: str | None
    counting: bool
    healthy: bool
    heard: bool


@dataclass(frozen=True, slots=True)
class StorageForecast:
    """When the disk is full at the present rate (None: not in sight or not known), and in words."""

    fills_in_s: float | None
    words: str


@dataclass(frozen=True, slots=True)
class LinkForecast:
    """What followers take of the link now, bits per second, and in words."""

    bits_per_s: float
    words: str


def notices(
    plan: Plan,
    open_audiences: Iterable[str],
    stations: Sequence[StationNow] = (),
    storage: StorageForecast | None = None,
    expecting: Sequence[str] = (),
) -> list[Notice]:
    """Return the notices that hold now, the gravest first.

    `stations`: every feed as it stands; `expecting`: vehicles whose return is awaited.
    """
    return [
        *_of_storage(storage),
        *_of_stations(stations),
        *_of_delay(plan, frozenset(open_audiences)),
        *_of_area(plan),
        *_of_clock(expecting),
        *_of_ais(frozenset(open_audiences)),
    ]


def storage_forecast(
    free_bytes: int, journal_bytes_per_s: float | None, free_loss_per_s: float | None = None
) -> StorageForecast:
    """Return when the disk is full: by the journal's growth or by what the free space loses, whichever is more."""
    known = [rate for rate in (journal_bytes_per_s, free_loss_per_s) if rate is not None]
    if not known:
        return StorageForecast(None, f"{size(free_bytes)} free; how quickly it fills isn't known yet")
    rate = max(known)
    if rate <= 0.0:
        return StorageForecast(None, f"{size(free_bytes)} free, and nothing is being written")
    fills_in_s = free_bytes / rate
    return StorageForecast(
        fills_in_s, f"{size(free_bytes)} free: at {size(rate * 3600)} an hour it is full in {span(fills_in_s)}"
    )


def link_forecast(
    release_bytes_per_s: Mapping[str, float], followers: Mapping[str, int], sent_bits_per_s: float | None = None
) -> LinkForecast:
    """Return what the followers of each audience take of the link, from the bytes that were released."""
    load = sum(8.0 * rate * followers.get(name, 0) for name, rate in release_bytes_per_s.items())
    bits_per_s = max(load, sent_bits_per_s or 0.0)
    each = ", ".join(f"{name} {speed(8.0 * rate)} each" for name, rate in release_bytes_per_s.items())
    count = sum(followers.values())
    return LinkForecast(bits_per_s, f"{count} following take {speed(bits_per_s)} ({each})")


def _of_storage(storage: StorageForecast | None) -> Iterator[Notice]:
    if storage is not None and storage.fills_in_s is not None and storage.fills_in_s < FULL_SOON_S:
        why = "When it is full the journal stops, and the release with it"
        yield Notice("storage", f"The disk will be full: {storage.words}. {why}. Make room.")


def _of_stations(stations: Sequence[StationNow]) -> Iterator[Notice]:
    for station in stations:
        if station.standby_for is not None and not station.healthy:
            yield Notice(
                f"standby:{station.name}",
                f"{station.name} sends nothing: nothing takes over if {station.standby_for} fails. See to it.",
            )


def _of_delay(plan: Plan, open_audiences: frozenset[str]) -> Iterator[Notice]:
    for policy in plan.policies:
        if policy.audience in open_audiences and policy.delay_us < ADVISED_DELAY_US:
            late, advised = span(policy.delay_us / MICROSECONDS), span(ADVISED_DELAY_US / MICROSECONDS)
            yield Notice(
                f"delay:{policy.audience}",
                f"{policy.audience} is only {late} late. Whoever sees the ship, or her AIS, while she still lies there "
                f'knows the place: {advised} or more is advised (common practice, no source). Set delay = "{advised}".',
            )


def _of_area(plan: Plan) -> Iterator[Notice]:
    if plan.area is None:
        yield Notice(
            "area",
            "No area is declared, so nothing stops the release if a vehicle is somewhere else than you think. "
            "Add [area] to the expedition file.",
        )


def _of_clock(expecting: Sequence[str]) -> Iterator[Notice]:
    if expecting:
        yield Notice(
            "overdue clock",
            f"The alarm for {' and '.join(expecting)} doesn't count the time in which this computer is off, and comes "
            "later by it. Keep your own watch, too.",
        )


def _of_ais(open_audiences: frozenset[str]) -> Iterator[Notice]:
    if open_audiences:
        yield Notice(
            "ais",
            "The ship's AIS tells her place to everybody, at once and for years: no embargo undoes that. Whether it "
            "may be off is the master's decision, by the rules of the sea.",
        )
