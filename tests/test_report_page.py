"""The report: good HTML that asks nobody for anything, in the private folder and nowhere else, for its owner alone."""

import re
import stat
from base64 import b64decode, b64encode
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree

import pytest
from PIL import Image

from played_cases import EXPEDITION, DepthReader, Teller, Trials, depths_of, invented_case
from relay.audit.attacks.attack import Finding
from relay.audit.played import Outsider, Played, play
from relay.core.errors import OperatorError
from relay.shell.audit.report_page import NAME, report_html, report_path, write_report

if TYPE_CHECKING:
    from playwright.async_api import Browser

TRUTH = (-38.61, -21.95)
HOSTILE = '<script>alert("x")</script> & </style>'


def played(words: str = "Compared.") -> Played:
    """Return the result of a depth reader and a leak with these words."""
    leak = Teller(Finding("free text", words, leaks=(words,)))
    return play(Outsider([DepthReader(), leak], depths_of, lambda *_: Trials()), invented_case(), truth=TRUTH)


def page(words: str = "Compared.", expedition: str = EXPEDITION) -> str:
    """Return a report."""
    return report_html(played(words), expedition, ["Recording: dive-001", words], TRUTH)


def parsed(text: str) -> ElementTree.Element:
    """Return a page read as XML, which this form of HTML also is, the style aside."""
    return ElementTree.fromstring(
        re.sub(r"<style>.*?</style>", "", text.removeprefix("<!doctype html>"), flags=re.DOTALL)
    )


def test_page_says_first_that_it_is_for_the_operator_alone() -> None:
    """Before anything that it shows."""
    words = "".join(parsed(page()).find("body").itertext()).split("\n")  # type: ignore[union-attr]
    first = next(line.strip() for line in words if line.strip())
    assert first.startswith("For the operator's eyes alone.")


def test_page_asks_nobody_for_anything() -> None:
    """No address but data in it, no script, and its policy allows nothing else (CSP level 3)."""
    text = page()
    addresses = [
        value
        for node in parsed(text).iter()
        for name, value in node.attrib.items()
        if name in ("href", "src", "srcset", "action", "data", "poster")
    ]
    assert addresses
    assert all(address.startswith("data:image/png;base64,") for address in addresses)
    assert "<script" not in text
    assert "url(" not in text
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)
    style = re.search(r"<style>(.*?)</style>", text, re.DOTALL)
    assert policy is not None
    assert style is not None
    digest = b64encode(sha256(style[1].encode()).digest()).decode()
    assert f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:" in policy[1]


def test_words_of_others_cannot_become_markup() -> None:
    """Annotations and names of files are text, whatever is in them."""
    root = parsed(page(HOSTILE, HOSTILE))
    assert HOSTILE in "".join(root.itertext())
    assert root.find(".//script") is None


def test_pictures_are_as_large_as_they_say() -> None:
    """Shown at half their pixels, so that nothing moves when they are there."""
    for image in parsed(page()).iter("img"):
        png = Image.open(BytesIO(b64decode(image.attrib["src"].partition(",")[2])))
        assert (int(image.attrib["width"]), int(image.attrib["height"])) == (png.width // 2, png.height // 2)
        assert image.attrib["alt"]


def test_refused_result_has_no_map() -> None:
    """Where no area can be given, none is drawn."""
    attacks = Outsider([DepthReader()], depths_of, lambda *_: Trials(holds=False, covered=0.5))
    text = report_html(play(attacks, invented_case()), EXPEDITION, [])
    assert "<img" not in text
    assert "No area can be given" in text


def test_report_is_for_its_owner_alone(tmp_path: Path) -> None:
    """Mode 0600, written whole, and over another only if that is asked for."""
    path = tmp_path / "private" / "audit.html"
    write_report("one", path, force=False)
    assert 0o600 == stat.S_IMODE(path.stat().st_mode)
    with pytest.raises(OperatorError, match="--force"):
        write_report("two", path, force=False)
    assert "one" == path.read_text()
    write_report("two", path, force=True)
    assert ["audit.html"] == [item.name for item in path.parent.iterdir()]
    assert (0o600, "two") == (stat.S_IMODE(path.stat().st_mode), path.read_text())


def test_report_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    """The path, and what the system says."""
    (tmp_path / "file").write_text("")
    with pytest.raises(OperatorError, match=r"audit\.html can't be written: "):
        write_report("one", tmp_path / "file" / "audit.html", force=False)


def test_report_is_refused_where_anything_is_public(tmp_path: Path) -> None:
    """Below the released folder, by its place or its name, or beside recordings or published pages."""
    shown = tmp_path / "shown"
    shown.mkdir()
    site = tmp_path / "site"
    site.mkdir()
    (site / "dive-001.recording").touch()
    for asked in (shown / "a.html", shown / "public" / "a.html", tmp_path / "released" / "a.html", site / "a.html"):
        with pytest.raises(OperatorError, match="private folder"):
            report_path(asked, tmp_path / "private", shown)
    (tmp_path / "way").symlink_to(shown)
    with pytest.raises(OperatorError, match="private folder"):
        report_path(tmp_path / "way" / "a.html", None, shown)


def test_report_goes_to_the_private_folder_by_itself(tmp_path: Path) -> None:
    """Where the expedition file says that is; without one it must be said."""
    assert tmp_path / "private" / NAME == report_path(Path(), tmp_path / "private", tmp_path / "released")
    assert tmp_path / "x.html" == report_path(tmp_path / "x.html", None, None)
    with pytest.raises(OperatorError, match="--html: say where"):
        report_path(Path(), None, None)


@pytest.mark.browser
@pytest.mark.asyncio(loop_scope="session")
@pytest.mark.parametrize("wide", [360, 1280])
async def test_report_fits_its_screen_without_a_complaint(wide: int, browser: "Browser", tmp_path: Path) -> None:
    """Opened from disk: pictures drawn, nothing sticks out, nothing refused by the page's own policy, nothing asked."""
    path = tmp_path / "audit.html"
    path.write_text(page("a" * 300), encoding="utf-8")
    tab = await browser.new_page(viewport={"width": wide, "height": 800})
    said, asked = list[str](), list[str]()
    tab.on("console", lambda message: said.append(message.text))
    tab.on("request", lambda request: asked.append(request.url))
    await tab.goto(path.as_uri())
    widths = await tab.evaluate("[...document.images].map((image) => image.complete && image.naturalWidth)")
    assert widths
    assert all(widths)
    assert wide >= await tab.evaluate("document.documentElement.scrollWidth")
    assert [] == said
    assert [path.as_uri()] == [url for url in asked if not url.startswith("data:")]
    assert "rgb(245, 247, 244)" == await tab.evaluate("getComputedStyle(document.documentElement).backgroundColor")
    await tab.close()
