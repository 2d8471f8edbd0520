"""Who may import whom: the rooms of the design as a table, and the one door that mints released records.

A row reads `room: "rooms it may import | libraries it may import"`, names of the same part (core, shell, audit)
unless they say `core.` or `shell.`. Names of files are unique in each part, so a row doesn't say in which folder of it
a room is.
A module without a row fails, so a new room begins with a line here.
"""

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from import_rows import AUDIT, CORE, SHELL

ROOT = Path(__file__).resolve().parents[1]
FILES = [path for path in sorted((ROOT / "relay").rglob("*.py")) if path.name != "__init__.py"]
PACKAGES = {".".join(path.parent.relative_to(ROOT).parts) for path in (ROOT / "relay").rglob("__init__.py")}


def room_of(path: Path) -> str:
    """Return the name of a module of ours below `relay`: `core.fuse`, `shell.desk`."""
    return _room(list(path.relative_to(ROOT / "relay").with_suffix("").parts))


def _room(parts: list[str]) -> str:
    return ".".join([parts[0], parts[-1]] if len(parts) == 3 else parts)


# In which folder of its part each room is.
FOLDERS = {room_of(path): path.parent.name for path in FILES}

# What the core may take from the standard library without a word in its row: values and pure functions.
PURE = set(
    "array base64 binascii bisect collections dataclasses enum functools hashlib heapq hmac http importlib itertools "
    "json math operator re string struct typing urllib".split()
)
PURE_PARTS = {"http": {"http"}, "urllib": {"urllib.parse"}, "importlib": {"importlib"}}
IMPURE_CALLS = set("__import__ breakpoint compile eval exec globals input open print".split())
IMPURE_METHODS = set("now utcnow today fromtimestamp get_running_loop getenv".split())

# The rooms whose sockets strangers reach: they handle bytes that were released, and know of nothing exact.
PUBLIC = set(
    "answers conversation front gate pages representation site viewer wheel uplink uplink_link uplink_plan uplink_port "
    "uplink_session uplink_socket uplink_tls".split()
)
EXACT_FOLDERS = ("record", "proofs", "locked", "exact", "report", "finds")
EXACT = set(
    "fuse geodesy disclosure embargo pipeline channel secrets model sources own_time exact_record "
    "overdue reach survey swath target_position sighting hiding desk_record decision "
    "survey_plan survey_day ground kept_track watched watch_words find finds".split()
) | {
    "shell.journal",
    "shell.recovered",
    "shell.import_log",
    "shell.secrets_file",
    "shell.feeds",
    "shell.checkpoint",
    "shell.control",
    "shell.deciding",
    "shell.expedition",
    "shell.standing",
    "shell.taking",
    "shell.desk_sense",
    "shell.desk_watch",
    "shell.watch_file",
    *(room for room, folder in FOLDERS.items() if folder in EXACT_FOLDERS),
}


def row_of(room: str) -> tuple[set[str], set[str]]:
    """Return the modules of ours and the other modules that `room` (like `core.fuse`) may import."""
    main = (
        "relay shell.advise_arguments shell.advise_command shell.app shell.audit_arguments "
        "shell.audit_command shell.exit_code shell.guest_arguments shell.reading_arguments "
        "shell.find_arguments shell.finding shell.import_log shell.journal_arguments "
        "shell.journal_command shell.locked_arguments "
        "shell.locked_command shell.proof_arguments shell.proving shell.reporting shell.shore_command shell.tell "
        "shell.tell_arguments shell.verify"
    )
    if room == "__main__":
        row, folder = main, ""
    else:
        folder, _, name = room.partition(".")
        row = {"core": CORE, "shell": SHELL, "audit": AUDIT}[folder][name]
    ours, _, others = row.partition("|")
    full = {name if "." in name else f"{folder}.{name}" for name in ours.split()} if folder else set(ours.split())
    return full, set(others.split())


def imports_of(source: str) -> Iterator[str]:
    """Yield every module a source imports, wherever in it, those named to `import_module` too."""
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0 and node.module, "imports are absolute"
            inside = node.module in PACKAGES and any(alias.name[:1].islower() for alias in node.names)
            yield from (f"{node.module}.{alias.name}" for alias in node.names) if inside else (node.module,)
        elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith("import_module"):
            target = node.args[0]
            assert isinstance(target, ast.Constant) and isinstance(target.value, str), "a module named at run time"
            yield target.value


