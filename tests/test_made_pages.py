"""The server's pages: what they say is what was released, in good HTML, with nothing of anybody else's."""

from dataclasses import replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from relay.core.programme_told import ProgrammeTold
from relay.core.summary import Summary, summary
from relay.core.wire import decode, read_recording
from relay.shell.site.made_pages import FIRST_PLACE, Shelf, dive_html, expedition_html, with_first_words
from relay.shell.site.page_words import DE, EN
from released import dive, dive_with_everything

ROOT = Path(__file__).resolve().parents[1]
INDEX = (
    b'<!doctype html><html lang="en"><head><title>t</title><meta name="description" content="old" /></head>'
    b'<body><main><div id="first"></div></main></body></html>'
)


@pytest.fixture(scope="module")
def demo() -> Summary:
    """What the demo's recorded dive comes to."""
    return summary(read_recording((ROOT / "recordings/demo-dive.recording").read_bytes()).records)


def shelf(*dives: Summary, **changes: Any) -> Shelf:
    """Return dives as a shelf in English."""
    return replace(Shelf("The search for the Isoline Marr", "public", dives, EN), **changes)


def parsed(page: bytes) -> Any:
    """Return a page read as XML, which HTML in this form also is: a tag not closed or a text not escaped raises."""
    return ElementTree.fromstring(page.decode().removeprefix("<!doctype html>"))


def words_of(page: bytes) -> str:
    """Return what a reader of a page reads."""
    return " ".join("".join(parsed(page).find("body").itertext()).split())


def links(page: bytes) -> list[str]:
    """Return everything that a page fetches or leads to."""
    return [
        value
        for node in parsed(page).iter()
        for name, value in node.attrib.items()
        if name in ("href", "src", "srcset", "action", "poster", "data")
    ]


def test_expedition_page_tells_all_dives_and_their_numbers(demo: Summary) -> None:
    """Newest first, with picture, length and depth; the totals are those of the released records."""
    going_on = summary([decode(frame.data) for frame in dive(2, 4, closed=False)])
    page = expedition_html(shelf(demo, going_on))
    text = words_of(page)
    assert text.index("Dive 2 going on") < text.index("Dive 1 over")
    assert "Dives2" in text.replace(" ", "")
    assert f"Deepest{demo.deepest_m:,.0f}m" in text.replace(" ", "")
    assert "2 h 39 min long, 1,118 m at its deepest" in text
    assert "What you see happened 45 min to 55 min ago. Positions are coarse and without a place" in text
    assert all(caution in text for caution in EN.cautions)
    assert all(link.startswith("./") for link in links(page))
    assert "./pictures/dive-001.svg" in links(page)
    assert "./#dive=2" in links(page)


def test_dive_page_says_which_line_is_whose(demo: Summary) -> None:
    """Two vehicles: how each one's track is drawn, and that times and ways are of both; none drawn: no such words."""
    assert len(demo.vehicles) == 2
    text = words_of(dive_html(shelf(), demo))
    assert "Up is not north. Lantern: whole line. Moth: dashed line. A dot marks the last position shown." in text
    assert "Time at work below, vehicles together" in text
    blank = words_of(dive_html(shelf(), replace(demo, tracks=((), demo.tracks[1]))))
    assert "Up is not north. Moth: dashed line. A dot" in blank
    alone = words_of(dive_html(shelf(), summary([decode(frame.data) for frame in dive(1, 2)])))
    assert "together" not in alone
    assert "not north" not in words_of(dive_html(shelf(), replace(demo, tracks=((), ()))))


def test_dive_page_tells_targets_state_and_figures() -> None:
    """One dive by itself, with its targets' last verdicts; exact places stand on no page."""
    page = dive_html(shelf(), summary([decode(frame.data) for frame in dive_with_everything(3)]))
    text = words_of(page)
    assert "Boiler: of interest" in text
    assert "Targetschecked1" in text.replace(" ", "")
    assert "Positions are not told, on purpose." in text
    assert "38.6" not in text
    assert "21.9" not in text


def test_live_page_says_the_state_in_words_before_any_script(demo: Summary) -> None:
    """The first HTML has the vehicles' legs and depths, how late it is, the last note, and what a link shows."""
    records = read_recording((ROOT / "recordings/demo-dive.recording").read_bytes()).records[:900]
    page = with_first_words(INDEX, shelf(summary(records), address="https://dive.example/"))
    text = words_of(page)
    assert "What you see happened 20 s to 25 s ago. Positions are coarse and without a place, on purpose." in text
    assert "Dive 1 is going on" in text
    assert "Lantern: at work below, near the bottom, about 1,1" in text
    assert "on its tether" in text
    assert "Last note: " in text
    heads = {node.get("property"): node.get("content") for node in parsed(page).iter("meta")}
    assert heads["og:title"] == "The search for the Isoline Marr"
    assert heads["og:image"] == "https://dive.example/pictures/expedition.png"
    assert heads["og:description"].startswith("Dive 1 is going on: ")
    assert page.decode().count('name="description"') == 1


