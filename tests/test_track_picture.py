"""Pictures of a track: where the records say, the same bytes for the same records, and nothing else in them."""

import re
from dataclasses import replace
from io import BytesIO
from math import sin
from pathlib import Path
from xml.etree import ElementTree

import pytest
from PIL import Image

from relay.core.summary import Summary, summary
from relay.core.wire import read_recording
from relay.shell.site.page_words import DE, EN
from relay.shell.site.track_picture import ACCENT, SHARED, Fit, Frame, cut_lines, nice, shared_png, track_svg

DEMO = Path(__file__).resolve().parents[1] / "recordings/demo-dive.recording"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def demo() -> Summary:
    """What the demo's recorded dive comes to."""
    return summary(read_recording(DEMO.read_bytes()).records)


def test_fit_keeps_shape_and_middle() -> None:
    """Metres become pixels at one scale both ways, north of the frame up, the middle in the middle."""
    fit = Fit([(100.0, 200.0), (300.0, 300.0)], Frame(0, 0, 240, 180), 20)
    assert fit.pixels == 1.0
    assert fit((200.0, 250.0)) == (120.0, 90.0)
    assert fit((300.0, 300.0)) == (220.0, 40.0)
    assert [nice(value) for value in (0.7, 1, 1.01, 3, 20, 501)] == [1, 1, 2, 5, 20, 1000]


def test_picture_of_a_track_has_every_piece_inside_and_a_title(demo: Summary) -> None:
    """Read back by an XML parser: a title in words, a line for each vehicle's track, all of it on the sheet."""
    root = ElementTree.fromstring(track_svg(demo, EN))
    assert root.findtext(f"{SVG}title") == EN.track_of.format(n=demo.dive)
    lines = [path.get("d", "") for path in root.iter(f"{SVG}path") if path.get("stroke-width")]
    assert len(lines) == sum(bool(track) for track in demo.tracks)
    assert len(lines) == 2
    pieces = [piece for line in lines for piece in line.split("M")[1:]]
    assert len(pieces) == sum(len(track) for track in demo.tracks)
    numbers = [tuple(map(float, point.split())) for piece in pieces for point in piece.split("L")]
    assert all(0 < x < 240 and 0 < y < 180 for x, y in numbers)
    assert "style=" not in track_svg(demo, EN).decode()


def test_picture_without_a_track_says_so(demo: Summary) -> None:
    """A dive whose track isn't shown has a picture with words, in the language asked for."""
    blank = replace(demo, tracks=((), ()))
    assert DE.no_track in track_svg(blank, DE).decode()
    assert Image.open(BytesIO(shared_png("x", ["y"], [blank], DE))).size == SHARED


def test_shared_picture_is_a_png_of_its_size_without_metadata(demo: Summary) -> None:
    """Read back by the library: size, no text and no time in it, both last positions marked, and always the same."""
    made = shared_png("The search for the Isoline Marr", ["one line", "another"], [demo], EN)
    assert made == shared_png("The search for the Isoline Marr", ["one line", "another"], [demo], EN)
    picture = Image.open(BytesIO(made))
    picture.load()
    assert (picture.size, picture.format, picture.info) == (SHARED, "PNG", {})
    chunks, at = set(), 8
    while at < len(made):
        chunks.add(made[at + 4 : at + 8])
        at += 12 + int.from_bytes(made[at : at + 4], "big")
    assert chunks == {b"IHDR", b"IDAT", b"IEND"}  # PNG (W3C, third edition) section 11: no ancillary chunk
    fit = Fit([point for track in demo.tracks for piece in track for point in piece], Frame(620, 60, 520, 510), 34)
    for track in demo.tracks:
        x, y = fit(track[-1][-1])
        assert "#{:02x}{:02x}{:02x}".format(*picture.getpixel((round(x), round(y)))) == ACCENT  # type: ignore[misc]


def test_shared_picture_takes_long_words_and_many_dives(demo: Summary) -> None:
    """A title or line too long is shortened with a mark of omission; four dives at most are drawn."""
    many = [replace(demo, dive=number) for number in range(1, 7)]
    assert shared_png("T" * 200, ["l" * 500], many, EN) == shared_png("T" * 200, ["l" * 500], many[2:], EN)


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("", []),
        ("abcde", ["abcde"]),
        ("ab cd", ["ab cd"]),
        ("abcd ef", ["abcd", "ef"]),
        ("abcdefg", ["abcde", "fg"]),
        ("ab cdefghi", ["ab", "cdef…"]),
        ("ab cdefgh", ["ab", "cdef…"]),
        ("abcde fghij k", ["abcde", "fghi…"]),
        (" ab   cd  ", ["ab cd"]),
    ],
)
def test_text_is_cut_into_lines_that_fit(text: str, lines: list[str]) -> None:
    """No line is longer than fits, here five letters, and no more than two stand: a word is broken where it must be."""
    assert cut_lines(text, lambda part: len(part) <= 5, 2) == lines


def test_letters_of_a_shared_picture_stand_in_its_font(demo: Summary) -> None:
    """A title in letters beyond ASCII differs letter by letter: none is the box that stands for a missing one."""
    letters = "äöüßÄéèñçøåłşğœčЖдЯαΩ–…“”„²°"
    drawn = {letter: shared_png(letter, [], [], EN) for letter in (*letters, "\N{CJK UNIFIED IDEOGRAPH-6D77}")}
    assert len(set(drawn.values())) == len(drawn)


def test_picture_of_a_long_track_is_no_larger_than_its_sheet(demo: Summary) -> None:
    """28,800 positions that nobody could tell apart make a small file, and its line still ends where the track does."""
    points = tuple((at / 100, 50 * sin(at / 4_000)) for at in range(28_800))
    made = track_svg(replace(demo, tracks=((points,),)), EN)
    assert len(made) < 12_000
    ends = re.search(rb"L([0-9.]+) ([0-9.]+)\" fill", made)
    mark = re.search(rb"circle cx=\"([0-9.]+)\" cy=\"([0-9.]+)\"", made)
    assert ends is not None
    assert mark is not None
    assert ends.groups() == mark.groups()
