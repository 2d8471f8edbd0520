"""Reckoned from the ship through withheld legs: headings told there give the place, Offing leaves every stay."""

import math
from collections.abc import Iterator

import numpy as np
import pytest
from shapely import Point as Spot
from shapely.affinity import scale

from audited import Point, apart, case_of, from_frame, on_earth, recorded, shows, step
from dives import SECRETS
from relay.audit.attacks.attack import Dive
from relay.audit.attacks.dead_reckoning import DRIFT_MPS, DeadReckoning, hole_km2
from relay.audit.attacks.shown_track import ShownTrack, reference_m, tracks_of
from relay.audit.matching.posterior import Posterior
from relay.core import channel
from relay.core.disclosure import Disclosure, Ground
from relay.core.fuse import VehicleState
from relay.core.policy import Disclosed, Leg
from ship_tracks import ais

STEP_S, SPEED_MPS = 4, 0.6
STATIONS = [(0.0, 0.0), (5_200.0, 1_900.0), (-4_100.0, 3_000.0), (1_200.0, -5_600.0)]
AWAY = (18_000.0, 15_000.0)


def steered() -> Iterator[dict[str, float]]:
    """Yield a dive of 100 minutes: 20 minutes down in a bend, then about the bottom at the same speed."""
    east = north = 0.0
    for at in range(1_500):
        t = at * STEP_S
        down = min(1.0, max(0.0, (t - 240) / 1_200))
        heading = 70 + 60 * math.sin(t / 400) if t < 1_440 else (70 + t / 9) % 360
        if t >= 240:
            east += STEP_S * SPEED_MPS * math.sin(math.radians(heading))
            north += STEP_S * SPEED_MPS * math.cos(math.radians(heading))
        depth = 0.5 + 1_097.5 * down
        yield step(east, north, depth=depth, altitude=1_101.0 - depth, heading=heading)


def released() -> Dive:
    """Return the recording of it, the track shown at the bottom alone."""
    return recorded(
        steered(), shows(tick_us=STEP_S * 1_000_000, track_legs=frozenset({Leg.BOTTOM}), heading_step_deg=5.0),
        every_s=STEP_S,
    )  # fmt: skip


def reference(dive: Dive) -> Point:
    """Return where on the Earth the reference is that likelihoods are of."""
    told = reference_m(case_of(dive))
    assert told is not None
    return on_earth(*from_frame(*told))


class Steering(Disclosure):
    """The leak: headings from true north, also where no place is told."""

    def _placed(
        self, state: VehicleState, ground: Ground | None, leg: Leg, at_us: int
    ) -> tuple[tuple[float, float] | None, float | None]:
        cell, _ = super()._placed(state, ground, leg, at_us)
        heading_deg = self._known(state, "heading_deg", at_us)
        return cell, None if heading_deg is None else self._stepped(Disclosed.HEADING, self._heading, heading_deg)


def test_headings_told_on_withheld_legs_give_the_place(monkeypatch: pytest.MonkeyPatch) -> None:
    """With true headings all the way down from a ship that stayed once, the reference is found within 50 m."""
    monkeypatch.setattr(channel, "Disclosure", Steering)
    dive = released()
    ship = ais([(AWAY, 60), (STATIONS[0], 8_000), (AWAY, 60)])
    found = DeadReckoning().play(case_of(dive, ship=ship))
    assert found.place is not None and len(found.leaks) == 2 and found.log_likelihood is not None
    assert apart(found.place, reference(dive)) < 50
    assert apart(on_earth(0.0, 0.0), reference(dive)) > 250
    off = (found.facts["heading_off_deg"] + SECRETS.turn_deg + 180) % 360 - 180
    assert off == pytest.approx(0, abs=5)


