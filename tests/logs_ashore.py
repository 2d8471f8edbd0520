"""What is on a shore's disk, for tests: logs opened on a folder, two dives and two programmes for them to hold."""

import contextlib
from collections.abc import Iterator
from pathlib import Path

from relay.core.held import held_of
from relay.core.uplink_talk import Held
from relay.shell.shore.shore_logs import ShoreLogs
from released import dive, programme
from shores import SIGNER, sealed

FIRST = sealed(dive(1, 4))
SECOND = sealed(dive(2, 3, closed=False))
TOLD = sealed([programme(0, "Soon."), programme(1, "Now.")])


@contextlib.contextmanager
def opened(folder: Path) -> Iterator[ShoreLogs]:
    """Yield logs that were read."""
    logs = ShoreLogs(folder, ["public", "funders"], SIGNER.key)
    logs.open()
    try:
        yield logs
    finally:
        logs.close()


def take(logs: ShoreLogs, frames: list[bytes], audience: str = "public") -> list[bytes]:
    """Take frames as a shore does; return what was new."""
    return [frame.data for frame in logs.keep(audience, logs.write(audience, frames))]


def held(logs: ShoreLogs) -> dict[str, Held]:
    """Return how far each audience is held."""
    return {name: held_of(history) for name, history in logs.histories().items()}


def frames_of(logs: ShoreLogs, audience: str = "public") -> list[bytes]:
    """Return every frame of the dives that are held."""
    return [frame for one in logs.histories()[audience].dives for frame in one.frames]
