"""What the operator should know though nothing is wrong yet: each notice says what, why, and what to do.

Rules: pure; plain values in, words out; no position and nothing exact in them.
1. A notice stops nothing, and has a key that stays the same while it holds. An advice without a source says so.
2. Forecasts go by what was measured (`rate`); where nothing was, they say so and promise nothing.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from relay.core.in_words import several, size, span, speed
from relay.core.policy import MICROSECONDS, Plan

ADVISED_DELAY_US = 20 * 60 * MICROSECONDS  # common practice, no source
FULL_SOON_S = 24 * 3600.0
LINK_FULL = 0.8
A_LINK_BITS = 1_000_000.0

# What travels with each record, octets: IPv4 20, TCP 32 with timestamps, websocket 4, TLS record 22 (RFC 791, 9293 and
# 7323, 6455, 8446; the sum is from memory, and the link's own frames come on top).
HEADS = 78.0


@dataclass(frozen=True, slots=True)
class Notice:
    """A notice, and the key that tells it from others."""

    key: str
    text: str


@dataclass(frozen=True, slots=True)
class StationNow:
    """How a feed stands: whose standby it is, and, if it has a mirror, whether it counts now and is well."""

    name: str
    standby_for: str | None = None
    counting: bool = True
    healthy: bool = True


@dataclass(frozen=True, slots=True)
class Released:
    """What was released to an audience lately, each second: octets of records, and records."""

    bytes_per_s: float
    records_per_s: float


@dataclass(frozen=True, slots=True)
class StorageForecast:
    """When the disk is full at the present rate (None: not in sight, or not known), and in words."""

    fills_in_s: float | None
    words: str


@dataclass(frozen=True, slots=True)
class LinkForecast:
    """What followers take of the link now (bits a second), the share of it if its speed is known, and in words."""

    bits_per_s: float
    share: float | None
    words: str


def storage_forecast(
    free_bytes: int, journal_bytes_per_s: float | None, free_loss_per_s: float | None = None
) -> StorageForecast:
    """Return when the disk is full: by the journal's growth or by what the free space loses, whichever is more.

    Rates in octets a second, None where they aren't known yet; a loss below zero is a gain.
    """
    rates = [rate for rate in (journal_bytes_per_s, free_loss_per_s) if rate is not None]
    free = f"{size(free_bytes)} free"
    if not rates:
        return StorageForecast(None, f"{free}; how quickly it fills isn't known yet")
    if max(rates) <= 0.0:
        return StorageForecast(None, f"{free}; it isn't filling")
    fills_in_s = free_bytes / max(rates)
    return StorageForecast(fills_in_s, f"{free}; at {size(max(rates) * 3600)} an hour it is full in {span(fills_in_s)}")


def link_forecast(
    released: Mapping[str, Released], followers: Mapping[str, int], link_bits_per_s: float | None = None
) -> LinkForecast:
    """Return what the followers of each audience take of the link, by what was released to it lately.

    `followers`: how many are on the live tail. What a new one fetches of the dive so far comes on top.
    """
    each = {name: 8 * (one.bytes_per_s + HEADS * one.records_per_s) for name, one in released.items()}
    load = sum(each[name] * followers.get(name, 0) for name in each)
    share = None if link_bits_per_s is None else load / link_bits_per_s
    return LinkForecast(load, share, _link_words(each, followers, load, link_bits_per_s))


def _link_words(
    each: Mapping[str, float], followers: Mapping[str, int], load: float, link_bits_per_s: float | None
) -> str:
    count = sum(followers.values())
    said = [f"{count} {'follows' if count == 1 else 'follow'}: {speed(load)} in all" if count else "nobody follows"]
    if told := [f"{name} {speed(bits)}" for name, bits in each.items() if bits > 0.0]:
        link = A_LINK_BITS if link_bits_per_s is None else link_bits_per_s
        a_link = "the link" if link_bits_per_s is not None else f"a link of {speed(link)}"
        dearest = max(each.values())
        said.append(f"each follower of {several(told)}; {a_link} carries {_about(link / dearest)}")
    return "; ".join(said)


def _about(count: float) -> str:
    """Return a number with two figures, as a guess is told."""
    return f"about {int(float(f'{count:.2g}')):,}" if count >= 1 else "not even one"


def notices(
    plan: Plan,
    open_audiences: Iterable[str],
    stations: Sequence[StationNow] = (),
    storage: StorageForecast | None = None,
    link: LinkForecast | None = None,
    expecting: Sequence[str] = (),
) -> list[Notice]:
    """Return the notices that hold now, the most pressing first.

    `stations`: every feed as it stands; `expecting`: the vehicles whose return is awaited.
    """
    is_open = frozenset(open_audiences)
    return [
        *_of_storage(storage),
        *_of_link(link),
        *_of_stations(stations),
        *_of_delay(plan, is_open),
        *_of_area(plan),
        *_of_clock(expecting),
        *_of_ais(is_open),
    ]


def _of_storage(storage: StorageForecast | None) -> Iterator[Notice]:
    if storage is not None and storage.fills_in_s is not None and storage.fills_in_s < FULL_SOON_S:
        why = "Once it is full nothing more is recorded, and nothing more released"
        yield Notice("storage", f"The disk is filling: {storage.words}. {why}. Make room on it.")


def _of_link(link: LinkForecast | None) -> Iterator[Notice]:
    if link is not None and link.share is not None and link.share > LINK_FULL:
        yield Notice(
            "link",
            f"Followers take {100 * link.share:.0f} % of the link ({link.words}). When it is full they fall behind, "
            "and so does the ship's own traffic. Let somebody ashore pass the page on.",
        )


def _of_stations(stations: Sequence[StationNow]) -> Iterator[Notice]:
    standbys = {station.standby_for: station for station in stations if station.standby_for is not None}
    for station in stations:
        standby = standbys.get(station.name)
        if standby is not None and not station.healthy and not standby.healthy:
            text = f"{station.name} and its standby {standby.name} are both silent or frozen: neither counts."
            yield Notice(f"station:{station.name}", f"{text} See to both.")
        elif standby is not None and standby.counting and not station.healthy:
            text = f"{station.name} is silent or frozen, and {standby.name} counts in its place: if that fails, too, "
            yield Notice(f"station:{station.name}", f"{text}nothing is left. See to {station.name}.")
        elif standby is not None and not standby.healthy:
            text = f"{standby.name} is silent or frozen: if {station.name} fails, nothing takes its place."
            yield Notice(f"station:{standby.name}", f"{text} See to {standby.name}.")
    if stations and not standbys:
        yield Notice(
            "standby",
            "No station has a standby: if it fails, its vehicle is lost to the record and to followers until it is "
            "back. Feed a mirrored station, too: another [[feed]] with standby_for.",
        )


def _of_delay(plan: Plan, is_open: frozenset[str]) -> Iterator[Notice]:
    for policy in plan.policies:
        if policy.audience in is_open and policy.delay_us < ADVISED_DELAY_US:
            late, advised = span(policy.delay_us / MICROSECONDS), f"{ADVISED_DELAY_US // (60 * MICROSECONDS)} min"
            yield Notice(
                f"delay:{policy.audience}",
                f"{policy.audience} is open and only {late} late. Whoever sees the ship, or her AIS, while she still "
                f"lies there knows the place. {advised} or more is advised (common practice, no source): set "
                f'delay = "{advised}" in the expedition file.',
            )


def _of_area(plan: Plan) -> Iterator[Notice]:
    if plan.area is None:
        yield Notice(
            "area",
            "No area is declared, so nothing stops the release if a vehicle is somewhere else than you think. Add "
            "[area] to the expedition file.",
        )


def _of_clock(expecting: Sequence[str]) -> Iterator[Notice]:
    if expecting:
        yield Notice(
            "overdue clock",
            f"The alarm for {several(list(expecting))} doesn't count time in which this computer is off, and comes "
            "later by it. Keep a watch of your own, too.",
        )


def _of_ais(is_open: frozenset[str]) -> Iterator[Notice]:
    if is_open:
        yield Notice(
            "ais",
            "The ship's AIS tells everybody where she is, at once, and is archived: no embargo undoes that. Whether it "
            "may be off is for the master to decide, by the rules of the sea.",
        )
