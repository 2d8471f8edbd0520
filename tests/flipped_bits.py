"""Flip single bits, and say what `offing verify` and `offing journal verify` say of it.

Run by hand it flips 1,000 random bits each in a journal, a proof and a recording, and ends with 1 if one isn't found or
its place isn't told:

    python tests/flipped_bits.py [NUMBER [SEED]]
"""

import contextlib
import io
import re
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from random import Random

from relay.__main__ import main
from relay.core.model import Row, RowKind
from relay.core.proof import SUFFIX
from relay.shell.proofs.checking import check
from relay.shell.record.journal import JournalFile
from sealed_site import Site, make_site

BLOCK = re.compile(r"bytes (\d+) to (\d+) were altered")
PLACE = re.compile(
    r"bytes? \d+|lines? \d+|records? \d+|: see '|last line but one|its first record is damaged|the first record names"
)


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


def proof_beside(site: Site) -> Path:
    """Return a proof of three rows of a site, written beside it."""
    path = site.folder / "private" / f"boiler{SUFFIX}"
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        code = main(["prove", str(site.expedition), "--record", "5", "--target", "Boiler", "--audience", "public",
                     "--out", str(path), "--force"])  # fmt: skip
    assert code == 0
    return path


def journal_said(site: Site, data: bytes) -> str | None:
    """Return what is said to be wrong with a site's journal if it were these bytes, None if nothing is."""
    good = site.journal.read_bytes()
    site.journal.write_bytes(data)
    try:
        report = check(site.read())
    finally:
        site.journal.write_bytes(good)
    return "\n".join(line for line in report.lines if "WRONG" in line) if report.faults else None


def verify_said(path: Path, data: bytes, *others: Path) -> str | None:
    """Return what is said to be wrong with a proof or recording if it were these bytes, None if nothing is."""
    good, said = path.read_bytes(), io.StringIO()
    path.write_bytes(data)
    try:
        with contextlib.redirect_stdout(said):
            code = main(["verify", str(path), *map(str, others)])
    finally:
        path.write_bytes(good)
    return "\n".join(line for line in said.getvalue().split("\n") if "WRONG" in line) if code else None


def in_its_block(bit: int, told: str) -> bool:
    """Whether what is said of a journal names the bytes in which a bit was flipped."""
    return any(int(first) <= bit // 8 <= int(last) for first, last in BLOCK.findall(told))


def somewhere(bit: int, told: str) -> bool:
    """Whether what is said names a place: a line, a record, a byte, a member."""
    return PLACE.search(told) is not None


def unfound(
    data: bytes,
    bits: list[int],
    said: Callable[[bytes], str | None],
    placed: Callable[[int, str], bool] = somewhere,
) -> list[str]:
    """Return of each bit that isn't found, or of which the place isn't told, what was said."""
    told = ((bit, said(flip(data, bit))) for bit in bits)
    return [f"bit {bit}: {words}" for bit, words in told if words is None or not placed(bit, words)]


def random_bits(data: bytes, number: int, seed: int) -> list[int]:
    """Return random places of a file."""
    random = Random(seed)
    return [random.randrange(8 * len(data)) for _ in range(number)]


def _run(number: int, seed: int) -> int:
    missed = 0
    with tempfile.TemporaryDirectory() as folder:
        site = make_site(Path(folder) / "site")
        proof, recording = proof_beside(site), site.recording()
        for name, path, said, placed in (
            ("proof", proof, lambda data: verify_said(proof, data, recording), somewhere),
            ("recording", recording, lambda data: verify_said(recording, data), somewhere),
            ("journal", site.journal, lambda data: journal_said(site, data), in_its_block),
        ):
            data = path.read_bytes()
            found = unfound(data, random_bits(data, number, seed), said, placed)
            missed += len(found)
            sys.stdout.write(f"{name}: {number - len(found)} of {number} found, with their place\n")
            sys.stdout.writelines(f"  {line}\n" for line in found)
    return 1 if missed else 0


if __name__ == "__main__":
    given = [int(value) for value in sys.argv[1:]]
    sys.exit(_run(*[*given, *(1_000, 1)[len(given) :]]))
