"""The words of the server's pages: every language has them all, and writes numbers as its readers do."""

import re
from dataclasses import fields
from typing import Any

import pytest

from relay.core.errors import OperatorError
from relay.shell.site.page_words import CATALOGUES, DE, EN, PageWords, area, depth, duration, length, number, words_of

ALIKE = {"seconds", "minutes", "metres", "kilometres", "square_metres", "square_kilometres"}


def texts(words: PageWords) -> dict[str, Any]:
    """Return the catalogue by name, without what says which it is."""
    return {field.name: getattr(words, field.name) for field in fields(words) if field.name != "language"}


def test_catalogues_have_the_same_keys_places_and_no_text_untranslated() -> None:
    """Nothing is empty or left as it was, the keys of tables agree, and each text has the same places for numbers."""
    for name, english in texts(EN).items():
        german = texts(DE)[name]
        assert type(german) is type(english)
        if isinstance(english, dict):
            assert english.keys() == german.keys()
            assert english != german
            assert all(german.values())
        elif isinstance(english, tuple):
            assert len(english) == len(german)
            assert english != german
        else:
            assert english
            assert german
            assert set(re.findall(r"\{\w\}", english)) == set(re.findall(r"\{\w\}", german)), name
            assert english != german or name in ALIKE, name


def test_numbers_are_written_as_the_language_has_them() -> None:
    """English and German marks (Unicode CLDR, from memory): 1,234.50 and 1.234,50."""
    assert [number(1234.5, words, 2) for words in (EN, DE)] == ["1,234.50", "1.234,50"]
    assert [length(metres, EN) for metres in (0, 994, 999, 1_000, 2_190, 12_345)] == [
        "0 m", "990 m", "1 km", "1 km", "2.2 km", "12 km",
    ]  # fmt: skip
    assert [depth(metres, DE) for metres in (0, 1_118)] == ["0 m", "1.118 m"]
    assert [area(m2, EN) for m2 in (0, 39_194, 99_999, 100_000, 3.14e6, 10e6)] == [
        "0 m²", "39,000 m²", "0.10 km²", "0.10 km²", "3.1 km²", "10 km²",
    ]  # fmt: skip
    assert [duration(s, EN) for s in (0, 20, 59, 60, 2_700, 3_600, 9_540, 90_000)] == [
        "0 s", "20 s", "59 s", "1 min", "45 min", "1 h", "2 h 39 min", "25 h",
    ]  # fmt: skip


def test_language_without_a_catalogue_is_refused() -> None:
    """The operator is told which there are."""
    assert words_of("de") is CATALOGUES["de"]
    with pytest.raises(OperatorError, match=r"no words in 'fr'; one of en, de"):
        words_of("fr")
