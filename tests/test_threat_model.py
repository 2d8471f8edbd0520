"""The threat model says who is feared and what is promised, and every promise names tests that there are."""

import re
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "SECURITY.md").read_text(encoding="utf-8")


@cache
def names_of_tests() -> frozenset[str]:
    """Return every test of Python by name."""
    texts = (path.read_text(encoding="utf-8") for path in (ROOT / "tests").glob("test_*.py"))
    return frozenset(name for text in texts for name in re.findall(r"^(?:async )?def (test_\w+)", text, re.MULTILINE))


def rows(heading: str) -> list[list[str]]:
    """Return the cells of the table below a heading, without its head."""
    part = PAGE.partition(f"\n## {heading}\n")[2].partition("\n## ")[0]
    lines = [line for line in part.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def test_every_test_that_is_named_is_there() -> None:
    """A promise whose test was renamed or removed is noticed here."""
    named = set(re.findall(r"`(test_\w+)`", PAGE))
    assert len(named) > 40
    assert named - names_of_tests() == set()


def test_every_promise_is_of_a_part_and_names_a_test() -> None:
    """Three cells: a promise that begins with its name, whose it is, and what holds it."""
    promises = rows("What Offing promises")
    assert len(promises) >= 18
    for promise, part, held in promises:
        assert re.match(r"\*\*[^*]+\.\*\* ", promise + " "), promise
        assert part, promise
        assert set(re.findall(r"`(test_\w+)`", held)), promise


def test_modules_that_are_named_are_there() -> None:
    """What a promise is of is a module of the relay, or told in words."""
    stems = {path.stem for path in (ROOT / "relay").rglob("*.py")}
    named = {name for row in rows("What Offing promises") for name in re.findall(r"`(\w+)`", row[1])}
    assert named - stems == set()


def test_each_attacker_has_wants_and_can_do_something() -> None:
    """Outsiders and insiders: who, what they have, what they want, what they can do."""
    attackers = rows("Against whom")
    assert len(attackers) >= 8
    assert all(len(row) == 4 and all(row) for row in attackers)
