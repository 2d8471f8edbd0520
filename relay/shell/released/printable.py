"""Texts of others (names in a recording, a chart, a list) made fit to be printed among words of ours."""

import json
from collections.abc import Callable
from typing import Any
from unicodedata import category


def printable(text: str) -> str:
    """Return a text of somebody's so that it can't be taken for lines of ours, nor do anything to a terminal."""
    return "".join(letter if letter.isprintable() else _instead_of(letter) for letter in text)


def printable_lines(text: str) -> str:
    """Return lines, each so made; their ends stay."""
    return "\n".join(map(printable, text.split("\n")))


def as_json(value: object, default: Callable[[Any], object] | None = None, indent: int | None = None) -> str:
    """Return a value as JSON that does nothing to a terminal: in its texts what isn't printable stands escaped."""
    text = json.dumps(value, ensure_ascii=False, default=default, indent=indent)
    return "".join(letter if letter.isprintable() or letter == "\n" else json.dumps(letter)[1:-1] for letter in text)


def _instead_of(letter: str) -> str:
    return " " if category(letter) == "Zs" else "\N{REPLACEMENT CHARACTER}"
