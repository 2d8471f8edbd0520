"""The sea and the Earth read out of what was told: places found in builds that tell of them, none in Offing's own.

Pressure for depth and latitude is TEOS-10's (gsw); grids are invented.
"""

import math
from dataclasses import replace

import gsw
import numpy as np
import pytest

from audited import case_of, chart_about, journal
from dives import INVENTED_SITE, SECRETS, plan, policy, run
from relay.audit.attacks.attack import Case, Dive, Finding
from relay.audit.attacks.environment import Environment
from relay.audit.attacks.tide import M2_S
from relay.audit.matching.posterior import Posterior
from relay.core.fuse import VehicleState
from relay.core.pipeline import Pipeline
from told_besides import beyond_the_row, names_fields, noted, released, survey, surveyed, taken

CHART = chart_about(cells=81, step_deg=1 / 60)
ROWS, COLUMNS = np.indices(CHART.shape) / 80.0
TEMPERATURE_C = 4.0 + 6.0 * COLUMNS + 1.5 * ROWS
SALINITY = 33.0 + 2.0 * ROWS + 0.4 * COLUMNS
HERE = CHART.index(*INVENTED_SITE)
NOON_S = 1_900_000_000.0


def case(dive: Dive, **grids: np.ndarray) -> Case:
    """Return the case of a dive with grids of what the sea is like."""
    return case_of(dive, chart=CHART, grids=grids)


def best_cell(finding: Finding) -> tuple[int, int] | None:
    """Return the cell that a finding thinks most probable."""
    assert finding.log_likelihood is not None
    return CHART.index(*Posterior.of(CHART, finding.log_likelihood).best)


def fields_of_the_sea(state: VehicleState) -> list[float]:
    """Return what a leaky build tells at the invented site: temperature and salinity as the grids have them."""
    assert HERE is not None
    return [float(TEMPERATURE_C[HERE]), float(SALINITY[HERE])]


def test_fields_of_the_sea_tell_the_cell(monkeypatch: pytest.MonkeyPatch) -> None:
    """Positive control: a build that sends temperature and salinity along is placed in the very cell."""
    beyond_the_row(monkeypatch, fields_of_the_sea)
    names_fields(monkeypatch, "temperature_c", "salinity_psu")
    finding = Environment().play(case(surveyed(seconds=100), temperature_c=TEMPERATURE_C, salinity=SALINITY))
    assert best_cell(finding) == HERE
    assert any("“temperature_c”" in leak for leak in finding.leaks) and len(finding.leaks) >= 2


def test_pressure_beside_depth_tells_the_latitude(monkeypatch: pytest.MonkeyPatch) -> None:
    """Positive control: exact depth and pressure give gravity, and so the row of the chart; temperature the column."""

    def pressure(state: VehicleState) -> list[float | None]:
        deep = state.last("depth_m")
        if deep is None:
            return [None, None]
        return [float(gsw.p_from_z(-round(deep, 3), INVENTED_SITE[0])), fields_of_the_sea(state)[0]]

    beyond_the_row(monkeypatch, pressure)
    names_fields(monkeypatch, "pressure_dbar", "temperature_c")
    monkeypatch.setattr("relay.core.disclosure.DepthSteps.show", lambda self, depth_m, leg: round(depth_m, 3))
    finding = Environment().play(case(surveyed(seconds=400), temperature_c=TEMPERATURE_C))
    assert HERE is not None
    found = best_cell(finding)
    assert found is not None and found[0] == HERE[0] and abs(found[1] - HERE[1]) <= 1
    assert any("pressure" in leak for leak in finding.leaks)


def test_measurements_in_annotations_are_read() -> None:
    """What somebody says of the water is held against the grids as far as the figures go, and is no field's leak."""
    assert HERE is not None
    said = [f"Water {TEMPERATURE_C[HERE]:.2f} °C, salinity {SALINITY[HERE]:.2f}", "water 900 m deep here"]
    finding = Environment().play(case(noted(said), temperature_c=TEMPERATURE_C, salinity=SALINITY))
    assert best_cell(finding) == HERE and finding.leaks == ()
    assert "900" not in finding.words.replace("“Water", "")


