"""The direct leak scan: every value and every byte of the recordings, for what should never have been there.

Rules: whatever `leak_shape` finds besides the format is read as a position in every way that instruments and programs
write one (degrees, radians, whole numbers of small parts of a degree, UTM and world-map metres, binary numbers in
either order); a reading counts when both axes stand together and lie on the chart. Texts are looked through for raw
sentences (NMEA 0183). With the true places in hand (`spelled`, for the operator's own check) every spelling of them is
looked for.
"""

import re
import struct
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from math import degrees, radians
from typing import Any

import msgpack
import numpy as np
from pyproj import Transformer

from relay.audit.attacks.attack import Case, Dive, Finding, Progress, quiet
from relay.audit.attacks.earth_tied import earth_tied
from relay.audit.attacks.leak_shape import odd_in
from relay.audit.attacks.shown_track import tracks_of
from relay.audit.attacks.spots import at_spot
from relay.audit.attacks.told_places import grid_places, places_in
from relay.audit.attacks.told_texts import strings, texts_of
from relay.audit.charts.chart import Chart

Place = tuple[float, float]

SCALES = (1e7, 1e6, 1e5, 6e5, 3.6e6)  # degrees as instruments count them: also 1e-4 minutes, milliseconds of arc
_SENTENCE = re.compile(r"[$!](?:[A-Z]{2}[A-Z]{3}|P[A-Z]{3,8}),[^\r\n*]{5,120}(?:\*[0-9A-F]{2})?")
_FIX = re.compile(r"(\d{2})(\d{2}\.\d{1,9}),([NS]),(\d{3})(\d{2}\.\d{1,9}),([EW])")
# Odd values, and octets of so many records: beyond, more of the same tell nothing new and only take time.
_READ_AT_MOST, _RECORDS_AT_MOST, _OCTETS_AT_MOST = 4_000, 40, 1_024
_SHOWN = 3
_TELLING_DEG, _TELLING_COUNT = 0.1, 100_000  # nearer to the equator or to Greenwich a number is any small number


class LeakScan:
    """Looks at everything that a recording holds."""

    name = "leak scan"

    def play(self, case: Case, progress: Progress = quiet) -> Finding:
        """Return the place that stands in the recordings outright, and all that has no business in them."""
        leaks: list[str] = []
        places: list[Place] = []
        octets = 0
        for at, dive in enumerate(case.dives):
            octets += sum(len(record.data) for record in dive.records)
            for leak, found in _looked_through(dive, case.chart):
                leaks += [f"{dive.name}: {leak}"] if leak else []
                places += found
            progress("scanning the recordings", (at + 1) / len(case.dives))
        if not octets:
            return Finding(self.name, "There are no records to scan.", worked=False)
        place = _middle(places)
        return Finding(
            self.name,
            _words(octets, leaks, place),
            log_likelihood=None if place is None else at_spot(case.chart, *place, 0.0),
            place=place,
            outright=place is not None and bool(leaks),
            leaks=tuple(leaks),
            facts={"bytes_scanned": octets, "places_read": len(places)},
        )


def _looked_through(dive: Dive, chart: Chart) -> Iterator[tuple[str, list[Place]]]:
    odd = odd_in(dive)
    yield from ((leak, []) for leak in odd.leaks)
    yield "", list(_numbers(odd.values[:_READ_AT_MOST], chart))
    yield "", [place for octets in odd.octets[:_RECORDS_AT_MOST] for place in _binary(octets[:_OCTETS_AT_MOST], chart)]
    for _, what, text in texts_of(dive):
        for match in _SENTENCE.finditer(text):
            yield f"a raw sentence in the {what}: {match[0]}", [*_fixes(match[0], chart)]
    for track in tracks_of(dive):
        tied = earth_tied(track, chart)
        if tied is not None:
            shown = tied.track.points[tied.track.placed]
            yield f"{track.vehicle} is told on the Earth: {tied.how}", [tied.to_earth(*shown[0])]


