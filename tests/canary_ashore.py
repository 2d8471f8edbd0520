"""A shore beside the voyage of canaries: what it answers, says, keeps on its disk and holds in its memory.

Memory is searched for exact spellings of every position that was sent, eight octets or longer: a fuzzy scanner would
find something like one in any hundred megabytes.
"""

import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy

from canary_public import ask_everything
from canary_spellings import encodings, notations
from shore_process import ShoreProcess, prepare_shore

TESTS = Path(__file__).resolve().parent
SIEVE_BITS = 20
FEWEST = 8  # octets that are looked for: fewer occur by chance


@dataclass
class Ashore:
    """What there was of the relay's side ashore when the voyage was over."""

    answers: dict[str, bytes] = field(default_factory=dict)
    log: bytes = b""
    disk: dict[str, bytes] = field(default_factory=dict)
    memory: bytes = b""
    memory_aboard: bytes = b""


def prepare_talkative(folder: Path, signing_seed: bytes, audiences: Iterable[str]) -> ShoreProcess:
    """Return a shore that says all it can, whose site speaks plainly; nothing is started."""
    shore = prepare_shore(folder, signing_seed, list(audiences), tls=False)
    shore.command = (sys.executable, str(TESTS / "talkative_shore.py"))
    return shore


async def seen_ashore(shore: ShoreProcess, ashore: Ashore) -> None:
    """Look into a shore's memory, ask it everything (places among it), stop it, and keep what is left."""
    assert shore.process is not None
    ashore.memory = memory_of(shore.process.pid)
    asked = await ask_everything(shore.site)
    ashore.answers = {f"{sending[:400]!r}": answer for sending, answer in asked.items()}
    await shore.stop()
    ashore.log = "".join(shore.words).encode()
    ashore.disk = {str(path): path.read_bytes() for path in shore.folder.rglob("*") if path.is_file()}


def memory_of(process: int) -> bytes:
    """Return everything that a process can write: heap, stack, anonymous memory, its modules' data."""
    parts = []
    with Path(f"/proc/{process}/mem").open("rb", buffering=0) as memory:
        for line in Path(f"/proc/{process}/maps").read_text().splitlines():
            span, rights, *_ = line.split()
            if not rights.startswith("rw"):
                continue
            start, end = (int(address, 16) for address in span.split("-"))
            memory.seek(start)
            parts.append(memory.read(end - start))
    return b"\n".join(parts)


def spellings(positions: Iterable[tuple[float, float]], secrets: Mapping[str, float]) -> dict[bytes, str]:
    """Return what tells one of these positions, or one of these numbers, by the octets themselves."""
    found: dict[bytes, str] = {}
    for place in dict.fromkeys(positions):
        for name, datas in encodings(place).items():
            if not any(word in name for word in ("i64", "whole")):
                found |= {data: name for data in datas if len(data) >= FEWEST}
        for name, texts in notations(place).items():
            if "decimal" in name or "NMEA" in name:
                found |= {text.encode(): name for text in texts if len(text) > FEWEST}
    for name, number in secrets.items():
        found |= {numpy.array(number, dtype=form).tobytes(): name for form in ("<f8", ">f8")}
    return found


def spelled_in(memory: bytes, told: Mapping[bytes, str]) -> dict[str, bytes]:
    """Return which spellings are in a memory, each with what it was found as: at any octet, by its first eight."""
    heads: dict[int, list[bytes]] = {}
    for spelling in told:
        heads.setdefault(int.from_bytes(spelling[:FEWEST], "little"), []).append(spelling)
    wanted = numpy.array(sorted(heads), dtype=numpy.uint64)
    sieve = numpy.zeros(1 << SIEVE_BITS, dtype=bool)
    sieve[_sieved(wanted)] = True
    found = {}
    for first in range(FEWEST):
        words = numpy.frombuffer(memory, dtype="<u8", offset=first, count=(len(memory) - first) // FEWEST)
        (likely,) = numpy.nonzero(sieve[_sieved(words)])
        some = words[likely]
        (hit,) = numpy.nonzero(wanted[numpy.minimum(numpy.searchsorted(wanted, some), len(wanted) - 1)] == some)
        for at in likely[hit]:
            start = first + int(at) * FEWEST
            for spelling in heads[int(words[at])]:
                if memory.startswith(spelling, start):
                    found[told[spelling]] = spelling
    return found


def _sieved(words: numpy.ndarray) -> numpy.ndarray:
    """Return where words stand in a sieve (multiplicative hashing), in which few of the others stand."""
    return (words * numpy.uint64(0x9E3779B97F4A7C15)) >> numpy.uint64(64 - SIEVE_BITS)
