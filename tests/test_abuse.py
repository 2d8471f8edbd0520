"""The short version of `make abuse`: attacks that need no long deadline to pass, and the verdict of its program."""

import sys
from pathlib import Path
from typing import Any

import pytest

import run_abuse
from abuse_attack import Attack, tried
from abused import World


@pytest.mark.slow
async def test_attacks_are_held_by_the_processes_themselves(tmp_path: Path) -> None:
    """Each quick row of the table, while a follower of the ship and one of the shore get every record in order."""
    rows = await run_abuse.play([it for it in run_abuse.ATTACKS if not it.slow], tmp_path, lambda row: None)
    assert len(rows) >= 14
    assert [row for row in rows if not row.held] == []


class Still:
    """A world in which nothing runs but processes that have not ended, or have."""

    def __init__(self, ended: bool = False) -> None:
        self.ship = self.shore = self
        self.process = self
        self.returncode = 1 if ended else None

    def in_order(self) -> None:
        """Find nothing wrong."""


async def got(_world: World) -> str:
    """Return what was expected."""
    return "as expected\nby lines"


async def leaked(_world: World) -> str:
    """Find that something was told."""
    raise AssertionError("the desk told its state")


@pytest.mark.parametrize(
    ("run", "ended", "held", "words"),
    [
        (got, False, True, "as expected by lines"),
        (leaked, False, False, "told its state"),
        (got, True, False, "has ended"),
    ],
)
async def test_row_is_held_only_where_everything_was_as_expected(run: Any, ended: bool, held: bool, words: str) -> None:
    """What was got is one line; a leak, and a relay that has ended meanwhile, are told and not held."""
    row = await tried(Attack("a", "b", run), Still(ended))  # type: ignore[arg-type]
    assert row.held is held
    assert words in row.got and "\n" not in row.got
    assert run_abuse.told(row).endswith("| held |" if held else "| NOT HELD |")


@pytest.mark.parametrize(("run", "code"), [(got, 0), (leaked, 1)])
def test_program_ends_with_1_where_an_attack_was_not_held(
    run: Any, code: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The verdict is that of the rows; without any row there is none."""

    async def play(attacks: Any, _folder: Path, tell: Any) -> list[Any]:
        rows = [await tried(attack, Still()) for attack in attacks]  # type: ignore[arg-type]
        for row in rows:
            tell(row)
        return rows

    monkeypatch.setattr(run_abuse, "play", play)
    monkeypatch.setattr(run_abuse, "ATTACKS", (Attack("one", "b", got), Attack("two", "b", run, slow=True)))
    monkeypatch.setattr(sys, "argv", ["run_abuse.py"])
    assert run_abuse.main() == code
    assert f"{2 - code} of 2 attacks held" in capsys.readouterr().out
    monkeypatch.setattr(sys, "argv", ["run_abuse.py", "--quick", "--only", "one"])
    assert run_abuse.main() == 0
    monkeypatch.setattr(sys, "argv", ["run_abuse.py", "--only", "no such thing"])
    assert run_abuse.main() == 1
