"""Texts of others (names in a recording, a chart, a list) made fit to be printed among words of ours."""

from unicodedata import category


def printable(text: str) -> str:
    """Return a text of somebody's so that it can't be taken for lines of ours, nor do anything to a terminal."""
    return "".join(letter if letter.isprintable() else _instead_of(letter) for letter in text)


def printable_lines(text: str) -> str:
    """Return lines, each so made; their ends stay."""
    return "\n".join(map(printable, text.split("\n")))


def _instead_of(letter: str) -> str:
    return " " if category(letter) == "Zs" else "\N{REPLACEMENT CHARACTER}"
