"""Each defence proven by its absence: taken out of a copy of the tree, a named test fails there that passes without."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from subprocess import PIPE
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


def linked(whole: Path, to: Path) -> Path:
    """Return a copy of a copy, with the same files on the disk: those that `plant` changes it writes anew."""
    return Path(shutil.copytree(whole, to, copy_function=os.link))


@pytest.fixture(scope="session")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return one copy for all leaks of a process."""
    return copy_tree(tmp_path_factory.mktemp("whole"))


class Warm:
    """A pytest with its libraries loaded (`warm_pytest.py`), of which each run is a process of its own."""

    def __init__(self) -> None:
        environment = {name: os.environ[name] for name in os.environ.keys() - {"PYTHONPATH", "PYTEST_ADDOPTS"}}
        command = [sys.executable, "-P", str(Path(__file__).with_name("warm_pytest.py"))]
        self._process = subprocess.Popen(command, stdin=PIPE, stdout=PIPE, text=True, env=environment)

    def run(self, tree: Path, tests: tuple[str, ...]) -> str:
        """Run tests of a tree; return what pytest printed."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        asked = {"tree": str(tree), "out": str(tree / "words.txt"), "tests": tests, "patience_s": PATIENCE_S}
        self._process.stdin.write(json.dumps(asked) + "\n")
        self._process.stdin.flush()
        code = self._process.stdout.readline()
        return (tree / "words.txt").read_text() + f"\nexit code: {code}"

    def close(self) -> None:
        """Let it end."""
        self._process.communicate()
        assert self._process.returncode == 0


@pytest.fixture(scope="session")
def warm() -> Iterator[Warm]:
    """Yield one warm pytest for all leaks of a process."""
    ready = Warm()
    yield ready
    ready.close()


def judge(warm: Warm, tree: Path, *tests: str) -> Verdict:
    """Run tests on a copy in a process of its own and read pytest's report (JUnit's XML)."""
    report, words = tree / "report.xml", warm.run(tree, tests)
    assert report.exists(), words
    cases = list(ElementTree.parse(report).iter("testcase"))
    failures, errors = (
        tuple(found.get("message", "") for case in cases for found in case.iter(kind)) for kind in ("failure", "error")
    )
    return Verdict(len(cases), failures, errors, words[-4_000:])


def judge_planted(warm: Warm, planted: Leak, whole: Path, tree: Path) -> Verdict:
    """Plant a leak in a fresh copy and run the test that should catch it."""
    try:
        plant(planted, linked(whole, tree))
        return judge(warm, tree, planted.test)
    finally:
        shutil.rmtree(tree, ignore_errors=True)


@pytest.mark.slow
@pytest.mark.parametrize("planted", LEAKS, ids=[each.name.replace(" ", "-") for each in LEAKS])
def test_planted_leak_is_caught(planted: Leak, tmp_path: Path, warm: Warm, whole: Path) -> None:
    """Without the defence its test fails, and by what it asserts, not because the copy is broken."""
    verdict = judge_planted(warm, planted, whole, tmp_path / "tree")
    assert verdict.ran >= 1
    assert verdict.errors == (), verdict.words
    assert verdict.failures, f"nothing caught it: {verdict.words}"
    assert all(any(word in failure for word in ASSERTED) for failure in verdict.failures), verdict.words


@pytest.mark.slow
def test_tests_that_catch_leaks_pass_without_one(tmp_path: Path, warm: Warm) -> None:
    """On a copy with every defence in place each named test passes, none is skipped, and they are told in a table."""
    names = sorted({each.test for each in LEAKS})
    verdict = judge(warm, copy_tree(tmp_path), *names)
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
    (tmp_path / "relay" / "core").mkdir(parents=True)
    shutil.copy(ROOT / "relay" / "core" / "channel.py", tmp_path / "relay" / "core")
    with pytest.raises(MovedError, match=r"core/channel\.py"):
        plant(leak("a leak", "test_channel::test_x", ("core/channel.py", old, "x")), tmp_path)


def test_leak_is_planted_in_one_copy_alone(tmp_path: Path) -> None:
    """What a leak changes is written anew: the copy that the next one is made of stays as it was."""
    source = ROOT / "relay" / "core" / "channel.py"
    (tmp_path / "whole" / "relay" / "core").mkdir(parents=True)
    shutil.copy(source, tmp_path / "whole" / "relay" / "core")
    tree = linked(tmp_path / "whole", tmp_path / "tree")
    plant(leak("a leak", "test_channel::test_x", ("core/channel.py", "class Channel:", "class Leaky:")), tree)
    assert "class Leaky:" in (tree / "relay" / "core" / "channel.py").read_text(encoding="utf-8")
    assert (tmp_path / "whole" / "relay" / "core" / "channel.py").read_bytes() == source.read_bytes()
