"""A scanner for what must never leave: positions in every notation and encoding, secrets, moments, names.

Rules: it knows nothing of how Offing writes anything; conversions are those of general-purpose libraries (pyproj,
utm, mgrs, openlocationcode, pygeohash, maidenhead, msgpack, numpy). A position counts as told if what stands there,
read in some notation, lies within `REACH_M` of a canary on one axis: half a position halves the search already. Four
raw bytes alone are too few for that, as any four bytes read like something near somewhere once in ten thousand
times: there both axes must stand within `TOGETHER` bytes, unless MessagePack says that a number is one.

Eight raw octets read like something near about once in a megabyte, and in a day's megabytes of MessagePack that is no
find: one such was three whole numbers and a nil. So where the whole of what is looked at is lists and maps, and the
eight octets of a float are those of more than one value in them, one axis tells a position only to `EXACT_M`, and to
`REACH_M` only with the other within `TOGETHER` bytes. What this lets pass is one axis alone, rounded, whose octets
somebody wrote where a message's own values stand, with the message whole and its lists as long as they say: nobody
writes a float so. Within one value (a text, a bin, a message in a bin), in whatever is no message, and where a message
breaks off or goes wrong anywhere, eight octets tell to `REACH_M` alone.

Octets of several values are moments of every day once in a while: the number of a dive and that of its record (01 cd 07
6b) are one of 2026-11-26 in seconds, the number of a record and what is behind it (18 ec 01 cd 18 82 92 9a) one of the
day after in nanoseconds. So a moment, too, is told by the octets of one value alone, as far as a message is whole.
"""

import base64
import contextlib
import html
import itertools
import math
import re
from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from urllib.parse import unquote_to_bytes

import maidenhead
import mgrs
import msgpack
import numpy
import pygeohash
import utm
from openlocationcode import openlocationcode
from pyproj import Transformer

from canary_messages import is_in_one_value

REACH_M = 100.0
EXACT_M = 1e-3
TOGETHER = 16
ABOUT_S = 31.0  # half a minute, the steps in which `never_told.py` gives moments, and a second for what is rounded
BETWEEN = b" -"  # what codes are told with and without: they are compared in capitals, without these
SMALL = 65_536  # a whole number below tells no position to 100 m that is a degree from the equator and from Greenwich
METRES_A_DEGREE = 111_320.0  # WGS 84's equator by 360: a little long elsewhere, which makes the reach a little short
_MERCATOR = Transformer.from_crs(4326, 3857, always_xy=True)


@dataclass(frozen=True, slots=True)
class Sighting:
    """Something that must not be there: what it was read as, and the bytes about it."""

    what: str
    at: int
    excerpt: bytes


class Values:
    """Numbers to look for, of either sign: each stands for everything within `reach` of it."""

    def __init__(self, values: Sequence[float], reach: float) -> None:
        self.values, self.reach = numpy.unique(numpy.abs(numpy.asarray(values, dtype=numpy.float64))), reach
        self.spans = numpy.stack([self.values - reach, self.values + reach])
        self._sorted: list[float] = self.values.tolist()

    def has(self, number: float) -> bool:
        """Say if a number is near one of these: the nearest is one of the two that it lies between."""
        size = abs(number)
        at = bisect_left(self._sorted, size)
        return any(abs(value - size) <= self.reach for value in self._sorted[max(0, at - 1) : at + 1])


class Spans:
    """The values of several families together, for a first look at many numbers at once."""

    def __init__(self, families: "Families") -> None:
        low, high = numpy.concatenate([values.spans for values in families.values()], axis=1)
        order = numpy.argsort(low)
        self._low, self._high = low[order], numpy.maximum.accumulate(high[order])

    def hits(self, numbers: numpy.ndarray) -> numpy.ndarray:
        """Return the places in `numbers` of those that may be near a value; all that are, are among them."""
        size = numpy.abs(numbers)
        at = numpy.searchsorted(self._low, size, side="right") - 1
        (found,) = numpy.nonzero((at >= 0) & (size <= self._high[numpy.maximum(at, 0)]))
        return found