def _middle(places: Sequence[Place]) -> Place | None:
    """Return the place that most readings are about: the one with the most others within a hundredth of a degree."""
    if not places:
        return None
    spots = np.array(places[:2_000])
    near = [(np.abs(spots - spot).max(axis=1) < 0.01).sum() for spot in spots]
    latitude, longitude = spots[int(np.argmax(near))]
    return float(latitude), float(longitude)


def _words(octets: int, leaks: list[str], place: Place | None) -> str:
    if not leaks:
        return f"{octets:,} bytes were scanned: they hold nothing but what the policy names."
    shown = "; ".join(leaks[:_SHOWN])
    where = "" if place is None else f" It reads as a place on the chart: {place[0]:.5f}, {place[1]:.5f}."
    return f"{octets:,} bytes were scanned, and hold what should not be there: {shown}.{where}"


def _numbers(values: Sequence[Any], chart: Chart) -> Iterator[Place]:
    """Yield readings of odd values: numbers side by side, and texts."""
    for value in values:
        for one, other in pairwise(_flat(value)):
            for first, second in ((one, other), (other, one)):
                yield from (place for place in _as_place(first, second, chart) if _on(chart, place))
        for text in strings(value):
            yield from _fixes(text, chart)


def _flat(value: Any) -> list[float]:
    if isinstance(value, dict):
        return [number for item in value.values() for number in _flat(item)]
    if isinstance(value, list | tuple):
        return [number for item in value for number in _flat(item)]
    return [float(value)] if isinstance(value, int | float) and not isinstance(value, bool) else []


def _as_place(first: float, second: float, chart: Chart) -> Iterator[Place]:
    yield first, second
    if abs(first) < 2 and abs(second) < 4:
        yield degrees(first), degrees(second)
    if abs(first) > 1e4 and abs(second) > 1e4:
        yield from ((first / scale, second / scale) for scale in SCALES)
        text = f"{first:.0f} {second:.0f}"
        yield from ((reading.latitude_deg, reading.longitude_deg) for reading in grid_places(text, chart))


def _on(chart: Chart, place: Place) -> bool:
    if not (abs(place[0]) <= 90 and abs(place[1]) <= 360):
        return False
    where = chart.index(*place)
    return where is not None and bool(chart.candidates[where])


def _binary(octets: bytes, chart: Chart) -> Iterator[Place]:
    """Yield readings of raw bytes as two binary numbers, one behind the other."""
    for kind in ("<f8", ">f8", "<f4", ">f4", "<i4", ">i4"):
        size = np.dtype(kind).itemsize
        for start in range(min(size, len(octets))):
            count = (len(octets) - start) // size
            with np.errstate(all="ignore"):
                numbers = np.frombuffer(octets, kind, count, start).astype(np.float64)
            numbers = np.where(np.isfinite(numbers) & (np.abs(numbers) > 1e-3), numbers, 0.0)
            for first, second in pairwise(numbers.tolist()):
                if first and second:
                    readings = _as_place(first, second, chart) if kind[1] == "i" else iter([(first, second)])
                    yield from (place for place in readings if _on(chart, place))


def _fixes(text: str, chart: Chart) -> Iterator[Place]:
    """Yield the positions in sentences of NMEA 0183 (from memory of its form: ddmm.mm,N,dddmm.mm,W)."""
    for match in _FIX.finditer(text):
        latitude = int(match[1]) + float(match[2]) / 60
        longitude = int(match[4]) + float(match[5]) / 60
        place = (-latitude if match[3] == "S" else latitude, -longitude if match[6] == "W" else longitude)
        if _on(chart, place):
            yield place


