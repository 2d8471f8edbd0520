"""The drawings of a dive's report, as SVG: a depth profile over time, and a plan with a grid and a scale bar.

Rules: pure; every text is escaped; no style, script, address or identity in them, so that they stand in a page with a
strict policy, twice if need be; a line is drawn in no more points than anybody could tell apart, however long the dive.
A vehicle is told by the form of its line, never by colour alone; a mark stands for a numbered line of the log.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor, hypot, inf, log10
from typing import NamedTuple
from xml.sax.saxutils import escape, quoteattr

PAPER, INK, SOFT, HAIR, ACCENT = "#f5f7f4", "#15242e", "#4c5c64", "#c3ced0", "#9c1458"
FORMS = (
    ("whole line", ""),
    ("dashed line", "7 4"),
    ("dotted line", "1.5 3"),
    ("line of dots and dashes", "8 3 1.5 3"),
)
LEAST_DEPTH_SPAN_M, LEAST_SPAN_M = 10.0, 40.0
_TIMES_S = (60, 120, 300, 600, 900, 1_800, 3_600, 7_200, 10_800, 21_600, 43_200, 86_400)
_SANS = 'font-family="sans-serif"'

Spot = tuple[float, float]


class Mark(NamedTuple):
    """A numbered mark of the log: where it stands, seconds of the dive and metres of the plan; None: nowhere there."""

    number: int
    at_s: float
    place: Spot | None = None


@dataclass(frozen=True, slots=True)
class Drawn:
    """One vehicle as it is drawn: unbroken pieces of (seconds, metres of depth), and of (metres right, metres up)."""

    name: str
    depths: Sequence[Sequence[Spot]]
    track: Sequence[Sequence[Spot]]


@dataclass(frozen=True, slots=True)
class Sheet:
    """The size of a drawing in pixels, and of its lettering."""

    width: int
    height: int
    size: int


WIDE, NARROW = Sheet(720, 400, 13), Sheet(330, 330, 12)


def form_of(vehicle: int) -> str:
    """Return in words how the line of a vehicle is drawn."""
    return FORMS[vehicle % len(FORMS)][0]


def _dashes(vehicle: int) -> str:
    dashes = FORMS[vehicle % len(FORMS)][1]
    return f' stroke-dasharray="{dashes}"' if dashes else ""


def clock(seconds: float) -> str:
    """Return a dive time as h:mm:ss."""
    whole = round(seconds)
    return f"{whole // 3_600}:{whole // 60 % 60:02d}:{whole % 60:02d}"


def metres(value: float) -> str:
    """Return a number of metres with no more digits than it needs."""
    return f"{_plain(value)} m"


def nice_step(span: float, most: int) -> float:
    """Return the least of 1, 2, 5, 10, 20, ... (also 0.1, 0.2, ...) of which at most `most` fit into a span."""
    least = span / most
    power = 10.0 ** floor(log10(least))
    return next(factor * power for factor in (1, 2, 5, 10) if factor * power >= least * (1 - 1e-9))


def _time_step(span_s: float, most: int) -> float:
    fitting = (step for step in _TIMES_S if span_s / step <= most)
    return next(fitting, _TIMES_S[-1] * ceil(span_s / most / _TIMES_S[-1]))


class _Profile:
    """Seconds and metres to pixels; deeper is further down."""

    def __init__(self, sheet: Sheet, span_s: float, depths_m: tuple[float, float]) -> None:
        self.sheet = sheet
        self.left, self.right = 4.2 * sheet.size, sheet.width - 1.2 * sheet.size
        self.top, self.bottom = 4.2 * sheet.size, sheet.height - 3.2 * sheet.size
        self.span_s = max(span_s, 1.0)
        low, high = depths_m
        step = nice_step(max(high - low, LEAST_DEPTH_SPAN_M), 6)
        self.low_m, self.step_m = floor(low / step) * step, step
        self.high_m = max(ceil(high / step) * step, self.low_m + step)

    def x(self, at_s: float) -> float:
        """Return where a moment stands."""
        return self.left + (self.right - self.left) * min(max(at_s / self.span_s, 0), 1)

    def y(self, depth_m: float) -> float:
        """Return where a depth stands."""
        return self.top + (self.bottom - self.top) * (depth_m - self.low_m) / (self.high_m - self.low_m)

    def __call__(self, spot: Spot) -> Spot:
        """Return where a moment and a depth stand."""
        return self.x(spot[0]), self.y(spot[1])


def profile_svg(vehicles: Sequence[Drawn], marks: Sequence[Mark], span_s: float, said: str, sheet: Sheet) -> str:
    """Return the depth profile: dive time to the right, depth downwards, the log's marks along the top.

    `said`: what it shows, for who can't see it.
    """
    depths_m = [depth_m for vehicle in vehicles for piece in vehicle.depths for _, depth_m in piece]
    to = _Profile(sheet, span_s, (min([0.0, *depths_m]), max([0.0, *depths_m])))
    parts = [
        *_profile_grid(to),
        *(_line(vehicle.depths, at, to) for at, vehicle in enumerate(vehicles)),
        *_time_marks(marks, to),
        f'<path d="M{to.left:.1f} {to.top:.1f}V{to.bottom:.1f}H{to.right:.1f}" fill="none" stroke="{INK}"/>',
    ]
    return _svg(sheet, said, parts)


def _profile_grid(to: _Profile) -> Iterator[str]:
    size = to.sheet.size
    for at in range(round((to.high_m - to.low_m) / to.step_m) + 1):
        depth_m = to.low_m + at * to.step_m
        y = to.y(depth_m)
        yield f'<path d="M{to.left:.1f} {y:.1f}H{to.right:.1f}" stroke="{HAIR}"/>'
        yield _text(to.left - 0.4 * size, y + 0.35 * size, _plain(depth_m), size, "end")
    step_s = _time_step(to.span_s, max(2, int((to.right - to.left) / (4.2 * size))))
    for at in range(int(to.span_s / step_s) + 1):
        x = to.x(at * step_s)
        yield f'<path d="M{x:.1f} {to.bottom:.1f}v{0.4 * size:.1f}" stroke="{INK}"/>'
        whole = int(at * step_s)
        yield _text(x, to.bottom + 1.5 * size, f"{whole // 3_600}:{whole // 60 % 60:02d}", size, "middle")
    yield _text(to.right, to.sheet.height - 0.3 * size, "dive time, h:min", size, "end", SOFT)
    yield _text(0.2 * size, to.top - 0.7 * size, "depth, m", size, "start", SOFT)


def _plain(value: float) -> str:
    return f"{value + 0:,.2f}".rstrip("0").rstrip(".")  # 0 is added for -0.0


def _time_marks(marks: Sequence[Mark], to: _Profile) -> Iterator[str]:
    """Yield a stroke for each mark, and its number in one of two rows where there is room for it."""
    size = to.sheet.size
    free_from = [-inf, -inf]
    for mark in marks:
        x = to.x(mark.at_s)
        yield f'<path d="M{x:.1f} {to.top:.1f}v{-0.5 * size:.1f}" stroke="{ACCENT}"/>'
        width = 0.6 * size * len(str(mark.number))
        for row, edge in enumerate(free_from):
            if x - width / 2 > edge + 0.3 * size and x - width / 2 > 5 * size * (row == 0):
                free_from[row] = x + width / 2
                yield _text(x, to.top - (0.8 + 1.2 * row) * size, str(mark.number), size, "middle", ACCENT)
                break


class _Plan:
    """Metres to pixels: all of it in the middle of the sheet, the frame's up upwards."""

    def __init__(self, sheet: Sheet, spots: Sequence[Spot]) -> None:
        self.sheet = sheet
        rights, ups = [spot[0] for spot in spots], [spot[1] for spot in spots]
        self._middle_m = (min(rights) + max(rights)) / 2, (min(ups) + max(ups)) / 2
        spans_m = max(max(rights) - min(rights), LEAST_SPAN_M), max(max(ups) - min(ups), LEAST_SPAN_M)
        margin = 2.4 * sheet.size
        self.pixels = min((sheet.width - 2 * margin) / spans_m[0], (sheet.height - 3 * margin) / spans_m[1])
        self._middle = sheet.width / 2, (sheet.height - margin) / 2

    def __call__(self, spot: Spot) -> Spot:
        """Return where a spot lies on the sheet."""
        right_m, up_m = spot[0] - self._middle_m[0], spot[1] - self._middle_m[1]
        return self._middle[0] + right_m * self.pixels, self._middle[1] - up_m * self.pixels


