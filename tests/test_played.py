"""All attacks on a case: areas by hand, attacks together, no number where trials fail, fields withheld in turn."""

from dataclasses import replace

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from played_cases import DepthReader, Teller, Trials, bottom, depths_of, invented_case, released_dive, with_prior
from relay.audit.attacks.attack import Attack, Case, Finding, Wreck
from relay.audit.attacks.known_wrecks import KnownWrecks
from relay.audit.played import LEVEL, Outsider, Played, Score, play
from relay.core.policy import Disclosed


def played(case: Case, *attacks: Attack, trials: Trials | None = None, **more: object) -> Played:
    """Play attacks with trials as told."""
    outsider = Outsider(attacks, depths_of, lambda case, soundings, progress: trials or Trials())
    return play(outsider, case, **more)  # type: ignore[arg-type]


def joint(result: Played) -> Score:
    """Return the score of all attacks, which must be there."""
    assert result.joint is not None
    return result.joint


def square_finding(case: Case, rows: slice, columns: slice, attack: str = "square", **more: object) -> Finding:
    """Return a finding that the place is in a rectangle of cells, evenly."""
    log = np.full(case.chart.shape, -np.inf)
    log[rows, columns] = 0.0
    return Finding(attack, "In the square.", log_likelihood=log, **more)  # type: ignore[arg-type]


def geographic_km2(case: Case, rows: slice, columns: slice) -> float:
    """Return the area of a rectangle of cells by geographiclib, km2."""
    latitude, longitude = case.chart.latitude_deg, case.chart.longitude_deg
    half = (latitude[1] - latitude[0]) / 2
    south, north = latitude[rows][0] - half, latitude[rows][-1] + half
    west, east = longitude[columns][0] - half, longitude[columns][-1] + half
    polygon = Geodesic.WGS84.Polygon()
    steps = np.linspace(west, east, 40)  # parallels are no geodesics
    for point in [*((south, step) for step in steps), *((north, step) for step in steps[::-1])]:
        polygon.AddPoint(*point)
    return abs(polygon.Compute()[2]) / 1e6


def test_even_rectangle_leaves_95_percent_of_its_area() -> None:
    """RSA95 of a place that is evenly in a rectangle is 95 % of what geographiclib says the rectangle is."""
    case = invented_case()
    rows, columns = slice(10, 30), slice(10, 35)
    score = joint(played(case, Teller(square_finding(case, rows, columns))))
    assert LEVEL == score.level
    assert score.area_km2 == pytest.approx(0.95 * geographic_km2(case, rows, columns), rel=4e-3)


def test_two_attacks_together_leave_what_they_have_in_common() -> None:
    """Log likelihoods add up: two rectangles leave their intersection, and each leaves its own."""
    case = invented_case()
    one = square_finding(case, slice(10, 30), slice(10, 30), "one")
    other = square_finding(case, slice(20, 36), slice(20, 44), "other")
    result = played(case, Teller(one), Teller(other))
    both = geographic_km2(case, slice(20, 30), slice(20, 30))
    assert joint(result).area_km2 == pytest.approx(0.95 * both, rel=1.2e-2)
    assert result.each["one"].area_km2 > 3 * joint(result).area_km2
    assert result.each["other"].area_km2 > 3 * joint(result).area_km2


def test_lost_bits_of_a_rectangle_are_the_logarithm_of_the_ratio() -> None:
    """An even prior narrowed to an even part of it loses log2 of how many times smaller that is (Shannon 1948)."""
    case = with_prior(invented_case(), 0.8)
    result = played(case, Teller(square_finding(case, slice(10, 20), slice(10, 20))))
    part = geographic_km2(case, slice(10, 20), slice(10, 20))
    assert joint(result).posterior.lost_bits == pytest.approx(np.log2(result.prior_km2 / part), abs=0.01)


def test_no_attack_with_a_place_leaves_the_declared_area() -> None:
    """What says nothing of the place changes nothing: 95 % of the declared area is left, no bit is lost."""
    case = with_prior(invented_case(), 0.5)
    result = played(case, Teller(Finding("totals", "No total is told.", worked=False)))
    assert {} == result.each
    assert joint(result).area_km2 == pytest.approx(0.95 * result.prior_km2, rel=3e-3)
    assert joint(result).posterior.lost_bits == pytest.approx(0, abs=1e-9)


