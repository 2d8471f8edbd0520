"""Small pictures of a dive's track: as SVG for lists, as PNG for a link's preview.

Rules: drawn from a summary of released records alone (R7); the same records give the same bytes; no date, no name of a
program and no other metadata in them; the drawing is fitted to its own bounds, so that it lies nowhere.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from io import BytesIO
from math import floor, log10
from xml.sax.saxutils import escape

import fontpkg_source_serif_4
from PIL import Image, ImageDraw, ImageFont

from relay.core.summary import Point, Summary
from relay.shell.site.page_words import PageWords, length

PAPER, INK, SOFT, HAIR, ACCENT = "#f5f7f4", "#15242e", "#4c5c64", "#c3ced0", "#9c1458"
_LEAST_SPAN_M = 40.0
_APART = 0.5
SHARED = (1200, 630)
_TITLE_LINES, _TEXT_LINES = 4, 3


@dataclass(frozen=True, slots=True)
class Frame:
    """Where a drawing lies on a sheet, pixels: its left upper corner and its size."""

    left: float
    top: float
    width: float
    height: float


class Fit:
    """Metres to pixels: the bounds of all tracks in the middle of a frame, north of the frame up."""

    def __init__(self, points: Sequence[Point], frame: Frame, margin: float) -> None:
        easts, norths = [point[0] for point in points], [point[1] for point in points]
        self._middle_m = (min(easts) + max(easts)) / 2, (min(norths) + max(norths)) / 2
        spans_m = max(max(easts) - min(easts), _LEAST_SPAN_M), max(max(norths) - min(norths), _LEAST_SPAN_M)
        self.pixels = min((frame.width - 2 * margin) / spans_m[0], (frame.height - 2 * margin) / spans_m[1])
        self._middle = frame.left + frame.width / 2, frame.top + frame.height / 2
        self.frame = frame

    def __call__(self, point: Point) -> Point:
        """Return where a point lies on the sheet."""
        east_m, north_m = point[0] - self._middle_m[0], point[1] - self._middle_m[1]
        return self._middle[0] + east_m * self.pixels, self._middle[1] - north_m * self.pixels

    def grid(self) -> tuple[list[float], list[float], float]:
        """Return where upright and level lines of the grid lie, and how far apart they are in metres."""
        step_m = nice(self.frame.width / self.pixels / 5)
        step = step_m * self.pixels
        frame = self.frame
        uprights = _lines(self._middle[0] - self._middle_m[0] * self.pixels, step, frame.left, frame.width)
        levels = _lines(self._middle[1] + self._middle_m[1] * self.pixels, step, frame.top, frame.height)
        return uprights, levels, step_m


def nice(value: float) -> float:
    """Return the least of 1, 2, 5, 10, 20, ... that isn't less than a positive value."""
    power = 10.0 ** floor(log10(value))
    return next(factor * power for factor in (1, 2, 5, 10) if factor * power >= value * (1 - 1e-9))


def _lines(origin: float, step: float, start: float, span: float) -> list[float]:
    first = origin + floor((start - origin) / step + 1) * step
    out = []
    while first < start + span:
        out.append(first)
        first += step
    return out


def _seen(piece: Sequence[Point], fit: Fit) -> list[Point]:
    """Return a piece of track on the sheet, without points that nobody could tell from the one before."""
    first, *rest = map(fit, piece)
    seen = [first]
    for x, y in rest:
        if abs(x - seen[-1][0]) >= _APART or abs(y - seen[-1][1]) >= _APART:
            seen.append((x, y))
    return [*seen, rest[-1]] if rest and rest[-1] != seen[-1] else seen


def _points(summary: Summary) -> list[Point]:
    return [point for track in summary.tracks for piece in track for point in piece]


def is_dashed(vehicle: int) -> bool:
    """Whether the picture of a dive draws this vehicle's track dashed."""
    return vehicle % 2 == 1


def track_svg(summary: Summary, words: PageWords) -> bytes:
    """Return the picture of a dive's track: 240 by 180, with a title for who can't see it."""
    frame = Frame(0.5, 0.5, 239, 179)
    points = _points(summary)
    said = words.track_of.format(n=summary.dive) if points else words.no_track
    parts = [
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 240 180" width="240" height="180" role="img">',
        f"<title>{escape(said)}</title>",
        f'<rect width="240" height="180" fill="{PAPER}"/>',
        *(_svg_track(summary, Fit(points, frame, 22), words) if points else _svg_blank(words)),
        f'<rect x="0.5" y="0.5" width="239" height="179" fill="none" stroke="{INK}"/>',
        "</svg>\n",
    ]
    return "\n".join(parts).encode()


def _svg_blank(words: PageWords) -> Iterable[str]:
    yield (
        f'<text x="120" y="94" text-anchor="middle" font-family="serif" font-style="italic" font-size="13" '
        f'fill="{SOFT}">{escape(words.no_track)}</text>'
    )