def plan_svg(vehicles: Sequence[Drawn], marks: Sequence[Mark], said: str, sheet: Sheet) -> str:
    """Return the plan of the tracks with the log's marks where they were made; it has at least one spot."""
    spots = [spot for vehicle in vehicles for piece in vehicle.track for spot in piece]
    placed = [mark for mark in marks if mark.place is not None]
    to = _Plan(sheet, [*spots, *(mark.place for mark in placed if mark.place is not None)])
    step_m = nice_step(sheet.width / to.pixels, 6)
    parts = [
        *_plan_grid(to, step_m),
        *(_line(vehicle.track, at, to) for at, vehicle in enumerate(vehicles)),
        *_ends(vehicles, to),
        *_place_marks(placed, to),
        *_scale_bar(to, step_m),
        f'<rect x="0.5" y="0.5" width="{sheet.width - 1}" height="{sheet.height - 1}" fill="none" stroke="{INK}"/>',
    ]
    return _svg(sheet, said, parts)


def _plan_grid(to: _Plan, step_m: float) -> Iterator[str]:
    x0, y0 = to((0.0, 0.0))
    step, path = step_m * to.pixels, list[str]()
    path += [f"M{x:.1f} 0V{to.sheet.height}" for x in _every(x0, step, to.sheet.width)]
    path += [f"M0 {y:.1f}H{to.sheet.width}" for y in _every(y0, step, to.sheet.height)]
    yield f'<path d="{"".join(path)}" stroke="{HAIR}"/>'


