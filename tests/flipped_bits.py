"""Flip single bits, and files to flip them in. Run by hand it flips 1,000 in each kind of file (acceptance)."""

from pathlib import Path

from relay.core.model import Row, RowKind
from relay.shell.journal import JournalFile


def flip(data: bytes, bit: int) -> bytes:
    """Return the bytes with one bit flipped, numbered from the lowest of the first byte."""
    altered = bytearray(data)
    altered[bit // 8] ^= 1 << bit % 8
    return bytes(altered)


def small_journal(folder: Path, rows: int = 3_000) -> Path:
    """Return the path of a journal that was closed: rows of some 100 bytes, ten a second, one large every thousand."""
    file = JournalFile(folder)
    file.commit([_row(seq) for seq in range(1, rows + 1)], {"clock last_us": "0"})
    file.close()
    return file.path


def _row(seq: int) -> Row:
    data = (b"%d " % seq) * (4_000 if seq % 1_000 == 0 else 15)
    return Row(seq, 100_000 * seq, 1.8e9 + seq / 10, "station", RowKind.STREAM, data)
