"""Published tracks on published charts: the unprotected one is located, the public preset keeps its area.

Outside: data sets `glider-inlet` and `rov-transects` (real vehicles) and `chart-strait-multires` (charts of the same
water), by their READMEs. The whole table, calibrated, is printed by `audit_of_tracks.py`.
"""

from functools import cache
from math import prod
from pathlib import Path

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from audit_of_tracks import (
    TRACKS,
    Told,
    charts_of,
    first_anchor,
    fixes,
    found_on,
    from_plane,
    released,
    told_by,
    unprotected,
)
from relay.audit.matching.filled import at_places
from relay.core.geodesy import plane
from tracks_to_station_lines import read_rows

PROMISE_KM2 = 87.0


@cache
def glider(shared_data: Path) -> tuple[list[dict[str, str]], Told]:
    """Return the glider's table, and what it tells unprotected, north up."""
    rows = read_rows(shared_data / TRACKS["glider"])
    return rows, unprotected(rows, turned=False)


def test_unprotected_glider_is_located(shared_data: Path) -> None:
    """With depth, altitude and north, a real track is found to less than a square kilometre in all of the strait."""
    found = found_on(charts_of(shared_data)["fine-160m"], glider(shared_data)[1])
    assert found.declared_km2 > 4_000
    assert found.inside
    assert found.left_km2 < 1.0
    assert found.off_m < 500


@pytest.mark.parametrize("track", TRACKS)
def test_public_preset_keeps_its_promise_on_a_real_track(track: str, shared_data: Path, tmp_path: Path) -> None:
    """Of the same water, the public preset leaves an outsider at least the promised area, and the truth is in it."""
    source = shared_data / TRACKS[track]
    told = told_by("public", released(source, tmp_path, ["public"])["public"], read_rows(source))
    found = found_on(charts_of(shared_data)["chart-500m"], told)
    assert found.inside
    assert PROMISE_KM2 <= found.left_km2 <= found.declared_km2


def test_fine_chart_is_calibrated_on_every_second_node_of_itself(shared_data: Path) -> None:
    """No chart is tried on itself: what is matched in trials has at most as many nodes to a place as the seabed."""
    for known in charts_of(shared_data).values():
        assert prod(known.tried.spacing_m) > 3.9 * prod(known.truth.spacing_m)
        off_m = known.truth.depth_m - at_places(
            known.tried, *np.meshgrid(known.truth.latitude_deg, known.truth.longitude_deg, indexing="ij")
        )
        assert np.nanstd(off_m) > 1.0


def test_soundings_of_the_glider_agree_with_the_fine_chart(shared_data: Path) -> None:
    """Depth and altitude differ from the fine chart by 2 m at the median (README of the data set: 1.7 m)."""
    rows, told = glider(shared_data)
    assert told.soundings is not None
    chart = charts_of(shared_data)["fine-160m"].chart
    middle_m = (told.soundings.shallowest_m + told.soundings.deepest_m) / 2
    off_m = []
    for at, depth_m in enumerate(middle_m):
        cell = chart.index(*from_plane(rows, float(told.soundings.east_m[at]), float(told.soundings.north_m[at])))
        assert cell is not None
        off_m.append(float(depth_m - chart.depth_m[cell]))
    assert np.median(off_m) == pytest.approx(1.7, abs=2.0)
    assert np.median(np.abs(off_m - np.median(off_m))) < 5


def test_places_come_back_from_the_plane(shared_data: Path) -> None:
    """What says how far off an outsider is was itself right to a centimetre, by another library than the frame's."""
    rows = read_rows(shared_data / TRACKS["rov"])
    for fix in fixes(rows)[::100]:
        back = from_plane(rows, *plane(*fix, first_anchor(rows))[:2])
        assert Geodesic.WGS84.Inverse(*fix, *back)["s12"] < 0.01
