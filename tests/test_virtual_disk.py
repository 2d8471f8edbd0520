"""The twins in memory do what the real journal file and the real folder do, by the same checks for both."""

import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from relay.core.model import Row, RowKind
from relay.shell.record.journal import JournalFile, Minute, read_minutes
from relay.shell.released.recording import Recorder, load_recording, recording_path
from test_recording import FRAMES
from virtual_disk import MemoryJournal, MemoryPath


def row(seq: int) -> Row:
    """Return a row of a number."""
    return Row(seq, seq * 1_000, seq + 0.5, "station", RowKind.STREAM, b"line %d\n" % seq)


def real_journal(folder: Path) -> Callable[[], Any]:
    """Return what opens the real journal of a folder again and again."""
    return lambda: JournalFile(folder / "private")


def memory_journal(_: Path) -> Callable[[], Any]:
    """Return what opens one journal in memory again and again."""
    memory = MemoryJournal()
    return lambda: memory


@pytest.mark.parametrize("made", [real_journal, memory_journal])
def test_journal_keeps_rows_and_marks_all_or_none(made: Callable[[Path], Callable[[], Any]], tmp_path: Path) -> None:
    """What was committed is there when it is opened again; a commit that fails leaves neither rows nor marks."""
    opened = made(tmp_path)
    file = opened()
    assert (file.last(), file.marks(), list(file.rows())) == ((0, 0), {}, [])
    file.commit([row(1), row(2), row(3)], {"a": "1", "b": "1"})
    file.commit([], {"b": "2"})
    with pytest.raises(sqlite3.Error):
        file.commit([row(4), row(3)], {"a": "9"})
    file.commit([row(4)], {})
    file.close()
    file = opened()
    assert file.last() == (4, 4_000)
    assert file.marks() == {"a": "1", "b": "2"}
    file.keep_minutes([Minute(0, 4, bytes(32)), Minute(1, 4, bytes(32))])
    file.keep_minutes([Minute(1, 5, b"another root, of 32 bytes, as is")])
    noted = list(file.minutes.values()) if isinstance(file, MemoryJournal) else list(read_minutes(file.path))
    assert noted == file.noted_minutes() == [Minute(0, 4, bytes(32)), Minute(1, 4, bytes(32))]
    assert list(file.rows()) == [row(seq) for seq in (1, 2, 3, 4)]
    assert list(file.rows(3)) == [row(3), row(4)]
    file.close()


@pytest.mark.parametrize("made", [real_journal, memory_journal])
def test_journal_finds_the_last_decisions_before_a_row(
    made: Callable[[Path], Callable[[], Any]], tmp_path: Path
) -> None:
    """At most so many, none at or after the row, no input among them; and those asked for by number, each once."""
    file = made(tmp_path)()
    whole = [row(seq) if seq % 3 else replace(row(seq), source="desk", kind=RowKind.DECISION) for seq in range(1, 40)]
    file.commit(whole, {})
    for before, most, also, expected in (
        (40, 100, (), range(3, 40, 3)), (40, 2, (), (36, 39)), (39, 2, (), (33, 36)), (3, 2, (), ()), (4, 2, (), (3,)),
        (40, 2, (3, 36), (3, 36, 39)), (40, 0, (12,), (12,)), (40, 1, (900,), (39,)),
    ):  # fmt: skip
        assert file.decisions(before, most, also) == [whole[seq - 1] for seq in expected]
    file.close()


@pytest.mark.parametrize("made", [lambda folder: folder, lambda _: MemoryPath()], ids=["real", "memory"])
def test_folder_keeps_recordings(made: Callable[[Path], Any], tmp_path: Path) -> None:
    """A recording is written, cut, grown again over its torn tail, closed, found and read back."""
    folder = made(tmp_path)
    path = recording_path(folder, "public", 7)
    assert (path.exists(), path.name) == (False, "dive-007.recording")
    recorder = Recorder(path)
    for frame in FRAMES[:5]:
        recorder.add(frame)
    assert path.read_bytes() == b"".join(FRAMES[:5])
    with path.open("r+b") as file:
        file.seek(len(b"".join(FRAMES[:5])) - 9)
        file.truncate()
    again = Recorder(path)
    for frame in FRAMES:
        again.add(frame)
    again.close()
    assert load_recording(path).closed
    assert [found.name for found in sorted((folder / "public").glob("dive-*.recording"))] == ["dive-007.recording"]
    assert list((folder / "others").glob("dive-*.recording")) == []
    with pytest.raises(FileNotFoundError):
        (folder / "none").read_bytes()
