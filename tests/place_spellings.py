"""Ways to write one position, for the tests of the place finder: every notation in every spelling.

Codes come from general-purpose libraries (utm, mgrs, openlocationcode, pygeohash, maidenhead); degrees are cut
into minutes and seconds here.
"""

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import product

import maidenhead
import mgrs
import pygeohash
import utm
from openlocationcode import openlocationcode

from relay.core.place_in_text import Notation

# None of these words or numbers leads to a position; several end in a number right before it.
SETTINGS = (
    "{}",
    "We are at {}",
    "bell found {}",
    "{} bell found, 42 cm high",
    "Depth 1,142 m, heading 245. {}",
    "1432 {}",
    "dive 3, 14:32 UTC: {} holding",
    "({})",
    "wreck “{}”!",
)
DIGITS = {
    "full-width": "０１２３４５６７８９",
    "Arabic-Indic": "٠١٢٣٤٥٦٧٨٩",
    "Persian": "۰۱۲۳۴۵۶۷۸۹",
    "Devanagari": "०१२३४५६७८९",
    "Bengali": "০১২৩৪৫৬৭৮৯",
    "mathematical bold": "𝟎𝟏𝟐𝟑𝟒𝟓𝟔𝟕𝟖𝟗",
}
# Marks behind degrees, minutes and seconds; the last is what stands between the parts.
MARKS = {
    "plain": ("", "", "", " "),
    "symbols": ("°", "'", '"', ""),
    "spaced symbols": ("°", "'", '"', " "),
    "typographic": ("º", "’", "”", " "),
    "primes": ("˚", "′", "″", ""),
    "abbreviated": (" deg", " min", " sec", " "),
    "tight abbreviated": ("deg", "min", "sec", ""),
    "words": (" degrees", " minutes", " seconds", " "),
    "letters": ("d", "m", "s", ""),
    "spaced letters": ("d", "m", "s", " "),
    "French": (" degrés", " minutes", " secondes", " "),
    "Spanish": (" grados", " minutos", " segundos", " "),
    "German": (" Grad", " Minuten", " Sekunden", " "),
    "Portuguese": (" graus", " minutos", " segundos", " "),
    "hyphens": ("-", "-", "", ""),
    "colons": (":", ":", "", ""),
}
HEMISPHERES = {
    "letters": "NSEW",
    "English": ("north", "south", "east", "west"),
    "French": ("nord", "sud", "est", "ouest"),
    "Spanish": ("norte", "sur", "este", "oeste"),
    "Portuguese": ("norte", "sul", "leste", "oeste"),
    "German": ("Nord", "Süd", "Ost", "West"),
}
PLACINGS = ("{angle}{h}", "{angle} {h}", "{h}{angle}", "{h} {angle}")
SEPARATORS = (", ", " ", ",", "/", " / ", "; ", "\n", " by ", " and ", "\u00a0", " | ")


@dataclass(frozen=True, slots=True)
class Position:
    """A random position, degrees."""

    latitude_deg: float
    longitude_deg: float


def random_positions(count: int, seed: int) -> list[Position]:
    """Return positions spread over the sphere's latitudes and longitudes; UTM needs 80 S to 84 N."""
    source = random.Random(seed)
    return [Position(source.uniform(-79.9, 83.9), source.uniform(-179.99, 179.99)) for _ in range(count)]


