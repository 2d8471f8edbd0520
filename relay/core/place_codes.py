"""Positions written as one code or as grid figures, found by bounded patterns in the folded text.

Rules: every repetition in a pattern is bounded, so the work per character is bounded; a token that can also be a
serial, a sample name, a duration or a unit is a code only if its letters say so.
Sources: RFC 5870 (geo), ISO 6709 annex H, the open location code specification, NGA.SIG.0012 (MGRS, UTM and
UPS letters), IARU locator rules, the GEOREF letter tables; all from memory.
"""

import re
from collections.abc import Iterator

from relay.core.place_finding import Hit, Notation

_NUMBER = r"\d{1,3}(?:[.,]\d{1,15})?"
_SEP = r"[\s,;:/_-]{0,3}"
_METRES_EAST = r"0?\d{6}(?:[.,]\d{1,6})?|\d{3}[ ,.']\d{3}(?:[.,]\d{1,6})?"
_METRES_NORTH = r"\d{6,7}(?:[.,]\d{1,6})?|\d{1,2}[ ,.']\d{3}[ ,.']\d{3}(?:[.,]\d{1,6})?|\d{3}[ ,.']\d{3}"
_ZONE = r"(?:[1-9]|0[1-9]|[1-5]\d|60)"
_SQUARE = r"[a-hj-np-z]\s?[a-hj-np-v]"
_LONG_FIGURES = r"(?:\d{5}[\s,-]?\d{5}|\d{4}[\s,-]?\d{4}|\d{3}[\s,-]?\d{3})"
_FIGURES = rf"(?:{_LONG_FIGURES}|\d\d[\s,-]?\d\d)"
_EAST = r"(?:e|east|easting|est|este|ost|rechtswert|x)"
_NORTH = r"(?:n|north|northing|nord|norte|hochwert|y)"


def _compiled(pattern: str, flags: int = re.IGNORECASE) -> re.Pattern[str]:
    return re.compile(rf"(?<![^\W_]){pattern}(?![^\W_])", flags)


