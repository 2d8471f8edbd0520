"""The report as a page and on paper: it asks nobody for anything, fits its screen, and is marked on every page."""

import asyncio
import json
import re
from base64 import b64encode
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

import pytest

from firefox import Firefox, firefox
from relay.core.wire import read_recording
from relay.shell.report.dive_report import Report, Section, Table, jpeg_picture, plan_of, profile_of, report_html
from relay.shell.report.exact_report import MARK
from relay.shell.report.released_report import released_report
from relay.shell.report.report_drawing import Drawn, Mark

if TYPE_CHECKING:
    from playwright.async_api import Browser

DEMO = Path(__file__).resolve().parents[1] / "recordings/demo-dive.recording"
EVIL = '<script>alert("x")</script><img src="http://elsewhere.example/x"> & </style>'
PAPERS = {"A4": (595.3, 841.9), "Letter": (612.0, 792.0)}  # points: ISO 216 (210 by 297 mm), ANSI A (8.5 by 11 inches)
LETTERING = """
[...document.querySelectorAll('svg')].filter((svg) => svg.checkVisibility()).map((svg) =>
  parseFloat(svg.querySelector('text').getAttribute('font-size')) * svg.clientWidth / svg.viewBox.baseVal.width)
"""
# Read by the PDF reader that comes with Firefox, by other people than those who write a PDF in Chromium.
PAGES = """
(async () => {
  const viewer = PDFViewerApplication;
  while (!viewer.pdfDocument) await new Promise((done) => setTimeout(done, 20)); // a busy Firefox draws no frames
  const pages = [];
  for (let number = 1; number <= viewer.pagesCount; number += 1) {
    const page = await viewer.pdfDocument.getPage(number);
    const content = await page.getTextContent();
    pages.push({ size: page.view, text: content.items.map((item) => item.str + (item.hasEOL ? ' ' : '')).join('') });
  }
  return JSON.stringify(pages);
})()
"""


def demo_page() -> str:
    """Return the report of the demo's recorded dive."""
    return report_html(released_report(read_recording(DEMO.read_bytes()), True))


def logged() -> Sequence[Sequence[str]]:
    """Return the rows of that report's log."""
    sections = released_report(read_recording(DEMO.read_bytes()), True).sections
    (table,) = (part.table for part in sections if part.title == "Log")
    assert table is not None
    return table.rows


def hostile_page() -> str:
    """Return a report with everything a page can hold, all of it said by somebody who means harm."""
    vehicle = Drawn(EVIL, [[(0, 0), (60, 30)]], [[(0, 0), (50, 60)]])
    plan = plan_of([vehicle], [Mark(1, 30, (10, 10))], EVIL, EVIL)
    assert plan is not None
    part = Section(
        EVIL,
        [EVIL],
        [(EVIL, "x" * 300)],
        [plan, profile_of([vehicle], [Mark(1, 30)], 60, EVIL, EVIL)],
        Table([EVIL, "number"], [[EVIL, "1"], ["y" * 300, "2"]], frozenset({1})),
        [jpeg_picture(b"\xff\xd8", 64, 48, EVIL)],
    )
    return report_html(Report(EVIL, EVIL, True, [EVIL], [part], EVIL))


def long_exact_page() -> str:
    """Return an exact report of some pages."""
    rows = [[str(at), f"{at // 60:02d}:{at % 60:02d}:00", "A line of the log."] for at in range(200)]
    log = Section("Log", table=Table(["No.", "UTC", "What"], rows, frozenset({0, 1})))
    return report_html(Report("Dive 1", MARK, True, ["It tells where the dive was."], [log], MARK))


def parsed(page: str) -> ElementTree.Element:
    """Return a page read as XML, which this form of HTML also is, the style aside."""
    return ElementTree.fromstring(
        re.sub(r"<style>.*?</style>", "", page.removeprefix("<!doctype html>"), count=1, flags=re.DOTALL)
    )


@pytest.mark.parametrize("page", [demo_page, hostile_page])
def test_page_asks_nobody_for_anything_and_runs_nothing(page: Any) -> None:
    """No script, no address but data, and a policy that allows its own style alone (CSP level 3)."""
    text = page()
    root = parsed(text)
    addresses = [
        value
        for node in root.iter()
        for name, value in node.attrib.items()
        if name in ("href", "src", "srcset", "action", "data", "poster", "style") or name.startswith("on")
    ]
    assert all(address.startswith("data:image/jpeg;base64,") for address in addresses)
    tags = {node.tag.rpartition("}")[2] for node in root.iter()}
    assert not tags & {"script", "link", "iframe", "form", "object", "style"}
    style = re.search(r"<style>(.*?)</style>", text, re.DOTALL)
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)
    assert style is not None
    assert policy is not None
    digest = b64encode(sha256(style[1].encode()).digest()).decode()
    rest = "img-src data:; base-uri 'none'; form-action 'none'"
    assert f"default-src 'none'; style-src 'sha256-{digest}'; {rest}" == policy[1]
    assert "url(" not in style[1]