def faults_of(room: str, source: str) -> list[str]:
    """Return what `source` does that the row of `room` forbids."""
    ours, others = row_of(room)
    faults = []
    for module in imports_of(source):
        top, _, rest = module.partition(".")
        if top == "relay":
            if _room(rest.split(".")) not in ours and not (rest == "" and room == "__main__"):
                faults.append(f"{room} imports {module}")
        elif top not in others and not _free(room, module):
            faults.append(f"{room} imports {module}")
    return faults + (_impurities(room, source) if room.startswith("core") else [])


def _free(room: str, module: str) -> bool:
    """Whether a library needs no word in the row."""
    top = module.partition(".")[0]
    if not room.startswith("core"):
        return top in sys.stdlib_module_names
    return top in PURE and (top not in PURE_PARTS or module in PURE_PARTS[top])


def _impurities(room: str, source: str) -> list[str]:
    calls = [node.func for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Call)]
    plain = [call.id for call in calls if isinstance(call, ast.Name) and call.id in IMPURE_CALLS]
    methods = [call.attr for call in calls if isinstance(call, ast.Attribute) and call.attr in IMPURE_METHODS]
    return [f"{room} calls {name}" for name in plain + methods]


def door_faults(room: str, source: str) -> list[str]:
    """Return how `source` would get round the door: by the minting key, the record's constructor or a copy of one."""
    if room == "core.release":
        return []
    faults = []
    knows_records = "relay.core.release" in set(imports_of(source))
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and node.module == "relay.core.release":
            faults += [name.name for name in node.names if name.name.startswith("_") or name.name == "*"]
        elif isinstance(node, ast.Attribute) and node.attr in ("minted", "_mint", "_KEY", "__setattr__", "__new__"):
            faults.append(node.attr)
        elif isinstance(node, ast.Call) and ast.unparse(node.func).rpartition(".")[2] == "ReleasedRecord":
            faults.append("ReleasedRecord()")
        elif knows_records and isinstance(node, ast.Import | ast.ImportFrom):
            faults += [name.name for name in node.names if name.name in ("replace", "copy", "pickle", "deepcopy")]
    return [f"{room} uses {fault}" for fault in faults]


MODULES = {room_of(path): path for path in FILES}


def test_folders_hold_a_word_about_themselves_and_nothing_else() -> None:
    """A folder's own file is a docstring alone, and no two rooms of the shell, or of the audit, have one name."""
    for path in (ROOT / "relay").glob("*/**/__init__.py"):
        assert [ast.Expr] == [type(node) for node in ast.parse(path.read_text(encoding="utf-8")).body], path
    assert len(MODULES) == len(FILES)


@pytest.mark.parametrize("room", MODULES)
def test_module_imports_only_what_its_row_allows(room: str) -> None:
    """Every module has a row and keeps to it; the core stays free of I/O, clocks, randomness and environment."""
    assert [] == faults_of(room, MODULES[room].read_text(encoding="utf-8"))


@pytest.mark.parametrize("room", MODULES)
def test_only_release_mints_released_records(room: str) -> None:
    """Nobody else touches the minting key, makes a released record or alters a copy of one (R1)."""
    assert [] == door_faults(room, MODULES[room].read_text(encoding="utf-8"))


def test_only_the_channel_holds_a_release_log() -> None:
    """What mints records is in one hand."""
    holders = {room for room, path in MODULES.items() if "ReleaseLog" in path.read_text(encoding="utf-8")}
    assert holders == {"core.release", "core.channel"}


def test_public_rooms_know_nothing_exact() -> None:
    """What strangers reach has no row that leads to exact positions, secrets, the journal or the feeds (R1)."""
    exact = {name if "." in name else f"core.{name}" for name in EXACT}
    assert {} == {room: found for room in PUBLIC if (found := row_of(f"shell.{room}")[0] & exact)}


def _reached(first: str) -> set[str]:
    """Return the rooms that a room loads, and whatever those load."""
    reached, ahead = set[str](), {first}
    while ahead:
        room = ahead.pop()
        reached.add(room)
        ahead |= row_of(room)[0] - reached
    return reached


