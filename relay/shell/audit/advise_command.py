"""`offing advise`: tables to standard output, progress and remarks to standard error; with `--write` the file changed.

Rules: what would be refused is refused before anything is searched; a file is changed only to settings that were
audited, after a copy of it, and what was changed is shown; what needs the extra `audit` is imported once it is there.
"""

import argparse
import sys
import time
import tomllib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from getpass import getuser
from typing import TYPE_CHECKING

from rich.console import Console
from rich.progress import BarColumn, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.progress import Progress as Bar
from rich.table import Table

from relay.core.errors import OperatorError
from relay.core.policy import Policy
from relay.shell.audit.audit_libraries import need_libraries
from relay.shell.audit.policy_file import difference, with_settings, write_over
from relay.shell.plan.expedition import Expedition, parse_expedition
from relay.shell.plan.quantities import say_number

if TYPE_CHECKING:
    from relay.audit.attacks.attack import Progress
    from relay.shell.audit.advise_run import Advised

LEAST_PLACES, MOST_PLACES, MOST_TURNS, MOST_SETTINGS = 20, 100_000, 720, 100_000


def advise(options: argparse.Namespace) -> int:
    """Run the search in `options` and say what it found; 2 where no settings keep the promise."""
    _check(options)
    need_libraries()
    from relay.shell.audit.advise_picture import draw_trade
    from relay.shell.audit.advise_run import run_advise

    with _progress() as progress:
        advised = run_advise(options, progress)
    for note in advised.notes:
        print(note, file=sys.stderr)
    _say(advised)
    if options.picture is not None:
        draw_trade(advised.advice, options.picture)
        print(f"The picture is {options.picture}: it tells no place, but how near a promise is to broken.")
    if advised.advice.choice is None:
        return 2
    if options.write:
        _write(options, advised)
    return 0


def _check(options: argparse.Namespace) -> None:
    limits = {
        "sites": (options.sites, LEAST_PLACES, MOST_PLACES),
        "fresh": (options.fresh, LEAST_PLACES, MOST_PLACES),
        "most": (options.most, 1, MOST_SETTINGS),
        "turns": (options.turns, 1, MOST_TURNS),
    }
    for name, (value, least, most) in limits.items():
        if not least <= value <= most:
            raise OperatorError(f"--{name} {value}: from {least} to {most}")
    if options.write and options.chart_error != 1.0:
        raise OperatorError("--chart-error: settings that are written are found for the chart as it is: leave it out")
    if options.picture is not None and options.picture.suffix.lower() not in (".png", ".svg"):
        raise OperatorError(f"--picture {options.picture}: name a file that ends in .png or .svg")


@contextmanager
def _progress() -> "Iterator[Progress]":
    columns = (SpinnerColumn(), TextColumn("{task.description}"), BarColumn(bar_width=20), TimeElapsedColumn())
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("reading", total=1.0)
        yield lambda doing, share: bar.update(task, description=doing, completed=share)


def _say(advised: "Advised") -> None:
    from relay.shell.audit.advise_words import DETAIL, choice_rows, summary, trade_rows

    console = Console()
    for sentence in summary(advised.advice):
        console.print(sentence, highlight=False, markup=False)
    if advised.advice.choice is not None:
        console.print(_table(("", "now", "advised", "finer would leave"), choice_rows(advised.advice)))
    heads = ("detail", "left at 19 in 20", "kept", "a record every, cell, depth, height, track")
    console.print(_table(heads, trade_rows(advised.advice)))
    console.print(DETAIL, highlight=False, markup=False)
    console.print(
        "This is what the chart match leaves. Play `offing audit` on what you release: it plays everything else.",
        highlight=False,
        markup=False,
    )


def _table(heads: tuple[str, ...], rows: "Iterable[tuple[str, ...]]") -> Table:
    table = Table(*heads, box=None, pad_edge=False)
    for row in rows:
        table.add_row(*row)
    return table


def _write(options: argparse.Namespace, advised: "Advised") -> None:
    """Change the policy in the expedition file, show how, and keep the audit's result beside the journal."""
    from relay.audit.advising.settings import applied, settings_of
    from relay.shell.audit.advise_run import result_of
    from relay.shell.ship.audit_result import write_passed

    choice = advised.advice.choice
    assert choice is not None and choice.audited is not None
    path = advised.expedition.path
    before = path.read_text(encoding="utf-8")
    wanted = applied(choice.settings, advised.policy)
    after = changed_text(before, advised.expedition, advised.policy.audience, advised.advice.promise_km2, wanted)
    expedition = parse_expedition(after, path)
    policy = next(one for one in expedition.plan.policies if one.audience == wanted.audience)
    assert settings_of(policy).ranks == choice.settings.ranks, "what was written is what was audited"
    if after == before:
        print(f"{path} has these settings already.")
    else:
        copy = write_over(path, after)
        print(difference(before, after, path))
        print(f"{path} is changed; as it was it is {copy}.")
    if not expedition.audit.charts or set(expedition.audit.charts) != {chart.resolve() for chart in advised.charts}:
        print("The result isn't kept for `offing ship`: it was found with other charts than [audit] charts names.")
        return
    found = result_of(options, expedition, advised.ground, policy.audience, choice.audited, advised.seabed)
    who = options.who or getuser()
    for words in write_passed(expedition, [found], audited=advised.files, who=who, wall_s=time.time()):
        print(f"audit of {words}")


def changed_text(text: str, expedition: Expedition, audience: str, promise_km2: float, wanted: Policy) -> str:
    """Return the text of an expedition file with the keys of an audience changed to a policy, and its promise."""
    from relay.shell.audit.advised_keys import changed_keys

    values = tomllib.loads(text)
    at = next(at for at, item in enumerate(values["audience"]) if item["name"] == audience)
    policy = expedition.plan.policies[at]
    changes = changed_keys(policy, wanted, values["audience"][at])
    if expedition.audit.charts and expedition.audit.promises.get(audience) != promise_km2:
        changes["promise"] = f'"{say_number(promise_km2)} km2"'
    return with_settings(text, at, changes)
