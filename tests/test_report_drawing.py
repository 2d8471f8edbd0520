"""The report's drawings: where things stand, how far a bar is, and that no text of anybody's becomes markup."""

import re
from collections.abc import Iterator
from itertools import combinations, pairwise
from math import dist
from xml.etree import ElementTree

import pytest

from relay.shell.report.report_drawing import (
    FORMS,
    NARROW,
    WIDE,
    Drawn,
    Mark,
    Sheet,
    clock,
    form_of,
    metres,
    nice_step,
    plan_svg,
    profile_svg,
    runs,
)

SVG = "{http://www.w3.org/2000/svg}"
EVIL = '"><script>alert(1)</script>&'


def texts(svg: str) -> dict[str, tuple[float, float]]:
    """Return what is written on a drawing, and where."""
    return {
        node.text or "": (float(node.attrib["x"]), float(node.attrib["y"]))
        for node in ElementTree.fromstring(svg).iter(f"{SVG}text")
    }


def lines(svg: str) -> list[list[tuple[float, float]]]:
    """Return the points of each vehicle's line, all pieces together."""
    found = [
        node.attrib["d"] for node in ElementTree.fromstring(svg).iter(f"{SVG}path") if "stroke-linecap" in node.attrib
    ]
    return [[(float(x), float(y)) for x, y in re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", path)] for path in found]


def numbers_in(label: str) -> Iterator[int]:
    """Yield the numbers that a label stands for."""
    for span in label.split(", "):
        first, _, last = span.partition("–")
        yield from range(int(first), int(last or first) + 1)


def drawn(depths: list[list[tuple[float, float]]], track: list[list[tuple[float, float]]]) -> Drawn:
    """Return a vehicle with these pieces."""
    return Drawn("Lantern", depths, track)


@pytest.mark.parametrize("sheet", [WIDE, NARROW])
def test_profile_stands_on_its_axes(sheet: Sheet) -> None:
    """A depth lies where the axis says, to half a pixel: between two labelled depths, in proportion; so does a time."""
    svg = profile_svg([drawn([[(0, 0), (1_800, 500), (3_600, 1_000)]], [])], [], 3_600, "depth", sheet)
    written, ((_, middle, end),) = texts(svg), lines(svg)
    lettering = 0.35 * sheet.size
    assert end[1] == pytest.approx(written["1,000"][1] - lettering, abs=0.5)
    assert middle[1] == pytest.approx((written["0"][1] + written["1,000"][1]) / 2 - lettering, abs=0.5)
    assert middle[0] == pytest.approx(written["0:30"][0], abs=0.5)
    assert end[0] == pytest.approx(written["1:00"][0], abs=0.5)


def test_scale_bar_is_as_long_as_it_says() -> None:
    """Stretches of 300 and 400 m are as long on the paper as the bar and its words make them, whichever the sheet."""
    for sheet in (WIDE, NARROW):
        svg = plan_svg([drawn([], [[(0, 0), (300, 0), (300, 400)]])], [], "plan", sheet)
        ((start, corner, end),) = lines(svg)
        bar = re.search(r"v5h([\d.]+)v-5", svg)
        (said,) = [text for text in texts(svg) if text.endswith(" m")]
        assert bar is not None
        pixels = float(bar[1]) / float(said.removesuffix(" m"))
        assert dist(start, corner) == pytest.approx(300 * pixels, abs=0.3)
        assert dist(corner, end) == pytest.approx(400 * pixels, abs=0.3)
        assert end[1] < corner[1], "up is up"


def test_everything_lies_on_the_sheet() -> None:
    """Marks and tracks, deep and shallow, wide and narrow: nothing is drawn beyond the edge."""
    marks = [Mark(number, number * 10.0, (number * 30.0, -number * 7.0)) for number in range(1, 40)]
    vehicle = drawn([[(0, -3), (400, 6_000)]], [[(-80, 20), (1_200, 900)]])
    for sheet in (WIDE, NARROW):
        for svg in (profile_svg([vehicle], marks, 400, "p", sheet), plan_svg([vehicle], marks, "p", sheet)):
            spots = [*texts(svg).values(), *(spot for line in lines(svg) for spot in line)]
            assert all(0 <= x <= sheet.width and 0 <= y <= sheet.height for x, y in spots)


def test_long_dive_is_drawn_in_no_more_than_can_be_seen() -> None:
    """A point each tenth of a second for eight hours: neighbours on the paper are apart, and both ends are there."""
    long = [(at / 10, 1_000 + (at % 7) / 50) for at in range(288_000)]
    ((first, *_, last),) = (found := lines(profile_svg([drawn([long], [])], [], 28_800, "p", WIDE)))
    assert len(found[0]) < 3_000
    assert last[0] - first[0] == pytest.approx(WIDE.width - 5.4 * WIDE.size, abs=0.2)
    assert all(dist(one, other) >= 0.5 for one, other in pairwise(found[0][:-1]))


def test_numbers_do_not_lie_on_each_other() -> None:
    """Of marks too close for their numbers some go without, and keep their stroke; on the plan they share a label."""
    marks = [Mark(number, 100 + number, (0.0, 0.0)) for number in range(1, 30)]
    vehicle = drawn([[(0, 0), (10_000, 50)]], [[(0, 0), (500, 500)]])
    profile = profile_svg([vehicle], marks, 10_000, "p", WIDE)
    numbers = [(text, spot) for text, spot in texts(profile).items() if re.fullmatch(r"\d\d?", text) and spot[1] < 54]
    for row in {spot[1] for _, spot in numbers}:
        row_of = sorted((spot[0], text) for text, spot in numbers if spot[1] == row)
        assert all(b[0] - a[0] > 0.6 * WIDE.size * len(a[1]) for a, b in pairwise(row_of))
    assert profile.count("v-6.5") == len(marks)
    assert "1–29" in texts(plan_svg([vehicle], marks, "p", WIDE))
    spread = [Mark(number, 0, (number * 9.0, number % 3 * 20.0)) for number in range(1, 60)]
    svg = plan_svg([vehicle], spread, "p", NARROW)
    labels = {text: spot for text, spot in texts(svg).items() if not text.endswith("m")}
    shown = [number for text in labels for number in numbers_in(text)]
    assert sorted(shown) == list(range(1, 60))
    for one, other in combinations(labels.items(), 2):
        (_, left), (_, right) = pair = sorted((one, other), key=lambda item: item[1][0])
        assert abs(left[1] - right[1]) >= NARROW.size or right[0] - left[0] > 0.6 * NARROW.size * len(pair[0][0])


def test_vehicles_are_told_by_form() -> None:
    """Each of four has a line of its own, as the words say; colour tells nothing."""
    four = [Drawn(str(at), [[(0, 0), (10, at)]], []) for at in range(4)]
    root = ElementTree.fromstring(profile_svg(four, [], 10, "p", WIDE))
    drawn_as = [
        (node.attrib["stroke"], node.get("stroke-dasharray", ""))
        for node in root.iter()
        if "stroke-linecap" in node.attrib
    ]
    assert len({ink for ink, _ in drawn_as}) == 1
    assert [dashes for _, dashes in drawn_as] == [dashes for _, dashes in FORMS]
    assert [form_of(at) for at in range(5)] == [*(words for words, _ in FORMS), FORMS[0][0]]


def test_texts_stay_texts() -> None:
    """What a drawing is said to show is escaped: it parses, without an element of anybody's."""
    for svg in (
        profile_svg([drawn([[(0, 0)]], [])], [], 0, EVIL, WIDE),
        plan_svg([drawn([], [[(0, 0)]])], [], EVIL, NARROW),
    ):
        root = ElementTree.fromstring(svg)
        assert root.attrib["aria-label"] == EVIL
        assert {node.tag.removeprefix(SVG) for node in root.iter()} <= {"svg", "path", "text", "rect", "circle"}
        assert "style" not in svg


def test_numbers_are_written_plainly() -> None:
    """Times as hours, minutes and seconds; lengths without idle digits; runs of numbers as spans; steps 1, 2, 5."""
    assert ["0:00:00", "0:28:16", "12:00:05"] == [clock(0), clock(1_696), clock(43_204.6)]
    assert ["1,118 m", "0.5 m", "0 m", "100 m"] == [metres(1_118), metres(0.5), metres(-0.0), metres(100)]
    assert "1, 3–5, 9" == runs([1, 3, 4, 5, 9])
    assert [0.2, 1, 2, 10, 200] == [nice_step(span, 6) for span in (1.2, 6, 7, 55, 1_200)]
