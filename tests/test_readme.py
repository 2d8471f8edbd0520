"""What the README has a reader type is taken by the program: a newcomer has the README alone."""

import re
import shlex
from pathlib import Path

import pytest

from relay.__main__ import _parser

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")


def typed() -> list[str]:
    """Return the commands in the README's blocks, continued lines joined, without what is said beside them."""
    blocks = re.findall(r"^```(\w*)\n(.*?)^```", README, re.DOTALL | re.MULTILINE)
    lines = "\n".join(block for language, block in blocks if not language).replace("\\\n", " ").splitlines()
    return [line for line in lines if line.startswith("offing ")]


def named() -> set[str]:
    """Return the commands that the README's text names, in `offing WORD`."""
    return set(re.findall(r"`offing ([a-z]+)", README))


@pytest.mark.parametrize("line", typed())
def test_what_is_typed_is_taken(line: str) -> None:
    """Each argument of a command in a block is one of that command's."""
    _parser().parse_args(shlex.split(line, comments=True)[1:])


def test_whole_circle_is_shown() -> None:
    """Key, find, export, proof, opening, checking, backup: a block has each of them, and no name is unknown."""
    shown = {tuple(shlex.split(line, comments=True)[1:3]) for line in typed()}
    words = {one for one, _ in shown}
    assert {"identity", "find", "prove", "key", "verify", "open", "report", "secrets"} <= words
    assert {("journal", "export"), ("journal", "backup")} <= shown
    for word in named():
        with pytest.raises(SystemExit) as ended:
            _parser().parse_args([word, "--help"])
        assert 0 == ended.value.code, word