def test_released_track_leaves_drift_about_every_stay() -> None:
    """What Offing releases is reckoned to no better than the drift, about four stays alike, the true one too."""
    dive = released()
    case = case_of(dive, ship=ais([(AWAY, 60), *((place, 8_000) for place in STATIONS), (AWAY, 60)]))
    found = DeadReckoning().play(case)
    assert found.place is None and not found.leaks and found.log_likelihood is not None
    assert found.facts["known_to_m"] > DRIFT_MPS * 1_000
    assert found.facts["heading_off_deg"] == pytest.approx(0, abs=5)
    posterior = Posterior.of(case.chart, found.log_likelihood)
    near = [posterior.near(*on_earth(*place), within_m=900) for place in STATIONS]
    assert near == pytest.approx([0.25] * 4, abs=0.05)
    assert posterior.region()[case.chart.index(*reference(dive)) or (0, 0)]
    assert posterior.area_km2() > 4 * math.pi * (2e-3 * found.facts["known_to_m"]) ** 2


def test_without_ais_a_released_track_is_nothing_to_reckon_from() -> None:
    """No ship's track, or one without a stay: no place and no likelihood, and the words say why."""
    dive = released()
    for ship, why in ((None, "no AIS"), (ais([(AWAY, 60), (STATIONS[0], 600)]), "no stay")):
        found = DeadReckoning().play(case_of(dive, ship=ship))
        assert not found.worked and found.log_likelihood is None and why in found.words


class SteeringInFrame(Disclosure):
    """The leak: headings in the frame's turn where no place is told."""

    def _placed(
        self, state: VehicleState, ground: Ground | None, leg: Leg, at_us: int
    ) -> tuple[tuple[float, float] | None, float | None]:
        cell, told = super()._placed(state, ground, leg, at_us)
        heading_deg, position = self._known(state, "heading_deg", at_us), state.fresh("position", at_us, 10**9)
        if heading_deg is None or position is None or ground is None or cell is not None:
            return cell, told
        turned = (heading_deg + ground.frame.place(*position).heading_turn_deg) % 360
        return None, self._stepped(Disclosed.HEADING, self._heading, turned)


def test_headings_in_the_frames_turn_give_a_ring(monkeypatch: pytest.MonkeyPatch) -> None:
    """Told on withheld legs, but in the secret turn, they give how far it went, not where to: a ring about the ship."""
    monkeypatch.setattr(channel, "Disclosure", SteeringInFrame)
    dive = released()
    case = case_of(dive, ship=ais([(AWAY, 60), (STATIONS[0], 8_000), (AWAY, 60)]))
    found = DeadReckoning().play(case)
    assert found.place is None and len(found.leaks) == 1 and found.log_likelihood is not None
    posterior = Posterior.of(case.chart, found.log_likelihood)
    away_m = apart(reference(dive), on_earth(0.0, 0.0))
    ring = posterior.near(*on_earth(0.0, 0.0), away_m + 250) - posterior.near(*on_earth(0.0, 0.0), away_m - 250)
    assert ring > 0.9
    east_half = (case.chart.longitude_deg > on_earth(0.0, 0.0)[1])[None, :]
    assert float(posterior.mass[np.broadcast_to(east_half, case.chart.shape)].sum()) == pytest.approx(0.5, abs=0.05)


def test_hole_is_bounded_by_an_ellipse() -> None:
    """The largest hole is bounded by the ellipse about its ends, of what can be run in it; its area is shapely's."""
    seconds = 4.0 * np.arange(300)
    points = np.column_stack([SPEED_MPS * seconds, 0 * seconds])
    points[180:] -= points[180] - points[119] - (30.0, 40.0)
    points[120:180] = np.nan
    track = ShownTrack("", "", "", 4.0, None, seconds, *points.T, *np.full((2, 300), np.nan), (None,) * 300,
                       np.empty((300, 0)))  # fmt: skip
    way_m, apart_m = 61 * 4 * SPEED_MPS, 50.0
    ellipse = scale(Spot(0, 0).buffer(1.0, quad_segs=256), way_m / 2, math.sqrt(way_m**2 - apart_m**2) / 2)
    assert hole_km2(track) == pytest.approx(ellipse.area / 1e6, rel=0.01)
    assert hole_km2(tracks_of(released())[0]) == 0.0