Families = dict[str, Values]
_SCALES = {"1e-7 degrees": 1e7, "1e-6 degrees": 1e6, "1e-5 degrees": 1e5, "1e-4 minutes": 6e5,
           "milliseconds of arc": 3.6e6}  # fmt: skip


def _axes(positions: Sequence[tuple[float, float]]) -> tuple[Families, Families, Families]:
    """Return degrees, radians and plane metres of positions (latitude, longitude), latitudes and longitudes apart."""
    latitudes, longitudes = [place[0] for place in positions], [place[1] for place in positions]
    narrow = min(math.cos(math.radians(latitude)) for latitude in latitudes)
    reach = {"latitude": REACH_M / METRES_A_DEGREE, "longitude": REACH_M / METRES_A_DEGREE / narrow}
    degrees = {"latitude": Values(latitudes, reach["latitude"]), "longitude": Values(longitudes, reach["longitude"])}
    radians = {
        f"{axis} in radians": Values([math.radians(value) for value in values], math.radians(reach[axis]))
        for axis, values in (("latitude", latitudes), ("longitude", longitudes))
    }
    grid = [utm.from_latlon(*place)[:2] for place in positions]
    mercator = [_MERCATOR.transform(longitude, latitude) for latitude, longitude in positions]
    planes = {
        f"{name} metres": Values([pair[axis] for pair in pairs], REACH_M)
        for pairs, names in ((grid, ("UTM east", "UTM north")), (mercator, ("Mercator x", "Mercator y")))
        for axis, name in enumerate(names)
    }
    return degrees, radians, planes


def _exact(positions: Sequence[tuple[float, float]]) -> Families:
    """Return what `_axes` does, each value for what is within `EXACT_M` of it alone."""
    degrees, radians, planes = _axes(positions)
    angle = EXACT_M / METRES_A_DEGREE
    reaches = (degrees, angle), (radians, math.radians(angle)), (planes, EXACT_M)
    return {what: Values(near.values, reach) for families, reach in reaches for what, near in families.items()}


_PLUS = "[2-9CFGHJMPQRVWX]"
_MGRS_CODE = re.compile(r"(?=(\d{1,2}[C-HJ-NP-X][A-HJ-NP-Z][A-HJ-NP-V])(\d{6,10}))")
_PLUS_CODE = re.compile(rf"(?=({_PLUS}{{4,8}}\+{_PLUS}{{2,3}}))")
_LOCATOR = re.compile(r"(?=([A-R]{2}\d\d[A-X]{2}\d\d[A-X]{2}))")