_PATTERNS: tuple[tuple[Notation, re.Pattern[str]], ...] = (
    (Notation.DEGREES_MINUTES, re.compile(r"(?<![\d.,'])\d{1,2}'\s?\d{1,2}(?:[.,]\d{1,6})?\"\s?[NSEWO](?![^\W_])")),
    (Notation.DEGREES_MINUTES, re.compile(r"(?<![\w.,'])\d{1,2}[.,]\d{1,6}'\s?[NSEWO](?![^\W_])")),
    (
        Notation.DEGREES_MINUTES,
        re.compile(r"(?<![\w.,])[-+]?[0-8]\d{3}[.,]\d{1,6}[\s,;:/]{1,3}[-+]?[01]\d{4}[.,]\d{1,6}(?![\w])"),
    ),
    (Notation.GEO_URI, re.compile(rf"(?<![^\W_])geo\s?:\s?[-+]?{_NUMBER}\s?,\s?[-+]?{_NUMBER}", re.IGNORECASE)),
    (
        Notation.ISO_6709,
        re.compile(
            r"(?<![\w.])[-+](?:\d{2}|\d{4}|\d{6})(?:[.,]\d{1,12})?[-+](?:\d{3}|\d{5}|\d{7})(?:[.,]\d{1,12})?(?![\d.])"
        ),
    ),
    (Notation.LINK, re.compile(r"(?<![^\W_])(?:[a-z][a-z0-9+.-]{1,12}://|www\.)\S{1,200}", re.IGNORECASE)),
    (
        Notation.LINK,
        re.compile(r"(?<![^\W_])[a-z][a-z0-9-]{1,40}(?:\.[a-z0-9-]{2,40}){0,2}\.[a-z]{2,10}/\S{1,200}", re.IGNORECASE),
    ),
    (Notation.WORD_ADDRESS, re.compile(r"(?:///|(?<![\w./@-]))[^\W\d_]{3,20}(?:\.[^\W\d_]{3,20}){2}(?![\w./@-])")),
    (
        Notation.GRID_METRES,
        _compiled(
            rf"(?:utm{_SEP}|zone{_SEP}){{0,2}}{_ZONE}\s?[c-hj-np-x]{_SEP}"
            rf"(?:{_EAST}{_SEP})?(?:{_METRES_EAST})\s?(?:m?\s?e)?{_SEP}(?:{_NORTH}{_SEP})?(?:{_METRES_NORTH})(?:\s?m?\s?n)?"
        ),
    ),
    (Notation.GRID_METRES, _compiled(r"0?[1-8]\d{5}(?:[.,]\d{1,6})?[\s,;:/_-]{1,3}\d{7}(?:[.,]\d{1,6})?")),
    # Two long whole numbers side by side: metres of a world map, or degrees as instruments count them (1e-7 and so on).
    (Notation.GRID_METRES, re.compile(r"(?<![\w.,+-])[-+]?\d{7,10}[\s,;:/|]{1,3}[-+]?\d{7,10}(?![\w.])")),
    (
        Notation.GRID_METRES,
        _compiled(r"(?:utm|zone|zona|fuseau)[\s,:]{0,3}(?:[1-9]|0[1-9]|[1-5]\d|60)\s?[c-hj-np-x]?"),
    ),
    (Notation.GRID_METRES, re.compile(r"(?<![^\W_])utm\s?\d{1,2}[c-x]\d{8,15}", re.IGNORECASE)),
    (
        Notation.GRID_METRES,
        _compiled(r"(?:easting|northing|rechtswert|hochwert)s?\s?[:=]?\s?(?:is\s|of\s|about\s)?\d[\d,.' ]{2,12}"),
    ),
    (
        Notation.GRID_METRES,
        re.compile(
            r"(?<![\w.])(?:\d{5,7}|\d{3}[ ,.']\d{3}|\d{1,2}[ ,.']\d{3}[ ,.']\d{3})(?:\.\d{1,3})?\s?m\s?[EN](?![^\W_])"
        ),
    ),
    (
        Notation.GRID_METRES,
        _compiled(rf"{_EAST}\s?[:=]?\s?(?:{_METRES_EAST}|\d{{5}}){_SEP}{_NORTH}\s?[:=]?\s?(?:{_METRES_NORTH}|\d{{5}})"),
    ),
    (
        Notation.GRID_METRES,
        _compiled(rf"{_NORTH}\s?[:=]?\s?(?:{_METRES_NORTH}|\d{{5}}){_SEP}{_EAST}\s?[:=]?\s?(?:{_METRES_EAST}|\d{{5}})"),
    ),
    (Notation.GRID_METRES, re.compile(r"(?<![\w.])(?:\d{6}|\d{3}[ ,.']\d{3})(?:\.\d{1,6})?\s?m?\s?E[\s,;/]{0,3}\d")),
    (Notation.GRID_METRES, re.compile(r"(?<![^\W_])epsg\s?:?\s?\d{4,5}", re.IGNORECASE)),
    # Zone, band and square apart from each other or in one; "23 Jan 2017" is a date, so not zone, then both in one.
    (Notation.GRID_LETTERS, _compiled(rf"{_ZONE}[\s-]{{0,2}}[c-hj-np-x][\s-]{{1,2}}{_SQUARE}[\s,-]?{_FIGURES}")),
    (Notation.GRID_LETTERS, _compiled(rf"{_ZONE}[c-hj-np-x]{_SQUARE}[\s,-]?{_FIGURES}")),
    (Notation.GRID_LETTERS, _compiled(rf"{_ZONE}[\s-][c-hj-np-x]{_SQUARE}[\s,-]?{_LONG_FIGURES}")),
    (
        Notation.GRID_LETTERS,
        _compiled(r"(?:[1-9]|0[1-9]|[1-5]\d|60)[C-HJ-NP-X](?:[A-HJ-NP-Z][A-HJ-NP-V]\d\d|\s[A-HJ-NP-Z][A-HJ-NP-V])", 0),
    ),
    (Notation.GRID_LETTERS, _compiled(r"(?:mgrs|usng)\s?:?\s?\d{1,2}\s?[c-x](?:\s?[a-z]{2})?(?:[\s\d]{0,12})")),
    (
        Notation.GRID_LETTERS,
        _compiled(r"[ABYZ]\s?[A-HJ-Z][A-HJ-NP-Z]\s?(?:\d{5}\s?\d{5}|\d{4}\s?\d{4}|\d{3}\s?\d{3})", 0),
    ),
    (Notation.GRID_LETTERS, _compiled(r"(?!SN)[STNHOJ][A-HJ-Z]\s(?:\d{5}\s\d{5}|\d{4}\s\d{4}|\d{3}\s\d{3})", 0)),
    (
        Notation.GRID_LETTERS,
        _compiled(r"(?:grid|map)\s(?:ref|reference)\.?\s?:?\s?(?:[a-z]{1,2}\s?)?\d{2,6}(?:\s\d{2,6})?"),
    ),
    (Notation.PLUS_CODE, _compiled(r"[23456789cfghjmpqrvwx]{2,8}0{0,6}\+(?:[23456789cfghjmpqrvwx]{2,7})?")),
    (Notation.LOCATOR, _compiled(r"[a-r]{2}\d\d[a-x]{2}(?:\d\d(?:[a-x]{2})?)?")),
    (Notation.LOCATOR, _compiled(r"(?:locator|qth|maidenhead)\s?:?\s?[a-r]{2}\d\d")),
    (Notation.LOCATOR, _compiled(r"grid\ssquare\s[a-r]{2}\d\d")),
    (
        Notation.GRID_LETTERS,
        _compiled(r"[A-HJ-NP-Z][A-HJ-M][A-HJ-NP-Q]{2}\s?[0-5]\d{1,3}\s?[0-5]\d{1,3}", 0),
    ),
    (Notation.GRID_LETTERS, _compiled(r"georef\s?:?\s?[a-hj-np-z][a-hj-m](?:[a-hj-np-q]{2})?[\d\s]{0,9}")),
    (Notation.GEOHASH, _compiled(r"(?:geohash|gh)[\s:=#]{1,3}[0-9bcdefghjkmnpqrstuvwxyz]{4,12}")),
    (Notation.RADIO_LANES, _compiled(r"(?:loran|decca)(?:[\s-]?c)?[^.\n]{0,40}?\d[\d.]{1,8}")),
    (Notation.RADIO_LANES, _compiled(r"tds?[\s:=]{1,2}\d{5}(?:\.\d{1,2})?")),
)

