"""The demo, run: a ship's relay, and a simulated control station that talks to it over real sockets.

Rules: nothing is special about the relay in a demo: the dive's first hour lies in its journal as if received
before a reboot, and the rest arrives on its feeds in real time.
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
from relay.core.model import Row, RowKind
from relay.core.restart import Checkpoint, Standing
from relay.shell.demo.demo import DiveSoFar, dive_so_far, expedition_text
from relay.shell.demo.station_reports import Sent
from relay.shell.demo.station_sender import Destinations, send_stream
from relay.shell.plan.expedition import Expedition, read_expedition
from relay.shell.record.checkpoint import write_checkpoint
from relay.shell.record.clock import MachineTime
from relay.shell.record.journal import JournalFile
from relay.shell.record.secrets_file import seeded_secrets, write_secrets
from relay.shell.released.recording import recording_path
from relay.shell.ship.running import new_site
from relay.shell.ship.ship import Ship
from relay.shell.ship.until_stopped import run_until_stopped
from relay.shell.site.site_files import PACKAGE

AUDIENCE = "public"
FINISHED = "demo-dive.recording"
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
    """Journal what has happened so far, and lay out the finished dive before it."""
    finished = finished_dive()
    number = 1
    if finished is not None:
        path = recording_path(expedition.released, AUDIENCE, number)
        path.parent.mkdir(parents=True)
        shutil.copyfile(finished, path)
        number += 1
    file = JournalFile(expedition.private)
    write_secrets(expedition.private, seeded_secrets(DEMO_SECRETS))
    try:
        checkpoint = Checkpoint(1, (Standing(number),) * len(expedition.plan.policies))
        marks = {
            "clock last_us": str(round(dive.joined_s * 1e6)),
            "checkpoint": write_checkpoint(checkpoint, expedition.plan),
        }
        file.commit(list(past_rows(dive.past, time.time() - dive.joined_s)), marks)
    finally:
        file.close()


def past_rows(past: Iterable[Sent], wall_s: float) -> Iterator[Row]:
    """Yield reports as the journal rows they would have made: datagrams whole, lines as a stream."""
    for seq, sent in enumerate(past, 1):
        kind = RowKind.WHOLE if sent.feed == "position" else RowKind.STREAM
        yield Row(seq, round(sent.t_s * 1e6), wall_s + sent.t_s, sent.feed, kind, sent.data)


def finished_dive() -> Path | None:
    """Return the recording of the demo's first dive: of an installed Offing, or of the checkout."""
    for folder in (PACKAGE / "recordings", PACKAGE.parent / "recordings"):
        if os.access(folder / FINISHED, os.R_OK):
            return folder / FINISHED
    return None
