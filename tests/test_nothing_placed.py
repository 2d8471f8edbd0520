"""Nothing placed (R3): one dive laid at 1,000 random places sends the same bytes at the same moments.

It is laid by geographiclib (`translation.py`), which the relay doesn't use. What must be equal is all that an outsider
gets: every frame of every audience, and when it leaves. Nothing is excused: no run, no record, no position; of a head
of the exact record the 32 bytes alone, which `test_heads_tell_nothing.py` is about.

**What holds by construction, and what can't.** A published cell changes only when a fix passes a threshold: three
quarters of a cell from the middle of the one that is held, or an edge, where none is held yet and for a jump that went
past the threshold. In between a fix may lie anywhere, on an edge of cells too: hysteresis holds. So if no fix of a
dive lies within the rounding of its input from a threshold, no translation changes a byte. No mechanism does without
thresholds: of all dives of N fixes, each told to within A, at most (1 - e/A)^N are told alike under every rounding of
up to e (Brunn-Minkowski, on the set of dives that are told alike). A finer lattice inside, more hysteresis or a snap
of the fixes only moves the thresholds elsewhere. So the runs are:

- 840 in full precision, as station messages carry it: published tracks as they are, and invented walks. Latitudes to
  85 degrees, all longitudes, half of the places at the antimeridian, the equator, the first meridian or high up.
- 160 as NMEA 0183 with five decimals of a minute, good to 2 cm. The dive's own fixes are first rounded, once and
  before it lies anywhere, by at most a hundredth of a cell to points off the thresholds; then the sentences' rounding
  is less than the way to the next threshold, and equality is a must. Eighty of them go to the limit: cells so small
  that the rounding is nearly a hundredth, a walk that stands on their edges again and again, and fixes that are no
  farther from a threshold than the rounding lets them be.

**What is left, measured.** Raw tracks as such sentences, in cells of 25 m and 12.5 m at once, under 500 random keys and
at as many places each: 3.6 % (ROV, first day), 4.8 % (second day), 6.8 % (glider, inlet) and 1.4 % (glider, shelf) of
the runs differ, a cell being told a fix sooner or later; in 23 to 48 % some fix lay where it could have. In none of the
2,000 did anything else differ; a few runs of this kind are below. In full precision the rounding is under 3 nm
(measured: geographiclib's way there and PROJ's back) instead of 26 mm: less than one run in a hundred million.
"""

import math
import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from hashlib import sha256
from pathlib import Path

import msgpack
import pytest

import relay.core.channel
import relay.core.disclosure
import relay.core.fuse
import relay.core.geodesy
import relay.core.quantise
import relay.core.track
from dives import INVENTED_SITE, SECRETS, run
from heads import sent_but_for_heads
from placed_dives import TRACKS, Dive, in_frame, plan_at, published, rounded, to_the_limit, walks
from relay.core.fuse import depth_from_pressure
from relay.core.geodesy import Anchor, plane
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.quantise import SLACK, Step
from relay.core.secrets import Secrets
from remembering_evidence import draw_once, low_trees
from translation import (
    NMEA_ROUNDING_M,
    NMEA_STEPS_A_DEGREE,
    WGS84,
    Report,
    Site,
    minutes,
    nmea_rows,
    nmea_steps,
    station_rows,
)

Sent = list[tuple[int, str, bytes]]
Rows = Callable[[tuple[Report, ...], Site], list[Row]]
LIMIT_CELL_M = 2.7
HEADING_ROUNDING_DEG = 2e-4  # four decimals, and what a fix that is off by its rounding turns the meridians by
WALKS = {"walk": (False, 1.0, 1), "walk by pressure": (True, 1.0, 2), "long walk": (False, 40.0, 3)}
COUNTS = {**dict.fromkeys(TRACKS, 130), "walk": 110, "walk by pressure": 50, "long walk": 100, "leaving": 60}
NMEA_COUNTS = {**dict.fromkeys(TRACKS, 20), "limit": 80}


@pytest.fixture(autouse=True)
def same_rows_draw_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """A dive's rows come at the same moments wherever it is laid: what is drawn for them from a key is remembered."""
    monkeypatch.setattr(relay.core.channel, "Signer", cache(relay.core.channel.Signer))
    draw_once(monkeypatch)
    low_trees(monkeypatch)


def test_there_are_a_thousand_places() -> None:
    """The runs below lay dives at a thousand random places."""
    assert sum(COUNTS.values()) + sum(NMEA_COUNTS.values()) == 1_000


