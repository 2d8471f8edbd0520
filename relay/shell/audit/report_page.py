"""The audit's report: one HTML file with its maps in it, for the operator's eyes, in the private folder.

Rules: it asks nobody for anything and runs no script (CSP level 3: its own style by hash, pictures as data); every text
is escaped by the template; it is never written where anything released lies, and nobody but its owner may read it.
"""

import base64
import os
import struct
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined

from relay.audit.played import Place, Played, Score
from relay.core.errors import OperatorError
from relay.shell.audit.audit_words import attack_lines, field_lines, meaning, numbers, say_km2
from relay.shell.audit.residual_map import near, residual_map, whole

NAME = "audit.html"
_TEMPLATES = Environment(
    loader=PackageLoader("relay.shell", "templates"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
_PUBLISHED = ("dive-*.recording", "dive-*.html", "pages.css", "programme.record")


@dataclass(frozen=True, slots=True)
class Map:
    """A picture in the page: its address, its size as shown, what it shows for who can't see it, and below it."""

    data: str
    width: int
    height: int
    alt: str
    caption: str


def report_html(played: Played, expedition: str, lines: Sequence[str], truth: Place | None = None) -> str:
    """Return the page. `lines`: what was played, a line each."""
    source = "\n".join(_TEMPLATES.get_template(name).render() for name in ("paper.css", "audit.css"))
    style = f"sha256-{base64.b64encode(sha256(source.encode()).digest()).decode()}"
    return _TEMPLATES.get_template("audit.html").render(
        policy=f"default-src 'none'; style-src '{style}'; img-src data:; base-uri 'none'; form-action 'none'",
        css=source,
        expedition=expedition,
        meaning=meaning(played),
        numbers=numbers(played),
        leaks=played.leaks,
        maps=_maps(played.joint, truth),
        fields=field_lines(played),
        attacks=attack_lines(played),
        played=lines,
    )


def _maps(joint: Score | None, truth: Place | None) -> list[Map]:
    """Return the declared area, and the residual one larger if it is small in it."""
    if joint is None:
        return []
    left, all_of_it = say_km2(joint.area_km2), say_km2(joint.posterior.prior_km2)
    best = "The cross is the outsider's best guess"
    best += "; the ring is where the dive really was." if truth is not None else "."
    said = f"Hatched: the {left} left to search, of {all_of_it} (dashed). {best} Thin lines are depths in metres."
    maps = [_map(residual_map(joint, whole(joint), truth), f"Map of the declared area, {left} of it hatched", said)]
    if (close := near(joint)) is not None:
        maps.append(_map(residual_map(joint, close, truth), "Map of the hatched area, larger", "The same, larger."))
    return maps


def _map(png: bytes, alt: str, caption: str) -> Map:
    width, height = struct.unpack(">II", png[16:24])  # the first chunk of every PNG (PNG specification, 11.2.2)
    data = f"data:image/png;base64,{base64.b64encode(png).decode()}"
    return Map(data, width // 2, height // 2, alt, caption)


def report_path(asked: Path, private: Path | None, released: Path | None) -> Path:
    """Return where the report goes; OperatorError where that could be public.

    `asked`: as given, or `.` for the private folder of the expedition file, if one was given.
    """
    if asked == Path():
        if private is None:
            raise OperatorError(f"--html: say where, such as --html private/{NAME}, or give --area EXPEDITION.toml")
        asked = private / NAME
    path = asked.resolve()
    for folder in path.parents:
        if folder == (released.resolve() if released is not None else None) or folder.name == "released":
            raise OperatorError(f"{asked} lies in {folder}, where everything is public: put it into the private folder")
    found = next((name for pattern in _PUBLISHED for name in path.parent.glob(pattern)), None)
    if found is not None:
        raise OperatorError(f"{asked} would lie beside {found.name}, which is public: put it into the private folder")
    return asked


def write_report(page: str, path: Path, force: bool) -> None:
    """Write the page so that its owner alone may read it; OperatorError where it can't be or one is there already."""
    if path.exists() and not force:
        raise OperatorError(f"{path} is there already: name another file, or add --force")
    beside = path.with_name(f".{path.name}.new")
    try:
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        beside.unlink(missing_ok=True)
        with os.fdopen(os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
            file.write(page)
        beside.replace(path)
    except OSError as error:
        raise OperatorError(f"{path} can't be written: {error.strerror}") from error
