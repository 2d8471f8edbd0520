"""Who may start: a promise needs a passed audit or somebody's word, and the word is for one start."""

import os
import pwd
from pathlib import Path

import pytest

from audit_settings import PROMISING
from promising import audited, promising, slope
from relay.__main__ import main
from relay.core.decision import Unaudited
from relay.core.errors import OperatorError
from relay.shell.plan.expedition import read_expedition
from relay.shell.ship.audit_gate import (
    NO_LEAVE,
    Leave,
    marks_of,
    promised_ever,
    taken_away,
    whose_process,
    without_audit,
)


def leave(**reasons: str) -> Leave:
    """Return Ines's leave."""
    return Leave(reasons, "Ines")


def test_promise_without_an_audit_starts_nothing(tmp_path: Path) -> None:
    """The start is refused with who isn't audited, why, and both ways out."""
    with pytest.raises(OperatorError) as refused:
        without_audit(promising(tmp_path), NO_LEAVE)
    said = str(refused.value)
    assert 'audience "public": 87 km2 are promised, and it was never audited' in said
    assert "offing audit --for" in said
    assert '--without-audit public "why"' in said


def test_word_of_somebody_is_a_decision_to_journal(tmp_path: Path) -> None:
    """Whoever goes without says of whom and why."""
    decisions = without_audit(promising(tmp_path), leave(public="the chart comes tomorrow"))
    assert decisions == [Unaudited(audience="public", reason="the chart comes tomorrow")]


def test_passed_audit_starts_without_a_word(tmp_path: Path) -> None:
    """After a passed audit nothing need be said; to say it all the same is refused, for it would stay on the desk."""
    expedition = audited(promising(tmp_path))
    assert without_audit(expedition, NO_LEAVE) == []
    with pytest.raises(OperatorError, match="leave the option away"):
        without_audit(expedition, leave(public="why not"))


def test_commands_say_how_a_promise_stands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`check` says at the audience what is promised and whether it starts; `ship` ends with 2 and the ways out."""
    path = tmp_path / "EXPEDITION.toml"
    slope(tmp_path / "chart.csv")
    path.write_text(PROMISING, encoding="utf-8")
    assert main(["check", str(path)]) == 0
    said = capsys.readouterr().out
    assert (
        "Promise: by its depths on chart.csv, an outsider is left 87 km2 or more to search. It DOESN'T START: it was "
        "never" in said
    )
    assert main(["ship", str(path)]) == 2
    assert '--without-audit public "why"' in capsys.readouterr().err
    assert main(["ship", str(path), "--without-audit", "family", "so"]) == 2
    assert 'no audience "family" has a promise' in capsys.readouterr().err
    audited(read_expedition(path))
    assert main(["check", str(path)]) == 0
    said = capsys.readouterr().out
    assert "or more to search; audited on 2030-03-17 by Ines: 120 km2 or more at 19 places in 20, less at the" in said
    assert "by the chart match alone, of the invented dive" in said


def test_ship_without_the_audits_libraries_does_not_start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where nothing can be worked out the start says what to install; who goes without an audit needs none of it."""
    monkeypatch.setattr("relay.shell.ship.audit_gate.find_spec", lambda name: None if name == "scipy" else name)
    expedition = promising(tmp_path)
    assert len(without_audit(expedition, leave(public="no chart"))) == 1
    with pytest.raises(
        OperatorError, match=r"watched with scipy, .* pip install --require-hashes .* -r requirements-audit\.lock"
    ):
        without_audit(audited(expedition), NO_LEAVE)


def test_who_is_the_account_of_the_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """What the environment says about it is no matter (POSIX: getuid, getpwuid)."""
    for name in ("LOGNAME", "USER", "LNAME", "USERNAME"):
        monkeypatch.setenv(name, "somebody-else")
    assert whose_process() == pwd.getpwuid(os.getuid()).pw_name != "somebody-else"


def test_promise_once_journalled_is_missed_when_it_is_gone() -> None:
    """The mark grows by each promise, forgets none, and isn't there where nothing was ever promised."""
    assert marks_of(promised_ever({}, {})) == {}
    marks = marks_of(promised_ever(marks_of({"public": 87.0}), {"family": 5.0}))
    assert promised_ever(marks, {"public": 90.0}) == {"public": 90.0, "family": 5.0}
    assert [one.audience for one in taken_away(marks, {"public": 87.0})] == ["family"]
    assert taken_away(marks, {"public": 87.0, "family": 5.0}) == []


@pytest.mark.parametrize(
    ("audience", "reason", "why"),
    [
        ("public", "  ", "say why"),
        ("public", "two\nlines", "say why"),
        ("public", "x" * 501, "at most 500 characters"),
        ("family", "no promise", 'no audience "family" has a promise; those with one: public'),
        ("nobody", "no such", 'no audience "nobody" has a promise'),
    ],
)
def test_leave_that_says_nothing_is_refused(audience: str, reason: str, why: str, tmp_path: Path) -> None:
    """A reason is a line of text, and an audience one that has a promise."""
    with pytest.raises(OperatorError, match=why):
        without_audit(promising(tmp_path), Leave({audience: reason}, "Ines"))


def test_reason_of_the_greatest_length_is_taken(tmp_path: Path) -> None:
    """Five hundred characters are the most that a reason has."""
    assert len(without_audit(promising(tmp_path), leave(public="x" * 500))[0].reason) == 500
