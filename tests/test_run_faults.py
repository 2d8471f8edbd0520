"""The fault runs end by themselves, say what each part came to, and end with 1 where anything was wrong."""

import asyncio
from collections.abc import Iterator
from pathlib import Path

import pytest

import faults_disk
import run_faults
from failing_disk import TO_TRY
from fault_outcome import Outcome, Run

ROOM_AND_SYNC = [("write 1", []), ("sync 2", [])]


@pytest.fixture(autouse=True)
def folders_below(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the folders of parts lie where the test's own do."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))


def part(wrong: list[str], made: int | None = None) -> Run:
    """Return a part that finds this, and makes so many faults (all that are asked for)."""

    def run(count: int, seed: int, folder: Path) -> Outcome:
        (folder / "left").touch()
        return Outcome("one", count if made is None else made, count, [*wrong], 0.0)

    return run


def raising(error: BaseException) -> Run:
    """Return a part that leaves something and raises."""

    def run(count: int, seed: int, folder: Path) -> Outcome:
        (folder / "left").touch()
        raise error

    return run


def with_parts(monkeypatch: pytest.MonkeyPatch, **runs: Run) -> None:
    """Let these be the parts, and each make three faults."""
    monkeypatch.setattr(run_faults, "COUNTS", dict.fromkeys(runs, 3))
    monkeypatch.setattr(run_faults, "part", runs.__getitem__)


def kept(told: str) -> list[Path]:
    """Return the folders that were named."""
    return [Path(line.rpartition(" ")[2]) for line in told.splitlines() if "what it left is in" in line]


@pytest.mark.parametrize(("wrong", "code"), [([], 0), (["R5: a row is lost"], 1)])
def test_what_a_part_finds_decides_the_end(
    wrong: list[str], code: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """With something wrong it ends with 1, names it, and keeps what was left; else nothing stays."""
    with_parts(monkeypatch, one=part(wrong))
    assert run_faults.main(["--only", "one", "--count", "4"]) == code
    told = capsys.readouterr().out
    assert "one: 4 of 4 faults" in told
    assert all(f"WRONG: {words}" in told for words in wrong)
    assert [path.exists() for path in kept(told)] == [True] * len(wrong)
    assert len(list(tmp_path.glob("offing-*"))) == len(wrong)


@pytest.mark.parametrize(("made", "asked"), [(2, 3), (0, 3), (0, 0)])
def test_fewer_faults_than_were_asked_for_are_wrong(
    made: int, asked: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A part that ended early, or made none at all, is no pass, though it found nothing."""
    with_parts(monkeypatch, one=part([], made))
    assert run_faults.main(["--count", str(asked)]) == 1
    told = capsys.readouterr().out
    assert f"WRONG: only {made} of {asked} faults were made" in told
    assert len(kept(told)) == 1


@pytest.mark.parametrize("error", [TimeoutError("planted"), SystemExit("planted"), asyncio.CancelledError("planted")])
def test_part_that_raises_is_wrong_and_stops_no_other(
    error: BaseException, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What it raised is told with where it came from, its folder is named and stays, and the next part is made."""
    with_parts(monkeypatch, one=raising(error), two=part([]))
    assert run_faults.main([]) == 1
    told = capsys.readouterr().out
    assert "WRONG: Traceback" in told
    assert f"{type(error).__name__}: planted" in told
    assert [(path / "left").exists() for path in kept(told)] == [True]
    assert "one: 3 of 3 faults in 0 s, 0 things wrong" in told.partition("in all:")[2]


def test_part_that_is_not_there_is_wrong(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is missing isn't passed over."""
    monkeypatch.setattr(run_faults, "COUNTS", {"nowhere": 3})
    assert run_faults.main([]) == 1
    assert "No module named 'faults_nowhere'" in capsys.readouterr().out


def test_every_part_has_its_file() -> None:
    """All that are counted can be run."""
    assert all(callable(run_faults.part(name)) for name in run_faults.COUNTS)


def test_line_of_a_part_tells_how_often_the_rules_were_looked_at() -> None:
    """Where the part counts it; nothing is claimed of one that doesn't."""
    assert "one: 9 of 9 faults, rules looked at 4 times, in 1 s" in run_faults.told(Outcome("one", 9, 9, [], 1.0, 4))
    assert "looked" not in run_faults.told(Outcome("one", 9, 9, [], 1.0))


def test_part_is_run_as_many_times_as_its_number(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without --count each part makes as many faults as is promised of it."""
    made: dict[str, int] = {}

    def named(name: str) -> Run:
        def run(count: int, _seed: int, _folder: Path) -> Outcome:
            made[name] = count
            return Outcome(name, count or 40, count or 40, [], 0.0)

        return run

    monkeypatch.setattr(run_faults, "part", named)
    assert run_faults.main([]) == 0
    assert made == {"kills": 500, "disk": 0, "power": 0, "shore": 0, "clock": 0, "link": 10_000}


@pytest.mark.parametrize("told", [2, 3])
def test_disk_says_how_many_faults_its_processes_had_to_try(
    told: int, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Each says its share before it begins; what a process that died says of its end is no fault that was tried."""

    def in_shares(*_: object) -> Iterator[tuple[str, list[str]]]:
        yield f"{told}{TO_TRY}", []
        yield from ROOM_AND_SYNC
        yield "process 1", ["it ended with 1"]

    monkeypatch.setattr(faults_disk, "in_shares", in_shares)
    monkeypatch.setattr(faults_disk, "possible", lambda: "it has a test of its own")
    outcome = faults_disk.run(0, 1, tmp_path)
    assert (outcome.tried, outcome.asked) == (2, told)
