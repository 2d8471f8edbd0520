"""Text folded to plain letters, digits and a few marks, each with the place in the original it came from.

Rules: what looks the same reads the same (full-width, circled and mathematical digits, digits of every script,
look-alike letters, typographic primes, degree rings and dashes); what cannot be seen is dropped (zero-width
characters, soft hyphens, combining marks); what addresses and pages write as codes reads as what it stands for; case
is kept; nothing raises, whatever the text.
"""

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

# Read before compatibility normalisation, which would turn a degree ring into the letter o or a half into 1/2.
_BEFORE = {
    "º": "°",  # masculine ordinal, common on Iberian keyboards
    "˚": "°",
    "∘": "°",
    "○": "°",
    "度": "°",
    "´": "'",
    "″": '"',
    "〃": '"',
    "分": "'",
    "秒": '"',
    "½": ".5",
    "¼": ".25",
    "¾": ".75",
    "⅓": ".333",
    "⅔": ".667",
    "⅛": ".125",
    "·": ".",  # the raised decimal point
    "∙": ".",
    "⋅": ".",
    "ß": "ss",
    "ẞ": "SS",
    "\u2800": "",  # braille blank: drawn as nothing
    "\u3164": "",  # filler letter: drawn as nothing
    "\uffa0": "",
}
_MARKS = {
    **dict.fromkeys("‘’‚‛′ʹʼˈ`ʻ՚＇‵", "'"),
    **dict.fromkeys("“”„‟ʺ", '"'),
    **dict.fromkeys("−﹣⁃", "-"),
    **dict.fromkeys("٫。", "."),
    **dict.fromkeys("،、٬", ","),
    **dict.fromkeys("⁄∕÷", "/"),
    "×": "x",
    "¦": "|",
    "؛": ";",
}
# Letters drawn alike, from Greek and Cyrillic to Latin, and Latin letters with no decomposition. From memory.
_ALIKE = {
    **dict(zip("АВЕЅІЈКМНОРСТУХЗӀԚԜ", "ABESIJKMHOPCTYX3IQW", strict=True)),
    **dict(zip("аеіјорсѕухӏԛԝһѵԁ", "aeijopcsyxlqwhvd", strict=True)),
    **dict(zip("ΑΒΕΖΗΙΚΜΝΟΡΤΥΧ", "ABEZHIKMNOPTYX", strict=True)),
    **dict(zip("αεικνορτυχγ", "aeiknoptuxy", strict=True)),
    **dict(zip("øØłŁđĐıħŧ", "oOlLdDihT".replace("T", "t"), strict=True)),
    "æ": "ae",
    "Æ": "AE",
    "œ": "oe",
    "Œ": "OE",
    "þ": "th",
    "Þ": "Th",
    "ð": "d",
}
_ESCAPES = {
    "%2c": ",",
    "%20": " ",
    "%2b": "+",
    "%2d": "-",
    "%2e": ".",
    "%2f": "/",
    "%3a": ":",
    "%3b": ";",
    "%27": "'",
    "%22": '"',
    "%c2%b0": "°",
    "%40": "@",
    "&deg;": "°",
    "&#176;": "°",
    "&#xb0;": "°",
    "&prime;": "'",
    "&#39;": "'",
    "&quot;": '"',
    "&nbsp;": " ",
    "&minus;": "-",
    "&comma;": ",",
}
# Percent-encoding (RFC 3986 section 2.1) and character references (HTML, section 13.5) of what ASCII can print.
_ESCAPE = re.compile(
    r"%c2%b0|%([2-7][0-9a-f])|&(?:deg|prime|quot|nbsp|minus|comma|\#176|\#xb0);|&\#0{0,5}([0-9]{2,3});"
    r"|&\#x0{0,5}([2-7][0-9a-f]);",
    re.IGNORECASE,
)
_TURNED = re.compile("\u202e([^\u202c\u202d\u2029\n]*)")  # UAX 9: what an override to the left reaches


@dataclass(frozen=True, slots=True)
class Folded:
    """Folded text; folded character i came from `original[starts[i]:ends[i]]`."""

    text: str
    starts: tuple[int, ...]
    ends: tuple[int, ...]
    original: str

    def span(self, start: int, end: int) -> tuple[int, int]:
        """Return the half-open range of the original that a folded range of at least one character came from."""
        return self.starts[start], self.ends[end - 1]


def fold(text: str) -> Folded:
    """Fold `text`, at most a few folded characters for each character of it."""
    pieces: list[str] = []
    starts: list[int] = []
    ends: list[int] = []
    at = 0
    while at < len(text):
        escape = _ESCAPE.match(text, at) if text[at] in "%&" else None
        known = _unescaped(escape) if escape else None
        piece = fold_character(text[at]) if known is None else known
        after = at + 1 if known is None or escape is None else escape.end()
        pieces.append(piece)
        starts.extend([at] * len(piece))
        ends.extend([after] * len(piece))
        at = after
    return Folded("".join(pieces), tuple(starts), tuple(ends), text)


def _unescaped(escape: re.Match[str]) -> str | None:
    known = _ESCAPES.get(escape.group().lower())
    if known is not None:
        return known
    in_hexadecimal = escape[1] or escape[3]
    letter = chr(int(in_hexadecimal, 16) if in_hexadecimal else int(escape[2] or "0"))
    return letter if letter.isascii() and letter.isprintable() else None


def as_turned(text: str) -> tuple[str, ...]:
    """Return a text as its overrides of the writing direction show it, and wholly turned; nothing where it has none."""
    if "\u202e" not in text:
        return ()
    shown = _TURNED.sub(lambda turned: turned[1][::-1], text), text[::-1]
    return tuple(it.replace("\u202e", "") for it in shown)


@lru_cache(maxsize=4096)
def fold_character(character: str) -> str:
    """Return what one character reads as; empty for what is not seen."""
    if character.isascii():
        return character if character.isprintable() or character in "\n\t\r" else ""
    if character in _BEFORE:
        return _BEFORE[character]
    plain = unicodedata.normalize("NFKC", character)
    return "".join(_fold_plain(part) for part in unicodedata.normalize("NFD", plain))


def _fold_plain(character: str) -> str:
    if character in _MARKS:
        return _MARKS[character]
    if character in _ALIKE:
        return _ALIKE[character]
    category = unicodedata.category(character)
    if category in ("Cf", "Mn", "Me", "Mc", "Cc", "Co", "Cs"):
        return ""
    if category == "Pd":
        return "-"
    if category[0] == "Z":
        return "\n" if category in ("Zl", "Zp") else " "
    value = unicodedata.digit(character, None)
    return character if value is None else str(value)
