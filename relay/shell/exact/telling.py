"""How far a long command is, on standard error: a bar on a terminal, a line a stage elsewhere."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, SpinnerColumn, TaskID, TextColumn, TimeElapsedColumn


class Telling:
    """Tells the stage that a command is in, and how much of it is done."""

    def __init__(self, bar: Progress | None) -> None:
        """`telling` makes one."""
        self._bar, self._stage = bar, ""
        self._task: TaskID | None = None

    def __call__(self, stage: str, done: int, whole: int | None = None) -> None:
        """Tell how far a stage is; `whole`: how far it goes, if that is known."""
        new = stage != self._stage
        self._stage = stage
        if self._bar is None:
            if new:
                print(f"{stage} ...", file=sys.stderr, flush=True)
            return
        if new or self._task is None:
            if self._task is not None:
                self._bar.remove_task(self._task)
            self._task = self._bar.add_task(stage, total=whole)
        self._bar.update(self._task, completed=done, total=whole)


@contextmanager
def telling() -> Iterator[Telling]:
    """Tell what a command does until the context ends; the bar goes then."""
    console = Console(stderr=True)
    if not console.is_terminal:
        yield Telling(None)
        return
    columns = (
        SpinnerColumn(),
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
    )
    with Progress(*columns, console=console, transient=True) as bar:
        yield Telling(bar)
