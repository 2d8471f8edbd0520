"""Which rows stand in which bytes of a journal's file, for saying where it was damaged.

Rules: the bytes are taken as they are, in a file that may be damaged: what is no page of rows is passed over. The form
is that of SQLite's file format (sqlite.org/fileformat2.html: 1.3 header, 1.6 B-tree pages, 2.1 record format). Rows are
only ever appended, so the rows of a damaged piece lie between those of the sound pages before and after it.
"""

import struct
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

PAGE = 4096
_LEAF = 0x0D
_HEADER = 100
_INTEGERS = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8}
_MINUTE_US = 60_000_000


@dataclass(frozen=True, slots=True)
class Place:
    """A row's number, and the minute of the journal's clock in which it was received (None: not to be read)."""

    row: int
    minute: int | None


def rows_between(journal: Path, first: int, last: int) -> tuple[Place | None, Place | None]:
    """Return the last row in a sound page before byte `first`, and the first one in a page after byte `last`.

    None: there is none. What lies between these rows may be damaged, the first row's and the last row's own tails too.
    """
    with journal.open("rb") as file:
        size = _page_size(file.read(_HEADER))
        octets = journal.stat().st_size
        before = ((first // size - back - 1) * size for back in range(first // size))
        after = range(-(-(last + 1) // size) * size, octets, size)
        return _first(file, before, size, -1), _first(file, after, size, 0)


def _first(file: BinaryIO, starts: Iterable[int], size: int, which: int) -> Place | None:
    """Return the first or last (`which`: 0 or -1) row of the first page of rows among these."""
    for start in starts:
        file.seek(start)
        page = file.read(size)
        if places := sorted(places_of(page, start), key=lambda place: place.row):
            return places[which]
    return None


def places_of(page: bytes, start: int) -> list[Place]:
    """Return the rows in a page that begins at byte `start` of the file; none if it is no page of rows."""
    at = _HEADER if start == 0 else 0
    if start == 0 or len(page) < at + 8 or page[at] != _LEAF:
        return []  # the first page holds the names of the tables
    count = int.from_bytes(page[at + 3 : at + 5], "big")
    pointers = struct.unpack_from(f">{count}H", page, at + 8) if at + 8 + 2 * count <= len(page) else ()
    try:
        return [_place(page, pointer) for pointer in pointers]
    except IndexError:
        return []


def _place(page: bytes, at: int) -> Place:
    """Return the row of a cell: payload length, row number, then the record's header and its values."""
    _, at = _varint(page, at)
    row, at = _varint(page, at)
    length, after = _varint(page, at)
    types, place = list[int](), after
    while place < at + length and len(types) < 2:
        kind, place = _varint(page, place)
        types.append(kind)
    # The first value is the row's own number, stored as NULL; the second the moment of receipt.
    octets = _INTEGERS.get(types[1]) if len(types) == 2 and types[0] == 0 else None
    value = page[at + length : at + length + octets] if octets is not None else b""
    small = {8: 0, 9: 0}.get(types[1]) if len(types) == 2 else None
    return Place(row, int.from_bytes(value, "big", signed=True) // _MINUTE_US if value else small)


def _varint(page: bytes, at: int) -> tuple[int, int]:
    """Return a number of 7 bits a byte, the greatest first, and where it ends (a ninth byte has all its 8)."""
    value = 0
    for octet in range(8):
        byte = page[at + octet]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + octet + 1
    return value << 8 | page[at + 8], at + 9


def _page_size(header: bytes) -> int:
    """Return the page size a file's header tells, SQLite's own where that is none."""
    size = int.from_bytes(header[16:18], "big")
    size = 65536 if size == 1 else size
    return size if 512 <= size <= 65536 and size & (size - 1) == 0 else PAGE
