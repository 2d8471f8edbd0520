"""Positions read out of texts: where a text that tells a place puts it, in degrees.

Rules: what is read is what `core.place_in_text` finds, and any two long numbers side by side besides; a reading outside
the chart is left out; half a position (one axis) is none. Sources: UTM by PROJ (EPSG 32601 to 32760) and Web
Mercator (EPSG 3857); the letters of NGA.SIG.0012 for the military grid, the open location code specification, the
base-32 letters of geohashes and the locator's letters, all from memory and held against libraries in the tests.
"""

import re
from collections.abc import Iterator
from functools import lru_cache
from itertools import pairwise, product
from math import degrees, pi
from typing import NamedTuple

from pyproj import Transformer

from relay.audit.charts.chart import Chart
from relay.core.place_angles import Angle, in_range, read_angles, with_hemisphere
from relay.core.place_fold import fold
from relay.core.place_in_text import find_places
from relay.core.place_tokens import Kind, Token, tokenize
from relay.core.place_words import Axis


class Reading(NamedTuple):
    """A place that a text was read as, degrees, and by how much the notation's last figure leaves it open, metres."""

    latitude_deg: float
    longitude_deg: float
    within_m: float


_GRID = re.compile(
    r"(?:(?P<zone>\d{1,2})\s?(?P<band>[c-hj-np-x])\b)?\D{0,9}?(?P<east>\d{6}(?:\.\d+)?)\D{1,14}(?P<north>\d{6,7}(?:\.\d+)?)",
    re.IGNORECASE,
)
_NORTH_FIRST = re.compile(
    r"(?:(?P<zone>\d{1,2})\s?(?P<band>[c-hj-np-x])\b)?\D{0,9}?(?P<north>\d{6,7}(?:\.\d+)?)\D{1,14}(?P<east>\d{6}(?:\.\d+)?)",
    re.IGNORECASE,
)
_THOUSANDS = re.compile(r"(?<=\d)[ ,.'](?=\d{3}(?!\d))")
_WORLD = re.compile(r"(?P<x>-?\d{6,8}(?:\.\d+)?)[\s,;:/|]{1,3}(?P<y>-?\d{6,8}(?:\.\d+)?)")
_WHOLE = re.compile(r"(?<!\d)(-?\d{6,10})[\s,;:/|]{1,3}(-?\d{6,10})(?!\d)")
_SCALES = (1e7, 1e6, 1e5, 6e5, 3.6e6)  # degrees as instruments count them: also 1e-4 minutes, milliseconds of arc
_MILITARY = re.compile(r"(\d{1,2})([C-HJ-NP-X])([A-HJ-NP-Z])([A-HJ-NP-V])(\d{4,10})")
_PLUS = re.compile(r"([2-9CFGHJMPQRVWX]{2,8})\+([2-9CFGHJMPQRVWX]{2,7})?")
_LOCATOR = re.compile(r"([A-R])([A-R])(\d)(\d)([A-X])([A-X])(?:(\d)(\d)(?:([A-X])([A-X]))?)?")
_HASH = re.compile(r"(?<![A-Z0-9])[0-9B-HJKMNP-Z]{5,12}(?![A-Z0-9])")
_WEST = frozenset("w west western westward ouest oeste westen westlich westliche westlicher whiskey whisky".split())
METRES_A_DEGREE = 111_320.0  # of latitude, at the most; WGS 84's equator by 360
_BASE_32 = "0123456789BCDEFGHJKMNPQRSTUVWXYZ"
_BASE_20 = "23456789CFGHJMPQRVWX"
_BANDS = "CDEFGHJKLMNPQRSTUVWX"
_COLUMNS, _ROWS = "ABCDEFGHJKLMNPQRSTUVWXYZ", "ABCDEFGHJKLMNPQRSTUV"


def places_in(text: str, chart: Chart) -> list[Reading]:
    """Return the places on the chart that a text tells, each once, the finest first."""
    found = find_places(text)
    pieces = [finding.excerpt for finding in found]
    # An axis each belong together, and a finding may end before its notation does: read on, too.
    if found:
        pieces += [text[found[0].start : found[-1].end], text[found[0].start :]]
    # Two long numbers side by side are read whatever the finder makes of them: an outsider tries them on the chart.
    here = {reading for reading in grid_places(fold(text).text, chart) if chart.index(*reading[:2]) is not None}
    for piece in pieces:
        here |= {reading for reading in read_piece(piece, chart) if chart.index(*reading[:2]) is not None}
        if here:
            break
    return sorted(here, key=lambda reading: reading.within_m)


