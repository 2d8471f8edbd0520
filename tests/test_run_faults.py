"""The fault runs end by themselves, say what each part came to, and end with 1 where anything was wrong."""

from pathlib import Path

import pytest

import run_faults
from fault_outcome import Outcome, Run


def part(wrong: list[str]) -> Run:
    """Return a part that finds this."""

    def run(count: int, seed: int, folder: Path) -> Outcome:
        (folder / "left").touch()
        return Outcome("one", count, wrong, 0.0)

    return run


@pytest.mark.parametrize(("wrong", "code"), [([], 0), (["R5: a row is lost"], 1)])
def test_what_a_part_finds_decides_the_end(
    wrong: list[str], code: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """With something wrong it ends with 1, names it, and keeps what was left; else nothing stays."""
    monkeypatch.setattr(run_faults, "parts", lambda: {"one": part(wrong)})
    assert run_faults.main(["--only", "one", "--count", "3"]) == code
    told = capsys.readouterr().out
    assert "one: 3 faults" in told
    assert all(f"WRONG: {words}" in told for words in wrong)
    kept = [Path(line.rpartition(" ")[2]) for line in told.splitlines() if "what it left is in" in line]
    assert [path.exists() for path in kept] == [True] * len(wrong)


def test_line_of_a_part_tells_how_often_the_rules_were_looked_at() -> None:
    """Where the part counts it; nothing is claimed of one that doesn't."""
    assert "one: 9 faults, rules looked at 4 times, in 1 s" in run_faults.told(Outcome("one", 9, [], 1.0, 4))
    assert "looked" not in run_faults.told(Outcome("one", 9, [], 1.0))


def test_part_is_run_as_many_times_as_its_number(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without --count each part makes as many faults as the issue wants of it."""
    made: list[int] = []

    def run(count: int, _seed: int, _folder: Path) -> Outcome:
        made.append(count)
        return Outcome("kills", count, [], 0.0)

    monkeypatch.setattr(run_faults, "parts", lambda: {"kills": run})
    assert run_faults.main([]) == 0
    assert made == [500]
