"""What `offing audit` takes: its defaults, its help, and that asking loads nothing of the audit."""

import subprocess
import sys
from pathlib import Path

import pytest

from relay.__main__ import _parser
from relay.shell.audit.audit_arguments import TRIALS, TURNS


def test_defaults_are_those_of_the_method() -> None:
    """72 turns, 400 trials, the chart's own error, and nothing else public."""
    options = _parser().parse_args(["audit", "a.recording", "--chart", "c.nc", "--chart", "d.csv"])
    assert ([Path("a.recording")], [Path("c.nc"), Path("d.csv")]) == (options.recordings, options.chart)
    assert (72, 400, 1.0, 1) == (options.turns, options.trials, options.chart_error, options.seed)
    assert (TURNS, TRIALS) == (options.turns, options.trials)
    unset = (options.area, options.expedition, options.ship_track, options.wrecks, options.truth, options.html)
    assert {None} == set(unset)


def test_report_without_a_name_goes_to_the_private_folder() -> None:
    """`--html` alone asks for it there."""
    assert Path() == _parser().parse_args(["audit", "a", "--chart", "c", "--html"]).html


def test_help_says_what_each_option_is_for(capsys: pytest.CaptureFixture[str]) -> None:
    """Every option with words, an example, and where the result belongs."""
    with pytest.raises(SystemExit):
        _parser().parse_args(["audit", "--help"])
    said = capsys.readouterr().out
    for (
        option
    ) in "--chart --area --for --ship-track --wrecks --truth --seabed --turns --trials --seed --html --json".split():
        assert option in said
    assert "for the operator alone" in said
    assert "offing audit tryout/released/public" in said


def test_other_commands_load_nothing_of_the_audit() -> None:
    """A ship without the extra starts: neither arguments nor commands of others import numpy's kin."""
    told = (
        "import sys, relay.__main__, relay.shell.app, relay.shell.audit.audit_command\n"
        "heavy = {'scipy', 'matplotlib', 'h5netcdf', 'h5py'} & {name.partition('.')[0] for name in sys.modules}\n"
        "print(sorted(heavy), [name for name in sys.modules if name.startswith('relay.audit')])"
    )
    done = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True, timeout=60)
    assert "[] []" == done.stdout.strip()