def read_piece(piece: str, chart: Chart) -> Iterator[Reading]:
    """Yield every reading of a piece of text as a position, in whichever notation."""
    folded = fold(piece)
    yield from _degrees(tokenize(folded))
    packed = re.sub(r"[\s,./-]", "", folded.text).upper()
    yield from grid_places(folded.text, chart)
    yield from _military(packed)
    yield from code_places(folded.text, packed, chart)


class _Axis(NamedTuple):
    value_deg: float
    axis: Axis | None
    signed: bool
    step_deg: float


def _degrees(tokens: list[Token]) -> Iterator[Reading]:
    """Yield pairs of angles: as their hemispheres say, else latitude first, longitude first, and with any sign."""
    for one, other in pairwise(list(_angles(tokens))):
        if one.axis is not None and one.axis is other.axis:
            continue
        bare = one.axis is None or other.axis is None  # a letter between two numbers may belong to either
        within_m = max(one.step_deg, other.step_deg) * METRES_A_DEGREE / 2
        for first, second in product(_signs(one, bare), _signs(other, bare)):
            if bare or (other.axis is not Axis.LATITUDE and one.axis is not Axis.LONGITUDE):
                yield Reading(first, second, within_m)
            if bare or other.axis is Axis.LATITUDE or one.axis is Axis.LONGITUDE:
                yield Reading(second, first, within_m)
            if bare and abs(first) < pi and abs(second) < pi:
                yield Reading(degrees(first), degrees(second), degrees(within_m))


def _signs(angle: _Axis, bare: bool) -> tuple[float, ...]:
    return (angle.value_deg, -angle.value_deg) if bare and not angle.signed else (angle.value_deg,)


def _angles(tokens: list[Token]) -> Iterator[_Axis]:
    """Yield angles; what one has taken, its hemisphere too, the next can't."""
    at = 0
    while at < len(tokens):
        if tokens[at].kind is Kind.NUMBER:
            bare = read_angles(tokens, at)
            readings = [*(with_hemisphere(tokens, angle) for angle in bare), *bare]
            angle = next((angle for angle in readings if in_range(angle)), None)
            if angle is not None:
                value, step = _value(angle)
                minus = _is_minus(tokens, angle)
                yield _Axis(-value if minus else value, angle.axis, angle.signed, step)
                tokens, at = tokens[max(angle.last, at + 1) :], -1
        at += 1


def _value(angle: Angle) -> tuple[float, float]:
    """Return the degrees of an angle without its sign, and what its last figure stands for."""
    parts, whole = [part.value for part in angle.parts], angle.parts[0].whole
    if len(parts) == 1 and len(whole) > 3:  # DDMM.m, DDDMM.m, DDMMSS
        short = len(whole) < 6
        cut = [int(whole[:-2])] if short else [int(whole[:-4]), int(whole[-4:-2])]
        parts = [*map(float, cut), parts[0] - int(whole) + int(whole[-2:])]
    step = 60.0 ** (1 - len(parts)) / 10**angle.decimals
    return float(sum(part / 60**at for at, part in enumerate(parts))), step


def _is_minus(tokens: list[Token], angle: Angle) -> bool:
    if angle.axis is not None:
        word = tokens[angle.hemisphere_at].text
        return word[0] == "s" if angle.axis is Axis.LATITUDE else word in _WEST
    return angle.signed and tokens[angle.first].text == "-"