def _every(origin: float, step: float, span: float) -> Iterator[float]:
    first = ceil(-origin / step)
    for at in range(first, floor((span - origin) / step) + 1):
        yield origin + at * step


def _ends(vehicles: Sequence[Drawn], to: _Plan) -> Iterator[str]:
    """Yield a ring where each track begins, and a dot where it ends."""
    for vehicle in vehicles:
        if any(vehicle.track):
            first, last = to(vehicle.track[0][0]), to(vehicle.track[-1][-1])
            yield f'<circle cx="{first[0]:.1f}" cy="{first[1]:.1f}" r="4" fill="none" stroke="{INK}"/>'
            yield f'<circle cx="{last[0]:.1f}" cy="{last[1]:.1f}" r="3.5" fill="{INK}"/>'


@dataclass(slots=True)
class _Label:
    """Numbers that share a label, and where on the sheet it stands: its left end and its base line."""

    numbers: list[int]
    x: float
    y: float

    def lies_on(self, other: "_Label", size: int) -> bool:
        """Whether it would be written over another."""
        left, right = (self, other) if self.x <= other.x else (other, self)
        return abs(self.y - other.y) < size and right.x < left.x + _width(runs(left.numbers), size) + 0.3 * size


def _width(text: str, size: int) -> float:
    return 0.6 * size * len(text)  # of the digits of a sans-serif letter, from memory; a little more than most need


def _place_marks(marks: Sequence[Mark], to: _Plan) -> Iterator[str]:
    """Yield a cross for each mark, and its number beside it; numbers that would lie on each other share a label."""
    size = to.sheet.size
    labels = list[_Label]()
    for mark in marks:
        assert mark.place is not None
        x, y = to(mark.place)
        yield f'<path d="M{x - 3:.1f} {y:.1f}h6m-3 -3v6" stroke="{ACCENT}" stroke-width="1.5"/>'
        new = _Label([mark.number], min(x + 5, to.sheet.width - _width(str(mark.number), size) - 2), y - 4)
        while (under := next((label for label in labels if label.lies_on(new, size)), None)) is not None:
            labels.remove(under)
            new = _Label(sorted([*under.numbers, *new.numbers]), under.x, under.y)
            new.x = max(2.0, min(new.x, to.sheet.width - _width(runs(new.numbers), size) - 2))
        labels.append(new)
    for label in labels:
        yield _text(label.x, label.y, runs(label.numbers), size, "start", ACCENT)


def runs(numbers: Iterable[int]) -> str:
    """Return numbers as `1, 3–5`."""
    spans: list[list[int]] = []
    for number in numbers:
        if spans and number == spans[-1][1] + 1:
            spans[-1][1] = number
        else:
            spans.append([number, number])
    return ", ".join(str(first) if first == last else f"{first}–{last}" for first, last in spans)


def _scale_bar(to: _Plan, step_m: float) -> Iterator[str]:
    size, y = to.sheet.size, to.sheet.height - 1.2 * to.sheet.size
    width = step_m * to.pixels
    yield f'<path d="M{size} {y - 5:.1f}v5h{width:.1f}v-5" fill="none" stroke="{INK}" stroke-width="1.5"/>'
    yield _text(1.6 * size + width, y, metres(step_m), size, "start")


def _line(pieces: Sequence[Sequence[Spot]], vehicle: int, to: _Profile | _Plan) -> str:
    path = "".join(_path(list(_seen(map(to, piece)))) for piece in pieces if piece)
    if not path:
        return ""
    return f'<path d="{path}" fill="none" stroke="{INK}" stroke-width="1.5" stroke-linecap="round"{_dashes(vehicle)}/>'


def _seen(spots: Iterable[Spot]) -> Iterator[Spot]:
    """Yield the spots of a piece but those that nobody could tell from the last one; its end is kept."""
    last, left = None, None
    for spot in spots:
        if last is None or hypot(spot[0] - last[0], spot[1] - last[1]) >= 0.7:
            yield spot
            last, left = spot, None
        else:
            left = spot
    if left is not None:
        yield left


def _path(spots: Sequence[Spot]) -> str:
    first, *rest = spots
    return f"M{first[0]:.1f} {first[1]:.1f}" + "".join(f"L{x:.1f} {y:.1f}" for x, y in rest or [first])


def _text(x: float, y: float, text: str, size: int, anchor: str, ink: str = INK) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" {_SANS} font-size="{size}" text-anchor="{anchor}" fill="{ink}" '
        f'stroke="{PAPER}" stroke-width="3" stroke-linejoin="round" paint-order="stroke">'
        f"{escape(text)}</text>"
    )


def _svg(sheet: Sheet, said: str, parts: Iterable[str]) -> str:
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {sheet.width} {sheet.height}" width="{sheet.width}" '
        f'height="{sheet.height}" role="img" aria-label={quoteattr(said)}>'
    )
    return "\n".join([head, *(part for part in parts if part), "</svg>"])
