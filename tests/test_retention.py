"""Nothing deletes by itself: every line that can is known, and the record outlives time and whatever is done."""

import ast
import os
from collections.abc import Iterable, Iterator
from pathlib import Path

import pytest

from dives import dive_rows
from expeditions import RIGHT
from relay.__main__ import main
from relay.shell.record.journal import NAME as JOURNAL
from relay.shell.record.journal import JournalFile, read_rows
from relay.shell.record.recovered import recovered_logs
from relay.shell.record.secrets_file import open_secrets
from ship_in_hand import QUICK, sailing
from test_import_changes_nothing import brought_back

RELAY = Path(__file__).resolve().parents[1] / "relay"
TAKES_AWAY = {"unlink", "rmtree", "remove", "rmdir", "removedirs", "TemporaryDirectory", "truncate", "ftruncate"}
IN_SQL = ("DELETE FROM", "DROP TABLE", "UPDATE ", "REPLACE INTO", "VACUUM")

# Every place that takes something off the disk, and what: never a journal, a recovered log, or a whole recording.
KNOWN = {
    "shell.advise_dive._rehearsed": "a rehearsal of an invented dive",
    "shell.audit_result._write": "the beginning of its own new file, from a run that was killed",
    "shell.control.close": "its own socket",
    "shell.control.start": "a socket that a killed relay left",
    "shell.demo_run._folder": "the invented dive's folder, when the demo ends",
    "shell.publish._write": "files that it published itself before, of the same names, packed another way",
    "shell.backup.back_up": "its own copies, which are in the backup",
    "shell.exact_store.exact_store": "what it put aside itself while it reads the record",
    "shell.whole_file.scratch_file": "its own file, once it has its name or failed",
    "shell.opening.open_locked": "its own file, once it has its place or failed",
    "shell.secrets_lock._remove": "the secrets in one form, when they are there in the other",
    "shell.sums.forget_sums": "sums, when the journal they are of is about to change",
    "shell.recording._put": "what follows whole records: a tail that was never sent",
    "shell.report_page.write_report": "the beginning of its own new file",
    "shell.shore_logs._write": "ashore: what follows whole records, a tail that was never acknowledged",
    "shell.shore_named._folder": "its own empty folder, made to try whether one can be",
    "shell.tell._sent": "the original of a still whose annotation was refused",
}


# Every statement that takes a row away or its place, and of which database.
IN_SQL_KNOWN = {
    ("shell.journal", "INSERT OR REPLACE INTO mark VALUES (?, ?)"),  # marks, never a row
    ("shell.exact_store", "INSERT OR REPLACE INTO item VALUES (?, ?, ?)"),  # what it put aside itself
}


def _calls(tree: ast.AST) -> list[str]:
    """Return the names of what a source calls to take something away: of files and paths, not of values."""
    calls = [node.func for node in ast.walk(tree) if isinstance(node, ast.Call)]
    parts = [func for func in calls if isinstance(func, ast.Attribute) and func.attr in TAKES_AWAY]
    values = ("wheel", "self", "left", "labels", "counts", "_counted")
    return [
        func.attr for func in parts if func.attr != "remove" or ast.unparse(func.value).rpartition(".")[2] not in values
    ] + [func.id for func in calls if isinstance(func, ast.Name) and func.id in TAKES_AWAY]


def _sources(words: Iterable[str]) -> Iterator[tuple[str, ast.Module]]:
    """Yield the modules in whose text one of the words stands, as trees, named `part.stem`."""
    for path in sorted(RELAY.rglob("*.py")):
        text = path.read_text(encoding="utf-8")
        if any(word in text for word in words):
            yield f"{path.relative_to(RELAY).parts[0]}.{path.stem}", ast.parse(text)


def _taking_away() -> set[str]:
    found = set()
    for room, tree in _sources(TAKES_AWAY):
        functions = [node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]
        found |= {f"{room}.{function.name}" for function in functions if _calls(function)}
        if len(_calls(tree)) > sum(len(_calls(function)) for function in functions):
            found.add(f"{room}, outside of its functions")
    return found


def test_every_line_that_can_take_a_file_away_is_known() -> None:
    """A new one needs a row here that says what it takes; none of them is reached by a clock or a full disk."""
    assert _taking_away() == set(KNOWN)


def test_no_statement_takes_a_row_away() -> None:
    """The journal and the recovered logs only grow: what SQL there is that replaces does so with something else."""
    found = set()
    for room, tree in _sources(IN_SQL):
        texts = [node.value for node in ast.walk(tree) if isinstance(node, ast.Constant)]
        found |= {(room, text) for text in texts if isinstance(text, str) and any(word in text for word in IN_SQL)}
    assert found == IN_SQL_KNOWN


@pytest.mark.parametrize("source", ["import os\nos.remove('x')", "path.unlink()", "shutil.rmtree(folder)"])
def test_a_line_that_takes_away_is_found(source: str) -> None:
    """The check itself finds what it is there for."""
    assert len(_calls(ast.parse(source))) == 1


async def test_a_site_of_long_ago_keeps_everything(tmp_path: Path) -> None:
    """A relay that runs on files of 1970, backups, imports and locked secrets: all is there as it was."""
    site = tmp_path / "EXPEDITION.toml"
    site.write_text(RIGHT)
    file = JournalFile(tmp_path / "private")
    file.commit(dive_rows(60), {})
    file.close()
    open_secrets(tmp_path / "private", None)
    brought_back(tmp_path, "moth.jsonl", 10)
    recording = tmp_path / "released" / "an audience of then" / "dive-001.recording"
    recording.parent.mkdir(parents=True)
    recording.write_bytes((RELAY.parent / "recordings" / "demo-dive.recording").read_bytes())
    rows, logs, told = (
        list(read_rows(tmp_path / "private" / JOURNAL)),
        recovered_logs(tmp_path / "private"),
        _kept(tmp_path),
    )
    _date_back(tmp_path)
    async with sailing(tmp_path, quick=QUICK):
        pass
    assert main(["identity", str(tmp_path / "my.key")]) == 0
    line = _line(tmp_path / "my.key")
    assert main(["journal", "backup", str(site), "--out", str(tmp_path / "a.age"), "--to", line]) == 0
    for way in ("lock", "unlock"):
        assert main(["secrets", way, str(site), "--secrets-key", str(tmp_path / "my.key")]) == 0
    assert list(read_rows(tmp_path / "private" / JOURNAL))[: len(rows)] == rows
    assert recovered_logs(tmp_path / "private") == logs
    assert {name: _kept(tmp_path)[name] for name in told} == told


def _date_back(folder: Path) -> None:
    for path in folder.rglob("*"):
        os.utime(path, (0, 0))


def _kept(folder: Path) -> dict[str, bytes]:
    """Return the files that nothing ever changes again."""
    paths = [*folder.glob("released/*/*"), *folder.glob("private/secrets.json"), folder / "private" / "recovered.db"]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}


def _line(key: Path) -> str:
    return next(line.split()[1] for line in key.read_text().splitlines() if line.startswith("# age1"))
