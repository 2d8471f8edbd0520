"""Places told in text: every listed notation is stopped, ordinary dive talk passes, whatever the text."""

import json
import random
from collections import defaultdict
from itertools import pairwise
from pathlib import Path
from time import process_time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dive_talk import dive_talk
from relay.core.place_in_text import Finding, Notation, _found, find_places

VECTORS = json.loads((Path(__file__).parent / "vectors" / "place_texts.json").read_text(encoding="utf-8"))
SCENE = tuple(VECTORS["scene"])
GROUPS = sorted({row["group"] for row in VECTORS["positives"]})
BATCHES = sorted({row.get("held_out", "open") for row in VECTORS["negatives"]})


def found(row: dict[str, object]) -> list[Finding]:
    """Return what is found in one vector."""
    forbidden = row.get("forbidden", ())
    assert isinstance(forbidden, list | tuple)
    return find_places(str(row["text"]), forbidden=forbidden, scene=SCENE)


@pytest.mark.parametrize("group", GROUPS)
def test_place_is_found(group: str) -> None:
    """No text of this group that tells a place gets through, in any batch."""
    rows = [row for row in VECTORS["positives"] if row["group"] == group]
    assert [] == [row["text"] for row in rows if not found(row)]


@pytest.mark.parametrize("batch", BATCHES)
def test_dive_talk_passes(batch: str) -> None:
    """At most 1 in 100 ordinary sentences is stopped (1 where a batch has fewer than 100)."""
    rows = [row for row in VECTORS["negatives"] if row.get("held_out", "open") == batch]
    stopped = [row["text"] for row in rows if found(row)]
    assert len(stopped) <= max(1, len(rows) // 100), stopped


def test_sentences_stopped_by_mistake_are_known() -> None:
    """The false alarms of the whole list are these: numbers that nobody can tell from a latitude."""
    stopped = [row["text"] for row in VECTORS["negatives"] if found(row)]
    assert stopped == ["S 34.91 at the bottom.", "5 N, 44 S: counts of rivets by side."]


def test_lists_are_long_and_differ() -> None:
    """There are at least 300 of each, 60 of each held out, and no text stands twice."""
    for kind in ("positives", "negatives"):
        texts = [row["text"] for row in VECTORS[kind]]
        assert len(texts) >= 300
        assert sum("held_out" in row for row in VECTORS[kind]) >= 60
        assert len(set(texts)) == len(texts)


def test_text_is_read_once_for_all_who_ask() -> None:
    """The verdict on a text is remembered, with the names it was looked through for, and for so many texts alone."""
    _found.cache_clear()
    for _ in range(3):
        findings = find_places("at the Quenby bank", forbidden=["Quenby"])
        findings.clear()
    assert (_found.cache_info().misses, _found.cache_info().hits) == (1, 2)
    assert find_places("at the Quenby bank", forbidden=["Quenby"])
    assert _found.cache_info().hits == 3
    for at in range(400):
        find_places(f"crate {at}")
    assert _found.cache_info().currsize == _found.cache_info().maxsize == 256


def test_dive_talk_with_random_numbers_passes() -> None:
    """Depths, times, headings, sizes, counts and ranges on the site pass with any numbers in them."""
    sentences = list(dive_talk(random.Random(20), 40))
    stopped = [text for text in sentences if find_places(text, scene=SCENE)]
    assert len(sentences) >= 2000
    assert len(stopped) * 100 <= len(sentences), stopped


def test_finding_says_what_and_where() -> None:
    """A finding gives the range in the text as written, its words, the notation and a sentence for the author."""
    text = "Bell found at 48° 12.3′ N, all well"
    (finding,) = find_places(text)
    assert finding.notation is Notation.DEGREES_MINUTES
    assert text[finding.start : finding.end] == finding.excerpt == "48° 12.3′ N"
    assert finding.excerpt in finding.why
    assert "Leave it out" in finding.why


def test_finding_covers_what_was_spelled() -> None:
    """A place in words, escapes or zero-width characters is marked from its first to its last character."""
    spelled = "at forty eight degrees twelve north now"
    assert [found.excerpt for found in find_places(spelled)] == ["forty eight degrees twelve north"]
    hidden = "at 4\u200b8.1234\u200bN now"
    assert [found.excerpt for found in find_places(hidden)] == ["4\u200b8.1234\u200bN"]
    escaped = "q=48.1234%2C-12.5678 now"
    assert [found.excerpt for found in find_places(escaped)] == ["48.1234%2C-12.5678"]


@pytest.mark.parametrize(
    "text",
    [
        "bell at \u202eE 654.12 ,N 321.84\u202c, upright",
        "bell at \u202eN °48 '12.34\u202c and more",
        "\u202e\u202eE 654.12 ,N 321.84",
        "bell at &#52;&#56;.123 N, &#x32;1.456 E",
        "bell at %34%38.123 N, 21.456 E",
        "bell at &#0000052;8.123 N, 21.456 E",
    ],
)
def test_place_that_is_turned_about_or_coded_is_found(text: str) -> None:
    """An override of the writing direction (UAX 9), percent-encoding (RFC 3986) and character references (HTML)."""
    assert find_places(text)


@pytest.mark.parametrize(
    "text", ["\u202ellew si lla", "80%50 done, 100% &amp; more", "\u202e" * 500, "&#9999;&#x7;%7f"]
)
def test_turned_or_coded_words_without_a_place_pass(text: str) -> None:
    """What only looks like a code, or turns words alone, tells no place."""
    assert find_places(text) == []


def test_every_notation_has_its_sentence() -> None:
    """Each notation is found in the vectors, and its sentence quotes the author's words."""
    sentences = defaultdict(set)
    for row in VECTORS["positives"]:
        for finding in found(row):
            assert finding.excerpt in finding.why
            sentences[finding.notation].add(finding.why)
    assert set(sentences) == set(Notation)


PIECES = (
    *("48", "12.3", "-12.5678", "0123456", "1,142", "N", "S", "w", "north", "nord", "°", "'", '"', "deg", "lat", "lon"),
    *(
        "forty",
        "eight",
        "point",
        "oh",
        "miles",
        "nm",
        "of",
        "from",
        "Cape",
        "Orlach",
        "the",
        "boiler",
        "bearing",
        "33U",
    ),
    *(
        "TP",
        "geo:",
        "+",
        "/",
        ",",
        ".",
        " ",
        "\n",
        "\u200b",
        "８",
        "٣",
        "%2C",
        "&deg;",
        "https://",
        "ѕ",
        "İ",
        "ﷺ",
        "\x00",
    ),
)
wire_shaped = st.lists(st.sampled_from(PIECES), max_size=40).map("".join)
spaced = st.lists(st.sampled_from(PIECES), max_size=40).map(" ".join)
anything = st.text(max_size=300) | wire_shaped | spaced


@given(anything, st.lists(st.text(max_size=12) | spaced, max_size=3), st.lists(st.text(max_size=12), max_size=2))
def test_any_text_is_read(text: str, forbidden: list[str], scene: list[str]) -> None:
    """No text and no names raise; findings are in order, none in another, and quote the text; twice is the same."""
    first = find_places(text, forbidden=forbidden, scene=scene)
    assert first == find_places(text, forbidden=forbidden[::-1], scene=scene[::-1])
    assert all(text[finding.start : finding.end] == finding.excerpt != "" for finding in first)
    for one, two in pairwise(first):
        assert one.start < two.start
        assert one.end < two.end


@given(anything)
def test_stopped_text_stays_stopped_in_company(text: str) -> None:
    """Words before and after a position do not hide it."""
    assert find_places(f"{text}\n\nWe are at 48° 12.345′ N, 012° 34.567′ W.\n\n{text}")


HOSTILE = (
    *(
        "4",
        "4 ",
        "48 ",
        "48 12 ",
        "48.1 ",
        "1,",
        "1,142,",
        "48.12.",
        "N ",
        "N4",
        "48N",
        "°",
        "'",
        "48° ",
        "- ",
        "-",
        "4-",
    ),
    *(
        "forty ",
        "one ",
        "oh ",
        "point ",
        "forty-",
        "hundred ",
        "lat ",
        "latitude is ",
        "long ",
        "miles ",
        "3 miles ",
        "of ",
    ),
    *(
        "from the ",
        "m from ",
        "3 m off ",
        "bearing ",
        "bearing 3 ",
        "island ",
        "the island is ",
        "Cape ",
        "A",
        "Aa ",
        "a.",
        "a.b",
    ),
    *(
        "33U ",
        "33UTP ",
        "E 299 ",
        "299 380 ",
        "u2",
        "u28d ",
        "6822",
        "8+",
        "+48",
        "-012",
        "geo:",
        "www.",
        "///a.b",
        "loran ",
        "%2",
        "&",
    ),
    *("utm ", "zone 3", "grid ref ", "x", "ﷺ", "\u200b", "é", " ", "\n"),
)


@pytest.mark.parametrize("piece", HOSTILE)
def test_time_grows_with_length_alone(piece: str) -> None:
    """Eight times the text takes less than twenty-four times the work: no pattern goes wild."""
    short = piece * (500 // len(piece))
    forbidden = ("aaaaaaaaaaaaaaab", "Point Haro")
    spent = [_least_seconds(text, forbidden) for text in (short, short * 8)]
    assert spent[1] < 24 * spent[0] + 0.02


def _least_seconds(text: str, forbidden: tuple[str, ...]) -> float:
    """Return the least processor time of a few readings, so that other work on the machine does not count."""
    times = []
    for _ in range(2):
        begun = process_time()
        find_places(text, forbidden=forbidden, scene=SCENE)
        times.append(process_time() - begun)
    return min(times)