def test_chart_match_is_judged_at_the_level_of_its_trials() -> None:
    """The level that held the truth in trials is used for the chart match and for all together, not for others."""
    case = invented_case()
    other = Teller(square_finding(case, slice(0, 40), slice(0, 50), "other"))
    tight, wide = (played(case, DepthReader(), other, trials=Trials(level=level)) for level in (0.8, 0.99))
    assert tight.each["chart match"].area_km2 < 0.8 * wide.each["chart match"].area_km2
    assert (0.8, 0.99) == (joint(tight).level, joint(wide).level)
    assert tight.each["other"].area_km2 == wide.each["other"].area_km2


def test_failed_trials_give_no_number_but_say_why() -> None:
    """Where the area named held the truth too seldom, neither the chart match nor all together have an area."""
    case = invented_case()
    other = Teller(square_finding(case, slice(10, 30), slice(10, 30), "other"))
    result = played(case, DepthReader(), other, trials=Trials(holds=False, why="it held the truth at 81.0%"))
    assert result.joint is None
    assert ["other"] == list(result.each)
    assert "it held the truth at 81.0%" in result.refused
    assert () == result.withheld


def test_a_dive_that_fits_nowhere_gives_no_number() -> None:
    """Where even the best cell agrees worse than at nearly every known place, the area would be of the wrong place."""
    result = played(invented_case(), DepthReader(), trials=Trials(fit=1.0))
    assert result.joint is None and not result.each
    assert "fits nowhere on the chart as well as" in result.refused
    assert played(invented_case(), DepthReader(), trials=Trials(fit=-50.0)).joint is not None


def test_trials_are_not_asked_for_where_the_chart_says_nothing() -> None:
    """A dive that tells no depth has nothing to be calibrated: failing trials refuse nothing then."""
    dive = released_dive([replace(bottom(0.0, 0.0, 150.0), depth_m=None)])
    result = played(invented_case(dive), DepthReader(), trials=Trials(holds=False))
    assert result.trial is None
    assert joint(result).area_km2 == pytest.approx(0.95 * result.prior_km2, rel=3e-3)


def test_place_told_outright_leaves_one_cell_whatever_the_trials_say() -> None:
    """One cell is left, the one that holds it, even where no other number can be given."""
    case = invented_case()
    place = float(case.chart.latitude_deg[12]) + 0.001, float(case.chart.longitude_deg[31]) - 0.001
    told = Teller(Finding("leak scan", "The place is in it.", place=place, outright=True, leaks=("a position",)))
    result = played(case, DepthReader(), told, trials=Trials(covered=0.5, holds=False))
    assert joint(result).area_km2 == pytest.approx(geographic_km2(case, slice(12, 13), slice(31, 32)), rel=1e-3)
    assert ("a position",) == result.leaks
    assert result.refused
    assert result.outright
    assert () == result.withheld, "without a field it would have been told all the same"


def test_guess_is_no_place_told_outright() -> None:
    """A listed wreck that fits well but lies elsewhere is one guess among others: the truth stays inside the area."""
    case = invented_case(released_dive([bottom(25.0 * at, 0.0, 150.0) for at in range(4)], depth_step_m=50.0))
    off = np.abs(np.nan_to_num(case.chart.depth_m, nan=9e3) - 150)
    row, column = np.unravel_index(int(off.argmin()), off.shape)
    truth = float(case.chart.latitude_deg[row]), float(case.chart.longitude_deg[column])
    far = np.argwhere((off < 5) & (np.abs(np.arange(40) - row)[:, None] > 8))[0]
    wreck = Wreck(
        "Sable Petrel", float(case.chart.latitude_deg[far[0]]), float(case.chart.longitude_deg[far[1]]), 150.0
    )
    guessed = KnownWrecks().play(replace(case, wrecks=(wreck,)))
    assert guessed.place == (wreck.latitude_deg, wreck.longitude_deg), "it stands out"
    result = played(replace(case, wrecks=(wreck,)), DepthReader(error_m=25.0), KnownWrecks(), truth=truth)
    assert not result.outright
    assert joint(result).truth_inside
    assert joint(result).area_km2 > 0.5 * result.each["chart match"].area_km2