def _svg_track(summary: Summary, fit: Fit, words: PageWords) -> Iterable[str]:
    uprights, levels, step_m = fit.grid()
    path = "".join([*(f"M{x:.1f} 1V179" for x in uprights), *(f"M1 {y:.1f}H239" for y in levels)])
    yield f'<path d="{path}" fill="none" stroke="{HAIR}"/>'
    for vehicle, track in enumerate(summary.tracks):
        dashes = ' stroke-dasharray="5 3"' if is_dashed(vehicle) else ""
        lines = "".join(_svg_line(_seen(piece, fit)) for piece in track)
        if lines:
            yield f'<path d="{lines}" fill="none" stroke="{INK}" stroke-width="1.5"{dashes}/>'
            x, y = fit(track[-1][-1])
            yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{ACCENT}"/>'
    width = step_m * fit.pixels
    yield f'<path d="M10 165v5h{width:.1f}v-5" fill="none" stroke="{INK}"/>'
    yield (
        f'<text x="{16 + width:.1f}" y="171" font-family="monospace" font-size="11" fill="{INK}">'
        f"{escape(length(step_m, words))}</text>"
    )


def _svg_line(points: Sequence[Point]) -> str:
    first, *rest = points
    return f"M{first[0]:.1f} {first[1]:.1f}" + "".join(f"L{x:.1f} {y:.1f}" for x, y in rest or [first])


def shared_png(title: str, lines: Sequence[str], tracks: Sequence[Summary], words: PageWords) -> bytes:
    """Return the picture a link shows: 1200 by 630, words beside the tracks, each dive's in a frame of its own."""
    sheet = Image.new("RGB", SHARED, PAPER)
    pen = ImageDraw.Draw(sheet)
    pen.rectangle((24, 24, 1176, 606), outline=INK, width=2)
    _write(pen, (64, 60), _cut(title, 46, 540, _TITLE_LINES), 46, INK)
    y = 300.0
    for at, line in enumerate(lines):
        y = _write(pen, (64, y), _cut(line, 27, 520, _TEXT_LINES), 27, ACCENT if at == 0 else SOFT) + 14
    shown = [summary for summary in tracks if _points(summary)][-4:]
    for summary, frame in zip(shown, _frames(len(shown)), strict=True):
        _draw(pen, summary, frame, words)
    if not shown:
        _write(pen, (660, 300), _cut(words.no_track, 27, 480, _TEXT_LINES), 27, SOFT)
    out = BytesIO()
    sheet.save(out, "PNG", optimize=False)
    return out.getvalue()


def _frames(count: int) -> list[Frame]:
    if count < 2:
        return [Frame(620, 60, 520, 510)] * count
    return [Frame(620 + 265 * (at % 2), 60 + 260 * (at // 2), 255, 250) for at in range(count)]


def _draw(pen: ImageDraw.ImageDraw, summary: Summary, frame: Frame, words: PageWords) -> None:
    fit = Fit(_points(summary), frame, 34)
    right, bottom = frame.left + frame.width, frame.top + frame.height
    uprights, levels, step_m = fit.grid()
    for x in uprights:
        pen.line((x, frame.top, x, bottom), fill=HAIR)
    for y in levels:
        pen.line((frame.left, y, right, y), fill=HAIR)
    pen.rectangle((frame.left, frame.top, right, bottom), outline=INK, width=2)
    for track in summary.tracks:
        for piece in track:
            points = _seen(piece, fit)
            pen.line([*points, points[-1]], fill=INK, width=3 if frame.width > 300 else 2, joint="curve")
        if track:
            x, y = fit(track[-1][-1])
            pen.ellipse((x - 7, y - 7, x + 7, y + 7), fill=ACCENT)
    width = step_m * fit.pixels
    bar = bottom - 16
    pen.line([(frame.left + 12, bar - 6), (frame.left + 12, bar), (frame.left + 12 + width, bar),
              (frame.left + 12 + width, bar - 6)], fill=INK, width=2)  # fmt: skip
    pen.text((frame.left + 20 + width, bar - 16), length(step_m, words), fill=INK, font=_font(18))


@cache
def _font(size: int) -> ImageFont.FreeTypeFont:
    """Return the font that comes with a package, so that every machine draws the same: Latin, Greek, Cyrillic."""
    file = files(fontpkg_source_serif_4) / "files" / "SourceSerif4[opsz,wght].ttf"
    return ImageFont.truetype(BytesIO(file.read_bytes()), size, layout_engine=ImageFont.Layout.BASIC)


def _write(pen: ImageDraw.ImageDraw, at: tuple[float, float], lines: Sequence[str], size: int, ink: str) -> float:
    """Write lines below each other; return where the next one would begin."""
    y = at[1]
    for line in lines:
        pen.text((at[0], y), line, fill=ink, font=_font(size))
        y += size * 1.25
    return y


def _cut(text: str, size: int, width: float, most: int) -> list[str]:
    """Return a text in at most so many lines no wider than `width`."""
    return cut_lines(text, lambda part: _font(size).getlength(part) <= width, most)


def cut_lines(text: str, fits: Callable[[str], bool], most: int) -> list[str]:
    """Return a text in at most `most` lines that fit, what is left out told by a mark of omission.

    A word too long for a line is broken where it must be.
    """
    lines = [""]
    for word in text.split():
        if fits(f"{lines[-1]} {word}".strip()):
            lines[-1] = f"{lines[-1]} {word}".strip()
            continue
        lines.append("")
        for letter in word:
            lines[-1:] = [lines[-1] + letter] if fits(lines[-1] + letter) else [lines[-1], letter]
        if len(lines) > most + 1:
            break
    whole = [line for line in lines if line]
    if len(whole) <= most:
        return whole
    last = whole[most - 1]
    while last and not fits(f"{last}…"):
        last = last[:-1]
    return [*whole[: most - 1], f"{last.rstrip()}…"]
