"""Notices and forecasts: each holds when it should, at its limit and one past it, and says why and what to do."""

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from expeditions import RIGHT, changed
from relay.core.notices import (
    HEADS,
    LinkForecast,
    Released,
    StationNow,
    StorageForecast,
    link_forecast,
    notices,
    storage_forecast,
)
from relay.core.policy import Plan
from relay.shell.plan.expedition import parse_expedition

HOUR = 3_600.0
MINUTE_US = 60_000_000
AREA = '[area]\nname = "the invented bank"\ncentre = [-30, -22]\nradius = "600 km"\n\n[dive]'


def calm() -> Plan:
    """Return a plan of which there is nothing to say: late enough, with an area."""
    return parse_expedition(changed("[dive]", AREA), Path("EXPEDITION.toml")).plan


def told(plan: Plan | None = None, is_open: tuple[str, ...] = (), **more: Any) -> dict[str, str]:
    """Return the notices that hold, by their keys."""
    return {notice.key: notice.text for notice in notices(plan or calm(), is_open, **more)}


def test_nothing_is_noticed_where_all_is_well() -> None:
    """An expedition with an area and nobody open, its stations mirrored and well, its disk roomy."""
    stations = [StationNow("a"), StationNow("b", "a", counting=False)]
    storage = StorageForecast(24 * HOUR, "")
    assert told(stations=stations, storage=storage, link=LinkForecast(8e5, 0.8, "")) == {}


@pytest.mark.parametrize(("delay_us", "noticed"), [(20 * MINUTE_US, False), (20 * MINUTE_US - 1, True), (0, True)])
def test_embargo_shorter_than_advised_is_noticed_where_it_is_open(delay_us: int, noticed: bool) -> None:
    """Twenty minutes are enough, less isn't; who is no open audience may have it at once."""
    plan = calm()
    plan = replace(plan, policies=tuple(replace(policy, delay_us=delay_us) for policy in plan.policies))
    assert ("delay:public" in told(plan, ("public",))) == noticed
    assert "delay:family" not in told(plan, ("public",))
    if noticed:
        words = told(plan, ("public",))["delay:public"]
        assert "20 min or more is advised (common practice, no source)" in words
        assert 'set delay = "20 min"' in words
        assert "AIS" in words


def test_ais_is_noticed_where_anybody_follows() -> None:
    """An open audience is late for nothing if the ship herself tells the place."""
    assert "no embargo undoes that" in told(is_open=("public",))["ais"]
    assert "ais" not in told()


def test_missing_area_is_noticed() -> None:
    """Without a declared area nothing stops a release from elsewhere."""
    plan = parse_expedition(RIGHT, Path("EXPEDITION.toml")).plan
    assert "Add [area]" in told(plan)["area"]


@pytest.mark.parametrize(
    ("stations", "key", "words"),
    [
        ([StationNow("a"), StationNow("b")], "standby", "No station has a standby"),
        (
            [StationNow("a"), StationNow("b", "a", counting=False, healthy=False)],
            "station:b",
            "b is silent or frozen: if a fails, nothing takes its place. See to b.",
        ),
        (
            [StationNow("a", counting=False, healthy=False), StationNow("b", "a")],
            "station:a",
            "a is silent or frozen, and b counts in its place: if that fails, too, nothing is left. See to a.",
        ),
        (
            [StationNow("a", healthy=False), StationNow("b", "a", counting=False, healthy=False)],
            "station:a",
            "a and its standby b are both silent or frozen: neither counts. See to both.",
        ),
        (
            [StationNow("a", counting=False, healthy=False), StationNow("b", "a", healthy=False)],
            "station:a",
            "a and its standby b are both silent or frozen: neither counts. See to both.",
        ),
    ],
)
def test_station_that_nothing_stands_by_is_noticed(stations: list[StationNow], key: str, words: str) -> None:
    """No standby at all, one that sends nothing, and one that counts already: each by a key of its own."""
    found = told(stations=stations)
    assert list(found) == [key]
    assert words in found[key]


def test_overdue_alarm_says_what_it_does_not_count() -> None:
    """The embargo clock stands while the computer is off."""
    words = told(expecting=["Moth", "Lantern"])["overdue clock"]
    assert "Moth and Lantern" in words
    assert "watch of your own" in words


