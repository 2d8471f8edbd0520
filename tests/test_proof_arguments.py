"""Arguments of proofs and of checking a journal: what is asked for is what the commands get."""

import argparse
from pathlib import Path

import pytest

from relay.__main__ import main
from relay.shell.proofs.proof_arguments import add_journal_verify, add_prove


def parsed(*arguments: str) -> argparse.Namespace:
    """Return what the two commands make of arguments."""
    parser = argparse.ArgumentParser()
    commands = parser.add_subparsers(dest="command", required=True)
    add_prove(commands)
    add_journal_verify(commands)
    return parser.parse_args(arguments)


def test_several_rows_and_names_can_be_proved_at_once() -> None:
    """Each option as often as it is needed; without a dive any will do; nothing is written over unasked."""
    asked = ["prove", "E.toml", "--record", "7", "--record", "9", "--target", "Boiler", "--find", "Bell"]
    options = parsed(*asked, "--audience", "public", "--out", "x.proof")
    assert (options.record, options.target, options.find) == ([7, 9], ["Boiler"], ["Bell"])
    assert (options.audience, options.dive, options.out, options.force) == ("public", None, Path("x.proof"), False)
    assert parsed("prove", "E.toml", "--audience", "public", "--out", "x", "--dive", "3").dive == 3
    assert parsed("verify", "E.toml").expedition == Path("E.toml")


def test_help_tells_of_proofs_where_they_are_checked_and_where_import_went(capsys: pytest.CaptureFixture[str]) -> None:
    """`verify` names a PROOF, `journal` what it verifies, and the command of before is told its new name."""
    for given, words in ((["verify", "--help"], "PROOF"), (["--help"], "verify, export, import, back up")):
        with pytest.raises(SystemExit):
            main(given)
        assert words in " ".join(capsys.readouterr().out.split())  # the list of commands is wrapped
    with pytest.raises(SystemExit) as ended:
        main(["import", "E.toml", "--vehicle", "Moth", "moth.jsonl"])
    assert ended.value.code == 2
    assert "`offing import` is now `offing journal import`" in capsys.readouterr().err


@pytest.mark.parametrize("missing", ["--audience", "--out"])
def test_whose_recording_and_where_to_are_needed(missing: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A proof leads to a recording of somebody's."""
    given = {"--audience": "public", "--out": "x.proof"}
    with pytest.raises(SystemExit):
        parsed("prove", "E.toml", "--record", "7", *(part for name in given if name != missing for part in (name, "x")))
    assert missing in capsys.readouterr().err