def test_live_page_before_any_dive_says_so() -> None:
    """Nobody is left with an empty sheet."""
    assert "No dive yet" in words_of(with_first_words(INDEX, shelf()))
    german = with_first_words(INDEX, shelf(words=DE))
    assert "Noch kein Tauchgang" in words_of(german)
    first = parsed(german).find(".//*[@id='first']")
    assert (first.get("lang"), first.findtext("h1")) == ("de", "The search for the Isoline Marr")


def test_built_page_has_one_place_for_the_first_words() -> None:
    """What the server fills is in the page's source, once, and the page's script takes it away."""
    assert (ROOT / "web/index.html").read_text().count(FIRST_PLACE) == 1
    assert "getElementById('first')?.remove()" in (ROOT / "web/src/main.ts").read_text()


def test_texts_from_outside_are_shown_as_text() -> None:
    """A note or a name with markup in it stays what it is: text."""
    evil = '<script>alert(1)</script><img src="http://elsewhere.example/x">&"\''
    frames = [decode(frame.data) for frame in dive(1, 2, closed=False)]
    one = replace(summary(frames), note=evil, header={**frames[0].body, "area": evil, "place": "area"})
    for page in (
        expedition_html(shelf(one, expedition=evil)),
        dive_html(shelf(one, expedition=evil), one),
        with_first_words(INDEX, shelf(one, expedition=evil)),
    ):
        assert "<script>alert" not in page.decode()
        assert [node.tag for node in parsed(page).iter() if node.tag == "script"] == []
        assert all("elsewhere.example" not in link for link in links(page))


def test_relative_depth_is_never_told_as_a_depth() -> None:
    """Where depth is relative to the bottom, no page says how deep the dive was."""
    frames = [decode(frame.data) for frame in dive(1, 5, closed=False)]
    relative = replace(summary(frames), header={**frames[0].body, "depth": "relative"})
    assert "deepest" not in words_of(expedition_html(shelf(relative))).lower()
    assert "from where it reached the bottom" in words_of(with_first_words(INDEX, shelf(relative)))
    assert "deep" not in with_first_words(INDEX, shelf(relative)).decode().split("og:title")[1].split("/>")[1]


TOLD = ProgrammeTold(4, "The <boiler> is next.", ("the bow", "the stern"), 10_800, 2)


def test_what_is_to_come_is_on_the_page_of_the_expedition_and_in_the_first_words(demo: Summary) -> None:
    """Pinned message, next dive, schedule in its order and the link, escaped; no dive is needed; in both languages."""
    asked = "mailto:dive@museum.example"
    told = shelf(demo, programme=TOLD, questions_to=asked)
    for page in (expedition_html(told), with_first_words(INDEX, told), expedition_html(replace(told, dives=()))):
        assert "What is to come The <boiler> is next. Next dive in about 3 h the bow the stern Ask" in words_of(page)
        assert asked in links(page)
    german = f"Nächster Tauchgang in etwa {DE.hours.format(n=3)}"
    assert german in words_of(expedition_html(replace(told, words=DE)))


@pytest.mark.parametrize(
    ("changes", "said"),
    [({"left_s": 0}, "Next dive soon"), ({"left_s": 2_400}, "in about 40 min"), ({"left_s": None}, ""),
     ({"left_s": 259_200}, "in about 3 d"), ({"dive": 1}, "")],
)  # fmt: skip
def test_next_dive_is_told_as_coarsely_as_it_was_released(demo: Summary, changes: dict[str, Any], said: str) -> None:
    """In its steps; not where nothing is said of it, nor once that dive has begun."""
    page = words_of(expedition_html(shelf(demo, programme=replace(TOLD, **changes))))
    assert said in page
    assert ("Next dive" in page) == bool(said)


def test_nothing_to_come_is_no_heading(demo: Summary) -> None:
    """Without a programme, or with an empty one, the page has no place for it; a folder counts nothing down."""
    empty = ProgrammeTold(5, None, (), None, 2)
    for told in (shelf(demo), shelf(demo, programme=empty)):
        assert "What is to come" not in words_of(expedition_html(told))
    assert "Next dive" not in words_of(expedition_html(shelf(demo, programme=TOLD, counts=False)))