@pytest.mark.parametrize(
    ("free", "journal", "loss", "fills_in_s", "words"),
    [
        (12e9, None, None, None, "12 GB free; how quickly it fills isn't known yet"),
        (12e9, 0.0, -5.0, None, "12 GB free; it isn't filling"),
        (12e9, 1e6, None, 12_000.0, "12 GB free; at 3.6 GB an hour it is full in 3 h 20 min"),
        (12e9, 1e5, 1e6, 12_000.0, "12 GB free; at 3.6 GB an hour it is full in 3 h 20 min"),
        (12e9, 1e6, 1e3, 12_000.0, "12 GB free; at 3.6 GB an hour it is full in 3 h 20 min"),
        (0, 1e6, None, 0.0, "0 B free; at 3.6 GB an hour it is full in 0 s"),
    ],
)  # fmt: skip
def test_storage_is_forecast_by_what_fills_it_quickest(
    free: float, journal: float | None, loss: float | None, fills_in_s: float | None, words: str
) -> None:
    """The journal's growth, or what the disk loses to whoever writes on it; nothing is promised that isn't known."""
    found = storage_forecast(round(free), journal, loss)
    assert (found.fills_in_s, found.words) == (fills_in_s, words)


@pytest.mark.parametrize(("hours", "noticed"), [(24.0, False), (23.9, True), (0.0, True)])
def test_disk_that_is_full_within_a_day_is_noticed(hours: float, noticed: bool) -> None:
    """A day leaves time to make room; less is said."""
    found = told(storage=StorageForecast(hours * HOUR, "some free"))
    assert ("storage" in found) == noticed
    assert "storage" not in told(storage=StorageForecast(None, "some free"))
    if noticed:
        assert re.fullmatch(
            r"The disk is filling: some free\. Once .* nothing more released\. Make .*", found["storage"]
        )


def test_link_is_forecast_by_records_and_what_travels_with_them() -> None:
    """A record of 60 octets each 15 s to 200 followers: 200 times 8 bits of (60 + 78) octets each 15 s."""
    found = link_forecast({"public": Released(60 / 15, 1 / 15)}, {"public": 200})
    assert found.bits_per_s == pytest.approx(200 * 8 * (60 + HEADS) / 15)
    assert found.share is None
    assert (
        found.words
        == "200 follow: 14.7 kbit/s in all; each follower of public 74 bit/s; a link of 1 Mbit/s carries about 14,000"
    )


def test_link_of_known_speed_is_noticed_when_it_is_nearly_full() -> None:
    """At four fifths nothing is said, past them the share is."""
    rates = {"public": Released(125.0, 0.0), "crew": Released(250.0, 0.0)}
    at_limit = link_forecast(rates, {"public": 60, "crew": 10}, 100_000.0)
    assert (at_limit.bits_per_s, at_limit.share) == (80_000.0, 0.8)
    assert at_limit.words.endswith("public 1 kbit/s and crew 2 kbit/s; the link carries about 50")
    assert "link" not in told(link=at_limit)
    past = link_forecast(rates, {"public": 61, "crew": 10}, 100_000.0)
    assert told(link=past)["link"].startswith("Followers take 81 % of the link (71 follow: 81 kbit/s in all")


def test_link_without_followers_or_records_promises_nothing() -> None:
    """Before anything is released, and where nobody is, there is nothing to divide by."""
    assert link_forecast({}, {}).words == "nobody follows"
    assert link_forecast({"public": Released(0.0, 0.0)}, {"public": 1}).words == "1 follows: 0 bit/s in all"
    assert link_forecast({"public": Released(125.0, 0.0)}, {}, 500.0).words.endswith("the link carries not even one")


def test_most_pressing_comes_first() -> None:
    """A full disk before an advice."""
    plan = parse_expedition(RIGHT, Path("EXPEDITION.toml")).plan
    found = told(plan, ("public",), storage=StorageForecast(HOUR, ""), expecting=["Moth"], stations=[StationNow("a")])
    assert list(found) == ["storage", "standby", "area", "overdue clock", "ais"]
