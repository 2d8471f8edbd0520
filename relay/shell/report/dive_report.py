"""A dive's report as a page that is printed: what it holds, and how that becomes one HTML file.

Rules: the file asks nobody for anything and runs no script (CSP level 3: its own style by hash, pictures as data);
every text is escaped by the template; what kind of report it is stands on the screen first and on every printed page.
"""

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256

from jinja2 import Environment, PackageLoader, StrictUndefined

from relay.shell.report.report_drawing import NARROW, WIDE, Drawn, Mark, form_of, plan_svg, profile_svg

CAUTIONS = (
    "Not for navigation, vehicle control or collision avoidance.",
    (
        "Wrecks may be protected heritage or graves: permits, reporting duties and local law come first, and licensed "
        "practice decides."
    ),
)
LONG_WORD = 24
_TEMPLATES = Environment(
    loader=PackageLoader("relay.shell", "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
Pairs = Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class Drawing:
    """A drawing as SVG in two sizes, for a wide sheet and a narrow screen, and what stands below it."""

    wide: str
    narrow: str
    caption: str


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of texts below their columns.

    `numbers`: which columns (from 0) hold figures; `labelled`: whether a narrow screen says beside each what it is.
    """

    columns: Sequence[str]
    rows: Sequence[Sequence[str]]
    numbers: frozenset[int] = frozenset()
    labelled: bool = True


@dataclass(frozen=True, slots=True)
class Picture:
    """A still: its address as data, its size, and what was said with it."""

    data: str
    width: int
    height: int
    caption: str


@dataclass(frozen=True, slots=True)
class Section:
    """A part of a report, whatever of these it has."""

    title: str
    says: Sequence[str] = ()
    facts: Pairs = ()
    drawings: Sequence[Drawing] = ()
    table: Table | None = None
    pictures: Sequence[Picture] = ()


@dataclass(frozen=True, slots=True)
class Report:
    """A whole report. `mark`: what stands on every page; `exact`: for few eyes alone; `meaning`: its first lines."""

    title: str
    mark: str
    exact: bool
    meaning: Sequence[str]
    sections: Sequence[Section]
    made_of: str


def report_html(report: Report) -> str:
    """Return the page."""
    source = "\n".join(_TEMPLATES.get_template(name).render() for name in ("paper.css", "report.css"))
    style = f"sha256-{base64.b64encode(sha256(source.encode()).digest()).decode()}"
    return _TEMPLATES.get_template("report.html").render(
        policy=f"default-src 'none'; style-src '{style}'; img-src data:; base-uri 'none'; form-action 'none'",
        css=source,
        report=report,
        is_long=_is_long,
        cautions=CAUTIONS,
    )


def _is_long(text: str) -> bool:
    """Whether a text holds a word that a narrow column has to break."""
    return any(len(word) > LONG_WORD for word in text.split())


def jpeg_picture(jpeg: bytes, width: int, height: int, caption: str) -> Picture:
    """Return a still as a picture of the page."""
    return Picture(f"data:image/jpeg;base64,{base64.b64encode(jpeg).decode()}", width, height, caption)


def profile_of(vehicles: Sequence[Drawn], marks: Sequence[Mark], span_s: float, said: str, more: str) -> Drawing:
    """Return the depth profile of a dive in both sizes; `more`: what the caption says besides whose line is which."""
    wide, narrow = (profile_svg(vehicles, marks, span_s, said, sheet) for sheet in (WIDE, NARROW))
    return Drawing(wide, narrow, f"{_whose(vehicles, depths=True)} {more}".strip())


def plan_of(vehicles: Sequence[Drawn], marks: Sequence[Mark], said: str, more: str) -> Drawing | None:
    """Return the plan of a dive in both sizes; None where no position is told."""
    if not any(vehicle.track for vehicle in vehicles):
        return None
    wide, narrow = (plan_svg(vehicles, marks, said, sheet) for sheet in (WIDE, NARROW))
    begins = "A ring marks where a track begins, a dot where it ends."
    return Drawing(wide, narrow, f"{_whose(vehicles, depths=False)} {begins} {more}".strip())


def _whose(vehicles: Sequence[Drawn], *, depths: bool) -> str:
    drawn = [
        f"{vehicle.name}: {form_of(at)}."
        for at, vehicle in enumerate(vehicles)
        if (vehicle.depths if depths else vehicle.track)
    ]
    return " ".join(drawn)
