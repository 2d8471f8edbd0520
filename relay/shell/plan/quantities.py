"""Quantities as people write them in an expedition file: "45 min", "25 m", "22.5 deg".

Each reader returns the value in the unit of its name and raises ValueError with an example of what is right.
"""

import re
from math import isfinite
from urllib.parse import urlsplit

_QUANTITY = re.compile(r"\s*([0-9]+(?:\.[0-9]+)?)\s*([A-Za-z°]+(?:/s|2|²)?)\s*$")
_PLAIN = re.compile(r"[!#-;=?-Z_a-z~]{1,300}", re.ASCII)
_MAILTO = re.compile(r"mailto:[A-Za-z0-9._+-]{1,64}@[A-Za-z0-9.-]{1,200}", re.ASCII)
_SECONDS = {"ms": 0.001, "s": 1.0, "min": 60.0, "h": 3600.0}
# The international foot, exact since 1959, and the international nautical mile, exact since 1929.
_METRES = {"m": 1.0, "km": 1000.0, "ft": 0.3048, "nm": 1852.0, "NM": 1852.0}
_DEGREES = {"deg": 1.0, "°": 1.0}
# The square of the international nautical mile, and the hectare.
_SQUARE_KM = {"km2": 1.0, "km²": 1.0, "ha": 0.01, "nm2": 1.852**2}
_BITS_PER_S = {"bit/s": 1.0, "kbit/s": 1e3, "Mbit/s": 1e6}


def duration_us(text: object) -> int:
    """Return microseconds."""
    return round(_read(text, _SECONDS, "a duration", "45 min") * 1_000_000)


def length_m(text: object) -> float:
    """Return metres."""
    return _read(text, _METRES, "a length", "25 m")


def area_km2(text: object) -> float:
    """Return square kilometres."""
    return _read(text, _SQUARE_KM, "an area", "87 km2")


def angle_deg(text: object) -> float:
    """Return degrees."""
    return _read(text, _DEGREES, "an angle", "22.5 deg")


def rate_bits_per_s(text: object) -> float:
    """Return bits per second."""
    return _read(text, _BITS_PER_S, "a rate", "64 kbit/s")


def _read(text: object, units: dict[str, float], what: str, example: str) -> float:
    found = _QUANTITY.match(text) if isinstance(text, str) else None
    if isinstance(text, str) and "," in text and _QUANTITY.match(pointed := text.replace(",", ".")):
        raise ValueError(f'{text!r} is not {what}; write it with a point: "{pointed}"')
    if found is None or found[2] not in units:
        miles = "; nm are nautical miles" if "nm" in units else ""
        raise ValueError(f'{text!r} is not {what}; write it as "{example}" (units: {", ".join(units)}{miles})')
    value = float(found[1]) * units[found[2]]
    if not isfinite(value):
        raise ValueError(f"{text!r} is not finite")
    return value


def say_duration(microseconds: int) -> str:
    """Return a duration in words: "45 min", "20 s", "1 h 30 min"."""
    seconds = round(microseconds / 1_000_000)
    hours, rest = divmod(seconds, 3600)
    minutes, seconds = divmod(rest, 60)
    parts = [(hours, "h"), (minutes, "min"), (seconds, "s")]
    return " ".join(f"{value} {unit}" for value, unit in parts if value) or "0 s"


def say_length(metres: float) -> str:
    """Return a length in words: "250 m", "1.5 km"."""
    return f"{metres / 1000:g} km" if metres >= 1000 else f"{metres:g} m"


def say_rate(bits_per_s: float) -> str:
    """Return a rate in words: "64 kbit/s", "1.5 Mbit/s"."""
    for unit, size in (("Mbit/s", 1e6), ("kbit/s", 1e3)):
        if bits_per_s >= size:
            return f"{bits_per_s / size:g} {unit}"
    return f"{bits_per_s:g} bit/s"


def say_number(value: float) -> str:
    """Return a number without a needless fraction."""
    return f"{value:g}"


def say_server(url: str) -> str:
    """Return where a server is, without who logs in there: what is printed or logged of its address."""
    scheme, _, rest = url.partition("://")
    return f"{scheme}://{rest.partition('/')[0].rpartition('@')[2]}"


def questions_address(text: str) -> str:
    """Return where questions go: a web page, or one mail address; ValueError says what is wrong with it."""
    parts = urlsplit(text)
    if parts.scheme == "https" and parts.hostname and not parts.username and _PLAIN.fullmatch(text):
        return text
    if _MAILTO.fullmatch(text):
        return text
    raise ValueError(
        f'{text!r} is not where questions can go; write it as "https://questions.example/" or '
        '"mailto:dive@museum.example"'
    )


def web_address(text: str) -> str:
    """Return the address of a site, ending in a slash; ValueError says what is wrong with it."""
    parts = urlsplit(text)
    if parts.scheme not in ("http", "https") or not parts.hostname or parts.query or parts.fragment or parts.username:
        raise ValueError(f'{text!r} is not the address of a page; write it as "https://dive.example/"')
    return text if text.endswith("/") else f"{text}/"


def say_octets(octets: float) -> str:
    """Return a size in words, in decimal units: "640 kB", "12.5 GB"."""
    units = ["B", "kB", "MB", "GB", "TB"]
    while octets >= 999.5 and len(units) > 1:
        octets /= 1000
        units = units[1:]
    return f"{octets:.3g} {units[0]}"
