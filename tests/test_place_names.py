"""Forbidden names: found through spelling, not inside other words."""

import string
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from relay.core.place_fold import fold
from relay.core.place_in_text import Notation, find_places
from relay.core.place_names import find_names


@pytest.mark.parametrize("text", ["harold says hello", "charo", "the pointed harpoon", "Pharos", "sharon"])
def test_short_name_inside_a_word_passes(text: str) -> None:
    """A name counts from the start of a word to the end of one."""
    assert find_places(text, forbidden=["Haro"]) == []


def test_name_is_marked_where_it_stands() -> None:
    """The finding covers the name, its joints included, and nothing else."""
    (finding,) = find_places("We passed Point-Hàro’s light", forbidden=["point haro"])
    assert finding.notation is Notation.FORBIDDEN_NAME
    assert finding.excerpt == "Point-Hàro"


@pytest.mark.parametrize("name", ["", " ", "—", "\u200b", "!!"])
def test_name_without_letters_forbids_nothing(name: str) -> None:
    """An empty name does not stop every text."""
    assert find_places("Bow in sight, 14:32.", forbidden=[name]) == []


@pytest.mark.parametrize(
    ("name", "text"), [("雨霧岬", "これは雨霧岬です"), ("Велград", "велград"), ("Σκέρος", "ΣΚΕΡΟΣ")]
)
def test_names_of_other_scripts_are_found(name: str, text: str) -> None:
    """Scripts without spaces or with other capitals are matched too."""
    assert find_places(text, forbidden=[name])


words = st.text(string.ascii_letters, min_size=3, max_size=9)
joints = st.sampled_from(["", " ", "-", "_", ".", " - ", "\u00a0", "\u200b", "/", "\n", "’"])
endings = st.sampled_from(["", "s", "'s", "’s", "!", ",", " light"])
letter_cases = st.sampled_from([str.upper, str.lower, str.title, str])


@given(st.lists(words, min_size=1, max_size=3), joints, endings, letter_cases, st.booleans())
def test_name_is_found_in_every_spelling(
    name: list[str], joint: str, ending: str, letter_case: Callable[[str], str], spread: bool
) -> None:
    """Case, joints, plural, possessive and spaced letters do not hide a name."""
    written = letter_case(joint.join(name))
    if spread:
        written = " ".join(written)
    hits = find_names(fold(f"We passed {written}{ending} at dawn"), [" ".join(name)])
    assert (10, 10 + len(written)) in {(hit.start, hit.end) for hit in hits}
