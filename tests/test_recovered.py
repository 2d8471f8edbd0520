"""Recovered logs on the disk: kept whole, durably and once, or not at all."""

import contextlib
import os
import sqlite3
import stat
import subprocess
import sys
import threading
from collections import namedtuple
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

import pytest

from relay.core.errors import OperatorError
from relay.core.policy import SourcePlan
from relay.shell.record import recovered
from relay.shell.record.recovered import KEEP_FREE_BYTES, NAME, RecoveredLog, keep_log, recovered_logs
from ship_process import ROOT

LOG = RecoveredLog(
    vehicle="Moth",
    name="moth-dive-3.jsonl",
    who="Ines",
    wall_s=1.7e9,
    source=SourcePlan(name="station", format="station-json", vehicle="Moth"),
    date_s=None,
    first_s=5.0,
    last_s=9.5,
    data=bytes(range(256)) * 40,
)


def test_log_is_kept_byte_for_byte_with_all_that_is_known_of_it(tmp_path: Path) -> None:
    """Read with SQLite alone: bytes, size, SHA-256, name, who and when; for the owner alone (mode 0600)."""
    assert keep_log(tmp_path, LOG) is None
    with contextlib.closing(sqlite3.connect(tmp_path / NAME)) as database:
        columns = "vehicle, name, sha256, octets, who, wall_s, first_s, last_s, data"
        rows = database.execute(f"SELECT {columns} FROM log").fetchall()
    digest = sha256(LOG.data).hexdigest()
    assert rows == [("Moth", LOG.name, digest, len(LOG.data), "Ines", 1.7e9, 5.0, 9.5, LOG.data)]
    assert stat.S_IMODE((tmp_path / NAME).stat().st_mode) == 0o600
    assert recovered_logs(tmp_path, "Moth") == [LOG]


def test_same_bytes_are_kept_once_for_a_vehicle(tmp_path: Path) -> None:
    """Whatever the file is called the second time, and whoever comes with it; another vehicle's is another log."""
    keep_log(tmp_path, LOG)
    before = (tmp_path / NAME).read_bytes()
    assert keep_log(tmp_path, replace(LOG, name="copy.jsonl", who="Tom", wall_s=1.8e9)) == LOG
    assert (tmp_path / NAME).read_bytes() == before
    other = replace(LOG, vehicle="Lantern")
    assert keep_log(tmp_path, other) is None
    assert recovered_logs(tmp_path) == [LOG, other]
    assert recovered_logs(tmp_path, "Lantern") == [other]


def test_two_who_import_the_same_at_once_keep_it_once(tmp_path: Path) -> None:
    """Whoever is second waits, and is told."""
    answers: list[RecoveredLog | None] = []
    threads = [threading.Thread(target=lambda: answers.append(keep_log(tmp_path, LOG))) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answer is None for answer in answers) == [False, False, False, True]
    assert recovered_logs(tmp_path) == [LOG]


def test_log_that_the_disk_does_not_take_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite's own limit stands for a full disk: what is wrong and what to do, nothing kept; with room it is."""
    keep_log(tmp_path, LOG)
    connect = sqlite3.connect

    def full(*places: object, **settings: object) -> sqlite3.Connection:
        database = connect(*places, **settings)  # type: ignore[call-overload]
        database.execute("PRAGMA max_page_count = 8")
        return database  # type: ignore[no-any-return]

    more = replace(LOG, name="more.jsonl", data=os.urandom(200_000))
    monkeypatch.setattr(recovered.sqlite3, "connect", full)
    with pytest.raises(
        OperatorError, match=r"recovered\.db can't be written .*full.*nothing of more\.jsonl was kept.*room"
    ):
        keep_log(tmp_path, more)
    monkeypatch.undo()
    assert recovered_logs(tmp_path) == [LOG]
    assert keep_log(tmp_path, more) is None
    assert recovered_logs(tmp_path) == [LOG, more]


@pytest.mark.parametrize("short", [0, 1])
def test_room_for_the_journal_is_left_on_the_disk(short: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """At the limit a log is kept; one byte past it, it would be the journal's room: the release would stop."""
    usage = namedtuple("usage", "total used free")(1 << 40, 0, KEEP_FREE_BYTES + len(LOG.data) - short)
    monkeypatch.setattr(recovered.shutil, "disk_usage", lambda _: usage)
    if short:
        with pytest.raises(OperatorError, match="the journal needs 256 of them, or the release stops"):
            keep_log(tmp_path, LOG)
        assert not (tmp_path / NAME).exists()
    else:
        assert keep_log(tmp_path, LOG) is None


KILLED = """\
import os, sqlite3, sys
from dataclasses import replace
from pathlib import Path
from relay.shell.record.recovered import keep_log, recovered_logs

connect = sqlite3.connect

def deadly(*places, **settings):
    database = connect(*places, **settings)
    database.set_trace_callback(lambda said: said == "COMMIT" and os.kill(os.getpid(), 9))
    return database

log = recovered_logs(Path(sys.argv[1]))[0]
sqlite3.connect = deadly
keep_log(Path(sys.argv[1]), replace(log, data=bytes(9_000_000)))
"""


def test_import_killed_before_it_is_done_leaves_nothing(tmp_path: Path) -> None:
    """Killed with megabytes already in the file, before they are committed: the next import finds it as it was."""
    keep_log(tmp_path, LOG)
    command = [sys.executable, "-c", KILLED, str(tmp_path)]
    done = subprocess.run(command, env={**os.environ, "PYTHONPATH": ROOT}, check=False)
    assert done.returncode == -9
    more = replace(LOG, data=bytes(9_000_000))
    assert keep_log(tmp_path, more) is None
    assert recovered_logs(tmp_path) == [LOG, more]


def test_log_whose_bytes_were_changed_is_not_read(tmp_path: Path) -> None:
    """A record that was altered is no exact record: it is said, with what to do."""
    keep_log(tmp_path, LOG)
    with contextlib.closing(sqlite3.connect(tmp_path / NAME, isolation_level=None)) as database:
        database.execute("UPDATE log SET data = ?", (LOG.data[:-1] + b"x",))
    with pytest.raises(OperatorError, match=r"the bytes of moth-dive-3\.jsonl are not those that were imported.*copy"):
        recovered_logs(tmp_path)


@pytest.mark.parametrize("how", ["{", "[]", "{}", "[" * 3_000])
def test_log_of_which_it_is_not_told_how_it_was_read_says_so(how: str, tmp_path: Path) -> None:
    """Beside good bytes what says how to read them can be damaged, too: no JSON, another value, beyond all bounds."""
    keep_log(tmp_path, LOG)
    with contextlib.closing(sqlite3.connect(tmp_path / NAME, isolation_level=None)) as database:
        database.execute("UPDATE log SET reading = ?", (how,))
    with pytest.raises(OperatorError, match=r"can't be read .*import the logs again"):
        recovered_logs(tmp_path)


def test_folder_without_logs_has_none_and_a_broken_file_says_so(tmp_path: Path) -> None:
    """No file, one that was made and never written, and one that is no database."""
    assert recovered_logs(tmp_path) == []
    (tmp_path / NAME).touch()
    assert recovered_logs(tmp_path) == []
    (tmp_path / NAME).write_bytes(b"no database at all, but long enough to look like a page" * 100)
    with pytest.raises(OperatorError, match=r"can't be read .*import the logs again"):
        recovered_logs(tmp_path)
    with pytest.raises(OperatorError, match="nothing of"):
        keep_log(tmp_path, LOG)
