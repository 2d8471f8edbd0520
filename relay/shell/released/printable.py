"""Texts of others (names in a recording, a chart, a list) made fit to be printed among words of ours."""

import json
from unicodedata import category


def printable(text: str) -> str:
    """Return a text of somebody's so that it can't be taken for lines of ours, nor do anything to a terminal."""
    return "".join(letter if letter.isprintable() else _instead_of(letter) for letter in text)


def printable_lines(text: str) -> str:
    """Return lines, each so made; their ends stay."""
    return "\n".join(map(printable, text.split("\n")))


def escaped(text: str) -> str:
    """Return JSON as the same JSON, in which nothing acts on a terminal: such letters as escapes (RFC 8259, 7)."""
    return "".join(letter if letter.isprintable() or letter == "\n" else json.dumps(letter)[1:-1] for letter in text)


def _instead_of(letter: str) -> str:
    return " " if category(letter) == "Zs" else "\N{REPLACEMENT CHARACTER}"
