"""Hidden zones by their holes: a centred one is found on the Earth in an open frame, Offing's stays in its margin."""

import math
import random
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from audited import Point, apart, case_of, in_frame, lay_public_grid, on_earth, recorded, shows, step
from dives import SECRETS
from relay.audit.attacks.attack import Dive
from relay.audit.attacks.shown_track import tracks_of
from relay.audit.attacks.zone_edges import Circle, ZoneEdges, circles_of, holes, zone_known_to_m
from relay.core import hiding
from relay.core.area import HiddenDisc, Zone, ZoneAction, hidden_disc
from relay.core.geodesy import Anchor, SiteFrame
from relay.core.secrets import Secrets

CELL_M, ZONE_M, MARGIN_M = 10.0, 150.0, 90.0
CENTRE = (120.0, -80.0)


def survey(centre: Point = CENTRE) -> list[dict[str, float]]:
    """Return lines 60 m apart over a zone, 10 m between steps."""
    path = []
    for line in range(-7, 8):
        along = [(centre[0] + 10.0 * at, centre[1] + 60.0 * line) for at in range(-42, 43)]
        path += along if line % 2 else along[::-1]
    return [step(*point) for point in [(0.0, 0.0), (0.0, 0.0), *path]]


def surveyed(action: ZoneAction = ZoneAction.WITHHOLD, secrets: Secrets = SECRETS, centre: Point = CENTRE) -> Dive:
    """Return the recording of the survey over a hidden zone, a tick to a step."""
    place = on_earth(*centre)
    zone = Zone(name="the kiln", latitude_deg=place[0], longitude_deg=place[1], radius_m=ZONE_M, margin_m=MARGIN_M,
                action=action)  # fmt: skip
    shown = replace(shows(cell_m=CELL_M), zones=(zone,))
    return recorded(survey(centre), shown, secrets=secrets)


def centred_disc(zone: Zone, frame: SiteFrame, _: Secrets) -> HiddenDisc:
    """The leak: a zone with its own centre."""
    placed = frame.place(zone.latitude_deg, zone.longitude_deg)
    return HiddenDisc(placed.east_m, placed.north_m, zone.radius_m, zone.action)


@pytest.mark.parametrize("action", list(ZoneAction))
def test_zone_centred_in_its_hole_is_found(action: ZoneAction, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a public grid and without a margin, the zone's centre is found within 50 m, withheld or frozen."""
    lay_public_grid(monkeypatch)
    monkeypatch.setattr(hiding, "hidden_disc", centred_disc)
    found = ZoneEdges().play(case_of(surveyed(action)))
    assert found.outright and found.place is not None and found.leaks and found.log_likelihood is not None
    assert apart(found.place, on_earth(*CENTRE)) < 50
    assert found.facts["radius_m"] == pytest.approx(ZONE_M, abs=2 * CELL_M)


@pytest.mark.parametrize("action", list(ZoneAction))
def test_hole_of_a_released_zone_tells_no_place(action: ZoneAction) -> None:
    """What Offing releases gives the hole's centre in the secret frame, and nothing of the Earth."""
    found = ZoneEdges().play(case_of(surveyed(action)))
    assert found.worked and found.place is None and found.log_likelihood is None and not found.leaks


def test_hole_of_a_released_zone_points_at_its_moved_centre_alone() -> None:
    """Over sites, the hole's centre is found within cells; the zone's is uniform in the margin about it, as by chance.

    Chance is the squared error in squared margins uniform from 0 to 1: a mean below 1/2 by 2.33 standard errors comes
    once in a hundred.
    """
    squares, misses = [], []
    for number in range(8):
        secrets = Secrets(random.Random(number).randbytes(32))
        chance = random.Random(100 + number)
        centre = (chance.uniform(-200, 200), chance.uniform(-200, 200))
        found = ZoneEdges().play(case_of(surveyed(secrets=secrets, centre=centre)))
        guess = found.facts["centre_east_m"], found.facts["centre_north_m"]
        squares.append(min(1.0, (math.dist(guess, in_frame(*centre, secrets)) / MARGIN_M) ** 2))
        misses.append(math.dist(guess, _moved(centre, secrets)))
    assert max(misses) < 2 * CELL_M
    assert sum(squares) / len(squares) > 0.5 - 2.33 * math.sqrt(1 / 12 / len(squares))


def _moved(centre: Point, secrets: Secrets) -> Point:
    """Return where the relay laid the hole, for comparison."""
    place, site = on_earth(*centre), on_earth(0.0, 0.0)
    zone = Zone(name="the kiln", latitude_deg=place[0], longitude_deg=place[1], radius_m=ZONE_M, margin_m=MARGIN_M,
                action=ZoneAction.WITHHOLD)  # fmt: skip
    disc = hidden_disc(zone, SiteFrame(Anchor(*site, 0), secrets), secrets)
    return disc.east_m, disc.north_m


def test_limit_of_a_track_tells_where_the_bottom_was_reached_and_no_place() -> None:
    """A track limited to a radius ends along a circle about the touchdown: found in the frame, not on the Earth."""
    spokes: list[Point] = [(0.0, 0.0)] * 4
    for turn in range(0, 360, 40):
        way = math.radians(turn)
        out = [(reach * math.sin(way), reach * math.cos(way)) for reach in range(0, 420, 10)]
        spokes += out + out[::-1]
    found = ZoneEdges().play(
        case_of(recorded([step(*point) for point in spokes], shows(cell_m=CELL_M, radius_m=300.0)))
    )
    assert found.place is None and found.log_likelihood is None
    assert "where the bottom was reached" in found.words
    assert math.dist((found.facts["centre_east_m"], found.facts["centre_north_m"]), in_frame(0.0, 0.0)) < 2 * CELL_M
    assert found.facts["radius_m"] == pytest.approx(300.0, abs=2 * CELL_M)


def test_fit_agrees_with_a_general_least_squares_solution() -> None:
    """On edges alone, the centre is that of scipy's least squares by distance within a cell."""
    (track, _) = tracks_of(surveyed())
    (circle,) = circles_of([track])
    edge = np.array([point for hole in holes(track) for point in (hole.before, hole.behind)])
    other = least_squares(lambda guess: np.hypot(*(edge - guess[:2]).T) - guess[2], [*edge.mean(axis=0), 100.0])
    assert math.dist(circle.centre, other.x[:2]) < CELL_M
    assert circle.radius_m == pytest.approx(other.x[2], abs=CELL_M)


def test_least_margin_follows_from_the_rule_of_the_file() -> None:
    """A zone of 150 m with the least margin of 75 m makes a hole of at most 300 m, of which a quarter is the margin."""
    assert zone_known_to_m(Circle(np.zeros(2), 300.0, 1.0, 1.0, within=False, edges=20)) == pytest.approx(75.0)


def test_track_without_holes_is_nothing_to_work_on() -> None:
    """A track that never vanishes has no hole; the attack says so."""
    found = ZoneEdges().play(case_of(recorded(survey()[:200])))
    assert not found.worked and "Nothing to work on" in found.words
