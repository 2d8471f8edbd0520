"""Charts joined: the finest that knows a cell decides; against scipy's interpolation and block means."""

from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from charts_written import elevation
from relay.audit.charts.chart import Chart
from relay.audit.charts.chart_files import read_chart
from relay.audit.charts.chart_merge import merge
from relay.core.errors import ChartError


def chart(name: str, south: float, west: float, step: float, size: int, deeper_m: float = 0.0) -> Chart:
    """Return a square chart of the invented seabed, some metres deeper, with an error of its own."""
    latitudes, longitudes = south + step * np.arange(size), west + step * np.arange(size)
    depth_m = deeper_m - elevation(latitudes[:, None], longitudes[None, :])
    return Chart(name, latitudes, longitudes, depth_m, np.full(depth_m.shape, 1.0 + step))


COARSE = chart("coarse", 54.0, -31.5, 0.02, 16)
FINE = chart("fine", 54.1, -31.4, 0.005, 17, deeper_m=10.0)


def test_the_finest_known_depth_wins_and_brings_its_error() -> None:
    """Inside the fine chart its depths and errors stand; outside the coarse one's, linear between its nodes."""
    whole = merge([COARSE, FINE])
    assert whole.name == "coarse + fine"
    assert np.diff(whole.latitude_deg) == pytest.approx(0.005)
    south, west = (whole.index(54.1, -31.4) or (0, 0))[0], (whole.index(54.1, -31.4) or (0, 0))[1]
    inside = np.s_[south : south + 17, west : west + 17]
    assert whole.depth_m[inside] == pytest.approx(FINE.depth_m)
    assert whole.error_m[inside] == pytest.approx(1.005)
    reference = RegularGridInterpolator((COARSE.latitude_deg, COARSE.longitude_deg), COARSE.depth_m)
    outside = np.ones(whole.shape, dtype=bool)
    outside[south - 1 : south + 18, west - 1 : west + 18] = False
    at = np.stack(np.meshgrid(whole.latitude_deg, whole.longitude_deg, indexing="ij"), axis=-1).clip(
        [54.0, -31.5], [COARSE.latitude_deg[-1], COARSE.longitude_deg[-1]]
    )
    assert whole.depth_m[outside] == pytest.approx(reference(at)[outside])
    assert whole.error_m[outside] == pytest.approx(1.02)


def test_order_does_not_matter() -> None:
    """Charts given in another order make the same chart."""
    one, other = merge([COARSE, FINE]), merge([FINE, COARSE])
    assert one.depth_m == pytest.approx(other.depth_m) and one.error_m == pytest.approx(other.error_m)


def test_what_a_finer_chart_knows_as_land_is_land() -> None:
    """A finer chart's land takes the place of coarse water; what it doesn't know leaves the coarse depth."""
    dry, unknown = (FINE.depth_m.copy() for _ in range(2))
    dry[8, 8] = unknown[8, 8] = np.nan
    land = np.isnan(dry)
    axes = FINE.latitude_deg, FINE.longitude_deg
    cell = merge([COARSE, FINE]).index(float(axes[0][8]), float(axes[1][8]))
    assert cell is not None
    with_land = merge([COARSE, Chart("fine", *axes, dry, FINE.error_m, land)])
    without = merge([COARSE, Chart("fine", *axes, unknown, FINE.error_m)])
    assert np.isnan(with_land.depth_m[cell]) and with_land.land is not None and with_land.land[cell]
    assert without.depth_m[cell] == pytest.approx(FINE.depth_m[8, 8] - 10, abs=8)
    assert np.isfinite(without.depth_m[cell]) and without.land is None


def test_cells_are_never_more_than_asked_for_and_a_finer_chart_is_averaged_in() -> None:
    """With few cells each holds the mean of the nodes in it, and their spread goes into its error."""
    draw = np.random.default_rng(9)
    rough = Chart(
        "rough", np.arange(400) / 10, np.arange(400) / 10, 100 + draw.normal(size=(400, 400)), np.full((400, 400), 2.0)
    )
    few = merge([rough], most_cells=1000)
    assert 900 < few.depth_m.size <= 1000
    step = few.latitude_deg[1] - few.latitude_deg[0]
    row, column = np.round(rough.latitude_deg / step), np.round(rough.longitude_deg / step)
    block = rough.depth_m[np.ix_(row == 5, column == 7)]
    assert few.depth_m[5, 7] == pytest.approx(block.mean())
    assert few.error_m[5, 7] == pytest.approx(np.hypot(2.0, block.std()))


def test_one_chart_that_fits_stays_as_it_is() -> None:
    """Nothing is resampled without need."""
    assert merge([FINE]) is FINE


def test_charts_on_either_count_of_longitudes_meet() -> None:
    """A chart at 179..181 and one at -181..-179 are beside each other."""
    east, west = chart("east", 0, 179.0, 0.1, 15), chart("west", 0, -180.0, 0.1, 15)
    whole = merge([east, west])
    assert whole.longitude_deg[[0, -1]] == pytest.approx([179.0, 181.4])
    assert np.isfinite(whole.depth_m).all()


def test_charts_that_lie_apart_are_refused() -> None:
    """One that touches none of the others is named; two that touch by a third are taken."""
    far = chart("far", 60.0, -31.5, 0.01, 10)
    with pytest.raises(ChartError, match="far: lies apart from coarse"):
        merge([COARSE, far, FINE])
    bridge = chart("bridge", 54.0, -31.5, 0.05, 140)
    assert merge([COARSE, far, bridge], most_cells=50_000).name == "coarse + far + bridge"
    with pytest.raises(ChartError, match="no chart is given"):
        merge([])


def test_the_strait_in_two_charts_is_one(shared_data: Path) -> None:
    """chart-500m laid into chart-2min: at its nodes its own depths, all water of both, and within the cells allowed."""
    folder = shared_data / "chart-strait-multires"
    fine, coarse = (read_chart(folder / f"chart-{name}.csv.gz") for name in ("500m", "2min"))
    whole = merge([coarse, fine])
    assert whole.depth_m.size <= 400_000
    water = [float(each.cell_km2[np.isfinite(each.depth_m)].sum()) for each in (fine, coarse, whole)]
    assert max(water[:2]) <= water[2] <= water[0] + water[1]
    row, column = np.argwhere(np.isfinite(fine.depth_m))[::500].T
    cells = [whole.index(fine.latitude_deg[at], fine.longitude_deg[on]) for at, on in zip(row, column, strict=True)]
    found = np.array([whole.depth_m[cell] for cell in cells if cell is not None])
    apart = np.abs(found - fine.depth_m[row, column])
    assert len(found) == len(row) and np.median(apart) < fine.error_m[row, column].mean()
