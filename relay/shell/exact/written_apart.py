"""An export's file written by a process of its own, while this one makes the rows that go into it.

Rules: the file holds the same as if one process wrote it; a short journal's is written so. The rows go through a pipe,
some thousand at a time, and a pipe holds a mebibyte: whoever is ahead waits, and memory stays bounded. What goes wrong
in that process is raised here, and it ends with whoever began it.
"""

import contextlib
import multiprocessing
import signal
import sqlite3
from array import array
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from itertools import islice
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import msgspec

from relay.core.errors import OperatorError
from relay.shell.exact.decoding import SHORT_ROWS, wide_pipe
from relay.shell.exact.exact_dives import ExactDives
from relay.shell.exact.shapes import Shape, ShapeKind
from relay.shell.exact.tables import Choice, Row, Table
from relay.shell.exact.zipped import EVERY, TellTable

Write = Callable[[Path, tuple[Table, ...], ExactDives, Choice, datetime, TellTable], dict[str, int]]
_Packed = tuple[tuple[int, tuple[bytes, ...]] | None, tuple[Any, ...]]
_encode = msgspec.msgpack.Encoder().encode
_decode = msgspec.msgpack.Decoder(list[_Packed]).decode


def write_apart(
    write: Write,
    path: Path,
    tables: tuple[Table, ...],
    dives: ExactDives,
    choice: Choice,
    made: datetime,
    told: TellTable,
) -> dict[str, int]:
    """Write tables to a file as `write` does, and return what it returns; OperatorError if its process is gone."""
    if dives.rows < SHORT_ROWS:
        return write(path, tables, dives, choice, made, told)
    taking, giving = wide_pipe()
    hearing, answering = multiprocessing.Pipe(duplex=False)

    def apart() -> None:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # whoever began it ends it
        giving.close()
        hearing.close()
        from_pipe = tuple(replace(table, rows=lambda *_: _taken(taking)) for table in tables)
        with contextlib.suppress(EOFError, BrokenPipeError):  # whoever asked has ended
            try:
                answering.send(write(path, from_pipe, dives, choice, made, lambda title, count: None))
            except (OSError, sqlite3.Error, OperatorError) as error:
                answering.send(error)

    process = multiprocessing.get_context("fork").Process(target=apart, daemon=True)
    process.start()
    taking.close()
    answering.close()
    try:
        with contextlib.suppress(BrokenPipeError):  # it has stopped, and says why
            for table in tables:
                _give(table, dives, choice, giving, told)
        return _answer(hearing)
    finally:
        giving.close()
        hearing.close()
        process.terminate()
        process.join()


def _give(table: Table, dives: ExactDives, choice: Choice, giving: Connection, told: TellTable) -> None:
    """Send the rows of a table; an empty group ends them."""
    count, rows = 0, iter(table.rows(dives, choice))
    told(table.title, 0)
    while group := list(islice(rows, EVERY)):
        giving.send_bytes(_encode([_packed(row) for row in group]))
        count += len(group)
        told(table.title, count)
    giving.send_bytes(_encode([]))


def _packed(row: Row) -> _Packed:
    shape, values = row
    return None if shape is None else (shape.kind, tuple(part.tobytes() for part in shape.parts)), values


def _taken(taking: Connection) -> Iterator[Row]:
    """Yield the rows of one table."""
    while group := _decode(taking.recv_bytes()):
        for shape, values in group:
            yield None if shape is None else Shape(ShapeKind(shape[0]), tuple(map(_doubles, shape[1]))), values


def _doubles(part: bytes) -> "array[float]":
    return array("d", part)


def _answer(hearing: Connection) -> dict[str, int]:
    try:
        answer = hearing.recv()
    except EOFError as error:
        raise OperatorError(
            "the process that writes the export ended too early: look whether the machine is short of memory, and try "
            "again. Nothing was written."
        ) from error
    if isinstance(answer, Exception):
        raise answer
    counts: dict[str, int] = answer
    return counts
