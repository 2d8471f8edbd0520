"""The chart match as an attack: recordings in, a likelihood out, or why not."""

from dataclasses import replace
from math import atan2, cos, degrees, hypot, radians, sin

import numpy as np
from geographiclib.geodesic import Geodesic
from scipy.ndimage import gaussian_filter

from dives import INVENTED_SITE, SECRETS
from relay.audit.attacks.attack import Case, Dive
from relay.audit.attacks.chart_match import ChartMatch, soundings_for
from relay.audit.charts.chart import Chart
from relay.audit.matching.filled import at_places
from relay.audit.matching.posterior import Posterior
from relay.core.policy import Disclosed
from told_dives import course_over, policy_of, told_dive

SIDE = 121


def _chart() -> Chart:
    """Return an invented seabed about the invented site: hills of 60 m on a slope, a node every 200 m or so."""
    draw = np.random.default_rng(11)
    hills = gaussian_filter(draw.normal(size=(SIDE, SIDE)), 3)
    depth_m = 400 + 60 * hills / hills.std() + 0.5 * np.arange(SIDE)[:, None]
    latitude = INVENTED_SITE[0] + 0.0018 * (np.arange(SIDE) - 47)
    longitude = INVENTED_SITE[1] + 0.0025 * (np.arange(SIDE) - 70)
    return Chart("invented", latitude, longitude, depth_m, 0 * depth_m + 1.0)


def _told(chart: Chart, **changes: object) -> Dive:
    """Return what is released of an invented dive at the invented site over the chart's own seabed."""

    def seabed_m(east_m: float, north_m: float) -> float:
        azimuth = np.degrees(np.arctan2(east_m, north_m))
        there = Geodesic.WGS84.Direct(*INVENTED_SITE, azimuth, float(np.hypot(east_m, north_m)))
        return float(at_places(chart, np.array([there["lat2"]]), np.array([there["lon2"]]))[0])

    return told_dive(policy_of(**changes), course_over(seabed_m, 3, bottom_s=7_200.0))


def _where(east_m: float, north_m: float) -> tuple[float, float]:
    """Return latitude and longitude of a place of the secret frame, as only who has the secrets can."""
    turn = radians(SECRETS.turn_deg)
    east = east_m * cos(turn) - north_m * sin(turn) - SECRETS.shift_m[0]
    north = north_m * cos(turn) + east_m * sin(turn) - SECRETS.shift_m[1]
    there = Geodesic.WGS84.Direct(*INVENTED_SITE, degrees(atan2(east, north)), hypot(east, north))
    return there["lat2"], there["lon2"]


def test_a_release_in_fine_steps_is_found_to_one_cell() -> None:
    """Positive control: through the real release, half metres and heights give the first sounding's place away."""
    chart = _chart()
    dive = _told(chart, depth_step_m=0.5, descent_step_m=0.5, cell_m=5.0)
    finding = ChartMatch(turns=36).play(Case(chart, (dive,)))
    assert finding.worked and finding.log_likelihood is not None
    posterior = Posterior.of(chart, finding.log_likelihood)
    soundings = soundings_for(Case(chart, (dive,)))
    assert soundings is not None
    true = _where(float(soundings.east_m[0]), float(soundings.north_m[0]))
    assert Geodesic.WGS84.Inverse(*true, *posterior.best)["s12"] < hypot(*chart.spacing_m)
    assert posterior.area_km2() < 0.05 * posterior.prior_km2
    assert finding.facts["soundings"] >= 3


def test_coarse_depths_leave_far_more() -> None:
    """The same dive in steps of 50 m, without altitude, leaves several times the area."""
    chart = _chart()
    fine = ChartMatch(turns=12).play(Case(chart, (_told(chart, depth_step_m=0.5, descent_step_m=0.5),)))
    withheld = frozenset(Disclosed) - {Disclosed.ALTITUDE, Disclosed.LEG}
    coarse = ChartMatch(turns=12).play(
        Case(chart, (_told(chart, depth_step_m=50.0, descent_step_m=None, fields=withheld),))
    )
    assert fine.log_likelihood is not None and coarse.log_likelihood is not None
    areas = [Posterior.of(chart, logs).area_km2() for logs in (fine.log_likelihood, coarse.log_likelihood)]
    assert areas[1] > 3 * areas[0]


def test_without_a_depth_there_is_nothing_to_lay_on_the_chart() -> None:
    """A release without depth says nothing of the seabed, and the attack says so."""
    chart = _chart()
    dive = _told(chart, fields=frozenset({Disclosed.TRACK, Disclosed.HEADING}))
    assert soundings_for(Case(chart, (dive,))) is None
    finding = ChartMatch().play(Case(chart, (dive,)))
    assert not finding.worked and finding.log_likelihood is None
    assert "nothing to lay on the chart" in finding.words


def test_it_keeps_to_the_declared_area_and_tells_how_far_it_is() -> None:
    """Cells outside of the declared area aren't tried; progress runs up to 1."""
    chart = _chart()
    prior = np.zeros(chart.shape, dtype=bool)
    prior[30:60, 50:90] = True
    seen: list[float] = []
    case = replace(Case(chart, (_told(chart),)), prior=prior)
    finding = ChartMatch(turns=4).play(case, lambda doing, share: seen.append(share))
    assert finding.log_likelihood is not None
    assert np.all(finding.log_likelihood[~prior] == -np.inf)
    assert np.isfinite(finding.log_likelihood[prior]).all()
    assert seen == sorted(seen) and seen[-1] == 1.0
