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


def test_each_rule_has_its_promise() -> None:
    """Each of the rules R1 to R7 stands in the table, by its name or by the names of its parts."""
    names = {match[1] for row in rows("What Offing promises") if (match := re.match(r"\*\*([^*]+)\.\*\*", row[0]))}
    one_to_six = {"One door", "Nothing early", "Nothing placed", "Deny by default", "Nothing lost", "One way"}
    assert names >= {*one_to_six, "Derived from what is shown"}


def test_who_finds_a_fault_is_told_where_to_report_it() -> None:
    """A private way first, what to do where there is none, and no address that nobody reads."""
    part = " ".join(PAGE.partition("\n## Reporting\n")[2].partition("\n## ")[0].split())
    assert part.index("private advisory of the repository") < part.index("Where there is none")
    assert "nothing of what you found" in part
    assert "@" not in part


def test_no_page_promises_the_same_wheel_on_any_machine() -> None:
    """The test of the wheel changes folder, moments, zone and mask on one machine: no page says more."""
    pages = [path.read_text(encoding="utf-8") for path in ROOT.glob("*.md")]
    assert [] == [match for page in pages for match in re.findall(r"[^.]*\bwherever it is built\b[^.]*", page)]
    assert "built with the locked tools on one machine, the wheel is the same bytes" in PAGE


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
