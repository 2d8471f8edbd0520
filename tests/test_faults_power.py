"""The program that cuts the power, in short; what a disk may hold then; and a careless relay, which it finds."""

from collections.abc import Iterator
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

import pytest

import faults_power
from disk_model import Disk, Loss
from failing_disk import Call, in_shares

HERE = Path(__file__).parent
ROOT = Path("/site")


@pytest.fixture
def short_path() -> Iterator[Path]:
    """Give a folder with a short name: a socket's path has at most 107 octets (unix(7))."""
    with TemporaryDirectory(prefix="offing-") as folder:
        yield Path(folder)


@pytest.mark.slow
def test_power_cuts_break_no_rule(short_path: Path) -> None:
    """Cut at some calls of a day: what was released or acknowledged is there, and nothing comes early."""
    outcome = faults_power.run(4, 6, short_path)
    assert (outcome.tried, outcome.looked, outcome.wrong) == (4, 4, [])


@pytest.mark.slow
def test_power_cuts_find_a_journal_that_syncs_nothing(short_path: Path) -> None:
    """The positive control: SQLite told to sync nothing loses rows that had been handed on, or all of its file."""
    cuts = [wrong for fault, wrong in in_shares(HERE / "planted_power.py", 3, 6, short_path) if fault.startswith("cut")]
    assert len(cuts) == 3
    signs = ("is lost", "malformed", "can't be read", "refused to start", "isn't in the journal run again")
    assert any(sign in words for wrong in cuts for words in wrong for sign in signs)


def made(name: str, inode: int) -> Call:
    """Return the call that makes a file."""
    return Call("O", inode, 1, f"/site/{name}".encode(), b"")


def wrote(inode: int, at: int, data: bytes) -> Call:
    """Return the call that writes."""
    return Call("W", inode, at, data, b"")


def synced(path: str, inode: int = 0, what: str = "S") -> Call:
    """Return the call that syncs a file or folder."""
    return Call(what, inode, 0, path.encode(), b"")


def left(calls: list[Call], loss: Loss, to: Path, seed: int = 1) -> dict[str, bytes]:
    """Return the files that a cut after these calls leaves."""
    disk = Disk(ROOT)
    for call in calls:
        disk.play(call)
    to.mkdir(exist_ok=True)
    for path in to.iterdir():
        path.unlink()
    disk.left(loss, Random(seed), to)
    return {path.name: path.read_bytes() for path in to.iterdir()}


def test_file_whose_folder_was_not_synced_may_be_gone(tmp_path: Path) -> None:
    """A sync of a file doesn't make its name certain (fsync(2)); one of the folder does, and not the file's bytes."""
    calls = [made("a", 1), wrote(1, 0, b"one"), synced("/site/a", 1), wrote(1, 3, b"two")]
    assert left(calls, Loss.ALL, tmp_path / "x") == {}
    assert left([*calls, synced("/site")], Loss.ALL, tmp_path / "x") == {"a": b"one"}
    assert left(calls, Loss.NOTHING, tmp_path / "x") == {"a": b"onetwo"}


def test_rename_is_done_or_not(tmp_path: Path) -> None:
    """Before the folder is synced either name may be there, never neither."""
    calls = [made("a", 1), wrote(1, 0, b"old"), synced("/site/a", 1), made("b", 2), wrote(2, 0, b"new")]
    calls += [synced("/site/b", 2), synced("/site"), Call("R", 0, 0, b"/site/b", b"/site/a")]
    found = {tuple(sorted(left(calls, Loss.SOME, tmp_path / "x", seed).items())) for seed in range(20)}
    assert found == {(("a", b"old"), ("b", b"new")), (("a", b"new"),)}


def test_sync_that_failed_makes_nothing_certain_later(tmp_path: Path) -> None:
    """What a failed sync let go of stays uncertain behind one that succeeds; written again it is certain."""
    calls = [made("a", 1), synced("/site"), wrote(1, 0, b"x" * 600), synced("/site/a", 1, "X"), synced("/site/a", 1)]
    assert left(calls, Loss.ALL, tmp_path / "x") == {"a": b""}
    again = [*calls, wrote(1, 0, b"x" * 600), synced("/site/a", 1)]
    assert {left(again, loss, tmp_path / "x", seed)["a"] for loss in Loss for seed in range(9)} == {b"x" * 600}


def test_sector_is_as_it_was_at_some_moment(tmp_path: Path) -> None:
    """Torn at sectors, zeros where a length is and its bytes aren't; what was synced before is untouched."""
    calls = [made("a", 1), synced("/site"), wrote(1, 0, b"a" * 512), synced("/site/a", 1), wrote(1, 512, b"b" * 700)]
    found = {left(calls, Loss.SOME, tmp_path / "x", seed)["a"] for seed in range(60)}
    assert {data[:512] for data in found} == {b"a" * 512}
    assert b"a" * 512 + bytes(700) in found
    assert b"a" * 512 + bytes(512) + b"b" * 188 in found
    assert {len(data) for data in found} == {512, 1_212}
