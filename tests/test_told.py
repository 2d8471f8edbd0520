"""What an audience would be told at a place: the same rows as the relay itself releases for the same dive."""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from expeditions import changed
from relay.audit.advising.journey import Journey, invented_journey
from relay.audit.advising.told import SINK_MPS, header_of, told_of
from relay.audit.charts.chart import Floats
from relay.audit.matching.soundings_of import soundings_of
from relay.core.policy import MICROSECONDS, Disclosed, Place, Plan, Policy
from relay.shell.plan.expedition import parse_expedition, preset_policy
from relay.shell.record.secrets_file import seeded_secrets
from relay.shell.released.recording import load_recording
from relay.shell.ship.rehearse import rehearse

PUBLIC, FUNDERS = preset_policy("public", "public"), preset_policy("funders", "public")
RELATIVE = replace(
    PUBLIC, depth_relative=True, descent_step_m=None, depth_step_m=2.0, track_start_m=0, track_start_us=0
)
HERE = (-29.4, -22.7)


def _seabed(east_m: Floats, north_m: Floats) -> Floats:
    return 143.0 + 0.02 * east_m - 0.01 * north_m + 4 * np.sin(east_m / 90)


def _journey() -> Journey:
    whole = invented_journey()
    part = slice(0, 3_000)
    return Journey(whole.name, whole.t_s[part], whole.east_m[part], whole.north_m[part], whole.height_m[part])


def _plan(policy: Policy) -> Plan:
    plan = parse_expedition(changed('name = "Moth"', 'name = "Other"'), Path("expedition.toml")).plan
    plain = replace(policy, delay_us=0, extra_us=0, stale_us=5 * MICROSECONDS)
    return replace(plan, vehicles=("Lantern",), policies=(plain,))


def _lines(policy: Policy, journey: Journey) -> list[dict[str, Any]]:
    """Return what a station would send each second of the same dive, on the equator, where metres are even."""
    under = _seabed(journey.east_m, journey.north_m)
    down_s = (under[0] - journey.height_m[0]) / SINK_MPS
    up_s = (under[-1] - journey.height_m[-1]) / SINK_MPS
    lines = []
    for at_s in np.arange(0, down_s + journey.t_s[-1] + up_s + 60, 1.0):
        since = np.clip(at_s - down_s, 0, journey.t_s[-1])
        east, north, height = (float(part[0]) for part in journey.at(np.array([since])))
        ground = float(np.interp(since, journey.t_s, under))
        risen = max(at_s - down_s - journey.t_s[-1], 0.0) * SINK_MPS
        depth = max(min(at_s * SINK_MPS, ground - height) - risen, 0.0)
        altitude = {"altitude_m": ground - depth} if ground - depth <= 60 else {}
        place = {"latitude_deg": north / 110_574.3, "longitude_deg": east / 111_319.5}
        lines.append({"t": float(at_s), "vehicle": "Lantern", "depth_m": depth, **altitude, **place})
    return lines


def _relayed(policy: Policy, tmp_path: Path) -> Any:
    """Return the recording that a rehearsal of the station's lines leaves."""
    path = tmp_path / "dive.jsonl"
    path.write_text("".join(json.dumps(line) + "\n" for line in _lines(policy, _journey())))
    rehearse(_plan(policy), seeded_secrets(3), [f"station={path}"], tmp_path / "out")
    return load_recording(tmp_path / "out" / "released" / "public" / "dive-001.recording")


@pytest.mark.parametrize("policy", [PUBLIC, FUNDERS, RELATIVE], ids=["public", "funders", "relative"])
def test_told_is_what_the_relay_releases(policy: Policy, tmp_path: Path) -> None:
    """Leg, depth and words are those of a rehearsal of the same dive, but for the tick at which one changes; and so is
    how long a track is shown."""
    recording = _relayed(policy, tmp_path)
    relayed = [record.body[0] for record in recording.records if record.kind == 1]
    told = [record.body[0] for record in told_of(policy, _journey(), _seabed).records]
    count = min(len(relayed), len(told))
    assert abs(len(told) - len(relayed)) * policy.tick_us <= 700 * MICROSECONDS  # the relay waits for an end
    for field in (3, 5, 7):
        alike = [one[field] == other[field] for one, other in zip(relayed[:count], told[:count], strict=True)]
        assert np.mean(alike) > 0.97, field
    shown = [sum(row[1] is not None for row in rows[:count]) for rows in (relayed, told)]
    assert shown[0] == pytest.approx(shown[1], abs=3) and shown[0] > 50
    header = header_of(policy)
    assert header == {name: recording.header[name] for name in header}


def test_same_seabed_is_read_from_both(tmp_path: Path) -> None:
    """The outsider bounds the seabed alike, to less than a step, from what is released and from what is made here."""
    recording = _relayed(FUNDERS, tmp_path)
    dive = told_of(FUNDERS, _journey(), _seabed)
    relayed = soundings_of([replace(dive, header=recording.header, records=recording.records)], tile_m=100)
    made = soundings_of([dive], tile_m=100)
    assert relayed is not None and made is not None
    assert relayed.shallowest_m.max() == pytest.approx(made.shallowest_m.max(), abs=8)
    assert relayed.deepest_m.min() == pytest.approx(made.deepest_m.min(), abs=8)


def test_bounds_hold_the_seabed() -> None:
    """Under the shown places the seabed lies between the bounds, nearly everywhere: the model is of the same dive."""
    soundings = soundings_of([told_of(FUNDERS, _journey(), _seabed)], tile_m=50)
    assert soundings is not None and len(soundings) > 8
    seabed = _seabed(soundings.east_m, soundings.north_m)
    slack = 2.0 + 0.05 * soundings.spread_m
    inside = (seabed >= soundings.shallowest_m - slack) & (seabed <= soundings.deepest_m + slack)
    assert inside.mean() > 0.9


@pytest.mark.parametrize(
    ("policy", "column"),
    [
        (replace(PUBLIC, fields=PUBLIC.fields - {Disclosed.DEPTH}), 3),
        (replace(PUBLIC, fields=PUBLIC.fields - {Disclosed.ALTITUDE}), 5),
        (replace(PUBLIC, fields=PUBLIC.fields - {Disclosed.LEG}), 7),
        (replace(PUBLIC, fields=PUBLIC.fields - {Disclosed.TRACK}), 1),
        (replace(PUBLIC, place=Place.AREA), 1),
    ],
)
def test_what_is_not_named_is_not_told(policy: Policy, column: int) -> None:
    """A field outside the policy is empty in every row."""
    rows = [record.body[0] for record in told_of(policy, _journey(), _seabed).records]
    assert {row[column] for row in rows} == {None}
    assert any(row[0] == "reporting" for row in rows)


def test_radius_ends_the_track() -> None:
    """Nothing is shown beyond it."""
    rows = [record.body[0] for record in told_of(replace(PUBLIC, radius_m=200.0), _journey(), _seabed).records]
    shown = [(row[1], row[2]) for row in rows if row[1] is not None]
    assert shown and max(np.hypot(east, north) for east, north in shown) <= 250
