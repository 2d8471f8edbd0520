"""The sums of a closed journal: SHA-256 (FIPS 180-4) of each 64 KiB of its file, so that every flipped bit is found.

Rules: written when the relay has closed the journal cleanly, and beside a copy of it; emptied before a relay opens the
journal, so that sums that are there are those of the file as it was closed. A text: what it is, how many bytes and the
last row, a line for each block, and last the sum of all lines before it. Nothing of it is secret or needed to go on.
"""

import os
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from relay.core.errors import OperatorError
from relay.shell.record.read_only import last_row, reading

NAME = "journal.sums"
BLOCK = 1 << 16
_TITLE = "offing journal sums 1"
_COUNTS = ("octets ", "last row ")


@dataclass(frozen=True, slots=True)
class Sums:
    """What a journal's file was when it was closed: its length, its last row (0: none), a SHA-256 for each block."""

    octets: int
    last_row: int
    blocks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Span:
    """The bytes of a file from `first` to `last`, both in it."""

    first: int
    last: int


def write_sums(journal: Path) -> None:
    """Write the sums of a journal that nobody writes beside it, durably, in place of those that are there.

    OSError or sqlite3.Error if the journal can't be read or the disk takes nothing.
    """
    path, beside = journal.with_name(NAME), journal.with_name(NAME + ".new")
    descriptor = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(_text(sum_up(journal)))
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)
    _sync(journal.parent)


def forget_sums(journal: Path) -> None:
    """Empty the sums of a journal that is about to change, durably; where there are none, none are made."""
    path = journal.with_name(NAME)
    if path.exists() and path.stat().st_size:
        os.truncate(path, 0)
        _sync(path)


def sum_up(journal: Path) -> Sums:
    """Return the sums of a journal's file as it is."""
    with reading(journal, unchanging=True) as database:
        last = last_row(database)
    return Sums(journal.stat().st_size, last, tuple(sha256(block).hexdigest() for block in _blocks(journal)))


def read_sums(journal: Path) -> Sums | None:
    """Return the sums beside a journal; None where there are none or a relay emptied them.

    OperatorError says where the sums themselves were altered.
    """
    path = journal.with_name(NAME)
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise OperatorError(f"{path} can't be read: {error.strerror}") from error
    if not data:
        return None
    sums = _read(data)
    if sums is None:
        raise OperatorError(f"{path} was altered or cut off, at byte {_where(journal, data)}")
    return sums


def damaged(journal: Path, sums: Sums) -> Iterator[Span]:
    """Yield the bytes of a journal's file that aren't as they were: runs of blocks, and a length that changed."""
    run: Span | None = None
    for number, block in enumerate(_blocks(journal)):
        span = Span(number * BLOCK, number * BLOCK + len(block) - 1)
        if number < len(sums.blocks) and sha256(block).hexdigest() == sums.blocks[number]:
            continue
        if run is not None and run.last + 1 == span.first:
            run = Span(run.first, span.last)
            continue
        if run is not None:
            yield run
        run = span
    if run is not None:
        yield run
    if (octets := journal.stat().st_size) < sums.octets:
        yield Span(octets, sums.octets - 1)


def _blocks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while block := file.read(BLOCK):
            yield block


def _text(sums: Sums) -> bytes:
    lines = [_TITLE, f"octets {sums.octets}", f"last row {sums.last_row}", *sums.blocks]
    told = "".join(f"{line}\n" for line in lines).encode()
    return told + f"these lines {sha256(told).hexdigest()}\n".encode()


def _read(data: bytes) -> Sums | None:
    """Return the sums in a text, None unless it is written just so."""
    lines = data.decode("ascii", "replace").split("\n")
    try:
        octets, last = (int(line.removeprefix(name)) for name, line in zip(_COUNTS, lines[1:3], strict=True))
    except ValueError:
        return None
    sums = Sums(octets, last, tuple(lines[3:-2]))
    return sums if _text(sums) == data else None


def _where(journal: Path, data: bytes) -> int:
    """Return the first byte at which sums that were altered aren't those of the journal, which may be good."""
    try:
        good = _text(sum_up(journal))
    except (OSError, sqlite3.Error):
        return 0
    pairs = enumerate(zip(good, data, strict=False))
    return next((at for at, (one, other) in pairs if one != other), min(len(good), len(data)))


def _sync(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