def _mgrs_places(match: re.Match[str], _: tuple[float, float]) -> Iterator[tuple[float, float]]:
    for each in range(3, len(match[2]) // 2 + 1):
        # Figures are cut, not rounded: a five behind them is the middle of the square they name.
        east, north = (f"{match[2][at : at + each]}5"[:5] for at in (0, each))
        with contextlib.suppress(mgrs.core.MGRSError, RuntimeWarning):
            yield mgrs.MGRS().toLatLon(f"{match[1]}{east}{north}")


def _plus_places(match: re.Match[str], nearest: tuple[float, float]) -> Iterator[tuple[float, float]]:
    head, _, tail = match[1].partition("+")
    for size in range(4, len(head) + 1, 2):
        area = openlocationcode.decode(openlocationcode.recoverNearest(f"{head[-size:]}+{tail}", *nearest))
        yield area.latitudeCenter, area.longitudeCenter


def _locator_places(match: re.Match[str], _: tuple[float, float]) -> Iterator[tuple[float, float]]:
    yield maidenhead.to_location(match[1], center=True)


_CODES = {"MGRS": (_MGRS_CODE, _mgrs_places), "plus code": (_PLUS_CODE, _plus_places),
          "Maidenhead locator": (_LOCATOR, _locator_places)}  # fmt: skip


_GEOHASH_SIZE = 7


def _geohashes(positions: Sequence[tuple[float, float]]) -> tuple[re.Pattern[str], set[str]]:
    """Return the squares of about 150 m that positions and their surroundings are in, in capitals, and a first look."""
    step = REACH_M / METRES_A_DEGREE
    around = [
        (latitude + north * step, longitude + east * step / math.cos(math.radians(latitude)))
        for latitude, longitude in positions
        for north, east in itertools.product((-1, 0, 1), repeat=2)
    ]
    squares = {pygeohash.encode(*place, precision=_GEOHASH_SIZE).upper() for place in around}
    heads = "|".join(sorted({square[:4] for square in squares}))
    return re.compile(rf"(?=((?:{heads})[0-9B-HJKMNP-Z]{{{_GEOHASH_SIZE - 4}}}))"), squares


_DECIMAL = re.compile(r"(?<![\d.,])\d{1,3}[.,]\d{3,17}(?!\d)")
_MINUTES = re.compile(r"(?=(?<!\d)(\d{1,3})\D{1,16}(\d{1,2}[.,]\d{1,9})(?!\d))")
_SECONDS = re.compile(r"(?=(?<!\d)(\d{1,3})\D{1,16}(\d{1,2})\D{1,16}(\d{1,2}(?:[.,]\d{1,9})?)(?!\d))")
_TOGETHER = re.compile(r"(?<!\d)(\d{2,3})(\d{2}[.,]\d{1,9})(?!\d)")
_LONG = re.compile(r"(?<![\w.,])\d{1,3}(?:[ ,.']?\d{3}){1,3}(?:[.,]\d{1,6})?(?![\w])")
_WHOLE = re.compile(r"(?<![\w.])\d{5,19}(?![\w.])")


def _number(text: str) -> float:
    return float(text.replace(",", "."))


class Scanner:
    """Finds canaries in bytes: `positions` (latitude, longitude; degrees), moments of the wall clock (Unix).

    `exact`: every position, where `positions` are one for all that lie together. `moments_s`: all from the first to
    the last; or `about_s`: all within `ABOUT_S` of one of these, which is half a minute and a second.
    `secrets`: numbers that must not stand anywhere to six figures. `words`: texts and bytes that must not stand
    anywhere, by what they are.
    """

    def __init__(
        self,
        positions: Sequence[tuple[float, float]],
        *,
        exact: Sequence[tuple[float, float]] | None = None,
        moments_s: tuple[float, float] | None = None,
        about_s: Sequence[float] = (),
        secrets: dict[str, float] | None = None,
        words: dict[str, str | bytes] | None = None,
    ) -> None:
        if min(abs(value) for place in positions for value in place) < 1:
            raise ValueError("canaries live a degree or more from the equator and from Greenwich")
        self._degrees, radians, planes = _axes(positions)
        self._floats = {**self._degrees, **radians, **planes}
        self._integers = {
            f"{axis} in {unit}": Values(values.values * scale, values.reach * scale)
            for axis, values in self._degrees.items()
            for unit, scale in _SCALES.items()
        } | planes
        self._moments = _moments(about_s, ABOUT_S) if about_s else {}
        if moments_s is not None:
            self._moments = _moments([sum(moments_s) / 2], (moments_s[1] - moments_s[0]) / 2 + 1)
        self._secrets = {name: Values([value], abs(value) * 1e-6) for name, value in (secrets or {}).items()}
        self._sure = {**_exact(exact or positions), **self._secrets}
        self._nearest = positions[0]
        self._square, self._squares = _geohashes(positions)
        floats = {**self._floats, **self._secrets}
        families = {
            "f4": floats,
            "f8": {**floats, **self._moments},
            "i4": {**self._integers, **_only(self._moments, "in s")},
            "i8": {**self._integers, **self._moments},
        }
        self._kinds = [
            (numpy.dtype(order + kind), wanted, Spans(wanted)) for kind, wanted in families.items() for order in "<>"
        ]
        self._numbers = {**floats, **self._integers, **self._moments}
        self._words = {what: _spellings(word) for what, word in (words or {}).items()}

    def find(self, data: bytes) -> list[Sighting]:
        """Return everything in `data` that must not be there."""
        found = [*self._in_text(data), *self._in_binary(data), *self._in_words(data), *self._in_messages(data)]
        for plain in _unescaped(data) - {data}:
            found += self._in_text(plain)
        return found

    def _in_words(self, data: bytes) -> Iterator[Sighting]:
        lower = data.lower()
        for what, spellings in self._words.items():
            for spelling in spellings:
                at = lower.find(spelling.lower())
                if at >= 0:
                    yield _sighting(what, data, at)

    def _in_text(self, data: bytes) -> Iterator[Sighting]:
        text = data.decode("latin-1")
        for what, pattern, read in self._readings():
            for match in pattern.finditer(text):
                named = read(match)
                if named is not None:
                    yield _sighting(f"{named}, {what}", data, match.start())
        for what, at in self._coded(data.translate(None, BETWEEN).upper().decode("latin-1")):
            yield _sighting(what, data, _place(data, at))

    def _coded(self, packed: str) -> Iterator[tuple[str, int]]:
        for match in self._square.finditer(packed):
            if match[1] in self._squares:
                yield "geohash", match.start()
        for what, (pattern, read) in _CODES.items():
            for match in pattern.finditer(packed):
                if any(all(map(Values.has, self._degrees.values(), place)) for place in read(match, self._nearest)):
                    yield what, match.start()

    def _readings(self) -> Iterator[tuple[str, re.Pattern[str], Callable[[re.Match[str]], str | None]]]:
        degrees, exact = self._degrees, {**self._secrets, **_only(self._floats, "radians")}
        yield "decimal degrees", _DECIMAL, lambda match: _named(degrees, _number(match[0]))
        yield "degrees and minutes", _MINUTES, lambda match: _named(degrees, int(match[1]) + _number(match[2]) / 60)
        yield (
            "degrees, minutes, seconds",
            _SECONDS,
            lambda match: _named(degrees, int(match[1]) + int(match[2]) / 60 + _number(match[3]) / 3600),
        )
        yield "ddmm.mmmm", _TOGETHER, lambda match: _named(degrees, int(match[1]) + _number(match[2]) / 60)
        yield "metres", _LONG, lambda match: _named(_only(self._floats, "metres"), _metres(match[0]))
        yield "whole number", _WHOLE, lambda match: _named({**self._integers, **self._moments}, float(match[0]))
        yield (
            "number",
            re.compile(r"\d{1,12}[.,]\d{3,17}"),
            lambda match: _named({**exact, **self._moments}, _number(match[0])),
        )

    def _in_binary(self, data: bytes) -> Iterator[Sighting]:
        for kind, families, spans in self._kinds:
            found = list(_in_array(data, kind, families, spans))
            for what, at in [each for each in found if self._tells(data, kind, *each, found)]:
                yield _sighting(f"{what}, {kind.str}", data, at)

    def _tells(self, data: bytes, kind: numpy.dtype, what: str, at: int, found: list[tuple[str, int]]) -> bool:
        """Say if what octets were read as tells something, and wasn't made by chance."""
        if what in self._moments:
            return is_in_one_value(data, at, kind.itemsize)
        if _has_partner(what, at, found) or (kind.itemsize == 8 and kind.kind == "i"):
            return True
        return kind.itemsize == 8 and self._is_alone(data, kind, at)

    def _is_alone(self, data: bytes, kind: numpy.dtype, at: int) -> bool:
        """Say if a float without the other axis tells something: exact, or not made of several values of a message."""
        number = float(numpy.frombuffer(data, kind, 1, at)[0])
        return _named(self._sure, number) is not None or is_in_one_value(data, at, kind.itemsize)

    def _in_messages(self, data: bytes) -> Iterator[Sighting]:
        """Read `data`, or what follows a head in it, as MessagePack as far as it is, and look at every number there."""
        head = data.find(b"\r\n\r\n") + 4 if data.startswith(b"HTTP/") else 0
        unpacker = msgpack.Unpacker(max_buffer_size=len(data) + 1, strict_map_key=False)
        unpacker.feed(data[head:])
        with contextlib.suppress(ValueError, TypeError, msgpack.exceptions.UnpackException):
            for value in unpacker:
                if type(value) is int and -SMALL < value < SMALL:
                    continue  # what most bytes of a text are, read this way
                for what in self.find_in(value):
                    yield _sighting(f"{what}, MessagePack", data, head + unpacker.tell())

    def find_in(self, value: object) -> Iterator[str]:
        """Yield what a MessagePack value tells: every number in it that must not be there."""
        if isinstance(value, dict):
            yield from self.find_in([*value.keys(), *value.values()])
        elif isinstance(value, list):
            for item in value:
                yield from self.find_in(item)
        elif type(value) is float or (type(value) is int and abs(value) >= SMALL):
            named = _named(self._numbers, float(value))
            if named is not None:
                yield named


def _in_array(data: bytes, kind: numpy.dtype, families: Families, spans: Spans) -> Iterator[tuple[str, int]]:
    """Read `data` from every byte on as an array of numbers, and yield what is near a value to look for, and where."""
    for start in range(kind.itemsize):
        count = (len(data) - start) // kind.itemsize
        if count <= 0:
            continue
        with numpy.errstate(all="ignore"):  # most of what is read this way is no number
            numbers = numpy.frombuffer(data, kind, count, start).astype(numpy.float64)
            hits = spans.hits(numbers)
        for at in hits:
            named = _named(families, numbers[at])
            if named is not None:
                yield named, start + int(at) * kind.itemsize


_AXES = {"latitude": "longitude", "longitude": "latitude", "east": "north", "north": "east", " x ": " y ", " y ": " x "}


def _has_partner(what: str, at: int, found: list[tuple[str, int]]) -> bool:
    """Say if the other axis of the same notation stands close by; what is no position needs none."""
    axis = next((axis for axis in _AXES if axis in what), None)
    if axis is None:
        return True
    return any(other == what.replace(axis, _AXES[axis]) and abs(place - at) <= TOGETHER for other, place in found)


def _moments(middles_s: Sequence[float], half_s: float) -> Families:
    scales = {"s": 1.0, "ms": 1e3, "us": 1e6, "ns": 1e9}
    return {
        f"moment in {unit}": Values([middle_s * scale for middle_s in middles_s], half_s * scale)
        for unit, scale in scales.items()
    }


def _unescaped(data: bytes) -> set[bytes]:
    """Return what `data` says to who takes away percent signs, entities, or the escapes of JSON."""
    text = data.decode("latin-1")
    return {
        unquote_to_bytes(data),
        html.unescape(text).encode(),
        re.sub(r"\\u([0-9a-fA-F]{4})", lambda match: chr(int(match[1], 16)), text).encode("utf-8", "replace"),
    }


def _place(data: bytes, at: int) -> int:
    """Return where in `data` the byte with this number stands, if those `BETWEEN` aren't counted."""
    return next(itertools.islice((place for place, byte in enumerate(data) if byte not in BETWEEN), at, None))


def _metres(text: str) -> float:
    """Read metres with or without marks between the thousands."""
    digits = re.sub(r"[ ']", "", text)
    whole, _, part = digits.rpartition(".") if re.search(r"\.\d{1,2}$", digits) else (digits, "", "")
    return float(re.sub(r"[.,]", "", whole) + ("." + part if part else ""))


def _spellings(word: str | bytes) -> set[bytes]:
    if isinstance(word, str):
        return {word.encode()}
    return {word, word.hex().encode(), base64.b64encode(word).rstrip(b"="), base64.urlsafe_b64encode(word).rstrip(b"=")}


def _only(families: Families, word: str) -> Families:
    return {what: values for what, values in families.items() if what.endswith(word)}


def _named(families: Families, number: float) -> str | None:
    return next((what for what, values in families.items() if values.has(number)), None)


def _sighting(what: str, data: bytes, at: int) -> Sighting:
    return Sighting(what, at, data[max(0, at - 40) : at + 60])
