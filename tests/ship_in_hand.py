"""A ship's relay in the test's own process, its disk and its desk in hand."""

import asyncio
import json
import socket
import sqlite3
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from desk_peers import told
from expeditions import changed
from peers import PATIENCE_S
from relay.core.model import Row
from relay.shell.plan.expedition import parse_expedition
from relay.shell.record.clock import MachineTime
from relay.shell.record.journal import JournalFile
from relay.shell.ship.running import new_site
from relay.shell.ship.ship import Ship
from ship_process import free_port

QUICK = (
    changed('delay = "45 min"\nextra = "10 min"\ntick = "15 s"', 'delay = "1 s"\nextra = "0 s"\ntick = "1 s"').replace(
        'name = "family"\ndelay = "20 min"', 'name = "family"\ndelay = "0 s"\nextra = "0 s"\ntick = "1 s"'
    )
    + '\n[desk]\nlisten = "127.0.0.1:0"\n'
)


class StuckDisk:
    """A disk that takes nothing while it is stuck."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.stuck = False
        takes = JournalFile.commit

        def commit(file: JournalFile, rows: list[Row], marks: Mapping[str, str]) -> None:
            if self.stuck:
                raise sqlite3.OperationalError("database or disk is full")
            takes(file, rows, marks)

        monkeypatch.setattr(JournalFile, "commit", commit)


def waits_for_the_journal(ship: Ship, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let decisions wait for the journal as long as it takes: a short time is for what comes behind it alone.

    Its disk is the machine's own, and may be busy with others' work.
    """
    settled = ship.settled
    monkeypatch.setattr(ship, "settled", lambda _within_s: settled(PATIENCE_S))


@asynccontextmanager
async def sailing(folder: Path, more: str = "", quick: str | None = None) -> AsyncIterator[Ship]:
    """Yield a ship's relay on a folder, served; it ends with what is done there, whatever became of that.

    `quick`: its file, QUICK unless it is given; `more`: further parts of it.
    """
    text = ((QUICK if quick is None else quick) + more).replace(
        "127.0.0.1:10110", f"127.0.0.1:{free_port(socket.SOCK_DGRAM)}"
    )
    text = text.replace("127.0.0.1:4010", f"127.0.0.1:{free_port()}")
    expedition = parse_expedition(text, folder / "EXPEDITION.toml")
    ship = Ship(expedition, MachineTime(), new_site(expedition))
    await ship.start()
    serving = asyncio.ensure_future(ship.serve())
    try:
        yield ship
    finally:
        serving.cancel()
        await asyncio.wait({serving})
        await ship.close()


async def tell(ship: Ship, path: str, value: Any) -> dict[str, Any]:
    """Post something to the ship's desk, with its token."""
    assert ship.desk.server is not None
    token = ship.desk.server.url.partition("#")[2]
    return await told(ship.desk.server, path, value, Authorization=f"Bearer {token}")


def out(ship: Ship) -> dict[str, bytes]:
    """Return everything that the relay has recorded as released, by file."""
    folder = ship.expedition.released
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*.recording"))}


def report(ship: Ship, depth_m: float) -> None:
    """Let a station's report come in."""
    line = json.dumps({"vehicle": "Lantern", "latitude_deg": -41.2, "longitude_deg": 17.5, "depth_m": depth_m})
    ship._journal.append("station", "stream", line.encode() + b"\n")  # type: ignore[union-attr, arg-type]