def test_cells_that_a_grid_knows_nothing_of_stay_as_likely_as_the_average() -> None:
    """Where a grid has no value the measurement neither finds nor rules out."""
    assert HERE is not None
    holed = TEMPERATURE_C.copy()
    holed[:5] = np.nan
    told = case(noted([f"Water {TEMPERATURE_C[HERE]:.2f} °C"]), temperature_c=holed)
    finding = Environment().play(told)
    assert finding.log_likelihood is not None
    likelihood = np.exp(finding.log_likelihood)
    assert likelihood[:5] == pytest.approx(likelihood[5:].mean()) and likelihood[HERE] == pytest.approx(1.0, abs=0.01)


def magnetic(seconds: int, declination_deg: float = 16.0) -> list[dict[str, float]]:
    """Return a survey with magnetic headings."""
    return [step | {"heading": (step["heading"] - declination_deg) % 360} for step in survey(seconds)]


def test_magnetic_headings_and_temperature_tell_the_cell(monkeypatch: pytest.MonkeyPatch) -> None:
    """Positive control: fine headings that are magnetic tell the column of the chart; temperature beside it the row."""
    assert HERE is not None
    declination, warmth = 16.0 + 120.0 * (COLUMNS - HERE[1] / 80), 4.0 + 40.0 * ROWS
    beyond_the_row(monkeypatch, lambda state: [float(warmth[HERE])])
    names_fields(monkeypatch, "temperature_c")
    shown = plan(policy(cell_m=1.0, heading_step_deg=1.0, tick_us=4_000_000))
    dive = released(journal(magnetic(4_000), 4), shown)["public"]
    finding = Environment().play(case(dive, declination_deg=declination, temperature_c=warmth))
    assert any("magnetic" in leak for leak in finding.leaks)
    found = best_cell(finding)
    assert found is not None and abs(found[0] - HERE[0]) <= 1 and abs(found[1] - HERE[1]) <= 1


def tidal(step_m: float, started_s: float) -> Dive:
    """Return the recording of nine hours at rest under a tide that is high 2.5 h after it began."""
    steps = []
    for at_s in range(0, 9 * 3_600, 20):
        deep = 1_098.0 + 1.4 * math.cos(2 * math.pi * (at_s - 9_000) / M2_S)
        steps.append({"east": 0.0, "north": 0.0, "depth": deep, "altitude": 0.8, "heading": 10.0})
    shown = plan(policy(depth_step_m=step_m, tick_us=20_000_000, delay_us=0, extra_us=0))
    return taken(run(Pipeline(shown, SECRETS), journal(steps, 20)), started_s)["public"]


def test_tide_in_fine_depth_tells_range_and_time() -> None:
    """Positive control: depth to 0.1 m and dated sends leave what has that tide, here within one cell of the place."""
    assert HERE is not None
    amplitude = 1.4 + 2.0 * (COLUMNS - HERE[1] / 80)
    high = NOON_S + 9_000 + 4 * 3_600 * (ROWS - HERE[0] / 80)
    tried = case(tidal(0.1, NOON_S), tide_amplitude_m=amplitude, tide_high_water_s=high)
    finding = Environment().play(tried)
    found = best_cell(finding)
    assert found is not None and abs(found[0] - HERE[0]) <= 1 and abs(found[1] - HERE[1]) <= 1
    assert finding.facts["tide_amplitude_m"] == pytest.approx(1.4, abs=0.05) and "high water" in finding.words
    undated = Environment().play(replace(tried, dives=(replace(tried.dives[0], sent_s=None),)))
    assert undated.log_likelihood is not None and "high water" not in undated.words


def test_what_offing_releases_tells_nothing_of_the_sea() -> None:
    """Counter-test: true headings, coarse depths and no field of the sea leave every cell as it was."""
    grids = {
        "temperature_c": TEMPERATURE_C, "salinity": SALINITY, "declination_deg": 4.0 + 24.0 * COLUMNS,
        "tide_amplitude_m": 1.0 + COLUMNS, "tide_high_water_s": NOON_S + 3_600 * ROWS,
    }  # fmt: skip
    for dive in (released(journal(survey(6_000), 4))["public"], tidal(50.0, NOON_S), noted(["bow", "a bottle"])):
        finding = Environment().play(case(dive, **grids))
        assert finding.leaks == () and finding.log_likelihood is None, finding.words


def test_nothing_told_says_why() -> None:
    """A short sound dive has nothing to work on."""
    finding = Environment().play(case(surveyed(seconds=100)))
    assert not finding.worked and "tide" in finding.words