_NAMED = re.compile(
    r"\b(?:samples?|bags?|tags?|serials?|serial numbers?|sn|s/n|parts?|part no\.?|hull|labels?|ids?|files?|numbers?|"
    r"no\.?|photos?|images?|clips?|plates?|videos?)[\s:#.]{0,3}$",
    re.IGNORECASE,
)
_KEYWORD = re.compile(r"[a-z]{2,}[\s:=#]", re.IGNORECASE)
# Notations whose codes look like the names people give to samples, parts and files.
_MISTAKABLE = frozenset({Notation.LOCATOR, Notation.GEOHASH, Notation.GRID_LETTERS, Notation.GRID_METRES})

_HASH_TOKEN = re.compile(r"(?<![\w.-])[0-9bcdefghjkmnpqrstuvwxyz]{6,12}(?![\w-])", re.IGNORECASE)
_RUNS = re.compile(r"\d{1,12}|[a-z]{1,12}")
# Durations, time stamps, picture formats, dimensions: also letters and digits in turn.
_NOT_A_HASH = re.compile(
    r"(?:\d{1,4}[dhms]){2,4}|\d{6,8}t\d{4,6}z?|\d{3,4}[pk]\d{2,3}|m?\d{1,4}x\d{1,4}(?:x\d{1,4})?[a-z]{0,2}|\d{1,2}h\d{2}"
)
_UNIT_RUNS = frozenset(
    "h m s x p k t z v d mm cm km ft nm kn kt kts khz mhz hz rpm psu utc gmt fps px mp db kg g min b n e w st nd rd th "
    "mk sn hn dn dsc gps ctd mps yd yds meters metres meter metre feet degrees degree percent secs sec hrs hundred "
    "bpm ppm ppt vdc pdf png gbps kbps mb gb kb yr yrs years year".split()
)
# Two consonants an English word begins with, of the letters geohashes use.
_OPENINGS = frozenset(
    "br cr dr fr gr pr tr wr sc sh sk sm sn sp st sw ch th wh kn gn ph qu tw dw sq ts ps rh km kw".split()
)


