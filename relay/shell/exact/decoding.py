"""The feeds of a journal decoded by processes of their own, while another reads the rows and puts aside what they tell.

Rules: what is told is the same, report for report, as `LiveFeed` tells in one process; a short journal is read so. The
feeds are shared out by how many rows each has, in at most two parts, each with a process that reads its feeds' rows up
to a given last one and sends what is in them, some hundred rows at a time. A pipe holds a mebibyte at most, so a
process that is ahead waits: memory stays bounded. Nothing is written, and a process ends with whoever began it.
"""

import contextlib
import fcntl
import multiprocessing
import signal
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from multiprocessing.context import ForkProcess
from pathlib import Path
from typing import NamedTuple

import msgspec

from relay.core.errors import OperatorError
from relay.core.model import PassedOver, Row, RowKind
from relay.core.own_time import LiveFeed, Report
from relay.core.policy import Plan
from relay.shell.exact.exact_values import Heard, heard
from relay.shell.record.read_only import reading

SHORT_ROWS = 40_000
PARTS = 2
_TOGETHER = 400
_PIPE_OCTETS = 1 << 20


class Told(NamedTuple):
    """What is in a row: its reports, how many frames were passed over, and how many were none."""

    reports: list[Heard]
    passed_over: int
    rejected: int


Decode = Callable[[Row, int], Told]
_encode = msgspec.msgpack.Encoder().encode
_decode = msgspec.msgpack.Decoder(list[Told]).decode


def told_in(feed: LiveFeed, row: Row) -> Told:
    """Return what is in the next row of a feed."""
    reports, passed_over, rejected = list[Heard](), 0, 0
    for event in feed.events(row):
        if isinstance(event, Report):
            reports.append(heard(event))
        elif isinstance(event, PassedOver):
            passed_over += 1
        else:
            rejected += 1
    return Told(reports, passed_over, rejected)


@contextlib.contextmanager
def decoding(plan: Plan, path: Path, last: int) -> Iterator[Decode]:
    """Give what decodes the rows of a journal up to `last`: owed every row of every feed in the plan, in their order.

    It takes a row and the place of its feed in the plan. OperatorError if a process that decodes is gone.
    """
    if last < SHORT_ROWS:
        feeds = [LiveFeed(source) for source in plan.sources]
        yield lambda row, feed: told_in(feeds[feed], row)
        return
    parts = _shared_out(plan, path)
    streams = dict[int, Iterator[Told]]()
    processes: list[tuple[ForkProcess, Connection]] = []
    try:
        for part in parts:
            receiving, sending = wide_pipe()
            ends = (*(other for _, other in processes), receiving)
            process = multiprocessing.get_context("fork").Process(
                target=_send, args=(plan, path, last, part, sending, ends), daemon=True
            )
            process.start()
            processes.append((process, receiving))
            sending.close()
            streams.update(dict.fromkeys(part, _received(receiving)))
        yield lambda row, feed: next(streams[feed])
    finally:
        for process, receiving in processes:
            receiving.close()
            process.terminate()
            process.join()


def wide_pipe() -> tuple[Connection, Connection]:
    """Return a pipe's ends, to receive by and to send by, that holds enough for both to be busy at once."""
    receiving, sending = multiprocessing.Pipe(duplex=False)
    with contextlib.suppress(OSError):  # where the system grants none so wide, it is narrower
        fcntl.fcntl(sending.fileno(), fcntl.F_SETPIPE_SZ, _PIPE_OCTETS)
    return receiving, sending


def _shared_out(plan: Plan, path: Path) -> list[list[int]]:
    """Return the feeds by their places in the plan, in parts of as equal a number of rows as can be."""
    with reading(path) as database:
        rows = dict(database.execute("SELECT source, count(*) FROM row GROUP BY source"))
    parts: list[tuple[int, list[int]]] = [(0, []) for _ in range(PARTS)]
    for feed in sorted(range(len(plan.sources)), key=lambda at: -rows.get(plan.sources[at].name, 0)):
        count, feeds = min(parts, key=lambda part: part[0])
        parts[parts.index((count, feeds))] = (count + rows.get(plan.sources[feed].name, 0), [*feeds, feed])
    return [feeds for _, feeds in parts if feeds]


def _send(
    plan: Plan, path: Path, last: int, part: list[int], sending: Connection, ends: tuple[Connection, ...]
) -> None:
    """Decode the rows of some feeds, and send what is in them; `ends`: the others' ends of pipes, not to be held."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever began it ends it
    for inherited in ends:
        inherited.close()
    feeds = {plan.sources[at].name: LiveFeed(plan.sources[at]) for at in part}
    names = ", ".join("?" * len(feeds))
    asked = f"SELECT * FROM row WHERE seq <= ? AND source IN ({names}) AND kind != 'decision' ORDER BY seq"
    group = list[Told]()
    try:
        with reading(path) as database:
            for seq, embargo_us, wall_s, source, kind, data in database.execute(asked, (last, *feeds)):
                row = Row(seq, embargo_us, wall_s, source, RowKind(kind), data)
                group.append(told_in(feeds[row.source], row))
                if len(group) >= _TOGETHER:
                    sending.send_bytes(_encode(group))
                    group = []
        sending.send_bytes(_encode(group))
    except BrokenPipeError:
        return  # whoever asked has ended


def _received(receiving: Connection) -> Iterator[Told]:
    while True:
        try:
            yield from _decode(receiving.recv_bytes())
        except EOFError as error:
            raise OperatorError(
                "a process that decodes the journal's rows ended too early: look whether the machine is short of "
                "memory, and try again. Nothing was written."
            ) from error