def test_words_of_others_stay_words() -> None:
    """Whatever a name, a note or a title holds is read as it was written."""
    root = parsed(hostile_page())
    said = "".join(root.itertext())
    assert said.count(EVIL) >= 8
    assert root.find(".//{*}svg").attrib["aria-label"] == EVIL  # type: ignore[union-attr]


def test_mark_is_the_first_thing_said() -> None:
    """Before the title, and in the name of the window."""
    root = parsed(demo_page())
    body = root.find("body")
    assert body is not None
    assert next(text.strip() for text in body.itertext() if text.strip()).startswith("RELEASED to public")
    assert "RELEASED to public" in (root.findtext("head/title") or "")


@pytest.mark.browser
@pytest.mark.asyncio(loop_scope="session")
@pytest.mark.parametrize("wide", [360, 1280])
async def test_report_fits_its_screen_without_a_complaint(wide: int, browser: "Browser", tmp_path: Path) -> None:
    """Nothing sticks out, is refused or asked for; drawings stand in one size, letters at 11 px or more."""
    for name, text in (("demo", demo_page()), ("evil", hostile_page())):
        path = tmp_path / f"{name}.html"
        path.write_text(text, encoding="utf-8")
        tab = await browser.new_page(viewport={"width": wide, "height": 800})
        said, asked = list[str](), list[str]()
        tab.on("console", lambda message, said=said: said.append(message.text))
        tab.on("request", lambda request, asked=asked: asked.append(request.url))
        await tab.goto(path.as_uri())
        assert wide >= await tab.evaluate("document.documentElement.scrollWidth")
        assert [] == said
        assert [path.as_uri()] == [url for url in asked if not url.startswith("data:")]
        shown = await tab.evaluate(LETTERING)
        assert 2 == len(shown)
        assert all(pixels >= 11 for pixels in shown)
        await tab.close()


async def pages_of(reader: Firefox, pdf: Path) -> list[dict[str, Any]]:
    """Return the pages of a PDF as Firefox's reader reads them: their sizes and their texts."""
    await reader.go(pdf.as_uri())
    pages: list[dict[str, Any]] = json.loads(await asyncio.wait_for(reader.evaluate(PAGES), 120))
    return [{**page, "text": re.sub(r"\s+", " ", page["text"])} for page in pages]


@pytest.mark.browser
@pytest.mark.asyncio(loop_scope="session")
async def test_printed_report_is_marked_on_every_page(browser: "Browser", tmp_path: Path) -> None:
    """On A4 and letter, by Chromium and by Firefox, read by Firefox: each page says what it is, nothing is lost."""
    (tmp_path / "report.html").write_text(demo_page(), encoding="utf-8")
    (tmp_path / "exact.html").write_text(long_exact_page(), encoding="utf-8")
    tab = await browser.new_page()
    await tab.goto((tmp_path / "report.html").as_uri())
    for paper in PAPERS:
        await tab.pdf(path=tmp_path / f"{paper}.pdf", format=paper)
    await tab.close()
    async with firefox(tmp_path) as reader:
        await reader.open((tmp_path / "exact.html").as_uri())
        (tmp_path / "exact.pdf").write_bytes(await reader.printed(21.0, 29.7))
        exact = await pages_of(reader, tmp_path / "exact.pdf")
        assert 4 < len(exact)
        assert all(MARK in page["text"] for page in exact)
        for paper, size in PAPERS.items():
            pages = await pages_of(reader, tmp_path / f"{paper}.pdf")
            assert 3 < len(pages) < 9
            for number, page in enumerate(pages, 1):
                assert page["size"][2:] == pytest.approx(size, abs=1.5)
                assert "RELEASED to public, 20 s to 25 s late" in page["text"]
                assert f"{number} / {len(pages)}" in page["text"]
            whole = " ".join(page["text"] for page in pages)
            for words in ("What isn't shown", "Depth profile", "Plan", "Legs", "Whose it is", "practice decides."):
                assert words in whole
            assert all(row[1] in whole and row[3].split()[-1] in whole for row in logged())