def find_codes(text: str) -> list[Hit]:
    """Find position codes in folded text."""
    return [hit for hit in (*_pattern_hits(text), *_geohashes(text)) if not _is_name(text, hit)]


def _pattern_hits(text: str) -> Iterator[Hit]:
    for notation, pattern in _PATTERNS:
        for match in pattern.finditer(text):
            if notation is not Notation.PLUS_CODE or _plus_code(match.group(), text[match.end() : match.end() + 6]):
                yield Hit(notation, match.start(), match.end())


def _is_name(text: str, hit: Hit) -> bool:
    if hit.notation not in _MISTAKABLE:
        return False
    if _KEYWORD.match(text, hit.start):
        return False
    return _NAMED.search(text[max(0, hit.start - 20) : hit.start]) is not None


def _plus_code(code: str, behind: str) -> bool:
    """Say if digits around a plus sign are a code, not a sum: even before the plus, and letters or a full length."""
    head, _, tail = code.partition("+")
    letters = any(character.isalpha() for character in code)
    full = len(head) == 8
    if len(head) not in (2, 4, 6, 8) or (not full and len(tail) < 2):
        return False
    unit = re.match(r"\s?(?:m|mm|cm|ft|s|kg)\b", behind)
    return full or (len(head) >= 4 and (letters or unit is None)) or (letters and len(tail) == 2)


def _geohashes(text: str) -> Iterator[Hit]:
    for match in _HASH_TOKEN.finditer(text):
        if is_geohash(match.group()):
            yield Hit(Notation.GEOHASH, match.start(), match.end())


def is_geohash(token: str) -> bool:
    """Say if a token of base-32 letters and digits reads as a geohash rather than as a name, time or unit."""
    runs = _RUNS.findall(token.lower())
    letters = [run for run in runs if run.isalpha()]
    if len(runs) < 2 or _NOT_A_HASH.fullmatch(token.lower()):
        return False
    if len(runs) == 2 and letters[0] in _UNIT_RUNS:
        return False
    if not token.islower() and (len(token) < 8 or len(runs) < 3):
        return False
    if len(runs) > 2:
        return True
    # Words and names end in figures ("wreck2"), but hardly begin with them.
    return len(letters[0]) > 2 and (token[0].isdigit() or (len(letters[0]) > 3 and _unspeakable(letters[0])))


def _unspeakable(letters: str) -> bool:
    """Say if letters are no word: four consonants together, no vowel at all, an opening or a pair no word has."""
    plain = letters.replace("ngth", "th")
    if re.search(r"[bcdfghjkmnpqrstvwxz]{4}|q(?!u)|[jv][^euy]|[^euycst]j", plain) or not set("euy") & set(plain):
        return True
    opening = plain[:2]
    return not set("euy") & set(opening) and opening not in _OPENINGS
