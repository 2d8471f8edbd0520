"""The repository keeps the house rules: layout, sizes, locks, versions, names, and tests that mirror the modules."""

import ast
import json
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterable, Iterator
from functools import cache
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest

import relay

ROOT = Path(__file__).resolve().parents[1]
TOP = set(
    "README.md DEVELOPERS.md CHANGELOG.md SECURITY.md LICENSE Makefile pyproject.toml requirements.lock "
    "requirements-dev.lock requirements-audit.lock requirements-mavlink.lock requirements-scale.lock "
    ".gitignore .ci relay web tests recordings bench".split()
)
FILE_LINES, FUNCTION_LINES = 400, 40
LOCKS = ("requirements.lock", "requirements-dev.lock")
LOCKS_OF_EXTRAS = {extra: f"requirements-{extra}.lock" for extra in ("audit", "mavlink", "scale")}
EXTRA_OF_LIBRARY = {
    "pymavlink": "mavlink",
    "nats-py": "scale",
    **dict.fromkeys(("h5netcdf", "matplotlib", "numpy", "scipy"), "audit"),
}

# They play stations and followers of real processes, at the pace of real ones: that is no waiting for something.
IN_REAL_TIME = (
    "ship_process.py",
    "test_live_path.py",
    "canary_voyage.py",
    "run_scale.py",
    "test_page_ship.py",
    "abused.py",
    "abuse_floods.py",
    "test_programme_live.py",
    "test_shore_live.py",
    "far_dive.py",
    "ship_end.py",
    "run_soak.py",
    "soak_voyage.py",
    "faults_clock.py",
    "killed_people.py",
    "faults_kills.py",
)

# Modules whose test is another module's, because they are parts of one thing that is tested as a whole.
TESTED_WITH: dict[str, str] = {
    **dict.fromkeys(("place_angles", "place_finding", "place_fold", "place_labels"), "place_in_text"),
    **dict.fromkeys(("place_number_words", "place_tokens", "place_words"), "place_in_text"),
    "nmea_fields": "nmea0183",
    "feed_intake": "feeds",
    "expedition_form": "expedition",
    **dict.fromkeys(("expedition_faults", "expedition_sense"), "expedition"),
    **dict.fromkeys(("uplink_link", "uplink_session"), "uplink"),
    "uplink_socket": "uplink_port",
    "plain_ground": "plain_cautions",
    "watch_words": "watched",
    "watch_file": "desk_watch",
    **dict.fromkeys(("desk_line", "desk_stream"), "desk"),
    **dict.fromkeys(("desk_audiences", "desk_decided", "desk_feeds", "desk_legs", "desk_room"), "desk_state"),
    "desk_vehicles": "desk_state",
    **dict.fromkeys(("stream_line", "stream_out", "shore_stream"), "stream_in"),
    **dict.fromkeys(("worker", "worker_talk", "shore_site"), "workers"),
    **dict.fromkeys(("guests_told", "guest_arguments"), "inviting"),
    "policy": "disclosure",
    "model": "fuse",
    "outlet": "recording",
    "import_words": "import_log",
    **dict.fromkeys(("tell", "tell_arguments"), "control"),
    "shore_form": "shore_file",
    "shore_run": "shore",
    "shore_counts": "watch",
    **dict.fromkeys(("shore_command", "until_stopped"), "shore_live"),
    "demo_run": "live_path",
    "app": "live_path",
    **dict.fromkeys(("advise_arguments", "advise_dive", "advise_picture", "advise_run"), "advise_command"),
    "advise_words": "advise_command",
    "advised_keys": "policy_file",
    **dict.fromkeys(("find_arguments", "desk_finds"), "finding"),
    "released_dive": "released_report",
    "exact_dive": "exact_report",
    **dict.fromkeys(("journal_arguments", "journal_command"), "import_log"),
    **dict.fromkeys(("locked_arguments", "locked_command"), "opening"),
    **dict.fromkeys(("dive_walk", "exact_reading", "exact_store", "exact_values"), "exact_dives"),
    **dict.fromkeys(("all_tables", "tables", "told_tables", "track_tables"), "gpkg"),
    **dict.fromkeys(("telling", "zipped"), "exporting"),
}


def _files() -> list[Path]:
    if not (ROOT / ".git").exists():
        return []
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    names = subprocess.run(command, cwd=ROOT, check=True, capture_output=True).stdout.decode().split("\0")
    return [ROOT / name for name in sorted(filter(None, names)) if (ROOT / name).is_file()]


FILES = _files()
SOURCES = [path for path in FILES if path.suffix in (".py", ".ts", ".css", ".html")]
PYTHON = [path for path in FILES if path.suffix == ".py"]
TESTS = [path for path in PYTHON if path.parent == ROOT / "tests"]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]

needs_files = pytest.mark.skipif(not FILES, reason="not a git checkout")


