"""Metres of a public grid and degrees are recognised, Offing's frame never is."""

import random

import numpy as np
import pytest
from pyproj import Transformer

from audited import apart, chart_about, lay_public_grid, on_earth, recorded, shows, step
from relay.audit.attacks.earth_tied import earth_tied, step_of
from relay.audit.attacks.shown_track import tracks_of
from relay.core.policy import Place
from relay.core.secrets import Secrets

WALK = [step(9.0 * at, 4.0 * at) for at in range(40)]


def test_utm_zone_is_found_on_the_chart(monkeypatch: pytest.MonkeyPatch) -> None:
    """Metres of a zone give the place back, within a cell, and forth again; on a chart of elsewhere they don't."""
    lay_public_grid(monkeypatch)
    (track, _) = tracks_of(recorded(WALK))
    tied = earth_tied(track, chart_about())
    assert tied is not None and "UTM zone 27 south" in tied.how and not tied.by_degrees
    last = track.points[track.placed][-1]
    place = tied.to_earth(*last)
    assert apart(place, on_earth(9.0 * 39, 4.0 * 39)) < 15
    assert tied.from_earth(*place) == pytest.approx(tuple(last), abs=0.01)
    assert earth_tied(track, chart_about((10.0, 10.0))) is None


def test_mercator_is_found_on_the_chart() -> None:
    """Metres of the web's Mercator map give the place back (PROJ's own projection of it)."""
    (track, _) = tracks_of(recorded(WALK))
    latitude, longitude = on_earth(100.0, 200.0)
    there = Transformer.from_crs(4326, 3857, always_xy=True).transform(longitude, latitude)
    tied = earth_tied(track.at(np.full_like(track.points, 0) + there), chart_about())
    assert tied is not None and "Mercator" in tied.how
    assert apart(tied.to_earth(*there), (latitude, longitude)) < 0.1


def test_degrees_are_found() -> None:
    """An audience with exact place has degrees in its records, and they are the places."""
    (track, _) = tracks_of(recorded(WALK, shows(place=Place.EXACT)))
    tied = earth_tied(track, chart_about())
    assert tied is not None and tied.by_degrees
    told = tied.track.points[tied.track.placed]
    assert apart(tied.to_earth(*told[-1]), on_earth(9.0 * 39, 4.0 * 39)) < 0.5
    assert tied.from_earth(*tied.to_earth(50.0, -60.0)) == pytest.approx((50.0, -60.0), abs=1e-3)


def test_secret_frame_is_never_taken_for_a_grid() -> None:
    """Whatever the secrets, the frame's metres are those of no grid that lies on the chart."""
    for number in range(12):
        secrets = Secrets(random.Random(number).randbytes(32))
        (track, _) = tracks_of(recorded(WALK[:12], secrets=secrets))
        assert track.placed.any() and earth_tied(track, chart_about()) is None


def test_step_of_a_grid_is_read_off_its_values() -> None:
    """Multiples of a step give it, whatever they are counted from; noise and single values give none."""
    draw = np.random.default_rng(2)
    assert step_of(137.3 + 25.0 * draw.integers(0, 60, 200)) == pytest.approx(25.0)
    assert step_of(draw.normal(0, 50, 200)) is None
    assert step_of(np.array([3.0, 3.0])) is None
