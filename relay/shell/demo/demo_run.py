"""The demo, run: a ship's relay, and a simulated control station that talks to it over real sockets.

Rules: nothing is special about the relay in a demo: a dive of the day before, whose recording is there, and the first
hour of today's lie in its journal as if received before a reboot, and the rest arrives on its feeds in real time.
"""

import asyncio
import os
import shutil
import socket
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from relay.core.errors import OperatorError
from relay.core.minute_roots import closed_minutes
from relay.core.minute_tree import MINUTE_US, Evidence
from relay.core.model import Row, RowKind
from relay.core.record_log import LogStart, noted_run
from relay.core.restart import Checkpoint, Standing
from relay.shell.demo.demo import FIRST_SEED, DiveSoFar, dive_so_far, expedition_text
from relay.shell.demo.simulated import simulate
from relay.shell.demo.station_reports import Sent
from relay.shell.demo.station_sender import Destinations, send_stream
from relay.shell.plan.expedition import Expedition, read_expedition
from relay.shell.record.checkpoint import write_checkpoint
from relay.shell.record.clock import MachineTime
from relay.shell.record.journal import LAST, JournalFile, Minute
from relay.shell.record.secrets_file import seeded_secrets, write_secrets
from relay.shell.released.recording import recording_path
from relay.shell.ship.running import new_site
from relay.shell.ship.ship import Ship
from relay.shell.ship.until_stopped import run_until_stopped
from relay.shell.site.site_files import PACKAGE

AUDIENCE = "public"
FINISHED = "demo-dive.recording"
FIRST_WALL_S = 1_777_885_200.0  # 2026-05-04 09:00:00 UTC: the recording seals the rows with it
NEXT_MINUTE = 1_440  # of the journal's clock, in which the second dive begins
DEMO_SECRETS = 1  # an invented place needs no secret, and with these both dives lie in one frame


async def run_demo(
    port: int, seed: int, folder: Path | None, seconds: float | None, ready: Callable[[Ship], None]
) -> None:
    """Run the demo until stopped, or for `seconds`; its files go to `folder` or to a temporary one."""
    with _folder(folder) as home:
        ports = {"nmea_port": free_port(socket.SOCK_DGRAM), "station_port": free_port(socket.SOCK_STREAM)}
        path = home / "EXPEDITION.toml"
        path.write_text(expedition_text(port=port, **ports), encoding="utf-8")
        expedition = read_expedition(path)
        dive = dive_so_far(seed)
        _begin(expedition, dive)
        ship = Ship(expedition, MachineTime(), new_site(expedition))
        to = Destinations(("127.0.0.1", ports["nmea_port"]), ("127.0.0.1", ports["station_port"]))
        station = send_stream(dive.coming, to, now=time.monotonic, sleep=asyncio.sleep)
        beside = [station] if seconds is None else [station, asyncio.sleep(seconds)]
        await run_until_stopped(ship, lambda: ready(ship), *beside)


@contextmanager
def _folder(folder: Path | None) -> Iterator[Path]:
    if folder is None:
        with tempfile.TemporaryDirectory(prefix="offing-demo-") as made:
            yield Path(made)
        return
    if folder.exists() and any(folder.iterdir()):
        raise OperatorError(f"{folder} is not empty. Give --folder one that doesn't exist yet, or empty it.")
    folder.mkdir(parents=True, exist_ok=True)
    yield folder


def free_port(kind: socket.SocketKind) -> int:
    """Return a port of the loopback that nobody has at this moment."""
    with socket.socket(socket.AF_INET, kind) as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _begin(expedition: Expedition, dive: DiveSoFar) -> None:
    """Journal what has happened so far: the dive before, if its recording is there, and this one's past."""
    file = JournalFile(expedition.private)
    write_secrets(expedition.private, seeded_secrets(DEMO_SECRETS))
    try:
        standing, start = _dive_before(expedition, file)
        begun_s = start.minute * 60.0
        checkpoint = Checkpoint(start.row, (standing,) * len(expedition.plan.policies), record=start)
        marks = {
            LAST: str(round((begun_s + dive.joined_s) * 1e6)),
            "checkpoint": write_checkpoint(checkpoint, expedition.plan),
        }
        file.commit(list(past_rows(dive.past, time.time() - dive.joined_s, start.row, begun_s)), marks)
    finally:
        file.close()


def _dive_before(expedition: Expedition, file: JournalFile) -> tuple[Standing, LogStart]:
    """Lay out the finished dive, its rows with what sealed them and its recording; return where the next one begins."""
    finished = finished_dive()
    if finished is None:
        return Standing(1), LogStart()
    path = recording_path(expedition.released, AUDIENCE, 1)
    path.parent.mkdir(parents=True)
    shutil.copyfile(finished, path)
    rows = list(past_rows(simulate(FIRST_SEED), FIRST_WALL_S))
    file.commit(rows, {})
    evidence = Evidence(seeded_secrets(DEMO_SECRETS).evidence_key)
    closed, start = noted_run(closed_minutes(evidence, rows, NEXT_MINUTE * MINUTE_US))
    file.keep_minutes(Minute(*minute) for minute in closed)
    return Standing(2), start


def past_rows(past: Iterable[Sent], wall_s: float, first: int = 1, begun_s: float = 0.0) -> Iterator[Row]:
    """Yield reports as the journal rows they would have made: datagrams whole, lines as a stream.

    `wall_s`: the wall clock as the dive began; `first`: the first row's number; `begun_s`: when, by the embargo clock.
    """
    for seq, sent in enumerate(past, first):
        kind = RowKind.WHOLE if sent.feed == "position" else RowKind.STREAM
        yield Row(seq, round((begun_s + sent.t_s) * 1e6), wall_s + sent.t_s, sent.feed, kind, sent.data)


def finished_dive() -> Path | None:
    """Return the recording of the demo's first dive: of an installed Offing, or of the checkout."""
    for folder in (PACKAGE / "recordings", PACKAGE.parent / "recordings"):
        if os.access(folder / FINISHED, os.R_OK):
            return folder / FINISHED
    return None
