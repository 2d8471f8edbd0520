"""Each defence proven by its absence: taken out of a copy of the tree, a named test fails there that passes without."""

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

import pytest

from planted_leaks import LEAKS, table
from planting import Leak, MovedError, leak, plant

ROOT = Path(__file__).resolve().parents[1]
ASSERTED = ("assert", "Assertion", "DID NOT RAISE", "Hypothesis found")
PATIENCE_S = 240


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a run of tests on a copy said: how many ran, and the first line of every failure and error."""

    ran: int
    failures: tuple[str, ...]
    errors: tuple[str, ...]
    words: str


def copy_tree(to: Path) -> Path:
    """Copy what tests need: the relay, the tests, their settings, and the built page where there is one.

    What was compiled comes along: it is used where the source is as old and as long, so not where a leak was planted.
    """
    for folder in ("relay", "tests", "web/dist"):
        if (ROOT / folder).is_dir():
            shutil.copytree(ROOT / folder, to / folder, ignore=shutil.ignore_patterns(".*"))
    shutil.copy(ROOT / "pyproject.toml", to)
    return to


def judge(tree: Path, *tests: str) -> Verdict:
    """Run tests on a copy in a process of its own and read pytest's report (JUnit's XML)."""
    report = tree / "report.xml"
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", f"--junitxml={report}", *tests]
    environment = {**os.environ, "PYTHONPATH": str(tree), "HYPOTHESIS_STORAGE_DIRECTORY": str(tree / "examples")}
    environment.pop("PYTEST_ADDOPTS", None)
    done = subprocess.run(
        command, cwd=tree, env=environment, capture_output=True, text=True, timeout=PATIENCE_S, check=False
    )
    assert report.exists(), done.stdout + done.stderr
    cases = list(ElementTree.parse(report).iter("testcase"))
    failures, errors = (
        tuple(found.get("message", "") for case in cases for found in case.iter(kind)) for kind in ("failure", "error")
    )
    return Verdict(len(cases), failures, errors, done.stdout[-4_000:])


def judge_planted(planted: Leak, tree: Path) -> Verdict:
    """Plant a leak in a fresh copy and run the test that should catch it."""
    try:
        copy_tree(tree)
        plant(planted, tree)
        return judge(tree, planted.test)
    finally:
        shutil.rmtree(tree, ignore_errors=True)


@pytest.mark.slow
@pytest.mark.parametrize("planted", LEAKS, ids=[each.name.replace(" ", "-") for each in LEAKS])
def test_planted_leak_is_caught(planted: Leak, tmp_path: Path) -> None:
    """Without the defence its test fails, and by what it asserts, not because the copy is broken."""
    verdict = judge_planted(planted, tmp_path / "tree")
    assert verdict.ran >= 1
    assert verdict.errors == (), verdict.words
    assert verdict.failures, f"nothing caught it: {verdict.words}"
    assert all(any(word in failure for word in ASSERTED) for failure in verdict.failures), verdict.words


@pytest.mark.slow
def test_tests_that_catch_leaks_pass_without_one(tmp_path: Path) -> None:
    """On a copy with every defence in place each named test passes, none is skipped, and they are told in a table."""
    names = sorted({each.test for each in LEAKS})
    verdict = judge(copy_tree(tmp_path), *names)
    assert (verdict.failures, verdict.errors) == ((), ()), verdict.words
    assert verdict.ran >= len(names)
    assert "skipped" not in verdict.words


def test_leaks_are_told_in_a_table(request: pytest.FixtureRequest) -> None:
    """Every leak has a row of its own, with the test that catches it; the table is printed for whoever runs this."""
    rows = table().splitlines()[2:]
    assert len({each.name for each in LEAKS}) == len(LEAKS) == len(set(rows))
    assert all(each.test.removeprefix("tests/") in row for each, row in zip(LEAKS, rows, strict=True))
    request.config.get_terminal_writer().write("\n" + table() + "\n")


@pytest.mark.parametrize("old", ["no such text", "import"])
def test_patch_whose_text_is_not_there_once_breaks_loudly(old: str, tmp_path: Path) -> None:
    """A text that moved, or that stands twice, stops the list instead of planting nothing."""
    copy_tree(tmp_path)
    with pytest.raises(MovedError, match=r"core/channel\.py"):
        plant(leak("a leak", "test_channel::test_x", ("core/channel.py", old, "x")), tmp_path)