def _name(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def _text(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def _nodes(path: Path) -> list[ast.AST]:
    return list(ast.walk(_tree(path)))


def _called(call: ast.Call) -> str:
    """Return the last name of what is called."""
    return str(getattr(call.func, "attr", getattr(call.func, "id", "")))


def _functions(path: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    for node in _nodes(path):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


@needs_files
def test_top_level_holds_only_what_belongs_there() -> None:
    """A newcomer meets the agreed rooms and nothing else."""
    assert {path.relative_to(ROOT).parts[0] for path in FILES} - TOP == set()


@needs_files
def test_files_are_of_readable_length() -> None:
    """No file of code has more than 400 lines."""
    code = [path for path in SOURCES if path.suffix in (".py", ".ts")]
    lengths = {_name(path): len(path.read_text(encoding="utf-8").splitlines()) for path in code}
    assert {} == {name: length for name, length in lengths.items() if length > FILE_LINES}


@needs_files
def test_functions_are_of_readable_length() -> None:
    """No Python function has more than 40 lines."""
    spans = {
        f"{_name(path)}:{node.lineno} {node.name}": (node.end_lineno or 0) - node.lineno + 1
        for path in PYTHON
        for node in _functions(path)
    }
    assert {} == {name: span for name, span in spans.items() if span > FUNCTION_LINES}


@needs_files
def test_names_say_what_things_are() -> None:
    """No class or module is called by one of the words that say nothing."""
    empty = re.compile(r"manager|handler|helper|util", re.IGNORECASE)
    classes = [
        f"{_name(path)}: {node.name}"
        for path in PYTHON
        for node in _nodes(path)
        if isinstance(node, ast.ClassDef) and empty.search(node.name)
    ]
    assert [] == classes + [_name(path) for path in SOURCES if empty.search(path.stem)]


@needs_files
def test_nothing_tells_of_the_machine_it_was_written_on() -> None:
    """No tracked text holds a folder of this machine, a personal home folder, or notes left for later."""
    later = "TO" + "DO|FIX" + "ME|XX" + "X"
    told = re.compile(rf"(?<![\w./])/(?:home|root|work|Users)/\w|{re.escape(str(ROOT))}|\b(?:{later})\b")
    texts = [path for path in FILES if path.suffix not in (".lock", ".png", ".recording") and path.name != "LICENSE"]
    found = {
        f"{_name(path)}:{number}"
        for path in texts
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if told.search(line)
    }
    assert set() == found


@pytest.mark.parametrize("name", [*LOCKS, *LOCKS_OF_EXTRAS.values()])
def test_python_lock_pins_everything_and_names_no_source(name: str) -> None:
    """Every package has one exact version and its digests; where to fetch from is left to the machine."""
    text = _text(name)
    entries = re.sub(r"#.*", "", text).replace("\\\n", " ").split("\n")
    stated = [entry for entry in entries if entry.strip()]
    pinned = re.compile(r"[a-z0-9-]+==[\w.]+(?: *; [^-]+)?(?:\s+--hash=sha256:[0-9a-f]{64})+\s*")
    assert stated
    assert [] == [entry[:60] for entry in stated if not pinned.fullmatch(entry)]
    assert "://" not in text


def test_python_locks_agree() -> None:
    """What the relay runs on is what it was tested on, and the locks hold every direct dependency."""
    runs, develops = (dict(re.findall(r"^([a-z0-9-]+)==(\S+)", _text(name), re.MULTILINE)) for name in LOCKS)
    assert runs.items() <= develops.items()
    assert _required(PROJECT["dependencies"]) <= runs.keys()
    assert _required(line for lines in PROJECT["optional-dependencies"].values() for line in lines) <= develops.keys()


@pytest.mark.parametrize(("extra", "name"), LOCKS_OF_EXTRAS.items())
def test_lock_of_an_extra_is_what_it_adds_to_what_was_tested(extra: str, name: str) -> None:
    """Of every shipped extra: what it asks for is pinned, with the versions and digests of the lock for developing."""
    runs, develops, adds = (_entries(_text(lock)) for lock in (*LOCKS, name))
    assert adds.items() <= develops.items()
    assert runs.keys() & adds.keys() == set()
    assert _required(PROJECT["optional-dependencies"][extra]) <= runs.keys() | adds.keys()
    assert {*LOCKS_OF_EXTRAS, "dev"} == PROJECT["optional-dependencies"].keys()


def test_locks_of_extras_are_as_make_lock_writes_them() -> None:
    """Nobody changed them by hand, and none was forgotten when the others were chosen anew."""
    ask = [sys.executable, "-c", "import json, extra_locks; print(json.dumps(extra_locks.locks()))"]
    told = subprocess.run(ask, cwd=ROOT / "web", check=True, capture_output=True, text=True).stdout
    assert {name: _text(name) for name in LOCKS_OF_EXTRAS.values()} == json.loads(told)


def _entries(lock: str) -> dict[str, list[str]]:
    """Return version and digests of each package of a lock, by name."""
    parts = re.split(r"^(?=[a-z0-9])", lock, flags=re.MULTILINE)[1:]
    return {part.partition("==")[0]: re.findall(r"==\S+|sha256:\w+", part) for part in parts}


def _required(lines: Iterable[str]) -> set[str]:
    return {re.split(r"[>=<]", line)[0] for line in lines}


def test_web_lock_records_no_address() -> None:
    """The npm lock file names versions and digests, no registry."""
    text = _text("web/package-lock.json")
    packages = {name: entry for name, entry in json.loads(text)["packages"].items() if name}
    assert '"resolved"' not in text
    assert all(entry["integrity"].startswith("sha512-") for entry in packages.values())
    assert "omit-lockfile-registry-resolved=true" in _text("web/.npmrc")


def test_versions_agree() -> None:
    """The package, the page and the newest changelog entry are of one version."""
    newest = re.search(r"^## \[(\d[^]]*)\]", _text("CHANGELOG.md"), re.MULTILINE)
    assert newest
    page = json.loads(_text("web/package.json"))
    assert {newest[1], page["version"]} == {relay.__version__}


def test_dependencies_are_used_and_uses_declared() -> None:
    """The relay declares exactly the libraries it imports."""
    names = packages_distributions()
    imported = _libraries_of(sorted((ROOT / "relay").rglob("*.py")))
    used = {next((_normal(dist) for dist in names.get(top, ())), top) for top in imported}
    assert _required(PROJECT["dependencies"]) == used - EXTRA_OF_LIBRARY.keys()
    assert EXTRA_OF_LIBRARY.keys() <= used
    assert set(EXTRA_OF_LIBRARY.values()) <= PROJECT["optional-dependencies"].keys()


def test_tests_use_only_what_is_pinned_for_developing() -> None:
    """A library that only happens to lie on one machine is not relied on."""
    distributions = packages_distributions()
    ours = {path.stem for path in PYTHON} | {"relay"}
    used = _libraries_of([path for path in PYTHON if path.parts[-2] in ("tests", "bench", "web")]) - ours
    extras = PROJECT["optional-dependencies"]
    declared = _required([*PROJECT["dependencies"], *(line for lines in extras.values() for line in lines)])
    assert set() == {name for name in used if not {*map(_normal, distributions.get(name, ()))} & declared}


def _normal(distribution: str) -> str:
    """Return a distribution's name as PEP 503 compares names."""
    return re.sub(r"[-_.]+", "-", distribution).lower()


def _libraries_of(paths: list[Path]) -> set[str]:
    found = {top for path in paths for node in _nodes(path) for top in _libraries(node)}
    return {top for top in found if top not in sys.stdlib_module_names and top != "relay"}


def _libraries(node: ast.AST) -> list[str]:
    names: list[str] = []
    if isinstance(node, ast.Import):
        names = [alias.name for alias in node.names]
    elif isinstance(node, ast.ImportFrom):
        names = [node.module or ""]
    elif isinstance(node, ast.Call) and _called(node).endswith("import_module"):
        names = [ast.literal_eval(node.args[0])]
    return [name.partition(".")[0] for name in names]


def test_every_module_has_its_test() -> None:
    """Tests mirror the modules: `relay/core/fuse.py` is tested by `tests/test_fuse.py`."""
    modules = {path.stem for path in (ROOT / "relay").rglob("*.py") if not path.stem.startswith("__")}
    tested = {path.stem.removeprefix("test_") for path in (ROOT / "tests").glob("test_*.py")}
    assert set() == {module for module in modules if TESTED_WITH.get(module, module) not in tested}


@needs_files
def test_every_test_states_its_property() -> None:
    """Each test begins with a docstring that says what must be true."""
    unsaid = [
        f"{_name(path)}: {node.name}"
        for path in TESTS
        for node in _functions(path)
        if node.name.startswith("test_") and not ast.get_docstring(node)
    ]
    assert [] == unsaid


@needs_files
def test_no_test_sleeps() -> None:
    """Tests wait for conditions; `asyncio.sleep(0)`, which only lets others run, is no waiting."""
    sleeping = [
        f"{_name(path)}:{node.lineno}"
        for path in TESTS
        if path.name not in IN_REAL_TIME
        for node in _nodes(path)
        if isinstance(node, ast.Call) and _called(node) == "sleep" and ast.unparse(node) != "asyncio.sleep(0)"
    ]
    assert [] == sleeping


def _targets() -> set[str]:
    declared = re.findall(r"^\.PHONY: (.*)$", _text("Makefile"), re.MULTILINE)
    return {target for line in declared for target in line.split()}


def test_make_recipes_run_nothing_that_is_only_mentioned() -> None:
    """A command named in a message between backticks would be run by the shell: recipes hold none."""
    recipes = [line for line in _text("Makefile").splitlines() if line.startswith("\t")]
    assert recipes
    assert [] == [line for line in recipes if "`" in line]


def test_make_help_lists_every_target() -> None:
    """`make help` knows each target a person may ask for."""
    targets = _targets()
    shown = subprocess.run(["make", "help"], cwd=ROOT, check=True, capture_output=True, text=True).stdout
    assert targets >= {"setup", "demo", "test", "bench", "lint", "help", "site", "wheel"}
    assert targets == set(re.findall(r"^  make (\S+)", shown, re.MULTILINE))


def test_developers_page_names_every_target() -> None:
    """What can be asked of make is explained."""
    page = _text("DEVELOPERS.md")
    assert set() == {target for target in _targets() if f"`make {target}`" not in page}
