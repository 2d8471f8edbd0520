"""One position in every notation and every encoding, to be planted where a scanner must find it.

Codes and plane metres are those of general-purpose libraries (utm, mgrs, openlocationcode, pygeohash, maidenhead,
pyproj); MessagePack is the library's own; binary numbers are the standard library's `struct`.
"""

import math
import struct
from collections.abc import Iterable

import maidenhead
import mgrs
import msgpack
import pygeohash
import utm
from openlocationcode import openlocationcode
from pyproj import Transformer

from place_spellings import MARKS, angle, with_hemisphere

_MERCATOR = Transformer.from_crs(4326, 3857, always_xy=True)
SCALES = {"1e-7 degrees": 1e7, "1e-6 degrees": 1e6, "1e-5 degrees": 1e5, "1e-4 minutes": 6e5,
          "milliseconds of arc": 3.6e6}  # fmt: skip

Place = tuple[float, float]


def notations(place: Place) -> dict[str, list[str]]:
    """Return texts that tell a position (latitude, longitude; degrees) to 100 m or better, each alone, by name."""
    return {**_angles(place), **_grids(place), **_codes(place), **_whole_numbers(place)}


def _angles(place: Place) -> dict[str, list[str]]:
    said = {f"decimal degrees to {n} places": [f"{value:.{n}f}" for value in place] for n in (3, 4, 5, 7, 15)}
    said["decimal degrees with a comma"] = [f"{value:.{n}f}".replace(".", ",") for value in place for n in (3, 5)]
    said["decimal degrees without a sign"] = [f"{abs(value):.4f}°" for value in place]
    for marks in MARKS:
        said[f"degrees and minutes, {marks}"] = _parts(place, 2, marks, 2)
        said[f"degrees, minutes, seconds, {marks}"] = _parts(place, 3, marks, 1)
    said["degrees and tenths of minutes"] = _parts(place, 2, "symbols", 1)
    said["whole seconds"] = _parts(place, 3, "symbols", 0)
    for decimals in (1, 2, 4, 5):
        said[f"ddmm.m as in NMEA 0183, to {decimals} places"] = [
            f"{int(abs(value)):0{2 + axis}d}{abs(value) % 1 * 60:0{3 + decimals}.{decimals}f}"
            for axis, value in enumerate(place)
        ]
    said["radians"] = [f"{math.radians(value):.{n}f}" for value in place for n in (5, 7, 12)]
    return said


def _parts(place: Place, count: int, marks: str, decimals: int) -> list[str]:
    return [
        with_hemisphere(angle(abs(value), marks, count, decimals), value, axis, "letters", placing)
        for axis, value in enumerate(place)
        for placing in ("{angle} {h}", "{h}{angle}")
    ]


def planes(place: Place) -> dict[str, float]:
    """Return UTM and Web Mercator metres of a position."""
    east, north, *_ = utm.from_latlon(*place)
    x, y = _MERCATOR.transform(place[1], place[0])
    return {"UTM east": east, "UTM north": north, "Mercator x": x, "Mercator y": y}


def _grids(place: Place) -> dict[str, list[str]]:
    metres = planes(place)
    said = {
        name: [f"{abs(value):.0f}", f"{value:.2f}", f"{abs(value):,.0f}", f"{abs(value):,.0f}".replace(",", " ")]
        for name, value in metres.items()
    }
    for precision in (3, 4, 5):
        code = mgrs.MGRS().toMGRS(*place, MGRSPrecision=precision).strip()
        head, square, east, north = (
            code[: -2 - 2 * precision],
            code[-2 - 2 * precision : -2 * precision],
            code[-2 * precision : -precision],
            code[-precision:],
        )
        said[f"MGRS with {precision} figures"] = [
            code,
            code.lower(),
            f"{head} {square} {east} {north}",
            f"{head}{square}-{east}-{north}",
        ]
    return said


def _codes(place: Place) -> dict[str, list[str]]:
    plus = openlocationcode.encode(*place, 10)
    return {
        "geohash": [pygeohash.encode(*place, precision=n) for n in (7, 8, 9, 12)],
        "geohash in capitals": [pygeohash.encode(*place, precision=8).upper()],
        "plus code": [plus, plus.lower(), openlocationcode.encode(*place, 11)],
        "plus code, cut short": [plus[4:], plus[2:]],
        "Maidenhead locator": [
            maidenhead.to_maiden(*place, precision=5),
            maidenhead.to_maiden(*place, precision=5).upper(),
        ],
    }


def _whole_numbers(place: Place) -> dict[str, list[str]]:
    return {f"whole number of {unit}": [f"{value * scale:.0f}" for value in place] for unit, scale in SCALES.items()}


def encodings(place: Place) -> dict[str, list[bytes]]:
    """Return bytes that tell a position to 100 m or better, each of them alone, by name; both orders of bytes."""
    floats = {
        "degrees": list(place),
        "radians": [math.radians(value) for value in place],
        **{f"{name} metres": [value] for name, value in planes(place).items()},
    }
    whole = {
        **{unit: [round(value * scale) for value in place] for unit, scale in SCALES.items()},
        **{f"{name} metres": [round(value)] for name, value in planes(place).items()},
    }
    said = {
        f"{what} as {word}": _both_orders(form, values)
        for what, values in floats.items()
        for word, form in (("f32", "f"), ("f64", "d"))
    }
    said |= {
        f"{what} as {word}": _both_orders(form, values)
        for what, values in whole.items()
        for word, form in (("i32", "i"), ("i64", "q"))
    }
    said |= {
        f"{what} in MessagePack": [msgpack.packb(value) for value in values]
        for what, values in {**whole, **floats}.items()
    }
    said |= {
        f"{what} in MessagePack as f32": [msgpack.packb(value, use_single_float=True) for value in values]
        for what, values in floats.items()
    }
    said["both in a MessagePack list"] = [msgpack.packb([1, list(place), "x"])]
    return said


def _both_orders(form: str, values: Iterable[float]) -> list[bytes]:
    return [struct.pack(order + form, value) for value in values for order in "<>"]
