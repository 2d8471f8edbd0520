"""A pytest that is warm: it has loaded a tree's tests and all they import, and each run is a process forked from it.

Reads one JSON line at a time, and answers with pytest's exit code. `load` is asked for once, while the tree is as it
should be. A run forgets the modules of the files that were changed since, and every module that imports one of them at
whatever remove: it takes those from the tree again, as a pytest that starts there would take them all.
"""

import builtins
import contextlib
import gc
import json
import os
import signal
import sys
import tempfile
from collections.abc import Iterator, Sequence
from importlib import import_module
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

IMPORTS: dict[str, set[str]] = {}  # what each module has imported while it was loaded
# The plugins by name: looking for them takes a fifth of a run.
FIRST = "-q -p no:cacheprovider --disable-plugin-autoload -p pytest_asyncio.plugin -p _hypothesis_pytestplugin".split()


class Folder(pytest.Directory):
    """A folder of which only the files that are asked for are looked at, once, and not the hundreds beside them."""

    files: tuple[Path, ...]
    found: list[pytest.Item | pytest.Collector] | None = None

    def collect(self) -> list[pytest.Item | pytest.Collector]:
        if self.found is None:
            self.found = []
            below = [
                self.path / file.relative_to(self.path).parts[0] for file in self.files if self.path in file.parents
            ]
            for path in dict.fromkeys(below):
                if path in self.files:
                    self.found += self.ihook.pytest_collect_file(file_path=path, parent=self)
                else:
                    self.found.append(self.ihook.pytest_collect_directory(path=path, parent=self))
        return self.found


class Asked:
    """A plugin that looks for tests in the files that are asked for alone."""

    def __init__(self, tree: str, tests: Sequence[str]) -> None:
        self._files = tuple(Path(tree) / name for name in dict.fromkeys(test.partition("::")[0] for test in tests))

    def pytest_collect_directory(self, path: Path, parent: pytest.Collector) -> pytest.Collector:
        """Return a folder that knows them."""
        folder: Folder = Folder.from_parent(parent, path=path)
        folder.files = self._files
        return folder


class Loading(Asked):
    """One that loads their modules, and makes no tests of them."""

    def pytest_pycollect_makeitem(self) -> list[pytest.Item]:
        """Say that whatever is in a module is none."""
        return []


def load_libraries() -> None:
    """Load what the tests of planted leaks need, each by its own name."""
    import_module("aiohttp.web")
    import_module("cryptography.hazmat.primitives.asymmetric.ed25519")
    import_module("geographiclib.geodesic")
    import_module("gsw")
    import_module("hypothesis.strategies")
    import_module("jinja2")
    import_module("msgpack")
    import_module("msgspec.json")
    import_module("numpy")
    import_module("PIL.JpegImagePlugin")
    import_module("pydantic")
    import_module("pynmeagps")
    import_module("pyproj")
    import_module("rich.console")
    import_module("shapely")
    import_module("uvloop")
    import_module("websockets")


def warm() -> None:
    """Load the libraries, and pytest's plugins by a run of its own, which finds nothing."""
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        assert pytest.main([*FIRST]) == pytest.ExitCode.NO_TESTS_COLLECTED
        os.chdir("/")
    load_libraries()
    assert "relay" not in sys.modules


@contextlib.contextmanager
def noted(tree: str) -> Iterator[None]:
    """Meanwhile note what modules of a tree import; of `from a import b` either may be the module."""
    plain = builtins.__import__

    def note(name: str, *given: Any, **named: Any) -> ModuleType:
        found: ModuleType = plain(name, *given, **named)
        scope, _, picked = (*given, None, None, None)[:3]
        if scope is not None and str(scope.get("__file__")).startswith(f"{tree}/"):
            IMPORTS.setdefault(scope["__name__"], set()).update((name, *(f"{name}.{each}" for each in picked or ())))
        return found

    builtins.__import__ = note
    try:
        yield
    finally:
        builtins.__import__ = plain


def load(tree: str, tests: list[str]) -> int:
    """Load the modules of tests of a tree that is as it should be; return pytest's exit code, of no tests collected."""
    os.chdir(tree)
    with noted(tree):
        code = pytest.main([*FIRST, "-qq", "--collect-only", *tests], plugins=[Loading(tree, tests)])
    gc.collect()
    gc.freeze()  # no run looks through all that again, nor takes a copy of its memory by doing so
    return int(code)


def forget(changed: Sequence[str]) -> None:
    """Let modules of files below the tree be loaded anew, with all that stand on them."""
    gone: set[str] = set()
    more = {".".join(Path(file).with_suffix("").parts) for file in changed}
    while more:
        gone |= more
        more = {importer for importer, names in IMPORTS.items() if not names.isdisjoint(gone)} - gone
    for name in gone & sys.modules.keys():
        package, _, last = name.rpartition(".")
        vars(sys.modules.get(package, ModuleType(""))).pop(last, None)
        del sys.modules[name]
    left = {name: vars(sys.modules[name]) for name in IMPORTS if name in sys.modules and name != "__main__"}
    held = {name for name, values in left.items() for each in values.values() if getattr(each, "__module__", 0) in gone}
    assert not held, f"modules that hold what was forgotten: {held}"


def run(tree: str, folder: str, tests: list[str], changed: list[str], patience_s: int) -> int:
    """Run tests of a tree in this process, and return pytest's exit code; no output but into files of a folder."""
    signal.alarm(patience_s)
    with Path(folder, "words.txt").open("wb") as words, Path(os.devnull).open("rb") as nothing:
        for number, file in enumerate((nothing, words, words)):
            os.dup2(file.fileno(), number)
    os.chdir(tree)
    os.environ.update(PYTHONPATH=tree, HYPOTHESIS_STORAGE_DIRECTORY=f"{folder}/examples", OFFING_EXAMPLES="planted")
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"  # what is compiled in a tree is that of what was not changed
    sys.dont_write_bytecode = True
    sys.path.insert(0, tree)
    forget(changed)
    told = (f"--junitxml={folder}/report.xml", "--tb=native")
    return int(pytest.main([*FIRST, "-x", *told, *tests], plugins=[Asked(tree, tests)]))


def main() -> int:
    """Serve until there is nobody who asks. A run's own process ends without tidying what it shares."""
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "w")
    os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # what anybody else prints is no answer
    warm()
    while line := sys.stdin.readline():
        do, asked = json.loads(line)
        if do == "load":
            print(load(**asked), file=answers, flush=True)
            continue
        process = os.fork()
        if process == 0:
            code = run(**asked)
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
        _, status = os.waitpid(process, 0)
        print(os.waitstatus_to_exitcode(status), file=answers, flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
