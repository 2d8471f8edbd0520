"""Attacks on the released stream do no better than chance, and find the place where a defence is missing.

Chance, for a place on the Earth: an attack's guesses of many dives are held against the true places of the wrong
dives, thousands of times in random order. Guesses that say anything of their own dive are nearer to it than to
others. The share of orders in which the mean error is no greater than in the right one is the significance
(permutation test); "no better than chance" is a share above 5 %, and a leak has the least share there is.
"""

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from hashlib import sha256

import msgpack
import pytest
from geographiclib.geodesic import Geodesic

from attacks_on_stream import Point, Seen, averaging_attack, circle_attack, on_earth, snap_attack, track_of
from dives import SECOND, message, plan, policy, rows, run
from relay.core import channel, hiding, quantise, track
from relay.core.area import HiddenDisc, Zone, ZoneAction
from relay.core.geodesy import Anchor, SiteFrame
from relay.core.model import Row
from relay.core.pipeline import Pipeline
from relay.core.policy import Plan
from relay.core.record_log import Unsealed
from relay.core.secrets import Secrets
from relay.core.wire import encode

KNOWN = (-38.5, -22.0)
REACH_M = 30_000.0
DIVES, SURVEYS, ORDERS = 32, 20, 4_000
CELL_M, FINE_CELL_M = 50.0, 10.0
ZONE_M, MARGIN_M = 150.0, 90.0


@dataclass(frozen=True, slots=True)
class Site:
    """One site of the lottery: where it is, its secrets, and its own source of chance."""

    number: int
    place: Point
    secrets: Secrets

    def chance(self, purpose: str) -> random.Random:
        """Return a source of chance for one purpose."""
        return random.Random(f"{purpose} {self.number}")


def sites() -> list[Site]:
    """Return sites uniform over a disc about the point that everybody knows."""
    chance = random.Random(20)
    spots = [(REACH_M * math.sqrt(chance.random()), chance.uniform(0, 2 * math.pi)) for _ in range(DIVES)]
    places = [on_earth(KNOWN, reach * math.sin(way), reach * math.cos(way)) for reach, way in spots]
    return [Site(number, place, Secrets(sha256(b"%d" % number).digest())) for number, place in enumerate(places)]


SITES = sites()


@cache
def dive(site: Site, path: tuple[Point, ...], jitter_m: float) -> list[Row]:
    """Return the journal of a dive along a path, a point a second, metres about the site, fixes jittering."""
    chance = site.chance("jitter")
    steps = [
        {"east": east + chance.gauss(0, jitter_m), "north": north + chance.gauss(0, jitter_m), "depth": 900.0,
         "altitude": 5.0, "heading": 0.0}
        for east, north in path
    ]  # fmt: skip
    return rows((SECOND * (1 + at), message(step, site.place)) for at, step in enumerate(steps))


def released(site: Site, path: Sequence[Point], expedition: Plan, jitter_m: float) -> list[Seen]:
    """Return what an outsider reads in the frames of a dive; without heads, which aren't attacked here."""
    due = run(Pipeline(expedition, site.secrets, record=Unsealed()), dive(site, tuple(path), jitter_m))
    return track_of([msgpack.unpackb(encode(item.record)) for item in due])


def expedition_of(cell_m: float = CELL_M, zones: tuple[Zone, ...] = (), tick_s: int = 2) -> Plan:
    """Return a plan that shows the track everywhere."""
    shown = plan(policy(tick_us=tick_s * SECOND, cell_m=cell_m))
    return replace(shown, zones=zones, site_radius_m=3 * REACH_M)


def distance_m(first: Point, second: Point) -> float:
    """Return the distance between two positions (geographiclib)."""
    return float(Geodesic.WGS84.Inverse(*first, *second)["s12"])


def significance(guesses: Sequence[Point], places: Sequence[Point]) -> float:
    """Return the share of random orders of places in which guesses are as near, in the mean, as in the right one."""
    errors = [[distance_m(guess, place) for place in places] for guess in guesses]
    right = sum(errors[at][at] for at in range(len(places)))
    chance, order, as_near = random.Random(3), list(range(len(places))), 1
    for _ in range(ORDERS):
        chance.shuffle(order)
        as_near += sum(row[at] for row, at in zip(errors, order, strict=True)) <= right
    return as_near / (ORDERS + 1)


LEAST = 1 / (ORDERS + 1)


