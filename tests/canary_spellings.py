"""One position in every notation and every encoding, to be planted where a scanner must find it.

Codes and plane metres are those of general-purpose libraries (utm, mgrs, openlocationcode, pygeohash, maidenhead,
pyproj); MessagePack is the library's own; binary numbers are the standard library's `struct`.
"""

import math
import re
import struct

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
# Digits among others that are hexadecimal, which are degrees, minutes and seconds to who looks for those.
DEGREES_IN_A_KEY = re.compile(rb"(?<!\d)([1-8]\d)[a-f]{1,16}([0-5]\d)[a-f]{1,16}([0-5]\d)(?!\d)")

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


def whole_positions(place: Place) -> dict[str, list[str]]:
    """Return texts that tell both axes of a position, by the name of the notation."""
    metres, codes = planes(place), _codes(place)
    halves = {**_angles(place), **_whole_numbers(place)}
    told = {
        name: [f"{north}, {west}" for north, west in zip(*_halved(texts), strict=True)]
        for name, texts in halves.items()
    }
    told["UTM metres"] = [f"{metres['UTM east']:.0f} {metres['UTM north']:.0f}"]
    told["Mercator metres"] = [f"{metres['Mercator x']:.0f} {metres['Mercator y']:.0f}"]
    del codes["geohash in capitals"]  # names of samples look like that: the place finder lets it pass, knowingly
    return {**told, **codes, **{name: texts for name, texts in _grids(place).items() if "MGRS" in name}}


def _halved(texts: list[str]) -> tuple[list[str], list[str]]:
    return texts[: len(texts) // 2], texts[len(texts) // 2 :]


def encodings(place: Place) -> dict[str, list[bytes]]:
    """Return bytes that tell a position to 100 m or better, by name: one axis where 8 bytes or MessagePack say so.

    Raw numbers come in either order of bytes; raw ones of 4 bytes are both axes, one behind the other or apart.
    """
    metres = planes(place)
    pairs: dict[str, tuple[float, ...]] = {
        "degrees": place,
        "radians": tuple(map(math.radians, place)),
        "UTM metres": (metres["UTM east"], metres["UTM north"]),
        "Mercator metres": (metres["Mercator x"], metres["Mercator y"]),
    }
    whole = {
        **{unit: tuple(round(value * scale) for value in place) for unit, scale in SCALES.items()},
        **{name: tuple(map(round, pairs[name])) for name in ("UTM metres", "Mercator metres")},
    }
    said: dict[str, list[bytes]] = {"both in a MessagePack list": [msgpack.packb([1, list(place), "x"])]}
    for what, values in pairs.items():
        said[f"{what} as f64"] = [struct.pack(order + "d", value) for value in values for order in "<>"]
        said[f"{what} as f32"] = _together("f", values)
        said[f"{what} in MessagePack"] = [msgpack.packb(value) for value in values]
        said[f"{what} in MessagePack as f32"] = [msgpack.packb(value, use_single_float=True) for value in values]
    for unit, counts in whole.items():
        said[f"{unit} as i64"] = [struct.pack(order + "q", value) for value in counts for order in "<>"]
        said[f"{unit} as i32"] = _together("i", counts)
        said[f"{unit}, whole, in MessagePack"] = [msgpack.packb(value) for value in counts]
    return said


def _together(form: str, values: tuple[float, ...]) -> list[bytes]:
    packed = [[struct.pack(order + form, value) for value in values] for order in "<>"]
    return [between.join(pair) for pair in packed for between in (b"", b"\xca", b"\x00\x01\x02")]
