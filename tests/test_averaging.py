"""Noise is averaged away where it is tied to the Earth; Offing's steps hold still, and its frame has no place."""

import math
import random

import pytest

from audited import (
    PublicGrid,
    apart,
    case_of,
    dive_of,
    in_frame,
    journal,
    lay_public_grid,
    on_earth,
    recorded,
    shows,
    step,
)
from dives import SECRETS, plan, policy, run
from relay.audit.attacks.averaging import Averaging, noise_m, stay_of
from relay.audit.attacks.shown_track import tracks_of
from relay.core import channel, release, track
from relay.core.disclosure import Report
from relay.core.geodesy import Placed
from relay.core.pipeline import Pipeline
from relay.core.policy import Place

SPOT = (310.0, -140.0)
NOISE_M = 300.0


def noise(seed: int) -> type:
    """Return the leak, from a seed of its own: noise on every sample instead of cells."""
    chance = random.Random(seed)

    class Noise:
        """Adds noise of the size of a cell."""

        def __init__(self, size: float) -> None:
            self._size = size

        def quantise(self, value: float) -> float:
            """Return the value with noise."""
            return value + chance.gauss(0, self._size)

    return Noise


def hovering(seconds: int = 1_400) -> list[dict[str, float]]:
    """Return a run to a spot, and a long stay there: steps of two seconds."""
    way = [step(SPOT[0] * at / 300, SPOT[1] * at / 300) for at in range(300)]
    return way + [step(*SPOT)] * (seconds // 2)


def test_noise_on_positions_is_averaged_over_ticks(monkeypatch: pytest.MonkeyPatch) -> None:
    """With latitude and longitude that are 300 m off at each tick, the spot is found within 50 m."""
    chance = random.Random(3)

    def noisy(report: Report) -> list[float | None]:
        if report.position is None:
            return [None, None]
        return list(on_earth(chance.gauss(0, NOISE_M), chance.gauss(0, NOISE_M), report.position))

    monkeypatch.setattr(release, "_exact", noisy)
    found = Averaging().play(case_of(recorded(hovering(), shows(place=Place.EXACT))))
    assert found.outright and found.place is not None and found.leaks and found.log_likelihood is not None
    assert apart(found.place, on_earth(*SPOT)) < 50
    assert found.facts["noise_m"] == pytest.approx(NOISE_M, rel=0.2)
    assert found.facts["known_to_m"] < 50


def test_noise_instead_of_cells_is_averaged_over_ticks(monkeypatch: pytest.MonkeyPatch) -> None:
    """With noise of 200 m instead of cells in a public grid, the spot is found within 50 m."""
    lay_public_grid(monkeypatch)
    monkeypatch.setattr(track, "Step", noise(12))
    found = Averaging().play(case_of(recorded(hovering(), shows(cell_m=200.0))))
    assert found.place is not None
    assert apart(found.place, on_earth(*SPOT)) < 50


def test_shifts_drawn_for_each_recording_are_averaged_over_recordings(monkeypatch: pytest.MonkeyPatch) -> None:
    """With a shift of 100 m drawn anew for each recording in a public grid, forty of them give the spot within 50 m."""
    chance = random.Random(8)
    dives = []
    for number in range(40):
        off = chance.gauss(0, 100), chance.gauss(0, 100)

        class Shifted(PublicGrid):
            """The leak of one recording: the public grid and a shift."""

            _off = off

            def place(self, latitude_deg: float, longitude_deg: float) -> Placed:
                """Return the position in the zone's metres, shifted."""
                east, north, turn, away = super().place(latitude_deg, longitude_deg)
                return Placed(east + self._off[0], north + self._off[1], turn, away)

        monkeypatch.setattr(channel, "SiteFrame", Shifted)
        dives.append(recorded([step(*SPOT)] * 40, name=f"recording {number}"))
    found = Averaging().play(case_of(*dives))
    assert found.place is not None and found.facts["recordings"] == 40
    assert apart(found.place, on_earth(*SPOT)) < 50
    assert found.facts["known_to_m"] < 50


def test_noise_is_averaged_over_audiences(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of one dive told to six audiences, each with noise of its own, all together give the spot better than each."""
    lay_public_grid(monkeypatch)
    monkeypatch.setattr(track, "Step", noise(13))
    names = [f"audience-{number}" for number in range(6)]
    shown = plan(*(policy(name, cell_m=NOISE_M) for name in names))
    due = run(Pipeline(shown, SECRETS), journal(hovering(600)))
    dives = [dive_of(due, name, name) for name in names]
    together = Averaging().play(case_of(*dives))
    alone = [Averaging().play(case_of(dive)) for dive in dives]
    assert together.place is not None and together.facts["recordings"] == 6
    assert apart(together.place, on_earth(*SPOT)) < 50
    errors = [apart(one.place, on_earth(*SPOT)) for one in alone if one.place is not None]
    assert apart(together.place, on_earth(*SPOT)) < sum(errors) / len(errors)


def test_steps_that_hold_still_are_nothing_to_average() -> None:
    """What Offing releases of a hovering vehicle, fixes jittering by half a metre, is no noise and no place."""
    chance = random.Random(5)
    jittering = [said | {"east": said["east"] + chance.gauss(0, 0.5)} for said in hovering()]
    found = Averaging().play(case_of(recorded(jittering)))
    assert not found.worked and found.place is None and found.log_likelihood is None
    assert "Nothing to work on" in found.words


def test_jitter_larger_than_cells_is_averaged_in_the_frame_alone() -> None:
    """Fixes that jitter by many cells do give a better mean, within the secret frame, and no place on the Earth."""
    chance = random.Random(6)
    jittering = [step(SPOT[0] + chance.gauss(0, 60), SPOT[1] + chance.gauss(0, 60)) for _ in range(400)]
    jittering[:2] = [step(*SPOT), step(*SPOT)]
    dive = recorded(jittering)
    found = Averaging().play(case_of(dive))
    assert found.worked and found.place is None and found.log_likelihood is None and not found.leaks
    (seen, _) = tracks_of(dive)
    assert noise_m(seen) == pytest.approx(60, rel=0.2)
    stay = stay_of(seen, noise_m(seen))
    assert stay is not None and math.dist(stay.point, in_frame(0.0, 0.0)) < 15
