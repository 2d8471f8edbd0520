"""The arguments of inviting, listing and taking back: what is asked for, and what is said to whoever gets it wrong."""

import argparse

import pytest

from relay.shell.guest_arguments import add_guests


def parsed(*arguments: str) -> argparse.Namespace:
    """Return what the arguments come to."""
    parser = argparse.ArgumentParser(prog="offing")
    add_guests(parser.add_subparsers(dest="command", required=True))
    return parser.parse_args(arguments)


def test_arguments_are_read() -> None:
    """Each command has its own, and none asks for a link or a token: those stand in no process's arguments."""
    invite = parsed("invite", "E.toml", "family", "Ada Lark", "--until", "2026-12-31", "--who", "Ines")
    assert (invite.audience, invite.name, invite.until, invite.who) == ("family", "Ada Lark", "2026-12-31", "Ines")
    assert parsed("uninvite", "E.toml", "0000ada0", "--json").guest == "0000ada0"
    assert vars(parsed("guests", "E.toml")).keys() == {"command", "expedition", "json"}


@pytest.mark.parametrize("arguments", [["invite", "E.toml", "family"], ["uninvite", "E.toml"], ["guests"]])
def test_what_is_missing_is_named(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """Whom it is for, which one, and the expedition file."""
    with pytest.raises(SystemExit):
        parsed(*arguments)
    assert "required" in capsys.readouterr().err