def test_places_told_outright_that_disagree_leave_the_cell_of_each() -> None:
    """Which of them is right nobody knows, so both are searched; one outside the declared area is none of them."""
    case = with_prior(invented_case(), 0.8)
    corners = [(float(case.chart.latitude_deg[20]), float(case.chart.longitude_deg[at])) for at in (11, 31, 48)]
    told = [Teller(Finding(str(place), "Told.", place=place, outright=True)) for place in corners]
    result = played(case, *told)
    cell_km2 = geographic_km2(case, slice(20, 21), slice(11, 12))
    assert joint(result).area_km2 == pytest.approx(2 * cell_km2, rel=1e-3)
    beyond = played(case, told[2])
    assert not beyond.outright and joint(beyond).area_km2 == pytest.approx(0.95 * beyond.prior_km2, rel=3e-3)


def test_attacks_that_exclude_each_other_give_no_number() -> None:
    """No cell agrees with both, so there is nothing to divide by."""
    case = invented_case()
    one = square_finding(case, slice(8, 12), slice(8, 12), "one")
    other = square_finding(case, slice(20, 30), slice(20, 30), "other")
    result = played(case, Teller(one), Teller(other))
    assert result.joint is None
    assert "contradict" in result.refused


def test_attack_that_fits_nowhere_is_named() -> None:
    """A chart of another place is told as such, by the attack that found no cell."""
    case = invented_case()
    nowhere = Finding("chart match", "Compared.", log_likelihood=np.full(case.chart.shape, -np.inf))
    result = played(case, Teller(nowhere))
    assert result.joint is None
    assert "chart match" in result.refused
    assert "--chart-error" in result.refused


def test_truth_is_inside_or_outside_and_so_far_from_the_best_guess() -> None:
    """Whether the true cell is in the region, and how far the best is off (against geographiclib)."""
    case = invented_case()
    finding = square_finding(case, slice(20, 23), slice(20, 23))
    assert finding.log_likelihood is not None
    finding.log_likelihood[21, 21] = 1.0
    best = float(case.chart.latitude_deg[21]), float(case.chart.longitude_deg[21])
    for truth, inside in (((best[0] + 0.001, best[1]), True), ((best[0] + 0.05, best[1] + 0.03), False)):
        score = joint(played(case, Teller(finding), truth=truth))
        assert inside is score.truth_inside
        assert score.error_m == pytest.approx(Geodesic.WGS84.Inverse(*best, *truth)["s12"], rel=2e-3)


def test_probability_near_the_best_counts_the_cells_within_500_m() -> None:
    """An even square of 3 by 3 cells has 5 of them within 500 m of its middle: the cells are 444 by 347 m."""
    case = invented_case()
    finding = square_finding(case, slice(20, 23), slice(20, 23))
    assert finding.log_likelihood is not None
    finding.log_likelihood[21, 21] = 1e-9
    assert joint(played(case, Teller(finding))).near == pytest.approx(5 / 9, rel=1e-3)


def test_field_that_gives_the_place_away_is_found() -> None:
    """Without depth the depth reader has nothing, so the declared area is left; no other field changes anything."""
    case = invented_case()
    result = played(case, DepthReader())
    left = {item.field: item.area_km2 for item in result.withheld}
    assert Disclosed.DEPTH is result.withheld[0].field
    assert left.pop(Disclosed.DEPTH) == pytest.approx(joint(result).level * result.prior_km2, rel=3e-3)
    assert {joint(result).area_km2} == set(left.values())
    assert {Disclosed.TRACK, Disclosed.ALTITUDE, Disclosed.HEADING, Disclosed.MODE, Disclosed.LEG} < {*left}


def test_floor_is_the_least_that_any_attack_states() -> None:
    """What the ship's own track leaves is reported beside the area, and no other fact is taken for it."""
    case = invented_case()
    alignment = Teller(Finding("ship alignment", "She stopped 3 times.", facts={"floor_km2": 12.5, "stops": 3}))
    assert 12.5 == played(case, alignment).floor_km2
    assert played(case, DepthReader()).floor_km2 is None


def test_declared_area_off_the_chart_is_no_case() -> None:
    """There is nowhere to search."""
    with pytest.raises(ValueError, match="no cell"):
        played(with_prior(invented_case(), 0.0), DepthReader())


def test_progress_names_each_attack() -> None:
    """Whoever waits sees which attack is under way."""
    said = list[str]()
    played(invented_case(), DepthReader(), progress=lambda doing, share: said.append(doing))
    assert "chart match: comparing depths" in said
    assert "without depth" in said