class OpenFrame(SiteFrame):
    """The leak: a frame about the known point, north up, instead of a secret one."""

    def __init__(self, anchor: Anchor, secrets: Secrets) -> None:
        super().__init__(anchor, secrets)
        self.anchor = Anchor(*KNOWN, anchor.confirmed_us)
        self._shift, self._sin, self._cos = (0.0, 0.0), 0.0, 1.0


class Noise:
    """The leak: noise on every sample instead of cells."""

    _chance = random.Random(12)

    def __init__(self, size: float) -> None:
        self._size = size

    def quantise(self, value: float) -> float:
        """Return the value with noise of the size of a cell."""
        return value + self._chance.gauss(0, self._size)


def centred_disc(zone: Zone, frame: SiteFrame, _: Secrets) -> HiddenDisc:
    """The leak: a zone with its own centre."""
    placed = frame.place(zone.latitude_deg, zone.longitude_deg)
    return HiddenDisc(placed.east_m, placed.north_m, zone.radius_m, zone.action)


@pytest.fixture
def open_frame(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take the secret frame away."""
    monkeypatch.setattr(channel, "SiteFrame", OpenFrame)


# Snap: a straight run of ten minutes; where was the vehicle in its middle?

MIDDLE_S = 300.0


def transit(site: Site) -> list[Point]:
    """Return a straight run of ten minutes at 1.2 m/s."""
    way = site.chance("transit").uniform(0, 2 * math.pi)
    return [(1.2 * second * math.sin(way), 1.2 * second * math.cos(way)) for second in range(600)]


def snap_guesses(slack: float) -> tuple[list[Point], list[Point]]:
    """Return guesses and truths of the place in the middle of each site's run."""
    guesses, truths = [], []
    for site in SITES:
        path = transit(site)
        east, north = snap_attack(released(site, path, expedition_of(), 0.5), CELL_M, slack, MIDDLE_S)
        guesses.append(on_earth(KNOWN, east, north))
        truths.append(on_earth(site.place, *path[int(MIDDLE_S)]))
    return guesses, truths


def test_snap_attack_does_no_better_than_chance() -> None:
    """The moments at which cells change tell nothing of where on the Earth the run was."""
    guesses, truths = snap_guesses(quantise.SLACK)
    assert significance(guesses, truths) > 0.05


@pytest.mark.usefixtures("open_frame")
@pytest.mark.parametrize("slack", [0.0, quantise.SLACK])
def test_snap_attack_finds_the_place_in_an_open_frame(slack: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a frame without a secret it finds the place far within a cell, with and without hysteresis."""
    monkeypatch.setattr(quantise, "SLACK", slack)
    guesses, truths = snap_guesses(slack)
    errors = sorted(distance_m(guess, truth) for guess, truth in zip(guesses, truths, strict=True))
    assert errors[-1] < CELL_M
    assert errors[len(errors) // 2] < CELL_M / 10
    assert significance(guesses, truths) == LEAST


# Averaging: five minutes of hovering; where?


def hover(site: Site) -> list[Point]:
    """Return five minutes at one spot, anywhere in its cell."""
    chance = site.chance("hover")
    spot = (chance.uniform(-500, 500), chance.uniform(-500, 500))
    return [spot] * 300


def averages(jitter_m: float) -> tuple[list[Point], list[Point]]:
    """Return the attack's points in the published frame, and the spots in the site's plane."""
    paths = [hover(site) for site in SITES]
    tracks = [released(site, path, expedition_of(), jitter_m) for site, path in zip(SITES, paths, strict=True)]
    return [averaging_attack(seen) for seen in tracks], [path[0] for path in paths]


@pytest.mark.parametrize("jitter_m", [0.5, CELL_M / 2])
def test_averaging_attack_does_no_better_than_chance(jitter_m: float) -> None:
    """A mean of many released positions, however the fixes jitter, tells nothing of where on the Earth it hovers."""
    means, spots = averages(jitter_m)
    guesses = [on_earth(KNOWN, *mean) for mean in means]
    truths = [on_earth(site.place, *spot) for site, spot in zip(SITES, spots, strict=True)]
    assert significance(guesses, truths) > 0.05


@pytest.mark.usefixtures("open_frame")
@pytest.mark.parametrize("jitter_m", [0.5, CELL_M / 10])
def test_averaging_attack_gains_nothing_within_a_cell(jitter_m: float) -> None:
    """Though it were told the frame, its error is that of a point anywhere in a square cell guessed at the centre.

    That is 0.3826 of the cell's side in the mean (the constant (sqrt 2 + ln(1 + sqrt 2)) / 6, from memory), with a
    deviation of 0.14; 2.33 standard errors below it is the 1 % point. Fixes may jitter by a tenth of a cell. Where
    they jitter by half of one, cells are noise themselves and a mean does tell the spot within the frame: what
    hides the place then is that the frame is secret (the test before this).
    """
    errors = averaging_errors(jitter_m)
    expected = (math.sqrt(2) + math.log(1 + math.sqrt(2))) / 6 * CELL_M
    assert sum(errors) / len(errors) > expected - 2.33 * 0.142 * CELL_M / math.sqrt(len(errors))


@pytest.mark.usefixtures("open_frame")
def test_averaging_attack_finds_the_place_under_noise(monkeypatch: pytest.MonkeyPatch) -> None:
    """With noise per sample instead of cells, in an open frame, it finds every spot within a fraction of the noise."""
    monkeypatch.setattr(track, "Step", Noise)
    errors = averaging_errors(0.5)
    assert max(errors) < CELL_M / 2
    assert sum(errors) / len(errors) < CELL_M / 10


def averaging_errors(jitter_m: float) -> list[float]:
    """Return the attack's errors in an open frame, metres."""
    means, spots = averages(jitter_m)
    return [
        distance_m(on_earth(KNOWN, *mean), on_earth(site.place, *spot))
        for mean, spot, site in zip(means, spots, SITES, strict=True)
    ]


# Circle fit: a survey over a hidden zone; where is its centre?


def survey(site: Site) -> tuple[list[Point], Point]:
    """Return lines 60 m apart over a zone, 10 m between points, and the zone's centre."""
    chance = site.chance("survey")
    centre = (chance.uniform(-300, 300), chance.uniform(-300, 300))
    path: list[Point] = []
    for line in range(-7, 8):
        along = [(centre[0] + 10.0 * step, centre[1] + 60.0 * line) for step in range(-42, 43)]
        path += along if line % 2 else along[::-1]
    return path, centre


def circles() -> tuple[list[Point], list[Point]]:
    """Return where the fitted circles say the centres are, and where they are."""
    guesses, truths = [], []
    for site in SITES[:SURVEYS]:
        path, centre = survey(site)
        place = on_earth(site.place, *centre)
        zone = Zone(name="the kiln", latitude_deg=place[0], longitude_deg=place[1], radius_m=ZONE_M, margin_m=MARGIN_M,
                    action=ZoneAction.WITHHOLD)  # fmt: skip
        found, _ = circle_attack(released(site, path, expedition_of(FINE_CELL_M, (zone,), tick_s=1), 0.2))
        guesses.append(on_earth(KNOWN, *found))
        truths.append(place)
    return guesses, truths


def test_circle_attack_does_no_better_than_chance() -> None:
    """The hole that a zone leaves in a track tells nothing of where on the Earth the zone is."""
    assert significance(*circles()) > 0.05


@pytest.mark.usefixtures("open_frame")
def test_circle_attack_does_no_better_than_chance_within_the_margin() -> None:
    """Though it were told the frame, it finds the hole's centre, and the zone's is anywhere within the margin of that.

    Chance is then the best blind guess there is, the middle of a disc in which the truth is uniform: the squared
    error, in squared margins, is uniform from 0 to 1, and its mean is below 1/2 by 2.33 standard errors once in 100.
    """
    squares = [min(1.0, (distance_m(guess, truth) / MARGIN_M) ** 2) for guess, truth in zip(*circles(), strict=True)]
    assert sum(squares) / SURVEYS > 0.5 - 2.33 * math.sqrt(1 / 12 / SURVEYS)


@pytest.mark.usefixtures("open_frame")
def test_circle_attack_finds_a_zone_that_is_centred_in_its_hole(monkeypatch: pytest.MonkeyPatch) -> None:
    """In an open frame, with zones that are not moved, it finds every centre within a cell."""
    monkeypatch.setattr(hiding, "hidden_disc", centred_disc)
    guesses, truths = circles()
    assert max(distance_m(guess, truth) for guess, truth in zip(guesses, truths, strict=True)) < FINE_CELL_M
    assert significance(guesses, truths) == LEAST