def spelled(dives: Sequence[Dive], truths: Iterable[Place]) -> tuple[str, ...]:
    """Return where a true place (latitude, longitude; degrees) stands in recordings, in whatever spelling.

    For the operator, who knows it. One axis is enough: half a position halves the search already.
    """
    places = list(truths)
    looked_for = [spelling for place in places for spelling in _spellings(place)]
    found = []
    for dive in dives:
        data = b"".join(record.data for record in dive.records)
        told = {what for what, octets in looked_for if octets in data}
        found += [f"{dive.name}: the true {what} stands in it" for what in sorted(told)]
        found += [f"{dive.name}: “{text}” reads as a true place" for text in _read_so(dive, places)]
    return tuple(found)


def _read_so(dive: Dive, places: Sequence[Place]) -> list[str]:
    """Return the texts that read as a place in the box about the true ones, 0.01 degrees wider each way."""
    if not places:
        return []
    spots = np.array(places)
    spots[:, 1] = np.unwrap(spots[:, 1], period=360)
    low, high = spots.min(axis=0) - 0.01, spots.max(axis=0) + 0.01
    latitude, longitude = (np.linspace(low[axis], high[axis], 3) for axis in (0, 1))
    box = Chart("the true places", latitude, longitude, np.ones((3, 3)), np.ones((3, 3)))
    return [text for text in {text for _, _, text in texts_of(dive)} if places_in(text, box)]


def _spellings(place: Place) -> Iterator[tuple[str, bytes]]:
    for axis, value, width in (("latitude", place[0], 2), ("longitude", place[1], 3)):
        if abs(value) >= _TELLING_DEG:
            yield from _of_axis(axis, value, width)
    if min(map(abs, place)) >= _TELLING_DEG:
        yield from _together(place)
    for what, code in (("UTM", _zone(place)), ("world-map", 3857)):
        x, y = Transformer.from_crs(4326, code, always_xy=True).transform(place[1], place[0])
        long = [abs(metres) for metres in (x, y) if abs(metres) > 1e5]
        yield from ((f"place in {what} metres", f"{metres:.0f}".encode()) for metres in long)


def _of_axis(axis: str, value: float, width: int) -> Iterator[tuple[str, bytes]]:
    yield from ((f"{axis}, as text", text.encode()) for text in _texts(value, width))
    for what, number in ((axis, value), (f"{axis} in radians", radians(value))):
        for octets in (struct.pack("<d", number), struct.pack(">d", number), msgpack.packb(number)):
            yield f"{what}, as a binary number", octets
    for count in (round(value * scale) for scale in SCALES):
        if abs(count) >= _TELLING_COUNT:
            yield f"{axis} as a whole number", str(count).encode()
            yield from ((f"{axis} as a whole binary number", struct.pack(form, count)) for form in ("<q", ">q"))


def _zone(place: Place) -> int:
    return (32600 if place[0] >= 0 else 32700) + int((place[1] + 180) % 360 // 6) + 1


def _together(place: Place) -> Iterator[tuple[str, bytes]]:
    for form in ("<f", ">f"):  # four bytes alone are too few: any four read like something somewhere
        yield "place as two short binary numbers", b"".join(struct.pack(form, value) for value in place)
    for scale in SCALES:
        counts = [round(value * scale) for value in place]
        if min(map(abs, counts)) >= _TELLING_COUNT and max(map(abs, counts)) < 2**31:
            for form in ("<i", ">i"):
                yield "place as two whole binary numbers", b"".join(struct.pack(form, count) for count in counts)


def _texts(value: float, width: int) -> Iterator[str]:
    size = abs(value)
    for decimals in (3, 4, 5, 6, 7):
        yield f"{size:.{decimals}f}"
        yield f"{size:.{decimals}f}".replace(".", ",")
    yield repr(value)
    minutes = size % 1 * 60
    for decimals in (2, 3, 4, 5):
        yield f"{int(size):0{width}d}{minutes:0{3 + decimals}.{decimals}f}"
    for joint in ("° ", "°", " "):
        yield f"{int(size)}{joint}{minutes:.2f}"
        yield f"{int(size)}{joint}{int(minutes):02d}' {minutes % 1 * 60:04.1f}"
        yield f"{int(size)}{joint}{int(minutes):02d}'{minutes % 1 * 60:04.1f}"
