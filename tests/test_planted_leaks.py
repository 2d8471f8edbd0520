"""Each defence proven by its absence: taken out of a copy of the tree, a named test fails there that passes without."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from subprocess import PIPE
from xml.etree import ElementTree

import pytest

from planted_leaks import LEAKS, table
from planting import Leak, MovedError, leak, planted_in

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


class Warm:
    """A pytest that has loaded all of a copy (`warm_pytest.py`), of which each run is a process of its own."""

    def __init__(self, tree: Path) -> None:
        self.tree = tree
        environment = {name: os.environ[name] for name in os.environ.keys() - {"PYTHONPATH", "PYTEST_ADDOPTS"}}
        command = [sys.executable, "-P", str(Path(__file__).with_name("warm_pytest.py"))]
        self._process = subprocess.Popen(command, stdin=PIPE, stdout=PIPE, text=True, env=environment)
        files = sorted({each.test.partition("::")[0] for each in LEAKS})
        assert self._ask("load", tests=files) == pytest.ExitCode.NO_TESTS_COLLECTED

    def _ask(self, do: str, **asked: object) -> int:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps((do, {"tree": str(self.tree), **asked})) + "\n")
        self._process.stdin.flush()
        return int(self._process.stdout.readline())

    def run(self, folder: Path, tests: Sequence[str], changed: Sequence[str]) -> str:
        """Run tests once files were changed, with a report in a folder; return what pytest printed."""
        code = self._ask("run", folder=str(folder), tests=tests, changed=changed, patience_s=PATIENCE_S)
        return (folder / "words.txt").read_text() + f"\nexit code: {code}"

    def close(self) -> None:
        """Let it end."""
        self._process.communicate()
        assert self._process.returncode == 0


@pytest.fixture(scope="session")
def warm(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Warm]:
    """Yield one warm pytest, and one copy, for all leaks of a process."""
    ready = Warm(copy_tree(tmp_path_factory.mktemp("whole")))
    yield ready
    ready.close()


def judge(warm: Warm, folder: Path, tests: Sequence[str], leaks: Sequence[Leak]) -> Verdict:
    """Run tests in a process of its own, with all loaded anew that leaks change; read pytest's report (JUnit's XML)."""
    changed = sorted({f"relay/{patch.file}" for each in leaks for patch in each.patches})
    report, words = folder / "report.xml", warm.run(folder, tests, changed)
    assert report.exists(), words
    cases = list(ElementTree.parse(report).iter("testcase"))
    failures, errors = (
        tuple(found.get("message", "") for case in cases for found in case.iter(kind)) for kind in ("failure", "error")
    )
    return Verdict(len(cases), failures, errors, words[-4_000:])


@pytest.mark.slow
@pytest.mark.parametrize("planted", LEAKS, ids=[each.name.replace(" ", "-") for each in LEAKS])
def test_planted_leak_is_caught(planted: Leak, tmp_path: Path, warm: Warm) -> None:
    """Without the defence its test fails, and by what it asserts, not because the copy is broken."""
    with planted_in(warm.tree, planted):
        verdict = judge(warm, tmp_path, [planted.test], [planted])
    assert verdict.ran >= 1
    assert verdict.errors == (), verdict.words
    assert verdict.failures, f"nothing caught it: {verdict.words}"
    assert all(any(word in failure for word in ASSERTED) for failure in verdict.failures), verdict.words


@pytest.mark.slow
def test_tests_that_catch_leaks_pass_without_one(tmp_path: Path, warm: Warm) -> None:
    """On a copy with every defence in place, all loaded anew, each named test passes, and none is skipped."""
    names = sorted({each.test for each in LEAKS})
    verdict = judge(warm, tmp_path, names, LEAKS)
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
    planted = leak("a leak", "test_channel::test_x", ("core/channel.py", old, "x"))
    with pytest.raises(MovedError, match=r"core/channel\.py"), planted_in(tmp_path, planted):
        pytest.fail("planted")


def test_leak_is_gone_when_it_was_judged(tmp_path: Path) -> None:
    """The next one finds every file as it was, of the same age, so that what was compiled of it still counts."""
    source = ROOT / "relay" / "core" / "channel.py"
    folder = tmp_path / "relay" / "core"
    folder.mkdir(parents=True)
    copy = Path(shutil.copy2(source, folder))
    patches = (("core/channel.py", "class Channel:", "class Leaky:"), ("core/channel.py", "class Leaky:", "class Bad:"))
    with planted_in(tmp_path, leak("a leak", "test_channel::test_x", *patches)):
        assert "class Bad:" in copy.read_text(encoding="utf-8")
    assert copy.read_bytes() == source.read_bytes()
    assert copy.stat().st_mtime_ns == source.stat().st_mtime_ns
    assert list(folder.iterdir()) == [copy]
