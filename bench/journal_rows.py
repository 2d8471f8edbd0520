"""How many rows a second the journal makes durable, beside bare SQLite with the same safety and group size."""

import asyncio
import sqlite3
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from time import perf_counter

from relay.core.model import Row, RowKind
from relay.shell.record.clock import MachineTime
from relay.shell.record.journal import Journal, JournalFile, clock_of

ROWS = 40_000
GROUP = 2_000
DATA = b"$GPGGA,104200.00,5412.3456,S,01234.5678,W,1,09,0.9,0.0,M,0.0,M,,*5B\r\n"
REPEATS = 3
SINGLE = 200


@dataclass(frozen=True, slots=True)
class JournalRate:
    """Rows a second in a burst (medians of interleaved runs), and the wait of a row that comes alone."""

    rows_per_s: float
    sqlite_rows_per_s: float
    single_p50_ms: float
    single_p99_ms: float


def journal_rate(folder: Path) -> JournalRate:
    """Measure on the disk that holds `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    ours, bare, waits = [], [], []
    for _ in range(REPEATS):
        with TemporaryDirectory(dir=folder) as place:
            burst_s, singles_s = asyncio.run(_journal(Path(place)))
            ours.append(ROWS / burst_s)
            waits += singles_s
        with TemporaryDirectory(dir=folder) as place:
            bare.append(ROWS / _sqlite(Path(place)))
    waits.sort()
    return JournalRate(median(ours), median(bare), 1e3 * median(waits), 1e3 * waits[int(0.99 * len(waits))])


async def _journal(place: Path) -> tuple[float, list[float]]:
    file = JournalFile(place)
    journal = Journal(file, clock_of(file, MachineTime()), group=GROUP)
    left, all_durable = 0, asyncio.Event()

    def durable(rows: list[Row]) -> None:
        nonlocal left
        left -= len(rows)
        if left == 0:
            all_durable.set()

    journal.on_durable = durable

    async def write(count: int) -> float:
        nonlocal left
        left = count
        all_durable.clear()
        begun = perf_counter()
        for _ in range(count):
            assert journal.append("bench", RowKind.STREAM, DATA)
        await all_durable.wait()
        return perf_counter() - begun

    burst_s = await write(ROWS)
    singles_s = [await write(1) for _ in range(SINGLE)]
    await journal.close()
    file.close()
    return burst_s, singles_s


def _sqlite(place: Path) -> float:
    database = sqlite3.connect(place / "bare.db", isolation_level=None)
    database.execute("PRAGMA journal_mode=WAL")
    database.execute("PRAGMA synchronous=FULL")
    database.execute("CREATE TABLE row (seq INTEGER PRIMARY KEY, a INTEGER, b REAL, c TEXT, d TEXT, e BLOB)")
    begun = perf_counter()
    for first in range(0, ROWS, GROUP):
        rows = [(first + number, first, 1.0, "bench", "stream", DATA) for number in range(GROUP)]
        database.execute("BEGIN IMMEDIATE")
        database.executemany("INSERT INTO row VALUES (?, ?, ?, ?, ?, ?)", rows)
        database.execute("COMMIT")
    taken_s = perf_counter() - begun
    database.close()
    return taken_s
