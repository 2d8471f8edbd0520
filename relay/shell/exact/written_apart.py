"""An export's file written by a process of its own, while this one makes the rows that go into it.

Rules: the file holds the same as if one process wrote it; a short journal's is written so. The rows go through a pipe,
some thousand at a time or a mebibyte of shapes, and a pipe holds no more: whoever is ahead waits, and memory stays
bounded. What goes wrong in that process is raised here, and it ends with whoever began it.
"""

import contextlib
import multiprocessing
import signal
import traceback
from array import array
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

import msgspec

from relay.core.errors import OperatorError
from relay.shell.exact.decoding import SHORT_ROWS, wide_pipe
from relay.shell.exact.exact_dives import ExactDives
from relay.shell.exact.shapes import Shape, ShapeKind, point
from relay.shell.exact.tables import Choice, Row, Table
from relay.shell.exact.zipped import EVERY, TellTable

Write = Callable[[Path, tuple[Table, ...], ExactDives, Choice, datetime, TellTable], dict[str, int]]
# Of a row the shape, and the values: of a point its two coordinates, of another shape its kind, and each part's octets.
_Packed = tuple[tuple[Any, ...] | None, tuple[Any, ...]]
_OCTETS = 1 << 20  # of shapes together: a track of a day has eight times as many alone
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
            except Exception as error:
                error.add_note("".join(traceback.format_exception(error)))
                answering.send(error)

    process = multiprocessing.get_context("fork").Process(target=apart, daemon=True)
    process.start()
    taking.close()
    answering.close()
    try:
        if all(_gave(table, dives, choice, giving, told) for table in tables):
            giving.close()
        return _answer(hearing)
    finally:
        giving.close()
        hearing.close()
        process.terminate()
        process.join()


def _gave(table: Table, dives: ExactDives, choice: Choice, giving: Connection, told: TellTable) -> bool:
    """Send the rows of a table, and an empty group to end them; return whether anybody takes them."""
    count = 0
    told(table.title, 0)
    for group in _groups(table.rows(dives, choice)):
        if not _sent(group, giving):
            return False
        count += len(group)
        told(table.title, count)
    return _sent([], giving)


def _groups(rows: Iterator[Row]) -> Iterator[list[_Packed]]:
    group, octets = list[_Packed](), 0
    for shape, values in rows:
        if shape is None:
            group.append((None, values))
        elif shape.kind is ShapeKind.POINT:
            group.append(((*shape.parts[0],), values))
        else:
            parts = tuple(array("d", part).tobytes() for part in shape.parts)
            group.append(((shape.kind, *parts), values))
            octets += sum(map(len, parts))
        if len(group) >= EVERY or octets >= _OCTETS:
            yield group
            group, octets = [], 0
    if group:
        yield group


def _sent(group: list[_Packed], giving: Connection) -> bool:
    try:
        giving.send_bytes(_encode(group))
    except BrokenPipeError:  # the writer has stopped, and says why
        return False
    return True


def _taken(taking: Connection) -> Iterator[Row]:
    """Yield the rows of one table."""
    while group := _decode(taking.recv_bytes()):
        for shape, values in group:
            if shape is None:
                yield None, values
            elif isinstance(shape[1], bytes):
                yield Shape(ShapeKind(shape[0]), tuple(map(_doubles, shape[1:]))), values
            else:
                yield point(*shape), values


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
