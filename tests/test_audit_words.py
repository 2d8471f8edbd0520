"""What is said of an audit: areas no finer than they are known, no number where there is none, no place anywhere."""

from dataclasses import replace

import pytest

from played_cases import DepthReader, Teller, Trials, depths_of, invented_case
from relay.audit.attacks.attack import Finding
from relay.audit.played import Outsider, Played, Without, play
from relay.core.policy import Disclosed
from relay.shell.audit.audit_words import attack_lines, field_lines, headline, meaning, numbers, say_distance, say_km2

AREAS = {
    0.0214: "0.02 km2",
    0.0999: "0.1 km2",
    0.5049: "0.5 km2",
    0.994: "0.99 km2",
    0.996: "1.0 km2",
    7.04: "7.0 km2",
    9.96: "10 km2",
    87.4: "87 km2",
    2_344.0: "2,340 km2",
    123_456.0: "123,000 km2",
}


@pytest.mark.parametrize("area_km2", AREAS)
def test_area_has_the_figures_it_can_bear(area_km2: float) -> None:
    """Two or three figures, never a long tail."""
    assert AREAS[area_km2] == say_km2(area_km2)


@pytest.mark.parametrize(("metres", "words"), [(240.4, "240 m"), (994, "990 m"), (3_440, "3.4 km"), (58_400, "58 km")])
def test_distance_has_two_figures(metres: float, words: str) -> None:
    """Metres below a kilometre, kilometres above."""
    assert words == say_distance(metres)


def audited(*findings: Finding, holds: bool = True, **more: object) -> Played:
    """Play the depth reader and these findings."""
    attacks = [DepthReader(), *map(Teller, findings)]
    outsider = Outsider(attacks, depths_of, lambda *_: Trials(holds=holds, covered=0.95 if holds else 0.6))
    return play(outsider, invented_case(), **more)  # type: ignore[arg-type]


def test_headline_is_the_area_left_of_the_declared() -> None:
    """The one number, beside the one it is measured by."""
    result = audited()
    assert result.joint is not None
    left, declared = say_km2(result.joint.area_km2), say_km2(result.prior_km2)
    assert f"An outsider is left with {left} to search, of {declared} declared." == headline(result)
    assert "gave most away is depth" in meaning(result)


def test_refused_result_has_no_area_of_all_attacks() -> None:
    """No area is said, and it is said why."""
    result = audited(holds=False)
    assert meaning(result).startswith("No area can be given. The chart match failed its trials")
    assert ("Residual search area (RSA95), all attacks", "no number") in numbers(result)
    assert "no number" == attack_lines(result)[0].left
    assert [] == field_lines(result)


def test_place_told_outright_is_said_before_anything() -> None:
    """Nobody reads an area and overlooks that."""
    chart = invented_case().chart
    place = float(chart.latitude_deg[20]), float(chart.longitude_deg[20])
    told = Finding("leak scan", "It is in it.", place=place, outright=True, leaks=("dive-001: a position",))
    result = audited(told)
    assert headline(result).startswith("The place is given away")
    assert "No single field" not in meaning(result)
    guessed = audited(replace(told, outright=False, leaks=()))
    assert headline(guessed).startswith("An outsider is left with")
    assert "should not have been there" in meaning(result)


def test_floor_above_the_area_and_below_it_are_told_apart() -> None:
    """A floor that binds is told as such; one that doesn't is said to be no limit."""
    left_km2 = audited().joint
    assert left_km2 is not None
    binding = Finding("ship alignment", "Few stops.", facts={"floor_km2": left_km2.area_km2 / 10})
    loose = Finding("ship alignment", "Many stops.", facts={"floor_km2": left_km2.area_km2 * 10})
    bound = audited(binding)
    assert bound.left_km2 == pytest.approx(left_km2.area_km2 / 10)
    assert headline(bound).startswith(
        f"An outsider who has the ship's track (AIS) is left with {say_km2(left_km2.area_km2 / 10)} to search"
    )
    assert f"together leave {say_km2(left_km2.area_km2)}: the lesser of the two counts" in meaning(bound)
    assert "no setting here can keep more than that" in meaning(audited(loose))
    assert "It is counted in the area above" in meaning(audited(loose))
    assert audited(loose).left_km2 == pytest.approx(left_km2.area_km2)
    assert f"alone leaves {say_km2(left_km2.area_km2 / 10)}" in meaning(audited(binding, holds=False))