def test_shore_reaches_no_room_that_holds_what_is_exact() -> None:
    """Whatever a shore loads, and whatever that loads: no way leads to journal, secrets, feeds or desk (R1)."""
    reached = _reached("shell.shore_command")
    assert {"shell.shore_logs", "shell.uplink_port"} <= reached
    aboard = {room for room in EXACT if room.startswith("shell.")} | {"core.pipeline", "core.channel", "core.embargo"}
    assert reached & (aboard | {"shell.ship", "shell.outlet", "shell.desk", "shell.app"}) == set()


# The rooms that a recovered log goes through: none of them leads to what is released.
RECOVERED = {"core.own_time", "core.exact_record", "shell.recovered", "shell.import_log"}


def test_recovered_logs_have_no_way_into_what_is_released() -> None:
    """Commands and the rooms of the exact record alone import those of recovered logs; the ship reaches none."""
    table = {"core": CORE, "shell": SHELL, "audit": AUDIT}
    rooms = {f"{folder}.{room}" for folder, rows in table.items() for room in rows}
    users = {room for room in rooms if row_of(room)[0] & RECOVERED} - RECOVERED
    assert users and "shell.import_log" in row_of("__main__")[0]
    assert {room for room in users if FOLDERS[room] not in EXACT_FOLDERS} == set()
    releasing = {f"core.{name}" for name in "pipeline channel embargo fuse disclosure release wire".split()}
    assert {} == {room: found for room in RECOVERED if (found := row_of(room)[0] & (releasing | {"shell.ship"}))}
    assert _reached("shell.ship") & RECOVERED == set()


def test_core_never_imports_the_shell_and_audit_only_what_was_released() -> None:
    """The table itself keeps the layers: core below shell, and an audit that sees what an outsider sees."""
    for room in CORE:
        assert {name.partition(".")[0] for name in row_of(f"core.{room}")[0]} <= {"core"}
    for room in AUDIT:
        needed = row_of(f"audit.{room}")[0]
        assert all(name.startswith(("audit.", "core.")) or name == "shell.recording" for name in needed)


def test_table_has_no_circles() -> None:
    """Rows can be read from the bottom up: no two rooms need each other."""
    table = {"core": CORE, "shell": SHELL, "audit": AUDIT}
    left = {f"{folder}.{room}" for folder, rows in table.items() for room in rows}
    while ready := {room for room in left if not row_of(room)[0] & left}:
        left -= ready
    assert left == set()


PLANTED = [
    ("core.fuse", "import socket"),
    ("core.fuse", "from time import monotonic"),
    ("core.fuse", "import os.path"),
    ("core.fuse", "import urllib.request"),
    ("core.fuse", "from relay.shell.record.clock import EmbargoClock"),
    ("core.fuse", "def f():\n    import random"),
    ("core.fuse", "from importlib import import_module\nimport_module('secrets')"),
    ("core.fuse", "open('x')"),
    ("core.nmea0183", "from datetime import datetime\ndatetime.now()"),
    ("core.wire", "from relay.core.disclosure import Report"),
    ("shell.site", "from relay.shell.record.journal import Journal"),
    ("shell.clock", "import numpy"),
    ("__main__", "from relay.shell import site"),
]


@pytest.mark.parametrize(("room", "source"), PLANTED)
def test_forbidden_import_is_found(room: str, source: str) -> None:
    """The check itself finds what it is there for."""
    assert len(faults_of(room, source)) == 1


SIDE_DOORS = [
    "from relay.core.release import _KEY",
    "from relay.core import release\nrelease._KEY",
    "from relay.core.release import ReleasedRecord\nReleasedRecord()",
    "from relay.core.release import ReleasedRecord\nfrom dataclasses import replace",
    "record.minted",
    "log._mint(0, 0, None)",
]


@pytest.mark.parametrize("source", SIDE_DOORS)
def test_side_door_is_found(source: str) -> None:
    """Each way round the door is seen by the check."""
    assert door_faults("core.channel", source)


def test_module_without_a_row_fails() -> None:
    """A new room needs a line in the table."""
    with pytest.raises(KeyError):
        faults_of("core.new_room", "")
