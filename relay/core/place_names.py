"""Forbidden names found through case, accents, punctuation, spacing and look-alike letters.

Rules: a name matches only from the start to the end of words, a plural or possessive allowed, so that a short
name inside a longer word is not found; scripts written without spaces match anywhere.
"""

import unicodedata
from collections.abc import Iterable
from itertools import product

from relay.core.place_finding import Hit, Notation
from relay.core.place_fold import Folded, fold

_DIGITS_ALIKE = str.maketrans("01345$@|", "oleassal")
_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue", "å": "aa", "Å": "Aa"})
_LEAST_FOR_DIGITS = 5
_MOST_PLURALS = 4
_UNSPACED = 0x2E80  # from here on scripts are written without spaces


def find_names(folded: Folded, forbidden: Iterable[str]) -> list[Hit]:
    """Find every forbidden name; names without a letter or digit are passed over."""
    names = sorted(set(forbidden))
    if not names:
        return []
    # Look-alikes differ between capitals and small letters, so the text is also read in small letters.
    readings = [_Reading(folded), _Reading(fold(_lower(folded.original)))]
    hits: list[Hit] = []
    for name in names:
        plain = unicodedata.normalize("NFC", name)
        for spelling in sorted({plain, _lower(plain), plain.translate(_UMLAUTS)}):
            for bare in _with_plurals(spelling):
                hits.extend(hit for reading in readings for hit in reading.occurrences(bare))
    return hits


def _lower(text: str) -> str:
    """Return `text` in small letters, the final sigma as any other, character for character."""
    return "".join(small if len(small := character.casefold()) == 1 else character for character in text)


def _with_plurals(name: str) -> list[str]:
    """Return the skeletons of a name, each word but the last with and without a plural s."""
    words = [bare for word in fold(name).text.split() if (bare := _skeleton(word)[0])]
    if not words:
        return []
    endings = [("", "s")] * (len(words) - 1) if len(words) <= _MOST_PLURALS else [("",)] * (len(words) - 1)
    return ["".join(map("".join, zip(words, (*chosen, ""), strict=True))) for chosen in product(*endings)]


def _skeleton(text: str) -> tuple[str, list[int]]:
    """Return the letters and digits alone, lower-case, with where each stood."""
    letters: list[str] = []
    places: list[int] = []
    for at, character in enumerate(text):
        if character.isalnum():
            lower = character.lower()
            letters.append(lower)
            places.extend([at] * len(lower))
    return "".join(letters), places


class _Reading:
    """One way to read the text: its letters and digits alone, with and without digits read as letters."""

    def __init__(self, folded: Folded) -> None:
        self._folded = folded
        self._skeleton, self._places = _skeleton(folded.text)
        self._alike = _digits_as_letters(self._skeleton)

    def occurrences(self, bare: str) -> list[Hit]:
        """Return where the name with this skeleton stands, in the original."""
        hits = self._found(self._skeleton, bare)
        if len(bare) >= _LEAST_FOR_DIGITS:
            hits += self._found(self._alike, _digits_as_letters(bare))
        return hits

    def _found(self, skeleton: str, bare: str) -> list[Hit]:
        hits: list[Hit] = []
        text, spaced = self._folded.text, all(ord(character) < _UNSPACED for character in bare)
        at = skeleton.find(bare)
        while at >= 0:
            start, end = self._places[at], self._places[at + len(bare) - 1] + 1
            if not spaced or (_starts_word(text, start) and _ends_word(text, end)):
                hits.append(Hit(Notation.FORBIDDEN_NAME, *self._folded.span(start, end)))
            at = skeleton.find(bare, at + 1)
        return hits


def _digits_as_letters(skeleton: str) -> str:
    return skeleton.translate(_DIGITS_ALIKE).replace("i", "l")


def _starts_word(text: str, at: int) -> bool:
    if at == 0 or not text[at - 1].isalnum():
        return True
    return (text[at].isupper() and text[at - 1].islower()) or text[at - 1].isdigit() is not text[at].isdigit()


def _ends_word(text: str, at: int) -> bool:
    for ending in ("", "s", "es", "n", "S", "ES"):
        after = at + len(ending)
        if text[at:after] != ending:
            continue
        if after >= len(text) or not text[after].isalnum():
            return True
        if text[after].isupper() and text[after - 1].islower():
            return True
        if text[after].isdigit() is not text[after - 1].isdigit():
            return True
    return False
