"""One sheet of paper: what the pages share stands once, in `templates/paper.css`, and each page adds to it alone.

The contrasts that its first line claims are worked out by the formula of WCAG 2.2 (relative luminance, contrast ratio).
"""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
TEMPLATES = ROOT / "relay" / "shell" / "templates"
PAPER = (TEMPLATES / "paper.css").read_text(encoding="utf-8")


def rules(css: str) -> set[tuple[str, str]]:
    """Return each selector with each of its declarations, those within @media aside."""
    outer = re.sub(r"@(media|page)[^{]*\{(?:[^{}]|\{[^{}]*\})*\}", "", re.sub(r"/\*.*?\*/", "", css, flags=re.DOTALL))
    return {
        (selector.strip(), said.strip())
        for selectors, body in re.findall(r"([^{}]+)\{([^{}]*)\}", outer)
        for selector in selectors.split(",")
        for said in body.split(";")
        if said.strip()
    }


def colours(css: str) -> dict[str, str]:
    """Return the first value of each colour that `css` names."""
    return dict(reversed(re.findall(r"--(\w+): (#[0-9a-f]{6});", css)))


def luminance(colour: str) -> float:
    """Return the relative luminance of #rrggbb (WCAG 2.2)."""
    parts = (int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5))
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def test_public_pages_lie_on_the_same_sheet() -> None:
    """The stylesheet that the site gives out begins with the sheet, to the letter."""
    assert (ROOT / "web" / "public" / "pages.css").read_text(encoding="utf-8").startswith(PAPER)


@pytest.mark.parametrize("name", ["audit.css", "report.css"])
def test_report_says_nothing_that_the_sheet_says(name: str) -> None:
    """What a report adds is its own: no rule of the sheet is written again."""
    own = rules((TEMPLATES / name).read_text(encoding="utf-8"))
    assert own
    assert own & rules(PAPER) == set()
    assert colours((TEMPLATES / name).read_text(encoding="utf-8")) == {}


@pytest.mark.parametrize("page", ["web/src/style.css", "web/desk/src/style.css"])
def test_live_page_and_desk_have_the_colours_of_the_sheet(page: str) -> None:
    """A colour that has a name on the sheet is the same on the live page, and on the desk by day."""
    sheet, live = colours(PAPER), colours((ROOT / page).read_text(encoding="utf-8"))
    other = {"paper": "ground", "hair": "faint"} if "desk" in page else {}
    assert {name: live[other.get(name, name)] for name in sheet} == sheet


def test_sheet_has_the_contrasts_that_it_claims() -> None:
    """Ink, soft and accent on the paper have the ratios of the first line, and at least WCAG's 4.5:1."""
    claimed = dict(re.findall(r"(ink|soft|accent) ([0-9.]+):1", PAPER.splitlines()[0]))
    assert set(claimed) == {"ink", "soft", "accent"}
    sheet = colours(PAPER)
    for name, ratio in claimed.items():
        found = (luminance(sheet["paper"]) + 0.05) / (luminance(sheet[name]) + 0.05)
        assert round(found, 1) == float(ratio) >= 4.5, name
