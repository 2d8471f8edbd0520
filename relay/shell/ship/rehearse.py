"""Captures through the very same pipeline under a virtual clock, as fast as it can.

Rules: the embargo clock is the captures' own time from zero at the first input; the rows are journalled as on
the ship; what is written for an audience is what the ship would have written for the same rows and secrets.
"""

import heapq
import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from relay.core.errors import CaptureError, OperatorError
from relay.core.model import Row, RowKind
from relay.core.pipeline import Blocked, Pipeline
from relay.core.policy import Plan
from relay.core.release import NO_DIVE
from relay.core.seal import Signer
from relay.core.secrets import Secrets
from relay.core.sources import Tally
from relay.shell.feeds.capture import format_of, read_capture
from relay.shell.record.journal import JournalFile, read_rows
from relay.shell.released.outlet import Frame, Outlet

_GROUP = 5_000


@dataclass(slots=True)
class Outcome:
    """What a rehearsal did: counts by feed, records released by audience and dive, and what kept others back.

    `stopped`: by audience, the vehicle that was outside the declared area, which ended the release for good.
    """

    tallies: dict[str, Tally]
    rows: int = 0
    span_s: float = 0.0
    released: Counter[tuple[str, int]] = field(default_factory=Counter)
    stopped: dict[str, str] = field(default_factory=dict)
    kept_back: list[Blocked] = field(default_factory=list)


def rehearse(
    plan: Plan,
    secrets: Secrets,
    inputs: list[str],
    out: Path,
    *,
    rate: float | None = None,
    progress: Callable[[int, float], None] = lambda rows, seconds: None,
) -> Outcome:
    """Run `inputs` (PATH or FEED=PATH; .nmea, .tlog, .jsonl or a journal) and write recordings below `out`.

    Raises CaptureError for an input that can't be read or has no feed, OperatorError when `out` is not empty.
    """
    _make_room(out)
    pipeline = Pipeline(plan, secrets)
    outcome = Outcome(pipeline.tallies)
    with _SendTimes(out / "send-times") as times:

        def onward(frame: Frame) -> None:
            if frame.dive == NO_DIVE:
                return
            times.note(frame)
            outcome.released[frame.audience, frame.dive] += 1

        outlet = Outlet(out / "released", Signer(secrets.signing_seed), onward)
        last_us = 0
        for row in _journalled(_rows(plan, inputs, rate), out / "private"):
            for due in pipeline.receive(row):
                outlet.release(due)
            outcome.rows, last_us = outcome.rows + 1, row.embargo_us
            if outcome.rows % 1_000 == 0:
                progress(outcome.rows, last_us / 1e6)
        while (moment := pipeline.next_us()) is not None:
            for due in pipeline.advance(moment):
                outlet.release(due)
    outcome.span_s = last_us / 1e6
    outcome.stopped = {item.policy.audience: item.outside for item in pipeline.channels if item.outside is not None}
    outcome.kept_back = list(pipeline.blocked)
    return outcome


def _make_room(out: Path) -> None:
    if out.exists() and any(out.iterdir()):
        raise OperatorError(f"{out} is not empty. Give --out a folder that doesn't exist yet, or empty it.")
    out.mkdir(parents=True, exist_ok=True)


def _rows(plan: Plan, inputs: list[str], rate: float | None) -> Iterator[Row]:
    if any(name.endswith(".db") for name in inputs):
        if len(inputs) > 1:
            raise CaptureError("a journal is rehearsed alone: leave the other inputs out")
        yield from _journal_rows(Path(inputs[0]))
        return
    captures = [_capture(plan, name, at, rate) for at, name in enumerate(inputs)]
    origin_s: float | None = None
    for seq, (t_s, _, source, whole, data) in enumerate(heapq.merge(*captures, key=lambda item: item[:2]), 1):
        origin_s = t_s if origin_s is None else origin_s
        kind = RowKind.WHOLE if whole else RowKind.STREAM
        yield Row(seq, round((t_s - origin_s) * 1e6), t_s, source, kind, data)


def _journal_rows(path: Path) -> Iterator[Row]:
    try:
        yield from read_rows(path)
    except sqlite3.Error as error:
        raise CaptureError(
            f"{path}: not a journal that can be read ({error}); give the journal.db of a site"
        ) from error


def _capture(plan: Plan, name: str, at: int, rate: float | None) -> Iterator[tuple[float, int, str, bool, bytes]]:
    feed, equals, text = name.partition("=")
    path = Path(text if equals else name)
    source = feed if equals else _feed_for(plan, path)
    if source not in {item.name for item in plan.sources}:
        raise CaptureError(f"{source!r} is not a feed of the expedition file")
    t_s = 0.0
    for chunk in read_capture(path, rate=rate):
        t_s = chunk.t_s
        yield t_s, at, source, False, chunk.data
    yield t_s, at, source, True, b""


def _feed_for(plan: Plan, path: Path) -> str:
    wanted = format_of(path)
    for source in plan.sources:
        if source.format == wanted:
            return source.name
    raise CaptureError(
        f"{path}: no feed of the expedition file reads {wanted}. Add one, or say which: FEED={path.name}"
    )


def _journalled(rows: Iterator[Row], folder: Path) -> Iterator[Row]:
    """Yield rows after they were written to a journal in `folder`, in groups as on the ship."""
    file = JournalFile(folder)
    try:
        group: list[Row] = []
        for row in rows:
            group.append(row)
            if len(group) >= _GROUP:
                file.commit(group, {})
                yield from group
                group = []
        file.commit(group, {})
        yield from group
    finally:
        file.close()


class _SendTimes:
    """A small table beside the recordings: when each record would have left, seconds after the first input."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lines: dict[tuple[str, int], list[str]] = {}

    def __enter__(self) -> "_SendTimes":
        self._folder.mkdir()
        return self

    def note(self, frame: Frame) -> None:
        """Remember when a frame left."""
        lines = self._lines.setdefault((frame.audience, frame.dive), ["seq,sent_s"])
        lines.append(f"{frame.seq},{frame.instant_us / 1e6:.6f}")

    def __exit__(self, *_: object) -> None:
        for (audience, dive), lines in self._lines.items():
            (self._folder / f"{audience}-dive-{dive:03d}.csv").write_text("\n".join(lines) + "\n")