def grid_places(text: str, chart: Chart) -> Iterator[Reading]:
    """Yield readings as UTM metres (in the chart's zone where none is told), world-map metres, and counted degrees."""
    middle = float(chart.longitude_deg[len(chart.longitude_deg) // 2])
    whole = _THOUSANDS.sub("", text)
    for match in (*_GRID.finditer(whole), *_NORTH_FIRST.finditer(whole)):
        zone = int(match["zone"] or int((middle + 180) % 360 // 6) + 1)
        north = match["band"] is None or match["band"].upper() >= "N"
        for hemisphere in (north,) if match["band"] else (True, False):
            yield from _utm(zone, hemisphere, float(match["east"]), float(match["north"]))
    for match in _WORLD.finditer(text):
        yield from _in_order(3857, float(match["x"]), float(match["y"]), 0.5)
    for match in _WHOLE.finditer(text):
        for scale in _SCALES:
            yield Reading(int(match[1]) / scale, int(match[2]) / scale, METRES_A_DEGREE / scale)


def _utm(zone: int, north: bool, east_m: float, north_m: float, within_m: float = 0.5) -> Iterator[Reading]:
    if 1 <= zone <= 60:
        yield from _in_order((32600 if north else 32700) + zone, east_m, north_m, within_m)


@lru_cache(maxsize=128)
def _to_degrees(code: int) -> Transformer:
    return Transformer.from_crs(code, 4326)


def _in_order(code: int, x: float, y: float, within_m: float) -> Iterator[Reading]:
    latitude, longitude = _to_degrees(code).transform(x, y)
    if abs(latitude) <= 90 and abs(longitude) <= 180:
        yield Reading(latitude, longitude, within_m)


def _military(packed: str) -> Iterator[Reading]:
    for match in _MILITARY.finditer(packed):
        zone, figures = int(match[1]), match[5][: len(match[5]) // 2 * 2]
        half = len(figures) // 2
        unit = 10 ** (5 - half)
        across = (_COLUMNS.index(match[3]) - (zone - 1) % 3 * 8) % 24 + 1
        row = (_ROWS.index(match[4]) - (0 if zone % 2 else 5)) % 20
        east_m = across * 100_000 + (int(figures[:half]) + 0.5) * unit
        if not (1 <= across <= 8 and 1 <= zone <= 60):
            continue
        band = -80 + 8 * _BANDS.index(match[2])
        for turn in range(5):  # row letters come again every 2,000 km: the band tells which
            north_m = turn * 2_000_000 + row * 100_000 + (int(figures[half:]) + 0.5) * unit
            for place in _utm(zone, band >= 0, east_m, north_m, unit / 2):
                if band - 1 <= place.latitude_deg <= band + 13:
                    yield place


def code_places(text: str, packed: str, chart: Chart) -> Iterator[Reading]:
    """Yield readings as plus codes (cut ones completed about the chart), locators and geohashes."""
    for match in _PLUS.finditer(packed):
        yield from _plus_code(match[1], match[2] or "", chart)
    for match in _LOCATOR.finditer(packed):
        yield _locator([part for part in match.groups() if part])
    for match in _HASH.finditer(text.upper()):
        yield _geohash(match[0])


def _plus_code(head: str, tail: str, chart: Chart) -> Iterator[Reading]:
    """Complete a code with every beginning that the chart's cells may have, a square of degrees at a time."""
    if len(head) % 2:
        return
    heads = {head} if len(head) == 8 else {f"{start[: 8 - len(head)]}{head}" for start in _starts(chart)}
    for whole in heads:
        digits = [_BASE_20.index(letter) for letter in (whole + tail)[:10]]
        size, last, latitude, longitude = 20.0, 20.0, -90.0, -180.0
        for down, across in zip(digits[::2], digits[1::2], strict=False):
            latitude, longitude, last = latitude + down * size, longitude + across * size, size
            size /= 20
        yield Reading(latitude + last / 2, longitude + last / 2, last / 2 * METRES_A_DEGREE)


def _starts(chart: Chart) -> set[str]:
    """Return the plus codes' first eight digits of the chart, at a twentieth of a degree and coarser."""
    starts = set[str]()
    for latitude in _steps(float(chart.latitude_deg[0]), float(chart.latitude_deg[-1])):
        for longitude in _steps(float(chart.longitude_deg[0]), float(chart.longitude_deg[-1])):
            up, over, code = latitude + 90, (longitude + 180) % 360, ""
            for size in (20.0, 1.0, 0.05):
                code += _BASE_20[min(19, int(up / size))] + _BASE_20[min(19, int(over / size))]
                up, over = up % size, over % size
            starts.add(code)
    return starts


def _steps(first: float, last: float) -> list[float]:
    count = min(400, int((last - first) / 0.05) + 2)
    return [first + at * 0.05 for at in range(count)]


def _locator(parts: list[str]) -> Reading:
    size, at = [20.0, 10.0], [-180.0, -90.0]
    for number, part in enumerate(parts):
        axis, pair = number % 2, number // 2
        index = int(part) if part.isdigit() else ord(part) - ord("A")
        if axis == 0 and pair:
            divide = 10 if pair % 2 else 24
            size = [size[0] / divide, size[1] / divide]
        at[axis] += index * size[axis]
    return Reading(at[1] + size[1] / 2, at[0] + size[0] / 2, size[0] / 2 * METRES_A_DEGREE)


def _geohash(code: str) -> Reading:
    bounds = [[-180.0, 180.0], [-90.0, 90.0]]
    bits = "".join(f"{_BASE_32.index(letter):05b}" for letter in code)
    for number, bit in enumerate(bits):
        low, high = bounds[number % 2]
        bounds[number % 2] = [(low + high) / 2, high] if bit == "1" else [low, (low + high) / 2]
    within_deg = max(high - low for low, high in bounds) / 2
    return Reading(sum(bounds[1]) / 2, sum(bounds[0]) / 2, within_deg * METRES_A_DEGREE)