def _parts(value_deg: float, count: int, decimals: int) -> list[str]:
    """Cut a non-negative angle into 1 to 3 parts, the last with decimals."""
    units = round(value_deg * 60 ** (count - 1) * 10**decimals)
    scale = 10**decimals
    last, rest = units % (60 * scale if count > 1 else units + 1), units
    if count == 1:
        return [f"{units / scale:.{decimals}f}"]
    rest = units // (60 * scale)
    tail = f"{last / scale:0{3 + decimals if decimals else 2}.{decimals}f}"
    return [str(rest), tail] if count == 2 else [str(rest // 60), f"{rest % 60:02d}", tail]


def angle(value_deg: float, marks: str, count: int, decimals: int, *, comma: bool = False) -> str:
    """Write a non-negative angle in `count` parts."""
    *symbols, between = MARKS[marks]
    parts = _parts(value_deg, count, decimals)
    joined = ""
    for index, (part, symbol) in enumerate(zip(parts, symbols, strict=False)):
        last = index == len(parts) - 1
        joined += part + ("" if last and symbol in ("-", ":") else symbol) + ("" if last else between)
    return joined.replace(".", ",") if comma else joined


def with_hemisphere(text: str, value_deg: float, axis: int, names: str, placing: str) -> str:
    """Add the hemisphere; `axis` 0 is latitude, 1 longitude."""
    word = HEMISPHERES[names][2 * axis + (value_deg < 0)]
    tight = len(word) > 1 and placing in ("{angle}{h}", "{h}{angle}")
    return placing.replace("}{", "} {").format(angle=text, h=word) if tight else placing.format(angle=text, h=word)


def degree_spellings(position: Position, source: random.Random) -> Iterator[tuple[str, str]]:
    """Yield (description, text) for latitude and longitude with hemispheres: all marks, hemispheres and placings."""
    values = (position.latitude_deg, position.longitude_deg)
    for count, marks, names in product((1, 2, 3), MARKS, HEMISPHERES):
        placing, separator = source.choice(PLACINGS), source.choice(SEPARATORS)
        decimals, comma = source.choice((0, 1, 2, 4, 5)), source.random() < 0.2
        if count == 1:
            decimals = max(1, decimals)
        pair = [
            with_hemisphere(angle(abs(value), marks, count, decimals, comma=comma), value, axis, names, placing)
            for axis, value in enumerate(values)
        ]
        yield f"{count} parts, {marks}, {names}, {placing}, {separator!r}, {decimals}", separator.join(pair)
        yield f"latitude alone, {count} parts, {marks}, {names}, {placing}, {decimals}", pair[0]


def signed_spellings(position: Position, source: random.Random) -> Iterator[tuple[str, str]]:
    """Yield pairs without hemispheres, minus for south and west, as fine as a fix is written."""
    values = (position.latitude_deg, position.longitude_deg)
    for count, marks in product((1, 2, 3), MARKS):
        separator = source.choice(SEPARATORS)
        decimals = source.choice((4, 5, 6) if count == 1 else (1, 2, 3))
        pair = [("-" if value < 0 else "") + angle(abs(value), marks, count, decimals) for value in values]
        yield f"signed, {count} parts, {marks}, {separator!r}, {decimals}", separator.join(pair)
        yield f"longitude first, {count} parts, {marks}", separator.join(pair[::-1])


def labelled_spellings(position: Position, source: random.Random) -> Iterator[tuple[str, str]]:
    """Yield latitude and longitude called so."""
    decimals = source.choice((0, 1, 3, 5))
    values = f"{position.latitude_deg:.{decimals}f}", f"{position.longitude_deg:.{decimals}f}"
    for form in (
        "lat {} lon {}",
        "Lat {} Long {}",
        "lat: {}, lng: {}",
        "lat={}&lon={}",
        '{{"latitude": {}, "longitude": {}}}',
        "LATITUDE {} LONGITUDE {}",
        "latitud {} longitud {}",
        "Breite {} Länge {}",
        "the latitude is about {} and the longitude {}",
        "{} lat {} lon",
        "<lat>{}</lat><lon>{}</lon>",
    ):
        yield form, form.format(*values)
    yield "latitude alone", f"latitude {values[0]}"
    yield "longitude alone", f"longitude {values[1]}"


def code_spellings(position: Position) -> Iterator[tuple[Notation, str]]:
    """Yield positions as one code."""
    latitude, longitude = position.latitude_deg, position.longitude_deg
    yield Notation.GEO_URI, f"geo:{latitude:.5f},{longitude:.5f}"
    yield Notation.GEO_URI, f"geo:{latitude:.0f},{longitude:.0f};u=35"
    yield Notation.ISO_6709, f"{latitude:+08.4f}{longitude:+09.4f}/"
    yield Notation.ISO_6709, f"{int(latitude):+03d}{int(longitude):+04d}/"
    yield Notation.LINK, f"https://map.example/?q={latitude:.4f}%2C{longitude:.4f}"
    for length in (10, 11, 8, 6):
        code = openlocationcode.encode(latitude, longitude, length)
        yield Notation.PLUS_CODE, code
        yield Notation.PLUS_CODE, code.lower()
    full = openlocationcode.encode(latitude, longitude, 10)
    yield Notation.PLUS_CODE, f"{full[4:]} Port Tamsin"
    for precision in (3, 4, 5):
        yield Notation.LOCATOR, maidenhead.to_maiden(latitude, longitude, precision)
    yield Notation.LOCATOR, "locator " + maidenhead.to_maiden(latitude, longitude, 2)
    for length in (4, 5, 8):
        yield Notation.GEOHASH, "geohash " + pygeohash.encode(latitude, longitude, length)


def grid_spellings(position: Position) -> Iterator[tuple[Notation, str]]:
    """Yield UTM and military grid references."""
    east_m, north_m, zone, band = utm.from_latlon(position.latitude_deg, position.longitude_deg)
    east, north = f"{east_m:.0f}", f"{north_m:.0f}"
    for form in (
        "{z}{b} {e} {n}",
        "{z} {b} {e} {n}",
        "UTM {z}{b} {e} {n}",
        "{z}{b} {e}mE {n}mN",
        "{z}{b} {e} m E, {n} m N",
        "zone {z}{b}, E {e}, N {n}",
        "E {e} N {n}",
        "N {n} E {e}",
        "{e}E {n}N",
        "{e}mE",
        "easting {e} northing {n}",
        "Easting: {e}, Northing: {n}",
        "{z}{b}/{e}/{n}",
        "UTM zone {z}",
    ):
        yield Notation.GRID_METRES, form.format(z=zone, b=band, e=east, n=north)
    if len(north) == 7:
        yield Notation.GRID_METRES, f"{east} {north}"
        yield Notation.GRID_METRES, f"{east[:3]} {east[3:]} E {north[0]} {north[1:4]} {north[4:]} N"
    code = mgrs.MGRS().toMGRS(position.latitude_deg, position.longitude_deg, MGRSPrecision=5).strip()
    head, square, figures = code[:-12], code[-12:-10], code[-10:]
    easting, northing = figures[:5], figures[5:]
    for form in ("{h}{s}{e}{n}", "{h} {s} {e} {n}", "{h}{s} {e} {n}", "MGRS {h}{s}{e}{n}", "{h}-{s}-{e}-{n}"):
        yield Notation.GRID_LETTERS, form.format(h=head, s=square, e=easting, n=northing)
    yield Notation.GRID_LETTERS, f"{head}{square}{easting[:2]}{northing[:2]}"
    yield Notation.GRID_LETTERS, f"{head}{square}{easting}{northing}".lower()


def transformations(source: random.Random) -> dict[str, Callable[[str], str]]:
    """Return ways to write the same text with other characters."""
    swap = {name: str.maketrans("0123456789", digits) for name, digits in DIGITS.items()}
    changes: dict[str, Callable[[str], str]] = {
        name: (lambda text, table=table: text.translate(table))  # type: ignore[misc]
        for name, table in swap.items()
    }
    changes["zero-width"] = lambda text: "".join(
        character + ("\u200b" if source.random() < 0.3 else "") for character in text
    )
    changes["narrow no-break spaces"] = lambda text: text.replace(" ", "\u202f")
    changes["true minus"] = lambda text: text.replace("-", "\u2212")
    changes["look-alike letters"] = lambda text: text.translate(str.maketrans("NEOSxaceo", "ΝЕОЅхасео"))
    changes["struck through"] = lambda text: "".join(character + "\u0336" for character in text)
    return changes