def places(count: int, seed: str) -> Iterator[Site]:
    """Yield random places of all longitudes, latitudes to 85 degrees; of ten, five where something is special."""
    chance = random.Random(seed)
    for number in range(count):
        latitude, longitude = chance.uniform(-85, 85), chance.uniform(-180, 180)
        near = chance.gauss(0, 0.002)
        special: list[Site] = [
            (latitude, 180.0 - near if near > 0 else -180.0 - near), (near, longitude), (latitude, near),
            (math.copysign(chance.uniform(80, 85), latitude), longitude), (near, 180.0 - abs(near)),
        ]  # fmt: skip
        yield special[number // 2 % 5] if number % 2 else (latitude, longitude)


def shown(dive: Dive, site: Site, rows: Rows = station_rows, secrets: Secrets = SECRETS) -> Sent:
    """Return all that leaves of a dive at a site, but for the heads."""
    return sent_but_for_heads(run(Pipeline(plan_at(dive, site), secrets), rows(dive.reports, site)))


@cache
def dive_named(name: str, folder: Path | None) -> tuple[Dive, Site]:
    """Return a dive and where it first is: a published one where it was."""
    if name == "limit":
        return to_the_limit(SECRETS, LIMIT_CELL_M), INVENTED_SITE
    if name in WALKS:
        return walks(*WALKS[name]), INVENTED_SITE
    assert folder is not None
    if name == "leaving":
        dive, site = published(folder, "rov-transects/transects-2022-10-20")
        return Dive(dive.reports, leaves=True), site
    return published(folder, name)


def cells_of(frames: Sent) -> dict[str, set[tuple[float, float]]]:
    """Return the cells shown to each audience."""
    out: dict[str, set[tuple[float, float]]] = {"public": set(), "family": set(), "press": set()}
    for _, audience, frame in frames:
        _, _, kind, _, body, _ = msgpack.unpackb(frame)
        if kind == 1:
            out[audience] |= {(row[1], row[2]) for row in body if row[1] is not None}
    return out


@pytest.mark.slow
@pytest.mark.parametrize("name", COUNTS)
def test_dive_anywhere_on_earth_sends_the_same(name: str, shared_data: Path) -> None:
    """A dive in full precision sends, wherever it is laid, every byte and every moment of where it was."""
    dive, home = dive_named(name, shared_data)
    reference = shown(dive, home)
    assert len(reference) > 60
    assert len(cells_of(reference)["family"]) > 4
    for site in places(COUNTS[name], name):
        assert shown(dive, site) == reference, f"{name} at {site}"


@pytest.mark.slow
@pytest.mark.parametrize("name", NMEA_COUNTS)
def test_dive_rounded_to_a_hundredth_of_a_cell_sends_the_same_as_sentences(name: str, shared_data: Path) -> None:
    """With fixes off the thresholds, NMEA 0183 of five decimals anywhere sends what full precision sends at home."""
    dive, home = dive_named(name, shared_data)
    dive = dive if name == "limit" else rounded(dive, SECRETS)
    reference = shown(dive, home)
    assert len(cells_of(reference)["family"]) > 4
    for site in places(NMEA_COUNTS[name], name):
        assert shown(dive, site, nmea_rows) == reference, f"{name} at {site}"


def test_walk_to_the_limit_stands_on_edges_and_beside_thresholds() -> None:
    """Its rounding is almost a hundredth of its cell; it is often on an edge, or barely farther from a threshold."""
    assert 0.97 < NMEA_ROUNDING_M / (LIMIT_CELL_M / 100) < 1
    dive = to_the_limit(SECRETS, LIMIT_CELL_M)
    for axis in (0, 1):
        off = [in_frame(report, SECRETS)[axis] / LIMIT_CELL_M % 1 for report in dive.reports[2:]]
        assert sum(abs(part - 0.5) < 1e-6 for part in off) > 15
        assert sum(min(abs(part - 0.25), abs(part - 0.75)) < 0.011 for part in off) > 15


def test_sentences_are_off_by_no_more_than_their_rounding() -> None:
    """What NMEA 0183 tells of a place lies within the rounding that is reckoned with, by geographiclib."""
    worst_m = 0.0
    for site in places(300, "rounding"):
        told = [nmea_steps(angle) / NMEA_STEPS_A_DEGREE for angle in site]
        worst_m = max(worst_m, WGS84.Inverse(*site, *told)["s12"])
    assert 0.8 * NMEA_ROUNDING_M / 2 < worst_m <= NMEA_ROUNDING_M / 2
    assert minutes(-38.61472, "NS", 2) == "3836.88320,S"
    assert minutes(179.99999996, "EW", 3) == "18000.00000,E"


class Watched(Step):
    """The relay's step of a track, which notes when a fix comes within its rounding of a threshold."""

    near = 0
    rounding = NMEA_ROUNDING_M

    def quantise(self, value: float) -> float:
        """Judge as ever, after noting how near a threshold the value is."""
        rest = value / self._size
        at_edge = abs(rest - math.floor(rest) - 0.5) * self._size < self.rounding
        past = None if self._held is None else abs(self._from_held(value, self._held)) - (0.5 + SLACK) * self._size
        if (past is not None and abs(past) < self.rounding) or (at_edge and (past is None or past > 0)):
            Watched.near += 1
        return super().quantise(value)


class WatchedHeading(Watched):
    """The same for headings; depths, which no place changes, pass."""

    rounding = HEADING_ROUNDING_DEG

    def quantise(self, value: float) -> float:
        """Judge as ever, and note what is circular."""
        return super().quantise(value) if self._period is not None else Step.quantise(self, value)


def told_apart(name: str, folder: Path, number: int) -> tuple[bool, bool]:
    """Return whether a raw track as sentences, at a random place under a random key, differs, and whether it may."""
    dive, home = dive_named(name, folder)
    dive = replace(dive, hidden=False)
    secrets = Secrets(sha256(f"{name} {number}".encode()).digest())
    Watched.near = 0
    reference = shown(dive, home, station_rows, secrets)
    may = Watched.near > 0
    return shown(dive, next(places(1, f"raw {name} {number}")), nmea_rows, secrets) != reference, may


@pytest.mark.slow
def test_only_a_fix_at_a_threshold_can_tell_places_apart(shared_data: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Raw tracks as sentences, other keys: what differs had a fix within its rounding of a threshold, and is rare."""
    monkeypatch.setattr(relay.core.track, "Step", Watched)
    monkeypatch.setattr(relay.core.disclosure, "Step", WatchedHeading)
    found = [told_apart(name, shared_data, number) for name in TRACKS for number in range(15)]
    assert all(may for differs, may in found if differs)
    assert any(may for _, may in found)
    assert not all(may for _, may in found)
    assert sum(differs for differs, _ in found) < 0.3 * len(found)


def no_hysteresis(step: Step, value: float) -> float:
    """Round, whatever was held."""
    return round(value / step._size) * step._size


def flat_map(latitude_deg: float, longitude_deg: float, anchor: Anchor) -> tuple[float, float, float, float]:
    """Take degrees for metres, as a chart of the whole Earth does."""
    east = (longitude_deg - anchor.longitude_deg) * 111_195 * math.cos(math.radians(anchor.latitude_deg))
    north = (latitude_deg - anchor.latitude_deg) * 111_195
    return east, north, 0.0, math.hypot(east, north)


def true_north(latitude_deg: float, longitude_deg: float, anchor: Anchor) -> tuple[float, float, float, float]:
    """Place a fix rightly and leave headings to the meridian of the place."""
    east, north, _, distance = plane(latitude_deg, longitude_deg, anchor)
    return east, north, 0.0, distance


def one_gravity(pressure_dbar: float, latitude_deg: float) -> float:
    """Reckon depth with the gravity of one latitude everywhere."""
    return depth_from_pressure(pressure_dbar, 45.0)


@pytest.mark.parametrize(
    ("where", "leak", "name", "rows"),
    [
        ("track.Step.quantise", no_hysteresis, "limit", nmea_rows),
        ("geodesy.plane", flat_map, "walk", station_rows),
        ("geodesy.plane", true_north, "long walk", station_rows),
        ("fuse.depth_from_pressure", one_gravity, "walk by pressure", station_rows),
    ],
    ids=["no hysteresis", "flat map", "true north", "one gravity"],
)
def test_planted_leak_of_the_place_is_found(
    where: str, leak: Callable[..., object], name: str, rows: Rows, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same runs, few of them, tell a relay that gives its place away from one that doesn't."""
    dive, home = dive_named(name, None)
    reference = shown(dive, home)
    assert all(shown(dive, site, rows) == reference for site in places(4, "leak"))
    monkeypatch.setattr(f"relay.core.{where}", leak)
    leaky = shown(dive, home)
    assert any(shown(dive, site, rows) != leaky for site in places(10, "leak"))
