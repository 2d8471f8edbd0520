"""How a command ends: done, told what is wrong, or its reader gone."""

import argparse
import os
import subprocess
import sys
from pathlib import Path

import pytest

from relay.core.errors import OperatorError
from relay.shell.exit_code import FAULT, exit_code

ROOT = Path(__file__).resolve().parents[1]


def refuse(_options: argparse.Namespace) -> int:
    """Find something wrong."""
    raise OperatorError("the file is empty: write an expedition into it")


def lose_the_reader(_options: argparse.Namespace) -> int:
    """Find nobody reading."""
    raise BrokenPipeError


def test_command_that_did_what_was_asked_ends_as_it_says() -> None:
    """The command's own code is the process's."""
    assert exit_code(lambda options: options.answer, argparse.Namespace(answer=7)) == 7


def test_command_given_something_wrong_says_it_and_ends_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    """What is wrong goes to stderr, alone; a reader that goes away is no fault."""
    assert exit_code(refuse, argparse.Namespace()) == FAULT == 2
    assert capsys.readouterr() == ("", "the file is empty: write an expedition into it\n")
    assert exit_code(lose_the_reader, argparse.Namespace()) == 0


def test_telling_loads_nothing_of_what_releases_or_draws() -> None:
    """A hold by `offing tell` acts sooner: neither the relay nor pages, browsers or pictures of tracks are loaded."""
    script = "import sys; from relay.__main__ import main; main(sys.argv[1:]); print(*sorted(sys.modules))"
    command = [sys.executable, "-c", script, "tell", "no-such-file.toml", "stop"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True, timeout=60)
    assert "no-such-file.toml" in done.stderr
    loaded = set(done.stdout.split())
    assert "relay.shell.desk.tell" in loaded
    heavy = {"relay.shell.app", "relay.shell.ship.ship", "relay.core.pipeline", "aiohttp", "jinja2", "rich"}
    assert set() == loaded & heavy
