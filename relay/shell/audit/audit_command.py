"""`offing audit`: what is asked for, in order; results to standard output, progress and remarks to standard error.

Rules: what would be refused (files, folders, the report's place) is refused before anything is played; what needs the
extra `audit` is imported once it is known to be there.
"""

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from typing import TYPE_CHECKING

from rich.console import Console
from rich.progress import BarColumn, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.progress import Progress as Bar

from relay.core.errors import OperatorError
from relay.shell.audit.audit_libraries import need_libraries
from relay.shell.exit_code import FAULT
from relay.shell.released.printable import printable, printable_lines

if TYPE_CHECKING:
    from relay.audit.attacks.attack import Progress

MOST_TURNS, LEAST_TRIALS, MOST_TRIALS = 720, 100, 100_000


def audit(options: argparse.Namespace) -> int:
    """Run the audit in `options`; 2 as well if something was released that must never be, or a promise isn't kept."""
    if options.method:
        print(files("relay.shell").joinpath("templates/method.txt").read_text(encoding="utf-8"), end="")
        return 0
    _check(options)
    need_libraries()
    from relay.shell.audit.audit_run import run_audit

    with _progress() as progress:
        said = run_audit(options, progress)
    for note in said.notes:
        print(printable(note), file=sys.stderr)
    print(printable_lines(said.text))
    return FAULT if said.fault else 0


def _check(options: argparse.Namespace) -> None:
    if not 1 <= options.turns <= MOST_TURNS:
        raise OperatorError(f"--turns {options.turns}: from 1 to {MOST_TURNS}")
    if not LEAST_TRIALS <= options.trials <= MOST_TRIALS:
        raise OperatorError(f"--trials {options.trials}: from {LEAST_TRIALS}, for fewer tell nothing, to {MOST_TRIALS}")
    if options.truth is not None and options.area is None and options.expedition is None:
        raise OperatorError("--truth: give --area EXPEDITION.toml, too: it says how the journal's feeds are read")


@contextmanager
def _progress() -> "Iterator[Progress]":
    columns = (
        SpinnerColumn(),
        TextColumn("{task.description}", markup=False),
        BarColumn(bar_width=20),
        TimeElapsedColumn(),
    )
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("reading", total=1.0)
        yield lambda doing, share: bar.update(task, description=printable(doing), completed=share)