def test_outsider_who_is_often_wrong_is_no_measure_of_safety() -> None:
    """A level near 1 makes the area large because the model is wrong: that is said before the area can be believed."""
    outsider = Outsider([DepthReader()], depths_of, lambda *_: Trials(level=0.999, misled=True))
    result = play(outsider, invented_case())
    assert result.misled
    assert meaning(result).removeprefix(headline(result)).startswith(" WARNING: that is no measure of safety")
    assert "WARNING" not in meaning(audited())


def test_area_that_was_enough_at_half_of_the_places_stands_beside() -> None:
    """It is less, and of the level that half of the trials needed; beside it bits and the best guess are his belief."""
    result = audited()
    assert result.joint is not None and result.half_km2 is not None
    assert result.half_km2 == result.joint.posterior.area_km2(0.4) < result.joint.area_km2
    assert f"the most probable {say_km2(result.half_km2)} were enough" in meaning(result)
    assert ("Enough at half of the known places", say_km2(result.half_km2)) in numbers(result)
    assert "By the outsider's own belief" in meaning(result)
    assert {"Uncertainty lost, by the outsider's own belief", "Within 500 m of the best guess, he believes"} < {
        name for name, _ in numbers(result)
    }


def test_attacks_are_listed_by_what_they_found() -> None:
    """The strongest first; what had nothing to work on says why, last."""
    none = Finding("totals", "No total is told.", worked=False)
    leak = Finding("free text", "A bearing is told.", leaks=("bearing 040",))
    clean = Finding("send times", "They are even.")
    lines = attack_lines(audited(none, leak, clean))
    assert {line.name: line.left for line in lines[1:]} == {
        "totals": "nothing to work on",
        "free text": "a leak",
        "send times": "no place found",
    }
    assert "chart match" == lines[0].name
    assert ("bearing 040",) == next(line.leaks for line in lines if line.name == "free text")


def test_fields_without_a_difference_share_a_line() -> None:
    """Depth stands alone; the six that changed nothing stand together."""
    (depth, left), (others, none) = field_lines(audited())
    assert ("depth", "no difference") == (depth, none)
    assert left.endswith("km2")
    assert {"track", "altitude", "heading", "mode", "leg", "notes"} == set(others.split(", "))


def test_truth_is_told_as_inside_or_outside_with_a_distance() -> None:
    """Only where the truth was given."""
    chart = invented_case().chart
    truth = float(chart.latitude_deg[20]), float(chart.longitude_deg[20])
    names = dict(numbers(audited(truth=truth)))
    assert names["The true place lies"] in ("inside the area", "OUTSIDE the area")
    assert names["The best guess is off by"].endswith("m")
    assert "The true place lies" not in dict(numbers(audited()))


def test_no_place_is_in_the_words() -> None:
    """Neither the best guess nor the truth stands in what a terminal shows."""
    chart = invented_case().chart
    truth = float(chart.latitude_deg[20]), float(chart.longitude_deg[20])
    result = audited(truth=truth)
    assert result.joint is not None
    said = " ".join([meaning(result), str(numbers(result)), str(attack_lines(result)), str(field_lines(result))])
    for degrees in (*result.joint.best, *truth):
        assert f"{degrees:.2f}" not in said


def test_share_of_little_area_is_not_rounded_to_nothing() -> None:
    """A thousandth of the area is 0.1 %, not 0 %."""
    result = audited()
    assert result.joint is not None
    small = replace(result, joint=replace(result.joint, area_km2=result.prior_km2 / 1_000))
    assert "That is 0.1% of the area" in meaning(small)


def test_area_is_no_result_where_nothing_was_compared() -> None:
    """All of the declared area is left because nothing was played against it, not because it is safe: said first."""
    result = play(Outsider([Teller(Finding("totals", "None.", worked=False))], depths_of, lambda *_: Trials()),
                  invented_case())  # fmt: skip
    assert headline(result).startswith("Nothing that was released could be laid on the chart")
    assert meaning(result) == headline(result) and "no proof of safety" in meaning(result)


def test_field_whose_lack_leaves_less_is_explained() -> None:
    """A smaller area without a field is no reason to tell it: the level isn't tried anew."""
    result = audited()
    assert result.joint is not None
    less = replace(result, withheld=(Without(Disclosed.LEG, result.joint.area_km2 / 2),))
    ((name, left),) = field_lines(less)
    assert "leg" == name and left.startswith(say_km2(result.joint.area_km2 / 2)) and "less only as measured" in left
